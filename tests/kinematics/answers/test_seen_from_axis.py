"""What a tool sees from its axis, against distances worked out by hand and wedges sampled in plain numpy."""

import math

import numpy as np
import pytest

from kinematics.answers.seen_from_axis import WEDGE_DEG, seen_all_round, seen_towards, within_wedge
from kinematics.placed_cut import placed_cuts
from kinematics.prepared import Prepared
from kinematics.scene import Hole, Slot
from kinematics.shapes import Box, cylinder
from tests.one_cut import body, end_mill, one_cut

LOW, HIGH, STEP = -15.0, 90.0, 0.25
POST = body("post", Box(10.0, 10.0, 60.0), (0.0, 25.0, -20.0))  # its face at y = 20, from z = -20 to 40
PIN = body("pin", cylinder(4.0, 30.0), (17.0, 0.0, -20.0))  # nearest at x = 15, from z = -20 to 10


def pairs_of(feature, *bodies):
    (placed,) = placed_cuts(Prepared(one_cut(feature, end_mill(), *bodies)))
    return placed.pairs


def radius_at(seen, height):
    """The least radius told at a height, with its body; None where nothing is."""
    found = [(n.radius, n.body) for n in seen if n.z1 <= height <= n.z2]
    return min(found, default=None)


def test_that_a_post_beside_a_hole_is_seen_at_its_distance_over_its_height():
    seen = seen_all_round(pairs_of(Hole((0.0, 0.0, 0.0), 10.0), POST), LOW, HIGH, STEP)
    assert radius_at(seen, 0.0) == (pytest.approx(20.0, abs=1e-6), "post")  # the tip stands at z = -10
    assert radius_at(seen, 49.0)[1] == "post"
    assert radius_at(seen, 50.5) is None


def test_that_of_two_bodies_the_nearer_is_told_at_each_height():
    seen = seen_all_round(pairs_of(Hole((0.0, 0.0, 0.0), 10.0), POST, PIN), LOW, HIGH, STEP)
    radius, name = radius_at(seen, 10.0)
    assert name == "pin"
    assert 15.0 - 0.02 <= radius <= 15.0 + 1e-6  # a polygon covers the pin from outside
    assert radius_at(seen, 30.0) == (pytest.approx(20.0, abs=1e-6), "post")


def test_that_a_slot_sees_what_is_near_any_of_its_places():
    post = body("post", Box(10.0, 10.0, 60.0), (40.0, 25.0, -20.0))  # corner (35, 20), 5 beside the end of the slot
    seen = seen_all_round(pairs_of(Slot((-30.0, 0.0, 0.0), (30.0, 0.0, 0.0), 10.0), post), LOW, HIGH, STEP)
    assert radius_at(seen, 10.0) == (pytest.approx(math.hypot(5.0, 20.0), abs=1e-6), "post")


def test_that_in_one_direction_only_what_stands_there_is_seen():
    pairs = pairs_of(Hole((0.0, 0.0, 0.0), 10.0), POST, PIN)
    tip = np.array([0.0, 0.0, -10.0])
    away = seen_towards(pairs, tip, (0.0, 1.0), LOW, HIGH, STEP)
    assert radius_at(away, 10.0) == (pytest.approx(20.0, abs=1e-6), "post")
    right = seen_towards(pairs, tip, (1.0, 0.0), LOW, HIGH, STEP)
    assert radius_at(right, 10.0)[1] == "pin"
    assert radius_at(right, 30.0) is None
    all_round = seen_towards(pairs, tip, None, LOW, HIGH, STEP)
    assert radius_at(all_round, 10.0)[1] == "pin"
    assert radius_at(all_round, 30.0)[1] == "post"


def test_that_a_tip_inside_a_solid_sees_it_at_no_distance():
    block = body("block", Box(80.0, 80.0, 20.0), (0.0, 0.0, -20.0))
    pairs = pairs_of(Hole((0.0, 0.0, 0.0), 10.0), block)
    tip = np.array([0.0, 0.0, -10.0])
    for seen in (
        seen_all_round(pairs, LOW, HIGH, STEP),
        seen_towards(pairs, tip, (0.0, 1.0), LOW, HIGH, STEP),
        seen_towards(pairs, tip, None, LOW, HIGH, STEP),
    ):
        assert radius_at(seen, 5.0) == (0.0, "block")
        assert radius_at(seen, 10.5) is None


def area_of(triangles):
    cross = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    return 0.5 * np.linalg.norm(cross, axis=1)


@pytest.mark.parametrize("seed", range(6))
def test_that_the_pieces_in_a_wedge_have_the_area_that_sampling_finds(seed):
    rng = np.random.default_rng(seed)
    triangles = rng.uniform(-30.0, 30.0, (40, 3, 3))
    angle = rng.uniform(0.0, 2.0 * math.pi)
    direction = (math.cos(angle), math.sin(angle))
    pieces = within_wedge(triangles, direction, WEDGE_DEG)
    share = rng.dirichlet((1.0, 1.0, 1.0), (40, 4000))
    points = np.einsum("nkc,ncx->nkx", share, triangles)
    off = np.arctan2(points[..., 1], points[..., 0]) - angle
    is_in = np.abs((off + math.pi) % (2.0 * math.pi) - math.pi) <= math.radians(WEDGE_DEG)
    expected = float((is_in.mean(axis=1) * area_of(triangles)).sum())
    spread = float(np.sqrt((is_in.mean(axis=1) * (1 - is_in.mean(axis=1)) / 4000 * area_of(triangles) ** 2).sum()))
    assert area_of(pieces).sum() == pytest.approx(expected, abs=5.0 * spread + 1e-9)


def test_that_no_corner_of_a_piece_is_outside_the_wedge_and_none_is_off_its_triangle():
    rng = np.random.default_rng(7)
    triangles = rng.uniform(-30.0, 30.0, (200, 3, 3))
    pieces = within_wedge(triangles, (1.0, 0.0), WEDGE_DEG)
    assert len(pieces) > 20
    corners = pieces.reshape(-1, 3)
    beside = corners[np.hypot(corners[:, 0], corners[:, 1]) > 1e-9]  # on the axis there is no direction
    off = np.degrees(np.arctan2(beside[:, 1], beside[:, 0]))
    assert np.abs(off).max() <= WEDGE_DEG + 1e-6
    normals = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    off_plane = np.abs(np.einsum("cnx,nx->cn", corners[:, None] - triangles[None, :, 0], normals))
    assert off_plane.min(axis=1).max() <= 1e-9


def test_that_a_triangle_in_the_wedge_stays_whole_and_one_behind_is_gone():
    ahead = np.array([[[10.0, 0.0, 0.0], [20.0, 1.0, 0.0], [20.0, -1.0, 5.0]]])
    assert (within_wedge(ahead, (1.0, 0.0), WEDGE_DEG) == ahead).all()
    assert len(within_wedge(ahead, (-1.0, 0.0), WEDGE_DEG)) == 0
