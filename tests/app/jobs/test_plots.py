"""The two plots and the bar say what a check says, and what can be worked out by hand."""

import math
from pathlib import Path

import pytest

from app.jobs.check import result_of
from app.jobs.plots import SideOn
from app.jobs.polar_plot import N_SECTORS, round_the_tool
from app.jobs.profile_plot import clock_deg, side_on
from app.jobs.uses_up import uses_up
from app.scenes.reader import read_scene
from kinematics.placed_cut import placed_cuts
from kinematics.prepared import Prepared
from kinematics.scene import BodyErrors, Hole, SetupErrors, Slot
from kinematics.shapes import Box
from kinematics.verdict import Verdict
from tests.one_cut import body, end_mill, one_cut, plain_machine

DEMO = Path(__file__).parents[3] / "sample_scenes" / "sampler_block_b" / "sampler_block_b.scene.yaml"
HOLE = Hole((0.0, 0.0, 0.0), 10.0)
POST = body("post", Box(10.0, 10.0, 60.0), (0.0, 25.0, -20.0))  # its face at y = 20; the nut has a radius of 10
ERRORS = SetupErrors(0.1, 0.2, 0.3, 0.5, 0.0)  # of a body on the table: 0.6 in all, and 0.5 down


def placed_of(feature, *bodies, tool=None, **more):
    (placed,) = placed_cuts(Prepared(one_cut(feature, tool or end_mill(), *bodies, **more)))
    return placed


def report_of(placed):
    return result_of(placed.prepared, placed.orientation, placed.cut, placed.done)


@pytest.fixture(scope="module")
def demo():
    """Every cut of the demo with its report."""
    scene = read_scene(DEMO).scene
    placed = placed_cuts(Prepared(scene))
    return scene, {(p.orientation.name, p.cut.name): (p, report_of(p)) for p in placed}


# ---- side-on -----------------------------------------------------------------------------------------


def test_that_the_gap_is_drawn_from_the_tool_to_the_body_in_its_direction():
    placed = placed_of(HOLE, POST)
    first, last = side_on(placed, report_of(placed))
    assert first.clock_deg == pytest.approx(0.0, abs=15.0) or first.clock_deg == pytest.approx(360.0, abs=15.0)
    (r_tool, _), (r_body, _) = first.gap
    assert r_tool == pytest.approx(10.0, abs=1e-6)
    assert r_body == pytest.approx(20.0, abs=1e-6)
    assert min(s.r for s in first.toward if s.z1 <= 45.0 <= s.z2) == pytest.approx(20.0, abs=1e-6)
    assert (first.longer_by, last.longer_by) == (None, None)
    assert first.gauge_line == 120.0  # 40 out, 30 and 50 of holder


def test_that_the_missing_length_is_what_lifts_the_nut_over_the_post():
    """The nut is 1 beside the post in plan; over it by h it is sqrt(1 + h2) away, and 2 are wanted."""
    post = body("post", Box(10.0, 10.0, 60.0), (0.0, 16.0, -20.0))  # face at y = 11, top 50 over the tip
    placed = placed_of(HOLE, post)
    last = list(side_on(placed, report_of(placed)))[-1]
    assert last.verdict is Verdict.TIGHT
    assert last.longer_by == pytest.approx(10.0 + math.sqrt(3.0), abs=0.011)
    assert last.rises == {"nut", "holder"}


def test_that_a_cut_that_no_length_clears_says_so():
    low = body("plate", Box(60.0, 60.0, 5.0), (0.0, 0.0, -16.0))  # 1 under the tip
    placed = placed_of(HOLE, low)
    last = list(side_on(placed, report_of(placed)))[-1]
    assert last.longer_by is None
    assert last.note.startswith("no length clears: tight at best")


def test_that_the_demo_lacks_what_its_stick_out_answer_says(demo):
    """21.0 out is clear and 18.0 is not: section 2 of the window's page has both numbers."""
    placed, report = demo[1]["V6", "drain spot"]
    last = list(side_on(placed, report))[-1]
    assert isinstance(last, SideOn)
    assert 18.0 + last.longer_by == pytest.approx(21.0, abs=0.02)


# ---- clock -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("direction", "operator", "clock"),
    [
        ((0.0, 1.0), (0.0, -1.0, 0.0), 0.0),  # away from who stands at -Y
        ((1.0, 0.0), (0.0, -1.0, 0.0), 90.0),  # at the right hand
        ((0.0, -1.0), (0.0, -1.0, 0.0), 180.0),
        ((1.0, 0.0), (1.0, 0.0, 0.0), 180.0),  # to who stands at +X
        ((0.0, 1.0), (1.0, 0.0, 0.0), 90.0),  # looking along -X, +Y is at the right
    ],
)
def test_that_the_clock_is_that_of_who_stands_there(direction, operator, clock):
    assert clock_deg(direction, operator) == pytest.approx(clock)


# ---- round the tool ----------------------------------------------------------------------------------


def sector_at(plot, clock):
    return plot.sectors[int(((clock - plot.first_deg) % 360.0) / 360.0 * N_SECTORS) % N_SECTORS]


def test_that_room_by_direction_is_the_distance_of_the_face_of_a_box():
    """In the sector from a to a + 5 degrees off the normal, the face is nearest at a: 20 / cos a from the axis."""
    placed = placed_of(HOLE, POST)
    (plot,) = round_the_tool(placed, report_of(placed))
    assert plot.part == "nut"
    assert plot.tightest == plot.height
    for off in (0, 5, 10):
        expected = 20.0 / math.cos(math.radians(off)) - 10.0
        for clock in (off + 2.5, 360.0 - off - 2.5):
            sector = sector_at(plot, clock)
            assert sector.body == "post"
            assert expected - 0.001 <= sector.at_least <= expected + 1e-6, clock
    assert sector_at(plot, 22.5).value is None  # the corner is at 14 degrees
    assert sector_at(plot, 180.0).value is None
    (way,) = plot.tight
    assert way.body == "post"
    assert way.verdict is Verdict.CLEAR


@pytest.mark.parametrize(("operator", "clock"), [((0.0, -1.0, 0.0), 0.0), ((1.0, 0.0, 0.0), 90.0)])
def test_that_the_face_of_the_clock_turns_with_the_operator(operator, clock):
    placed = placed_of(HOLE, POST, machine=plain_machine(operator=operator))
    (plot,) = round_the_tool(placed, report_of(placed))
    assert sector_at(plot, clock + 1.0).at_least == pytest.approx(10.0, abs=0.001)
    assert plot.tight[0].clock_deg == pytest.approx(clock % 360.0, abs=5.0) or clock == 0.0


def test_that_set_up_errors_are_taken_off():
    placed = placed_of(HOLE, POST, errors=ERRORS)
    (plot,) = round_the_tool(placed, report_of(placed))
    assert sector_at(plot, 1.0).at_least == pytest.approx(10.0 - 0.6, abs=0.001)


def test_that_the_height_chooses_the_part_and_what_stands_there():
    placed = placed_of(HOLE, POST)
    report = report_of(placed)
    (low,) = round_the_tool(placed, report, 10.0)
    assert low.part == "cutter"
    assert sector_at(low, 1.0).at_least == pytest.approx(20.0 - 5.0, abs=0.001)
    (high,) = round_the_tool(placed, report, 100.0)
    assert high.part == "holder"
    assert all(s.value is None for s in high.sectors)  # 50 over the post
    (beyond,) = round_the_tool(placed, report, 999.0)
    assert beyond.height == beyond.heights[1] == 120.0


def test_that_a_slot_has_the_room_of_its_worst_place():
    placed = placed_of(Slot((-20.0, 0.0, 0.0), (20.0, 0.0, 0.0), 10.0), POST)
    (plot,) = round_the_tool(placed, report_of(placed))
    assert min(s.at_least for s in plot.sectors) == pytest.approx(10.0, abs=0.001)
    assert sector_at(plot, 30.0).body == "post"  # from the left end of the slot it stands to the right


def test_that_contact_is_told_as_contact_and_as_a_hit_only_where_a_check_proves_it():
    post = body("post", Box(10.0, 10.0, 60.0), (0.0, 14.0, -20.0))  # its face at y = 9: 1 inside the nut
    placed = placed_of(HOLE, post)
    (proven,) = round_the_tool(placed, report_of(placed))
    assert proven.tight[0].spare == -math.inf
    assert {way.verdict for way in proven.tight} == {Verdict.HITS}
    (alone,) = round_the_tool(placed, None, proven.height)
    assert {way.verdict for way in alone.tight} == {Verdict.CAN_HIT}


def test_that_the_tightest_direction_has_the_spare_of_a_check_in_every_cut_of_the_demo(demo):
    for name, (placed, report) in demo[1].items():
        (plot,) = round_the_tool(placed, report)
        assert plot.tight[0].spare == pytest.approx(report.worst.spare, abs=0.002), name
        assert plot.part == report.worst.between[0], name


def test_that_both_screws_of_the_demo_are_named_at_eleven_and_one(demo):
    """Section 6 of the window's page: clamp screws L and R, behind the tool, 11 and 1 o'clock."""
    (plot,) = round_the_tool(*demo[1]["V6", "drain spot"])
    assert {(round(w.clock_deg / 30.0) % 12 or 12, w.body) for w in plot.tight} == {
        (11, "clamp screw L"), (1, "clamp screw R"),
    }  # fmt: skip


# ---- what uses it up ---------------------------------------------------------------------------------


def test_that_the_terms_and_the_spare_add_up_to_the_clearance(demo):
    scene, cuts = demo
    for name, (_, report) in cuts.items():
        bar = uses_up(scene, report)
        assert sum(t.used for t in bar.terms) + bar.spare == pytest.approx(bar.clearance, abs=1e-9), name
        assert not any(t.is_measured for t in bar.terms)


def test_that_each_term_says_where_its_number_stands(demo):
    scene, cuts = demo
    bar = uses_up(scene, cuts["V6", "drain spot"][1])
    assert {t.path: t.value for t in bar.terms} == {
        "setup_errors/location": 0.15,
        "setup_errors/body_model": 0.30,
        "setup_errors/diameters": 0.20,
        "setup_errors/stick_out": 0.50,
        "setup_errors/tilt_deg": 0.02,
    }
    assert bar.between == ("nut", "clamp screws L and R")


def test_that_numbers_of_a_bodys_own_and_of_a_measured_tool_count_as_measured():
    post = body("post", Box(10.0, 10.0, 60.0), (0.0, 16.0, -20.0))
    post = type(post)(post.name, post.placement, post.shape, BodyErrors(body_model=0.02))
    placed = placed_of(HOLE, post, errors=ERRORS, tool=end_mill(is_stick_out_measured=True))
    bar = uses_up(placed.prepared.scene, report_of(placed))
    by_name = {t.name: t for t in bar.terms}
    assert by_name["model"].path == "post/errors/body_model"
    assert by_name["model"].value == 0.02
    assert {t.name for t in bar.terms if t.is_measured} == {"model", "stick-out"}
    assert by_name["stick-out"].path == ""


def test_that_contact_has_no_bar_and_says_why():
    post = body("post", Box(10.0, 10.0, 60.0), (0.0, 14.0, -20.0))  # its face at y = 9: 1 inside the nut
    placed = placed_of(HOLE, post)
    bar = uses_up(placed.prepared.scene, report_of(placed))
    assert bar.verdict is Verdict.HITS
    assert (bar.clearance, bar.spare, bar.terms) == (None, None, ())
    assert bar.why.startswith("Nut of T and post overlap by 1.00")
