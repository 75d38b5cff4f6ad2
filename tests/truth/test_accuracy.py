"""The accuracy that DEVELOPERS.md states, held against answers that are known by construction.

For each pair of shapes, over every kind of move, half the poses aligned: neither end of the interval is farther from
the true gap than the table says, and the table says no more than the ends may differ.
"""

import re
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from tests.kinematics.engine.constructed import MOVES, OBSTACLES, TOOLS, built
from tests.kinematics.engine.pairs_by_hand import Clear

ROOT = Path(__file__).parents[2]
WIDTH = 0.01  # mm, what the two ends of a clearance may differ by
GAPS = (0.012, 0.3, 4.0, 80.0)


@cache
def table():
    """The limits in mm by tool side and obstacle, as DEVELOPERS.md prints them."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    lines = re.findall(r"^\|(.+)\|$", text.split("## Accuracy")[1].split("\n## ")[0], re.MULTILINE)
    rows = [[cell.strip() for cell in line.split("|")] for line in lines]
    (head,) = [row for row in rows if row[0] == "tool side"]
    return {(row[0], head[k]): float(row[k]) for row in rows if row[0] in TOOLS for k in range(1, len(head))}


def worst_error(tool, obstacle, rng, n):
    """The largest distance of either end from the true gap, over n pairs."""
    worst = 0.0
    for i in range(n):
        gap = GAPS[int(rng.integers(len(GAPS)))]
        answer = built(tool, obstacle, MOVES[i % len(MOVES)], rng, gap, "aligned" if i % 2 else "any").ask()
        assert isinstance(answer, Clear)
        assert answer.at_least <= gap + 1e-9
        assert answer.value >= gap - 1e-6
        worst = max(worst, gap - answer.at_least, answer.value - gap)
    return worst


def test_that_the_table_names_every_pair_and_no_limit_is_wider_than_an_interval_may_be():
    assert set(table()) == {(tool, obstacle) for tool in TOOLS for obstacle in OBSTACLES}
    assert max(table().values()) <= WIDTH


@pytest.mark.parametrize("tool", TOOLS)
@pytest.mark.parametrize("obstacle", OBSTACLES)
def test_that_a_clearance_is_as_accurate_as_the_table_says(tool, obstacle):
    rng = np.random.default_rng(500 + 10 * TOOLS.index(tool) + OBSTACLES.index(obstacle))
    assert worst_error(tool, obstacle, rng, 10) <= table()[tool, obstacle]


@pytest.mark.slow
@pytest.mark.parametrize("tool", TOOLS)
@pytest.mark.parametrize("obstacle", OBSTACLES)
def test_that_many_more_clearances_are_as_accurate_as_the_table_says_and_it_flatters_nobody(tool, obstacle):
    """The worst of many comes near the limit: a table that promised far too little would be no use."""
    rng = np.random.default_rng(600 + 10 * TOOLS.index(tool) + OBSTACLES.index(obstacle))
    worst = worst_error(tool, obstacle, rng, 60)
    limit = table()[tool, obstacle]
    assert limit / 10 <= worst <= limit
