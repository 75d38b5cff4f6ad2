"""Every sample set-up through the command line, against numbers that the program did not compute.

Each folder of `sample_scenes` holds an `expected.json`: the verdict and exit status of the whole set-up, the verdict
of its cuts alone, and for every cut clearance, spare and pair of the least spare. The file says where its numbers come
from; the lines under `by_hand` there are recomputed below.
"""

from __future__ import annotations

import json
import math
import re
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from app.cli.main import main
from app.scenes.catalogues import LIBRARY_VARIABLE
from kinematics.verdict import Verdict, worst

SAMPLES = Path(__file__).parent.parent / "sample_scenes"
NAMES = tuple(sorted(file.parent.name for file in SAMPLES.glob("*/*.scene.yaml")))
EXIT_STATUS = {"clear": 0, "tight": 10, "can hit": 20, "hits": 30, "not checked": 40}
TILT = math.tan(math.radians(0.02))
DIGITS = 0.005  # mm; the expected numbers are written with two decimals

_ran: dict[str, tuple[int, dict[str, Any]]] = {}


@pytest.fixture(autouse=True)
def no_own_library(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """What the person who runs the tests keeps in a library must not change them."""
    monkeypatch.setenv(LIBRARY_VARIABLE, str(tmp_path / "library"))


@cache
def expected(name: str) -> dict[str, Any]:
    return json.loads((SAMPLES / name / "expected.json").read_text(encoding="utf-8"))


def run(name: str, capsys: pytest.CaptureFixture[str]) -> tuple[int, dict[str, Any]]:
    """Exit status and JSON of `tightside check SCENE --json`; every sample runs once."""
    if name not in _ran:
        status = main(["check", str(SAMPLES / name / expected(name)["scene"]), "--json"])
        _ran[name] = (int(status), json.loads(capsys.readouterr().out))
    return _ran[name]


def cuts_of(report: dict[str, Any]) -> dict[tuple[str, str], dict[str, Any]]:
    return {(cut["orientation"], cut["cut"]): cut for cut in report["cuts"]}


def test_that_every_sample_has_an_expectation_and_a_line_in_the_readme():
    readme = (SAMPLES / "README.md").read_text(encoding="utf-8")
    listed = dict(re.findall(r"^\| `(\w+)` \|.*\| ([a-z ]+) \| \d+ \|$", readme, re.MULTILINE))
    assert tuple(sorted(listed)) == NAMES
    assert {name: expected(name)["overall"]["verdict"] for name in NAMES} == listed


@pytest.mark.parametrize("name", NAMES)
def test_that_an_expectation_is_of_one_piece(name: str):
    """The verdict of the cuts is the worst of them; the whole is no better; the exit status is the verdict's."""
    told = expected(name)
    verdicts = [Verdict(cut["verdict"]) for cut in told["cuts"]]
    assert told["cuts_verdict"] == worst(verdicts)
    assert Verdict(told["overall"]["verdict"]).severity >= worst(verdicts).severity
    assert told["overall"]["exit_status"] == EXIT_STATUS[told["overall"]["verdict"]]


@pytest.mark.parametrize("name", NAMES)
def test_that_every_cut_has_its_verdict_its_numbers_and_its_pairs(name: str, capsys: pytest.CaptureFixture[str]):
    _, report = run(name, capsys)
    told = expected(name)
    cuts = cuts_of(report)
    assert list(cuts) == [(cut["orientation"], cut["cut"]) for cut in told["cuts"]]
    within = told["tolerance"] + DIGITS
    for cut in told["cuts"]:
        found = cuts[cut["orientation"], cut["cut"]]
        where = f"{cut['orientation']} {cut['cut']}"
        assert found["verdict"] == cut["verdict"], where
        assert found["clearance"]["value"] == pytest.approx(cut["clearance"], abs=within), where
        assert found["clearance"]["at_least"] == pytest.approx(cut["clearance"], abs=within), where
        assert found["spare"] == pytest.approx(cut["spare"], abs=within), where
        pairs, wanted = [found["between"], *found["ties"]], [cut["between"], *cut["ties"]]
        assert sorted(pairs) == sorted(wanted), where
        if name.startswith("sampler_block"):
            assert pairs == wanted, f"{where}: the scene's order among ties"
        assert found["depth"]["verdict"] == found["travel"]["verdict"] == "clear", where


@pytest.mark.parametrize("name", NAMES)
def test_that_a_sample_ends_with_its_verdict_and_exit_status(name: str, capsys: pytest.CaptureFixture[str]):
    """A check that leaves swings or links out as a whole must say "not checked" where it would say clear or tight."""
    status, report = run(name, capsys)
    verdict = expected(name)["overall"]["verdict"]
    left_out = {entry["what"] for entry in report["not_checked"]} & {"swings", "links"}
    if left_out and verdict in ("clear", "tight"):
        verdict = "not checked"
    assert (report["verdict"], status) == (verdict, EXIT_STATUS[verdict])


BY_HAND = [
    # name, orientation, cut, clearance in closed form; the reasons stand under `by_hand` in the expectation
    ("sampler_block_a", "V1", "profile", (40 + 22 + 52 - 43.5) - (40 + 22 + 6)),
    ("sampler_block_a", "V3", "+X pocket", math.hypot(4, 7)),
    ("sampler_block_b", "V1", "profile", 70.5 - 68),
    ("sampler_block_c", "V1", "profile", 70.5 + 47 - (40 + 22 + 52)),
    ("sampler_block_d", "V2", "+Y pocket", 52 - 33 - 9.5),
    ("lamp_bracket", "V1", "outline", (14 + 26 + 69 - 44) - (14 + 26 + 22)),
    ("lamp_bracket", "V1", "cable well", 43 - 34),
    (
        "lamp_bracket",
        "V7",
        "drip edge",
        (
            (-39 - 6 * math.cos(math.radians(20)))
            - (26 - (24.18 - 6 * math.sin(math.radians(20)))) * math.tan(math.radians(20))
            + 47
        )
        * math.cos(math.radians(20)),
    ),
    ("gauge_cap_bc", "top", "centre drill hole", 48 - 30),
    ("gauge_cap_bc", "outlet 1", "bore 1", 62 - 31 - 14),
    ("hinge_block_inclined", "front", "front pocket", (-15 - 7) - (-42 + 10 + 4)),
    ("hinge_block_inclined", "upright", "hinge slot", -12 - (-42 + 10 + 1.8 + 6)),
    ("clamp_block_inch", "back", "back pocket", 25.4 * (-1.2 + 1.75 - 0.3) - 5),
    ("clamp_block_inch", "top", "clamp slot", 25.4 * (1.0 - 0.7)),
    ("clamp_block_inch", "side", "screw hole", 25.4 * (2.2 - 1.6)),
    ("latch_pair", "inner edge", "right inner bevel", -3.4 + 32 * 0.5 - 14 * math.sin(math.radians(60))),
    ("latch_pair", "left side", "left bolt hole", math.hypot(34 - 16 - 14, 74 - 65)),
    ("float_arm_rotary", "top", "cross hole", 16 - 30 + 66 - 50),
    ("float_arm_rotary", "side", "fork hole", 66 - 34),
    ("float_arm_rotary", "below", "end slot", 7 - 8 / 2),
    ("lens_plate_vise", "vise", "outline", -28 - (38 - 68)),
    ("lens_plate_vise", "vise", "rail", 32 - 26 - 6 / 2),
    ("lens_plate_vise", "vise", "lens pocket", 11 - 6),
]


@pytest.mark.parametrize(("name", "orientation", "cut", "clearance"), BY_HAND)
def test_that_a_clearance_is_what_it_is_by_hand(
    name: str, orientation: str, cut: str, clearance: float, capsys: pytest.CaptureFixture[str]
):
    found = cuts_of(run(name, capsys)[1])[orientation, cut]
    assert found["clearance"]["at_least"] - 1e-4 <= clearance <= found["clearance"]["value"] + 1e-4
    assert found["clearance"]["value"] == pytest.approx(clearance, abs=0.01)


def test_that_every_sample_has_a_clearance_by_hand():
    assert {name for name, *_ in BY_HAND} == set(NAMES)
    assert all(expected(name)["by_hand"] for name in NAMES)


def test_that_spares_are_what_they_are_by_hand(capsys: pytest.CaptureFixture[str]):
    """Clearance less stick-out along the tool axis, location, body model, diameters, and the arm times the tilt."""
    demo = cuts_of(run("sampler_block_b", capsys)[1])["V1", "profile"]
    assert demo["spare"] == pytest.approx(2.5 - 0.5 - 0.15 - 0.3 - 0.2 - 101.5 * TILT, abs=0.01)
    latch = cuts_of(run("latch_pair", capsys)[1])["inner edge", "right inner bevel"]
    # the left half's corner that is farthest from the swivel axis, which lies 40 under the platter
    arm = math.hypot(36 + 20, 40 + 40 + 20 + 34 - 80)
    assert latch["spare"] == pytest.approx(0.476 - 0.25 - 0.15 - 0.3 - 0.2 - arm * TILT, abs=0.02)
    vise = cuts_of(run("lens_plate_vise", capsys)[1])["vise", "outline"]
    assert vise["spare"] == pytest.approx(2 - 0.5 - 0.15 - 0.3 - 0.2, abs=0.01)


def test_that_the_lamp_bracket_is_cut_past_level_twice(capsys: pytest.CaptureFixture[str]):
    _, report = run("lamp_bracket", capsys)
    past = [(cut["orientation"], cut["cut"]) for cut in report["cuts"] if cut["angles"]["tilt"] > 90]
    assert past == [("V6", "weep spot"), ("V6", "weep drill"), ("V7", "drip edge")]


def test_that_no_step_file_tells_who_made_it():
    for file in SAMPLES.rglob("*.step"):
        header = file.read_text(encoding="ascii").split("DATA;", 1)[0]
        name = re.search(r"FILE_NAME\((.*?)\);", header, re.DOTALL)
        assert name is not None
        assert name[1] == f"'{file.name}','2024-01-01T00:00:00',(''),(''),'','',''"
        assert file.stat().st_size < 400_000
