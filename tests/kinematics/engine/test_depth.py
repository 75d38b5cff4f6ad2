"""Depth of overlap of convex solids against closed forms."""

import itertools
import math

import numpy as np
import pytest

from kinematics.engine.depth import GAP, overlap_depth
from kinematics.errors import EngineError
from tests.truth import brute_force
from tests.truth.supports import rotation


def box(size, at):
    return brute_force.box_mesh(size, at)[0]


def check_depth(a, b, expected, slack=0.0):
    """The interval holds the depth, is narrow, and moving b by it along the normal parts the two."""
    found = overlap_depth(a, b)
    assert found is not None
    assert found.at_least <= expected + slack + 1e-9
    assert found.at_most >= expected - slack - 1e-9
    assert found.at_most - found.at_least <= GAP + 1e-12
    assert found.normal @ (found.p_a - found.p_b) == pytest.approx(found.at_most, abs=1e-9)
    assert overlap_depth(a, b + found.normal * (found.at_most + 1e-6)) is None
    swapped = overlap_depth(b, a)
    assert swapped.at_most == pytest.approx(found.at_most, abs=2 * GAP)


@pytest.mark.parametrize("offset", [(7, 0, 0), (0, -7.5, 0), (2, 3, 9.25), (-1, 9.999, 0), (0, 0, 0), (9, 9, 9)])
def test_that_boxes_overlap_by_their_least_common_length(offset):
    """Two cubes of 10 overlap along each axis by 10 less the offset: the least of these parts them."""
    check_depth(box((10, 10, 10), (0, 0, 0)), box((10, 10, 10), offset), min(10 - abs(o) for o in offset))


@pytest.mark.parametrize("at", [(0, 0), (3, 4), (-12, 5)])
@pytest.mark.parametrize("sunk", [0.5, 2.0, 6.0])
def test_that_a_tool_sunk_into_a_plate_overlaps_by_how_far_it_is_sunk(at, sunk):
    tool = brute_force.prism_mesh(80, 5, 5, 40, (*at, 20 - sunk))[0]
    check_depth(tool, box((200, 200, 20), (-100, -100, 0)), sunk)


@pytest.mark.parametrize("reach", [0.01, 0.5, 3.0])
def test_that_two_upright_cylinders_overlap_by_the_sum_of_their_radii_less_their_distance(reach):
    """Radii 21 and 5, as a holder and a screw head; the corners face each other, so the polygons are exact."""
    holder = brute_force.prism_mesh(360, 21, 21, 30)[0]
    head = brute_force.prism_mesh(360, 5, 5, 30, (26 - reach, 0, 0))[0]
    check_depth(holder, head, reach, slack=1e-3)


def test_that_a_box_on_its_edge_overlaps_by_its_half_diagonal():
    c = math.sqrt(0.5)
    R = np.array([[1, 0, 0], [0, c, -c], [0, c, c]])
    on_edge = box((50, 50, 50), (-25, -25, -25)) @ R.T
    check_depth(on_edge + (0, 0, 30), box((500, 500, 50), (-250, -250, -50)), 25 * math.sqrt(2) - 30)


def test_that_a_ball_like_stack_overlaps_a_plate_by_its_radius_less_its_height():
    t = np.linspace(0, math.pi, 61)
    rings = [
        np.column_stack([brute_force.prism_mesh(72, 1, 1, 1)[0][:72, :2] * math.sin(a), np.full(72, math.cos(a))])
        for a in t
    ]
    ball = 8 * np.concatenate(rings)
    check_depth(ball + (1, 2, 5), box((100, 100, 30), (-50, -50, -30)), 3.0)


def test_that_solids_apart_or_touching_have_no_depth():
    a = box((10, 10, 10), (0, 0, 0))
    for offset in ((10.0, 0, 0), (10.001, 3, 3), (0, 0, -10.0), (10.0, 10.0, 10.0), (40, 50, 60)):
        assert overlap_depth(a, box((10, 10, 10), offset)) is None


def test_that_turning_and_moving_both_changes_no_depth():
    rng = np.random.default_rng(11)
    a, b = box((10, 8, 6), (0, 0, 0)), brute_force.prism_mesh(24, 4, 2, 9, (6, 4, 3))[0]
    expected = overlap_depth(a, b).at_most
    for kind in ("any", "aligned", "any", "aligned"):
        R, p = rotation(rng, kind), rng.uniform(-1e3, 1e3, 3)
        assert overlap_depth(a @ R.T + p, b @ R.T + p).at_most == pytest.approx(expected, abs=2 * GAP)


def test_that_the_depth_is_no_larger_than_any_way_out():
    """Every direction gives an upper bound of the depth: the overlap of the two shadows along it."""
    rng = np.random.default_rng(12)
    directions = rng.normal(size=(20000, 3))
    directions /= np.linalg.norm(directions, axis=1)[:, None]
    n_overlaps = 0
    for _ in range(60):
        a = rng.normal(size=(30, 3)) * rng.uniform(1, 20, 3)
        b = rng.normal(size=(30, 3)) * rng.uniform(1, 20, 3) + rng.normal(size=3) * 8
        # between neighbouring directions, 0.02 apart, the way out changes by no more than this
        step = 0.02 * (np.linalg.norm(a, axis=1).max() + np.linalg.norm(b, axis=1).max())
        ways_out = (a @ directions.T).max(axis=0) - (b @ directions.T).min(axis=0)
        found = overlap_depth(a, b)
        if found is None:
            assert ways_out.min() < step
            continue
        n_overlaps += 1
        assert found.at_least <= ways_out.min()
        assert ways_out.min() <= found.at_most + step
    assert n_overlaps > 20


def test_that_large_round_solids_of_many_corners_have_a_depth():
    """Hundreds of corners face hundreds of corners: the polytope has to grow for long, and still ends."""
    rng = np.random.default_rng(13)
    for k in range(30):
        r1, r2 = rng.uniform(20, 120, 2)
        a = brute_force.prism_mesh(400, r1, r1 * rng.choice([1, 0.7]), rng.uniform(2, 80))[0]
        b = brute_force.prism_mesh(400, r2, r2, rng.uniform(2, 80))[0]
        if k % 3:
            b = b @ rotation(rng, "aligned" if k % 3 == 1 else "any").T
        b = b + rng.uniform(-1, 1, 3) * (r1, r1, 5)
        found = overlap_depth(a, b)
        assert found is None or found.at_most - found.at_least <= GAP + 1e-12


def test_that_two_flat_solids_in_one_plane_are_refused():
    flat = np.array(list(itertools.product((0.0, 10.0), (0.0, 10.0), (0.0,))))
    with pytest.raises(EngineError, match="flat"):
        overlap_depth(flat, flat + (1, 1, 0))


def test_that_a_needle_in_the_middle_of_a_kilometre_of_bar_has_a_depth():
    """Every side of the bar is as near as every other: the search ends before it has seen them all."""
    n, r = 1072, 35.8
    bar = brute_force.prism_mesh(n, r, r, 1e6, (3000, -4200, -2000))[0]
    needle = brute_force.prism_mesh(8, 0.01, 0.01, 170.0, (3000, -4200, -1500))[0]
    found = overlap_depth(bar, needle)
    assert r * math.cos(math.pi / n) <= found.at_most
    assert found.at_least <= r + 0.01
    assert found.at_most - found.at_least < 0.02
