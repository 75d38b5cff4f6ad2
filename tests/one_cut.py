"""Set-ups with one cut, built from numbers: what tests of whole cuts need, and nothing else."""

from kinematics.clearance import check_cuts
from kinematics.machine import LinearAxis, Machine
from kinematics.pose import Vector
from kinematics.scene import (
    Body,
    Cut,
    Feature,
    Holder,
    HolderStep,
    KeepOff,
    Lift,
    Orientation,
    Placement,
    Scene,
    SetupErrors,
    State,
    Tool,
    Workpiece,
)
from kinematics.shapes import Box, Shape

NO_ERRORS = SetupErrors(0.0, 0.0, 0.0, 0.0, 0.0)
NUT = Holder("H", (HolderStep(20.0, 20.0, 30.0, "nut"), HolderStep(40.0, 40.0, 50.0)))
LIMITS = (-500.0, 500.0)


def plain_machine(*, operator: Vector = (0.0, -1.0, 0.0), moves_table: str = "", bodies: tuple[Body, ...] = ()):
    """A machine without table axes; `moves_table` names the linear axes that move the table."""
    x, y, z = (LinearAxis(n, LIMITS, "table" if n in moves_table else "head") for n in "xyz")
    return Machine("m", "machine", (x, y, z), (), operator, (), None, (), bodies)


def body(name: str, shape: Shape, at: Vector = (0.0, 0.0, 0.0), *, on: str = "table", **placement: object) -> Body:
    return Body(name, Placement(on, at, **placement), shape)


def end_mill(d: float = 10.0, flute: float = 20.0, *, stick_out: float = 40.0, holder: Holder = NUT, **numbers: object):
    """An end mill; its shank is as thick as the cutter unless told otherwise."""
    numbers = {"kind": "end mill", "shank": d, **numbers}
    return Tool("T", stick_out=stick_out, holder=holder, d=d, flute=flute, **numbers)


def one_cut(
    feature: Feature,
    tool: Tool,
    *bodies: Body,
    part: tuple[Body, ...] | None = None,
    zero: Placement | None = None,
    machine: Machine | None = None,
    angles: tuple[tuple[str, float], ...] = (),
    retract: float = 10.0,
    leave_to: Vector | None = None,
    lift: Lift | None = None,
    errors: SetupErrors = NO_ERRORS,
    keep_off: KeepOff | None = None,
) -> Scene:
    """A set-up with one cut. The part is a plate far below P unless given; the lift is the retract."""
    part = part or (Body("part", Placement("P", (0.0, 0.0, -400.0)), Box(1.0, 1.0, 1.0)),)
    cut = Cut("cut", tool.id, "raw", feature, retract, leave_to)
    return Scene(
        title="one cut",
        machine=machine or plain_machine(),
        workpieces=(Workpiece(None, zero or Placement("table"), (State("raw", part),)),),
        bodies=bodies,
        holders=(tool.holder,),
        tools=(tool,),
        orientations=(Orientation("V1", angles, (cut,)),),
        keep_off=keep_off or KeepOff(),
        setup_errors=errors,
        lift=lift or Lift("retract"),
    )


def report_of(scene: Scene):
    """The report of the only cut."""
    (report,) = check_cuts(scene)
    return report


def pair_of(report, part: str, obstacle: str):
    """What a report says of one pair; None where it does not name it."""
    listed = [p for p in (report.worst, *report.next, *report.not_checked) if p is not None]
    return next((p for p in listed if p.between == (part, obstacle)), None)
