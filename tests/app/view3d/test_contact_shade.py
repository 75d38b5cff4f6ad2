"""Shade where bodies meet: none on a plane, some in a corner. Depths are made by hand."""

from __future__ import annotations

import numpy as np
import pytest

from app.view3d.contact_shade import REACH, STRENGTH, contact_shade

SIZE = 80
ROWS, COLUMNS = np.mgrid[0:SIZE, 0:SIZE].astype(np.float32)
EVERYWHERE = np.ones((SIZE, SIZE), dtype=bool)
INSIDE = (slice(30, 50), slice(30, 50))  # far from the rim, which repeats


@pytest.mark.parametrize(("by_row", "by_column"), [(0.0, 0.0), (0.5, 0.0), (0.0, -2.0), (1.0, 1.5)])
def test_that_a_plane_takes_no_shade_whatever_its_slant(by_row: float, by_column: float) -> None:
    plane = by_row * ROWS + by_column * COLUMNS
    assert contact_shade(plane, EVERYWHERE, 0.5)[INSIDE].max() == pytest.approx(0.0, abs=1e-4)


def test_that_the_foot_of_a_wall_is_darker_than_the_floor_and_the_top_of_an_edge_is_not() -> None:
    valley = np.abs(COLUMNS - 40.0)  # two slopes that meet at column 40, deepest there
    shade = contact_shade(valley, EVERYWHERE, 0.5)
    assert shade[40, 40] > 0.3 * STRENGTH
    assert shade[40, 40] > 5 * shade[40, 62]
    assert contact_shade(-valley, EVERYWHERE, 0.5)[INSIDE].max() == pytest.approx(0.0, abs=1e-4)


def test_that_what_stands_far_before_gives_no_shade() -> None:
    step = np.where(COLUMNS < 40.0, 0.0, 3.0 * REACH).astype(np.float32)
    assert contact_shade(step, EVERYWHERE, 0.5)[INSIDE].max() == pytest.approx(0.0, abs=1e-4)


def test_that_the_ground_takes_no_shade_and_gives_none() -> None:
    is_body = COLUMNS < 40.0
    flat = np.where(is_body, 0.0, np.nan).astype(np.float32)
    shade = contact_shade(flat, is_body, 0.5)
    assert np.isfinite(shade).all()
    assert shade[INSIDE].max() == pytest.approx(0.0, abs=1e-4)


def test_that_no_shade_is_darker_than_its_strength() -> None:
    rough = np.random.default_rng(3).uniform(-8.0, 8.0, (SIZE, SIZE)).astype(np.float32)
    shade = contact_shade(rough, EVERYWHERE, 0.2)
    assert shade.min() >= 0.0
    assert shade.max() <= STRENGTH + 1e-6
