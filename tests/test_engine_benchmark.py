"""What the engine's benchmark measures with: the yardstick's tool, the places, the demo with another part."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from app.scenes.reader import read_scene
from tests.benchmarks import fcl_baseline, places
from tests.benchmarks.demo import SIZE, block, demo_with_mesh


def volume(vertices: np.ndarray, faces: np.ndarray) -> float:
    """By the divergence theorem; positive where corners are counter-clockwise from outside."""
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    return float((a * np.cross(b, c)).sum() / 6)


def n_open_edges(faces: np.ndarray) -> int:
    ways: dict[tuple[int, int], int] = {}
    for face in faces.tolist():
        for a, b in ((face[0], face[1]), (face[1], face[2]), (face[2], face[0])):
            ways[min(a, b), max(a, b)] = ways.get((min(a, b), max(a, b)), 0) + (1 if a < b else -1)
    return sum(n != 0 for n in ways.values())


def test_that_the_yardsticks_tool_is_the_closed_prism_of_64_sides() -> None:
    vertices, faces = fcl_baseline.lathe([(3.0, 1.0), (3.0, 5.0), (8.0, 5.0), (8.0, 11.0)])
    area = 64 / 2 * math.sin(2 * math.pi / 64)  # of the polygon in the unit circle
    assert volume(vertices, faces) == pytest.approx(area * (9 * 4 + 64 * 6), rel=1e-12)
    assert n_open_edges(faces) == 0
    assert np.hypot(vertices[:, 0], vertices[:, 1]).max() == pytest.approx(8.0)


def test_that_places_are_as_far_from_the_tool_as_they_say() -> None:
    block_of_12 = places.body(10)
    tool = fcl_baseline.model(*fcl_baseline.lathe(places.TOOL))
    other = fcl_baseline.model(block_of_12.vertices, block_of_12.faces)
    found = places.places(tool, other, 12)
    gaps = [place.distance for place in found]
    assert gaps == pytest.approx(list(places.GAPS) * 4, abs=2 * places.NEAR)
    for place in found:
        assert np.linalg.det(place.R) == pytest.approx(1.0)
    assert sum(bool(np.all(np.isin(place.R, (-1.0, 0.0, 1.0)))) for place in found) == 6


def test_that_the_path_goes_once_over_the_whole_top() -> None:
    x, y = places.raster(10_000)
    assert len(x) == len(y) == 10_000
    assert len(set(zip(x.tolist(), y.tolist(), strict=True))) == 10_000
    steps = np.hypot(np.diff(x), np.diff(y))
    assert steps.max() == pytest.approx(60 / 99)
    assert (x.min(), x.max(), y.min(), y.max()) == (-30, 30, -30, 30)


@pytest.mark.parametrize("n", [12, 1000])
def test_that_the_demos_other_part_is_as_large_as_its_block(tmp_path: Path, n: int) -> None:
    corners = block(n).reshape(-1, 3)
    assert (corners.max(axis=0) - corners.min(axis=0))[:2] == pytest.approx(SIZE[:2])
    assert corners[:, 2].max() == pytest.approx(SIZE[2], rel=0.02)
    scene = read_scene(demo_with_mesh(tmp_path, n))
    assert len(scene.scene.cuts()) == 9
