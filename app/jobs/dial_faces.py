"""What a dial shows, as frozen values without any geometry: what can be turned, its curve of spare, its ranges.

1. Values of a dial are mm or degrees whatever the units of the file; `edits` gives what to set in the file.
2. A verdict of None is of a stretch that was not computed yet; it is never clear.
3. Loading this file does not load the engine.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from kinematics.verdict import Verdict

Edit = tuple[str, float | str]  # path and value, in the units of the file


class DialKind(StrEnum):
    """What a dial's values are."""

    LENGTH = "length"
    ANGLE = "angle"
    PLAIN = "plain"
    CHOICE = "choice"


class DialScope(StrEnum):
    """Whose worst spare a dial shows."""

    CUT = "this cut"
    TOOL = "all cuts of the tool"
    ALL = "all"


@dataclass(frozen=True, slots=True)
class Choice:
    """One value of a dial without numbers, and what to set for it."""

    word: str
    edits: tuple[Edit, ...]


@dataclass(frozen=True, slots=True)
class NumberRule:
    """The dial is one number of the file: its value times `per_unit`."""

    path: str
    per_unit: float = 1.0


@dataclass(frozen=True, slots=True)
class KeptZero:
    """A part zero that keeps its place while what it stands on turns: paths of x, y and turn, and what they are now.

    `centre` is where the axis of the turn meets the frame that the zero stands in; lengths in the units of the file.
    """

    x_path: str
    y_path: str
    turn_path: str
    x: float
    y: float
    turn_deg: float
    centre: tuple[float, float]


@dataclass(frozen=True, slots=True)
class TurnRule:
    """The dial turns a group about its own Z under parts that stay; its value is the group's `turn`, degrees."""

    path: str
    now_deg: float
    kept: tuple[KeptZero, ...]


@dataclass(frozen=True, slots=True)
class DialOffer:
    """A dial that a scene has.

    Parameters
    ----------
    key : names it: a path, or `fixture turn`, `screw heads`.
    name : on the row, short.
    now : the value in the scene: mm, degrees, or the word of a choice.
    low, high : the ends of its face.
    rule : what a number means in the file; None: it can't be turned.
    choices : of a dial without numbers, else empty.
    tool, orientation : what it belongs to alone, if so.
    group : dials of one group share a row, as those of the part along x, y and z.
    """

    key: str
    name: str
    kind: DialKind
    now: float | str
    low: float = 0.0
    high: float = 0.0
    rule: NumberRule | TurnRule | None = None
    choices: tuple[Choice, ...] = ()
    tool: str | None = None
    orientation: str | None = None
    group: str = ""


def edits(offer: DialOffer, value: float | str) -> tuple[Edit, ...]:
    """What to set in the file for a value of a dial."""
    if isinstance(value, str):
        return next(choice.edits for choice in offer.choices if choice.word == value)
    match offer.rule:
        case NumberRule(path=path, per_unit=per_unit):
            return ((path, round(value * per_unit, 9)),)
        case TurnRule() as rule:
            return _turned(rule, value)
        case None:
            raise AssertionError("a dial with numbers says which")


def _turned(rule: TurnRule, value: float) -> tuple[Edit, ...]:
    by = _wrapped(value - rule.now_deg)
    cos, sin = _exact(math.cos(math.radians(by))), _exact(math.sin(math.radians(by)))
    found: list[Edit] = [(rule.path, round(_wrapped(value), 9))]
    if by == 0.0:
        return tuple(found)
    for zero in rule.kept:
        (cx, cy), dx, dy = zero.centre, zero.x - zero.centre[0], zero.y - zero.centre[1]
        x, y = cx + cos * dx + sin * dy, cy - sin * dx + cos * dy  # turned back by as much
        found += [(path, new) for path, old, new in _changed(zero, x, y, _wrapped(zero.turn_deg - by)) if new != old]
    return tuple(found)


def _changed(zero: KeptZero, x: float, y: float, turn_deg: float) -> tuple[tuple[str, float, float], ...]:
    return (
        (zero.x_path, zero.x, round(x, 9) + 0.0),
        (zero.y_path, zero.y, round(y, 9) + 0.0),
        (zero.turn_path, zero.turn_deg, round(turn_deg, 9) + 0.0),
    )


def _exact(value: float) -> float:
    """A quarter turn is exact."""
    return round(value) + 0.0 if abs(value - round(value)) < 1e-12 else value


def _wrapped(angle_deg: float) -> float:
    """The same angle in (-180, 180]."""
    wrapped = math.fmod(angle_deg, 360.0)
    return wrapped - 360.0 if wrapped > 180.0 else wrapped + 360.0 if wrapped <= -180.0 else wrapped


# ---- what is known of its values -----------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class CurvePoint:
    """The worst spare at one value; None where solids touch or nothing was established."""

    value: float
    spare: float | None


@dataclass(frozen=True, slots=True)
class DialRange:
    """A stretch of values with one verdict (None: not computed yet).

    `spare` is the least in it where that is known; `is_flat`: it is the same all along; `where`: which cut, or pair.
    """

    start: float
    end: float
    verdict: Verdict | None
    spare: float | None = None
    is_flat: bool = False
    where: str = ""


@dataclass(frozen=True, slots=True)
class DialCell:
    """One choice with its verdict (None: not computed yet)."""

    word: str
    verdict: Verdict | None
    spare: float | None = None
    where: str = ""


@dataclass(frozen=True, slots=True)
class DialFace:
    """What a dial shows under its hand.

    Parameters
    ----------
    key, scope : of which dial, and whose spare.
    keep_off : the spare that is wanted, mm.
    curve : worst spare, by value.
    ranges, cells : of a dial with numbers, of one with choices.
    least_clear : the least value from which on it is clear; None where none is known.
    is_never_clear : every value was looked at, and none is clear.
    n_done, n_all : how much of it is computed.
    why : why nothing can be told.
    """

    key: str
    scope: DialScope
    keep_off: float
    curve: tuple[CurvePoint, ...] = ()
    ranges: tuple[DialRange, ...] = ()
    cells: tuple[DialCell, ...] = ()
    least_clear: float | None = None
    is_never_clear: bool = False
    n_done: int = 0
    n_all: int = 0
    why: str | None = None

    @property
    def is_finished(self) -> bool:
        return self.n_done >= self.n_all

    @property
    def has_clear(self) -> bool:
        """Whether some value of it is clear."""
        verdicts = [*(r.verdict for r in self.ranges), *(c.verdict for c in self.cells)]
        return Verdict.CLEAR in verdicts
