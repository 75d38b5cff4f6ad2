"""Dials as a job: what is told of a value is what a check of the edited file says; ranges claim no more."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest

from app.jobs.whatif import (
    Asked,
    DialValue,
    answers_of,
    best_of,
    cuts_of_tool,
    dial_ranges,
    dial_values,
    n_as_good,
    ranges_of,
    verdict_of,
    what_if,
)
from app.jobs.whatif_choices import (
    holder_dial,
    known_holders,
    order_dial,
    other_solution,
    screw_standards,
    screw_swap,
    word_dial,
)
from app.jobs.whatif_dials import (
    AS_IT_IS,
    Bench,
    Dial,
    DialFault,
    fixture_turn,
    number_dial,
    part_raise,
    part_shift,
    re_aim,
)
from app.scenes.edits import edited
from app.scenes.faults import SceneFileError
from app.scenes.live import LiveScene
from app.scenes.reader import SceneFile, read_scene_text
from kinematics.answers.ranges import Range
from kinematics.clearance import check_cuts
from kinematics.verdict import Verdict, worst
from tests.app.cli.checked_samples import sample_file
from tests.app.cli.small_scenes import write_scene

SPOT = ("V6", "drain spot")


@cache
def bench_of(name: str) -> Bench:
    path = sample_file(name)
    return Bench(LiveScene(path.read_text(encoding="utf-8"), path))


DEMO = "sampler_block_b"


def edited_file(bench: Bench, dial: Dial, value: float | str) -> SceneFile:
    """The scene of a value by another way: the text edited by path, and read anew."""
    setting = dial.setting(bench, value)
    text = edited(bench.live.text, [*setting.words, *setting.numbers.items()])
    return read_scene_text(text, bench.live.path)


def verdict_of_check(scene_file: SceneFile, only: frozenset | None = None) -> Verdict:
    """What a check says of the cuts."""
    reports = check_cuts(scene_file.scene)
    return worst([r.verdict for r in reports if only is None or (r.orientation, r.cut) in only])


def check_values(name: str, dial: Dial, values: list, *, only: frozenset | None = None) -> list[DialValue]:
    """Each value says what a check of the edited file says."""
    bench = bench_of(name)
    found = list(dial_values(bench.live, dial, values, only=only, bench=bench))
    assert [v.value for v in found] == values
    for value in found:
        scene_file = edited_file(bench, dial, value.value)
        assert value.room is not None
        assert value.verdict is verdict_of_check(scene_file, only), value
        if value.room.pair is not None:
            named = (value.room.orientation, value.room.cut)
            (own,) = [r for r in check_cuts(scene_file.scene) if (r.orientation, r.cut) == named]
            assert own.worst is not None
            assert own.worst.between == value.room.pair.between
            assert own.worst.spare == pytest.approx(value.room.pair.spare, abs=1e-9)
    return found


def test_that_a_number_says_what_a_check_of_the_edited_file_says() -> None:
    check_values(DEMO, number_dial(bench_of(DEMO), "riser/h"), [12.0, 90.0])


def test_that_composite_dials_say_what_a_check_of_the_edited_file_says() -> None:
    bench = bench_of(DEMO)
    check_values(DEMO, fixture_turn(bench), [90.0, 33.0])
    check_values(DEMO, part_raise(bench), [1.0])
    check_values(DEMO, part_shift(bench, "x"), [-2.5])
    check_values(DEMO, re_aim(bench, "V6/tilt"), [97.25], only=frozenset([SPOT]))
    check_values(DEMO, screw_swap(bench), ["DIN 7984", "M5", "ISO 4762 M8"])
    check_values(DEMO, holder_dial(bench, "T4"), ["H16"])


def test_that_a_number_the_file_does_not_give_is_put_in() -> None:
    bench = bench_of(DEMO)
    dial = number_dial(bench, "riser/turn")
    assert (dial.now, dial.unit) == (None, "deg")
    check_values(DEMO, dial, [30.0])


def test_that_a_point_the_file_does_not_give_is_put_in(tmp_path: Path) -> None:
    """The demo's riser has no `at`, and stands on the middle; a zero without one stands at 0 0 0."""
    bench = bench_of(DEMO)
    dial = number_dial(bench, "riser/at/x")
    assert (dial.now, dial.unit) == (None, "mm")
    (shifted,) = dial_values(bench.live, dial, [3.0], bench=bench)
    assert shifted.room is not None
    assert shifted.room.travel is not None
    file = write_scene(tmp_path, gap=3.0)
    text = file.read_text(encoding="utf-8").replace("table, at: [0, 0, 20]}", "table}")
    live = LiveScene(text, file)
    near, far = dial_values(live, part_shift(Bench(live), "y"), [1.0, -1.0])
    spares = [value.room.pair.spare for value in (near, far) if value.room and value.room.pair]
    # by hand: the tip 10 under the table, the second step (radius 15) reaches from 50 up, beside the post's upper 10;
    # it has 1 less than the nut's gap of 3, from which 1 is taken, to which 1 is added
    assert spares == pytest.approx([1.0, 3.0], abs=1e-3)


def test_that_inches_stay_inches() -> None:
    bench = bench_of("clamp_block_inch")
    for dial in (part_raise(bench), part_shift(bench, "y"), re_aim(bench, "low/tilt"), number_dial(bench, "tower/h")):
        assert dial.unit == ("deg" if "tilt" in dial.name else "inch")
        check_values("clamp_block_inch", dial, [0.125 if dial.unit == "inch" else 95.0])
    (raised,) = [part_raise(bench).setting(bench, 0.25).numbers]
    assert raised == {"workpiece/zero/at/z": 2.0, "block/3": 2.0, "block/at/z": -2.0}
    ranges = ranges_of(list(dial_ranges(bench.live, part_shift(bench, "y"), 0.0, 0.5, bench=bench)), "inch")
    assert (ranges[0].start, ranges[-1].end) == pytest.approx((0.0, 0.5))
    assert all(r.end * 25.4 == pytest.approx(round(r.end * 25.4, 2), abs=1e-9) for r in ranges[:-1])


def test_that_one_part_of_several_is_moved_by_its_name() -> None:
    bench = bench_of("latch_pair")
    alone, all_of_them = part_shift(bench, "x", "left"), part_shift(bench, "x")
    assert set(alone.setting(bench, 1.0).numbers) == {"left/zero/at/x"}
    assert set(all_of_them.setting(bench, 1.0).numbers) == {"left/zero/at/x", "right/zero/at/x"}


# ---- scenes that can't be, dials that can't be turned ----------------------------------------------


def test_that_a_value_without_a_scene_is_told_and_the_next_one_too() -> None:
    bench = bench_of(DEMO)
    wrong, right = dial_values(bench.live, number_dial(bench, "T2/d"), [-3.0, 6.0], bench=bench)
    assert (wrong.room, wrong.verdict) == (None, Verdict.NOT_CHECKED)
    assert wrong.why is not None
    assert "T2/d" in wrong.why
    assert right.verdict is Verdict.TIGHT


def test_that_a_faulty_scene_raises_its_faults(tmp_path: Path) -> None:
    text = write_scene(tmp_path, gap=3.0).read_text(encoding="utf-8").replace("retract: 50", "retract: fifty")
    with pytest.raises(SceneFileError):
        Bench(LiveScene(text, tmp_path / "post.scene.yaml"))


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda b: number_dial(b, "risr/h"), "no number is called 'risr/h'; nearest: riser/h"),
        (lambda b: number_dial(b, "riser"), "no number is called 'riser'"),
        (lambda b: word_dial(b, "T4/holdr"), "nothing is called 'T4/holdr'; nearest: T4/holder"),
        (lambda b: fixture_turn(b, "riser"), "no group 'riser' in this scene; groups of this scene: dovetail fixture"),
        (lambda b: part_raise(b, "prt"), "no workpiece 'prt' in this scene; workpieces of this scene: workpiece"),
        (lambda b: part_shift(b, "w"), "no direction 'w'; expected x, y or z"),
        (lambda b: re_aim(b, "V6/tlt"), "no angle 'V6/tlt'; nearest: V6/tilt"),
        (lambda b: holder_dial(b, "T44"), "no tool 'T44' in this scene; nearest: T4"),
        (lambda b: known_holders(b, ["H12"]), "no holder 'H12' in this scene or in the library; nearest: H1"),
        (lambda b: screw_swap(b, ["clamp screw"]), "no screw 'clamp screw' in this scene; nearest: clamp screw"),
        (lambda b: screw_swap(b).setting(b, "DIN 7985"), "'DIN 7985' is no screw; expected a standard"),
        (lambda b: screw_swap(b).setting(b, "ISO 8734"), "'ISO 8734' is no screw"),
        (lambda b: screw_swap(b).setting(b, "DIN 7984 M7"), "riser screw 1: no size 'M7' in DIN 7984; sizes: M3"),
        (lambda b: other_solution(b, ["V9"]), "no orientation 'V9' in this scene; orientations of this scene: V1"),
        (lambda b: other_solution(b), "no other position of the table within its travel aims the tool alike"),
        (lambda b: order_dial().setting(b, "V1,V2"), "expected each of V1, V2, V3, V4, V5, V6, V7 once"),
        (lambda b: number_dial(b, "riser/h").setting(b, "H16"), "riser/h: 'H16' is not a number"),
    ],
)
def test_that_what_can_not_be_turned_is_told_with_the_nearest(make, words: str) -> None:
    with pytest.raises(DialFault) as raised:
        make(bench_of(DEMO))
    assert words in raised.value.message


def test_that_a_screw_of_the_same_standard_may_be_told_by_its_size() -> None:
    bench = bench_of(DEMO)
    dial = screw_swap(bench, ["clamp screw R", "clamp screw L"])
    assert dial.setting(bench, "M5").words == (("clamp screw L/size", "M5"), ("clamp screw R/size", "M5"))
    assert dial.setting(bench, AS_IT_IS).words == ()
    assert {"ISO 4762", "DIN 7984"} <= set(screw_standards(bench))
    assert "ISO 8734" not in screw_standards(bench)  # a pin


def test_that_a_double_solution_is_no_other_one() -> None:
    """At swivel 180 an inclined axis has both of its solutions in one place."""
    with pytest.raises(DialFault):
        other_solution(bench_of("hinge_block_inclined"), ["front"])


def test_that_the_other_solution_aims_alike() -> None:
    """On a B-C table tilt t, rotary r and tilt -t, rotary r + 180 aim alike."""
    bench = bench_of("gauge_cap_bc")
    dial = other_solution(bench)
    ((_, other),) = [item for item in dial.solutions(bench).items() if item[0] != AS_IT_IS]
    (name,) = {path.split("/")[0] for path in other}
    now = dict(next(o for o in bench.scene.orientations if o.name == name).angles_deg)
    assert other == {f"{name}/tilt": -now["tilt"], f"{name}/rotary": pytest.approx((now["rotary"] + 180.0) % 360.0)}
    assert list(dial_values(bench.live, dial, list(dial.solutions(bench)), bench=bench))[1].room is not None


def test_that_an_order_that_makes_a_state_too_soon_is_not_checked() -> None:
    bench = bench_of(DEMO)
    (said,) = dial_values(bench.live, order_dial(), ["V2,V1,V3,V4,V5,V6,V7"], bench=bench)
    assert said.verdict is Verdict.NOT_CHECKED
    assert said.room is not None
    assert said.room.why == "V2 +Y pocket: the state profiled exists only after V1/profile, made later"


# ---- what counts -----------------------------------------------------------------------------------


def test_that_only_the_cuts_that_count_are_told() -> None:
    bench = bench_of(DEMO)
    dial = number_dial(bench, "riser/h")
    assert cuts_of_tool(bench.scene, "T6") == {("V5", "bevel port"), ("V6", "drain drill"), ("V7", "low side port")}
    (said,) = dial_values(bench.live, dial, [40.0], only=cuts_of_tool(bench.scene, "T6"), bench=bench)
    assert said.room is not None
    assert (said.room.orientation, said.room.cut) == ("V6", "drain drill")
    assert said.verdict is Verdict.CLEAR


def test_that_swings_count_where_they_are_asked_for(tmp_path: Path) -> None:
    """At a lift of 225 the tools are in the way of what turns; the cuts do not mind."""
    path = tmp_path / "low.scene.yaml"
    text = (
        sample_file(DEMO)
        .read_text(encoding="utf-8")
        .replace("retract: 60", "swings: {lift: {gauge_z: 225}}\nretract: 60")
    )
    path.write_text(text, encoding="utf-8")
    live = LiveScene(text, path)
    dial = number_dial(Bench(live), "swings/lift/gauge_z")
    (cuts,) = dial_values(live, dial, [225.0])
    low, high = dial_values(live, dial, [225.0, 430.0], with_swings=True)
    assert cuts.verdict is Verdict.TIGHT
    assert low.verdict is Verdict.HITS
    assert low.room is not None
    assert low.room.swing is not None
    assert high.verdict is Verdict.TIGHT


def test_that_the_best_is_by_verdict_then_by_the_worst_spare_then_the_nearest() -> None:
    """From 1 on the nut over the stock leaves 2.31 whatever the height."""
    bench = bench_of(DEMO)
    values = list(dial_values(bench.live, part_raise(bench), [0.0, 0.5, 3.0, 2.0, -2.0], bench=bench))
    for now, best in ((None, 3.0), (0.0, 2.0), (9.0, 3.0)):
        found = best_of(values, now)
        assert found is not None
        assert found.value == best
    assert n_as_good(values) == 2
    assert best_of(values[1:2], 0.0) is values[1]
    assert best_of([]) is None
    assert best_of([DialValue(1.0, None, "no scene")], 1.0) is None
    words = list(dial_values(bench.live, screw_swap(bench), ["M5", "DIN 7984", AS_IT_IS], bench=bench))
    assert best_of(words, AS_IT_IS) is words[0]


def test_that_results_come_one_by_one_and_say_what_they_are_of() -> None:
    bench = bench_of(DEMO)
    asked = [Asked(part_raise(bench), (0.0, 1.0)), Asked(screw_swap(bench), (AS_IT_IS, "DIN 7984"))]
    coming = what_if(bench, asked, only=frozenset([("V1", "profile")]), with_ranges=True)
    first = next(coming)
    assert first[0] == 0
    assert isinstance(first[1], DialValue)
    started = answers_of(asked, [first], with_ranges=True)
    assert [len(a.values) for a in started] == [1, 0]
    assert started[0].ranges == ()
    raised, swapped = answers_of(asked, [first, *coming], with_ranges=True)
    assert raised.ranges is not None
    assert [r.verdict for r in raised.ranges] == [Verdict.TIGHT, Verdict.CLEAR]
    assert (swapped.ranges, swapped.why_no_ranges) == (None, "it has single values only")
    assert [str(v.verdict) for v in swapped.values] == ["tight", "clear"]
    assert verdict_of([raised, swapped]) is Verdict.CLEAR


# ---- ranges ----------------------------------------------------------------------------------------


def test_that_ranges_of_what_moves_in_an_unknown_way_are_refused() -> None:
    bench = bench_of(DEMO)
    for path in ("T2/d", "+Y pocket", "H16/profile/1/1"):
        try:
            dial = number_dial(bench, path)
        except DialFault:
            continue
        with pytest.raises(DialFault, match="how things move as this number changes is not known"):
            next(dial_ranges(bench.live, dial, 1.0, 2.0, bench=bench))
    with pytest.raises(DialFault, match=r"the range 5..5 is empty"):
        next(dial_ranges(bench.live, number_dial(bench, "riser/h"), 5.0, 5.0, bench=bench))


DIALS = {
    "riser": (lambda b: number_dial(b, "riser/h"), 1.0, 100.0, None),
    "tilt of V6, re-aimed": (lambda b: re_aim(b, "V6/tilt"), 80.0, 125.0, None),
    "tilt of the pocket, re-aimed": (lambda b: re_aim(b, "V2/tilt"), 70.0, 112.0, cuts_of_tool),
    "rotary of V7, re-aimed": (lambda b: re_aim(b, "V7/rotary"), 60.0, 130.0, None),
    "tilt of V3": (lambda b: number_dial(b, "V3/tilt"), 78.0, 115.0, None),
    "fixture": (lambda b: fixture_turn(b), 0.0, 40.0, None),
    "part raised": (lambda b: part_raise(b), -3.0, 3.0, None),
    "part shifted": (lambda b: part_shift(b, "y"), -6.0, 6.0, None),
    "stick-out": (lambda b: number_dial(b, "T4/stick_out"), 4.0, 54.0, None),
    "screw": (lambda b: number_dial(b, "clamp screw R/at/y"), 15.0, 30.0, None),
    "body model": (lambda b: number_dial(b, "setup_errors/body_model"), 0.0, 3.0, None),
    "keep-off": (lambda b: number_dial(b, "keep_off/cut"), 0.0, 4.0, None),
    "depth": (lambda b: number_dial(b, "V6/drain spot/depth"), 1.0, 6.0, None),
    "retract": (lambda b: number_dial(b, "retract"), 1.0, 300.0, None),
}


QUICK = ("riser", "rotary of V7, re-aimed", "stick-out", "depth", "retract")


@pytest.mark.parametrize("name", [pytest.param(n, marks=() if n in QUICK else pytest.mark.slow) for n in DIALS])
def test_that_no_range_claims_more_than_check_confirms_at_20_random_values_in_it(name: str) -> None:
    bench = bench_of(DEMO)
    make, low, high, by_tool = DIALS[name]
    only = by_tool(bench.scene, "T2") if by_tool else None
    dial, rng = make(bench), np.random.default_rng(len(name))
    pieces = list(dial_ranges(bench.live, dial, low, high, only=only, bench=bench))
    assert [p.start for p in pieces] == [low, *(p.end for p in pieces[:-1])]
    for claimed in ranges_of(pieces):
        values = [float(v) for v in rng.uniform(claimed.start, claimed.end, 20)]
        for said in dial_values(bench.live, dial, values, only=only, bench=bench):
            assert said.verdict.severity <= claimed.verdict.severity, (claimed, said)
        for value in values[:2]:  # and by a check of the edited file, which shares none of the scenes made above
            assert verdict_of_check(edited_file(bench, dial, value), only).severity <= claimed.verdict.severity


def test_that_a_coarse_range_is_told_sooner_and_claims_no_more() -> None:
    bench = bench_of(DEMO)
    dial = re_aim(bench, "V6/tilt")
    fine = list(dial_ranges(bench.live, dial, 80.0, 120.0, only=[SPOT], bench=bench))
    coarse = list(dial_ranges(bench.live, dial, 80.0, 120.0, only=[SPOT], finest=0.5, bench=bench))
    assert len(coarse) < len(fine) / 2
    for piece in coarse:
        inside = [p for p in fine if p.start < piece.end and p.end > piece.start]
        assert isinstance(piece, Range)
        assert max(p.verdict.severity for p in inside) <= piece.verdict.severity
