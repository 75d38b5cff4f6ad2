"""Cuts as sets of tip positions: where the tip goes, how it lifts and leaves, what can't be made."""

import math

import numpy as np
import pytest

from kinematics.assembly import tool_assembly
from kinematics.errors import FeatureError
from kinematics.machine import LinearAxis, Machine
from kinematics.moves.cuts import ARC_SAGITTA, check_cut, cut_move, lift_height
from kinematics.pose import Pose
from kinematics.scene import Cut, Face, Hole, Lift, Path, Pocket, Profile, Slot, Tool
from tests.one_cut import NUT, end_mill, one_cut, plain_machine
from tests.truth import sampled_moves as sampled
from tests.truth.moves_by_hand import L_SHAPE

UPRIGHT = Pose("W", "P", np.eye(3), np.zeros(3))
NEVER = -math.inf
X, Y, Z = (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)


def move_of(feature, tool=None, *, X_WP=UPRIGHT, retract=60.0, leave_to=None, lift_to=NEVER):
    tool = tool or end_mill(10.0)
    return cut_move(Cut("cut", "T", "raw", feature, retract, leave_to), tool_assembly(tool), X_WP, lift_to)


def tips(move):
    return np.concatenate([s.points for s in move.sets])


def square(half):
    return ((-half, -half), (half, -half), (half, half), (-half, half))


# ---- where the tip goes ----------------------------------------------------------------------------


def test_that_a_hole_is_one_point_as_deep_as_the_tip_goes():
    (only,) = move_of(Hole((3.0, 4.0, 5.0), 12.0)).sets
    assert only.points == pytest.approx(np.array([[3.0, 4.0, -7.0]]))


def test_that_depth_runs_along_the_tool_axis_whatever_the_part_does():
    """P's +Y turned up: depth goes along -Y of P, which is -Z of W."""
    R = np.array([[1.0, 0, 0], [0, 0, -1], [0, 1, 0]])
    (only,) = move_of(Hole((0.0, 15.0, -32.0), 2.6), X_WP=Pose("W", "P", R, np.array([70.0, 0, 100]))).sets
    assert only.points[0] == pytest.approx((70.0, 32.0, 100 + 15 - 2.6))


def test_that_a_pocket_is_inset_by_the_cutter_radius_from_its_opening():
    (only,) = move_of(Pocket((20.0, 0.0, 0.0), (14.0, 30.0), X, 8.0), end_mill(6.0)).sets
    low, high = only.points.min(axis=0), only.points.max(axis=0)
    assert low == pytest.approx((20 - 4, -12, -8))
    assert high == pytest.approx((20 + 4, 12, -8))


@pytest.mark.parametrize(
    ("kind", "numbers", "depth", "wall"),
    [
        ("end mill", {"d": 6.0, "taper_deg": 10.0}, 5.0, 3.0 + 5.0 * math.tan(math.radians(10.0))),
        ("ball mill", {"d": 6.0}, 8.0, 3.0),
        ("ball mill", {"d": 6.0}, 1.0, math.sqrt(3.0**2 - 2.0**2)),
        ("chamfer mill", {"d": 10.0, "tip_d": 2.0, "point_deg": 90.0}, 1.5, 1.0 + 1.5),
    ],
)
def test_that_the_tip_may_stand_as_near_to_the_wall_as_the_cutter_in_the_pocket_is_wide(kind, numbers, depth, wall):
    """By hand from the outline of the cutter: its radius at the opening, where it is not widest below."""
    tool = Tool("T", kind, 40.0, NUT, flute=20.0, shank=12.0, **numbers)
    (only,) = move_of(Pocket((0.0, 0.0, 0.0), (40.0, 30.0), X, depth), tool).sets
    assert np.abs(only.points).max(axis=0)[:2] == pytest.approx((20 - wall, 15 - wall), abs=0.01)
    assert (np.abs(only.points).max(axis=0)[:2] >= (20 - wall - 1e-9, 15 - wall - 1e-9)).all()


@pytest.mark.parametrize(("size", "n"), [((10.0, 10.0), 1), ((10.0, 30.0), 2), ((30.0, 10.0), 2), ((11.0, 11.0), 4)])
def test_that_a_pocket_as_wide_as_the_cutter_is_a_line_or_a_point(size, n):
    (only,) = move_of(Pocket((0.0, 0.0, 0.0), size, X, 8.0)).sets
    assert len(only.points) == n


@pytest.mark.parametrize("size", [(9.9, 30.0), (30.0, 9.9), (1.0, 1.0)])
def test_that_a_pocket_smaller_than_the_cutter_is_a_fault_of_that_side(size):
    with pytest.raises(FeatureError, match="no wider than the pocket") as caught:
        move_of(Pocket((0.0, 0.0, 0.0), size, X, 8.0))
    assert caught.value.key == ("pocket", "size", "1" if size[0] < 10 else "2")


def test_that_a_face_runs_off_its_edges_by_the_cutter_radius():
    (only,) = move_of(Face((0.0, 0.0, 5.0), (40.0, 20.0), X)).sets
    assert np.abs(only.points).max(axis=0) == pytest.approx((25, 15, 5))


@pytest.mark.parametrize("feature", [Pocket((0.0, 0.0, 0.0), (30.0, 20.0), Z, 5.0), Face((0.0, 0.0, 0.0), (30, 20), Z)])
def test_that_along_the_tool_is_no_direction_for_a_side(feature):
    with pytest.raises(FeatureError, match="along"):
        move_of(feature)


def test_that_a_path_has_a_set_for_each_straight_move_and_none_for_standing_still():
    move = move_of(Path(((0.0, 0, 0), (10, 0, 0), (10, 0, 0), (10, 0, -5))))
    assert [len(s.points) for s in move.sets] == [2, 2]
    assert len(move_of(Path(((1.0, 2.0, 3.0),) * 3)).sets) == 1


# ---- contours --------------------------------------------------------------------------------------


def check_contour(outline, side, r=5.0, at=(7.0, -3.0, 2.0), depth=4.0):
    """The sets cover the contour's true positions, and reach no farther from them than the sagitta."""
    outline = np.array(outline, dtype=float)
    move = move_of(Profile(tuple(map(tuple, outline)), at, side, depth), end_mill(2 * r))
    tip_z = at[2] - depth
    wanted = (
        np.vstack([sampled.along_segment(a, b, 90) for a, b in zip(outline, np.roll(outline, -1, 0), strict=True)])
        if side == "on"
        else sampled.beside_outline(outline, r, side, 90)
    ) + at[:2]
    covered = np.zeros(len(wanted), dtype=bool)
    for s in move.sets:
        assert s.points[:, 2] == pytest.approx(tip_z)
        corners = s.points[:, :2]
        d = np.array([sampled.segment_gap(wanted, a, b) for a, b in zip(corners, np.roll(corners, -1, 0), strict=True)])
        covered |= d.min(axis=0) < 1e-9
        if len(corners) == 3:
            covered |= sampled.is_in_polygon(wanted, corners)
        off = np.abs(sampled.outline_gap(corners - at[:2], outline) - (0.0 if side == "on" else r))
        assert off.max() <= ARC_SAGITTA + 1e-9
    assert covered.all(), f"{np.count_nonzero(~covered)} of {len(covered)} positions are left out"


@pytest.mark.parametrize("side", ["outside", "inside", "on"])
@pytest.mark.parametrize("outline", [square(20.0), L_SHAPE, L_SHAPE[::-1], [(-30, -20), (30, -20), (0, 35)]])
def test_that_a_contour_covers_its_sides_and_rolls_round_its_corners(outline, side):
    check_contour(outline, side)


@pytest.mark.parametrize("side", ["outside", "inside"])
@pytest.mark.parametrize("n", [5, 12, 45])
def test_that_round_outlines_of_many_corners_are_followed(n, side):
    """Each corner turns by 360 / n: some arcs are a piece and a half long."""
    t = 2 * np.pi * np.arange(n) / n
    check_contour(20.0 * np.column_stack([np.cos(t), np.sin(t)]), side)


@pytest.mark.parametrize("seed", range(4))
def test_that_jagged_outlines_are_followed(seed):
    rng = np.random.default_rng(seed)
    t = 2 * np.pi * (np.arange(14) + rng.uniform(0, 0.7, 14)) / 14
    outline = rng.uniform(16, 40, (14, 1)) * np.column_stack([np.cos(t), np.sin(t)])
    for side, r in (("outside", 2.0), ("outside", 6.0), ("inside", 1.0)):
        check_contour(outline, side, r)


@pytest.mark.parametrize(("dent", "n", "r"), [(0.03, 3, 5.0), (0.15, 3, 20.0), (2.0, 41, 25.0), (6.0, 81, 3.0)])
def test_that_a_shallow_dent_is_followed_and_not_smoothed_away(dent, n, r):
    """A side that bends inwards by `dent` over 60, in n - 1 straight pieces."""
    radius = (30.0**2 + dent**2) / (2 * dent)
    t = np.linspace(-1, 1, n) * math.asin(30 / radius)
    bent = np.column_stack([radius * np.sin(t), -20 + dent - radius + radius * np.cos(t)])
    check_contour(np.vstack([bent, [(30, 40), (-30, 40)]]), "outside", r)


def test_that_a_rolled_corner_knows_its_arc():
    move = move_of(Profile(square(20.0), (0.0, 0.0, 0.0), "outside"))
    centres = {s.arc.centre for s in move.sets if s.arc is not None}
    assert centres == {(x, y, 0.0) for x in (-20.0, 20.0) for y in (-20.0, 20.0)}
    assert all(s.arc.radius == 5.0 for s in move.sets if s.arc is not None)


C_SHAPE = [
    (0, 0), (40, 0), (40, 40), (22, 40), (22, 30), (30, 30), (30, 10), (10, 10), (10, 30), (18, 30), (18, 40), (0, 40),
]  # fmt: skip
TWO_ROOMS = [
    (0, 0), (20, 0), (20, 8), (24, 8), (24, 0), (44, 0), (44, 20), (24, 20), (24, 12), (20, 12), (20, 20), (0, 20),
]  # fmt: skip


def test_that_a_recess_which_the_cutter_can_enter_is_followed():
    check_contour(C_SHAPE, "outside", 1.9)


def test_that_a_recess_whose_mouth_is_too_narrow_is_a_fault_and_not_left_out():
    """A cavity of 20 with a mouth of 4: a d6 cutter fits the cavity and can't get there."""
    with pytest.raises(FeatureError, match="recess"):
        check_contour(C_SHAPE, "outside", 3.0)


@pytest.mark.parametrize(
    ("outline", "side", "says"),
    [
        (square(4.0), "inside", "does not fit"),
        (TWO_ROOMS, "inside", "does not fit"),
        ([(0, 0), (40, 40), (40, 0), (0, 40)], "outside", "crosses itself"),
        ([(0, 0), (40, 0), (20, 0)], "outside", "no area"),
    ],
)
def test_that_a_contour_which_cannot_be_followed_is_a_fault(outline, side, says):
    with pytest.raises(FeatureError, match=says):
        move_of(Profile(tuple(outline), (0.0, 0.0, 0.0), side))


# ---- lifting and leaving -----------------------------------------------------------------------------


def test_that_every_position_lifts_by_the_retract():
    pocket, slot = Pocket((0.0, 0, 0), (30.0, 20.0), X, 5.0), Slot((0.0, 0, 0), (9.0, 0, 0), 5.0)
    for feature in (Hole((0.0, 0, 0), 5.0), pocket, slot):
        move = move_of(feature, retract=60.0)
        assert [s.up for s in move.sets] == [60.0]
        assert [s.up for s in move.feature] == [0.0]


def test_that_every_position_lifts_on_to_where_the_next_move_begins():
    """The gauge line stands 40 + 80 over the tip at -5: up to 430 it is 315."""
    move = move_of(Hole((0.0, 0.0, 0.0), 5.0), retract=60.0, lift_to=430.0)
    assert move.sets[0].up == pytest.approx(430.0 - (-5.0 + 40.0 + 80.0))


@pytest.mark.parametrize(
    ("feature", "last"),
    [
        (Slot((0.0, 0, 0), (30.0, 0, 0), 5.0), (30.0, 0, -5)),
        (Path(((0.0, 0, 0), (10, 0, 0), (10, 20, 0))), (10.0, 20, 0)),
        (Hole((1.0, 2, 3), 4.0), (1.0, 2, -1)),
        (Profile(square(20.0), (0.0, 0, 0), "on"), (-20.0, -20, 0)),
    ],
)
def test_that_with_a_point_to_leave_to_only_that_point_lifts(feature, last):
    move = move_of(feature, leave_to=(100.0, 50.0, 10.0), retract=60.0)
    assert [s.up for s in move.sets[:-1]] == [0.0] * (len(move.sets) - 1)
    assert move.sets[-1].points == pytest.approx(np.array([[100.0, 50, 10]]))
    assert move.sets[-1].up == 60.0
    way_out = move.sets[-2].points
    assert way_out == pytest.approx(np.array([last, (100.0, 50, 10)]))


def test_that_from_an_area_every_straight_way_to_the_point_is_covered():
    move = move_of(Pocket((0.0, 0, 0), (40.0, 40.0), X, 4.0), leave_to=(100.0, 0.0, 6.0))
    _, ways, _ = move.sets
    assert ways.points[:, 2] == pytest.approx(-4.0)
    assert ways.up == pytest.approx(10.0)
    assert sampled.is_in_polygon(np.array([(60.0, 0.0), (14.0, 14.0), (57.0, 7.0)]), ways.points[:, :2]).all()
    x, y = ways.points[:, :2].T
    assert (x * np.roll(y, -1) - np.roll(x, -1) * y).sum() > 0, "counter-clockwise"


@pytest.mark.parametrize("kind", ["dovetail cutter", "slot cutter", "lollipop"])
def test_that_what_undercuts_needs_a_way_out(kind):
    numbers = {
        "dovetail cutter": {"flank_deg": 60.0, "d": 16.0, "flute": 4.0},
        "slot cutter": {"d": 16.0, "flute": 4.0},
    }
    tool = Tool("T", kind, 40.0, NUT, shank=6.0, **numbers.get(kind, {"d": 16.0}))
    slot = Slot((0.0, 0, 0), (30.0, 0, 0), 5.0)
    with pytest.raises(FeatureError, match="undercuts") as caught:
        move_of(slot, tool)
    assert caught.value.key == ("leave",)
    assert move_of(slot, tool, leave_to=(80.0, 0, -5)).sets[-1].up == 60.0


def test_that_a_cut_is_tested_before_the_table_is_placed():
    scene = one_cut(Pocket((0.0, 0, 0), (9.0, 30.0), (0.6, 0.8, 0.0), 5.0), end_mill(10.0))
    with pytest.raises(FeatureError, match="no wider than the pocket"):
        check_cut(scene, scene.orientations[0].cuts[0])


# ---- the lift and the bed ------------------------------------------------------------------------------


def test_that_the_lift_is_where_the_scene_says():
    machine = plain_machine()
    assert lift_height(Lift("top"), machine) == machine.z.limits[1]
    assert lift_height(Lift("gauge_z", 330.0), machine) == 330.0
    assert lift_height(Lift("retract"), machine) == NEVER


@pytest.mark.parametrize("moves_table", ["", "x", "y", "z", "xy", "xyz"])
def test_that_against_the_bed_only_the_head_moves(moves_table):
    """Positions as the bed sees them: what a table axis does is 0 there, the gauge line included."""
    machine = plain_machine(moves_table=moves_table)
    for feature in (
        Pocket((10.0, 20.0, 0.0), (30.0, 24.0), X, 5.0),
        Slot((0.0, 0, 0), (30.0, 7, -9), 5.0),
        Hole((3.0, 4, 5), 6),
        Profile(square(20.0), (0.0, 0, 0), "outside"),
    ):
        move = move_of(feature)
        seen = np.concatenate([s.points for s in move.against_bed(machine)])
        gauge = np.array([0.0, 0.0, move.gauge_length])
        for i, name in enumerate("xyz"):
            true = (tips(move) + gauge)[:, i]
            got = (seen + gauge)[:, i]
            expected = (0.0, 0.0) if name in moves_table else (true.min(), true.max())
            assert (got.min(), got.max()) == pytest.approx(expected, abs=1e-9)
        ups = {s.up for s in move.against_bed(machine)}
        assert ups == ({0.0} if "z" in moves_table else {60.0})


def test_that_a_machine_names_its_axes():
    axes = tuple(LinearAxis(n, (0.0, 1.0)) for n in "xyz")
    machine = Machine("m", "m", axes, (), (0.0, -1.0, 0.0), (), None, ())
    assert (machine.x, machine.y, machine.z) == axes
