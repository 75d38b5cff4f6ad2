"""What is drawn of a shape: closed forms of volumes, and how far a reduced mesh is off."""

from __future__ import annotations

import math

import numpy as np
import pytest

from app.view3d.display_meshes import N_SIDES, DisplayMesh, part_mesh, reduced, shape_mesh
from kinematics.assembly import Slice
from kinematics.shapes import Box, Revolve, Screw, Step, cone


def volume(mesh: DisplayMesh) -> float:
    """By the divergence theorem; positive where faces turn outwards."""
    a, b, c = (mesh.vertices[mesh.faces[:, k]] for k in range(3))
    return float((np.cross(a, b) * c).sum() / 6.0)


CIRCLE = N_SIDES / 2 * math.sin(2 * math.pi / N_SIDES)  # area of the polygon of radius 1


@pytest.mark.parametrize(
    ("shape", "expected"),
    [
        (Box(2.0, 3.0, 4.0), 24.0),
        (Revolve((Step(10, 10, 5), Step(20, 20, 3))), CIRCLE * (25 * 5 + 100 * 3)),
        (cone(10.0, 20.0, 6.0), CIRCLE * 6 / 3 * (25 + 50 + 100)),
        (cone(0.0, 20.0, 6.0), CIRCLE * 6 / 3 * 100),
        (Screw("ISO 4762", "M6", 10.0, 6.0, 6.0, 12.0), CIRCLE * (25 * 6 + 9 * 12)),
    ],
)
def test_that_a_shape_is_drawn_closed_and_outwards(shape: Box | Revolve | Screw, expected: float) -> None:
    assert volume(shape_mesh(shape)) == pytest.approx(expected)


def test_that_a_part_of_the_tool_is_drawn_where_its_slices_are() -> None:
    mesh = part_mesh((Slice("nut", 14.0, 14.0, 40.0, 60.0), Slice("nut", 14.0, 10.0, 60.0, 64.0)))
    assert mesh.vertices[:, 2].min() == 40.0
    assert mesh.vertices[:, 2].max() == 64.0
    assert np.hypot(mesh.vertices[:, 0], mesh.vertices[:, 1]).max() == pytest.approx(14.0)


def a_wavy_sheet(n: int) -> tuple[np.ndarray, np.ndarray]:
    x, y = np.meshgrid(np.linspace(0, 100, n), np.linspace(0, 60, n), indexing="ij")
    vertices = np.column_stack([x.ravel(), y.ravel(), (5 * np.sin(x / 9) * np.cos(y / 7)).ravel()])
    at = np.arange(n * n).reshape(n, n)
    a, b, c, d = at[:-1, :-1].ravel(), at[1:, :-1].ravel(), at[1:, 1:].ravel(), at[:-1, 1:].ravel()
    return vertices, np.concatenate([np.column_stack([a, b, c]), np.column_stack([a, c, d])]).astype(np.int32)


def test_that_a_small_mesh_is_drawn_whole() -> None:
    vertices, faces = a_wavy_sheet(20)
    mesh = reduced(vertices, faces)
    assert mesh.off_by is None
    assert mesh.faces is faces


@pytest.mark.parametrize("most", [500, 3000, 20_000])
def test_that_a_reduced_mesh_keeps_corners_of_its_own_and_says_how_far_they_moved(most: int) -> None:
    vertices, faces = a_wavy_sheet(201)
    mesh = reduced(vertices, faces, most)
    assert most / 4 < len(mesh.faces) <= most
    kept = {tuple(v) for v in vertices}
    assert all(tuple(v) in kept for v in mesh.vertices)
    assert mesh.off_by is not None
    for corner in vertices[::97]:
        assert np.linalg.norm(mesh.vertices - corner, axis=1).min() <= mesh.off_by
