"""A set-up small enough to check in no time, that takes the engine through all of its kernels.

A kernel is compiled for the types that it is called with. So it is the product's own questions that are asked here,
and what they say is thrown away.
"""

from __future__ import annotations

from kinematics.answers.orientation_map import map_grid, orientation_map
from kinematics.clearance import check_cuts
from kinematics.machine import LinearAxis, Machine, SpindleStep, TableAxis
from kinematics.placed_cut import placed_cuts
from kinematics.prepared import Prepared
from kinematics.scene import (
    Body,
    Cut,
    Holder,
    HolderStep,
    Hole,
    Orientation,
    Placement,
    Pocket,
    Scene,
    State,
    Tool,
    Workpiece,
)
from kinematics.shapes import Box, cylinder
from kinematics.swing_clearance import Settle, check_links, check_swings


def cuts() -> None:
    """Checks the cuts and links of the set-up, and turns its table for one of them."""
    scene = small_scene()
    prepared = Prepared(scene)
    list(check_cuts(scene, prepared))
    list(check_links(scene, prepared))
    placed = placed_cuts(prepared)[1]
    list(orientation_map(placed, map_grid(scene.machine, 90.0, placed.angles)))


def swings() -> None:
    """Checks its swings."""
    scene = small_scene()
    list(check_swings(scene, Prepared(scene), Settle(1.0)))


def small_scene() -> Scene:
    """A block on a turning table between a post and the spindle: a pocket, a hole in it, a hole from the side."""
    x, y, z = (LinearAxis(name, (-400.0, 400.0), "head") for name in ("x", "y", "z"))
    tilt = TableAxis("tilt", "A", "cradle", (0.0, 0.0, 60.0), (1.0, 0.0, 0.0), None)
    turn = TableAxis("turn", "C", "platter", (0.0, 0.0, -60.0), (0.0, 0.0, 1.0), None)
    nose = (SpindleStep(60.0, 60.0, 25.0),)
    motor = Body("motor", Placement("head", (0.0, 0.0, 25.0)), Box(100.0, 100.0, 100.0))
    disc = Body("disc", Placement("platter", (0.0, 0.0, -12.0)), cylinder(90.0, 12.0))
    machine = Machine("small", "machine", (x, y, z), (tilt, turn), (0.0, -1.0, 0.0), (), None, nose, (motor, disc))
    post = Body("post", Placement("platter", (60.0, 0.0, 0.0)), cylinder(10.0, 40.0))
    wall = Body("wall", Placement("table", (0.0, 150.0, 0.0)), Box(20.0, 20.0, 50.0))
    block = Body("block", Placement("P", (0.0, 0.0, -30.0)), Box(40.0, 40.0, 30.0))
    workpiece = Workpiece(None, Placement("platter", (0.0, 0.0, 30.0)), (State("block", (block,)),))
    holder = Holder("h", (HolderStep(30.0, 30.0, 30.0),))
    tools = (
        Tool("T1", "end mill", 30.0, holder, d=8.0, flute=20.0, shank=8.0),
        Tool("T2", "drill", 40.0, holder, d=5.0, flute=30.0, shank=5.0, point_deg=118.0),
    )
    return Scene("small", machine, (workpiece,), (post, wall), (holder,), tools, orientations())


def orientations() -> tuple[Orientation, ...]:
    pocket = Cut("pocket", "T1", "block", Pocket((0.0, 0.0, 0.0), (20.0, 14.0), (1.0, 0.0, 0.0), 5.0), 40.0)
    hole = Cut("hole", "T2", "block", Hole((0.0, 0.0, -5.0), 10.0), 40.0)
    side = Cut("side hole", "T2", "block", Hole((0.0, 20.0, -15.0), 8.0), 40.0)
    return (
        Orientation("V1", (("tilt", 0.0), ("turn", 0.0)), (pocket, hole)),
        Orientation("V2", (("tilt", 90.0), ("turn", 0.0)), (side,)),
    )
