"""Poses: frames that must meet, rotations that must be rotations, exact quarter turns."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kinematics.errors import FrameError, ShapeError
from kinematics.pose import (
    Pose,
    angle_difference_deg,
    cos_sin_deg,
    identity,
    shift,
    shortest_turn,
    turn_about,
    turn_between_deg,
    unit,
)

AXES = [(1, 0, 0), (0, 1, 0), (0, 0, 1), (-1, 0, 0), (0, -1, 0), (0, 0, -1)]
coordinates = st.floats(-1e3, 1e3)
vectors = st.tuples(coordinates, coordinates, coordinates)
directions = vectors.filter(lambda v: math.hypot(*v) > 1e-3)


def random_pose(to_frame: str, from_frame: str, seed: int) -> Pose:
    rng = np.random.default_rng(seed)
    turn = turn_about("B", from_frame, rng.normal(size=3).tolist(), float(rng.uniform(-180, 180)))
    return shift(to_frame, "B", rng.uniform(-100, 100, 3).tolist()) @ turn


# --- angles --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("angle_deg", "expected"),
    [
        *((full + quarter, pair) for full in (-720, -360, 0, 360, 3600)
          for quarter, pair in ((0, (1, 0)), (90, (0, 1)), (180, (-1, 0)), (270, (0, -1)))),
        (-90, (0, -1)),
        (-180, (-1, 0)),
    ],
)  # fmt: skip
def test_that_a_quarter_turn_is_exact(angle_deg: float, expected: tuple[float, float]) -> None:
    assert cos_sin_deg(angle_deg) == expected
    assert all(math.copysign(1.0, v) > 0 for v in cos_sin_deg(angle_deg) if v == 0.0)


@given(st.floats(-1e4, 1e4))
def test_that_cosine_and_sine_are_those_of_the_standard_library(angle_deg: float) -> None:
    c, s = cos_sin_deg(angle_deg)
    assert c == pytest.approx(math.cos(math.radians(angle_deg)), abs=1e-12)
    assert s == pytest.approx(math.sin(math.radians(angle_deg)), abs=1e-12)


@pytest.mark.parametrize(
    ("a", "b", "expected"),
    [(270, 0, -90), (-90, 0, -90), (180, 0, 180), (-180, 0, 180), (540, 0, 180), (10, 350, 20), (350, 10, -20)],
)
def test_that_a_difference_of_angles_is_wrapped(a: float, b: float, expected: float) -> None:
    assert angle_difference_deg(a, b) == expected


@given(directions, directions, st.floats(-179.9, 179.9))
def test_that_the_turn_between_two_directions_is_the_turn_that_was_made(
    axis: tuple[float, float, float], v: tuple[float, float, float], angle_deg: float
) -> None:
    a, w = np.array(unit(axis)), np.array(unit(v))
    if np.linalg.norm(np.cross(a, w)) < 1e-3:
        return  # a direction along the axis does not turn
    turned = turn_about("A", "B", axis, angle_deg).direction(w)
    assert turn_between_deg(axis, w, turned) == pytest.approx(angle_deg, abs=1e-6)


@pytest.mark.parametrize("axis", AXES)
@pytest.mark.parametrize("v", AXES)
def test_that_a_half_turn_is_plus_180(axis: tuple[float, float, float], v: tuple[float, float, float]) -> None:
    if np.dot(axis, v) == 0:
        assert turn_between_deg(axis, v, [-c for c in v]) == 180.0


# --- rotations -----------------------------------------------------------------------------------


@pytest.mark.parametrize("axis", AXES)
@pytest.mark.parametrize("angle_deg", [-270, -180, -90, 0, 90, 180, 270, 360, 450])
def test_that_quarter_turns_about_coordinate_axes_have_whole_numbers(
    axis: tuple[float, float, float], angle_deg: float
) -> None:
    R = turn_about("A", "B", axis, angle_deg).R_AB
    assert np.isin(R, (-1.0, 0.0, 1.0)).all()


def test_that_positive_is_the_right_hand_turn() -> None:
    assert turn_about("A", "B", (0, 0, 1), 90).direction((1, 0, 0)) == (0, 1, 0)
    assert turn_about("A", "B", (1, 0, 0), 90).direction((0, 1, 0)) == (0, 0, 1)
    assert turn_about("A", "B", (0, 1, 0), 90).direction((0, 0, 1)) == (1, 0, 0)


@pytest.mark.parametrize("direction", AXES)
def test_that_the_shortest_turn_onto_a_coordinate_axis_is_exact(direction: tuple[float, float, float]) -> None:
    turn = shortest_turn("A", "B", direction)
    assert turn.direction((0, 0, 1)) == direction
    assert np.isin(turn.R_AB, (-1.0, 0.0, 1.0)).all()


@given(directions)
def test_that_the_shortest_turn_brings_z_onto_the_direction_by_the_angle_between(
    direction: tuple[float, float, float],
) -> None:
    turn = shortest_turn("A", "B", direction)
    aim = unit(direction)
    assert turn.direction((0, 0, 1)) == pytest.approx(aim, abs=1e-12)
    angle = math.acos(np.clip((np.trace(turn.R_AB) - 1) / 2, -1, 1))
    assert angle == pytest.approx(math.acos(np.clip(aim[2], -1, 1)), abs=1e-6)


@pytest.mark.parametrize("off", [1e-300, 1e-16, 1e-13, 1e-12, 1e-9, 1e-6, 1e-3])
def test_that_a_direction_just_off_minus_z_has_a_shortest_turn(off: float) -> None:
    for direction in ((off, 0.0, -1.0), (0.0, -off, -1.0), (off, off, -1.0)):
        assert shortest_turn("A", "B", direction).direction((0, 0, 1)) == pytest.approx(unit(direction), abs=1e-15)


@pytest.mark.parametrize("direction", [(0, 0, 0), (1e-13, 0, 0), (math.nan, 0, 1), (math.inf, 0, 0)])
def test_that_a_direction_has_a_length(direction: tuple[float, float, float]) -> None:
    with pytest.raises(ShapeError, match="is not a direction"):
        unit(direction)


# --- poses ---------------------------------------------------------------------------------------


def test_that_poses_join_only_where_their_frames_meet() -> None:
    X_WT, X_TR = random_pose("W", "T", 1), random_pose("T", "R", 2)
    joined = X_WT @ X_TR
    assert (joined.to_frame, joined.from_frame) == ("W", "R")
    with pytest.raises(FrameError, match="X_WT @ X_PG: T and P do not meet"):
        X_WT @ random_pose("P", "G", 3)
    with pytest.raises(FrameError):
        X_WT @ X_TR.inverse()


@pytest.mark.parametrize("seed", range(20))
def test_that_joining_is_the_product_of_four_by_four_matrices(seed: int) -> None:
    def matrix(X: Pose) -> np.ndarray:
        return np.block([[X.R_AB, X.p_AB[:, None]], [np.zeros((1, 3)), np.ones((1, 1))]])

    X_WT, X_TR = random_pose("W", "T", seed), random_pose("T", "R", seed + 100)
    np.testing.assert_allclose(matrix(X_WT @ X_TR), matrix(X_WT) @ matrix(X_TR), atol=1e-12)
    np.testing.assert_allclose(matrix(X_WT.inverse()), np.linalg.inv(matrix(X_WT)), atol=1e-12)


def test_that_points_go_there_and_back_and_keep_their_distances() -> None:
    X_WP = random_pose("W", "P", 7)
    p_PQ = np.random.default_rng(7).uniform(-100, 100, (50, 3))
    p_WQ = X_WP.points(p_PQ)
    np.testing.assert_allclose(X_WP.inverse().points(p_WQ), p_PQ, atol=1e-12)
    np.testing.assert_allclose(
        np.linalg.norm(p_WQ[1:] - p_WQ[:-1], axis=1), np.linalg.norm(p_PQ[1:] - p_PQ[:-1], axis=1), atol=1e-12
    )
    assert X_WP.points(p_PQ[0]) == pytest.approx(p_WQ[0])
    assert X_WP.origin() == pytest.approx(X_WP.points((0, 0, 0)))


def test_that_directions_turn_and_do_not_shift() -> None:
    X_WP = random_pose("W", "P", 9)
    v = np.random.default_rng(9).normal(size=(5, 3))
    np.testing.assert_allclose(X_WP.directions(v), X_WP.points(v) - X_WP.origin(), atol=1e-12)
    np.testing.assert_allclose(X_WP.direction(v[0]), X_WP.directions(v)[0], atol=1e-15)


def test_that_identity_moves_nothing() -> None:
    assert identity("W", "table").points((1, 2, 3)).tolist() == [1, 2, 3]
    assert identity("W").from_frame == "W"


@pytest.mark.parametrize(
    ("R", "why"),
    [
        (2 * np.eye(3), "scales or mirrors"),
        ((1 + 1e-8) * np.eye(3), "scales or mirrors"),
        (np.diag([1.0, 1.0, -1.0]), "scales or mirrors"),
        (-np.eye(3), "scales or mirrors"),
        (np.array([[1.0, 0.01, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]), "scales or mirrors"),
        (np.full((3, 3), math.nan), "finite"),
        (np.eye(4), "3 x 3"),
    ],
)
def test_that_what_is_no_rotation_makes_no_pose(R: np.ndarray, why: str) -> None:
    with pytest.raises(ShapeError, match=why):
        Pose("A", "B", R, np.zeros(3))


@pytest.mark.parametrize("p", [[0, 0], [0, 0, math.nan], [math.inf, 0, 0]])
def test_that_the_origin_of_a_pose_is_a_finite_point(p: list[float]) -> None:
    with pytest.raises(ShapeError):
        Pose("A", "B", np.eye(3), np.array(p))


def test_that_a_pose_cannot_be_written_to() -> None:
    R = np.eye(3)
    X = Pose("A", "B", R, np.zeros(3))
    R[0, 0] = 5.0
    assert X.R_AB[0, 0] == 1.0
    with pytest.raises(ValueError, match="read-only"):
        X.R_AB[0, 0] = 2.0
