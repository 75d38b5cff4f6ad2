"""Triangles near a box and distances to a point, against a loop over plain numbers and closed forms."""

import math

import numpy as np
import pytest

from kinematics.near_triangles import (
    box_distances,
    distance_to_point,
    faces_near,
    joined,
    least_along,
    some_of,
    turned_box,
)
from kinematics.pose import Pose
from kinematics.solids import Triangles
from tests.truth.supports import rotation

RNG = np.random.default_rng(31)


def soup(n: int, spread: float = 10.0) -> Triangles:
    corners = RNG.uniform(-spread, spread, (n, 1, 3)) + RNG.uniform(-2.0, 2.0, (n, 3, 3))
    return Triangles(corners.reshape(-1, 3), np.arange(3 * n, dtype=np.int32).reshape(-1, 3))


def test_that_near_triangles_are_those_whose_box_meets_the_box():
    surface = soup(500)
    low, high = np.array([-3.0, -1.0, -4.0]), np.array([2.0, 5.0, 1.0])
    corners = surface.vertices[surface.faces]
    expected = [
        i for i, c in enumerate(corners) if all(c[:, k].max() >= low[k] and c[:, k].min() <= high[k] for k in range(3))
    ]
    assert 20 < len(expected) < 480
    assert faces_near(surface, low, high).tolist() == expected


def test_that_a_triangle_that_touches_the_box_is_near():
    surface = Triangles(np.array([[1.0, 0.0, 0.0], [2.0, 1.0, 0.0], [2.0, -1.0, 0.0]]), np.array([[0, 1, 2]]))
    assert len(faces_near(surface, -np.ones(3), np.ones(3))) == 1
    assert len(faces_near(surface, -np.ones(3), np.array([0.999, 1.0, 1.0]))) == 0


def test_that_a_triangle_round_the_box_is_near():
    surface = Triangles(np.array([[-90.0, -90.0, 0.0], [90.0, -90.0, 0.0], [0.0, 90.0, 0.0]]), np.array([[0, 1, 2]]))
    assert len(faces_near(surface, -np.ones(3), np.ones(3))) == 1


@pytest.mark.parametrize("turn", [np.eye(3), rotation(RNG, "aligned"), rotation(RNG, "any")])
def test_that_a_turned_box_is_the_least_box_round_the_corners(turn):
    X_AB = Pose("A", "B", turn, np.array([3.0, -7.0, 2.0]))
    low, high = np.array([-1.0, 2.0, 0.5]), np.array([4.0, 2.5, 9.0])
    corners = np.array([[x, y, z] for x in (low[0], high[0]) for y in (low[1], high[1]) for z in (low[2], high[2])])
    found_low, found_high = turned_box(X_AB, low, high)
    assert found_low == pytest.approx(X_AB.points(corners).min(axis=0), abs=1e-12)
    assert found_high == pytest.approx(X_AB.points(corners).max(axis=0), abs=1e-12)


def test_that_chosen_and_joined_triangles_keep_their_corners():
    first, second = soup(20), soup(7)
    chosen = some_of(first, np.array([3, 11, 19]))
    assert chosen.vertices[chosen.faces] == pytest.approx(first.vertices[first.faces[[3, 11, 19]]])
    whole = joined([chosen, second])
    assert whole.vertices[whole.faces][3:] == pytest.approx(second.vertices[second.faces])
    assert len(joined([]).faces) == 0


def test_that_box_distances_are_those_of_the_corners_boxes():
    surface = soup(200)
    low, high = np.array([-1.0, -2.0, -3.0]), np.array([1.0, 2.0, 3.0])
    corners = surface.vertices[surface.faces]
    found = box_distances(surface, low, high)
    for c, distance in zip(corners, found, strict=True):
        gaps = [max(0.0, c[:, k].min() - high[k], low[k] - c[:, k].max()) for k in range(3)]
        assert distance == pytest.approx(math.sqrt(sum(g * g for g in gaps)), abs=1e-12)


def test_that_the_least_extents_are_those_of_the_corners():
    surface, direction = soup(50), np.array([0.6, 0.0, -0.8])
    expected = [min(float(direction @ surface.vertices[v]) for v in face) for face in surface.faces]
    assert least_along(surface, direction) == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize(
    ("p", "expected"),
    [
        ((0.5, 0.5, 3.0), 3.0),  # over the inside
        ((0.5, 0.5, -3.0), 3.0),
        ((2.0, -1.5, 0.0), 1.5),  # beside an edge, in the plane
        ((2.0, -3.0, 4.0), 5.0),
        ((-3.0, -4.0, 0.0), 5.0),  # beyond a corner
        ((-2.0, -1.0, 2.0), 3.0),
        ((1.0, 1.0, 0.0), 0.0),
        ((4.0, 4.0, 0.0), 4.0 / math.sqrt(2.0)),  # beside the long edge x + y = 4
    ],
)
def test_that_the_distance_to_a_triangle_is_the_closed_form(p, expected):
    surface = Triangles(np.array([[0.0, 0.0, 0.0], [4.0, 0.0, 0.0], [0.0, 4.0, 0.0]]), np.array([[0, 1, 2]]))
    assert distance_to_point(np.array(p), surface) == pytest.approx(expected, abs=1e-12)


@pytest.mark.parametrize("corners", [[[0, 0, 0], [2, 0, 0], [1, 0, 0]], [[0, 0, 0], [2, 0, 0], [2, 0, 0]]])
def test_that_a_flat_triangle_is_its_edges(corners):
    surface = Triangles(np.array(corners, dtype=float), np.array([[0, 1, 2]]))
    assert distance_to_point(np.array([1.5, 3.0, 4.0]), surface) == pytest.approx(5.0, abs=1e-12)
    assert distance_to_point(np.array([5.0, 0.0, 4.0]), surface) == pytest.approx(5.0, abs=1e-12)


def test_that_the_distance_to_a_point_is_that_of_dense_samples():
    surface = soup(30)
    u, v = (w.ravel() for w in np.meshgrid(np.linspace(0, 1, 201), np.linspace(0, 1, 201)))
    inside = u + v <= 1.0
    u, v = u[inside, None], v[inside, None]
    a, b, c = (surface.vertices[surface.faces[:, k]] for k in range(3))
    points = (a[:, None] * (1 - u - v) + b[:, None] * u + c[:, None] * v).reshape(-1, 3)
    for p in RNG.uniform(-12, 12, (5, 3)):
        least = np.linalg.norm(points - p, axis=1).min()
        assert least - 0.03 <= distance_to_point(p, surface) <= least + 1e-12


def test_that_nothing_is_infinitely_far():
    assert distance_to_point(np.zeros(3), joined([])) == math.inf
