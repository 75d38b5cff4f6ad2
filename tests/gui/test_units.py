"""Lengths as the window shows and reads them. 1 inch is 25.4 mm by definition (ISO 80000-3)."""

import pytest

from app.window.units import (
    MINUS,
    NumberFault,
    Unit,
    angle,
    dial_text,
    length,
    length_in,
    number_in,
    proven,
    spare_text,
    used_up,
    with_unit,
)


@pytest.mark.parametrize(
    ("mm", "unit", "shown"),
    [
        (1.555, Unit.MM, "1.55"),  # nearest: 1.555 is a little under, as floats go
        (-2.95, Unit.MM, f"{MINUS}2.95"),
        (-0.001, Unit.MM, "0.00"),
        (25.4, Unit.INCH, "1.0000"),
        (1.55, Unit.INCH, "0.0610"),  # 0.061024
        (2.0, Unit.INCH, "0.0785"),  # 0.078740: nearer to 157 steps of 0.0005 than to 158
        (-0.23, Unit.INCH, f"{MINUS}0.0090"),
    ],
)
def test_that_a_length_is_shown_to_the_nearest_step(mm, unit, shown):
    assert length(mm, unit) == shown


@pytest.mark.parametrize(
    ("mm", "unit", "down", "up"),
    [
        (1.559, Unit.MM, "1.55", "1.56"),
        (2.0, Unit.MM, "2.00", "2.00"),
        (1.999999, Unit.MM, "2.00", "2.00"),
        (-0.001, Unit.MM, f"{MINUS}0.01", "0.00"),
        (1.27, Unit.INCH, "0.0500", "0.0500"),  # a twentieth of an inch
        (1.28, Unit.INCH, "0.0500", "0.0505"),  # 0.050394
        (-1.28, Unit.INCH, f"{MINUS}0.0505", f"{MINUS}0.0500"),
    ],
)
def test_that_what_is_proven_is_rounded_down_and_what_is_used_up_is_rounded_up(mm, unit, down, up):
    assert proven(mm, unit) == down
    assert used_up(mm, unit) == up


@pytest.mark.parametrize(
    ("spare", "keep_off", "unit", "shown"),
    [
        (1.9996, 2.0, Unit.MM, "1.99"),
        (0.004, 2.0, Unit.MM, "0.004"),
        (2.0, 2.0, Unit.INCH, "0.0785"),  # the keep-off shows alike, so it is seen to be kept
        (1.999, 2.0, Unit.INCH, "0.07870"),  # 0.078701 < 0.078740: told apart in the fifth digit
        (0.005, 2.0, Unit.INCH, "0.0001"),  # 0.000197 is above 0, and is seen to be
    ],
)
def test_that_a_spare_shows_on_which_side_of_its_limits_it_lies(spare, keep_off, unit, shown):
    assert spare_text(spare, keep_off, unit) == shown


@pytest.mark.parametrize(
    ("typed", "unit", "mm"),
    [
        ("21", Unit.MM, 21.0),
        (" 21,5 ", Unit.MM, 21.5),
        (f"{MINUS}0.5", Unit.MM, -0.5),
        ("1", Unit.INCH, 25.4),
        ("10mm", Unit.INCH, 10.0),
        ("0.5 inch", Unit.MM, 12.7),
        ('2"', Unit.MM, 50.8),
    ],
)
def test_that_typed_lengths_are_read_in_the_unit_of_the_window_unless_they_bring_their_own(typed, unit, mm):
    assert length_in(typed, unit) == pytest.approx(mm)


@pytest.mark.parametrize("typed", ["", "1/4", "ten", "nan", "inf", "1.2.3"])
def test_that_what_is_no_number_is_told_with_what_was_typed(typed):
    with pytest.raises(NumberFault, match=r"^'.*' is no number; expected digits, as 21\.0$"):
        number_in(typed)


def test_that_a_unit_follows_after_a_thin_space():
    assert with_unit("1.55", Unit.MM) == "1.55\u2009mm"


def test_that_a_field_shows_no_more_than_is_there():
    assert [dial_text(v, Unit.MM) for v in (18.0, 18.55, 6.5)] == ["18.0", "18.55", "6.5"]
    assert dial_text(25.4, Unit.INCH) == "1.0000"
    assert angle(-30) == f"{MINUS}30.00"
