"""What people write instead of a number: each trap has its own words and the right number.

Conversions are checked against the exact definition 1 inch = 25.4 mm (international yard and pound
agreement, 1959); fractions against Python's `fractions`.
"""

from __future__ import annotations

from fractions import Fraction

import pytest

from app.scenes.traps import looks_like_number, number_words, quoted_words


@pytest.mark.parametrize(
    ("text", "units", "nearest"),
    [
        ("10mm", "mm", "10"),
        ("10 mm", "mm", "10"),
        ("1.5cm", "mm", "15"),
        ("2 in", "mm", "50.8"),
        ('0.5"', "mm", "12.7"),
        ("0.5inch", "inch", "0.5"),
        ("25.4mm", "inch", "1"),
        ("40 thou", "mm", "1.016"),
        ("500um", "mm", "0.5"),
        ("-3mm", "mm", "-3"),
    ],
)
def test_that_a_unit_is_converted_to_that_of_the_file(text: str, units: str, nearest: str):
    words = number_words(text, "a length", units)
    assert words.endswith(f": {nearest}")
    assert units in words


@pytest.mark.parametrize("text", ["90 deg", "90°", "90 degrees"])
def test_that_an_angle_needs_no_unit(text: str):
    assert number_words(text, "an angle", "deg").endswith("has a unit; expected the number alone: 90")


def test_that_a_length_is_no_angle():
    assert "does not belong here" in number_words("90 mm", "an angle", "deg")
    assert "does not belong here" in number_words("90°", "a length", "mm")


@pytest.mark.parametrize("text", ["1/4", "3/16", "1 1/2", "7/8", "-1/2", "2-3/8", "22/7"])
def test_that_a_fraction_is_given_as_a_decimal_number(text: str):
    sign = -1 if text.startswith("-") else 1
    whole, _, rest = text.lstrip("-").replace("-", " ").rpartition(" ")
    value = sign * (Fraction(whole or 0) + Fraction(rest))
    assert number_words(text, "a length", "inch").endswith(f"expected a decimal number: {float(value):.6g}")


@pytest.mark.parametrize(("text", "nearest"), [("10,5", "10.5"), ("-0,25", "-0.25"), (",5", ".5")])
def test_that_a_decimal_comma_becomes_a_point(text: str, nearest: str):
    assert number_words(text, "a length", "mm").endswith(f"decimal comma; expected a decimal point: {nearest}")


@pytest.mark.parametrize(("text", "nearest"), [("1 000", "1000"), ("1'250.5", "1250.5"), ("1_000", "1000")])
def test_that_separated_thousands_are_joined(text: str, nearest: str):
    assert number_words(text, "a length", "mm").endswith(f"digits only: {nearest}")


def test_that_a_division_by_nothing_is_only_a_text():
    assert number_words("1/0", "a length", "mm") == "'1/0' is a text; expected a length"


@pytest.mark.parametrize("text", ["10", " 2.5", "-1e3"])
def test_that_a_number_in_quotes_is_named(text: str):
    assert quoted_words(text) is not None


@pytest.mark.parametrize("text", ["nut", "", "1_0", "nan", "inf", "x1"])
def test_that_another_text_in_quotes_is_not(text: str):
    assert quoted_words(text) is None


def test_that_a_step_of_a_profile_ends_with_a_word_or_a_number():
    assert all(looks_like_number(text) for text in ("10,5", "2in", "1/4", "10"))
    assert not any(looks_like_number(text) for text in ("nut", "2nd nut", "flange 46x20"))


def test_that_a_long_text_is_cut():
    assert len(number_words("x" * 5000, "a length", "mm")) < 120
