"""`tightside reach` from its arguments to its exit status, its text and its JSON."""

from __future__ import annotations

import json
import math
import shlex
from pathlib import Path

import pytest

from app.cli.main import main
from tests.app.cli.checked_samples import sample_file
from tests.app.cli.small_scenes import write_scene
from tests.test_readme import ROOT, is_said, runs

DEMO = str(sample_file("sampler_block_b"))
SPOT = "V6/drain spot"


def said(capsys: pytest.CaptureFixture[str], *arguments: str, status: int) -> dict:
    assert main(["reach", *arguments, "--json"]) == status
    return json.loads(capsys.readouterr().out)


def test_that_the_spot_drill_leans_as_far_past_90_as_the_demo_says(capsys: pytest.CaptureFixture[str]) -> None:
    """The demo's inverse answers on a grid: clear up to 103.25, spare above 0 up to 110.5, touching at about 113.

    Low, the flute stops it. By hand: the tip is 2.6 cos 15 = 2.51 under the face; leaning by t it needs
    2.51 / cos t + 3 tan t of 4, which is 22.97 degrees off square: tilt 67.03.
    """
    (cut,) = said(capsys, DEMO, "--cut", SPOT, status=10)["cuts"]
    angle = cut["angle"]
    assert (angle["axis"], angle["now"], angle["limits"]) == ("tilt", 105.0, [-15.0, 115.0])
    assert angle["clear"]["highest"] == pytest.approx(103.25, abs=0.25)
    assert angle["cannot_hit"]["highest"] == pytest.approx(110.5, abs=0.25)
    assert angle["not_hits"]["highest"] == pytest.approx(113.0, abs=0.25)
    for level in ("clear", "cannot_hit", "not_hits"):
        stop = angle[level]["stops_high"]
        assert stop["by"] == "pair" and stop["between"][0] == "nut" and "clamp screw" in stop["between"][1]
    assert angle["clear"]["stops_low"]["by"] == "depth"
    t = math.radians(90.0 - angle["cannot_hit"]["lowest"])
    assert 2.6 * math.cos(math.radians(15.0)) / math.cos(t) + 3.0 * math.tan(t) == pytest.approx(4.0, abs=0.01)
    assert angle["ranges"][0]["from"] == -15.0 and angle["ranges"][-1]["to"] == 115.0


def test_that_the_cradle_stops_a_short_tool_past_90(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The demo: T4 in H16, 10 out: head to cradle casting 57.4 at tilt 90, 21.3 at 105, 10.3 at 110, -0.2 at 115.

    With the screws taken away the cradle is what stops it between 110 and 115.
    """
    text = sample_file("sampler_block_b").read_text(encoding="utf-8")
    assert text.count("stick_out: 18, holder: H11}") == 1
    text = text.replace("stick_out: 18, holder: H11}", "stick_out: 10, holder: H16}")
    lines = [line for line in text.splitlines() if "name: clamp screw" not in line and "name: stop pin" not in line]
    lines = [line.replace("box: [56, 64, 22]", "box: [30, 30, 22]") for line in lines]
    lines = [line.replace("box: [40, 34, 8.5]", "box: [30, 30, 8.5]") for line in lines]
    file = tmp_path / "short.scene.yaml"
    file.write_text("\n".join(lines), encoding="utf-8")
    (cut,) = said(capsys, str(file), "--cut", SPOT, status=0)["cuts"]
    high = cut["angle"]["not_hits"]
    assert high["stops_high"]["between"] == ["spindle head", "cradle casting"]
    assert 114.0 < high["highest"] < 115.0


def test_that_both_positions_of_the_table_are_told(capsys: pytest.CaptureFixture[str]) -> None:
    """By hand: (tilt, rotary) and (-tilt, rotary + 180) aim alike; the demo's tilt goes from -15 to 115."""
    (cut,) = said(capsys, DEMO, "--cut", SPOT, status=10)["cuts"]
    now, other = cut["positions"]
    assert now["now"] and now["angles"] == {"tilt": 105.0, "rotary": 0.0}
    assert (now["verdict"], now["between"][0]) == ("tight", "nut")
    assert now["spare"] == pytest.approx(1.55, abs=0.02)
    assert other["angles"]["tilt"] == -105.0 and other["angles"]["rotary"] % 360.0 == 180.0
    assert (other["now"], other["outside"], other["verdict"]) == (False, ["tilt"], "hits")
    assert other["why"] == "tilt = -105 deg is outside its travel -15..115 deg"


def test_that_another_direction_may_be_asked_for(capsys: pytest.CaptureFixture[str]) -> None:
    """By hand: straight out of the +Y face is tilt 90; ten degrees up from it, tilt 80; 10 above upright both ways."""
    (cut,) = said(capsys, DEMO, "--cut", SPOT, "--direction", "0,1,0", status=0)["cuts"]
    assert cut["positions"][0]["angles"] == {"tilt": 90.0, "rotary": 0.0}
    lean = math.radians(10.0)
    up = f"0,{math.sin(lean)},{math.cos(lean)}"
    (cut,) = said(capsys, DEMO, "--cut", "V1/pilot", "--direction", up, status=0)["cuts"]
    assert [p["outside"] for p in cut["positions"]] == [[], []]
    assert {round(p["angles"]["tilt"], 6) for p in cut["positions"]} == {10.0, -10.0}
    (cut,) = said(capsys, DEMO, "--cut", "V1/pilot", "--direction", "0 0 1", status=0)["cuts"]
    assert cut["positions"][0]["free"] == ["rotary"]


def test_that_an_endless_axis_has_no_limit_of_its_own(capsys: pytest.CaptureFixture[str]) -> None:
    (cut,) = said(capsys, DEMO, "--cut", "V5/bevel port", "--axis", "rotary", status=0)["cuts"]
    angle = cut["angle"]
    assert (angle["axis"], angle["limits"]) == ("rotary", None)
    stops = [angle["not_hits"][key]["by"] for key in ("stops_low", "stops_high")]
    assert "axis limit" not in stops


def test_that_a_machine_without_table_axes_has_one_position(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = str(write_scene(tmp_path, gap=3.0))
    (cut,) = said(capsys, file, status=0)["cuts"]
    assert cut["angle"] is None
    assert len(cut["positions"]) == 1
    assert list(cut) == ["orientation", "cut", "tool", "holder", "now", "positions", "angle"]
    assert main(["reach", file, "--cut", "top/hole", "--direction", "0,1,0"]) == 30
    assert "no position of the table aims the tool so" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--cut", "V6/drain spt"], "no cut 'V6/drain spt' in this scene; expected ORIENTATION/CUT; nearest: V6/drain"),
        (["--axis", "tlt"], "no table axis 'tlt' on this machine; nearest: tilt"),
        (["--direction", "0,1,0"], "--direction: belongs to one cut; expected --cut"),
        (["--cut", SPOT, "--direction", "0,0,0"], "'0,0,0' is no direction; expected x, y and z"),
        (["--cut", SPOT, "--direction", "up"], "'up' is no direction"),
    ],
)
def test_that_nonsense_is_a_fault_with_what_was_expected(
    arguments: list[str], words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["reach", DEMO, *arguments]) == 2
    heard = capsys.readouterr()
    assert heard.out == ""
    assert words in heard.err


def test_that_text_names_what_stops_either_way(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["reach", DEMO, "--cut", SPOT]) == 10
    text = capsys.readouterr().out
    assert "V6 drain spot, T4 in H11, now tilt 105, rotary 0" in text
    assert "cannot reach" in text and "flute too short" in text and "nut, clamp screw" in text
    assert max(len(line) for line in text.splitlines()) <= 100


def test_that_the_readme_shows_what_is_printed(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(ROOT)
    ((command, shown),) = [(c, lines) for c, lines in runs() if c.startswith(".venv/bin/tightside reach ")]
    assert main(shlex.split(command)[1:]) == 10
    printed = capsys.readouterr().out.rstrip("\n").split("\n")
    assert is_said(shown, printed), "the README should show:\n" + "\n".join(printed)
