"""`tightside map` from its arguments to its files, its text and its JSON."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest
from PIL import Image

from app.cli.main import main
from app.jobs.table_map_picture import FILLS, LEFT, TOP
from app.view3d.styles import PALETTES, Style
from kinematics.verdict import Verdict
from tests.app.cli.checked_samples import sample_file
from tests.app.cli.small_scenes import write_scene

DEMO = str(sample_file("sampler_block_b"))
SPOT = ("--cut", "V6/drain spot")


def test_that_the_demos_spot_is_mapped_as_its_inverse_answers_say(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The demo: at rotary 0 clear up to tilt 103.25, spare above 0 up to 110.5, touching at about 113; 1.55 at 105."""
    picture, values = tmp_path / "spot.png", tmp_path / "spot.csv"
    assert main(["map", DEMO, *SPOT, "--step", "1", "-o", str(picture), "--csv", str(values)]) == 0
    text = capsys.readouterr().out
    assert "V6 drain spot, T4 in H11, 47160 positions of the table" in text
    assert "Nearest to now: tilt 105, rotary 0: tight, spare 1.55 (nut, clamp screw" in text
    assert str(picture) in text and str(values) in text
    with values.open(encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    assert len(rows) == 131 * 360
    assert list(rows[0]) == ["tilt", "rotary", "verdict", "known", "spare", "part", "body", "why"]
    at = {(int(r["tilt"]), int(r["rotary"])): r for r in rows}
    assert [at[tilt, 0]["verdict"] for tilt in (90, 103, 104, 110, 111, 112, 114)] == [
        "clear", "clear", "tight", "tight", "can hit", "can hit", "hits",
    ]  # fmt: skip
    assert float(at[105, 0]["spare"]) == pytest.approx(1.55, abs=0.02)
    assert (at[90, 0]["known"], at[90, 0]["spare"]) == ("at least", "2.0000")
    assert (at[114, 0]["known"], at[114, 0]["spare"]) == ("contact", "")
    assert at[60, 0]["why"] == "flute too short"
    # left and right are alike in this set-up
    assert all(at[tilt, k]["verdict"] == at[tilt, -k]["verdict"] for tilt in range(30, 116, 5) for k in (5, 20, 60))


def test_that_the_picture_shows_verdicts_in_their_colours(tmp_path: Path) -> None:
    """The cell of an angle has the colour of its verdict; where the orientation stands there is a ring."""
    file = tmp_path / "spot.png"
    assert main(["map", DEMO, *SPOT, "-o", str(file)]) == 0
    with Image.open(file) as opened:
        image = opened.convert("RGB")
    per_degree = 1080 / 360

    def colour(tilt: float, rotary: float) -> str:
        x = LEFT + (rotary + 182.5) * per_degree
        y = TOP + (117.5 - tilt) * per_degree
        return "#{:02X}{:02X}{:02X}".format(*image.getpixel((round(x), round(y))))

    assert colour(90.0, 1.0) == FILLS[Verdict.CLEAR]
    assert colour(0.0, 100.0) == FILLS[Verdict.HITS]
    assert colour(90.0, 66.0) == FILLS[Verdict.CAN_HIT]
    # the ring about (105, 0) is ink on paper
    ring = [image.getpixel((round(LEFT + 182.5 * per_degree) + dx, round(TOP + 12.5 * per_degree))) for dx in (9, 10)]
    assert any(sum(pixel) < 150 for pixel in ring)


def test_that_its_colours_are_those_of_the_other_pictures() -> None:
    light = PALETTES[Style.LIGHT]
    assert {verdict: plate.fill for verdict, plate in light.verdicts.items()} == FILLS


def test_that_json_has_every_position(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["map", DEMO, *SPOT, "--step", "15", "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert list(data) == [
        "orientation", "cut", "tool", "holder", "now", "keep_off", "rows", "columns", "counts", "cells",
    ]  # fmt: skip
    assert data["rows"]["angles"] == [float(a) for a in range(-15, 116, 15)]
    assert data["columns"] == {"axis": "rotary", "angles": [float(a) for a in range(-180, 180, 15)]}
    assert len(data["cells"]) == 9 * 24 == sum(data["counts"].values())
    (now,) = (c for c in data["cells"] if c["angles"] == {"tilt": 105.0, "rotary": 0.0})
    assert list(now) == ["angles", "verdict", "known", "spare", "between", "why"]
    assert (now["verdict"], now["known"], now["why"]) == ("tight", "value", None)


def test_that_a_single_rotary_axis_makes_one_row(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "row.png"
    scene = str(sample_file("float_arm_rotary"))
    assert main(["map", scene, "--cut", "side/fork hole", "--step", "15", "-o", str(file)]) == 0
    assert "24 positions of the table" in capsys.readouterr().out
    with Image.open(file) as image:
        assert image.size[0] > 1000


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--cut", "V6/drain spt"], "no cut 'V6/drain spt' in this scene; expected ORIENTATION/CUT; nearest: V6/drain"),
        ([*SPOT, "--step", "0"], "--step 0: expected 0.5 to 45 degrees, as 5 or 1"),
        ([*SPOT, "--step", "nan"], "--step nan: expected 0.5 to 45 degrees"),
        ([*SPOT, "-o", "map.jpg"], "map.jpg: expected a file name that ends in .png"),
        ([*SPOT, "--csv", "map.txt"], "map.txt: expected a file name that ends in .csv"),
        ([*SPOT, "-o", "nowhere/map.png"], "nowhere/map.png: there is no folder"),
    ],
)
def test_that_nonsense_is_a_fault_with_what_was_expected(
    arguments: list[str], words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["map", DEMO, *arguments]) == 2
    heard = capsys.readouterr()
    assert heard.out == ""
    assert words in heard.err


def test_that_a_table_that_does_not_turn_has_no_map(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["map", str(write_scene(tmp_path, gap=3.0)), "--cut", "top/hole"]) == 2
    assert "this machine has no table axis to turn: there is nothing to map" in capsys.readouterr().err


def test_that_ctrl_c_writes_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from kinematics.answers.map_bodies import MapBodies

    def stopping(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(MapBodies, "fill", stopping)
    assert main(["map", DEMO, *SPOT, "-o", str(tmp_path / "map.png")]) == 130
    assert not (tmp_path / "map.png").exists()
    assert "nothing was written" in capsys.readouterr().err
