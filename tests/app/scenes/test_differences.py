"""What differs between two scene files, value by value; every expectation is read off the two texts."""

from __future__ import annotations

from pathlib import Path

import pytest

from app.scenes.differences import differences
from app.scenes.document import Document
from app.scenes.reader import read_scene

ROOT = Path(__file__).parents[3]
DEMO = (ROOT / "sample_scenes/sampler_block_b/sampler_block_b.scene.yaml").read_text(encoding="utf-8")


def of(before: str, after: str) -> list[tuple[str, str, str | None, str | None]]:
    found = differences(Document("a", before, "scene"), Document("b", after, "scene"))
    return [(d.path, str(d.kind), d.before, d.after) for d in found]


def replaced(old: str, new: str) -> str:
    assert DEMO.count(old) == 1, f"{old} stands once in the demo"
    return DEMO.replace(old, new)


@pytest.mark.parametrize(
    ("old", "new", "path", "before", "after"),
    [
        ("cylinder: {d: 60, h: 40}", "cylinder: {d: 60, h: 30}", "riser/h", "40", "30"),
        ("stick_out: 47, holder: H16", "stick_out: 47, holder: H11", "T1/holder", "H16", "H11"),
        ("at: [-22, 0, 0]", "at: [-22, 1.5, 0]", "stop pin/at/y", "0", "1.5"),
        ("neck: {d: 9.7, to: 60}", "neck: {d: 9.7, to: 55}", "T1/neck/to", "60", "55"),
        ("tilt: 110", "tilt: 70", "V7/tilt", "110", "70"),
        ("{at: [0, 15, -32], depth: 14}", "{at: [0, 15, -32], depth: 13}", "V6/drain drill/depth", "14", "13"),
        ("  location: 0.15  ", "  location: 0.20  ", "setup_errors/location", "0.15", "0.20"),
        ("[[14, 12], [20, 25],", "[[14, 12], [21, 25],", "HS6/profile/2/1", "20", "21"),
        ("{name: part, box: [36, 30, 41.5]", "{name: part, box: [36, 30, 41.6]", "part/3", "41.5", "41.6"),
        ("after: [V1/profile]", "after: [V1/pilot]", "workpiece/profiled/after/1", "V1/profile", "V1/pilot"),
    ],
)
def test_that_one_changed_value_is_told_by_its_path_and_nothing_else(
    old: str, new: str, path: str, before: str, after: str
) -> None:
    assert of(DEMO, replaced(old, new)) == [(path, "value", before, after)]


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("keep_off: {cut: 2.0,", "keep_off: {cut: 2.00,"),
        ("retract: 60  ", "retract: 60.0  "),
        ("# Demo data:", "# data of the demo:"),
        ('title: "Sampler block, op 2, set-up B"', "title: 'Sampler block, op 2, set-up B'"),
        ("  - name: V1\n    tilt: 0\n", "  - name: V1\n\n    tilt: 0   # level\n"),
    ],
)
def test_that_layout_comments_and_digits_are_no_difference(old: str, new: str) -> None:
    assert replaced(old, new) != DEMO
    assert of(DEMO, replaced(old, new)) == []


def test_that_a_tool_that_is_gone_is_told_once_as_a_whole() -> None:
    line = next(line for line in DEMO.splitlines(keepends=True) if "id: T3" in line)
    gone = "{id: T3, kind: end mill, d: 3, flute: 6, shank: 6, overall: 57, stick_out: 16, holder: H11m}"
    assert of(DEMO, DEMO.replace(line, "")) == [("T3", "gone", gone, None)]
    assert of(DEMO.replace(line, ""), DEMO) == [("T3", "new", None, gone)]


def test_that_an_orientation_takes_its_cuts_with_it_without_telling_each() -> None:
    start, end = DEMO.index("  - name: V3"), DEMO.index("  - name: V4")
    (only,) = of(DEMO, DEMO[:start] + DEMO[end:])
    assert only[:2] == ("V3", "gone")


def test_that_another_order_of_orientations_is_a_difference() -> None:
    a, b, c = DEMO.index("  - name: V3"), DEMO.index("  - name: V4"), DEMO.index("  - name: V5")
    swapped = DEMO[:a] + DEMO[b:c] + DEMO[a:b] + DEMO[c:]
    expected = ("orientations", "order", "V1, V2, V3, V4, V5, V6, V7", "V1, V2, V4, V3, V5, V6, V7")
    assert of(DEMO, swapped) == [expected]


def test_that_a_body_with_another_shape_is_told_as_one_thing() -> None:
    changed = DEMO.replace("rides_on: dovetail body, cylinder: {d: 4, h: 5}", "rides_on: dovetail body, box: [4, 4, 5]")
    told = of(DEMO, changed)
    assert told == [("stop pin", "value", "cylinder: {d: 4, h: 5}", "box: [4, 4, 5]")]


def test_that_a_body_that_left_its_group_was_moved() -> None:
    line = next(line for line in DEMO.splitlines(keepends=True) if "name: stop pin" in line)
    told = of(DEMO, DEMO.replace(line, "").replace("\nholders:", f"{line[4:]}\nholders:"))
    assert ("stop pin", "moved", "dovetail fixture/bodies", "bodies") in told


def test_that_a_value_that_is_given_now_is_new() -> None:
    assert of(DEMO, replaced("stick_out: 18, holder: H11", "stick_out: 18, stick_out_measured: true, holder: H11")) == [
        ("T4/stick_out_measured", "new", None, "true")
    ]
    assert of(DEMO, replaced("overall: 66, ", "")) == [("T4/overall", "gone", "66", None)]


MM = """\
format: 1
units: mm
tools:
  - {id: T1, d: 25.4, point_deg: 118, stick_out: 50.8}
orientations:
  - {name: V1, tilt: 90}
"""
INCH = MM.replace("units: mm", "units: inch").replace("25.4", "1").replace("50.8", "2")


def test_that_a_file_in_inches_that_says_the_same_differs_in_its_units_only() -> None:
    assert of(MM, INCH) == [("units", "value", "mm", "inch")]


def test_that_the_same_digits_in_another_unit_are_another_length_but_the_same_angle() -> None:
    told = of(MM, MM.replace("units: mm", "units: inch"))
    assert [path for path, *_ in told] == ["units", "T1/d", "T1/stick_out"]


def test_that_values_of_an_inch_file_are_handed_out_in_mm() -> None:
    (d,) = differences(
        Document("a", INCH, "scene"), Document("b", INCH.replace("stick_out: 2", "stick_out: 3"), "scene")
    )
    assert (d.before, d.after, d.before_value, d.after_value) == ("2", "3", 50.8, 76.2)


@pytest.mark.parametrize(("name", "units"), [("sampler_block_b", "mm"), ("clamp_block_inch", "inch")])
def test_that_a_scene_says_in_which_units_it_is_written(name: str, units: str) -> None:
    assert read_scene(ROOT / "sample_scenes" / name / f"{name}.scene.yaml").units == units
