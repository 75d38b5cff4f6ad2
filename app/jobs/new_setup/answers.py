"""What somebody has answered about a new set-up, as frozen values. Lengths in mm, whatever they were typed in.

None means: not answered; the scene then has a working value, and says that it is assumed.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

from kinematics.pose import Vector

Units = Literal["mm", "inch"]
MM_PER_INCH = 25.4  # exactly, by the international yard and pound agreement of 1959


class HoldingKind(StrEnum):
    """How the bar is held."""

    DOVETAIL = "dovetail"
    VISE = "vise"
    SOFT_JAWS = "soft jaws"
    PLATE = "plate"


@dataclass(frozen=True, slots=True)
class PartAnswer:
    """The finished part.

    Parameters
    ----------
    file : its name beside the scene.
    units : of the file, where it does not say them itself.
    up : the direction of the file that becomes +Z.
    size : of its box with that direction up.
    """

    file: str
    units: str | None
    up: str
    size: Vector


@dataclass(frozen=True, slots=True)
class BarAnswer:
    """The stock. `top`: how far it stands over the part; what is below the part is held."""

    size: Vector | None = None
    top: float | None = None


@dataclass(frozen=True, slots=True)
class HoldingAnswer:
    """How the bar is held, on what the last table axis carries.

    Parameters
    ----------
    riser : height of the riser under it; 0 for none.
    grip : how high the bar is held, from its bottom (jaws), or what is left for the dovetail.
    turn : degrees about the platter's Z, right hand, fixture and part together.
    """

    kind: HoldingKind
    screw_standard: str | None = None
    screw_size: str | None = None
    riser: float | None = None
    grip: float | None = None
    turn: float = 0.0


@dataclass(frozen=True, slots=True)
class ToolAnswer:
    """One tool. `numbers` under the keys of the scene; `assumed`: what nobody said, in words."""

    id: str
    kind: str
    numbers: tuple[tuple[str, float], ...]
    holder: str
    neck: tuple[float, float] | None = None
    is_measured: bool = False
    assumed: tuple[str, ...] = ()
    line: str = ""

    def number(self, key: str) -> float | None:
        return dict(self.numbers).get(key)


@dataclass(frozen=True, slots=True)
class OrientationAnswer:
    """One orientation with its first cut: the tool's tip at a place of the part.

    Parameters
    ----------
    direction_P : from the tip up the tool, in the part's coordinates.
    angles_deg : of the table axes, one of the solutions for that direction.
    at : where the cut enters, in P; None for the middle of the part's box on that side.
    state : "bar" or "part": what the workpiece looks like when the cut begins.
    """

    name: str
    direction_P: Vector
    angles_deg: tuple[tuple[str, float], ...]
    tool: str
    at: Vector | None = None
    depth: float | None = None
    state: Literal["bar", "part"] | None = None
    cut: str | None = None


@dataclass(frozen=True, slots=True)
class Answers:
    """Everything about a new set-up.

    Parameters
    ----------
    units : that the file is written in.
    machine : a name of the library, or a path from the scene's folder.
    carrier : the frame of the machine that the fixture stands on.
    holders : names of this scene for holders of the library, (name, holder).
    taken : names that the machine has given: no body of the scene may have one.
    assumed : what nobody answered besides, in words for the scene's notes.
    """

    title: str
    units: Units
    machine: str
    carrier: str
    part: PartAnswer
    bar: BarAnswer
    holding: HoldingAnswer
    tools: tuple[ToolAnswer, ...]
    orientations: tuple[OrientationAnswer, ...]
    holders: tuple[tuple[str, str], ...] = ()
    retract: float | None = None
    taken: frozenset[str] = frozenset()
    assumed: tuple[str, ...] = ()
