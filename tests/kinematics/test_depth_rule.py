"""The depth rule: depth from the highest material over the sweep, against flute and neck, by closed forms."""

import math

import numpy as np
import pytest

from kinematics.depth_rule import highest_over
from kinematics.scene import Body, Face, Hole, Path, Placement, Pocket, Profile, Slot
from kinematics.shapes import Box, cylinder
from kinematics.solids import Triangles
from kinematics.verdict import Verdict
from tests.kinematics.engine.pairs_by_hand import mesh_shape
from tests.one_cut import end_mill, one_cut, report_of
from tests.truth import brute_force
from tests.truth.sampled_moves import is_in_polygon
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


def test_that_the_highest_point_over_a_polygon_is_that_of_dense_sampling():
    rng = np.random.default_rng(51)
    for _ in range(20):
        vertices, faces = brute_force.prism_mesh(int(rng.integers(3, 12)), *rng.uniform(1, 15, 3))
        vertices = vertices @ rotation(rng, "any").T
        t = 2 * np.pi * (np.arange(6) + rng.uniform(0, 0.8, 6)) / 6
        region = np.column_stack([np.cos(t), np.sin(t)]) * rng.uniform(2, 10) + rng.uniform(-8, 8, 2)
        found = highest_over(Triangles(vertices, faces.astype(np.int32)), region, at_least=-100.0)
        points = brute_force.surface_points((vertices, faces), 0.4)
        inside = points[is_in_polygon(points[:, :2], region)]
        sampled = inside[:, 2].max() if len(inside) else -100.0
        assert found >= sampled - 1e-9
        if len(inside) > 50:
            assert found - sampled < 1.0
