"""Travel: what the spindle reaches over a cut, what is left, and what can't be reached, by closed forms."""

import pytest

from kinematics.machine import LinearAxis, Machine, TableAxis
from kinematics.scene import Hole, Lift, Path, Placement, Pocket, Slot
from kinematics.verdict import Verdict
from tests.one_cut import end_mill, one_cut, report_of

X_AXIS = (1.0, 0.0, 0.0)
GAUGE = 120.0  # stick-out 40 and a holder of 80


def machine(x=(-200.0, 300.0), y=(-100.0, 100.0), z=(100.0, 430.0), axes=(), moves=""):
    limits = {"x": x, "y": y, "z": z}
    linear = tuple(LinearAxis(n, limits[n], "table" if n in moves else "head") for n in "xyz")
    return Machine("m", "machine", linear, axes, (0.0, -1.0, 0.0), (), None, ())


def travel(feature, *, on=None, zero=(0.0, 0.0, 0.0), **kwargs):
    scene = one_cut(feature, end_mill(10.0), machine=on or machine(), zero=Placement("table", zero), **kwargs)
    report = report_of(scene)
    assert report.verdict == Verdict.HITS or report.travel.verdict == Verdict.CLEAR
    return report.travel


def test_that_a_hole_reaches_its_own_place_and_lifts_by_its_retract():
    """Tip at (70, -30, 95): the gauge line goes from 215 up to 275."""
    found = travel(Hole((0.0, 0.0, 0.0), 5.0), zero=(70.0, -30.0, 100.0), retract=60.0)
    assert found.verdict == Verdict.CLEAR
    assert found.x.reached == pytest.approx((70, 70))
    assert found.y.reached == pytest.approx((-30, -30))
    assert found.z.reached == pytest.approx((215, 275))
    assert found.x.left == pytest.approx((270, 230))
    assert found.y.left == pytest.approx((70, 130))
    assert found.z.left == pytest.approx((115, 155))
    assert found.least_left == pytest.approx(70)


def test_that_a_pocket_reaches_its_size_less_the_cutter():
    found = travel(Pocket((0.0, 0.0, 0.0), (50.0, 30.0), X_AXIS, 8.0), zero=(0.0, 0.0, 100.0), retract=20.0)
    assert found.x.reached == pytest.approx((-20, 20))
    assert found.y.reached == pytest.approx((-10, 10))
    assert found.z.reached == pytest.approx((212, 232))


def test_that_a_sloping_path_lifts_from_its_highest_position():
    found = travel(Path(((0.0, 0, 0), (40.0, 0, -30))), zero=(0.0, 0.0, 100.0), retract=20.0)
    assert found.z.reached == pytest.approx((190, 240))


def test_that_with_a_point_to_leave_to_only_that_point_lifts():
    slot = Slot((0.0, 0.0, 0.0), (40.0, 0.0, 0.0), 5.0)
    found = travel(slot, zero=(0.0, 0.0, 100.0), retract=20.0, leave_to=(90.0, 10.0, -25.0))
    assert found.x.reached == pytest.approx((0, 90))
    assert found.z.reached == pytest.approx((195, 215))


@pytest.mark.parametrize(
    ("zero", "retract", "says"),
    [
        ((310.0, 0.0, 100.0), 10.0, "X 310.00 is outside -200..300 by 10.00 mm"),
        ((-200.5, 0.0, 100.0), 10.0, "X -200.50 is outside -200..300 by 0.50 mm"),
        ((0.0, 124.0, 100.0), 10.0, "Y 124.00 is outside -100..100 by 24.00 mm"),
        ((0.0, 0.0, -20.0), 10.0, "Z 95.00 is outside 100..430 by 5.00 mm"),
        ((0.0, 0.0, 100.0), 216.0, "Z 431.00 is outside 100..430 by 1.00 mm"),
    ],
)
def test_that_what_cannot_be_reached_hits_and_says_by_how_much(zero, retract, says):
    found = travel(Hole((0.0, 0.0, 0.0), 5.0), zero=zero, retract=retract)
    assert found.verdict == Verdict.HITS
    assert found.why == says
    assert found.least_left == pytest.approx(-float(says.split("by ")[1].split()[0]))


def test_that_everything_out_of_reach_is_said_at_once():
    found = travel(Hole((0.0, 0.0, 0.0), 5.0), zero=(310.0, 124.0, 100.0))
    assert found.why.count("outside") == 2


@pytest.mark.parametrize("zero", [(300.0, 100.0, 100.0), (-200.0, -100.0, -15.0), (0.1 + 0.2 + 299.7, 0.0, 100.0)])
def test_that_a_position_on_its_limit_is_reached(zero):
    assert travel(Hole((0.0, 0.0, 0.0), 5.0), zero=zero, retract=10.0).verdict == Verdict.CLEAR


@pytest.mark.parametrize(("gauge_z", "verdict"), [(430.0, "clear"), (431.0, "hits"), (99.0, "hits"), (300.0, "clear")])
def test_that_the_lift_has_to_be_within_its_limit(gauge_z, verdict):
    found = travel(Hole((0.0, 0.0, 0.0), 5.0), zero=(0.0, 0.0, 100.0), lift=Lift("gauge_z", gauge_z))
    assert found.verdict == verdict
    assert (found.why is not None) == (verdict == "hits")
    assert found.z.reached == pytest.approx((215, 225)), "the lift is tested, not counted"


def test_that_the_top_is_always_within_its_limit():
    assert travel(Hole((0.0, 0.0, 0.0), 5.0), zero=(0.0, 0.0, 100.0), lift=Lift("top")).verdict == Verdict.CLEAR


@pytest.mark.parametrize("moves", ["x", "xy", "xyz"])
def test_that_travel_is_that_of_the_spindle_over_the_table_whatever_moves(moves):
    hole = Hole((0.0, 0.0, 0.0), 5.0)
    head = travel(hole, zero=(70.0, -30.0, 100.0))
    assert travel(hole, on=machine(moves=moves), zero=(70.0, -30.0, 100.0)) == head


@pytest.mark.parametrize(
    ("angle", "verdict"), [(0.0, "clear"), (110.0, "clear"), (110.5, "hits"), (-30.5, "hits"), (350.0, "clear")]
)
def test_that_a_table_axis_has_to_be_within_its_limits_by_whichever_turn(angle, verdict):
    tilt = TableAxis("tilt", "A", "cradle", (0.0, 0.0, 0.0), X_AXIS, (-30.0, 110.0))
    found = travel(Hole((0.0, 0.0, 0.0), 5.0), on=machine(axes=(tilt,)), zero=(0, 0, 100.0), angles=(("tilt", angle),))
    assert found.verdict == verdict
    if verdict == "hits":
        assert f"tilt = {angle:g} deg is outside its travel -30..110 deg" in found.why
