"""Dials of a set-up that can be worked out by hand: what is offered, what a value sets, what it leaves.

The nut of radius 14 stands beside a post whose face is 15 from the axis and whose top is 50 over the tip; there are
no set-up errors. While the nut is beside the post 1 is left; once its lower edge is h over the top, sqrt(1 + h2).
"""

import math
import random
from pathlib import Path

import pytest

from app.jobs.check import result_of
from app.jobs.dial_faces import DialKind, DialScope, NumberRule, edits
from app.jobs.dial_offers import dial_offers, offer_for
from app.jobs.dials import FIXTURE_TURN, SCREW_HEADS, dial_face
from app.jobs.whatif_dials import Bench, DialFault, fixture_turn
from app.scenes.edits import edited
from app.scenes.live import LiveScene
from app.scenes.reader import read_scene_text
from kinematics.placed_cut import placed_cuts
from kinematics.prepared import Prepared
from kinematics.verdict import Verdict
from tests.app.cli.small_scenes import MACHINE, SCENE

SAMPLES = Path(__file__).parents[3] / "sample_scenes"
FOCUS = ("top", "hole")
OUT = "T1/stick_out"
TO_THE_NUT = "holders:\n  H: {profile: [[28, 20, nut], [30, 30]]}\n"
TWO_HOLDERS = TO_THE_NUT + "  slim: {profile: [[20, 20, nut], [30, 30]]}\n"


@pytest.fixture
def bench(tmp_path):
    return bench_of(tmp_path)


def bench_of(folder, **more):
    (folder / "plain.machine.yaml").write_text(MACHINE)
    numbers = {"body_model": 0, "post_y": 20, "flute": 20, "retract": 30, "more": "", **more}
    text = SCENE.format(**numbers).replace(TO_THE_NUT, TWO_HOLDERS)
    return Bench(LiveScene(text, folder / "post.scene.yaml"))


def sample_bench(name):
    path = SAMPLES / name / f"{name}.scene.yaml"
    return Bench(LiveScene(path.read_text(), path))


def offer_of(bench, key, focus=FOCUS):
    return next(o for o in dial_offers(bench, focus) if o.key == key)


def last_face(bench, key, scope=DialScope.ALL, focus=FOCUS):
    offer = offer_of(bench, key, focus)
    *_, last = dial_face(bench, offer, scope, focus)
    return last


# ---- what is offered -----------------------------------------------------------------------------------


def test_that_the_demo_offers_the_dials_of_the_cut_that_is_looked_at():
    bench = sample_bench("sampler_block_b")
    offers = dial_offers(bench, ("V6", "drain spot"))
    assert [o.name for o in offers] == [
        "T4 out", "T4 holder", "V6 tilt", "V6 rotary", "riser h", "fixture turn", "screw heads",
        "part x", "part y", "part z",
    ]  # fmt: skip
    by_name = {o.name: o for o in offers}
    assert (by_name["T4 out"].now, by_name["T4 out"].low, by_name["T4 out"].high) == (18.0, 4.0, 54.0)
    assert [c.word for c in by_name["T4 holder"].choices] == ["H16", "H11", "H11m", "HS6"]
    assert (by_name["riser h"].key, by_name["riser h"].now) == ("riser/h", 40.0)
    assert by_name["part z"].now == 52.0
    heads = by_name["screw heads"]
    assert heads.now == heads.choices[0].word == "ISO 4762"
    assert {"DIN 7984", "DIN 6912"} <= {c.word for c in heads.choices}  # both are low heads
    assert {path for path, _ in heads.choices[1].edits} >= {"clamp screw L/standard", "clamp screw R/standard"}


@pytest.mark.slow
@pytest.mark.parametrize("folder", sorted(p.name for p in SAMPLES.iterdir() if (p / f"{p.name}.scene.yaml").exists()))
def test_that_every_value_that_is_offered_can_be_set(folder):
    bench = sample_bench(folder)
    orientation, cut = bench.scene.cuts()[-1]
    offers = dial_offers(bench, (orientation.name, cut.name))
    assert len({o.key for o in offers}) == len(offers)
    for offer in offers:
        if offer.kind is DialKind.CHOICE:
            for choice in offer.choices:
                text = edited(bench.live.text, list(choice.edits))
                read_scene_text(text, bench.live.path)
            continue
        assert offer.low <= offer.now <= offer.high
        assert offer.low < offer.high
        for path, value in edits(offer, offer.now):
            known = bench.numbers.get(path)
            if known is not None:
                assert value == pytest.approx(known.value, abs=1e-6), path


def test_that_lengths_of_a_file_in_inch_are_offered_in_mm_and_set_in_inch():
    bench = sample_bench("clamp_block_inch")
    orientation, cut = bench.scene.cuts()[0]
    tool = bench.scene.tool(cut.tool)
    offer = offer_of(bench, f"{cut.tool}/stick_out", (orientation.name, cut.name))
    assert offer.now == pytest.approx(tool.stick_out)
    ((path, value),) = edits(offer, 50.8)
    assert path == f"{cut.tool}/stick_out"
    assert value == pytest.approx(2.0)


def test_that_any_number_has_a_dial_and_what_is_none_is_told(bench):
    offer = offer_for(bench, "post/at/y")
    assert (offer.kind, offer.now, offer.rule) == (DialKind.LENGTH, 20.0, NumberRule("post/at/y"))
    added = dial_offers(bench, FOCUS, ("post/at/y", "post/at/y"))
    assert [o.key for o in added].count("post/at/y") == 1
    with pytest.raises(DialFault, match="nearest"):
        offer_for(bench, "post/at/yy")


@pytest.mark.parametrize("folder", ["sampler_block_b", "sampler_block_c", "sampler_block_d"])
def test_that_the_rule_of_a_turn_says_what_turning_it_in_the_scene_says(folder):
    """The scene turns the group's bodies and places the part anew (`turned_under`); the rule turns two numbers."""
    bench = sample_bench(folder)
    orientation, cut = bench.scene.cuts()[0]
    offer = offer_of(bench, FIXTURE_TURN, (orientation.name, cut.name))
    dial = fixture_turn(bench)
    for value in (*random.Random(4).sample(range(-180, 181), 12), 90, -90, 0):
        said = dict(edits(offer, offer.now + value))
        wanted = dial.setting(bench, float(value)).numbers
        for path, number in wanted.items():
            if path in said:
                off = abs(said[path] - number) % 360.0 if path.endswith("/turn") else abs(said[path] - number)
                assert min(off, 360.0 - off) < 1e-6, (value, path)
            else:  # it stays as it is
                assert number == pytest.approx(bench.numbers[path].value if path in bench.numbers else 0.0, abs=1e-6)


def test_that_a_quarter_turn_is_exact():
    bench = sample_bench("sampler_block_b")
    offer = offer_of(bench, FIXTURE_TURN, ("V1", "pilot"))
    assert dict(edits(offer, 90.0)) == {"dovetail fixture/turn": 90.0, "workpiece/zero/turn": -90.0}


# ---- what the values leave -----------------------------------------------------------------------------


def test_that_a_stick_out_is_clear_once_the_nut_is_far_enough_over_the_post(bench):
    face = last_face(bench, OUT)
    least = 50.0 + math.sqrt(3.0)  # sqrt(1 + h2) = 2
    assert face.least_clear == pytest.approx(least, abs=0.011)
    assert face.least_clear >= least - 1e-6
    tight, clear = face.ranges[-2:]
    assert (tight.verdict, clear.verdict) == (Verdict.TIGHT, Verdict.CLEAR)
    assert clear.spare == pytest.approx(2.0, abs=0.01)
    assert clear.where == "top hole: nut, post"
    by_value = {p.value: p.spare for p in face.curve}
    for value, spare in by_value.items():
        if 31.0 <= value <= 50.0:  # lower down the wider step of the holder is over the post
            assert spare == pytest.approx(1.0, abs=1e-5), value
        elif 50.0 < value < 54.0:
            assert spare == pytest.approx(math.hypot(1.0, value - 50.0), abs=1e-4), value


def test_that_a_part_that_is_shifted_takes_the_tool_along(bench):
    """The spare is 1 - v while the nut is beside the post; at 1 they touch, beyond they overlap."""
    face = last_face(bench, "workpiece/zero/at/y")
    assert [r.verdict for r in face.ranges] == [Verdict.CLEAR, Verdict.TIGHT, Verdict.CAN_HIT, Verdict.HITS] or [
        r.verdict for r in face.ranges
    ] == [Verdict.CLEAR, Verdict.TIGHT, Verdict.HITS]
    assert face.ranges[0].end == pytest.approx(-1.0, abs=0.05)
    assert face.ranges[0].end <= -1.0 + 1e-6
    assert face.ranges[-1].start == pytest.approx(1.0, abs=0.05)
    for point in face.curve:
        if point.value < 1.0 and 1.0 - point.value < 12.0:
            assert point.spare == pytest.approx(1.0 - point.value, abs=1e-4)


def test_that_ranges_come_from_rough_to_fine_and_unknown_ones_have_no_verdict(bench):
    offer = offer_of(bench, "workpiece/zero/at/y")
    faces = list(dial_face(bench, offer, DialScope.ALL, FOCUS))
    assert [r.verdict for r in faces[0].ranges] == [None]
    assert not faces[0].is_finished
    assert faces[-1].is_finished
    for face in faces:
        assert face.ranges[0].start == pytest.approx(offer.low)
        assert face.ranges[-1].end == pytest.approx(offer.high)
        for one, other in zip(face.ranges, face.ranges[1:], strict=False):
            assert one.end == pytest.approx(other.start)
    curves = [len(face.curve) for face in faces]
    assert curves == sorted(curves)


def test_that_a_holder_is_told_by_what_it_leaves(bench):
    face = last_face(bench, "T1/holder")
    cells = {c.word: c for c in face.cells}
    assert cells["H"].verdict is Verdict.TIGHT
    assert cells["H"].spare == pytest.approx(1.0, abs=1e-5)
    assert (
        cells["slim"].verdict is Verdict.CLEAR
    )  # radius 10, the face at 15; the wider step above stands over the post
    assert cells["slim"].spare > 2.0


def test_that_only_the_cuts_of_the_scope_count(tmp_path):
    more = "      - {name: far, tool: T1, state: plate, hole: {at: [0, -10, 0], depth: 10}}\n"
    bench = bench_of(tmp_path, more=more)
    far = ("top", "far")
    key = "workpiece/zero/at/x"
    alone = last_face(bench, key, DialScope.CUT, far)
    together = last_face(bench, key, DialScope.TOOL, far)
    assert {r.verdict for r in alone.ranges} == {Verdict.CLEAR}
    assert Verdict.CLEAR not in {r.verdict for r in together.ranges}
    assert together.is_never_clear
    assert not alone.is_never_clear


def test_that_a_path_that_is_no_number_has_a_dial_that_says_so_and_cannot_be_turned(bench):
    offers = {o.key: o for o in dial_offers(bench, FOCUS, ("post/at/yy",))}
    assert OUT in offers
    assert offers["post/at/yy"].rule is None
    (face,) = dial_face(bench, offers["post/at/yy"], DialScope.ALL, FOCUS)
    assert face.why.startswith("no number is called 'post/at/yy'; nearest: post/at/y")


def test_that_a_dial_that_has_no_ranges_still_has_values(bench):
    offer = offer_for(bench, "T1/flute")
    *_, face = dial_face(bench, offer, DialScope.ALL, FOCUS)
    assert face.ranges == ()
    assert len(face.curve) > 8  # single values are told
    assert not face.is_never_clear


def test_that_a_keep_off_is_kept_up_to_the_spare_of_a_check_and_not_beyond():
    """What is taken off a clearance again may be a last digit short of the keep-off: no stretch is tight for that."""
    bench, focus = sample_bench("sampler_block_b"), ("V6", "drain spot")
    offer = offer_for(bench, "keep_off/cut")
    *_, face = dial_face(bench, offer, DialScope.CUT, focus)
    placed = next(p for p in placed_cuts(Prepared(bench.scene)) if (p.orientation.name, p.cut.name) == focus)
    spare = result_of(placed.prepared, placed.orientation, placed.cut, placed.done).worst.spare
    assert [r.verdict for r in face.ranges] == [Verdict.CLEAR, Verdict.TIGHT]
    assert spare - 0.03 <= face.ranges[0].end <= spare


@pytest.mark.slow
def test_that_no_value_is_worse_than_its_range_by_a_check_of_the_edited_file():
    """Random values of the demo's dials are written into the file, read anew and checked."""
    bench, focus = sample_bench("sampler_block_b"), ("V6", "drain spot")
    rng = random.Random(11)
    for key in ("T4/stick_out", "workpiece/zero/at/y", "workpiece/zero/at/z"):
        offer, face = offer_of(bench, key, focus), last_face(bench, key, DialScope.CUT, focus)
        for _ in range(5):
            value = round(rng.uniform(offer.low, offer.high), 3)
            told = next(r.verdict for r in face.ranges if r.start <= value <= r.end)
            checked = verdict_of_file(bench, edits(offer, value), focus)
            assert checked.severity <= told.severity, (key, value)


@pytest.mark.slow
def test_that_the_verdict_of_a_choice_is_that_of_a_check_of_the_edited_file():
    bench, focus = sample_bench("sampler_block_b"), ("V6", "drain spot")
    for key in ("T4/holder", SCREW_HEADS):
        offer, face = offer_of(bench, key, focus), last_face(bench, key, DialScope.CUT, focus)
        for choice, cell in zip(offer.choices, face.cells, strict=True):
            assert cell.verdict is verdict_of_file(bench, choice.edits, focus), (key, choice.word)


def verdict_of_file(bench, changes, focus):
    scene = read_scene_text(edited(bench.live.text, list(changes)), bench.live.path).scene
    placed = next(p for p in placed_cuts(Prepared(scene)) if (p.orientation.name, p.cut.name) == focus)
    return result_of(placed.prepared, placed.orientation, placed.cut, placed.done).verdict
