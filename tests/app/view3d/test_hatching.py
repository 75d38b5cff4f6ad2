"""Hatch over swept room, by facts about its pixels."""

from __future__ import annotations

import numpy as np

from app.view3d.drawn import ShellPaint
from app.view3d.hatching import ISLAND, STEP, hatched

PAINT = ShellPaint("#101010", "#000000")
WHITE = np.full((200, 300, 4), 255, dtype=np.uint8)


def test_that_hatch_lies_within_the_shell_and_nowhere_else() -> None:
    inside = np.zeros((200, 300), dtype=bool)
    inside[50:150, 80:220] = True
    found = hatched(WHITE, inside, PAINT, 1.0)
    assert (found[~inside] == 255).all()
    assert found[inside][:, :3].mean() < 245


def test_that_lines_of_hatch_are_one_step_apart_along_a_row() -> None:
    inside = np.ones((200, 300), dtype=bool)
    row = hatched(WHITE, inside, PAINT, 1.0)[100, 20:280, 0].astype(int)
    lines = np.flatnonzero(row < 128)
    assert set(np.diff(lines)) == {round(STEP)}


def test_that_a_line_goes_round_the_shell() -> None:
    inside = np.zeros((200, 300), dtype=bool)
    inside[50:150, 80:220] = True
    found = hatched(WHITE, inside, PAINT, 1.0)
    assert (found[100, [80, 219], 0] == 0).all()
    assert (found[[50, 149], 150, 0] == 0).all()


def test_that_a_spot_smaller_than_the_steps_of_the_grid_is_left_out() -> None:
    inside = np.zeros((200, 300), dtype=bool)
    side = int(ISLAND / 2)
    inside[100 : 100 + side, 100 : 100 + side] = True
    assert (hatched(WHITE, inside, PAINT, 1.0) == 255).all()
