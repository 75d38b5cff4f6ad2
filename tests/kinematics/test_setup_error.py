"""What set-up errors use of a clearance: which term applies to which body, and the stick-out as geometry."""

import math

import numpy as np
import pytest

from kinematics.placement import place_scene
from kinematics.scene import Body, BodyErrors, Hole, Lift, Placement, Pocket, SetupErrors, Slot
from kinematics.setup_error import largest_arm, other_errors, stick_out_error
from kinematics.shapes import Box
from kinematics.verdict import Verdict
from tests.hand_built import X, Z, machine_of, table_axis
from tests.kinematics.engine.pairs_by_hand import mesh_shape
from tests.kinematics.test_clearance import crowd
from tests.one_cut import NO_ERRORS, body, end_mill, one_cut, pair_of, report_of
from tests.truth import brute_force

ALL = SetupErrors(location=0.1, body_model=0.2, diameters=0.4, stick_out=0.8, tilt_deg=0.5)
HOLE = Hole((0.0, 0.0, 0.0), 5.0)


def machine(*bodies):
    """A cradle that tilts about X, 40 over the table, and a platter on it."""
    return machine_of(table_axis("A", X, at=(0.0, 0.0, 40.0)), table_axis("C", Z), bodies=bodies)


def errors_of(name, scene, errors=ALL, arm=10.0):
    placed = next(b for b in place_scene(scene).bodies if b.name == name)
    return other_errors(errors, placed, scene.machine, lambda: arm)


def on(frame, **kwargs):
    return Body(f"on {frame}", Placement(frame), Box(1, 1, 1), **kwargs)


FRAMES = ("bed", "table", "a", "c")


@pytest.mark.parametrize(
    ("frame", "location", "tilt"), [("bed", 0.1, 0), ("table", 0.1, 0), ("a", 0.1, 1), ("c", 0.1, 1)]
)
def test_that_what_the_scene_places_may_be_off_wherever_it_stands(frame, location, tilt):
    found = errors_of(f"on {frame}", one_cut(HOLE, end_mill(), on(frame), machine=machine()))
    assert found.location == location
    assert (found.body_model, found.diameters) == (0.2, 0.4)
    assert found.tilt == pytest.approx(tilt * 10.0 * math.radians(0.5))
    assert found.total == pytest.approx(found.location + 0.6 + found.tilt)


@pytest.mark.parametrize(("frame", "location", "tilt"), [("bed", 0, 0), ("table", 0, 0), ("a", 0, 1), ("c", 0.1, 1)])
def test_that_of_the_machine_only_what_stands_on_the_platter_may_be_off(frame, location, tilt):
    found = errors_of(f"on {frame}", one_cut(HOLE, end_mill(), machine=machine(on(frame))))
    assert found.location == location
    assert found.tilt == pytest.approx(tilt * 10.0 * math.radians(0.5))


def test_that_without_table_axes_nothing_tilts():
    found = errors_of("on table", one_cut(HOLE, end_mill(), on("table")))
    assert (found.location, found.tilt) == (0.1, 0.0)


def test_that_a_body_may_have_its_own_errors():
    own = on("c", errors=BodyErrors(location=0.01, body_model=0.02, tilt_deg=0.0))
    found = errors_of("on c", one_cut(HOLE, end_mill(), own, machine=machine()))
    assert (found.location, found.body_model, found.diameters, found.tilt) == (0.01, 0.02, 0.4, 0.0)


def test_that_a_scene_may_fix_the_arm():
    fixed = SetupErrors(tilt_deg=0.5, arm=101.5)
    found = errors_of("on c", one_cut(HOLE, end_mill(), on("c"), machine=machine()), errors=fixed, arm=10.0)
    assert found.tilt == pytest.approx(101.5 * math.radians(0.5))


def test_that_the_arm_is_the_largest_distance_from_the_tilt_axis_and_not_from_its_origin():
    """About X through (0, 0, 40): what a corner has along X does not count."""
    corners = brute_force.box_mesh((300.0, 6.0, 8.0), (-500.0, -3.0, 40.0))[0]
    assert largest_arm(machine(), corners) == pytest.approx(math.hypot(3.0, 8.0))


def test_that_the_arm_is_that_of_the_body_where_the_orientation_puts_it():
    """A post on the platter: 30 long, its foot on the tilt axis; turning the platter changes nothing, nor does tilt."""
    scene = one_cut(
        HOLE, end_mill(), Body("post", Placement("c"), Box(2, 2, 30)), machine=machine(), errors=ALL,
        angles=(("A", 30.0), ("C", 90.0)), zero=Placement("table", (0.0, 0.0, 300.0)),
    )  # fmt: skip
    report = report_of(scene)
    terms = pair_of(report, "cutter", "post").setup_error
    assert terms.tilt == pytest.approx(math.hypot(1, 30) * math.radians(0.5), rel=1e-6)


def test_that_a_measured_stick_out_is_known_to_a_twentieth():
    assert stick_out_error(ALL, end_mill()) == 0.8
    assert stick_out_error(ALL, end_mill(is_stick_out_measured=True)) == 0.05


def test_that_a_measured_stick_out_uses_a_twentieth_of_a_gap_below():
    block = body("block", Box(100, 100, 10), (60.0, 0.0, 22.0))
    for measured, used in ((False, 0.8), (True, 0.05)):
        tool = end_mill(10.0, is_stick_out_measured=measured)
        pair = pair_of(report_of(one_cut(HOLE, tool, block, errors=ALL, retract=1.0)), "nut", "block")
        assert pair.setup_error.stick_out == pytest.approx(used, abs=1e-3)
        assert pair.spare == pytest.approx(3.0 - used - 0.7, abs=0.01)


def test_that_the_root_sum_of_squares_stands_beside_the_sum():
    block = body("block", Box(100, 100, 10), (60.0, 0.0, 22.0))
    terms = pair_of(report_of(one_cut(HOLE, end_mill(), block, errors=ALL, retract=1.0)), "nut", "block").setup_error
    assert terms.total == pytest.approx(0.1 + 0.2 + 0.4 + 0.8, abs=1e-3)
    assert terms.rss == pytest.approx(math.sqrt(0.01 + 0.04 + 0.16 + 0.64), abs=1e-3)


# ---- the stick-out is geometry, no gradient --------------------------------------------------------------

# One mesh: a wall 1.00 beside the nut (r 10, its lower end 35 over P), and a floor 1.10 under it.
WALL_AND_FLOOR = mesh_shape(
    *brute_force.joined(
        brute_force.box_mesh((20.0, 40.0, 40.0), (11.0, -20.0, 30.0)),
        brute_force.box_mesh((3.0, 10.0, 10.0), (6.0, -5.0, 23.9)),
    )
)


def wall_and_floor(errors):
    """On the platter of a table that tilts, so that 0.035 of tilt applies too."""
    fixture = Body("fixture", Placement("c"), WALL_AND_FLOOR)
    scene = one_cut(
        Hole((0.0, 0.0, 0.0), 5.0), end_mill(6.0), fixture, machine=machine_of(table_axis("A", X), table_axis("C", Z)),
        zero=Placement("c"), errors=errors,
    )  # fmt: skip
    return pair_of(report_of(scene), "nut", "fixture")


def test_that_a_floor_which_a_longer_stick_out_reaches_is_seen_behind_a_nearer_wall():
    """The wall is nearest, and the stick-out does not bring it nearer: 1.00 - 0.65 - 0.035 = 0.315 would look tight."""
    errors = SetupErrors(0.15, 0.30, 0.20, 0.50, 0.02, arm=100.0)
    pair = wall_and_floor(errors)
    assert pair.clearance.at_least <= 1.0 <= pair.clearance.value + 1e-9
    assert pair.normal_W == pytest.approx((1.0, 0.0, 0.0), abs=1e-3)
    assert pair.verdict == Verdict.CAN_HIT
    assert pair.spare == pytest.approx(1.10 - 0.50 - 0.65 - 100 * math.radians(0.02), abs=0.01)
    assert pair.setup_error.stick_out == pytest.approx(1.00 - 0.60, abs=0.01)


def test_that_without_a_stick_out_error_the_wall_decides():
    pair = wall_and_floor(SetupErrors(0.15, 0.30, 0.20, 0.0, 0.02, arm=100.0))
    assert pair.verdict == Verdict.TIGHT
    assert pair.spare == pytest.approx(0.315, abs=0.01)


def test_that_a_stick_out_error_which_reaches_the_floor_is_no_hit_but_can_be():
    pair = wall_and_floor(SetupErrors(0.0, 0.0, 0.0, 1.2, 0.0))
    assert pair.verdict == Verdict.CAN_HIT
    assert pair.clearance.value == pytest.approx(1.0, abs=0.01)
    assert pair.spare is None or pair.spare <= 0.0


# ---- relations ---------------------------------------------------------------------------------------------


def check_that_spare_never_falls(rng):
    """The longer the stick-out, the higher everything above it: with leave up and lift top only room is gained."""
    feature = [HOLE, Pocket((0.0, 0, 0), (30.0, 20.0), (1.0, 0, 0), 5.0), Slot((0.0, 0, 0), (20.0, 10.0, -6.0), 4.0)][
        rng.integers(3)
    ]
    bodies = crowd(rng)
    last = -math.inf
    for stick_out in (14.0, 18.0, 25.0, 26.5, 60.0):
        tool = end_mill(8.0, 12.0, stick_out=stick_out)
        report = report_of(one_cut(feature, tool, *bodies, errors=SetupErrors(), retract=20.0, lift=Lift("top")))
        spare = -math.inf if report.worst.spare is None else report.worst.spare - report.worst.keep_off
        assert spare >= last - 0.01
        last = spare


@pytest.mark.parametrize("seed", range(6))
def test_that_spare_never_falls_when_the_stick_out_grows(seed):
    check_that_spare_never_falls(np.random.default_rng(seed))


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(3))
def test_that_in_many_more_scenes_spare_never_falls_when_the_stick_out_grows(seed):
    rng = np.random.default_rng(200 + seed)
    for _ in range(20):
        check_that_spare_never_falls(rng)


@pytest.mark.parametrize("name", ["location", "body_model", "diameters", "stick_out"])
def test_that_a_larger_error_never_leaves_more_spare(name):
    rng = np.random.default_rng(31)
    for _ in range(4):
        bodies = crowd(rng)
        spares = []
        for size in (0.0, 0.3, 1.0):
            errors = SetupErrors(
                **{**dict.fromkeys(("location", "body_model", "diameters", "stick_out"), 0.1), name: size}
            )
            worst = report_of(one_cut(HOLE, end_mill(8.0, 12.0, stick_out=25.0), *bodies, errors=errors)).worst
            spares.append(-math.inf if worst.spare is None else worst.spare)
        assert spares[0] >= spares[1] - 0.01
        assert spares[1] >= spares[2] - 0.01


def test_that_without_errors_spare_is_the_clearance():
    rng = np.random.default_rng(32)
    for _ in range(5):
        report = report_of(one_cut(HOLE, end_mill(8.0, 12.0, stick_out=25.0), *crowd(rng), errors=NO_ERRORS))
        own = [p for p in (report.worst, *report.next) if p.clearance is not None]
        for pair in own:
            assert pair.spare <= pair.clearance.at_least
            if pair.setup_error.total == 0.0:
                assert pair.spare == pair.clearance.at_least
