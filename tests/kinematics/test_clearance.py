"""Whole cuts: which pairs are compared, what decides the verdict, how the report is ranked."""

import math

import numpy as np
import pytest

from kinematics import clearance
from kinematics.clearance import check_cut, check_cuts
from kinematics.cut_pairs import CutPairs
from kinematics.errors import EngineError
from kinematics.prepared import Prepared
from kinematics.scene import (
    Body,
    BodyErrors,
    Cut,
    Face,
    Holder,
    HolderStep,
    Hole,
    KeepOff,
    Orientation,
    OutlineStep,
    Placement,
    Pocket,
    Scene,
    SetupErrors,
    Slot,
    State,
    Tool,
    Workpiece,
)
from kinematics.shapes import Box, Screw, cylinder
from kinematics.verdict import Verdict
from tests.kinematics.engine.pairs_by_hand import mesh_shape
from tests.one_cut import NO_ERRORS, NUT, body, end_mill, one_cut, pair_of, plain_machine, report_of
from tests.truth import brute_force
from tests.truth.moves_by_hand import placement_of
from tests.truth.supports import rotation

HOLE = Hole((0.0, 0.0, 0.0), 5.0)


def part(name, shape, at=(0.0, 0.0, 0.0)):
    return Body(name, Placement("P", at), shape)


BLOCK = (part("part", Box(100, 100, 40), (0.0, 0.0, -40.0)),)


def verdict_of(*args, **kwargs):
    return report_of(one_cut(*args, **kwargs)).verdict


# ---- neck and shank against the part -------------------------------------------------------------


def step_mill(d=3.0, shank=6.0, flute=6.0, stick_out=30.0):
    return end_mill(d, flute, shank=shank, stick_out=stick_out, holder=Holder("H", (HolderStep(16, 16, 30, "nut"),)))


def test_that_a_shank_wider_than_its_cutter_hits_the_tall_wall_beside_it():
    """A d3 cutter with a d6 shank runs 2 beside a wall: the cutter clears it by 0.5, the shank is 1 in it."""
    wall = (part("floor", Box(60, 60, 10), (0.0, 0.0, -10.0)), part("wall", Box(60, 10, 30), (0.0, 7.0, 0.0)))
    report = report_of(one_cut(Slot((-20.0, 0.0, 2.0), (20.0, 0.0, 2.0), 2.0), step_mill(), part=wall))
    assert report.verdict == Verdict.HITS
    assert report.worst.between == ("shank", "wall")
    assert report.worst.clearance.value == pytest.approx(-1.0, abs=1e-6)
    low = (part("floor", Box(60, 60, 10), (0.0, 0.0, -10.0)), part("wall", Box(60, 10, 5), (0.0, 7.0, 0.0)))
    shorter = report_of(one_cut(Slot((-20.0, 0.0, 2.0), (20.0, 0.0, 2.0), 2.0), step_mill(), part=low))
    # 1 above the wall and 1 inside its face: straight down
    assert pair_of(shorter, "shank", "wall").clearance.value == pytest.approx(1.0, abs=1e-6)


@pytest.mark.parametrize("as_mesh", [False, True])
def test_that_in_a_hole_what_the_cutter_took_is_gone_for_a_wider_shank(as_mesh):
    """A d3 cutter, flute 6, d6 shank. 5 deep the shank stays 1 above the face; 7 deep it is 1 in it."""
    box = Box(100, 100, 40)
    shape = mesh_shape(*brute_force.box_mesh((100.0, 100.0, 40.0), (-50.0, -50.0, 0.0))) if as_mesh else box
    block = (part("part", shape, (0.0, 0.0, -40.0)),)
    shallow = report_of(one_cut(Hole((0.0, 0.0, 0.0), 5.0), step_mill(), part=block))
    assert pair_of(shallow, "shank", "part").clearance.value == pytest.approx(1.0, abs=1e-4)
    deep = report_of(one_cut(Hole((0.0, 0.0, 0.0), 7.0), step_mill(), part=block))
    assert deep.verdict == Verdict.HITS
    assert deep.worst.between == ("shank", "part")
    assert deep.worst.contact == "overlap"


def test_that_in_a_hole_a_thinner_neck_has_room_up_to_the_shank():
    """d3 cutter, d2.8 neck up to 20, d6 shank: 15 deep, all that is in the hole is thinner than it."""
    tool = end_mill(3.0, 6.0, shank=6.0, neck=(2.8, 20.0), stick_out=40.0)
    report = report_of(one_cut(Hole((0.0, 0.0, 0.0), 15.0), tool, part=BLOCK))
    assert report.depth.verdict == Verdict.CLEAR
    assert (report.depth.needs, report.depth.has) == (pytest.approx(15.0), pytest.approx(20.0))
    assert pair_of(report, "shank", "part").clearance.value == pytest.approx(5.0, abs=1e-6)
    assert (
        "neck - part",
        "no wider than the cutter: it follows the cutter, and the depth rule applies",
    ) in report.left_out


def t_slot(overhang_at, *, leave_to=(-100.0, 0.0, -8.0)):
    """A slot cutter, d20 and 5 high on a d10 shank, under a roof 10 thick whose gap is at `overhang_at`."""
    tool = Tool("T", "slot cutter", 60.0, NUT, d=20.0, flute=5.0, shank=10.0)
    base = part("base", Box(100, 100, 30), (0.0, 0.0, -38.0))
    roof = part("roof", Box(60, 40, 10), overhang_at)
    return one_cut(Slot((-60.0, 0.0, -3.0), (20.0, 0.0, -3.0), 5.0), tool, part=(base, roof), leave_to=leave_to)


def test_that_a_shank_below_a_roof_hits_it_though_it_is_thinner_than_its_cutter():
    """The cutter goes in from the side and never lifts there: what is above it is not cut away."""
    report = report_of(t_slot((10.0, 0.0, 0.0)))
    assert report.verdict == Verdict.HITS
    assert report.worst.between == ("shank", "roof")


def test_that_a_shank_in_the_gap_of_a_roof_clears_it_by_the_gap():
    report = report_of(t_slot((10.0, 28.0, 0.0)))
    assert pair_of(report, "shank", "roof").clearance.value == pytest.approx(8.0 - 5.0, abs=1e-6)
    assert report.verdict == Verdict.CLEAR


def test_that_nothing_is_compared_above_a_cutter_which_nothing_overhangs():
    tool = Tool("T", "dovetail cutter", 60.0, NUT, d=16.0, flute=5.0, shank=10.0, flank_deg=60.0)
    slot = Slot((-60.0, 0.0, 0.0), (60.0, 0.0, 0.0), 5.0)
    report = report_of(one_cut(slot, tool, part=BLOCK, leave_to=(100.0, 0.0, -5.0)))
    assert report.verdict == Verdict.CLEAR
    assert {pair for pair, _ in report.left_out} == {"cutter - part", "shank - part"}


# ---- depth ---------------------------------------------------------------------------------------


def test_that_a_failed_depth_rule_alone_is_can_hit():
    """20 deep with a flute of 13 and a shank as thick as the cutter; the nut stays 4 above the part."""
    tool = end_mill(6.0, 13.0, stick_out=24.0)
    report = report_of(one_cut(Hole((0.0, 0.0, 0.0), 20.0), tool, part=BLOCK))
    assert report.depth.verdict == Verdict.CAN_HIT
    assert report.worst.verdict == Verdict.CLEAR
    assert report.verdict == Verdict.CAN_HIT


def test_that_a_probe_has_no_depth_rule_and_its_ball_may_touch_its_part():
    report = report_of(one_cut(HOLE, Tool("T", "probe", 50.0, NUT, d=4.0, shank=2.5), part=BLOCK))
    assert report.depth is None
    assert ("cutter - part", "the cutter cuts the workpiece; the depth rule applies") in report.left_out


# ---- containment and contact, end to end -----------------------------------------------------------


def test_that_a_cutter_inside_a_body_it_does_not_cut_is_a_hit():
    for shape in (Box(60, 60, 60), mesh_shape(*brute_force.box_mesh((60.0, 60.0, 60.0), (-30.0, -30.0, 0.0)))):
        report = report_of(one_cut(HOLE, end_mill(6.0, 13.0), body("clamp", shape, (0.0, 0.0, -30.0)), retract=1.0))
        assert report.verdict == Verdict.HITS
        assert pair_of(report, "cutter", "clamp").contact == "inside"


@pytest.mark.parametrize(
    "shape",
    [
        Screw("ISO 4762", "M3", 5.5, 3.0),
        Box(4, 4, 4),
        mesh_shape(*brute_force.box_mesh((4.0, 4.0, 4.0), (-2.0, -2.0, 0.0))),
    ],
    ids=["screw", "box", "mesh"],
)
def test_that_what_the_nut_swallows_is_a_hit(shape):
    report = report_of(one_cut(HOLE, end_mill(6.0, 13.0), body("small", shape, (7.0, 0.0, 50.0)), retract=1.0))
    assert report.verdict == Verdict.HITS
    assert report.worst.between == ("nut", "small")
    assert report.worst.contact == "inside"


def test_that_two_machine_bodies_are_left_out_with_the_reason_and_a_scene_body_is_not():
    lamp = Body("lamp", Placement("head", (0.0, 60.0, 0.0)), Box(10, 10, 10))
    column = Body("column", Placement("bed", (0.0, 60.0, 100.0)), Box(10, 10, 50))
    machine = plain_machine(bodies=(lamp, column))
    report = report_of(one_cut(HOLE, end_mill(), machine=machine))
    assert report.verdict == Verdict.CLEAR
    assert [why for pair, why in report.left_out if pair == "lamp - column"] == [
        "two of the machine's own bodies: the builder's limits keep them apart"
    ]
    own = report_of(one_cut(HOLE, end_mill(), body("post", Box(10, 10, 80), (0.0, 60.0, 40.0)), machine=machine))
    assert own.worst.between == ("lamp", "post")
    assert own.verdict == Verdict.HITS


def test_that_a_cutter_is_compared_with_another_workpiece():
    def workpiece(name, x):
        state = State("raw", (Body(f"{name} stock", Placement("P", (0.0, 0.0, -20.0)), Box(20, 20, 20)),))
        return Workpiece(name, Placement("table", (x, 0.0, 0.0)), (state,))

    scene = one_cut(Slot((0.0, 0.0, 0.0), (16.0, 0.0, 0.0), 5.0), end_mill())
    cut = Cut("cut", "T", "raw", scene.orientations[0].cuts[0].feature, 10.0, workpiece="left")
    scene = Scene(
        "two", scene.machine, (workpiece("left", 0.0), workpiece("right", 30.0)), (), scene.holders, scene.tools,
        (Orientation("V1", (), (cut,)),), setup_errors=NO_ERRORS,
    )  # fmt: skip
    report = report_of(scene)
    assert report.worst.between == ("cutter", "right stock")
    assert report.worst.clearance.value == pytest.approx(-1.0, abs=1e-6)


def test_that_a_state_named_before_its_cut_was_made_is_not_checked():
    states = (State("raw", BLOCK), State("done", BLOCK, (("V1", "second"),)))
    cuts = (Cut("first", "T", "done", HOLE, 10.0), Cut("second", "T", "raw", HOLE, 10.0))
    base = one_cut(HOLE, end_mill())
    scene = Scene(
        "s", base.machine, (Workpiece(None, Placement("table"), states),), (), base.holders, base.tools,
        (Orientation("V1", (), cuts),), setup_errors=NO_ERRORS,
    )  # fmt: skip
    first, second = check_cuts(scene)
    assert first.verdict == Verdict.NOT_CHECKED
    assert "V1/second" in first.why
    assert second.verdict == Verdict.CLEAR


# ---- an engine fault in one pair ------------------------------------------------------------------------


def faulty_for(monkeypatch, obstacle):
    real = CutPairs.measure

    def failing(pairs, pair, far):
        if pair.target.name == obstacle:
            raise EngineError("the nearest points are 3 mm apart, the distance says 5")
        return real(pairs, pair, far)

    monkeypatch.setattr(CutPairs, "measure", failing)


def test_that_a_pair_which_could_not_be_established_makes_the_cut_not_checked(monkeypatch):
    scene = one_cut(
        HOLE, end_mill(), body("near", Box(10, 10, 10), (20, 0, 0)), body("far", Box(10, 10, 10), (60, 0, 0))
    )
    assert report_of(scene).verdict == Verdict.CLEAR
    faulty_for(monkeypatch, "far")
    report = report_of(scene)
    assert report.verdict == Verdict.NOT_CHECKED
    assert {p.between[1] for p in report.not_checked} == {"far"}
    assert all("3 mm apart" in p.why and p.clearance is None and p.spare is None for p in report.not_checked)
    assert report.worst.between[1] == "near"
    assert pair_of(report, "cutter", "near").clearance.value == pytest.approx(10.0, abs=1e-3)


def test_that_a_proven_hit_outranks_a_pair_that_could_not_be_established(monkeypatch):
    hit = body("hit", Box(10, 10, 10), (8, 0, 0))
    scene = one_cut(HOLE, end_mill(), hit, body("far", Box(10, 10, 10), (60, 0, 0)))
    faulty_for(monkeypatch, "far")
    report = report_of(scene)
    assert report.verdict == Verdict.HITS
    assert report.not_checked


def test_that_a_pair_which_could_not_be_established_outranks_tight(monkeypatch):
    tight = body("tight", Box(10, 10, 10), (11.5, 0, 0))
    scene = one_cut(HOLE, end_mill(), tight, body("far", Box(10, 10, 10), (60, 0, 0)))
    assert report_of(scene).verdict == Verdict.TIGHT
    faulty_for(monkeypatch, "far")
    assert report_of(scene).verdict == Verdict.NOT_CHECKED


def test_that_inside_an_open_mesh_is_not_checked_and_outside_it_is():
    vertices, faces = brute_force.box_mesh((60.0, 60.0, 60.0), (-30.0, -30.0, 0.0))
    shape = mesh_shape(vertices, faces[:-2])  # one side is missing
    assert verdict_of(HOLE, end_mill(), body("scan", shape, (60.0, 0.0, 0.0)), retract=1.0) == Verdict.CLEAR
    inside = report_of(one_cut(HOLE, end_mill(), body("scan", shape, (0.0, 0.0, -30.0)), retract=1.0))
    assert inside.verdict == Verdict.HITS  # the shank goes through the surface
    assert any("open" in p.why for p in inside.not_checked)


# ---- verdicts and ranks -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("gap", "verdict"),
    [
        (-0.5, "hits"),
        (0.4, "can hit"),
        (0.65, "can hit"),
        (0.7, "tight"),
        (2.6, "tight"),
        (2.66, "clear"),
        (30.0, "clear"),
    ],
)
def test_that_the_verdict_follows_from_the_spare(gap, verdict):
    """Errors of 0.65 act in any direction (location 0.15, body 0.30, diameters 0.20); the keep-off is 2."""
    wall = body("wall", Box(10, 100, 300), (10.0 + gap, 0.0, -50.0))
    report = report_of(one_cut(HOLE, end_mill(10.0), wall, errors=SetupErrors(stick_out=0.5), retract=1.0))
    pair = pair_of(report, "cutter", "wall")
    assert pair.verdict == verdict
    assert pair.spare == pytest.approx(gap - 0.65, abs=0.003)


def test_that_a_split_keep_off_judges_the_cutter_and_the_rest_apart():
    """5 from the cutter and 5 from the nut: with keep-offs of 1 and 10 only the nut is tight, and ranks first."""
    cutter_wall = body("low wall", Box(10, 100, 10), (15.0, 0.0, -10.0))
    nut_wall = body("high wall", Box(10, 100, 10), (-20.0, 0.0, 50.0))
    keep_off = KeepOff(cutter=1.0, holder=10.0)
    report = report_of(one_cut(HOLE, end_mill(10.0), cutter_wall, nut_wall, keep_off=keep_off, retract=1.0))
    assert report.worst.between == ("nut", "high wall")
    assert (report.worst.verdict, report.worst.keep_off) == (Verdict.TIGHT, 10.0)
    low = pair_of(report, "cutter", "low wall")
    assert (low.verdict, low.keep_off) == (Verdict.CLEAR, 1.0)
    swapped = report_of(one_cut(HOLE, end_mill(10.0), cutter_wall, nut_wall, keep_off=KeepOff(10.0, 1.0), retract=1.0))
    assert swapped.worst.between == ("cutter", "low wall")


def test_that_the_worst_pair_is_the_least_spare_over_its_keep_off_and_the_nearest_is_named_too():
    """The nut is 5 off with a keep-off of 2, the cutter 3 off with 0.1: the nut decides, the cutter is nearest."""
    far = [body(f"far {k}", Box(2, 2, 2), (-60.0 - 3 * k, 0.0, 0.0)) for k in range(6)]
    report = report_of(
        one_cut(
            HOLE, end_mill(10.0), body("low", Box(10, 100, 10), (13.1, 0.0, -10.0)), *far,
            body("a", Box(10, 100, 10), (-20.0, 0.0, 50.0)), body("b", Box(10, 100, 10), (20.0, 0.0, 50.0)),
            body("c", Box(100, 10, 10), (0.0, 20.0, 50.0)), body("d", Box(100, 10, 10), (0.0, -20.0, 50.0)),
            body("e", Box(10, 10, 10), (20.0, 0.0, 40.0)), keep_off=KeepOff(cutter=0.1, holder=20.0), retract=1.0,
        )
    )  # fmt: skip
    assert report.worst.between[0] == "nut"
    assert len(report.next) == 5
    assert report.next[-1].between == ("cutter", "low")
    assert report.next[-1].clearance.value == pytest.approx(3.1, abs=1e-3)


def test_that_ties_are_named_in_the_order_of_the_file_the_workpiece_first_then_from_the_tip():
    """Nut and stepped holder stand equally far from two pins and from the part's own post."""
    holder = Holder("H", (HolderStep(20, 20, 10, "nut"), HolderStep(20, 20, 10, "collar"), HolderStep(16, 16, 30)))
    pins = [body(name, Box(4, 4, 200), (s * 15.0, 0.0, 0.0)) for name, s in (("right pin", 1.0), ("left pin", -1.0))]
    post = (part("plate", Box(1, 1, 1), (0, 0, -300)), part("post", Box(4, 4, 200), (0.0, 15.0, 0.0)))
    report = report_of(one_cut(HOLE, end_mill(6.0, holder=holder), *pins, part=post, retract=1.0))
    named = [report.worst.between, *report.ties]
    assert named == [
        ("nut", "post"), ("collar", "post"), ("nut", "right pin"), ("collar", "right pin"), ("nut", "left pin"),
        ("collar", "left pin"),
    ]  # fmt: skip
    assert report.worst.clearance.value == pytest.approx(3.0, abs=1e-3)


def test_that_an_overlap_without_depth_comes_before_every_number():
    cube = mesh_shape(*brute_force.box_mesh((10.0, 10.0, 10.0), (-5.0, -5.0, 0.0)))
    grazed = body("grazed mesh", cube, (9.9, 0.0, -5.0))
    deep = body("deep box", Box(10, 10, 10), (-6.0, 0.0, -5.0))
    report = report_of(one_cut(HOLE, end_mill(10.0), deep, grazed, retract=1.0))
    assert report.worst.between == ("cutter", "grazed mesh")
    assert (report.worst.clearance, report.worst.spare, report.worst.contact) == (None, None, "overlap")
    assert pair_of(report, "cutter", "deep box").clearance.value == pytest.approx(-4.0, abs=1e-6)


def test_that_a_depth_is_given_as_a_negative_clearance_in_order():
    report = report_of(one_cut(HOLE, end_mill(10.0), body("box", Box(10, 10, 10), (8.0, 0.0, -5.0)), retract=1.0))
    pair = pair_of(report, "cutter", "box")
    assert pair.clearance.at_least <= -2.0 <= pair.clearance.value < 0.0
    assert pair.clearance.value - pair.clearance.at_least <= 0.01
    assert pair.spare == pair.clearance.at_least
    assert pair.normal_W == pytest.approx((1.0, 0.0, 0.0), abs=1e-6)


def test_that_a_cut_out_of_travel_hits_and_says_why():
    report = report_of(one_cut(Hole((600.0, 0.0, 0.0), 5.0), end_mill()))
    assert report.verdict == Verdict.HITS
    assert "X 600.00 is outside -500..500" in report.travel.why


# ---- what is not opened never matters ---------------------------------------------------------------------


def crowd(rng):
    """Bodies of every kind around a cut, some of them in mirrored pairs so that they tie."""
    found = []
    for k in range(int(rng.integers(2, 9))):
        R = rotation(rng, "aligned" if rng.random() < 0.6 else "any")
        d = rng.integers(2, 30, 3).astype(float)
        p = rng.integers(-70, 71, 3).astype(float)
        shape = [
            Box(*d), cylinder(d[0], d[1]), Screw("ISO 4762", "M6", 10.0, 6.0, 6.0, 12.0),
            mesh_shape(*brute_force.box_mesh(d, (-d[0] / 2, -d[1] / 2, 0.0))),
        ][rng.integers(4)]  # fmt: skip
        errors = BodyErrors(body_model=0.02) if rng.random() < 0.3 else BodyErrors()
        found.append(Body(f"b{k}", placement_of(R, p), shape, errors))
        if rng.random() < 0.4:
            found.append(Body(f"b{k} mirrored", placement_of(R, p * (-1, 1, 1)), shape, errors))
    return found


def check_against_all_pairs(rng):
    """The report names what it would name if every pair were worked out to the end."""
    feature = Pocket((0.0, 0.0, 0.0), (30.0, 20.0), (1.0, 0.0, 0.0), 5.0) if rng.random() < 0.5 else HOLE
    scene = one_cut(
        feature,
        end_mill(8.0, 12.0, stick_out=25.0),
        *crowd(rng),
        errors=SetupErrors() if rng.random() < 0.7 else NO_ERRORS,
        keep_off=KeepOff(cutter=float(rng.choice([1, 2, 8])), holder=float(rng.choice([1, 2, 15]))),
        retract=float(rng.choice([5, 60])),
    )
    prepared, (orientation, cut) = Prepared(scene), scene.cuts()[0]
    report = check_cut(prepared, orientation, cut, frozenset())
    check = clearance._CutCheck(prepared, orientation, cut, frozenset())
    pairs = list(check.pairs.worst_first())
    everything = [(p, clearance._report(p, check.pairs.measure(p, math.inf))) for p in pairs]
    ties, following = clearance._ties_and_next(clearance._ranked(everything))
    first = clearance._ranked(everything)[0][1]
    assert (report.worst.between, report.worst.verdict, report.worst.spare) == (
        first.between,
        first.verdict,
        first.spare,
    )
    assert report.ties == ties
    assert [p.between for p in report.next] == [p.between for p in following]
    numbers = [r for _, r in everything if r.clearance is not None]
    if numbers:
        named = [r.clearance.at_least for r in (report.worst, *report.next) if r.clearance is not None]
        assert min(named) == pytest.approx(min(r.clearance.at_least for r in numbers), abs=0.01)


@pytest.mark.parametrize("seed", range(3))
def test_that_a_pair_which_was_left_closed_never_ranks_ahead(seed):
    rng = np.random.default_rng(seed)
    for _ in range(4):
        check_against_all_pairs(rng)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(3))
def test_that_in_many_more_scenes_no_closed_pair_ranks_ahead(seed):
    rng = np.random.default_rng(50 + seed)
    for _ in range(60):
        check_against_all_pairs(rng)


# ---- the operator ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("operator", "side", "clock"),
    [
        ((0.0, -1.0, 0.0), "right", 3),  # the operator in front looks along +Y: +X is at the right hand
        ((0.0, 1.0, 0.0), "left", 9),
        ((1.0, 0.0, 0.0), "to you", 6),
        ((-1.0, 0.0, 0.0), "away", 12),
    ],
)
def test_that_the_side_is_said_as_the_operator_stands(operator, side, clock):
    machine = plain_machine(operator=operator)
    wall = body("wall", Box(10, 20, 40), (20.0, 0.0, -20.0))
    report = report_of(one_cut(Hole((0.0, 0.0, 0.0), 5.0), end_mill(10.0), wall, machine=machine, retract=1.0))
    assert report.worst.between[1] == "wall"
    assert (report.side, report.clock) == (side, clock)
    assert report.part_side == "+X"
    assert report.above_platter == pytest.approx(report.points_P[1][2])


def test_that_a_gap_behind_the_tool_is_hidden_and_one_beside_it_is_seen():
    behind = body("post", Box(10, 10, 60), (0.0, 12.0, -20.0))
    beside = body("post", Box(10, 10, 20), (12.0, 0.0, -20.0))
    for post, hidden in ((behind, True), (beside, False)):
        report = report_of(one_cut(HOLE, end_mill(10.0), post, retract=1.0))
        assert report.worst.between[1] == "post"
        assert report.is_hidden_from_operator is hidden


def test_that_a_gap_behind_a_fixture_is_hidden():
    post = body("post", Box(10, 10, 20), (12.0, 0.0, -20.0))
    screen = body("screen", Box(400, 5, 300), (0.0, -60.0, -100.0))
    report = report_of(one_cut(HOLE, end_mill(10.0), post, screen, retract=1.0))
    assert report.worst.between[1] == "post"
    assert report.is_hidden_from_operator is True


@pytest.mark.parametrize(("carrier", "base"), [("bed", -100.0), ("head", -220.0)])  # the gauge line is 120 over the tip
@pytest.mark.parametrize(("name", "hidden"), [("door", False), ("Enclosure", False), ("door post", True)])
def test_that_the_operator_looks_through_the_door_of_the_machine(name, hidden, carrier, base):
    """A screen right across the view: as a body of the machine it counts as open where it is called a door."""
    post = body("post", Box(10, 10, 20), (12.0, 0.0, -20.0))
    screen = body(name, Box(400, 5, 300), (0.0, -60.0, base), on=carrier)
    report = report_of(one_cut(HOLE, end_mill(10.0), post, retract=1.0, machine=plain_machine(bodies=(screen,))))
    assert report.worst.between[1] == "post"
    assert report.is_hidden_from_operator is hidden


def test_that_a_body_of_the_set_up_called_door_hides_what_is_behind_it():
    post = body("post", Box(10, 10, 20), (12.0, 0.0, -20.0))
    screen = body("door", Box(400, 5, 300), (0.0, -60.0, -100.0))
    assert report_of(one_cut(HOLE, end_mill(10.0), post, screen, retract=1.0)).is_hidden_from_operator is True


def test_that_a_face_reports_no_side_where_the_normal_is_vertical():
    table = body("block", Box(200, 200, 10), (0.0, 0.0, -15.0))
    report = report_of(
        one_cut(Face((0.0, 0.0, 0.0), (10.0, 10.0), (1.0, 0.0, 0.0)), end_mill(10.0), table, retract=1.0)
    )
    assert (report.side, report.clock, report.part_side) == ("below", None, "-Z")


def test_that_a_tool_given_by_its_outline_is_compared_step_by_step():
    outline = (OutlineStep(6, 6, 10, "cutter"), OutlineStep(4, 4, 20, "neck"), OutlineStep(12, 12, 30, "shank"))
    tool = Tool("T", "end mill", 60.0, NUT, outline=outline)
    posts = [body(f"post {z}", Box(4, 4, 4), (10.0, 0.0, float(z))) for z in (0, 15, 40)]
    report = report_of(one_cut(HOLE, tool, *posts, retract=1.0))
    expected = {("cutter", "post 0"): 5.0, ("neck", "post 15"): 6.0, ("shank", "post 40"): 2.0}
    for (name, obstacle), gap in expected.items():
        assert pair_of(report, name, obstacle).clearance.value == pytest.approx(gap, abs=1e-3)


# ---- where the table moves ------------------------------------------------------------------------------


def with_column(moves_table, x=60.0, y=0.0):
    column = Body("column", Placement("bed", (x, y, -50.0)), Box(20, 20, 400))
    return plain_machine(moves_table=moves_table, bodies=(column,))


SLOT = Slot((-25.0, 0.0, 0.0), (25.0, 0.0, 0.0), 5.0)


@pytest.mark.parametrize(
    ("moves_table", "gap"),
    [
        ("", 50.0 - 25.0 - 20.0),  # the head runs to x 25; the holder has a radius of 20
        ("y", 50.0 - 25.0 - 20.0),
        ("x", 50.0 - 20.0),  # the spindle stays at x 0 over the bed, the table does the moving
        ("xyz", 50.0 - 20.0),
    ],
)
def test_that_the_bed_stands_still_under_a_head_and_travels_against_a_table(moves_table, gap):
    report = report_of(one_cut(SLOT, end_mill(10.0), machine=with_column(moves_table)))
    pair = pair_of(report, "holder", "column")
    assert pair.clearance.at_least <= gap <= pair.clearance.value + 1e-9
    assert pair.clearance.value == pytest.approx(gap, abs=0.005)
    # in W, at the tip that is told, the bed stands where the spindle took it
    p_tool, p_column = pair.points_W
    tip = pair.tip_W
    assert -25.0 - 1e-6 <= tip[0] <= 25.0 + 1e-6
    assert p_column[0] == pytest.approx(50.0 + (tip[0] if "x" in moves_table else 0.0), abs=0.005)
    assert math.dist(p_tool, p_column) == pytest.approx(pair.clearance.value, abs=1e-6)
    assert math.hypot(p_tool[0] - tip[0], p_tool[1] - tip[1]) <= 20.0 + 1e-6


def test_that_where_the_table_lowers_away_the_lift_moves_nothing_against_the_bed():
    """A beam on the bed over the spindle's side: the head does not rise to it where the table does the lifting."""
    beam = Body("beam", Placement("bed", (30.0, 0.0, 200.0)), Box(30, 30, 10))
    up = report_of(one_cut(HOLE, end_mill(), machine=plain_machine(bodies=(beam,)), retract=100.0))
    assert up.verdict == Verdict.HITS
    down = report_of(one_cut(HOLE, end_mill(), machine=plain_machine(moves_table="z", bodies=(beam,)), retract=100.0))
    assert down.verdict == Verdict.CLEAR


def test_that_what_the_table_carries_into_the_bed_is_found():
    """A block on the table, 10 either side of x 0, goes 25 both ways; the column's face stands at 50."""
    block = body("block", Box(20, 20, 20), (0.0, 40.0, 0.0))
    report = report_of(one_cut(SLOT, end_mill(10.0), block, machine=with_column("x", y=40.0)))
    pair = pair_of(report, "column", "block")
    assert pair.clearance.at_least <= 50.0 - 25.0 - 10.0 <= pair.clearance.value + 1e-9
    near = report_of(one_cut(SLOT, end_mill(10.0), block, machine=with_column("x", x=40.0, y=40.0)))
    assert near.verdict == Verdict.HITS
    assert near.worst.between == ("column", "block")
    still = report_of(one_cut(SLOT, end_mill(10.0), block, machine=with_column("", x=40.0, y=40.0)))
    assert pair_of(still, "column", "block") is None
