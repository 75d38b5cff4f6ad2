"""What a check says: frozen values, no words for people beyond names and reasons.

Lengths in mm, angles in degrees. None means that the thing does not exist or could not be computed;
a reader of these values must never take None for "clear".
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

from kinematics.pose import Vector
from kinematics.verdict import Verdict

ContactKind = Literal["overlap", "inside"]


class SecondOpinion(StrEnum):
    """What a second engine says of the numbers; OFF: nothing was computed a second time."""

    AGREES = "agrees"
    DISAGREES = "disagrees"
    OFF = "off"


@dataclass(frozen=True, slots=True)
class Interval:
    """`at_least` is proven, `value` is attained at the witness points. Negative: depth of overlap."""

    at_least: float
    value: float


@dataclass(frozen=True, slots=True)
class ErrorTerms:
    """What set-up errors use of one clearance; a term that does not apply is 0."""

    location: float
    body_model: float
    diameters: float
    stick_out: float
    tilt: float

    @property
    def total(self) -> float:
        return self.location + self.body_model + self.diameters + self.stick_out + self.tilt

    @property
    def rss(self) -> float:
        """Root sum of squares, for information only (GUM, JCGM 100: independent terms)."""
        terms = (self.location, self.body_model, self.diameters, self.stick_out, self.tilt)
        return sum(t * t for t in terms) ** 0.5


@dataclass(frozen=True, slots=True)
class PairReport:
    """One tool-side part against one obstacle, over the whole cut.

    `clearance` and `spare` are None on overlap without a depth (`contact` then says which kind) and
    where the pair was not checked (`why` then says why). `points_W`: on the tool side, on the
    obstacle. `tip_W`: where the tip stands at that moment. `normal_W` points from the first of
    `between` to the second.
    """

    between: tuple[str, str]
    verdict: Verdict
    keep_off: float
    clearance: Interval | None
    spare: float | None
    contact: ContactKind | None
    setup_error: ErrorTerms | None
    points_W: tuple[Vector, Vector] | None
    normal_W: Vector | None
    tip_W: Vector | None
    why: str | None = None


@dataclass(frozen=True, slots=True)
class DepthReport:
    """The depth rule: flute needed and there, mm. None where the cut has no rule (a probe)."""

    verdict: Verdict
    needs: float
    has: float


@dataclass(frozen=True, slots=True)
class AxisTravel:
    """What one linear axis reaches over the cut, and what is left of its travel on each side."""

    reached: tuple[float, float]
    left: tuple[float, float]


@dataclass(frozen=True, slots=True)
class TravelReport:
    """Linear and table travel over a cut. `why` says in words what cannot be reached."""

    verdict: Verdict
    x: AxisTravel
    y: AxisTravel
    z: AxisTravel
    least_left: float
    why: str | None = None


@dataclass(frozen=True, slots=True)
class CutReport:
    """One cut. `worst` is the pair that the verdict's numbers come from (None if there is no pair).

    `ties` are the pairs within 0.005 mm of it; `next` the four after it, and always the pair of
    least clearance. `why` says why a cut as a whole was not checked. `left_out` lists the pairs
    that were not compared, with the reason.
    """

    orientation: str
    cut: str
    workpiece: str | None
    tool: str
    holder: str
    angles_deg: tuple[tuple[str, float], ...]
    verdict: Verdict
    worst: PairReport | None
    ties: tuple[tuple[str, str], ...]
    next: tuple[PairReport, ...]
    side: str | None
    clock: int | None
    part_side: str | None
    is_hidden_from_operator: bool | None
    above_platter: float | None
    points_P: tuple[Vector, Vector] | None
    tip_P: Vector | None
    depth: DepthReport | None
    travel: TravelReport
    not_checked: tuple[PairReport, ...] = ()
    left_out: tuple[tuple[str, str], ...] = ()
    why: str | None = None
    origin: object = None
    second_opinion: SecondOpinion = SecondOpinion.OFF


@dataclass(frozen=True, slots=True)
class SwingReport:
    """A move of the table between two orientations, or (a link) of the tool between two cuts of one.

    `start` and `end` are orientation names ("home" for where the table stands at the start), for a
    link the names of the two cuts. `is_proven_enough`: the search stopped when the verdict was proven,
    so that the interval may be wide. `tool` is the one of the tightest pair; None where no tool is in
    it. `clearance` and `spare` are None on contact and where nothing was established (`why` says).
    """

    start: str
    end: str
    orientation: str | None
    verdict: Verdict
    is_proven_enough: bool
    keep_off: float
    clearance: Interval | None
    spare: float | None
    contact: ContactKind | None
    setup_error: ErrorTerms | None
    between: tuple[str, str] | None
    tool: str | None
    points_W: tuple[Vector, Vector] | None
    normal_W: Vector | None
    side: str | None
    clock: int | None
    part_side: str | None
    at_angles_deg: tuple[tuple[str, float], ...]
    lift_gauge_z: float
    least_lift_gauge_z: float | None
    n_queries: int
    why: str | None = None
    left_out: tuple[tuple[str, str], ...] = ()
    second_opinion: SecondOpinion = SecondOpinion.OFF
