"""Numbers as the window shows and reads them, in mm or inch.

1. Inside, lengths are mm. What is shown is in the unit that the user chose: to 0.01 mm, to 0.0005 inch.
2. A proven number is rounded down, as `app/jobs/words.py` rounds it; where two digits would blur on which side of a
   limit it lies, more are shown.
3. A minus is U+2212; before a unit stands a thin space.
4. Typed text may have a decimal comma and either minus; a fraction or a unit is told what was expected.
"""

from __future__ import annotations

import math
from enum import StrEnum

from app.jobs import words
from app.jobs.words import MINUS
from kinematics.errors import TightsideError

MM_PER_INCH = 25.4
THIN_SPACE = "\u2009"
DEGREE = "°"
_TAKEN_DOWN = 2e-6  # mm; as in words.py: bounds are taken down by rounding before they are called proven
_INCH_STEPS = (0.0005, 0.0001, 0.00001)
_INCH_DIGITS = (4, 4, 5)


class NumberFault(TightsideError):
    """A typed number that can't be read."""


class Unit(StrEnum):
    """The unit of all lengths in the window."""

    MM = "mm"
    INCH = "inch"

    @property
    def mm(self) -> float:
        """One of it, in mm."""
        return 1.0 if self is Unit.MM else MM_PER_INCH

    @property
    def step(self) -> float:
        """The smallest difference that is shown, in this unit."""
        return 0.01 if self is Unit.MM else 0.0005


def length(mm: float, unit: Unit) -> str:
    """A length to the nearest step, without its unit; the sign is always there below 0."""
    if unit is Unit.MM:
        return words.number(mm)
    return words.number(round(mm / MM_PER_INCH / 0.0005) * 0.0005, 4)


def with_unit(text: str, unit: Unit) -> str:
    """A number with its unit after a thin space."""
    return f"{text}{THIN_SPACE}{unit}"


def proven(mm: float, unit: Unit) -> str:
    """A proven clearance or spare, rounded down to a step: no more is told than there is."""
    return words.proven(mm) if unit is Unit.MM else _inch_down(mm, 0)


def used_up(mm: float, unit: Unit) -> str:
    """What may be used up, or must not be gone under: rounded up to a step."""
    step = unit.step
    return words.number(math.ceil((mm - _TAKEN_DOWN) / unit.mm / step) * step, 2 if unit is Unit.MM else 4)


def spare_text(spare: float, keep_off: float, unit: Unit) -> str:
    """A spare, rounded down, with as many digits as show that it is above or below 0 and the keep-off."""
    if unit is Unit.MM:
        return words.spare_text(spare, keep_off)
    for i in range(len(_INCH_STEPS)):
        text = _inch_down(spare, i)
        shown = number_in(text)
        wanted = number_in(_inch_down(keep_off, i))
        if (shown > 0.0) == (spare > 0.0) and (shown < wanted) == (spare < keep_off):
            return text
    return _inch_down(spare, len(_INCH_STEPS) - 1)


def _inch_down(mm: float, i: int) -> str:
    step = _INCH_STEPS[i]
    return words.number(math.floor((mm + _TAKEN_DOWN) / MM_PER_INCH / step) * step, _INCH_DIGITS[i])


def dial_text(mm: float, unit: Unit) -> str:
    """A length in a dial's field: at least one decimal in mm, no more than are there; four in inch."""
    if unit is Unit.INCH:
        return words.number(mm / MM_PER_INCH, 4)
    text = words.number(mm)
    return text.removesuffix("0") if text.endswith("0") else text


def angle(degrees: float) -> str:
    """An angle to 0.01 degrees, without its sign of degree."""
    return words.number(degrees)


def with_degree(text: str) -> str:
    """An angle with its sign."""
    return f"{text}{DEGREE}"


def number_in(text: str) -> float:
    """The number that was typed. Raises NumberFault."""
    plain = text.strip().replace(MINUS, "-").replace(",", ".").removesuffix(DEGREE)
    try:
        value = float(plain)
    except ValueError:
        raise NumberFault(f"'{text.strip()}' is no number; expected digits, as 21.0") from None
    if not math.isfinite(value):
        raise NumberFault(f"'{text.strip()}' is no number; expected digits, as 21.0")
    return value


def length_in(text: str, unit: Unit) -> float:
    """The length in mm that was typed in a unit; a unit behind it goes before the window's. Raises NumberFault."""
    stripped = text.strip().lower()
    for ending, own in (("mm", Unit.MM), ("inch", Unit.INCH), ("in", Unit.INCH), ('"', Unit.INCH)):
        if stripped.endswith(ending):
            return number_in(stripped.removesuffix(ending)) * own.mm
    return number_in(stripped) * unit.mm
