"""Things put in, taken out and renamed: the scene still reads, and what was not spoken of is unchanged."""

from __future__ import annotations

import difflib
from pathlib import Path

import pytest

from app.scenes.edits import EditError, remove_entry
from app.scenes.reader import read_scene_text
from app.scenes.things import (
    body_put,
    cut_put,
    free_name,
    orientation_put,
    removed,
    renamed,
    riders_of,
    tool_put,
)

PATH = Path(__file__).parents[3] / "sample_scenes" / "sampler_block_b" / "sampler_block_b.scene.yaml"
TEXT = PATH.read_text(encoding="utf-8")
INCH = PATH.parents[1] / "clamp_block_inch" / "clamp_block_inch.scene.yaml"


def reads(text: str):
    """The scene of a text, which must have no fault."""
    return read_scene_text(text, PATH).scene


def changed_lines(before: str, after: str) -> list[str]:
    return [line for line in difflib.ndiff(before.splitlines(), after.splitlines()) if line[:1] in "+-"]


@pytest.mark.parametrize("kind", ["box", "cylinder", "screw", "pin"])
@pytest.mark.parametrize("on", ["platter", "dovetail body", "riser"])
def test_that_a_new_body_stands_where_it_was_put(kind, on):
    put = body_put(TEXT, kind, on=on)
    body = next(b for b in reads(put.text).bodies if b.name == put.path)
    assert body.placement.rides_on == on
    assert all(line.startswith("+") for line in changed_lines(TEXT, put.text))
    assert remove_entry(put.text, put.path) == TEXT


def test_that_a_second_body_of_a_kind_gets_another_name():
    once = body_put(TEXT, "screw", on="platter")
    twice = body_put(once.text, "screw", on="platter")
    assert (once.path, twice.path) == ("screw", "screw 2")
    assert free_name(twice.text, "screw") == "screw 3"
    assert free_name(TEXT, "cutter") == "cutter 2"  # reserved
    reads(twice.text)


def test_that_a_new_body_of_an_inch_file_is_in_inches():
    text = INCH.read_text(encoding="utf-8")
    put = body_put(text, "cylinder", on="table")
    shape = next(b for b in read_scene_text(put.text, INCH).scene.bodies if b.name == put.path).shape
    assert "d: 0.787" in put.text
    assert shape is not None


def test_that_a_tool_an_orientation_and_a_cut_can_be_added():
    text = tool_put(
        TEXT, {"id": "T8", "kind": "drill", "d": 3.0, "flute": 20, "point_deg": 118, "overall": 61, "stick_out": 30,
               "holder": "H11", "shank": 3.0},
    ).text  # fmt: skip
    text = orientation_put(text, "V8", {"tilt": 30, "rotary": 45}).text
    put = cut_put(
        text, "V8", {"name": "vent", "tool": "T8", "state": "profiled", "hole": {"at": [0, 0, 0], "depth": 5}}
    )
    scene = reads(put.text)
    assert put.path == "V8/vent"
    assert [c.tool for o, c in scene.cuts() if o.name == "V8"] == ["T8"]
    assert all(line.startswith("+") for line in changed_lines(TEXT, put.text))


def test_that_what_refers_to_a_thing_is_told():
    assert riders_of(TEXT, "riser") == ("dovetail body",)
    assert set(riders_of(TEXT, "dovetail body")) == {"clamp screw L", "clamp screw R", "stop pin", "workpiece"}
    assert riders_of(TEXT, "T6") == ("V5/bevel port", "V6/drain drill", "V7/low side port")
    assert riders_of(TEXT, "H11") == ("T2", "T4", "T6")
    assert riders_of(TEXT, "V1/profile") == ("workpiece",)
    assert riders_of(TEXT, "stop pin") == ()


def test_that_a_thing_without_riders_is_taken_out_and_the_scene_still_reads():
    for path in ("stop pin", "T7", "V6/drain spot", "V7", "HS6"):
        after = removed(TEXT, path)
        reads(after)
        assert all(line.startswith("-") for line in changed_lines(TEXT, after))


@pytest.mark.parametrize(
    ("path", "name", "n_lines"),
    [
        ("dovetail body", "base", 5),
        ("T6", "T16", 4),
        ("V1", "first", 2),
        ("V1/profile", "rough", 2),
        ("stop pin", "stop", 1),
    ],
)
def test_that_a_new_name_reaches_everything_that_refers_to_it(path, name, n_lines):
    put = renamed(TEXT, path, name)
    reads(put.text)
    assert len([line for line in changed_lines(TEXT, put.text) if line.startswith("+")]) == n_lines
    assert renamed(put.text, put.path, path.rpartition("/")[2]).text == TEXT


@pytest.mark.parametrize("name", ["riser", "cutter", "a/b", " x", ""])
def test_that_a_name_that_cannot_be_had_is_refused(name):
    with pytest.raises(EditError, match=r"name|called"):
        renamed(TEXT, "stop pin", name)


def test_that_a_scene_keeps_its_workpiece():
    with pytest.raises(EditError, match="can't be without it"):
        removed(TEXT, "workpiece")
