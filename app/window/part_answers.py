"""What the engine's process is asked about parts and changes beside a check: frozen values that can be pickled.

They travel as `about` of a Look with one of the panels of PANELS, and come back as the value of a Found.
"""

from __future__ import annotations

from dataclasses import dataclass

from app.jobs.new_setup.answers import PartAnswer
from app.jobs.new_setup.part_files import UnitQuestion
from app.jobs.proposals import Proposal
from app.view3d.display_meshes import DisplayMesh
from kinematics.measured.found import Declined, FoundHole, FoundPocket, FoundSlot
from kinematics.pose import Vector
from kinematics.verdict import Verdict

PART, FEATURE, ALTERNATIVES, POSITIONS = "part", "feature", "alternatives", "positions"
WORKPIECE, MEASURED = "workpiece", "measured"
PANELS = (PART, FEATURE, ALTERNATIVES, POSITIONS, WORKPIECE, MEASURED)


@dataclass(frozen=True, slots=True)
class PartWanted:
    """A part file to be measured. `units` where it does not say them itself; `up`: what becomes +Z."""

    path: str
    units: str | None
    up: str


@dataclass(frozen=True, slots=True)
class PartShown:
    """A part that was measured, with a mesh of it for the eye, the middle of its top at the origin."""

    answer: PartAnswer
    mesh: DisplayMesh


PartValue = PartShown | UnitQuestion | str  # a text says why it can't be read


@dataclass(frozen=True, slots=True)
class FeatureWanted:
    """What a part has at a point of its surface, as PartShown places it, mm."""

    part: PartWanted
    point: Vector
    normal: Vector


@dataclass(frozen=True, slots=True)
class FeatureShown:
    """What was measured there; the direction is that of the tool, from the tip up."""

    point: Vector
    found: FoundHole | FoundPocket | FoundSlot | Declined


@dataclass(frozen=True, slots=True)
class AlternativesShown:
    """The changes that were found so far for an orientation, best first; `is_done`: there are no more."""

    orientation: str
    found: tuple[Proposal, ...]
    is_done: bool
    why_none: str = ""


@dataclass(frozen=True, slots=True)
class Position:
    """A position of the table that aims the tool alike, and what the cuts of the orientation leave there.

    Parameters
    ----------
    angles_deg : by axis, as the scene counts them; `edits` are those that differ from now, by path.
    spare : the worst of the orientation, mm; None on contact, or where nothing was established.
    travel_left : the least of any linear axis, mm; None where it can't be reached.
    outside : axes whose limits it breaks.
    why : what the verdict comes from where that is no spare.
    """

    angles_deg: tuple[tuple[str, float], ...]
    edits: tuple[tuple[str, float], ...]
    is_now: bool
    verdict: Verdict
    spare: float | None
    keep_off: float
    travel_left: float | None
    outside: tuple[str, ...]
    why: str = ""


@dataclass(frozen=True, slots=True)
class PositionsShown:
    """Both solutions of the table, the one that stands in the scene first."""

    orientation: str
    positions: tuple[Position, ...]


@dataclass(frozen=True, slots=True)
class WorkpieceShown:
    """The mesh of a workpiece as a cut finds it, in the part's coordinates P; a text where there is none to measure."""

    cut: tuple[str, str]
    body: str
    mesh: DisplayMesh | None
    why: str = ""


@dataclass(frozen=True, slots=True)
class MeasureWanted:
    """What the workpiece of a cut has at a point of its surface, in P, mm."""

    cut: tuple[str, str]
    point: Vector
    normal: Vector


@dataclass(frozen=True, slots=True)
class MeasuredShown:
    """What was measured, in P, and where the table stands for it.

    Parameters
    ----------
    orientations : those of the scene whose tool comes from that direction.
    positions : of the table for a new orientation, within its limits, by axis.
    """

    point: Vector
    found: FoundHole | FoundPocket | FoundSlot | Declined
    orientations: tuple[str, ...] = ()
    positions: tuple[tuple[tuple[str, float], ...], ...] = ()
