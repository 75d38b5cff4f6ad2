"""Whether the operator can see a gap: hand cases, and ray casting by brute force."""

import math

import numpy as np
import pytest

from kinematics.engine.sweep import RoundPiece
from kinematics.solids import Triangles
from kinematics.visibility import is_hidden, sight_lines
from tests.truth import brute_force
from tests.truth.supports import rotation

FRONT, BACK, RIGHT, LEFT = (0.0, -1.0, 0.0), (0.0, 1.0, 0.0), (1.0, 0.0, 0.0), (-1.0, 0.0, 0.0)
TOOL = [RoundPiece("cutter", 5.0, 5.0, 0.0, 60.0), RoundPiece("nut", 14.0, 14.0, 60.0, 90.0)]
TIP = np.zeros(3)


def triangles(mesh):
    return Triangles(mesh[0], mesh[1].astype(np.int32))


def box(size, centre):
    return triangles(brute_force.box_mesh(size, np.asarray(centre) - np.asarray(size) / 2))


def hidden(a, b, operator, *bodies, tool=TOOL):
    return is_hidden((np.array(a, dtype=float), np.array(b, dtype=float)), operator, tool, TIP, bodies)


@pytest.mark.parametrize("operator", [FRONT, BACK, RIGHT, LEFT])
def test_that_sight_lines_go_from_level_to_45_up_and_30_to_each_side(operator):
    lines = sight_lines(operator)
    assert len(lines) == 10 * 13
    assert np.linalg.norm(lines, axis=1) == pytest.approx(1.0)
    up = np.degrees(np.arcsin(lines[:, 2]))
    assert (up.min(), up.max()) == (pytest.approx(0, abs=1e-9), pytest.approx(45))
    towards = lines[:, :2] @ np.asarray(operator)[:2] / np.hypot(*lines[:, :2].T)
    assert np.degrees(np.arccos(np.clip(towards, -1, 1))).max() == pytest.approx(30)
    right = np.cross((0, 0, 1.0), operator)
    across = lines @ right
    assert across.max() == pytest.approx(-across.min()) == pytest.approx(0.5)


# The gap stands 6 from the axis: in front of the tool, behind it, to either side.
PLACES = {FRONT: (0, -7, 30), BACK: (0, 7, 30), RIGHT: (7, 0, 30), LEFT: (-7, 0, 30)}


@pytest.mark.parametrize("operator", PLACES)
@pytest.mark.parametrize("place", PLACES)
def test_that_only_what_is_behind_the_tool_is_hidden_by_it(operator, place):
    x, y, z = PLACES[place]
    behind = tuple(-v for v in operator) == tuple(v + 0.0 for v in place)
    assert hidden((x * 5 / 7, y * 5 / 7, z), (x, y, z), operator) is behind


def test_that_a_gap_under_the_nut_is_seen_from_below_its_rim():
    assert not hidden((0, -10, 59), (0, -10, 60), FRONT)


@pytest.mark.parametrize("distance", [10.0, 200.0, 1000.0])
def test_that_a_wall_that_fills_the_view_hides_the_gap_and_one_with_a_window_does_not(distance):
    """The wall reaches beyond 30 degrees to the sides and 45 up; the window is a strip left open in it."""
    wide, high = 4 * distance, 4 * distance
    gap = ((5, 0, 30), (7, 0, 30))
    wall = box((wide, 1.0, high), (6, -distance, 30))
    assert hidden(*gap, FRONT, wall)
    # two halves that leave the strip from 10 to 20 degrees to the right open
    left_end, right_start = distance * math.tan(math.radians(8)), distance * math.tan(math.radians(22))
    left = box((wide, 1.0, high), (6 + left_end - wide / 2, -distance, 30))
    right = box((wide, 1.0, high), (6 + right_start + wide / 2, -distance, 30))
    assert not hidden(*gap, FRONT, left, right)
    assert hidden(*gap, FRONT, left, right, wall)


def test_that_a_low_wall_is_looked_over():
    gap = ((5, 0, 30), (7, 0, 30))
    assert not hidden(*gap, FRONT, box((500, 1, 60), (6, -40, 30)))  # 30 over the gap at 40: 37 degrees
    assert hidden(*gap, FRONT, box((500, 1, 90), (6, -40, 40)))  # 55 over it: 54 degrees


def test_that_a_body_behind_the_gap_hides_nothing():
    assert not hidden((5, 0, 30), (7, 0, 30), FRONT, box((500, 10, 500), (0, 60, 30)))


def test_that_a_cone_stops_the_lines_that_meet_it():
    cone = [RoundPiece("cutter", 0.0, 20.0, 0.0, 20.0)]
    assert hidden((0, 11, 10), (0, 13, 10), FRONT, tool=cone)
    assert not hidden((0, -11, 10), (0, -13, 10), FRONT, tool=cone)
    # near its point it is thin: past it there is a way
    assert not hidden((0, 4, 2), (0, 5, 2), FRONT, tool=cone)


def hits_by_hand(p, line, corners):
    """Whether a half line meets a triangle, by solving for its barycentric coordinates."""
    a, b, c = corners
    matrix = np.column_stack([b - a, c - a, -line])
    if abs(np.linalg.det(matrix)) < 1e-12:
        return False
    u, v, t = np.linalg.solve(matrix, p - a)
    return u >= 0 and v >= 0 and u + v <= 1 and t > 1e-3


def test_that_random_bodies_hide_what_ray_casting_says_they_hide():
    rng = np.random.default_rng(41)
    n_hidden = 0
    for _ in range(40):
        bodies = []
        for _ in range(int(rng.integers(1, 5))):
            vertices, faces = brute_force.box_mesh(rng.uniform(20, 160, 3), (-50, -20, -50))
            bodies.append(
                (vertices @ rotation(rng, "any").T + (rng.uniform(-60, 60), -120, rng.uniform(-20, 120)), faces)
            )
        p = np.array([6.0, 0.0, 30.0])
        expected = all(
            any(hits_by_hand(p, line, v[face]) for v, f in bodies for face in f) for line in sight_lines(FRONT)
        )
        assert hidden(p - (1, 0, 0), p + (1, 0, 0), FRONT, *(triangles(b) for b in bodies), tool=[]) is expected
        n_hidden += expected
    assert 3 < n_hidden < 37
