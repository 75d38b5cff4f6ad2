"""`tightside sheet`: what the PDF says against what `check --json`, `offsets` and `swing` say of the same set-up."""

from __future__ import annotations

import json
import math
import re
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from app.cli.exit_status import ExitStatus
from app.cli.main import main
from app.jobs.sheet.blocks import Pictures
from app.jobs.sheet.facts import Facts, facts_of, gather
from app.jobs.sheet.lengths import Lengths, Units
from app.jobs.sheet.made import sheet_content
from app.jobs.sheet.pages import Paper, sheet_pdf
from app.scenes.reader import read_scene
from kinematics.prepared import Prepared
from tests.app.cli.checked_samples import SAMPLES, json_of, sample_file
from tests.app.jobs.sheet_reading import faults, read_pages, text_of
from tests.benchmarks.sheets import large_scene

Json = dict[str, Any]
SLACK = 1e-4  # mm; JSON has four decimals, proven ones rounded down
ROUNDING = 2e-6  # mm; what a bound is taken down by before it is called proven, twice
MM_PER_INCH = 25.4
QUICK = ("sampler_block_b", "latch_pair", "float_arm_rotary")
each_sample = pytest.mark.parametrize(
    "name", [pytest.param(name, marks=() if name in QUICK else pytest.mark.slow) for name in SAMPLES]
)
VERDICTS = {"hits": 30, "can hit": 20, "not checked": 40, "tight": 10, "clear": 0}


@cache
def checked(name: str) -> Json:
    return json.loads(json_of(name))


@cache
def facts_of_scene(scene: Path) -> tuple[Prepared, Facts]:
    scene_file = read_scene(scene)
    prepared = Prepared(scene_file.scene)
    return prepared, facts_of(scene_file, [*gather(scene_file, prepared)])


@cache
def data_of(scene: Path, units: Units = "mm", paper: Paper = "a4") -> bytes:
    """A sheet without pictures, as the command makes it."""
    prepared, facts = facts_of_scene(scene)
    content = sheet_content(facts, prepared, Lengths(units), date="2 Jan 2030")
    return sheet_pdf(content, Pictures(why="none was asked for"), paper=paper)


@cache
def sheet(scene: Path, units: Units = "mm") -> str:
    return text_of(data_of(scene, units))


def is_safe_gap(shown: float, at_least: float, step: float = 0.1) -> bool:
    """Whether a gap on paper is no more than is proven, and no more than a step less."""
    return at_least - step - SLACK < shown <= at_least + SLACK + ROUNDING


def is_safe_limit(shown: float, value: float, step: float = 0.1) -> bool:
    return value - SLACK - ROUNDING <= shown < value + step + SLACK


def worst_by_orientation(report: Json) -> dict[str, Json]:
    """The cut that is told of each orientation: the worst verdict, then the least spare over its keep-off."""
    found: dict[str, Json] = {}
    for cut in report["cuts"]:
        best = found.get(cut["orientation"])
        if best is None or rank(cut) < rank(best):
            found[cut["orientation"]] = cut
    return found


def rank(cut: Json) -> tuple[int, float]:
    order = ["hits", "can hit", "not checked", "tight", "clear"]
    room = -math.inf if cut["spare"] is None else cut["spare"] - cut["keep_off"]
    return order.index(cut["verdict"]), room


@each_sample
def test_that_every_gap_of_the_order_is_the_proven_one_rounded_down(name: str) -> None:
    text = sheet(sample_file(name))
    report = checked(name)
    order = text[text.index("ORDER") :]
    at = 0
    for offset_name, cut in worst_by_orientation(report).items():
        control = next(o["angles_control"] for o in report["work_offsets"] if o["orientation"] == offset_name)
        angles = " ".join(f"{letter} {angle:.3f}".rstrip("0").rstrip(".") for letter, angle in control.items())
        row = re.compile(rf"{re.escape(offset_name)} {re.escape(angles)} ?.*?(overlap )?(\d+\.\d)(?= )")
        found = row.search(order, at)
        assert found is not None, f"{offset_name} {angles} in {order[at : at + 200]}"
        at = found.start() + 1
        shown = float(found[2])
        if found[1]:
            assert is_safe_limit(shown, -cut["clearance"]["value"])
        else:
            assert is_safe_gap(shown, cut["clearance"]["at_least"]), (offset_name, shown, cut["clearance"])


@each_sample
def test_that_the_watched_places_are_those_that_are_tight_and_stop_is_what_errors_use(name: str) -> None:
    text = sheet(sample_file(name))
    report = checked(name)
    if report["verdict"] not in ("tight", "clear"):
        assert "STOP under" not in text
        return
    tight = sorted((c for c in report["cuts"] if c["verdict"] == "tight"), key=rank)[:3]
    places = re.findall(
        r"gap (\d+\.\d) mm STOP under (\d+\.\d) mm (?:(\d\.\d) mm pin must pass|no half-millimetre)", text
    )
    assert len(places) == len(tight)
    in_order = [c for c in report["cuts"] if c in tight]
    for (gap, stop, pin), cut in zip(places, in_order, strict=True):
        assert is_safe_gap(float(gap), cut["clearance"]["at_least"])
        assert is_safe_limit(float(stop), cut["clearance"]["at_least"] - cut["spare"])
        if pin:
            assert float(stop) < float(pin) < float(gap)
            assert float(pin) + 0.5 >= float(gap)
        assert f"{cut['orientation']} {cut['cut']}" in text


@each_sample
def test_that_part_zeros_are_those_of_the_check(name: str) -> None:
    text = sheet(sample_file(name))
    report = checked(name)
    offsets = report["work_offsets"]
    place = "control" if offsets[0]["control"] else "w"
    is_once = "SET ONCE" in text
    for i, offset in enumerate(offsets):
        x, y, z = (f"{v:.2f}" for v in offset[place])
        if not is_once:
            assert f"X {x} Y {y} Z {z}" in text, offset
        elif i > 0:  # what differs from the first is there
            for axis, v, first in zip("XYZ", offset[place], offsets[0][place], strict=True):
                if abs(v - first) > 0.005:
                    assert f"{axis} {v:.2f}" in text, offset
    if is_once:
        x, y, z = (f"{v:.2f}" for v in offsets[0][place])
        assert f"X {x} Y {y} Z {z}" in text


@each_sample
def test_that_the_word_is_the_verdict_and_only_what_may_run_says_what_to_set(name: str) -> None:
    text = sheet(sample_file(name))
    verdict = checked(name)["verdict"]
    action = {"clear": "run", "tight": "run, with the watch list", "not checked": "LOOK FIRST"}.get(
        verdict, "DO NOT RUN"
    )
    assert f"{verdict.upper()}: {action}" in text
    assert (" SET NOT UNDER " in text) == (verdict in ("clear", "tight", "not checked"))
    assert checked(name)["input_sha256"][:4] in text


@each_sample
def test_that_no_text_of_a_sample_sheet_leaves_its_place(name: str) -> None:
    for units, paper in (("mm", "a4"), ("both", "letter"), ("inch", "letter")):
        assert not [f for page in read_pages(data_of(sample_file(name), units, paper)) for f in faults(page)]


@pytest.mark.parametrize("name", ["sampler_block_a", "sampler_block_c", "latch_pair"])
def test_that_the_exit_status_is_the_verdict(name: str, tmp_path: Path) -> None:
    out = tmp_path / "sheet.pdf"
    arguments = ["sheet", str(sample_file(name)), "-o", str(out), "--date", "2 Jan 2030", "--no-pictures"]
    assert main(arguments) == VERDICTS[checked(name)["verdict"]]
    assert out.read_bytes() == data_of(sample_file(name))


def test_that_the_demo_says_what_its_drawing_says() -> None:
    """The numbers of the drawing that the sheet was designed by."""
    text = sheet(sample_file("sampler_block_b"))
    for row in (
        "T5 drill 5 H16 16 mm collet, full-size nut 34.0 26.0 94.0 ________ 6.8",
        "T1 end mill 10 H16 16 mm collet, full-size nut 47.0 46.0 107.0 ________ 4.7",
        "T2 end mill 6 H11 11 mm collet, standard nut 20.0 13.0 88.0 ________ 3.3",
        "T6 drill 4.2 H11 11 mm collet, standard nut 34.0 32.4 102.0 ________ 8.1",
        "T4 spot drill 6 H11 11 mm collet, standard nut 18.0 10.0 86.0 ________ 3.0",
        "longer does not help",
        "T2 or T4 in H16 (16 mm collet, full-size nut): HITS.",
        "Not used here: T3, T7.",
        "SET ONCE at A 0 C 0 X 140.00 Y 0.00 Z -219.00",
        "Y -99.00 Z -318.00",
        "Y -70.00 Z -248.00",
        "Y -95.63 Z -343.62",
        "Y -93.03 Z -351.86",
        "gap 2.5 mm STOP under 1.2 mm 2.0 mm pin must pass",
        "gap 2.2 mm STOP under 0.7 mm 2.0 mm pin must pass",
        "at full depth, at the back",
        "nut to clamp screws L and R 3.8",
        "NOT CHECKED nothing NOT MODELLED door, enclosure, nozzles, tool changer, hoses",
        "page 1/1",
    ):
        assert row in text, row
    assert text.count("HIDDEN from the door") == 2


def test_that_the_least_lift_is_that_of_the_swings_rounded_up(capsys: pytest.CaptureFixture[str]) -> None:
    text = sheet(sample_file("sampler_block_b"))
    capsys.readouterr()
    main(["swing", str(sample_file("sampler_block_b")), "--json"])
    swings = json.loads(capsys.readouterr().out)
    least = max(s["least_lift_gauge_z"] for s in swings)
    found = re.search(r"Least that is clear: (\d+\.\d) mm over the table \(V1 to V2", text)
    assert found is not None
    assert is_safe_limit(float(found[1]), least)


def test_that_inch_numbers_are_rounded_to_the_safe_side_by_themselves() -> None:
    text = sheet(sample_file("clamp_block_inch"), "inch")
    (cut,) = (c for c in checked("clamp_block_inch")["cuts"] if c["verdict"] == "tight")
    found = re.search(r"gap (0\.\d{3}) inch STOP under (0\.\d{3}) inch", text)
    assert found is not None
    assert is_safe_gap(float(found[1]) * MM_PER_INCH, cut["clearance"]["at_least"], 0.0254)
    assert is_safe_limit(float(found[2]) * MM_PER_INCH, cut["clearance"]["at_least"] - cut["spare"], 0.0254)
    assert " mm" not in text.replace("mm (", "")


# --- states of a set-up -------------------------------------------------------------------------


def changed(folder: Path, name: str, *swaps: tuple[str, str]) -> Path:
    """The demo with some of its text changed."""
    text = sample_file("sampler_block_b").read_text(encoding="utf-8")
    for old, new in swaps:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    file = folder / f"{name}.scene.yaml"
    file.write_text(text, encoding="utf-8")
    return file


RAW = "    raw:\n      - {name: stock, box: [40, 34, 52], at: [0, 0, -52]}\n"
RAW_LATE = (
    "    raw:\n      after: [V7/low side port]\n      bodies: [{name: stock, box: [40, 34, 52], at: [0, 0, -52]}]\n"
)
LATE = ("      after: [V1/profile] ", "      after: [V7/low side port] ")


def test_that_a_set_up_in_which_nothing_was_checked_says_look_first(tmp_path: Path) -> None:
    text = sheet(changed(tmp_path, "nothing", (RAW, RAW_LATE), LATE))
    assert "NOT CHECKED: LOOK FIRST" in text
    assert "Not checked: V1/pilot: " in text
    assert "NOT CHECKED: 9" in text
    assert "SET NOT UNDER" in text
    assert text.count(" ? ") >= 5  # what nobody can say is not to be gone under


def test_that_a_set_up_with_one_thing_not_checked_watches_what_is_tight_and_says_look_first(tmp_path: Path) -> None:
    text = sheet(changed(tmp_path, "one", LATE))
    assert "LOOK FIRST" in text
    assert "V1 profile, T1 in H16" in text
    assert "gap 2.5 mm STOP under 1.2 mm" in text


def test_that_a_clear_set_up_has_no_watch_list_but_the_three_nearest() -> None:
    text = sheet(sample_file("sampler_block_c"))
    assert "WATCH HERE" not in text
    assert "NEAREST, three of all cuts V1 profile, T1: nut to stock 3.5; " in text.replace(" ,", ",")
    line = text[text.index("three of all cuts") :].split("NOT CHECKED")[0]
    assert line.count(";") == 2


def test_that_a_set_up_that_hits_says_by_how_much_and_not_what_to_set() -> None:
    text = sheet(sample_file("sampler_block_a"))
    assert "V6 drain spot: nut of T4 and clamp screws L and R overlap by 2.3 mm" in text
    assert "overlap 2.3 mm" in text
    assert "HITS; would be clear from 27.3 mm out" in text  # the scenario has 27.5 on a grid of 0.5
    assert "not released" in text


def test_that_a_machine_that_does_not_say_who_carries_the_offset_makes_the_sheet_ask(tmp_path: Path) -> None:
    machine = (sample_file("sampler_block_b").parents[2] / "shared/machines/compact_ac.machine.yaml").read_text("utf-8")
    start = machine.index("control:")
    end = machine.index("spindle:")
    (tmp_path / "silent.machine.yaml").write_text(machine[:start] + machine[end:], encoding="utf-8")
    text = sheet(changed(tmp_path, "asks", ("machine: compact_ac ", "machine: silent.machine.yaml ")))
    assert "ONCE OR EACH?" in text
    assert "from the centre of the table" in text
    assert "V1 A 0 C 0: X 70.00 Y 0.00 Z 211.00" in text  # as the drawing's rules have it


def test_that_a_key_that_does_not_fit_is_said(tmp_path: Path) -> None:
    screw = "clamp screw R, rides_on: dovetail body, screw: {standard: ISO 4762, size: M6, plain_head: true"
    keyed = (screw, f"{screw}, key: {{d: 25, h: 60}}, torque: 9 Nm")
    text = sheet(changed(tmp_path, "keyed", keyed))
    assert "key 25.0 over clamp screw R: DOES NOT FIT, stock (raw) is in the way" in text
    assert "clamp screw R: M6 ISO 4762, torque 9 Nm" in text


@pytest.mark.slow
def test_that_60_tools_at_40_orientations_are_all_on_the_sheet(tmp_path: Path) -> None:
    data = data_of(large_scene(tmp_path, 60, 40))
    pages = read_pages(data)
    assert len(pages) <= 4
    assert not [fault for page in pages for fault in faults(page)]
    text = text_of(data)
    for i in range(1, 61):
        assert re.search(rf"\bT{i} drill [3-7] H1[16] ", text), f"T{i}"
    for i in range(40):
        assert f" V{i + 1} A {2 * i} C {9 * i} " in text, f"V{i + 1}"
    for line in re.findall(r"flute too short[^;.]*", text):
        assert not re.search(r"short \d", line)  # the gap is not the matter


# --- the command --------------------------------------------------------------------------------


@pytest.mark.slow
def test_that_the_same_inputs_and_date_give_the_same_bytes_with_pictures(tmp_path: Path) -> None:
    made = []
    for name in ("one.pdf", "two.pdf"):
        main(["sheet", str(sample_file("sampler_block_b")), "-o", str(tmp_path / name), "--date", "2 Jan 2030 10:42"])
        made.append((tmp_path / name).read_bytes())
    assert made[0] == made[1]
    (page,) = read_pages(made[0])
    assert len(page.pictures) == 5  # the set-up, and two of each watched place
    assert not [*faults(page)]
    for label in ("clamp screw L", "clamp screw R", "stop pin", "TO YOU"):
        assert label in page.text
    assert re.search(r"HIDDEN from the door: look from the \w+", page.text)


def test_that_where_no_picture_can_be_drawn_the_sheet_is_made_and_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("app.view3d.pictures.DRAWING", ("-c", "import sys; sys.exit('no OpenGL')"))
    out = tmp_path / "sheet.pdf"
    status = main(["sheet", str(sample_file("sampler_block_b")), "-o", str(out)])
    assert status == ExitStatus.TIGHT
    text = text_of(out.read_bytes())
    assert "No picture of the set-up: no picture can be drawn here" in text
    assert text.count("No picture: no picture can be drawn here") == 2
    assert "no OpenGL" in capsys.readouterr().out


def test_that_the_command_says_what_the_sheet_says(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "sheet.pdf"
    main(["sheet", str(sample_file("sampler_block_b")), "-o", str(out), "--no-pictures"])
    said = " ".join(capsys.readouterr().out.split())
    assert said.startswith("TIGHT: run, with the watch list. Two tight places of 9 cuts: V1 profile and V6 drain spot.")
    assert str(out) in said.replace(" ", "")


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["-o", "sheet.txt"], "expected a file name that ends in .pdf"),
        (["-o", "nowhere/sheet.pdf", "--no-pictures"], "cannot be written"),
        (["-o", "sheet.pdf", "--date", "two\nlines"], "expected one line"),
    ],
)
def test_that_a_wrong_command_is_refused(
    arguments: list[str], said: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["sheet", str(sample_file("sampler_block_c")), *arguments]) == ExitStatus.FAULT
    assert said in capsys.readouterr().err
