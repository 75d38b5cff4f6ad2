"""How far the part may be off, cut by cut, and how that is said.

1. On top of the set-up errors: what is told here is there for the taking only while they are what the scene says.
2. Numbers are rounded down; what may be off by 10 mm or 10 degrees may be off freely.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from app.jobs.report import Json, nearest
from app.jobs.words import number
from kinematics.answers.part_off import FARTHEST, FARTHEST_DEG, Off, PartOff, Way, exact_part_off, part_off
from kinematics.placed_cut import placed_cuts
from kinematics.prepared import Prepared

_TAKEN_DOWN = 2e-6  # mm; what is short of a round number by no more is that number


def parts_off(prepared: Prepared) -> Iterator[PartOff]:
    """One answer per cut in machining order, to first order."""
    for placed in placed_cuts(prepared):
        yield part_off(placed)


def exact_parts_off(prepared: Prepared) -> Iterator[PartOff]:
    """One answer per cut in machining order, exact."""
    for placed in placed_cuts(prepared):
        yield exact_part_off(placed)


def rounded_down(value: float, digits: int = 2) -> float:
    """No more than there is."""
    scale = 10.0**digits
    return math.floor((value + _TAKEN_DOWN) * scale) / scale


@dataclass(frozen=True, slots=True)
class Measure:
    """In what lengths are told: how many mm one is, and with how many digits, rounded down."""

    mm: float
    digits: int


IN_MM, IN_INCH = Measure(1.0, 1), Measure(25.4, 3)


def part_off_line(answer: PartOff, measure: Measure = IN_MM) -> str:
    """`Part may be off: 1.7 to you, 3.3 left or right, free away from you`, least first."""
    if answer.why is not None:
        return f"How far the part may be off is not known: {answer.why}"
    shifts = [off for off in answer.ways if not off.way.is_turn]
    if all(off.most == 0.0 for off in shifts):
        return "Part may not be off at all: the spare is used up"
    said = [f"{amount} {_either(offs)}" for amount, offs in _alike(shifts, measure)]
    turns = [off for off in answer.ways if off.way.is_turn and off.most is not None]
    if turns:
        both = len(turns) == 2 and _amount(turns[0]) == _amount(turns[1])
        ways = [f"{_amount(turns[0])} deg either way"] if both else [f"{_amount(t)} deg {t.way.value}" for t in turns]
        said.append(f"turned {' or '.join(ways)}")
    return f"Part may be off: {', '.join(said)}"


def _alike(offs: Sequence[Off], measure: Measure) -> list[tuple[str, list[Off]]]:
    """Ways by what is said of them, the least first, freely last."""
    ranked = sorted(offs, key=lambda off: math.inf if off.most is None else rounded_down(off.most, 1))
    groups: dict[str, list[Off]] = {}
    for off in ranked:
        groups.setdefault(_amount(off, measure), []).append(off)
    return list(groups.items())


def _amount(off: Off, measure: Measure = IN_MM) -> str:
    """A shift in a measure, or a turn in degrees."""
    if off.most is None:
        return "free"
    return number(rounded_down(off.most / measure.mm, measure.digits), measure.digits)


def _either(offs: Sequence[Off]) -> str:
    names = [off.way.value for off in sorted(offs, key=lambda off: list(Way).index(off.way))]
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} or {names[-1]}"


def part_off_json(answer: PartOff) -> Json:
    """One cut of the list "part_off" of `tightside check --part-off --json`."""
    return {
        "orientation": answer.orientation,
        "cut": answer.cut,
        "ways": [_off_json(off) for off in answer.ways],
        "why": answer.why,
    }


def _off_json(off: Off) -> Json:
    return {
        "way": off.way.value,
        "unit": "deg" if off.way.is_turn else "mm",
        "most": None if off.most is None else nearest(rounded_down(off.most, 4)),
        "free": off.most is None,
        "looked": FARTHEST_DEG if off.way.is_turn else FARTHEST,
        "exact": off.is_exact,
        "between": None if off.between is None else list(off.between),
    }
