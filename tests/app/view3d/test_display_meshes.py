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
def test_that_a_reduced_mesh_says_how_far_its_corners_moved(most: int) -> None:
    vertices, faces = a_wavy_sheet(201)
    mesh = reduced(vertices, faces, most)
    assert most / 4 < len(mesh.faces) <= most
    assert mesh.off_by is not None
    for corner in mesh.vertices[::31]:
        assert np.linalg.norm(vertices - corner, axis=1).min() <= mesh.off_by
    for corner in vertices[::97]:
        assert np.linalg.norm(mesh.vertices - corner, axis=1).min() <= mesh.off_by


def a_fine_box(n: int) -> tuple[np.ndarray, np.ndarray]:
    """A box of 40 x 40 x 40 at the origin, each side in n x n squares, turned so that no side lies along an axis."""
    t = np.linspace(-20.0, 20.0, n + 1)
    u, v = (w.ravel() for w in np.meshgrid(t, t, indexing="ij"))
    flat = np.column_stack([u, v, np.full(len(u), 20.0)])
    sides = [flat[:, order] * sign for order in ([0, 1, 2], [1, 2, 0], [2, 0, 1]) for sign in (1.0, -1.0)]
    at = np.arange((n + 1) ** 2).reshape(n + 1, n + 1)
    a, b, c, d = at[:-1, :-1].ravel(), at[1:, :-1].ravel(), at[1:, 1:].ravel(), at[:-1, 1:].ravel()
    faces = np.concatenate([np.column_stack([a, b, c]), np.column_stack([a, c, d])])
    turn = np.linalg.qr(np.random.default_rng(5).normal(size=(3, 3)))[0]
    return np.concatenate(sides) @ turn.T, np.concatenate([faces + k * at.size for k in range(6)]).astype(np.int32)


def test_that_edges_and_faces_of_a_reduced_box_stay_where_they_are() -> None:
    """Nearly every corner of what is left lies on a plane of the box (few are held back by their cell), and the box
    keeps its eight corners."""
    vertices, faces = a_fine_box(60)
    mesh = reduced(vertices, faces, 4000)
    turn = np.linalg.qr(np.random.default_rng(5).normal(size=(3, 3)))[0]
    own = mesh.vertices @ turn
    assert mesh.off_by is not None
    assert mesh.off_by > 4.0
    off = np.abs(np.abs(own).max(axis=1) - 20.0)
    assert np.quantile(off, 0.97) < 0.05
    assert off.max() < mesh.off_by / 4
    for corner in 20.0 * np.array([[x, y, z] for x in (1, -1) for y in (1, -1) for z in (1, -1)]):
        assert np.linalg.norm(own - corner, axis=1).min() < 0.1
