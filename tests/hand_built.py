"""Machines and scenes built by hand from kinematics values, for tests that need no file."""

from __future__ import annotations

from kinematics.machine import Control, LinearAxis, Machine, SpindleStep, TableAxis
from kinematics.pose import Vector
from kinematics.scene import Body, Placement, Scene, State, Workpiece
from kinematics.shapes import Box, Screw, cylinder

X: Vector = (1.0, 0.0, 0.0)
Y: Vector = (0.0, 1.0, 0.0)
Z: Vector = (0.0, 0.0, 1.0)
ORIGIN: Vector = (0.0, 0.0, 0.0)


def machine_of(
    *axes: TableAxis, control: Control | None = None, moves: str = "head", bodies: tuple[Body, ...] = ()
) -> Machine:
    """A machine with the table axes given, one after the other."""
    x, y, z = (LinearAxis(n, (-400.0, 400.0), "table" if n in moves else "head") for n in ("x", "y", "z"))  # type: ignore[arg-type]
    return Machine("m", "machine", (x, y, z), axes, (0.0, -1.0, 0.0), (), control, (SpindleStep(60, 60, 25),), bodies)


def table_axis(
    letter: str,
    axis: Vector,
    *,
    at: Vector = ORIGIN,
    limits: tuple[float, float] | None = None,
) -> TableAxis:
    """A table axis of the letter, which carries a frame of the same name in lower case."""
    return TableAxis(letter, letter, letter.lower(), at, axis, limits)


def a_c(
    *,
    sign: float = 1.0,
    p_A: Vector = ORIGIN,
    p_C: Vector = ORIGIN,
    limits: tuple[float, float] | None = None,
) -> Machine:
    """A table that tilts about X and turns about Z; p_A and p_C in W at A = C = 0. `sign` -1: the other way round."""
    to_C = (p_C[0] - p_A[0], p_C[1] - p_A[1], p_C[2] - p_A[2])
    return machine_of(
        table_axis("A", (sign, 0.0, 0.0), at=p_A, limits=limits), table_axis("C", (0.0, 0.0, sign), at=to_C)
    )


def b_c(*, sign: float = 1.0, p_B: Vector = ORIGIN, p_C: Vector = ORIGIN) -> Machine:
    """A table that tilts about Y and turns about Z."""
    to_C = (p_C[0] - p_B[0], p_C[1] - p_B[1], p_C[2] - p_B[2])
    return machine_of(table_axis("B", (0.0, sign, 0.0), at=p_B), table_axis("C", (0.0, 0.0, sign), at=to_C))


def demo_machine() -> Machine:
    """The compact A-C machine of the demo set-up, with the bodies that tests here need."""
    tilt = TableAxis("tilt", "A", "cradle", (70.0, 0.0, 112.0), X, (-15.0, 115.0))
    rotary = TableAxis("rotary", "C", "platter", (0.0, 0.0, -15.0), Z, None)
    control = Control((-70.0, 0.0, 430.0), (("tilt", 1), ("rotary", 1)), "once")
    disc = Body("platter disc", Placement("platter", (0.0, 0.0, -12.0)), cylinder(100.0, 12.0))
    return machine_of(tilt, rotary, control=control, bodies=(disc,))


def demo_scene() -> Scene:
    """The dovetail fixture and the workpiece of the demo set-up B, without its cuts."""
    group = "dovetail fixture"
    bodies = (
        Body(group, Placement("platter"), None),
        Body("riser", Placement(group), cylinder(60.0, 40.0), group=group),
        Body("dovetail body", Placement("riser"), Box(56.0, 64.0, 22.0), group=group),
        Body("clamp screw L", Placement("dovetail body", (-10.0, 25.0, 0.0)), m6(), group=group),
    )
    raw = State("raw", (Body("stock", Placement("P", (0.0, 0.0, -52.0)), Box(40.0, 34.0, 52.0)),))
    workpiece = Workpiece(None, Placement("dovetail body", (0.0, 0.0, 52.0)), (raw,))
    return Scene("demo", demo_machine(), (workpiece,), bodies, (), (), ())


def m6() -> Screw:
    """A socket head cap screw, plain head (ISO 4762 M6: head 10 x 6)."""
    return Screw("ISO 4762", "M6", 10.0, 6.0, 6.0, 16.0)
