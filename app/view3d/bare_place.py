"""A set-up before there is a tool: everything that stands on the machine, as one sees it through the door."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from app.view3d.cameras import View, aim
from app.view3d.drawn import mesh_key, shown_bodies
from app.view3d.looks import look_of
from app.view3d.places import NOMINAL, Place, Standpoint
from app.view3d.scene_meshes import MeshCache, display_scene
from kinematics.assembly import tool_assembly
from kinematics.machine import HEAD
from kinematics.scene import Cut, Orientation
from kinematics.verdict import Verdict

if TYPE_CHECKING:
    from kinematics.prepared import Prepared


def bare_place(
    prepared: Prepared, orientation: Orientation, cut: Cut, title: str, *, meshes: MeshCache | None = None
) -> Place:
    """What stands there when a cut begins, without the tool and the head: nothing is near, and nothing is told.

    Raises
    ------
    FeatureError, ToolError : the cut can't be made with its tool, so there is no place to show.
    """
    machine = prepared.scene.machine
    assembly = tool_assembly(prepared.scene.tool(cut.tool), machine.spindle_nose)
    above = {*assembly.parts, *(body.name for body in prepared.placed.bodies if body.carrier == HEAD)}
    above |= {body.name for body in prepared.head_bodies}
    whole = display_scene(prepared, orientation, cut, None, meshes)
    scene = replace(whole, bodies=tuple(b for b in whole.bodies if b.name not in above))
    door = aim(View.DOOR, scene)
    seen = Standpoint(door, replace(look_of(View.DOOR, scene, door.camera(NOMINAL), report=None), hidden_by=None))
    return Place(
        key=(orientation.name, cut.name),
        title=title,
        verdict=Verdict.NOT_CHECKED,
        word="",
        bodies=shown_bodies(scene.bodies),
        meshes={mesh_key(b.mesh): b.mesh for b in scene.bodies},
        gap=None,
        tip_W=scene.tip_W,
        operator=scene.operator,
        workpieces=frozenset(b.name for w in prepared.scene.workpieces for s in w.states for b in s.bodies),
        told=None,
        next_told=None,
        rooms={},
        edits={},
        standpoints=dict.fromkeys(View, seen),
    )
