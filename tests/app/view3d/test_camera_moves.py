"""Cameras taken round, along and nearer, held to what must stay where it is in the picture."""

from __future__ import annotations

import math

import numpy as np
import pytest

from app.view3d.camera_moves import between, holding, nearer, orbited, panned
from app.view3d.cameras import MARGIN, Camera

SIZE = (1000, 500)
LEVEL = math.radians(20.0)
FROM_DOOR = (0.0, -math.cos(LEVEL), math.sin(LEVEL))
UP = (0.0, math.sin(LEVEL), math.cos(LEVEL))
FLAT = Camera((10.0, 20.0, 30.0), FROM_DOOR, UP, 100.0)
SEEN = Camera((10.0, 20.0, 30.0), FROM_DOOR, UP, 100.0, 24.0)
DOWN = Camera((10.0, 20.0, 30.0), (0.0, 0.0, 1.0), (0.0, 1.0, 0.0), 60.0)
CAMERAS = pytest.mark.parametrize("camera", [FLAT, SEEN, DOWN], ids=["flat", "seen", "down"])


def check_square(camera: Camera) -> None:
    frame = np.array([camera.right, camera.up, camera.towards])
    assert frame @ frame.T == pytest.approx(np.eye(3), abs=1e-9)
    assert np.linalg.det(frame) == pytest.approx(1.0)


@CAMERAS
@pytest.mark.parametrize(("right", "up"), [(30.0, 0.0), (0.0, 10.0), (-77.0, -25.0), (200.0, 60.0)])
def test_that_what_a_camera_goes_round_stays_where_it_is_in_the_picture(
    camera: Camera, right: float, up: float
) -> None:
    pivot = (14.0, 5.0, 36.0)
    gone = orbited(camera, pivot, right, up)
    check_square(gone)
    if camera.angle_deg is None:
        assert gone.pixels(pivot, SIZE) == pytest.approx(camera.pixels(pivot, SIZE))
    before = np.linalg.norm(np.subtract(camera.eye, pivot))
    assert np.linalg.norm(np.subtract(gone.eye, pivot)) == pytest.approx(before)


def test_that_a_camera_that_goes_right_stands_farther_to_the_right() -> None:
    gone = orbited(FLAT, FLAT.focus, 90.0, 0.0)
    assert gone.towards == pytest.approx((math.cos(LEVEL), 0.0, math.sin(LEVEL)))
    assert gone.up[2] == pytest.approx(math.cos(LEVEL))


@pytest.mark.parametrize("up", [70.0, 500.0])
def test_that_a_camera_goes_up_no_farther_than_until_it_looks_straight_down(up: float) -> None:
    assert orbited(FLAT, FLAT.focus, 0.0, up).towards == pytest.approx((0.0, 0.0, 1.0), abs=1e-7)
    assert orbited(DOWN, DOWN.focus, 0.0, -30.0).towards == pytest.approx((0.0, -0.5, math.sqrt(0.75)))


@CAMERAS
def test_that_what_is_at_the_focus_moves_by_as_many_pixels_as_the_picture_is_moved(camera: Camera) -> None:
    gone = panned(camera, 30.0, -12.0, SIZE)
    assert gone.pixels(camera.focus, SIZE) - camera.pixels(camera.focus, SIZE) == pytest.approx((30.0, -12.0))


@CAMERAS
@pytest.mark.parametrize("by", [0.5, 1.2, 3.0])
def test_that_what_is_under_the_pointer_stays_there(camera: Camera, by: float) -> None:
    at = (720.0, 90.0)
    mm = camera.height / SIZE[1]
    under = np.asarray(camera.focus) + np.asarray(camera.right) * (220.0 * mm) + np.asarray(camera.up) * (-160.0 * mm)
    assert camera.pixels(under, SIZE) == pytest.approx(at)
    gone = nearer(camera, by, at, SIZE)
    assert gone.pixels(under, SIZE) == pytest.approx(at)
    assert gone.height == pytest.approx(camera.height / by)


@CAMERAS
def test_that_fitting_holds_every_point_and_wastes_no_room(camera: Camera) -> None:
    points = np.random.default_rng(2).uniform(-60.0, 90.0, (200, 3))
    pixels = holding(camera, points, SIZE).pixels(points, SIZE)
    assert (pixels >= 0.0).all()
    assert (pixels <= SIZE).all()
    if camera.angle_deg is None:
        assert np.ptp(pixels[:, 1]) == pytest.approx(SIZE[1] / MARGIN)


@pytest.mark.parametrize(
    ("a", "b"), [(FLAT, DOWN), (DOWN, FLAT), (FLAT, orbited(FLAT, FLAT.focus, 180.0, 0.0)), (SEEN, FLAT), (FLAT, FLAT)]
)
def test_that_a_way_begins_and_ends_where_it_should_and_never_leans(a: Camera, b: Camera) -> None:
    assert between(a, b, 0.0) is a
    assert between(a, b, 1.0) is b
    for share in np.linspace(0.02, 0.98, 9):
        check_square(between(a, b, float(share)))
    near = between(a, b, 1.0 - 1e-9)
    assert near.towards == pytest.approx(b.towards, abs=1e-6)
    assert near.up == pytest.approx(b.up, abs=1e-6)
    assert near.height == pytest.approx(b.height)


def test_that_half_way_is_half_the_turn() -> None:
    gone = orbited(FLAT, FLAT.focus, 90.0, 0.0)
    half = between(FLAT, gone, 0.5)
    assert np.dot(half.towards, FLAT.towards) == pytest.approx(np.dot(half.towards, gone.towards))
    assert np.dot(half.towards, FLAT.towards) > np.dot(gone.towards, FLAT.towards)
