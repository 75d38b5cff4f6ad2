"""Convex covers of meshes with many corners, and surfaces in halves: what bounds of meshes stand on."""

import numpy as np
import pytest
from scipy.spatial import ConvexHull

from kinematics.engine.sweep import FEW, MOST_CORNERS, hull_cover
from kinematics.engine.turning_pieces import surface_halves
from kinematics.solids import Triangles
from kinematics.swing_clearance import Settle
from kinematics.verdict import Verdict
from tests.one_swing import block, body, flat_tool, mesh_of, one_swing, rotary, swing_of, tilt


def ellipsoid(n, half=(20.0, 16.0, 24.0), at=(0.0, 0.0, 0.0)):
    """Vertices and outward faces of a ball with n rings of 2n corners, stretched to half axes."""
    m = 2 * n
    theta, phi = np.pi * np.arange(1, n) / n, 2 * np.pi * np.arange(m) / m
    ring = np.column_stack([np.cos(phi), np.sin(phi)])
    rows = [np.column_stack([ring * np.sin(t), np.full(m, np.cos(t))]) for t in theta]
    vertices = np.vstack([[(0, 0, 1)], *rows, [(0, 0, -1)]]) * half + at
    i, j = np.arange(m), np.roll(np.arange(m), -1)
    last = len(vertices) - 1
    faces = [np.column_stack([np.zeros(m, int), 1 + i, 1 + j])]
    for k in range(n - 2):
        a, b = 1 + k * m, 1 + (k + 1) * m
        faces += [np.column_stack([a + i, b + i, b + j]), np.column_stack([a + i, b + j, a + j])]
    a = 1 + (n - 2) * m
    faces.append(np.column_stack([np.full(m, last), a + j, a + i]))
    return vertices, np.concatenate(faces)


@pytest.mark.parametrize(
    "points",
    [
        ellipsoid(40)[0],
        ellipsoid(60, half=(200.0, 5.0, 5.0))[0],
        ellipsoid(30, half=(1e-3, 1e-3, 1e-3))[0],
        np.random.default_rng(1).normal(size=(5000, 3)) * (40, 3, 0.5) + (1000, 0, 0),
        np.random.default_rng(2).uniform(-1, 1, size=(3000, 3)),
    ],
    ids=["ball", "needle", "speck", "cloud far off", "cube"],
)
def test_that_a_cover_holds_every_corner_with_few_of_its_own(points):
    cover = hull_cover(points)
    assert len(cover) <= MOST_CORNERS
    sides = ConvexHull(cover).equations
    size = float(np.ptp(points, axis=0).max())
    assert (points @ sides[:, :3].T + sides[:, 3]).max() <= 1e-9 * size + 1e-12 * np.abs(points).max()
    assert np.ptp(cover, axis=0).max() <= 1.06 * size  # and is not much larger


def test_that_few_corners_and_flat_ones_are_kept_as_they_are():
    few = np.random.default_rng(3).normal(size=(FEW, 3))
    assert hull_cover(few) is few
    flat = np.random.default_rng(4).normal(size=(500, 3)) * (1, 1, 0)
    assert hull_cover(flat) is flat


@pytest.mark.parametrize("n_faces", [2, 3, 12, 777])
def test_that_halves_of_a_surface_hold_every_triangle_once(n_faces):
    vertices, faces = ellipsoid(15)
    whole = Triangles(vertices, faces[:n_faces].astype(np.int32))
    halves = surface_halves(whole)
    assert len(halves) == 2

    def corners(*parts):
        return sorted(tuple(np.sort(p.vertices[p.faces].round(9).reshape(-1, 9)[k])) for p in parts
                      for k in range(len(p.faces)))  # fmt: skip

    assert corners(*halves) == corners(whole)
    assert all(len(p.vertices) == len(np.unique(p.faces)) for p in halves)
    assert surface_halves(Triangles(vertices, faces[:1].astype(np.int32))) == ()


@pytest.mark.parametrize("settle", [Settle(0.01), Settle(), Settle(0.01, with_least_lift=True)])
def test_that_a_mesh_of_many_corners_is_bounded_as_tightly_as_one_of_few(settle):
    # a ball of 3120 triangles turns by under the tool: its highest corner is one of its corners, 24 up
    ball = mesh_of(*ellipsoid(40, at=(30.0, 0.0, 0.0)))
    scene = one_swing((rotary(),), (0.0,), (90.0,), body("ball", "platter", ball), tool=flat_tool(), tip_z=31.0,
                      places=((30.0, 0.0),) * 2, keep_off=5.0)  # fmt: skip
    report = swing_of(scene, settle)
    assert report.verdict is Verdict.CLEAR
    assert report.clearance.at_least <= 7.0 <= report.clearance.value + 1e-6
    if settle.tolerance is not None:
        assert report.clearance.value - report.clearance.at_least <= 0.07


def test_that_the_lift_over_a_mesh_of_many_corners_is_that_over_its_corners():
    vertices, faces = ellipsoid(30, at=(0.0, 0.0, 40.0))
    ball = body("ball", "platter", mesh_of(vertices, faces))
    scene = one_swing((tilt(), rotary(way="up")), (0.0, 0.0), (60.0, 90.0), ball,
                      tool=flat_tool(60.0), tip_z=120.0, z_limits=(0.0, 600.0))  # fmt: skip
    report = swing_of(scene, Settle(0.01, with_least_lift=True))
    # under a wide flat tool the highest corner of all counts: a corner turns on a circle about the tilt axis
    rho = np.hypot(vertices[:, 0], vertices[:, 1])
    tilts = np.radians(np.linspace(0.0, 60.0, 6001))
    highest = max(float((rho * np.sin(t) + vertices[:, 2] * np.cos(t)).max()) for t in tilts)
    assert report.least_lift_gauge_z == pytest.approx(highest + 5.0 + 80.0, abs=0.05)


def test_that_a_block_stays_a_block():
    vertices, _ = block((3, 4, 5))
    assert hull_cover(vertices) is vertices
