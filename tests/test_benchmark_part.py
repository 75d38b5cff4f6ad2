"""The generated part of the benchmarks is a closed block of the wanted size, so that its times mean something."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from app.scenes.reader import read_scene
from kinematics.shapes import MeshShape
from tests.benchmarks.wavy_block import HEIGHT, SIDE, WAVE, wavy_block, write_scene


@pytest.mark.parametrize("n", [200, 10_000])
def test_that_it_is_closed_turned_outwards_and_about_as_fine_as_wanted(n: int) -> None:
    triangles = wavy_block(n).astype(float)
    assert abs(len(triangles) - n) <= 0.1 * n
    a, b, c = triangles[:, 0], triangles[:, 1], triangles[:, 2]
    # every edge is run through once each way, and the solid holds about a block of its mean height
    edges = np.concatenate([np.stack(e, axis=1).reshape(-1, 6) for e in ((a, b), (b, c), (c, a))])
    there = {tuple(edge) for edge in edges.tolist()}
    assert len(there) == len(edges)
    assert {(*edge[3:], *edge[:3]) for edge in there} == there
    volume = float(np.einsum("ij,ij->i", a, np.cross(b, c)).sum()) / 6
    assert volume == pytest.approx(SIDE * SIDE * HEIGHT, rel=WAVE / HEIGHT)


def test_that_its_scene_has_no_fault_and_a_closed_mesh(tmp_path: Path) -> None:
    file, n = write_scene(tmp_path, 2_000)
    shape = read_scene(file).scene.workpieces[0].states[0].bodies[0].shape
    assert isinstance(shape, MeshShape)
    assert shape.mesh.is_closed
    assert len(shape.mesh.faces) == n
