"""How far a stick-out may be off: the demo's lengths by hand, and each end of a range against checks beside it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from app.scenes.reader import read_scene
from kinematics.answers.no_worse import SAME, Lengths, lengths_of
from kinematics.clearance import check_cut
from kinematics.placed_cut import PlacedCut, placed_cuts
from kinematics.prepared import Prepared
from kinematics.report import CutReport
from kinematics.scene import Scene
from kinematics.verdict import Verdict

SAMPLES = Path(__file__).parents[3] / "sample_scenes"


def scene_of(name: str) -> Scene:
    return read_scene(SAMPLES / name / f"{name}.scene.yaml").scene


def checked(scene: Scene, name: tuple[str, str]) -> tuple[PlacedCut, CutReport]:
    cut = next(c for c in placed_cuts(Prepared(scene)) if (c.orientation.name, c.cut.name) == name)
    return cut, check_cut(cut.prepared, cut.orientation, cut.cut, cut.done)


def lengths(scene: Scene, name: tuple[str, str]) -> Lengths:
    return lengths_of(*checked(scene, name))


@pytest.mark.parametrize(
    ("name", "least", "pair"),
    [
        # the nut comes down to where its spare over the stock, 2.31 at 47, is the 1.31 that the cutter has
        (("V1", "profile"), 46.0, ("nut", "stock")),
        (("V6", "drain spot"), 9.96, ("nut", "grip waste")),  # the drawing of the sheet says 10.0
        (("V6", "drain drill"), 32.39, ("nut", "clamp screw R")),  # and 32.4
        (("V1", "pilot"), 26.0, None),  # the flute
    ],
)
def test_that_the_demos_tools_may_be_so_short(name: tuple[str, str], least: float, pair: tuple[str, str]) -> None:
    held = lengths(scene_of("sampler_block_b"), name).held
    assert held is not None
    assert held.least == pytest.approx(least, abs=0.011)
    assert held.limited_by == pair


@pytest.mark.parametrize("sample", ["sampler_block_b", "sampler_block_d", "clamp_block_inch", "lens_plate_vise"])
def test_that_a_cut_is_no_worse_in_the_range_and_worse_below_it(sample: str) -> None:
    scene = scene_of(sample)
    for orientation, cut in scene.cuts():
        name = (orientation.name, cut.name)
        placed, now = checked(scene, name)
        held = lengths_of(placed, now).held
        if held is None:
            continue
        for length in (held.least, (held.least + held.most) / 2, held.most):
            assert not is_worse(report_at(scene, name, length), now, by=SAME + 0.002), (name, length)
        if held.limit == "pair" and held.limited_by is not None:
            assert is_worse(report_at(scene, name, held.least - 0.03), now, by=0.0), name


def report_at(scene: Scene, name: tuple[str, str], length: float) -> CutReport:
    tool_id = next(c.tool for o, c in scene.cuts() if (o.name, c.name) == name)
    tools = tuple(replace(t, stick_out=length) if t.id == tool_id else t for t in scene.tools)
    return checked(replace(scene, tools=tools), name)[1]


def is_worse(then: CutReport, now: CutReport, *, by: float) -> bool:
    """Whether a cut that was clear no longer is, or one that was tight has less room by more than this."""
    if now.verdict is Verdict.CLEAR or then.verdict is not Verdict.TIGHT:
        return then.verdict.severity > now.verdict.severity
    assert then.worst is not None and now.worst is not None
    assert then.worst.spare is not None and now.worst.spare is not None
    return then.worst.spare - then.worst.keep_off < now.worst.spare - now.worst.keep_off - by


def test_that_a_cut_that_hits_has_no_such_range_but_says_where_it_is_clear() -> None:
    said = lengths(scene_of("sampler_block_a"), ("V6", "drain spot"))
    assert said.held is None
    assert said.clear_from == pytest.approx(27.2, abs=0.1)  # the scenario has 27.5 on a grid of 0.5
