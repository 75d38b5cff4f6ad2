"""Plain values by the core schema. Source: YAML 1.2.2, section 10.3.2 and its example 10.9 ("Core Tag Resolution")."""

from __future__ import annotations

import math

import pytest

from app.scenes.scalars import core_value

# The rows of example 10.9, and of the table of regular expressions before it.
SPECIFICATION = [
    ("", None), ("null", None), ("Null", None), ("NULL", None), ("~", None),
    ("true", True), ("True", True), ("TRUE", True), ("false", False), ("False", False), ("FALSE", False),
    ("0", 0.0), ("0o7", 7.0), ("0x3A", 58.0), ("-19", -19.0), ("0.", 0.0), ("-0.0", 0.0), (".5", 0.5),
    ("+12e03", 12000.0), ("-2E+05", -200000.0), (".inf", math.inf), ("-.Inf", -math.inf), ("+.INF", math.inf),
]  # fmt: skip


@pytest.mark.parametrize(("text", "value"), SPECIFICATION)
def test_that_values_are_resolved_as_the_specification_lists_them(text: str, value: object):
    assert core_value(text) == value
    assert isinstance(core_value(text), bool) == isinstance(value, bool)


@pytest.mark.parametrize("text", [".nan", ".NaN", ".NAN"])
def test_that_not_a_number_is_a_float(text: str):
    assert math.isnan(core_value(text))


# What YAML 1.1 reads as a truth, a number, a time or a null is a text in 1.2.
@pytest.mark.parametrize(
    "text",
    ["yes", "no", "on", "off", "y", "N", "1_000", "12:30", "0b11", "nULL", "tRUE", "1e", ".", "+", "0x", "1,5", "10mm"],
)
def test_that_what_only_the_older_version_resolves_is_a_text(text: str):
    assert core_value(text) == text


def test_that_leading_zeros_do_not_make_a_number_octal():
    assert core_value("010") == 10.0


def test_that_a_number_longer_than_any_line_is_a_text():
    assert core_value("1" * 10_000) == "1" * 10_000
