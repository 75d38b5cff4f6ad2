"""What would make a tight orientation clear: held to checks of the edited files, and to the scenario's expectations."""

from __future__ import annotations

from pathlib import Path

import pytest

from app.jobs.alternatives import advice, alternatives, ranked
from app.jobs.check import check_scene
from app.jobs.proposals import Kind, advice_words
from app.jobs.whatif_dials import Bench
from app.scenes.edits import edited
from app.scenes.live import LiveScene
from app.scenes.reader import read_scene_text
from kinematics.report import CutReport
from kinematics.verdict import Verdict

SAMPLES = Path(__file__).parents[3] / "sample_scenes"


def bench_of(name: str) -> Bench:
    path = SAMPLES / name / f"{name}.scene.yaml"
    return Bench(LiveScene(path.read_text(encoding="utf-8"), path))


def list_of(name: str, orientation: str):
    return ranked(list(alternatives(bench_of(name), orientation)))


@pytest.mark.parametrize(("name", "orientation"), [("sampler_block_b", "V6"), ("sampler_block_a", "V2")])
def test_that_each_change_leaves_what_a_check_of_the_edited_file_says(name, orientation):
    bench = bench_of(name)
    found = list_of(name, orientation)
    assert len({a.kind for a in found}) >= 4
    by_kind = {a.kind: a for a in found}  # one of each: a check takes a second
    for change in by_kind.values():
        text = edited(bench.live.text, [*change.texts, *change.numbers])
        cuts = [
            r
            for r in check_scene(read_scene_text(text, bench.live.path))
            if isinstance(r, CutReport) and r.orientation == orientation
        ]
        worst = max(cuts, key=lambda r: (r.verdict.severity, -(r.worst.spare if r.worst else 0.0)))
        assert worst.verdict is change.here.verdict, change.words
        assert worst.worst.spare == pytest.approx(change.here.spare, abs=0.005), change.words


def test_that_a_longer_stick_out_clears_the_spot():
    found = list_of("sampler_block_b", "V6")
    by_words = {a.words: a for a in found}
    # the least clear lengths of `stickout`, which its tests hold to checks: 20.99, 27.23, 8.72, 9.91
    assert {"T4 in H11, 21.0 out", "T4 in H16, 27.3 out", "T4 in H11m, 8.8 out", "T4 in HS6, 10.0 out"} <= set(by_words)
    assert by_words["T4 in H11, 21.0 out"].numbers == (("T4/stick_out", 21.0),)
    assert by_words["T4 in HS6, 10.0 out"].texts == (("T4/holder", "HS6"),)
    assert found[0].kind is Kind.STICK_OUT
    assert all(a.here.verdict is Verdict.CLEAR for a in found)
    assert all(a.gain > 0 for a in found)
    assert advice_words(advice(found)) == "T4 in H11, 21.0 out, is clear."


def test_that_low_heads_are_the_advice_where_the_cutter_is_tight_over_screws():
    found = list_of("sampler_block_b", "V1")
    assert advice_words(advice(found)) == "M6 DIN 7984 heads make it 2.31."
    raised = next(a for a in found if a.kind is Kind.RAISE)
    assert raised.words == "the part raised by 1.0"
    assert not any(a.kind in (Kind.STICK_OUT, Kind.HOLDER) for a in found)  # the cutter itself is over the screws


def test_that_a_change_that_spoils_another_place_says_so_and_comes_last():
    found = list_of("sampler_block_b", "V1") + list_of("lamp_bracket", "V4")
    spoiling = [a for a in found if a.makes_worse]
    assert spoiling
    for a in spoiling:
        assert a.everywhere.verdict.severity > a.before.verdict.severity or a.everywhere.spare < a.before.spare
    lamp = [a for a in list_of("lamp_bracket", "V4") if a.here.verdict is Verdict.CLEAR]
    assert [a.makes_worse for a in lamp] == sorted(a.makes_worse for a in lamp)
