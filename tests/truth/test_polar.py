"""Room by direction round the tool: every sector's interval holds the exact room in it, and is narrow.

The reference moves each triangle by all tip positions (the hull of the differences of corners, by qhull), cuts the
faces of the hull by the two planes of a sector in plain numpy, and asks the exact leaf of every piece. Beside it
stand closed forms, and sampling in plain numpy.
"""

import math

import numpy as np
import pytest
from scipy.spatial import ConvexHull, QhullError

from kinematics.engine.exact_leaf import triangle_least
from kinematics.engine.polar import TOLERANCE, polar_room
from kinematics.engine.sweep import Positions
from tests.truth import brute_force
from tests.truth.rooms_by_hand import (
    HOLDER,
    NUT,
    SETS,
    Step,
    body,
    exact,
    random_scene,
    rows_of,
    sampled_distance,
    soup,
    tool_sees,
    turned,
)

CLOSE = 1e-6
ORIGIN = [Positions(np.zeros((1, 3)))]
NOWHERE = np.zeros((1, 3))


def cut(polygon, normal):
    """The part of a convex polygon (n, 3) on the side of a plane through Z that its level normal points to."""
    kept = []
    for p, q in zip(polygon, np.roll(polygon, -1, axis=0), strict=True):
        a, b = p[:2] @ normal, q[:2] @ normal
        if a >= 0:
            kept.append(p)
        if a * b < 0:
            kept.append(p + (q - p) * (a / (a - b)))
    return np.array(kept).reshape(-1, 3)


def faces_of(triangle, tips):
    """Triangles (n, 3, 3) of the hull of all corner - tip, and the hull's equations; None where it is flat."""
    corners = (triangle[:, None] - tips[None]).reshape(-1, 3)
    if len(tips) == 1:
        return corners[None], None
    try:
        hull = ConvexHull(corners)
    except QhullError:
        return None
    return corners[hull.simplices], hull.equations


def sectors(profile, mesh, sets, n, down=0.0):
    """Exact least distances (n,), 0 on contact; None where a hull is flat."""
    best = np.full(n, math.inf)
    for s in sets:
        for triangle in mesh[0][mesh[1]]:
            found = faces_of(triangle, s.points)
            if found is None:
                return None
            faces, planes = found
            for step in profile:
                rows, split = rows_of(step)
                middle = np.array([0.0, 0.0, (step.z1 - down + step.z2 + s.up) / 2])
                if planes is not None and (planes[:, :3] @ middle + planes[:, 3] < 0).all():
                    return np.zeros(n)
                for face in faces:
                    for k in range(n):
                        a, b = 2 * math.pi * k / n, 2 * math.pi * (k + 1) / n
                        piece = cut(face, np.array([-math.sin(a), math.cos(a)]))
                        piece = cut(piece, np.array([math.sin(b), -math.cos(b)]))
                        for j in range(1, len(piece) - 1):
                            t = np.array([piece[0], piece[j], piece[j + 1]])
                            d = triangle_least(rows, 0, 2, split, down, s.up, t, NOWHERE, 0, 1, math.inf)[0]
                            best[k] = min(best[k], d)
    return best


def check(room, truth, subtract=0.0, width=TOLERANCE):
    """`truth` are distances. What lies in the very plane between two sectors may be counted in either."""
    value = np.where(truth > 0.0, truth - subtract, -math.inf)
    assert (room.lo <= np.maximum(value, -math.inf) + CLOSE).all(), (room.lo, value)
    assert ((value <= room.hi + CLOSE) | ((room.hi == -math.inf) & (truth <= CLOSE))).all(), (room.hi, value)
    with np.errstate(invalid="ignore"):
        is_narrow = (room.hi - room.lo <= width) | (room.hi == room.lo)
    assert (is_narrow | ((room.lo == -math.inf) & (room.hi <= CLOSE))).all()


@pytest.mark.parametrize("kind", SETS)
def test_that_every_sector_holds_its_exact_room(kind):
    rng = np.random.default_rng([31, SETS.index(kind)])
    n_checked = 0
    for _ in range(4):
        sets, mesh = random_scene(rng, False, int(rng.integers(1, 4)), (kind,))
        truth = sectors([NUT], mesh, sets, 24, down=0.5)
        if truth is not None:
            check(polar_room([NUT], [body(mesh)], sets, n_sectors=24, down=0.5), truth)
            n_checked += 1
    assert n_checked > 0 or kind in ("no segment", "flat polygon")


@pytest.mark.parametrize("kind", SETS)
def test_that_aligned_scenes_are_told_within_a_sector_of_where_they_are(kind):
    # flush with the planes between sectors: a face may count in the sector beside it, never be missed
    rng = np.random.default_rng([32, SETS.index(kind)])
    for _ in range(4):
        sets, mesh = random_scene(rng, True, 2, (kind,))
        room = polar_room([NUT], [body(mesh)], sets, n_sectors=24)
        truth = sectors([NUT], mesh, sets, 24)
        if truth is None:
            continue
        value = np.where(truth > CLOSE, truth, -math.inf)
        nearest = np.minimum(np.minimum(np.roll(room.lo, 1), np.roll(room.lo, -1)), room.lo)
        assert (nearest <= value + CLOSE).all()
        assert room.lo.min() <= value.min() + CLOSE
        assert value.min() <= room.hi.min() + CLOSE or room.hi.min() == -math.inf


@pytest.mark.parametrize("is_aligned", [False, True], ids=["any", "aligned"])
def test_that_the_least_sector_is_the_room_of_the_part(is_aligned):
    rng = np.random.default_rng([33, is_aligned])
    for _ in range(30):
        sets, mesh = random_scene(rng, is_aligned, 6, n_sets=int(rng.integers(1, 4)))
        near = [body(mesh, subtract=0.4)]
        room = polar_room(HOLDER, near, sets)
        truth = exact(HOLDER, near, sets)
        assert room.lo.min() <= truth + CLOSE
        assert truth <= room.hi.min() + CLOSE or (room.hi.min() == -math.inf and truth <= CLOSE)


@pytest.mark.parametrize("kind", ["point", "sloping segment", "rectangle", "no segment"])
def test_that_no_sampled_point_is_nearer_than_its_sector_says(kind):
    rng = np.random.default_rng([34, SETS.index(kind)])
    n = 36
    for _ in range(4):
        sets, mesh = random_scene(rng, False, 3, (kind,))
        points, lifts = tool_sees(mesh, sets, 9)
        room = polar_room([NUT], [body(mesh)], sets, n_sectors=n)
        which = (
            np.floor(np.mod(np.arctan2(points[:, 1], points[:, 0]), 2 * math.pi) * n / (2 * math.pi)).astype(int) % n
        )
        d = sampled_distance(points, lifts, NUT)
        assert (room.lo[which] <= d + CLOSE).all()


# --- closed forms ---------------------------------------------------------------------------------


def test_that_a_wall_is_as_far_as_its_nearest_place_in_each_sector():
    a, b, c, d = (20, -5000, -900), (20, 5000, -900), (20, 5000, 900), (20, -5000, 900)
    wall = soup([[a, b, c], [a, c, d]])
    n = 72
    room = polar_room([NUT], [body(wall)], ORIGIN, n_sectors=n)
    for k in range(n):
        a = math.radians(360 / n * k), math.radians(360 / n * (k + 1))
        most = max(math.cos(x) for x in a)  # of the sector, towards +X; in two quadrants there is no wall
        if most <= 1e-12:
            assert room.lo[k] == math.inf and room.body[k] == -1
        elif min(math.cos(x) for x in a) > 0.1:
            truth = 20 / most - NUT.r1
            assert room.lo[k] <= truth + CLOSE <= room.hi[k] + 2 * CLOSE <= room.lo[k] + TOLERANCE + 2 * CLOSE


@pytest.mark.parametrize("n_sectors", [3, 4, 72, 360])
def test_that_a_tube_leaves_the_same_room_all_round(n_sectors):
    radius, sides = 30.0, 360
    room = polar_room([NUT], [body(brute_force.prism_mesh(sides, radius, radius, 200, (0, 0, -100)))], ORIGIN,
                      n_sectors=n_sectors)  # fmt: skip
    inner = radius * math.cos(math.pi / sides)  # to the middle of a side; the corners are 0.001 farther
    assert (room.lo <= inner - NUT.r1 + CLOSE).all() and (room.hi >= inner - NUT.r1 - CLOSE).all()
    assert (room.hi <= radius - NUT.r1 + TOLERANCE).all()


def test_that_a_floor_is_as_far_in_every_direction():
    plate = brute_force.box_mesh((100, 100, 10), (-50, -50, -13))
    room = polar_room([NUT], [body(plate)], ORIGIN)
    check(room, np.full(72, 3.0))
    assert (room.at[:, 2] <= -3.0 + CLOSE).all()


def test_that_a_screw_is_seen_in_its_direction_only():
    screw = brute_force.prism_mesh(64, 4.0, 4.0, 20, (0, 30, -5))
    room = polar_room([NUT], [body(screw)], ORIGIN)
    seen = np.flatnonzero(room.body == 0)
    half = math.degrees(math.asin(4.0 / 30.0))  # 7.66 degrees: sectors of 5 from 82.3 to 97.7
    assert seen.tolist() == list(range(int((90 - half) // 5), int((90 + half) // 5) + 1))
    assert room.lo.min() <= 30 - 4 - 8 + CLOSE <= room.hi.min() + 2 * CLOSE


# --- contact, errors, relations -------------------------------------------------------------------

BLOCK = brute_force.box_mesh((60, 60, 60), (-30, -30, -20))


def test_that_contact_is_told_where_it_is():
    wall = brute_force.box_mesh((10, 10, 60), (7, -5, -20))
    room = polar_room([NUT], [body(wall)], ORIGIN)
    touching = np.flatnonzero(room.hi == -math.inf)
    # the corner (7, 5) is 8.6 off the axis; the wall is met where 7 / cos a < 8: up to 28.96 degrees
    assert touching.tolist() == [0, 1, 2, 3, 4, 5, 66, 67, 68, 69, 70, 71]
    assert (room.lo[touching] == -math.inf).all()


def test_that_a_part_inside_a_solid_touches_it_all_round_and_a_shell_nowhere():
    assert (polar_room([NUT], [body(BLOCK, is_solid=True)], ORIGIN).hi == -math.inf).all()
    shell = polar_room([NUT], [body(BLOCK)], ORIGIN)
    assert shell.lo.min() <= 20.0 + CLOSE <= shell.hi.min() + 2 * CLOSE


def test_that_a_needle_inside_what_a_triangle_sweeps_is_in_contact():
    plate = soup([[(-200, -200, 10), (200, -200, 10), (0, 300, 10)]])
    sets = [Positions(np.array([(0.0, 0.0, -60.0), (0.0, 0.0, 40.0)]))]  # the plate passes the needle's middle
    room = polar_room([Step(0.2, 0.2, -2.0, 2.0)], [body(plate)], sets)
    assert (room.hi == -math.inf).all() and (room.lo == -math.inf).all()


def test_that_bodies_are_compared_by_what_remains_and_named():
    left, right = brute_force.box_mesh((5, 9, 90), (-25, -4, -20)), brute_force.box_mesh((5, 9, 90), (19, -4, -20))
    room = polar_room([NUT], [body(left, subtract=1.5), body(right, subtract=0.1, error=0.2)], ORIGIN)
    assert room.body[35] == room.body[36] == 0 and room.body[0] == room.body[71] == 1
    assert room.lo[36] <= 12.0 - 1.5 + CLOSE <= room.hi[36] + 2 * CLOSE
    assert room.lo[0] <= 11.0 - 0.1 - 0.2 + CLOSE and room.hi[0] >= 11.0 - 0.1 - CLOSE
    assert room.hi[18] == math.inf


def test_that_turning_the_surroundings_by_a_sector_turns_the_curve():
    rng = np.random.default_rng(35)
    mesh = soup(rng.normal(size=(10, 3, 3)) * 25 + (0, 0, 10))
    for k in (1, 7, 36):
        still = polar_room(HOLDER, [body(mesh)], ORIGIN)
        moved = polar_room(HOLDER, [body(mesh, X_WG=turned(5.0 * k))], ORIGIN)
        with np.errstate(invalid="ignore"):
            assert (moved.lo <= np.roll(still.hi, k) + CLOSE).all() and (np.roll(still.lo, k) <= moved.hi + CLOSE).all()


def test_that_a_cap_leaves_what_is_below_it():
    rng = np.random.default_rng(36)
    for _ in range(10):
        sets, mesh = random_scene(rng, False, 4)
        free, capped = (polar_room([NUT], [body(mesh)], sets, cap=cap) for cap in (math.inf, 6.0))
        assert (capped.lo <= free.hi + CLOSE).all() and (
            capped.lo >= np.minimum(free.lo, 6.0) - TOLERANCE - CLOSE
        ).all()
        is_under = free.hi < 6.0
        assert (capped.hi[is_under] <= free.hi[is_under] + TOLERANCE).all()
        assert (capped.hi[free.lo > 6.0] == math.inf).all()


def test_that_nothing_round_the_tool_leaves_endless_room():
    room = polar_room([NUT], [], ORIGIN)
    assert (room.lo == math.inf).all() and (room.hi == math.inf).all() and (room.body == -1).all()


AWKWARD = {
    "level through the axis": [(-20, -15, 30), (30, -15, 30), (0, 29, 30)],
    "sliver": [(14, -50, 3), (14, 50, 3), (14 + 1e-9, 0, 3 + 1e-9)],
    "collinear": [(14, -50, 3), (14, 50, 20), (14, 0, 11.5)],
    "a point": [(9, 12, 7), (9, 12, 7), (9, 12, 7)],
    "an edge on the axis": [(0, 0, 50), (0, 0, 60), (40, 3, 55)],
    "in the plane of a sector's side": [(10, 0, 0), (50, 0, 0), (30, 0, 40)],
}


@pytest.mark.parametrize("name", AWKWARD)
@pytest.mark.parametrize("tips", [[(0, 0, 0)], [(0, 0, 0), (0, 0, 4)], [(0, 0, 0), (2, 0, 0), (2, 6, 0)]], ids=len)
def test_that_awkward_triangles_are_seen_in_their_sectors(name, tips):
    sets = [Positions(np.array(tips, dtype=float), up=2.0)]
    mesh = soup([AWKWARD[name]])
    room = polar_room([NUT], [body(mesh)], sets)
    truth = exact([NUT], [body(mesh)], sets)
    assert room.lo.min() <= truth + CLOSE
    assert truth <= room.hi.min() + CLOSE or (room.hi.min() == -math.inf and truth <= CLOSE)
    points, lifts = tool_sees(mesh, sets, 12)
    a = np.mod(np.arctan2(points[:, 1], points[:, 0]) * 72 / (2 * math.pi), 72.0)
    inside = (np.abs(a - np.round(a)) > 1e-6) & (np.hypot(points[:, 0], points[:, 1]) > 1e-9)
    d = sampled_distance(points, lifts, NUT)[inside]
    assert (room.lo[np.floor(a[inside]).astype(int) % 72] <= d + CLOSE).all()
