"""Lengths on the sheet: room is rounded down, limits up, and a pin lies between what both say."""

from __future__ import annotations

from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.jobs.sheet.lengths import MM_PER_INCH, Lengths, pin_between

MM, INCH, BOTH = Lengths("mm"), Lengths("inch"), Lengths("both")
SLACK = 2e-6  # mm; what bounds are taken down by before they are called proven, twice
lengths = st.floats(0.0, 500.0)


def number(text: str) -> float:
    return float(text.replace("\u2212", "-"))


@given(lengths)
def test_that_room_is_never_told_larger_and_a_limit_never_smaller(value: float) -> None:
    for L, step, factor in ((MM, 0.1, 1.0), (INCH, 0.001, MM_PER_INCH)):
        low, high = number(L.down(value)) * factor, number(L.up(value)) * factor
        assert value - step * factor - SLACK < low <= value + SLACK
        assert value - SLACK <= high < value + step * factor + SLACK


@given(st.decimals(0, 400, places=3))
def test_that_mm_are_what_decimal_arithmetic_makes_of_them(value: Decimal) -> None:
    assert Decimal(MM.down(float(value))) == value.quantize(Decimal("0.1"), ROUND_FLOOR)
    assert Decimal(MM.up(float(value))) == value.quantize(Decimal("0.1"), ROUND_CEILING)


@pytest.mark.parametrize(
    ("value", "down", "up"),
    [
        (2.4999990, "2.5", "2.5"),  # taken down by the rounding of a bound
        (2.2360, "2.2", "2.3"),
        (0.6900, "0.6", "0.7"),
        (0.0, "0.0", "0.0"),
        (-0.05, "\u22120.1", "0.0"),
    ],
)
def test_that_the_demos_lengths_are_told_as_its_drawing_does(value: float, down: str, up: str) -> None:
    assert (MM.down(value), MM.up(value)) == (down, up)


def test_that_two_units_are_each_rounded_from_the_length_itself() -> None:
    assert BOTH.down(2.59) == "2.5 (0.101)"  # 2.59 / 25.4 = 0.10197; 2.5 / 25.4 would be 0.098
    assert BOTH.unit(BOTH.down(2.59)) == "2.5\u00a0mm (0.101\u00a0inch)"
    assert INCH.unit(INCH.up(1.19)) == "0.047\u00a0inch"  # 0.04685


@pytest.mark.parametrize(
    ("value", "mm", "inch"), [(18.0, "18.0", "0.7087"), (31.75, "31.75", "1.250"), (9.525, "9.525", "0.375")]
)
def test_that_what_is_to_be_set_keeps_the_decimals_of_the_file(value: float, mm: str, inch: str) -> None:
    assert (MM.given(value), INCH.given(value)) == (mm, inch)


@given(st.floats(0.0, 5.0), st.floats(0.0, 8.0))
def test_that_the_pin_is_the_largest_half_millimetre_between_the_two_as_printed(stop: float, gap: float) -> None:
    low, high = number(MM.up(stop)), number(MM.down(gap))
    sizes = [k / 2 for k in range(1, 20) if low < k / 2 < high - 1e-9]  # by trying every size
    found = pin_between(stop, gap, "mm")
    assert (None if found is None else float(found)) == (max(sizes) if sizes else None)


@given(st.floats(0.0, 5.0), st.floats(0.0, 8.0))
def test_that_an_inch_pin_is_of_20_thousandths(stop: float, gap: float) -> None:
    low, high = number(INCH.up(stop)), number(INCH.down(gap))
    sizes = [k / 50 for k in range(1, 20) if low + 1e-9 < k / 50 < high - 1e-9]
    found = pin_between(stop, gap, "inch")
    assert (None if found is None else float(found)) == (pytest.approx(max(sizes)) if sizes else None)


def test_that_the_demos_pins_are_those_of_its_drawing() -> None:
    assert pin_between(1.19, 2.5, "mm") == "2.0"
    assert pin_between(0.69, 2.236, "mm") == "2.0"
    assert pin_between(0.69, 0.84, "mm") is None
