"""Shapes as triangles: from outside and from inside, closed, at the stated error."""

import math

import numpy as np
import pytest

from kinematics.meshes import Mesh
from kinematics.shapes import Box, MeshShape, Revolve, Screw, Step, cone, cylinder
from kinematics.solids import SAGITTA, corner_count, pieces, unit_polygon
from tests.truth import brute_force
from tests.truth.mesh_facts import check_closed, volume
from tests.truth.supports import direction, farthest, frustum_point

FRUSTA = [
    (10.0, 10.0, 6.0),
    (0.02, 0.01, 0.5),
    (63.0, 40.0, 20.0),
    (300.0, 0.0, 5.0),
    (0.0, 4.0, 9.0),
    (3.0, 700.0, 1.0),
]


@pytest.mark.parametrize("radius", [0.001, 0.1, 1, 5, 21, 31.5, 100, 1000])
def test_that_a_polygon_is_within_the_sagitta_on_both_sides(radius):
    n = corner_count(radius)
    assert n % 4 == 0
    assert radius / math.cos(math.pi / n) - radius <= SAGITTA
    assert radius - radius * math.cos(math.pi / n) <= SAGITTA
    assert SAGITTA <= 0.0025


@pytest.mark.parametrize("n", [8, 12, 16, 20, 100, 1236])
def test_that_polygons_are_exactly_symmetric(n):
    ring = unit_polygon(n)
    assert len(ring) == n
    assert np.abs(np.hypot(*ring.T) - 1.0).max() < 1e-15
    corners = {tuple(p) for p in ring}
    assert (1.0, 0.0) in corners
    for x, y in corners:
        assert {(-x, y), (x, -y), (y, x), (-y, x)} <= corners
    angles = np.unwrap(np.arctan2(ring[:, 1], ring[:, 0]))
    assert np.diff(angles) == pytest.approx(2 * math.pi / n)


@pytest.mark.parametrize(("d1", "d2", "h"), FRUSTA)
def test_that_a_turned_solid_lies_between_its_inner_and_outer_triangles(d1, d2, h):
    (piece,) = pieces(cone(d1, d2, h))
    exact = math.pi * h / 12 * (d1 * d1 + d1 * d2 + d2 * d2)
    for triangles in (piece.outer, piece.inner):
        check_closed(triangles.vertices, triangles.faces)
    assert volume(piece.inner.vertices, piece.inner.faces) <= exact <= volume(piece.outer.vertices, piece.outer.faces)
    rng = np.random.default_rng(1)
    for i in range(100):
        n = direction(rng, "aligned" if i % 2 else "any")
        reach = float(frustum_point(n, d1 / 2, d2 / 2, 0.0, h) @ n)
        assert reach - 1e-9 <= float(farthest(piece.outer.vertices, n) @ n) <= reach + SAGITTA + 1e-9
        assert reach - SAGITTA - 1e-9 <= float(farthest(piece.inner.vertices, n) @ n) <= reach + 1e-9


@pytest.mark.parametrize(("d1", "d2", "h"), FRUSTA)
def test_that_a_point_of_the_outer_triangles_moves_onto_the_solid_by_the_sagitta_at_most(d1, d2, h):
    (piece,) = pieces(cone(d1, d2, h))
    rng = np.random.default_rng(2)
    weights = rng.dirichlet((1, 1, 1), len(piece.outer.faces))
    points = np.einsum("fk,fkd->fd", weights, piece.outer.vertices[piece.outer.faces])
    points = np.vstack([points, piece.outer.vertices])
    moved = piece.on_solid(points)
    assert np.linalg.norm(moved - points, axis=1).max() <= SAGITTA + 1e-12
    assert brute_force.frustum_distance(moved, d1 / 2, d2 / 2, 0.0, h).max() < 1e-9


def test_that_a_box_is_exact_and_stands_on_the_centre_of_its_base():
    (piece,) = pieces(Box(10, 20, 30))
    assert piece.outer is piece.inner
    assert piece.outer.vertices.min(axis=0) == pytest.approx((-5, -10, 0))
    assert piece.outer.vertices.max(axis=0) == pytest.approx((5, 10, 30))
    check_closed(piece.outer.vertices, piece.outer.faces)
    assert volume(piece.outer.vertices, piece.outer.faces) == pytest.approx(6000)


def test_that_a_stack_has_a_convex_piece_for_each_step():
    found = pieces(Revolve((Step(30, 30, 10), Step(20, 8, 5), Step(8, 8, 10))))
    assert [p.is_convex for p in found] == [True] * 3
    heights = [(p.outer.vertices[:, 2].min(), p.outer.vertices[:, 2].max()) for p in found]
    assert heights == [(0, 10), (10, 15), (15, 25)]


def test_that_a_screw_has_its_shank_below_the_seat():
    head, shank = pieces(Screw("ISO 4762", "M6", 10.0, 6.0, 6.0, 16.0))
    assert (head.outer.vertices[:, 2].min(), head.outer.vertices[:, 2].max()) == (0, 6)
    assert (shank.outer.vertices[:, 2].min(), shank.outer.vertices[:, 2].max()) == (-16, 0)
    assert np.hypot(*shank.inner.vertices.T[:2]).max() == pytest.approx(3.0)
    assert len(pieces(Screw("ISO 4762", "M6", 10.0, 6.0))) == 1


def test_that_a_mesh_is_itself_and_keeps_its_chord_error():
    vertices, faces = brute_force.box_mesh((1.0, 2.0, 3.0))
    mesh = Mesh(vertices, faces.astype(np.int32), 0, 0.02, "block.step")
    (piece,) = pieces(MeshShape(mesh))
    assert piece.mesh is mesh
    assert not piece.is_convex
    assert piece.chord_error == 0.02
    assert piece.outer is piece.inner
    (round_piece,) = pieces(cylinder(5, 5))
    assert round_piece.chord_error == 0.0
