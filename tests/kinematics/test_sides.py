"""A normal in the operator's words, by the clock, and in the part's words: hand cases for all four sides."""

import math

import pytest

from kinematics.sides import clock, part_side, side_words

FRONT, BACK, RIGHT, LEFT = (0.0, -1.0, 0.0), (0.0, 1.0, 0.0), (1.0, 0.0, 0.0), (-1.0, 0.0, 0.0)


def level(x, y):
    length = math.hypot(x, y)
    return (x / length, y / length, 0.0)


# What lies in +X, +Y, -X, -Y of the machine, as an operator on each side of it sees it.
SEEN = {
    FRONT: (("right", 3), ("away", 12), ("left", 9), ("to you", 6)),
    BACK: (("left", 9), ("to you", 6), ("right", 3), ("away", 12)),
    RIGHT: (("to you", 6), ("right", 3), ("away", 12), ("left", 9)),
    LEFT: (("away", 12), ("left", 9), ("to you", 6), ("right", 3)),
}


@pytest.mark.parametrize("operator", SEEN)
def test_that_each_side_of_the_machine_is_said_as_the_operator_sees_it(operator):
    for (x, y), (words, hour) in zip(((1, 0), (0, 1), (-1, 0), (0, -1)), SEEN[operator], strict=True):
        assert side_words((x, y, 0.0), operator) == words
        assert clock((x, y, 0.0), operator) == hour


@pytest.mark.parametrize(
    ("normal", "words", "hour"),
    [
        ((0.474, 0.881, 0.0), "away, right", 1),
        (level(1, 0.5), "right, away", 2),
        (level(-1, -0.5), "left, to you", 8),
        (level(-0.5, -1), "to you, left", 7),
        (level(0.19, 1.0), "away", 12),
        (level(0.21, 1.0), "away, right", 12),
        (level(-1, 0.26), "left, away", 9),
        (level(-1, 0.3), "left, away", 10),
    ],
)
def test_that_the_larger_part_comes_first_and_a_small_one_is_left_out(normal, words, hour):
    assert side_words(normal, FRONT) == words
    assert clock(normal, FRONT) == hour


@pytest.mark.parametrize("operator", SEEN)
def test_that_what_is_mostly_vertical_is_above_or_below_and_has_no_hour(operator):
    for z, word in ((1.0, "above"), (-1.0, "below"), (0.71, "above"), (-0.71, "below")):
        x = math.sqrt(1 - z * z)
        assert side_words((x, 0.0, z), operator) == word
        assert clock((x, 0.0, z), operator) is None


def test_that_a_lean_of_less_than_a_vertical_part_of_0_7_still_has_a_side():
    x = math.sqrt(1 - 0.69**2)
    assert side_words((x, 0.0, 0.69), FRONT) == "right"
    assert clock((x, 0.0, -0.69), FRONT) == 3


@pytest.mark.parametrize("hour", range(1, 13))
def test_that_every_hour_is_thirty_degrees_wide(hour):
    for off in (-14.9, 0.0, 14.9):
        angle = math.radians(30 * hour + off)  # clockwise from away, seen from above
        assert clock((math.sin(angle), math.cos(angle), 0.0), FRONT) == hour


@pytest.mark.parametrize(
    ("normal", "side"),
    [
        ((1.0, 0.0, 0.0), "+X"), ((-1.0, 0.0, 0.0), "-X"), ((0.3, -0.9, 0.2), "-Y"), ((0.1, 0.2, -0.97), "-Z"),
        ((-0.5, 0.5, 0.70), "+Z"),
    ],
)  # fmt: skip
def test_that_the_part_side_is_the_largest_part_of_the_normal(normal, side):
    assert part_side(normal) == side


@pytest.mark.parametrize("noise", [0.0, 1e-12, -1e-12, 3e-16])
def test_that_half_way_between_two_words_rounding_does_not_choose(noise):
    half = math.sqrt(0.5)
    normal = (half + noise, half - noise, 0.0)
    assert side_words(normal, FRONT) == side_words((half, half, 0.0), FRONT)
    assert clock(normal, FRONT) == clock((half, half, 0.0), FRONT)
    assert part_side((half + noise, 0.0, -half + noise)) == "+X"
