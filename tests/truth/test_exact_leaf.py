"""The leaf of the exact engine: every distance of a solid of revolution to a triangle is proven, case by case.

The proof (`leaf_certificate.py`) needs no other minimiser: two points that are as near as the answer says, and a plane
that holds the two apart by as much. Beside it stand closed forms, answers known by construction, sampling, and a second
distance library (coal, test dependency only, whose values were found right to 1.1e-4).
"""

import itertools
import math
import sys

import numpy as np
import pytest
from scipy.spatial import ConvexHull, QhullError

from kinematics.engine.exact_leaf import triangle_least
from tests.truth import brute_force, leaf_cases, leaf_certificate

TOLERANCE = 1e-6  # mm, of every single answer
PEER = 2e-4  # mm, what the peer may be off by, and a millionth of the distance


def least(case, cap=math.inf):
    """The leaf's answer (7,), its profile in the middle of a longer array and its tips in the middle of others."""
    n, m = len(case.profile), len(case.tips)
    profile = np.vstack([np.full((2, 2), 7e3), case.profile, np.full((1, 2), -7e3)])
    tips = np.vstack([np.full((1, 3), 5e3), case.tips, np.full((1, 3), -5e3)])
    triangle = np.ascontiguousarray(case.triangle, dtype=float)
    return np.array(
        triangle_least(profile, 2, n + 1, case.split + 2, case.down, case.up, triangle, tips, 1, m + 1, cap)
    )


def rows_of(case):
    return leaf_certificate.rows_of(case.profile, case.split, case.down, case.up)


def check_proven(case, answer):
    # the directions of the proof are too coarse for the gap of large triangles that nearly touch
    check = leaf_certificate.witness_faults if 0.0 < answer[0] < 1e-4 else leaf_certificate.faults
    found = check(rows_of(case), case.triangle, case.tips, answer, TOLERANCE)
    assert not found, f"{case}: {found}"


def away(case, answer):
    """The unit direction from the solid to the triangle, at the nearest points."""
    p = answer[1:4] - answer[4:7]
    near, d = leaf_certificate.nearest_of_solid(rows_of(case), p)
    return (p - near) / d


# --- every answer is proven ------------------------------------------------------------------------


def check_case(rng, is_aligned):
    """One random case, the same at a chosen gap, and both with caps; gives 2 or 1, how many of them were met."""
    case = leaf_cases.random_case(rng, is_aligned)
    answer = least(case)
    check_proven(case, answer)
    check_caps(case, answer[0])
    if not 1e-2 < answer[0] < 1e3:
        return 1
    # along the line of the nearest points the distance falls by as much as the triangle comes nearer
    gap = rng.choice([0.0, 1e-9, 1e-8, 1e-7, 1e-6, 1e-5, 1e-4, 1e-3, -1e-9, -1e-3, -0.5])
    moved = case.moved(-(answer[0] - gap) * away(case, answer))
    nearer = least(moved)
    if gap >= 0.0:
        assert nearer[0] == pytest.approx(gap, abs=1e-8), moved
    check_proven(moved, nearer)
    check_caps(moved, nearer[0])
    return 2


def check_caps(case, value):
    for cap in (0.5 * value, value - 1e-8, value + 1e-8, 1.5 * value + 0.1):
        if cap <= 0.0:
            continue
        capped = least(case, cap)
        if cap <= value - 5e-9:
            assert capped[0] == cap, case
        else:
            assert capped[0] == pytest.approx(min(value, cap), abs=5e-9), case
            if capped[0] < cap:
                check_proven(case, capped)


@pytest.mark.parametrize("is_aligned", [False, True], ids=["any", "aligned"])
def test_that_every_distance_is_proven(is_aligned):
    rng = np.random.default_rng(401)
    assert sum(check_case(rng, is_aligned) for _ in range(600)) > 800


@pytest.mark.slow
@pytest.mark.parametrize("is_aligned", [False, True], ids=["any", "aligned"])
@pytest.mark.parametrize("seed", range(6))
def test_that_every_distance_is_proven_in_30_000_poses(seed, is_aligned):
    rng = np.random.default_rng(410 + seed)
    assert sum(check_case(rng, is_aligned) for _ in range(1700)) > 2500


def test_that_the_proof_refuses_a_distance_that_is_off_by_little():
    rng = np.random.default_rng(402)
    n = 0
    for i in range(300):
        case = leaf_cases.random_case(rng, i % 2 == 0)
        answer = least(case)
        if 1e-2 < answer[0] < 1e3:
            for off in (-3e-6, 3e-6):
                wrong = answer + off * np.eye(7)[0]
                assert leaf_certificate.faults(rows_of(case), case.triangle, case.tips, wrong, TOLERANCE)
            farther = least(case.moved(1e-2 * away(case, answer)))  # sound points, but no longer the nearest
            farther[1:4] -= 1e-2 * away(case, answer)
            assert leaf_certificate.faults(rows_of(case), case.triangle, case.tips, farther, TOLERANCE)
            n += 1
    assert n > 100


def test_that_the_proof_refuses_tip_positions_of_the_wrong_sign():
    rng = np.random.default_rng(403)
    n_refused = 0
    for i in range(300):
        case = leaf_cases.random_case(rng, i % 2 == 0)
        turned = leaf_cases.Case(
            case.name, case.profile, case.split, case.down, case.up, case.triangle, -case.tips[::-1]
        )
        wrong = least(turned)
        wrong[4:7] *= -1.0
        n_refused += bool(leaf_certificate.faults(rows_of(case), case.triangle, case.tips, wrong, TOLERANCE))
    assert n_refused > 150


# --- a solid that is swallowed ---------------------------------------------------------------------


def is_swallowed(case):
    """Whether the solid lies within the swept triangle and touches none of its boundary; None where that is flat."""
    corners = (case.triangle[:, None] - case.tips[None]).reshape(-1, 3)
    try:
        planes = ConvexHull(corners).equations
    except QhullError:
        return None
    rows = rows_of(case)
    level = np.hypot(planes[:, 0], planes[:, 1])
    reach = (np.outer(planes[:, 2], rows[:, 1]) + np.outer(level, rows[:, 0])).max(1)
    return bool((reach + planes[:, 3]).max() < -1e-6)


def check_swallowed(rng, n):
    found = []
    for i in range(n):
        case = leaf_cases.random_case(rng, i % 2 == 0, place="inside")
        if is_swallowed(case):
            found.append(case)
            answer = least(case)
            assert answer[0] == 0.0, case
            check_proven(case, answer)
            assert least(case, 1e-3)[0] == 0.0, case
    return found


def test_that_a_solid_inside_the_swept_triangle_is_contact():
    found = check_swallowed(np.random.default_rng(404), 600)
    assert len(found) > 30
    assert sum(len(case.tips) == 2 for case in found) > 10


@pytest.mark.slow
def test_that_a_solid_inside_the_swept_triangle_is_contact_in_thousands_of_poses():
    assert len(check_swallowed(np.random.default_rng(405), 12_000)) > 700


@pytest.mark.parametrize("there_and_back", [False, True])
@pytest.mark.parametrize("x", [-0.9, -0.5, 0.0, 0.5, 0.9])
def test_that_a_small_tool_that_passes_through_a_wall_is_contact(x, there_and_back):
    """The ends of the way are 50 mm from the wall, the edges of the wall 60 from the way: only the inside tells."""
    profile = np.array([(1.0, 0.0), (1.0, 3.0)])
    wall = np.array([(x, -200.0, -100.0), (x, 200.0, -100.0), (x, 0.0, 300.0)]) + (20.0, 30.0, 0.0)
    tips = np.array([(-30.0, 30.0, 4.0), (70.0, 30.0, 4.0), (70.0, 30.0, 4.0), (-30.0, 30.0, 4.0)])
    case = leaf_cases.Case("wall", profile, 0, 0.0, 0.0, wall, tips if there_and_back else tips[:2])
    answer = least(case)
    assert answer[0] == 0.0
    check_proven(case, answer)


# --- closed forms ----------------------------------------------------------------------------------

CYLINDER = (np.array([(5.0, 0.0), (5.0, 20.0)]), 0)
POINT_90 = (np.array([(0.0, 0.0), (10.0, 10.0), (10.0, 10.0), (10.0, 30.0)]), 1)
BEVEL_3_4 = (np.array([(2.0, 0.0), (5.0, 4.0), (5.0, 4.0), (5.0, 20.0)]), 1)  # a side that rises by 4 over 3
WIDE = 400.0


def plate(z):
    return [(-WIDE, -WIDE, z), (WIDE, -WIDE, z), (0.0, WIDE, z)]


def wall(x):
    return [(x, -WIDE, -WIDE), (x, WIDE, -WIDE), (x, 0.0, WIDE)]


def speck(x, y, z):
    return [(x, y, z)] * 3


@pytest.mark.parametrize(
    ("solid", "triangle", "tips", "lift", "expected"),
    [
        (CYLINDER, plate(-3), [(0, 0, 0)], (0, 0), 3.0),
        (CYLINDER, plate(-3), [(0, 0, 0)], (2, 0), 1.0),
        (CYLINDER, plate(-3), [(0, 0, 0)], (0, 50), 3.0),
        (CYLINDER, plate(23), [(0, 0, 0)], (0, 2), 1.0),
        (CYLINDER, plate(23), [(0, 0, 0)], (0, 3), 0.0),
        (CYLINDER, plate(-3), [(1, 2, 40), (9, 2, 7)], (0, 0), 10.0),
        (CYLINDER, plate(-3), [(1, 2, 7), (9, 2, 7), (9, 8, 7)], (0, 0), 10.0),
        (CYLINDER, wall(9), [(0, 0, 0)], (0, 0), 4.0),
        (CYLINDER, wall(9), [(-70, 3, 0), (1, 50, 9)], (0, 0), 3.0),
        (CYLINDER, speck(8, 0, 10), [(0, 0, 0)], (0, 0), 3.0),
        (CYLINDER, speck(8, 0, 24), [(0, 0, 0)], (0, 0), 5.0),
        (CYLINDER, speck(8, 0, 24), [(0, 0, 0)], (0, 4), 3.0),
        (CYLINDER, speck(0, 0, -2), [(0, 0, 0)], (0, 0), 2.0),
        (CYLINDER, speck(15, 9, 5), [(0, 0, 0), (30, 0, 0)], (0, 0), 4.0),
        (CYLINDER, speck(33, 9, 5), [(0, 0, 0), (30, 0, 0)], (0, 0), math.hypot(3, 9) - 5),
        (CYLINDER, speck(15, 10, -2), [(0, 0, 0), (30, 0, 0), (30, 20, 0), (0, 20, 0)], (0, 0), 2.0),
        (CYLINDER, speck(15, 28, 12), [(0, 0, 0), (30, 0, 0), (30, 20, 0), (0, 20, 0)], (0, 0), 3.0),
        (CYLINDER, speck(15, 10, 7), [(0, 0, 0), (30, 0, 0), (30, 20, 0), (0, 20, 0)], (0, 0), 0.0),
        (CYLINDER, [(8, -3, 5), (8, 3, 5), (8, 3, 5)], [(0, 0, 0)], (0, 0), 3.0),  # an edge past the side
        (CYLINDER, [(-9, 0, 23), (9, 0, 23), (0, 0, 40)], [(0, 0, 0)], (0, 0), 3.0),  # an edge over the flat end
        (POINT_90, plate(-1), [(4, 4, 0)], (0, 0), 1.0),
        (POINT_90, speck(10, 0, 0), [(0, 0, 0)], (0, 0), 10 / math.sqrt(2)),
        (POINT_90, speck(14, 0, 13), [(0, 0, 0)], (0, 0), 4.0),
        # a slope along the whole generator of the point, 2 sqrt(2) below it
        (POINT_90, [(-4, -90, -8), (30, 0, 26), (-4, 90, -8)], [(0, 0, 0)], (0, 0), 2 * math.sqrt(2)),
        (POINT_90, [(-4, -90, -8), (30, 0, 26), (-4, 90, -8)], [(3, 50, 3), (8, -20, 8)], (0, 0), 2 * math.sqrt(2)),
        (BEVEL_3_4, speck(2 + 1.5 + 4, 0, 2 - 3), [(0, 0, 0)], (0, 0), 5.0),  # square to the side
        (BEVEL_3_4, speck(5, 0, -4), [(0, 0, 0)], (0, 0), 5.0),  # beyond its lower corner
        (BEVEL_3_4, speck(2 + 1.5 + 4, 0, 2 - 3 - 6), [(0, 0, 0)], (6, 0), 5.0),
    ],
)
def test_that_simple_set_ups_have_their_closed_form(solid, triangle, tips, lift, expected):
    case = leaf_cases.Case("closed form", *solid, *map(float, lift), np.array(triangle, float), np.array(tips, float))
    for turn in range(4):
        for order in ([0, 1, 2], [2, 1, 0]):
            quarter = np.linalg.matrix_power(np.array([(0.0, -1.0, 0.0), (1.0, 0.0, 0.0), (0.0, 0.0, 1.0)]), turn)
            shift = np.array([17.0, -5.0, 3.0])
            turned = leaf_cases.Case(
                case.name, case.profile, case.split, case.down, case.up,
                case.triangle[order] @ quarter.T + shift, case.tips @ quarter.T + shift,
            )  # fmt: skip
            answer = least(turned)
            assert answer[0] == pytest.approx(expected, abs=1e-8)
            check_proven(turned, answer)


@pytest.mark.parametrize("lean_deg", [0, 1e-7, 0.001, 30, 45, 89.999, 90, 120, 180])
def test_that_a_cylinder_over_a_leaning_plane_has_its_closed_form(lean_deg):
    """The lowest point of a cylinder along a direction that leans by t: r sin t + max(h cos t, 0)."""
    t = math.radians(lean_deg)
    n = np.array([math.sin(t), 0.0, math.cos(t)])
    along, across = np.array([math.cos(t), 0.0, -math.sin(t)]), np.array([0.0, 1.0, 0.0])
    distance = 5.0 * abs(math.sin(t)) + max(20.0 * math.cos(t), 0.0) + 7.0
    corners = np.array([distance * n + 900 * (along * a + across * b) for a, b in [(-1, -1), (1, -1), (0, 1)]])
    for tips in ([(0, 0, 0)], [(0, 0, 0), (-30, 9, 0)], [(0, 0, 0), (3, 4, 2)], [(0, 0, 0), (3, 4, 0), (-7, 8, 0)]):
        q = np.array(tips, float)
        case = leaf_cases.Case("plane", *CYLINDER, 0.0, 0.0, corners, q)
        assert least(case)[0] == pytest.approx(max(0.0, 7.0 - float((q @ n).max())), abs=1e-8)


# --- other ways to the same number -----------------------------------------------------------------


def sampled(case, n=8):
    """The least distance over a grid of the triangle and of the tips, and how far the truth may be below it."""
    u, v = (k.ravel() for k in np.meshgrid(np.arange(n + 1), np.arange(n + 1)))
    u, v = u[u + v <= n, None] / n, v[u + v <= n, None] / n
    rows, best, longest = rows_of(case), math.inf, 0.0
    fans = [case.tips[[0, k, k + 1]] for k in range(1, len(case.tips) - 1)] or [case.tips[[0, -1, -1]]]
    for fan in fans:
        D, Q = (a + u * (b - a) + v * (c - a) for a, b, c in (case.triangle, fan))
        points = (D[:, None] - Q[None]).reshape(-1, 3)
        for (r1, z1), (r2, z2) in itertools.pairwise(rows):
            if z2 > z1:
                best = min(best, float(brute_force.frustum_distance(points, r1, r2, z1, z2).min()))
        longest = max(longest, *(np.linalg.norm(k - np.roll(k, 1, axis=0), axis=1).max() for k in (case.triangle, fan)))
    return best, 2.0 * longest / n  # no point is farther than an edge of its cell from a corner of it


def test_that_no_sample_is_nearer():
    rng = np.random.default_rng(406)
    n = 0
    for i in range(120):
        case = leaf_cases.random_case(rng, i % 2 == 0, place="near")
        if (np.diff(rows_of(case)[:, 1]) > 0).any():
            value, (upper, slack) = least(case)[0], sampled(case)
            assert upper - slack <= value <= upper + 1e-8, case
            n += value > 0.0
    assert n > 20


def coal_distance(case, shape, middle):
    """The peer's distance between one of its round shapes at the tip and the hull of the swept triangle."""
    import coal

    corners = (case.triangle[:, None] - case.tips[None]).reshape(-1, 3)
    if len(case.tips) == 1:
        faces = np.array([(0, 1, 2)], dtype=np.int32)
    else:
        try:
            faces = ConvexHull(corners).simplices.astype(np.int32)
        except QhullError:
            return None
    model = coal.BVHModelOBBRSS()
    model.beginModel(len(faces), len(corners))
    model.addVertices(corners)
    model.addTriangles(faces)
    model.endModel()
    X_tool = coal.Transform3s(np.eye(3) if middle >= 0 else np.diag([1.0, -1.0, -1.0]), np.array([0, 0, abs(middle)]))
    result = coal.DistanceResult()
    return coal.distance(shape, X_tool, model, coal.Transform3s(), coal.DistanceRequest(), result)


def check_peer(rng, is_aligned):
    import coal

    case = leaf_cases.random_case(rng, is_aligned, place=str(rng.choice(["near", "wide"])))
    if np.linalg.norm(np.cross(case.triangle[1] - case.triangle[0], case.triangle[2] - case.triangle[0])) < 1e-3:
        return 0
    r, h = (float(rng.integers(1, 30)) for _ in range(2))
    if rng.random() < 0.5:
        profile, shape, middle = np.array([(r, 0.0), (r, h)]), coal.Cylinder(r, h), h / 2
    else:  # coal's cone has its tip up: turned over, it stands on its tip
        profile, shape, middle = np.array([(0.0, 0.0), (r, h), (r, h)]), coal.Cone(r, h), -h / 2
    case = leaf_cases.Case(case.name, profile, len(profile) - 2, 0.0, 0.0, case.triangle, case.tips)
    peer = coal_distance(case, shape, middle)
    if peer is None or is_swallowed(case):  # its meshes are hollow
        return 0
    value = least(case)[0]
    assert abs(value - max(peer, 0.0)) <= PEER + 1e-6 * peer, (case, peer)
    return int(value > 0.0)


@pytest.mark.skipif(sys.platform == "win32", reason="coal has no wheel for Windows")
def test_that_a_peer_finds_the_same_distances():
    rng = np.random.default_rng(407)
    assert sum(check_peer(rng, i % 2 == 0) for i in range(800)) > 100


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="coal has no wheel for Windows")
@pytest.mark.parametrize("seed", range(2))
def test_that_a_peer_finds_the_same_distances_in_10_000_poses(seed):
    rng = np.random.default_rng(430 + seed)
    assert sum(check_peer(rng, i % 2 == 0) for i in range(5000)) > 700
