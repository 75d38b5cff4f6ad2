"""Whether the operator can see a gap: hand cases, ray casting by brute force, and plain numpy in W line by line."""

import math

import numpy as np
import pytest

from kinematics.engine.sight_lines import stopped_by_frusta, stopped_by_triangles
from kinematics.engine.sweep import RoundPiece
from kinematics.engine.triangle_tree import triangle_tree
from kinematics.pose import Pose, identity
from kinematics.solids import Triangles
from kinematics.visibility import _sides_of_view, is_hidden, sight_lines
from tests.truth import brute_force, sight_reference
from tests.truth.supports import rotation

FRONT, BACK, RIGHT, LEFT = (0.0, -1.0, 0.0), (0.0, 1.0, 0.0), (1.0, 0.0, 0.0), (-1.0, 0.0, 0.0)
TOOL = [RoundPiece("cutter", 5.0, 5.0, 0.0, 60.0), RoundPiece("nut", 14.0, 14.0, 60.0, 90.0)]
TIP = np.zeros(3)


def triangles(mesh):
    """A body of triangles in W."""
    return standing(*mesh), identity("W", "G")


def standing(vertices, faces):
    return triangle_tree(Triangles(np.asarray(vertices, dtype=float), np.asarray(faces).astype(np.int32)))


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


# ---- against plain numpy --------------------------------------------------------------------------------------------

HERE = np.array([6.0, 0.0, 10.0])
TIED = 1e-7  # mm; a line that passes a rim closer than this may be told either way


def stopped(p, lines, tree, X_WG, planes=None):
    """Which lines the product stops at one body."""
    is_open = np.ones(len(lines), dtype=bool)
    n_open = stopped_by_triangles(
        p, lines, np.zeros((0, 3)) if planes is None else planes, X_WG.R_AB, X_WG.p_AB,
        tree.vertices, tree.faces, tree.boxes, tree.first, tree.count, is_open,
    )  # fmt: skip
    assert n_open == is_open.sum()
    return ~is_open


def assert_as_numpy_says(found, p, lines, corners_W):
    """The same lines are stopped; returns how many pass a rim so closely that rounding decides."""
    plain = sight_reference.stopped_by_triangles(p, lines, corners_W)
    differs = found != plain
    if differs.any():
        assert found[differs].all(), "what plain numpy stops is stopped"
        narrow, wide = (
            sight_reference.stopped_by_triangles(p, lines[differs], corners_W, margin=m) for m in (-TIED, TIED)
        )
        assert (narrow != wide).all(), "only what passes a rim within rounding may be told otherwise"
    return int(differs.sum())


def some_body(rng, kind):
    if kind == "soup":  # triangles that join nothing, some without area
        corners = rng.uniform(-30, 30, (40, 3, 3))
        corners[::4, 2] = corners[::4, 1]  # two corners in one place
        corners[1::8, 2] = (corners[1::8, 0] + corners[1::8, 1]) / 2  # three on a line
        corners[2::8] = corners[2::8, :1]  # all in one place
        return corners.reshape(-1, 3), np.arange(120).reshape(-1, 3)
    if kind == "needles":
        n = 24
        v, f = brute_force.prism_mesh(n, *rng.uniform(1, 3, 2), rng.uniform(60, 200))
        return v - (0.0, 0.0, 50.0), f
    if kind == "prism":
        return brute_force.prism_mesh(int(rng.integers(3, 40)), *rng.uniform(5, 50, 3))
    return brute_force.box_mesh(rng.integers(5, 60, 3).astype(float), (-10.0, -20.0, -10.0))


@pytest.mark.parametrize("way", ["any", "aligned"])
@pytest.mark.parametrize("kind", ["box", "prism", "needles", "soup"])
def test_that_the_lines_are_stopped_that_plain_numpy_stops(kind, way):
    """Bodies turned any way, and by quarter turns at whole millimetres, in front of the gap, around and behind it."""
    rng = np.random.default_rng(len(kind) * 7 + len(way))
    lines, planes = sight_lines(FRONT), _sides_of_view(FRONT)
    n_stopped = n_different = 0
    for _ in range(40):
        vertices, faces = some_body(rng, kind)
        at = np.array([rng.integers(-40, 40), -rng.integers(-30, 120), rng.integers(-30, 60)], dtype=float)
        R = rotation(rng, way)
        found = stopped(HERE, lines, standing(vertices, faces), Pose("W", "G", R, at), planes)
        n_different += assert_as_numpy_says(found, HERE, lines, (vertices @ R.T + at)[faces])
        n_stopped += int(found.sum())
    assert 100 < n_stopped < 40 * len(lines) - 100
    assert n_different <= (n_stopped // 100 if way == "aligned" else 0)  # aligned: lines along whole millimetres


@pytest.mark.parametrize("operator", [FRONT, BACK, RIGHT, LEFT, (0.6, -0.8, 0.0)])
def test_that_no_sight_line_leaves_the_view_that_bodies_are_sorted_by(operator):
    assert (sight_lines(operator) @ _sides_of_view(operator).T).min() > -1e-12
    # each side of the view touches a line, so that it keeps out as much as it can
    assert (sight_lines(operator) @ _sides_of_view(operator).T).min(axis=0) == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize("way", ["any", "aligned"])
def test_that_no_line_slips_through_where_triangles_join(way):
    """Lines from inside a closed body, straight at its corners and at points of its edges."""
    rng = np.random.default_rng(17)
    for _ in range(40):
        vertices, faces = brute_force.prism_mesh(int(rng.integers(3, 30)), 20.0, rng.uniform(5, 30), 25.0)
        R, at = rotation(rng, way), rng.integers(-300, 300, 3).astype(float)
        p = R @ (1.0, 2.0, 11.0) + at
        a, b = faces[:, :2].T
        t = rng.uniform(0, 1, (len(faces), 1))
        aims = np.concatenate(
            [vertices, (vertices[a] + vertices[b]) / 2, vertices[a] + t * (vertices[b] - vertices[a])]
        )
        lines = aims @ R.T + at - p
        lines /= np.linalg.norm(lines, axis=1)[:, None]
        assert stopped(p, lines, standing(vertices, faces), Pose("W", "G", R, at)).all()


@pytest.mark.parametrize("way", ["any", "aligned"])
def test_that_a_line_which_passes_a_rim_by_more_than_rounding_is_open(way):
    """Beside each edge of a lone triangle, some 100 away: 2e-9 within it, and as much outside."""
    rng = np.random.default_rng(19)
    corners = np.array([(0.0, 0.0, 0.0), (40.0, 5.0, 0.0), (10.0, 30.0, 8.0)])
    tree = standing(corners, [(0, 1, 2)])
    normal = np.cross(corners[1] - corners[0], corners[2] - corners[0])
    normal /= np.linalg.norm(normal)
    for _ in range(30):
        R, at = rotation(rng, way), rng.integers(-30, 30, 3).astype(float)
        eye = (
            corners.mean(axis=0) + 100.0 * normal
        )  # square to the triangle: what is beside its plane is beside its edge
        for k in range(3):
            edge = corners[(k + 1) % 3] - corners[k]
            out = np.cross(edge, normal) / np.linalg.norm(edge)
            for off, is_stopped in ((-2e-9, True), (2e-9, False), (1e-5, False)):
                aim = corners[k] + rng.uniform(0.1, 0.9) * edge + off * out
                line = R @ (aim - eye)
                line /= np.linalg.norm(line)
                assert stopped(R @ eye + at, line[None, :], tree, Pose("W", "G", R, at))[0] == is_stopped


def test_that_a_line_in_the_plane_of_a_triangle_is_left_to_what_joins_it():
    rng = np.random.default_rng(37)
    tree = standing([(0.0, 0.0, 0.0), (40.0, 0.0, 0.0), (0.0, 30.0, 0.0)], [(0, 1, 2)])
    for _ in range(200):
        R, at = rotation(rng, "any"), rng.uniform(-30, 30, 3)
        eye, aim = np.array([*rng.uniform(-90, -10, 2), 0.0]), np.array([*rng.uniform(5, 10, 2), 0.0])
        line = R @ (aim - eye) / np.linalg.norm(aim - eye)
        assert not stopped(R @ eye + at, line[None, :], tree, Pose("W", "G", R, at)).any()


def test_that_triangles_without_area_stop_nothing_and_open_nothing():
    rng = np.random.default_rng(23)
    lines = sight_lines(FRONT)
    vertices, faces = brute_force.box_mesh((30.0, 20.0, 40.0), (-15.0, -60.0, 0.0))
    plain = stopped(HERE, lines, standing(vertices, faces), identity("W", "G"))
    assert 10 < plain.sum() < len(lines) - 10
    points = np.concatenate([vertices, HERE + rng.uniform(5, 90, (40, 1)) * lines[rng.integers(0, len(lines), 40)]])
    needles = rng.integers(8, 48, (30, 3))
    needles[:, 2] = needles[:, 1]
    flat = np.concatenate([needles, np.repeat(np.arange(8, 48)[:, None], 3, axis=1)])
    for joined in (np.concatenate([faces, flat]), np.concatenate([flat, faces])):
        assert (stopped(HERE, lines, standing(points, joined), identity("W", "G")) == plain).all()
    assert not stopped(HERE, lines, standing(points, flat), identity("W", "G")).any()


def test_that_a_line_begins_a_little_way_off_its_point():
    """A surface through the middle of the gap does not stop it; one that is farther off than 0.001 does."""
    vertices, faces = brute_force.box_mesh((2.0, 2.0, 2.0), (5.0, 0.0, 9.0))
    lines = sight_lines(FRONT)
    for off, is_stopped in ((0.0, False), (0.0008, False), (0.0012, True)):
        X_WG = Pose("W", "G", np.eye(3), np.array([0.0, -2.0 - off, 0.0]))  # its far side is `off` in front
        assert stopped(HERE, lines[:1], standing(vertices, faces[[6, 7]]), X_WG).all() == is_stopped


def test_that_what_is_stopped_already_stays_stopped():
    rng = np.random.default_rng(29)
    lines = sight_lines(FRONT)
    tree, X_WG = standing(*brute_force.box_mesh((30.0, 20.0, 40.0), (-15.0, -60.0, 0.0))), identity("W", "G")
    before = rng.uniform(size=len(lines)) < 0.5
    for at, n_met in ((X_WG, None), (Pose("W", "G", np.eye(3), np.array([0.0, 200.0, 0.0])), 0)):
        is_open = ~before
        n_open = stopped_by_triangles(
            HERE, lines, _sides_of_view(FRONT), at.R_AB, at.p_AB,
            tree.vertices, tree.faces, tree.boxes, tree.first, tree.count, is_open,
        )  # fmt: skip
        met = stopped(HERE, lines, tree, at)
        assert (is_open == ~(before | met)).all()
        assert n_open == is_open.sum()
        assert n_met is None or met.sum() == n_met


def test_that_frusta_stop_the_lines_that_plain_numpy_says():
    """Cylinders, cones and points, from beside, below, above and within; also lines as steep as a cone."""
    rng = np.random.default_rng(31)
    lines = sight_lines(FRONT)
    n_stopped = 0
    for k in range(300):
        r1, r2, z1 = rng.integers(0, 20), rng.integers(0, 20), rng.integers(-20, 20)
        height = abs(r2 - r1) if k % 3 == 0 and r1 != r2 else rng.integers(1, 40)
        frustum = np.array([[r1, r2 if max(r1, r2) else 1, z1, z1 + height]], dtype=float)
        p = rng.integers(-30, 30, 3).astype(float)
        grow = (0.0, 0.1)[k % 2]
        is_open = np.ones(len(lines), dtype=bool)
        n_open = stopped_by_frusta(p, lines, frustum, grow, is_open)
        assert n_open == is_open.sum()
        a, b, low, high = frustum[0] + (grow, grow, -grow, grow)
        assert (~is_open == sight_reference.stopped_by_round(p, lines, a, b, low, high)).all()
        n_stopped += len(lines) - n_open
    assert n_stopped > 1000


def test_that_whole_answers_are_those_of_plain_numpy():
    """Tools, bodies and gaps at random, half of them at whole millimetres and quarter turns."""
    rng = np.random.default_rng(43)
    n_hidden = 0
    for k in range(40):
        way = ("any", "aligned")[k % 2]
        tool = [RoundPiece("cutter", 5.0, 5.0, 0.0, 40.0), RoundPiece("nut", 14.0, 10.0, 40.0, 60.0)]
        tip = rng.integers(-5, 5, 3).astype(float)
        p = tip + (*rng.integers(-20, 20, 2), rng.integers(0, 60))
        gap = rng.choice([0.0, 0.05, 0.4, 3.0])
        ends = p - (gap / 2, 0, 0), p + (gap / 2, 0, 0)
        posed, in_W = [], []
        for _ in range(int(rng.integers(1, 8))):
            vertices, faces = some_body(rng, ("box", "prism")[int(rng.integers(2))])
            vertices = vertices * rng.integers(1, 5)
            R, at = rotation(rng, way), p + (rng.integers(-60, 60), -rng.integers(0, 120), rng.integers(-30, 60))
            posed.append((standing(vertices, faces), Pose("W", "G", R, at)))
            in_W.append((vertices @ R.T + at, faces))
        frusta = [(q.r1, q.r2, q.z1, q.z2) for q in tool]
        expected = {sight_reference.is_hidden(ends, FRONT, frusta, tip, in_W, margin=m) for m in (-TIED, 0.0, TIED)}
        found = is_hidden(ends, FRONT, tool, tip, posed)
        assert found in expected
        n_hidden += found
    assert 6 < n_hidden < 34
