"""The depth rule: depth from the highest material over the sweep, against flute and neck, by closed forms."""

import math

import numpy as np
import pytest

from kinematics.depth_rule import depth_needed
from kinematics.engine.sweep import Positions
from kinematics.engine.triangle_tree import triangle_tree
from kinematics.pose import Pose, identity, turn_about
from kinematics.scene import Body, Face, Hole, Path, Placement, Pocket, Profile, Slot
from kinematics.shapes import Box, cylinder
from kinematics.solids import Triangles
from kinematics.verdict import Verdict
from tests.kinematics.engine.pairs_by_hand import mesh_shape
from tests.one_cut import end_mill, one_cut, report_of
from tests.truth import brute_force, highest_reference
from tests.truth.sampled_moves import is_in_polygon, segment_gap
from tests.truth.supports import rotation

X_AXIS = (1.0, 0.0, 0.0)


def stock(*bodies):
    return tuple(Body(f"s{k}", Placement("P", at), shape) for k, (shape, at) in enumerate(bodies))


BLOCK = stock((Box(100, 100, 40), (0.0, 0.0, -40.0)))


def depth(feature, tool=None, part=BLOCK, **kwargs):
    return report_of(one_cut(feature, tool or end_mill(10.0, 20.0), part=part, **kwargs)).depth


@pytest.mark.parametrize(
    ("feature", "needs"),
    [
        (Hole((0.0, 0.0, 0.0), 12.0), 12.0),
        (Hole((0.0, 0.0, -8.0), 12.0), 20.0),
        (Slot((-20.0, 0, 0), (20.0, 0, 0), 5.0), 5.0),
        (Pocket((0.0, 0, 0), (40.0, 30.0), X_AXIS, 9.0), 9.0),
        (Face((0.0, 0, -2.0), (40.0, 30.0), X_AXIS), 2.0),
        (Profile(((-40.0, -40), (40, -40), (40, 40), (-40, 40)), (0.0, 0, 0), "outside", 15.0), 15.0),
        (Path(((0.0, 0, -3), (20.0, 0, -3), (20.0, 20, -7))), 7.0),
        (Hole((0.0, 0.0, 30.0), 12.0), 0.0),  # above the part
        (Hole((300.0, 0.0, 0.0), 12.0), 0.0),  # beside it
    ],
)
def test_that_depth_is_counted_from_the_face_above(feature, needs):
    found = depth(feature)
    assert found.needs == pytest.approx(needs, abs=0.51 if isinstance(feature, Path) else 1e-9)
    assert found.needs >= needs - 1e-9
    assert found.has == 20.0


@pytest.mark.parametrize("as_mesh", [False, True])
def test_that_depth_is_counted_from_the_highest_material_under_the_cutter_and_not_beside_it(as_mesh):
    """A step 6 high whose edge is 4 from the axis: a d10 cutter is under it, a d6 cutter is not."""
    step = Box(50, 100, 6)
    if as_mesh:
        step = mesh_shape(*brute_force.box_mesh((50.0, 100.0, 6.0), (-25.0, -50.0, 0.0)))
    part = stock((Box(100, 100, 40), (0.0, 0.0, -40.0)), (step, (29.0, 0.0, 0.0)))
    hole = Hole((0.0, 0.0, 0.0), 10.0)
    assert depth(hole, end_mill(10.0, 20.0), part).needs == pytest.approx(16.0)
    assert depth(hole, end_mill(6.0, 20.0), part).needs == pytest.approx(10.0)


def test_that_a_sweep_counts_what_only_its_middle_passes_under():
    part = stock((Box(100, 100, 40), (0.0, 0.0, -40.0)), (cylinder(2, 7), (0.0, 4.0, 0.0)))
    assert depth(Slot((-30.0, 0, 0), (30.0, 0, 0), 5.0), part=part).needs == pytest.approx(12.0)


@pytest.mark.parametrize("lean", [5.0, 15.0, 30.0])
@pytest.mark.parametrize("d", [6.0, 10.0])
def test_that_a_hole_into_a_leaning_face_needs_its_radius_times_the_slope_more(lean, d):
    """The face leans by 15 degrees, d6: 2.6 + 3 tan 15 = 3.40."""
    t = math.radians(lean)
    axis = (0.0, -math.sin(t), math.cos(t))
    needs = depth(Hole((0.0, 0.0, 0.0), 2.6), end_mill(d, 20.0), zero=Placement("table", axis=axis)).needs
    # P leans, so the tool meets the face at (0, 0, 0) and depth runs along the tool
    assert needs == pytest.approx(2.6 + d / 2 * math.tan(t), abs=2e-3)
    assert needs >= 2.6 + d / 2 * math.tan(t) - 1e-9


def test_that_the_spot_on_the_leaning_face_needs_3_40():
    axis = (0.0, -math.sin(math.radians(15)), math.cos(math.radians(15)))
    found = depth(Hole((0.0, 0.0, 0.0), 2.6), end_mill(6.0, 4.0), zero=Placement("table", axis=axis))
    assert found.needs == pytest.approx(3.40, abs=0.005)
    assert (found.has, found.verdict) == (4.0, Verdict.CLEAR)


@pytest.mark.parametrize(
    ("numbers", "has"),
    [
        ({"shank": 10.0}, 20.0),  # as wide as the cutter right above the flutes
        ({"shank": 12.0}, 20.0),
        ({"shank": 10.0, "neck": (9.7, 32.0)}, 32.0),  # thinner up to the shank
        ({"shank": 10.0, "neck": (10.0, 32.0)}, 20.0),  # a neck as wide as the cutter
        ({"shank": 8.0}, 40.0),  # thinner up to the nut
        ({"shank": 8.0, "stick_out": 33.0}, 33.0),
    ],
)
def test_that_what_is_above_the_flutes_counts_as_long_as_it_is_thinner(numbers, has):
    assert depth(Hole((0.0, 0.0, 0.0), 5.0), end_mill(10.0, 20.0, **numbers)).has == has


@pytest.mark.parametrize(
    ("deep", "verdict"), [(19.0, "clear"), (20.0, "clear"), (20.0 + 1e-9, "clear"), (20.01, "can hit")]
)
def test_that_a_flute_as_long_as_the_depth_is_long_enough(deep, verdict):
    assert depth(Hole((0.0, 0.0, 0.0), deep)).verdict == verdict


def test_that_the_way_out_counts():
    """It leaves under a bridge 12 high: there the depth is 12 and what is below it."""
    part = stock((Box(100, 100, 40), (0.0, 0.0, -40.0)), (Box(10, 100, 4), (40.0, 0.0, 8.0)))
    slot = Slot((-30.0, 0, 0), (10.0, 0, 0), 5.0)
    assert depth(slot, part=part).needs == pytest.approx(5.0)
    assert depth(slot, part=part, leave_to=(80.0, 0.0, -5.0)).needs == pytest.approx(17.0)


# ---- the walk down the tree, with the tip at height 0 unless said ---------------------------------------------------


def needed(radius, sets, vertices, faces, X_WG=None):
    feature = [Positions(np.asarray(points, dtype=float)) for points in sets]
    return depth_needed(radius, feature, [(standing(vertices, faces), X_WG or identity("W", "G"))])


def standing(vertices, faces):
    return triangle_tree(Triangles(np.asarray(vertices, dtype=float), np.asarray(faces).astype(np.int32)))


def test_that_the_highest_point_over_a_sweep_is_that_of_dense_sampling():
    rng = np.random.default_rng(51)
    for _ in range(20):
        vertices, faces = brute_force.prism_mesh(int(rng.integers(3, 12)), *rng.uniform(1, 15, 3))
        vertices = vertices @ rotation(rng, "any").T
        t = 2 * np.pi * (np.arange(6) + rng.uniform(0, 0.8, 6)) / 6
        corners = np.column_stack([np.cos(t), np.sin(t)]) * rng.uniform(1, 8) + rng.uniform(-8, 8, 2)
        radius, bottom = rng.uniform(0.5, 3), -100.0
        found = needed(radius, [np.column_stack([corners, np.full(6, bottom)])], vertices, faces) + bottom
        points = brute_force.surface_points((vertices, faces), 0.4)
        q = points[:, :2]
        ends = zip(corners, np.roll(corners, -1, axis=0), strict=True)
        is_over = is_in_polygon(q, corners) | (np.min([segment_gap(q, a, b) for a, b in ends], axis=0) <= radius)
        sampled = points[is_over][:, 2].max() if is_over.any() else bottom
        assert found >= sampled - 1e-9
        if is_over.sum() > 50:
            assert found - sampled < 1.0


def test_that_a_ball_under_the_cutter_is_as_high_as_its_cap():
    """A ball of radius 20 about (30, 0, 0): over a disc of radius 4, 10 from its middle, its top is that at 6."""
    n = 160
    u, v = np.meshgrid(np.linspace(0, np.pi, n), np.linspace(0, 2 * np.pi, 2 * n, endpoint=False), indexing="ij")
    ball = 20.0 * np.stack([np.sin(u) * np.cos(v), np.sin(u) * np.sin(v), np.cos(u)], axis=-1).reshape(-1, 3)
    i, j = (k.ravel() for k in np.meshgrid(np.arange(n - 1), np.arange(2 * n), indexing="ij"))
    a, b = i * 2 * n + j, i * 2 * n + (j + 1) % (2 * n)
    faces = np.concatenate([np.column_stack([a, a + 2 * n, b]), np.column_stack([b, a + 2 * n, b + 2 * n])])
    rng = np.random.default_rng(53)
    for way in ("aligned", "any"):
        R = rotation(rng, way)
        X_WG = Pose("W", "G", R, np.array([30.0, 0.0, 0.0]))
        for points, nearest in (
            ([(20.0, 0.0, -50.0)], 6.0),
            ([(20.0, -30.0, -50.0), (20.0, 30.0, -50.0)], 6.0),
            ([(30.0, 0.0, -50.0)], 0.0),
            ([(0.0, -20.0, -50.0), (16.0, -20.0, -50.0), (16.0, 20.0, -50.0), (0.0, 20.0, -50.0)], 10.0),
        ):
            found = needed(4.0, [points], ball @ R, faces, X_WG) - 50.0
            # the facets lie inside the ball by 0.004, the polygon outside the disc by 0.0025
            assert found == pytest.approx(math.sqrt(400.0 - nearest**2), abs=0.006)


def some_part(rng, kind):
    if kind == "soup":
        corners = rng.uniform(-25, 25, (60, 3, 3))
        corners[::4, 2] = corners[::4, 1]  # without area
        corners[1::8, :, 0] = corners[1::8, :1, 0]  # upright: a line from above
        corners[2::8, :, 2] = corners[2::8, :1, 2]  # level
        corners[3::8] = corners[3::8, :1]  # a point
        return corners.reshape(-1, 3), np.arange(180).reshape(-1, 3)
    if kind == "prism":
        return brute_force.prism_mesh(int(rng.integers(3, 40)), *rng.uniform(2, 30, 3))
    return brute_force.box_mesh(rng.integers(2, 60, 3).astype(float), rng.integers(-30, 0, 3))


def some_sets(rng, z):
    """Points, level and sloping segments, rectangles and other polygons; many corners at whole millimetres."""
    for _ in range(int(rng.integers(1, 5))):
        at = rng.integers(-30, 30, 2).astype(float)
        step = rng.integers(-20, 20, 2)
        match int(rng.integers(5)):
            case 0:
                yield [(*at, z)]
            case 1:
                yield [(*at, z), (*(at + step), z)]
            case 2:
                yield [(*at, z), (*(at + step), z + rng.uniform(-6, 6))]
            case 3:
                a, b = rng.integers(1, 20, 2)
                yield [(*at, z), (at[0] + a, at[1], z), (at[0] + a, at[1] + b, z), (at[0], at[1] + b, z)]
            case _:
                n = int(rng.integers(3, 12))
                t = 2 * np.pi * (np.arange(n) + rng.uniform(0, 0.9)) / n
                corners = at + rng.uniform(1, 15) * np.column_stack([np.cos(t), np.sin(t)])
                yield np.column_stack([corners, np.full(n, z)])


@pytest.mark.parametrize("way", ["any", "aligned"])
@pytest.mark.parametrize("kind", ["box", "prism", "soup"])
def test_that_depths_are_those_of_plain_numpy(kind, way):
    rng = np.random.default_rng(len(kind) * 11 + len(way))
    n_over = 0
    for _ in range(60):
        vertices, faces = some_part(rng, kind)
        R, at = rotation(rng, way), rng.integers(-20, 20, 3).astype(float)
        sets = list(some_sets(rng, float(rng.integers(-40, 10))))
        radius = rng.integers(1, 12) / 2
        expected = highest_reference.depth_needed(radius, sets, [(vertices @ R.T + at, faces)])
        found = needed(radius, sets, vertices, faces, Pose("W", "G", R, at))
        assert found == pytest.approx(expected, abs=1e-9)
        n_over += found > 0.0
    assert n_over > 20


@pytest.mark.parametrize("climb", [0.0, 3.0, 20.0])
@pytest.mark.parametrize("kind", ["box", "prism", "soup"])
def test_that_long_ways_are_those_of_plain_numpy(kind, climb):
    """A spiral of 90 segments, level or climbing, over a solid that stands any way."""
    rng = np.random.default_rng(len(kind) + int(climb))
    t = np.linspace(0.0, 12.0, 91)
    for _ in range(2):
        vertices, faces = some_part(rng, kind)
        R, at = rotation(rng, "any"), rng.uniform(-10, 10, 3)
        way = np.column_stack([2.5 * t * np.cos(t), 2.5 * t * np.sin(t), climb * rng.permutation(t) / 12.0 - 30.0])
        sets = list(np.stack([way[:-1], way[1:]], axis=1))
        expected = highest_reference.depth_needed(1.5, sets, [(vertices @ R.T + at, faces)])
        found = needed(1.5, sets, vertices, faces, Pose("W", "G", R, at))
        assert found == pytest.approx(expected, abs=1e-9)
        assert found > 0.0


@pytest.mark.parametrize("kind", ["box", "prism", "soup"])
def test_that_several_solids_need_what_the_highest_does(kind):
    rng = np.random.default_rng(len(kind))
    posed, in_W = [], []
    for _ in range(5):
        vertices, faces = some_part(rng, kind)
        R, at = rotation(rng, "any"), rng.uniform(-20, 20, 3)
        posed.append((standing(vertices, faces), Pose("W", "G", R, at)))
        in_W.append((vertices @ R.T + at, faces))
    sets = [[(-20.0, -10.0, -30.0), (20.0, 10.0, -25.0)], [(5.0, 5.0, -40.0)]]
    feature = [Positions(np.array(points)) for points in sets]
    one_by_one = [depth_needed(3.0, feature, [one]) for one in posed]
    assert depth_needed(3.0, feature, posed) == pytest.approx(max(one_by_one), abs=1e-12)
    assert max(one_by_one) == pytest.approx(highest_reference.depth_needed(3.0, sets, in_W), abs=1e-9)


@pytest.mark.parametrize("n_same", [1, 2, 5])
def test_that_corners_of_a_polygon_may_repeat_and_lie_on_a_line(n_same):
    """The rectangle 20 x 10 with corners given again, moved by rounding, and points along its sides."""
    rng = np.random.default_rng(n_same)
    rectangle = np.array([(0.0, 0.0), (20.0, 0.0), (20.0, 10.0), (0.0, 10.0)])
    vertices, faces = brute_force.prism_mesh(7, 9.0, 2.0, 12.0)
    plain = [np.column_stack([rectangle, np.full(4, -30.0)])]
    middles = (rectangle + np.roll(rectangle, -1, axis=0)) / 2
    many = np.stack([rectangle, middles], axis=1).reshape(-1, 2).repeat(n_same, axis=0)
    for x, y in rng.uniform(-25, 35, (40, 2)):
        X_WG = Pose("W", "G", rotation(rng, "any"), np.array([x, y, 0.0]))
        moved = many + rng.uniform(-1e-11, 1e-11, many.shape)
        again = [np.column_stack([moved, np.full(len(many), -30.0)])]
        assert needed(3.0, again, vertices, faces, X_WG) == pytest.approx(
            needed(3.0, plain, vertices, faces, X_WG), abs=1e-9
        )


def test_that_what_only_touches_the_sweep_is_under_it():
    """A wall whose face is 5 from the axis of a d10 cutter, on the side where its polygon has a corner; and beyond."""
    vertices, faces = brute_force.box_mesh((10.0, 40.0, 30.0), (5.0, -20.0, -10.0))
    for off, height in ((0.0, 20.0), (0.01, 0.0)):
        X_WG = Pose("W", "G", np.eye(3), np.array([off, 0.0, 0.0]))
        assert needed(5.0, [[(0.0, 0.0, 0.0)]], vertices, faces, X_WG) == height


@pytest.mark.parametrize("radius", [0.5, 3.0, 10.0])
@pytest.mark.parametrize("turn", [0.0, 90.0, 180.0, 270.0])
def test_that_a_ramp_is_followed_to_the_last_corner_of_the_region(radius, turn):
    """A strip that rises at 45 degrees from the axis outwards, where the polygon around the circle has a corner."""
    strip = np.array([(0.0, 0.0, 0.0), (100.0, -0.01, 100.0), (100.0, 0.01, 100.0)])
    faces = np.array([(0, 1, 2)])
    for sets in ([[(0.0, 0.0, 0.0)]], [[(-20.0, 0.0, 0.0), (0.0, 0.0, 0.0)]], [[(-9.0, -3.0, 0.0), (0.0, 0.0, 0.0)]]):
        R = turn_about("W", "G", (0.0, 0.0, 1.0), turn)
        ways = [R.points(np.array(points)) for points in sets]
        expected = highest_reference.depth_needed(radius, ways, [(R.points(strip), faces)])
        assert needed(radius, ways, strip, faces, R) == pytest.approx(expected, abs=1e-9)
        assert radius < expected < radius + 0.006  # two sagittas at most
        # the same where something else is hardly lower: nothing is passed over that is higher by a hair
        level = brute_force.box_mesh((300.0, 300.0, 1.0), (-150.0, -150.0, expected - 1.0 - 1e-7))
        feature = [Positions(points) for points in ways]
        both = [(standing(*level), identity("W", "G")), (standing(strip, faces), R)]
        assert depth_needed(radius, feature, both) == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize("order", [1, -1])
def test_that_of_two_solids_the_one_that_is_higher_by_a_hair_counts(order):
    """Two blocks side by side under a slot, 12 and 12.0000001 high."""
    blocks = [brute_force.box_mesh((10.0, 10.0, h), (x, -5.0, 0.0)) for x, h in ((0.0, 12.0), (15.0, 12.0000001))]
    feature = [Positions(np.array([(-5.0, 0.0, -1.0), (40.0, 0.0, -1.0)]))]
    apart = [(standing(*block), identity("W", "G")) for block in blocks[::order]]
    together = [(standing(*brute_force.joined(*blocks[::order])), identity("W", "G"))]
    for material in (apart, together):
        assert depth_needed(3.0, feature, material) == pytest.approx(13.0000001, abs=1e-12)
