"""How far the part may be off, in one line."""

from __future__ import annotations

import pytest

from app.jobs.part_off import part_off_line
from kinematics.answers.part_off import Off, PartOff, Way

PAIR = ("nut", "screw")


def line(**most: float | None) -> str:
    ways = tuple(
        Off(way, most.get(way.name.lower()), PAIR if way.name.lower() in most else None, is_exact=False) for way in Way
    )
    return part_off_line(PartOff("V6", "spot", ways))


def test_that_ways_of_one_amount_are_named_together_the_least_first() -> None:
    assert line(left=3.34, right=3.31, to_you=1.79, up=9.0) == (
        "Part may be off: 1.7 to you, 3.3 left or right, 9.0 up, free away from you or down"
    )


def test_that_turns_come_last_and_only_where_they_end() -> None:
    assert line(to_you=1.0, clockwise=2.29, counter_clockwise=2.21).endswith(
        "right, up or down, turned 2.2 deg either way"
    )
    assert line(to_you=1.0, clockwise=2.29).endswith("turned 2.2 deg clockwise")


@pytest.mark.parametrize(("value", "said"), [(1.0999999, "1.1"), (1.0999, "1.0"), (0.04, "0.0")])
def test_that_no_more_is_told_than_there_is(value: float, said: str) -> None:
    assert f"{said} to you" in line(to_you=value)


def test_that_what_is_not_known_is_said_with_its_reason() -> None:
    assert part_off_line(PartOff("V6", "spot", (), "the mesh is open")) == (
        "How far the part may be off is not known: the mesh is open"
    )
