"""What a set-up is made of: frozen values, names and numbers as the scene file gives them.

1. Lengths in mm, angles in degrees.
2. `origin` is opaque: the reader's mark of where the object stands in its file.
3. Positions are kept as placements ("stands on the riser, 25 behind its centre"); `placement.py`
   turns them into poses.
4. A group is a body without a shape; it carries its members.
5. What this file does not know: files, triangles, clearances.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from kinematics.machine import Machine
from kinematics.pose import Vector
from kinematics.shapes import Shape

ZERO: Vector = (0.0, 0.0, 0.0)
UP: Vector = (0.0, 0.0, 1.0)


@dataclass(frozen=True, slots=True)
class Placement:
    """Where a body stands: the base centre at `at`, turned about its own Z, then +Z onto `axis`.

    Parameters
    ----------
    rides_on : a frame (bed, table, head, P, or what a table axis carries), a body, or, for the
        members of a group, that group.
    face : the side of the body that it stands on; the frame there has its origin in the centre of
        that side of the body's box and its Z along the outward normal. Ignored for frames and groups.
    """

    rides_on: str
    at: Vector = ZERO
    turn_deg: float = 0.0
    axis: Vector = UP
    face: str = "+Z"


@dataclass(frozen=True, slots=True)
class BodyErrors:
    """A body's own set-up errors, where they differ from the scene's."""

    location: float | None = None
    body_model: float | None = None
    tilt_deg: float | None = None


@dataclass(frozen=True, slots=True)
class Body:
    """A solid, or (shape None) a group that carries others.

    `group` is the name of the group that lists this body, or None.
    """

    name: str
    placement: Placement
    shape: Shape | None
    errors: BodyErrors = BodyErrors()
    group: str | None = None
    origin: object = field(default=None, compare=False)


@dataclass(frozen=True, slots=True)
class State:
    """What the workpiece looks like when a cut begins. `after`: (orientation, cut) made before."""

    name: str
    bodies: tuple[Body, ...]
    after: tuple[tuple[str, str], ...] = ()
    origin: object = field(default=None, compare=False)


@dataclass(frozen=True, slots=True)
class Workpiece:
    """A part on the table. `zero` places P; `name` is None where the scene has only one."""

    name: str | None
    zero: Placement
    states: tuple[State, ...]
    origin: object = field(default=None, compare=False)


@dataclass(frozen=True, slots=True)
class HolderStep:
    """One length of a holder from the tool side: d1 lower, d2 upper diameter; name or None."""

    d1: float
    d2: float
    length: float
    name: str | None = None


@dataclass(frozen=True, slots=True)
class Holder:
    """A tool holder as a stack of steps from the tool side up to the gauge line.

    `grip` is the least gripped length; None means twice the shank diameter (common practice, no source).
    `shanks` are the least and the largest shank diameter that it grips, `interface` names the spindle that it fits;
    None: not known.
    """

    name: str
    steps: tuple[HolderStep, ...]
    title: str = ""
    grip: float | None = None
    origin: object = field(default=None, compare=False)
    shanks: tuple[float, float] | None = None
    interface: str | None = None


@dataclass(frozen=True, slots=True)
class OutlineStep:
    """One length of a tool given by its outline, from the tip: d1 lower, d2 upper."""

    d1: float
    d2: float
    length: float
    part: Literal["cutter", "neck", "shank"]


@dataclass(frozen=True, slots=True)
class Tool:
    """A tool in its holder. Lengths from the tip; `neck` is (diameter, how far up it reaches).

    `point_deg` is the included angle of the point, `taper_deg` the angle per side, `flank_deg` the
    flank of a dovetail measured from the flat. `outline`, if not empty, replaces them.
    """

    id: str
    kind: str
    stick_out: float
    holder: Holder
    d: float | None = None
    flute: float | None = None
    shank: float | None = None
    neck: tuple[float, float] | None = None
    corner_radius: float | None = None
    point_deg: float | None = None
    tip_d: float | None = None
    taper_deg: float | None = None
    flank_deg: float | None = None
    overall: float | None = None
    outline: tuple[OutlineStep, ...] = ()
    is_stick_out_measured: bool = False
    origin: object = field(default=None, compare=False)


@dataclass(frozen=True, slots=True)
class Hole:
    """Drilled from `at` on the surface, `depth` along the tool axis to the tip."""

    at: Vector
    depth: float


@dataclass(frozen=True, slots=True)
class Pocket:
    """A rectangular opening with its centre at `at`; first side along `along`, second square to it."""

    at: Vector
    size: tuple[float, float]
    along: Vector
    depth: float


@dataclass(frozen=True, slots=True)
class Slot:
    """A slot as wide as the cutter; `start` and `end` lie on the surface."""

    start: Vector
    end: Vector
    depth: float


@dataclass(frozen=True, slots=True)
class Profile:
    """A contour followed on one side. `outline` has its corners in the plane square to the tool axis,
    relative to `at`, along `along` and square to it; the tip runs `depth` below `at`."""

    outline: tuple[tuple[float, float], ...]
    at: Vector
    side: Literal["outside", "inside", "on"]
    depth: float = 0.0
    along: Vector | None = None
    is_rectangle: bool = False


@dataclass(frozen=True, slots=True)
class Face:
    """A rectangle that is faced: centre `at`, first side along `along`; the tip runs at `at`."""

    at: Vector
    size: tuple[float, float]
    along: Vector


@dataclass(frozen=True, slots=True)
class Path:
    """Tip positions in P, joined by straight moves."""

    points: tuple[Vector, ...]


Feature = Hole | Pocket | Slot | Profile | Face | Path


@dataclass(frozen=True, slots=True)
class Cut:
    """One feature, one tool, one orientation.

    `leave_to` is None where every position may lift straight up; else the point in P to which the
    tool leaves along its path, and which alone lifts. `workpiece` is None where there is only one.
    """

    name: str
    tool: str
    state: str
    feature: Feature
    retract: float
    leave_to: Vector | None = None
    workpiece: str | None = None
    origin: object = field(default=None, compare=False)


@dataclass(frozen=True, slots=True)
class Orientation:
    """A locked position of the table and the cuts that are made there. Angles by axis name."""

    name: str
    angles_deg: tuple[tuple[str, float], ...]
    cuts: tuple[Cut, ...]
    origin: object = field(default=None, compare=False)


@dataclass(frozen=True, slots=True)
class KeepOff:
    """The spare that the user wants, in mm."""

    cutter: float = 2.0
    holder: float = 2.0
    swing: float = 5.0


@dataclass(frozen=True, slots=True)
class SetupErrors:
    """What may use a clearance up (mm, degrees). `arm` fixes the arm of `tilt_deg`; None: the body's own."""

    location: float = 0.15
    body_model: float = 0.30
    diameters: float = 0.20
    stick_out: float = 0.50
    tilt_deg: float = 0.02
    arm: float | None = None


MEASURED_STICK_OUT_ERROR = 0.05  # mm, for a stick-out that was measured; an assumption


@dataclass(frozen=True, slots=True)
class Lift:
    """Where the tool waits between cuts and while the table swings."""

    kind: Literal["top", "gauge_z", "retract"] = "top"
    gauge_z: float | None = None


@dataclass(frozen=True, slots=True)
class Scene:
    """One set-up. `assumed` lists what the file did not say, in words."""

    title: str
    machine: Machine
    workpieces: tuple[Workpiece, ...]
    bodies: tuple[Body, ...]
    holders: tuple[Holder, ...]
    tools: tuple[Tool, ...]
    orientations: tuple[Orientation, ...]
    keep_off: KeepOff = KeepOff()
    setup_errors: SetupErrors = SetupErrors()
    lift: Lift = Lift()
    notes: tuple[str, ...] = ()
    assumed: tuple[str, ...] = ()
    origin: object = field(default=None, compare=False)

    def tool(self, tool_id: str) -> Tool:
        return next(tool for tool in self.tools if tool.id == tool_id)

    def workpiece_of(self, cut: Cut) -> Workpiece:
        if cut.workpiece is None:
            return self.workpieces[0]
        return next(w for w in self.workpieces if w.name == cut.workpiece)

    def cuts(self) -> tuple[tuple[Orientation, Cut], ...]:
        """All cuts in machining order, each with its orientation."""
        return tuple((o, c) for o in self.orientations for c in o.cuts)
