"""Lengths as the sheet prints them: mm, inch or both, each rounded so that no more is claimed than is so.

1. What room there is, is rounded down; what must be kept or stopped at, up; what is only to be set or read, to the
   nearest. An inch number is rounded from mm by itself, never from the mm that are printed.
2. A number that stands for a limit is off by no more than one step of the sheet: 0.1 mm, 0.001 inch.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from app.jobs.words import MINUS

Units = Literal["mm", "inch", "both"]
Rounding = Literal["down", "up", "near"]

MM_PER_INCH = 25.4  # exactly, by the international yard and pound agreement of 1959
DIGITS_MM, DIGITS_INCH = 1, 3  # of a gap, a stop, a limit
NBSP = "\u00a0"  # between a number and its unit
FINE_MM, FINE_INCH = 2, 4  # of a coordinate of the control
_TAKEN_DOWN = 2e-6  # mm; twice the rounding that is subtracted before a bound is called proven
_SET_MM, _SET_INCH = 3, 4  # decimals of what the file gives, at most


@dataclass(frozen=True, slots=True)
class Lengths:
    """Formats lengths given in mm. With "both", mm come first and inch stand in brackets."""

    units: Units = "mm"

    @property
    def name(self) -> str:
        return {"mm": "mm", "inch": "inch", "both": "mm (inch)"}[self.units]

    def down(self, value: float) -> str:
        """Room that is proven."""
        return self._text(value, "down", DIGITS_MM, DIGITS_INCH)

    def up(self, value: float) -> str:
        """What is needed, or what may be used up."""
        return self._text(value, "up", DIGITS_MM, DIGITS_INCH)

    def near(self, value: float) -> str:
        """A size to know a thing by."""
        return self._text(value, "near", DIGITS_MM, DIGITS_INCH)

    def fine(self, value: float) -> str:
        """A coordinate."""
        return self._text(value, "near", FINE_MM, FINE_INCH)

    def given(self, value: float) -> str:
        """A number of the file with as many decimals as it has, one (inch: three) at least."""
        return self._both(_given(value, DIGITS_MM, _SET_MM), _given(value / MM_PER_INCH, DIGITS_INCH, _SET_INCH))

    def split(self, text: str) -> tuple[str, str]:
        """A length as its number and what stands in brackets, without them."""
        first, _, second = text.partition(" (")
        return first, second.rstrip(")")

    def unit(self, text: str) -> str:
        """A length with its unit."""
        if self.units == "both":
            first, second = self.split(text)
            return f"{first}{NBSP}mm ({second}{NBSP}inch)"
        return f"{text}{NBSP}{self.units}"

    def _text(self, value: float, way: Rounding, digits_mm: int, digits_inch: int) -> str:
        inch = _rounded(value / MM_PER_INCH, way, digits_inch, _TAKEN_DOWN / MM_PER_INCH)
        return self._both(_rounded(value, way, digits_mm, _TAKEN_DOWN), inch)

    def _both(self, mm: str, inch: str) -> str:
        return {"mm": mm, "inch": inch, "both": f"{mm} ({inch})"}[self.units]


def _rounded(value: float, way: Rounding, digits: int, slack: float) -> str:
    scale = 10.0**digits
    match way:
        case "down":
            number = math.floor((value + slack) * scale) / scale
        case "up":
            number = math.ceil((value - slack) * scale) / scale
        case "near":
            number = value
    return signed(f"{number:.{digits}f}")


def _given(value: float, least: int, most: int) -> str:
    text = f"{value:.{most}f}"
    while text.endswith("0") and len(text) - text.index(".") - 1 > least:
        text = text[:-1]
    return signed(text)


def signed(text: str) -> str:
    """A number with a true minus; what is zero has no sign."""
    if float(text) == 0.0:
        text = text.removeprefix("-")
    return text.replace("-", MINUS)


def pin_between(stop: float, gap: float, units: Units) -> str | None:
    """The largest pin, in half millimetres, that is over the stop and under the gap, both as printed; None if none.

    In inch the sizes go by 0.020, which is about as much.
    """
    step, digits, factor = (0.5, DIGITS_MM, 1.0) if units != "inch" else (0.02, DIGITS_INCH, MM_PER_INCH)
    slack = _TAKEN_DOWN / factor
    low = float(_rounded(stop / factor, "up", digits, slack).replace(MINUS, "-"))
    high = float(_rounded(gap / factor, "down", digits, slack).replace(MINUS, "-"))
    size = (math.ceil(high / step - 1e-9) - 1) * step
    return f"{size:.{digits}f}" if size > low and size > 0.0 else None
