"""Sweeps of tool pieces: the mesh covers the sweep from outside, by the sagitta at most, and is closed."""

import math

import numpy as np
import pytest

from kinematics.engine.sweep import Arc, PolyPiece, Positions, RoundPiece, grown_hull, hull
from kinematics.errors import EngineError
from kinematics.solids import SAGITTA
from tests.kinematics.engine.constructed import MOVES, positions
from tests.truth import brute_force
from tests.truth.mesh_facts import check_closed, volume
from tests.truth.supports import direction, farthest, frustum_point, rotation

SIZES = [
    (5.0, 5.0, 0.0, 30.0),
    (0.0, 3.0, 0.0, 3.0),
    (4.0, 0.0, 2.0, 9.0),
    (3.0, 12.0, -4.0, 6.0),
    (60.0, 2.0, 0.0, 1.0),
]


def exact_reach(n, size, s):
    """How far the true sweep reaches along n, from support points alone."""
    ends = np.vstack([s.points + (0.0, 0.0, s.up), s.points - (0.0, 0.0, s.down)])
    return float(n @ (frustum_point(n, *size) + farthest(ends, n)))


def directions(rng, n):
    return np.array([direction(rng, "aligned" if i % 3 == 0 else "any") for i in range(n)])


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("move", MOVES)
def test_that_a_sweep_covers_the_tool_by_no_more_than_the_sagitta(size, move):
    rng = np.random.default_rng(SIZES.index(size) * 10 + MOVES.index(move))
    piece = RoundPiece("part", *size)
    for down in (0.0, 0.5):
        s = positions(move, rng).lowered(down)
        outer, inner = piece.swept(s), piece.inner_swept(s)
        for mesh in (outer, inner):
            check_closed(mesh.vertices, mesh.faces)
        for n in directions(rng, 60):
            exact = exact_reach(n, size, s)
            assert exact - 1e-9 <= (outer.vertices @ n).max() <= exact + SAGITTA + 1e-9
            assert exact - SAGITTA - 1e-9 <= (inner.vertices @ n).max() <= exact + 1e-9


@pytest.mark.parametrize("move", MOVES)
def test_that_support_values_are_exact(move):
    rng = np.random.default_rng(21)
    for size in SIZES:
        s = positions(move, rng).lowered(float(rng.choice([0.0, 0.5])))
        along = directions(rng, 100)
        found = RoundPiece("part", *size).supports(along) + s.supports(along)
        assert found == pytest.approx([exact_reach(n, size, s) for n in along], abs=1e-9)


def test_that_a_cylinder_along_a_slot_has_the_volume_of_a_slot():
    """A slot of length L is a rectangle and two half discs: the area is pi r r + 2 r L."""
    mesh = RoundPiece("part", 5.0, 5.0, 0.0, 20.0).swept(Positions(np.array([[3.0, 4, 7], [33, 44, 7]]), up=10.0))
    assert volume(mesh.vertices, mesh.faces) == pytest.approx((math.pi * 25 + 10 * 50) * 30, rel=1e-3)


def test_that_a_cylinder_over_a_rectangle_has_the_volume_of_a_rounded_one():
    corners = np.array([[0.0, 0, 0], [30, 0, 0], [30, 20, 0], [0, 20, 0]]) + (100, -50, 3)
    mesh = RoundPiece("part", 5.0, 5.0, 0.0, 20.0).swept(Positions(corners, up=5.0, down=1.0))
    assert volume(mesh.vertices, mesh.faces) == pytest.approx((math.pi * 25 + 10 * 50 + 600) * 26, rel=1e-3)


def test_that_a_cone_lifted_has_the_volume_of_a_cone_and_a_cylinder():
    mesh = RoundPiece("part", 0.0, 6.0, 0.0, 9.0).swept(Positions(np.array([[1.0, 2, 3]]), up=10.0))
    assert volume(mesh.vertices, mesh.faces) == pytest.approx(math.pi * 36 * (9 / 3 + 10), rel=1e-3)
    upside_down = RoundPiece("part", 6.0, 0.0, 0.0, 9.0).swept(Positions(np.array([[1.0, 2, 3]]), up=10.0))
    assert volume(upside_down.vertices, upside_down.faces) == pytest.approx(math.pi * 36 * (9 / 3 + 10), rel=1e-3)


def test_that_the_sign_of_the_positions_matters():
    """A rectangle off to one side: its sweep reaches that side, and not the other."""
    corners = np.array([[10.0, 0, 0], [40, 0, 0], [40, 5, 0], [10, 5, 0]])
    vertices = RoundPiece("part", 2.0, 2.0, 0.0, 1.0).swept(Positions(corners)).vertices
    assert vertices[:, 0].min() == pytest.approx(8.0, abs=SAGITTA)
    assert vertices[:, 0].max() == pytest.approx(42.0, abs=SAGITTA)


@pytest.mark.parametrize("off", [0.0, 1e-17, -1e-17, -4e-16])
def test_that_level_edges_but_for_rounding_do_not_spoil_the_outline(off):
    """A position polygon with a corner in the middle of its lowest side; area by the formula of Steiner (exact)."""
    corners = np.array([[0.0, 0.0, 2.0], [5.0, off, 2.0], [10.0, 0.0, 2.0], [4.0, 6.0, 2.0]])
    swept = RoundPiece("part", 3.0, 3.0, 0.0, 10.0).swept(Positions(corners))
    around = 10.0 + math.hypot(6.0, 6.0) + math.hypot(4.0, 6.0)
    exact = 10.0 * (30.0 + 3.0 * around + math.pi * 9.0)
    assert (
        exact - 1e-9
        <= volume(swept.vertices, swept.faces)
        <= exact + 10.0 * (around + 2 * math.pi * 3.0) * SAGITTA * 1.01
    )


def test_that_a_grown_hull_covers_all_that_is_within_its_margin():
    rng = np.random.default_rng(4)
    points = rng.normal(size=(40, 3)) * 10.0
    grown = grown_hull(points, 0.05)
    n = directions(rng, 200)
    reach = (grown.vertices @ n.T).max(axis=0) - (points @ n.T).max(axis=0)
    assert (reach >= 0.05 - 1e-12).all()
    assert (reach <= 0.05 * math.sqrt(3.0) + 1e-12).all()
    assert np.array_equal(grown_hull(points, 0.0).vertices, hull(points).vertices)


def test_that_a_body_of_the_head_sweeps_its_hull():
    rng = np.random.default_rng(22)
    corners = brute_force.box_mesh((8.0, 5.0, 3.0), (-4.0, 10.0, 60.0))[0] @ rotation(rng, "any").T
    piece = PolyPiece("lamp", hull(corners), hull(corners))
    for move in MOVES:
        s = positions(move, rng)
        mesh = piece.swept(s)
        check_closed(mesh.vertices, mesh.faces)
        ends = np.vstack([s.points, s.points + (0.0, 0.0, s.up)])
        for n in directions(rng, 40):
            exact = float(n @ (farthest(corners, n) + farthest(ends, n)))
            assert (mesh.vertices @ n).max() == pytest.approx(exact, abs=1e-9)
            assert piece.supports(n[None, :])[0] + s.supports(n[None, :])[0] == pytest.approx(exact, abs=1e-9)


def test_that_what_is_flat_has_no_hull():
    with pytest.raises(EngineError, match="no volume"):
        hull(np.array([[0.0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]]))


def test_that_the_distance_to_a_frustum_is_that_of_its_profile():
    rng = np.random.default_rng(23)
    for size in SIZES:
        piece = RoundPiece("part", *size)
        for p in rng.uniform(-20, 20, (200, 3)):
            distance, nearest = piece.distance_to(p)
            assert distance == pytest.approx(brute_force.frustum_distance(p[None, :], *size)[0], abs=1e-12)
            assert np.linalg.norm(nearest - p) == pytest.approx(distance, abs=1e-12)
            assert brute_force.frustum_distance(nearest[None, :], *size)[0] < 1e-9


def test_that_a_point_on_the_axis_of_a_tool_has_a_nearest_point():
    distance, nearest = RoundPiece("part", 5.0, 5.0, 0.0, 20.0).distance_to(np.array([0.0, 0.0, -3.0]))
    assert distance == 3.0
    assert nearest == pytest.approx((0.0, 0.0, 0.0))


def test_that_a_position_of_a_cover_is_put_back_on_its_arc():
    arc = Arc((10.0, 20.0, 5.0), 4.0)
    cover = Positions(np.array([[14.0, 20, 5], [13.999, 20.4, 5], [14.002, 20.2, 5]]), up=3.0, arc=arc)
    for p in cover.points:
        on = cover.on_path(p + (0, 0, 1.0))
        assert np.hypot(*(on[:2] - (10.0, 20.0))) == pytest.approx(4.0, abs=1e-12)
        assert on[2] == p[2] + 1.0
    assert np.hypot(*(cover.inside().points[0, :2] - (10.0, 20.0))) == pytest.approx(4.0, abs=1e-12)
