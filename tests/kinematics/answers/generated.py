"""Random set-ups with one cut for questions about its stick-out, and the check of one stick-out."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from kinematics.answers.stick_out import CutStickOuts
from kinematics.clearance import check_cut
from kinematics.machine import LinearAxis, Machine, SpindleStep
from kinematics.placed_cut import placed_cuts
from kinematics.prepared import Prepared
from kinematics.scene import (
    Body,
    BodyErrors,
    Holder,
    HolderStep,
    Hole,
    KeepOff,
    Lift,
    OutlineStep,
    Placement,
    Pocket,
    Scene,
    SetupErrors,
    Slot,
    Tool,
)
from kinematics.shapes import Box, Screw, cylinder
from tests.kinematics.engine.pairs_by_hand import mesh_shape
from tests.one_cut import NO_ERRORS, one_cut
from tests.truth import brute_force
from tests.truth.moves_by_hand import placement_of
from tests.truth.supports import rotation

LIFTS = {
    "top": Lift("top"),
    "low gauge": Lift("gauge_z", 150.0),
    "high gauge": Lift("gauge_z", 260.0),
    "retract": Lift("retract"),
}


def a_holder(rng, name="H"):
    d = float(rng.integers(14, 30))
    steps = [HolderStep(d, d, float(rng.integers(8, 25)), "nut"), HolderStep(d, d + 12.0, float(rng.integers(8, 25)))]
    if rng.random() < 0.3:
        steps.append(HolderStep(d + 16.0, d - 2.0, 12.0, "flange"))  # narrows again: something can get under it
    return Holder(name, tuple(steps), grip=float(rng.integers(10, 20)))


def a_tool(rng, holder):
    d, flute = float(rng.integers(4, 11)), float(rng.integers(5, 20))
    numbers = {"holder": holder, "stick_out": 40.0, "d": d, "flute": flute, "overall": float(rng.integers(75, 95))}
    match int(rng.integers(5)):
        case 0:
            return Tool("T", "end mill", shank=d + 3.0, neck=(d - 0.5, flute + 9.0), **numbers)
        case 1:
            return Tool("T", "drill", shank=d, point_deg=118.0, **numbers)
        case 2:
            steps = ((d, d, flute, "cutter"), (d - 1, d + 2, 14.0, "neck"), (d + 2, d + 2, 40.0, "shank"))
            return Tool("T", "end mill", 40.0, holder, overall=90.0, outline=tuple(OutlineStep(*s) for s in steps))
        case 3:
            return Tool("T", "ball mill", shank=d + 2.0, **(numbers | {"flute": max(flute, d)}))
        case _:
            return Tool("T", "end mill", shank=d, **numbers)


def crowd(rng):
    """Bodies of every kind near the cut, most of them at whole millimetres and square."""
    found = []
    for k in range(int(rng.integers(1, 6))):
        R = rotation(rng, "aligned" if rng.random() < 0.7 else "any")
        d = rng.integers(3, 30, 3).astype(float)
        p = np.append(rng.integers(-45, 46, 2), rng.integers(-10, 70)).astype(float)
        shape = [
            Box(*d), cylinder(d[0], d[1]), Screw("ISO 4762", "M6", 10.0, 6.0, 6.0, 12.0),
            mesh_shape(*brute_force.box_mesh(d, (-d[0] / 2, -d[1] / 2, 0.0))),
        ][rng.integers(4)]  # fmt: skip
        errors = BodyErrors(body_model=0.02) if rng.random() < 0.3 else BodyErrors()
        on = "bed" if rng.random() < 0.2 else "table"
        found.append(Body(f"b{k}", replace(placement_of(R, p), rides_on=on), shape, errors))
    return found


def a_scene(rng, *, lift=None, leave=None, moves_table=None):
    """A set-up; what is None is drawn by lot."""
    lift = LIFTS[list(LIFTS)[rng.integers(4)]] if lift is None else LIFTS[lift]
    leave = rng.random() < 0.2 if leave is None else leave
    moves_table = ["", "", "", "xy", "z"][rng.integers(5)] if moves_table is None else moves_table
    limits = (-500.0, 500.0)
    x, y = (LinearAxis(n, limits, "table" if n in moves_table else "head") for n in "xy")
    z = LinearAxis("z", (40.0, float(rng.choice([180.0, 300.0]))), "table" if "z" in moves_table else "head")
    head = Body("motor", Placement("head", (0.0, 30.0, 25.0)), Box(80.0, 100.0, 40.0))
    bodies = (head,) if rng.random() < 0.5 else ()
    machine = Machine("m", "machine", (x, y, z), (), (0.0, -1.0, 0.0), (), None, (SpindleStep(60, 60, 25),), bodies)
    feature = [
        Hole((0.0, 0.0, 0.0), 4.0),
        Pocket((0.0, 0.0, 0.0), (30.0, 24.0), (1.0, 0.0, 0.0), 3.0),
        Slot((-20.0, 0.0, 0.0), (20.0, 5.0, 0.0), 3.0),
    ][rng.integers(3)]
    part = (Body("part", Placement("P", (0.0, 0.0, -30.0)), Box(40.0, 40.0, 30.0)),)
    if rng.random() < 0.4:
        part += (Body("rim", Placement("P", (26.0, 0.0, -30.0)), Box(8.0, 40.0, float(rng.integers(32, 60)))),)
    return one_cut(
        feature,
        a_tool(rng, a_holder(rng)),
        *crowd(rng),
        part=part,
        zero=Placement("table", (0.0, 0.0, 30.0)),
        machine=machine,
        retract=float(rng.choice([0.0, 5.0, 60.0])),
        leave_to=(float(rng.integers(-40, 41)), 35.0, 12.0) if leave else None,
        lift=lift,
        errors=SetupErrors() if rng.random() < 0.7 else NO_ERRORS,
        keep_off=KeepOff(cutter=float(rng.choice([0.5, 2.0])), holder=float(rng.choice([1.0, 2.0, 6.0]))),
    )


def with_tool(scene: Scene, tool: Tool) -> Scene:
    """The same set-up with a tool of that name changed."""
    return replace(scene, tools=tuple(tool if t.id == tool.id else t for t in scene.tools))


def checked_at(scene: Scene, length: float, cut: int = 0, holder: Holder | None = None):
    """The report of a cut of a set-up whose tool sticks out so far, all made anew."""
    name = scene.cuts()[cut][1].tool
    tool = scene.tool(name)
    changed = with_tool(scene, replace(tool, stick_out=length, holder=holder or tool.holder))
    orientation, wanted = changed.cuts()[cut]
    done = frozenset((o.name, c.name) for o, c in changed.cuts()[:cut])
    return check_cut(Prepared(changed), orientation, wanted, done)


def answered(scene: Scene, cut: int = 0, holder: Holder | None = None):
    """The stick-outs of a cut of a set-up."""
    placed = placed_cuts(Prepared(scene))[cut]
    return CutStickOuts(placed).answer(holder or placed.tool.holder)
