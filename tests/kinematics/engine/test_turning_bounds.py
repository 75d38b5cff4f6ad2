"""Bounds over boxes of angles against dense sampling: poses by scipy's Rotation, level distances by shapely."""

import math

import numpy as np
import pytest
from scipy.spatial.transform import Rotation
from shapely import MultiPoint
from shapely import box as rectangle
from shapely.geometry import Polygon

from kinematics.engine import turning_bounds as tb

ROUNDING = 1e-9  # mm; what sampled and bounded extents may differ by where both are exact


def random_axes(rng, *, is_aligned):
    directions = np.eye(3)[rng.integers(0, 3, 2)] if is_aligned else rng.normal(size=(2, 3))
    directions = directions / np.linalg.norm(directions, axis=1)[:, None]
    return np.hstack([rng.uniform(-20, 20, (2, 3)), directions])


def row_of(box, axes):
    row = np.zeros(tb.COLUMNS)
    row[:4] = [end for stretch in (*box, (0.0, 0.0))[:2] for end in stretch]
    tb.set_angles(row, len(box), axes)
    return row


def turned(points, angles, axes):
    """Points (k, 3) of what the last axis carries, in W at angles (n, m): (n, k, 3)."""
    R, t = Rotation.identity(len(angles)), np.zeros((len(angles), 3))
    for i in range(angles.shape[1]):
        t = t + R.apply(axes[i, :3])
        R = R * Rotation.from_rotvec(np.radians(angles[:, i : i + 1]) * axes[i, 3:])
    return np.einsum("nij,kj->nki", R.as_matrix(), points) + t[:, None, :]


def sampled(box, n):
    stretches = [np.linspace(lo, hi, n if hi > lo else 1) for lo, hi in box]
    return np.stack([a.ravel() for a in np.meshgrid(*stretches, indexing="ij")], axis=1)


def random_case(seed, n_axes):
    rng = np.random.default_rng(seed)
    axes = random_axes(rng, is_aligned=seed % 3 == 0)
    widths = rng.choice([0.0, 1.0, 15.0, 90.0, 180.0, 250.0, 360.0], n_axes)
    lows = rng.choice([-90.0, 0.0, 33.3], n_axes)
    box = tuple((float(lo), float(lo + w)) for lo, w in zip(lows, widths, strict=True))
    corners = np.zeros((8, 3))
    corners[:3] = rng.uniform(-40, 40, (3, 3))
    return rng, axes, box, corners


@pytest.mark.parametrize("n_axes", [1, 2])
@pytest.mark.parametrize("seed", range(12))
def test_that_no_corner_falls_under_the_extent_along_a_direction(seed, n_axes):
    rng, axes, box, corners = random_case(seed, n_axes)
    row = row_of(box, axes)
    n = rng.normal(size=3)
    n /= np.linalg.norm(n)
    reach = tb.reaches(corners, 3, n_axes, axes, row)[0]
    low = tb.plane_low(corners, 3, n_axes, axes, row, reach, *n)
    least = (turned(corners[:3], sampled(box, 721 if n_axes == 1 else 91), axes) @ n).min()
    assert low <= least + ROUNDING
    if n_axes == 1 or box[0][0] == box[0][1]:  # the arc of the last axis is exact; samples miss its lowest place
        step = math.radians(max(hi - lo for lo, hi in box) / 90)
        assert low >= least - 80.0 * step**2


@pytest.mark.parametrize("n_axes", [1, 2])
@pytest.mark.parametrize("seed", range(12))
def test_that_no_corner_moves_farther_from_the_middle_than_told(seed, n_axes):
    _, axes, box, corners = random_case(seed, n_axes)
    row = row_of(box, axes)
    moved = tb.reaches(corners, 3, n_axes, axes, row)[2]
    middle = turned(corners[:3], np.array([[(lo + hi) / 2 for lo, hi in box]]), axes)
    everywhere = turned(corners[:3], sampled(box, 41), axes)
    assert np.linalg.norm(everywhere - middle, axis=2).max() <= moved + ROUNDING
    assert np.allclose(middle[0], [tb.in_W(corners, i, row) for i in range(3)], atol=1e-12)


PROFILE = np.array([(4.0, 0.0), (9.0, 5.0), (9.0, 5.0), (9.0, 20.0), (2.0, 30.0)])


def stretch(points, *, down=0.0, up=0.0):
    return tb.Stretch(PROFILE, 0, 4, 1, down, up, np.asarray(points, dtype=float), 0, len(points))


def tool_points(points, *, down, up):
    """Points (n, 3) of the tool's rims over all corners of its places: its extent along any direction is theirs."""
    a = np.linspace(0.0, 2 * math.pi, 121)
    rims = np.concatenate([np.column_stack([r * np.cos(a), r * np.sin(a), np.full(121, z)])
                           for r, z in PROFILE])  # fmt: skip
    lifts = np.array([(0.0, 0.0, -down), (0.0, 0.0, up)])
    return (rims[:, None, None, :] + lifts[None, :, None, :] + np.asarray(points)[None, None, :, :]).reshape(-1, 3)


@pytest.mark.parametrize("n_axes", [1, 2])
@pytest.mark.parametrize("seed", range(8))
def test_that_a_plane_that_turns_along_bounds_the_tool_at_every_angle(seed, n_axes):
    rng, axes, box, corners = random_case(seed, n_axes)
    row = row_of(box, axes)
    places = np.column_stack([rng.uniform(-30, 30, (3, 2)), np.full(3, 25.0)])
    tool = tool_points(places, down=0.5, up=2.0)
    first = max(np.linalg.norm(np.cross(tool - axes[0, :3], axes[0, 3:]), axis=1))
    angles = sampled(box, 181 if n_axes == 1 else 25)
    frames = turned(np.vstack([np.zeros(3), np.eye(3)]), angles, axes)
    # the tool as the body sees it, at every angle
    R, t = frames[:, 1:] - frames[:, :1], frames[:, 0]  # rows of R: the carried frame's own directions
    on_first = turned(np.vstack([np.zeros(3), np.eye(3)]), np.linspace(-180.0, 180.0, 181)[:, None], axes[:1])
    R1, t1 = on_first[:, 1:] - on_first[:, :1], on_first[:, 0]
    seen = np.einsum("nik,pk->npi", R1, tool) - np.einsum("nik,nk->ni", R1, t1)[:, None, :]
    second = np.linalg.norm(np.cross(seen - axes[1, :3], axes[1, 3:]), axis=2).max() + 0.01
    towards = np.cross(corners[1] - corners[0], corners[2] - corners[0])
    n_C = towards / np.linalg.norm(towards)
    middle = turned(np.vstack([np.zeros(3), n_C]), np.array([[(lo + hi) / 2 for lo, hi in box]]), axes)[0]
    bound = tb.own_plane(
        corners, middle[1] - middle[0], n_axes, axes, row, first, second, stretch(places, down=0.5, up=2.0)
    )
    heights = np.einsum("nik,pk,i->np", R, tool, n_C) - np.einsum("nik,nk,i->n", R, t, n_C)[:, None]
    assert bound <= (n_C @ corners[0] - heights).min() + 0.004  # the rims are sampled: 9 (1 - cos 1.5 deg)
    if all(lo == hi for lo, hi in box):
        assert bound >= (n_C @ corners[0] - heights).min() - 1e-9


@pytest.mark.parametrize("n_places", [1, 2, 3, 5])
@pytest.mark.parametrize("seed", range(6))
def test_that_the_gap_between_a_rectangle_and_the_places_is_that_of_another_library(seed, n_places):
    rng = np.random.default_rng(seed)
    points = rng.uniform(-20, 20, (n_places, 2)).round(seed % 2)
    places = MultiPoint(points).convex_hull
    corners = np.array(places.exterior.coords)[:-1] if isinstance(places, Polygon) else np.array(places.coords)
    corners = corners if not isinstance(places, Polygon) or places.exterior.is_ccw else corners[::-1]
    tool = stretch(np.column_stack([corners, np.zeros(len(corners))]))
    for _ in range(20):
        x, y = rng.uniform(-40, 40, 2)
        w, h = rng.choice([0.0, 3.0, 25.0], 2)
        gap, ux, uy = tb.level_gap(tool, x, x + w, y, y + h)
        assert gap == pytest.approx(rectangle(x, y, x + w, y + h).distance(places), abs=1e-9)
        assert math.hypot(ux, uy) == pytest.approx(1.0 if gap > 0.0 else 0.0)


def test_that_an_upright_line_is_as_far_from_a_profile_as_another_library_says():
    outline = Polygon([(-9.0, 5.0), (-9.0, 20.0), (-2.0, 30.0), *PROFILE[::-1], (-4.0, 0.0)])
    rng = np.random.default_rng(7)
    tool = stretch([(0.0, 0.0, 0.0)])
    for _ in range(300):
        rho, z0 = rng.uniform(0, 15), rng.uniform(-10, 40)
        z1 = z0 + rng.choice([0.0, 2.0, 60.0])
        d, nr, nz = tb.wall_near(tool, rho, z0, z1)
        line = MultiPoint([(rho, z0), (rho, z1)]).convex_hull
        assert d == pytest.approx(outline.distance(line), abs=1e-9)
        assert math.hypot(nr, nz) == pytest.approx(1.0 if d > 0.0 else 0.0)


@pytest.mark.parametrize("n_axes", [1, 2])
@pytest.mark.parametrize("seed", range(6))
def test_that_the_tool_is_never_farther_from_an_axis_than_told(seed, n_axes):
    rng, axes, _, _ = random_case(seed, 2)
    places = np.column_stack([rng.uniform(-30, 30, (3, 2)), np.full(3, 25.0)])
    tool = tool_points(places, down=0.5, up=2.0)
    first, second = tb.farthest(stretch(places, down=0.5, up=2.0), n_axes, axes)
    far = np.linalg.norm(np.cross(tool - axes[0, :3], axes[0, 3:]), axis=1).max()
    assert far <= first + ROUNDING
    assert first <= far + 2 * 9.0 + ROUNDING  # centre and radius are bounded apart
    R = Rotation.from_rotvec(np.radians(np.arange(0.0, 360.0, 2.5))[:, None] * axes[0, 3:])
    seen = np.stack([r.inv().apply(tool - axes[0, :3]) for r in R])
    far = np.linalg.norm(np.cross(seen - axes[1, :3], axes[1, 3:]), axis=2).max()
    assert (far <= second + ROUNDING) or n_axes == 1
