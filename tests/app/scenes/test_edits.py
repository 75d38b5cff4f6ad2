"""Edits of a file's text: the named span changes, and not one byte beside it."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from app.scenes.document import Document
from app.scenes.edits import (
    EditError,
    edited,
    insert_entry,
    insert_holder,
    remove_entry,
    set_text,
    set_value,
    value_at,
    value_text,
)
from app.scenes.faults import SceneFileError
from app.scenes.located import ScalarNode
from app.scenes.reader import read_scene_text

SAMPLES = sorted((Path(__file__).parents[3] / "sample_scenes").glob("*/*.scene.yaml"))
DEMO = next(file for file in SAMPLES if file.parent.name == "sampler_block_b")
TEXT = DEMO.read_bytes().decode("utf-8")
SAMPLE_TEXTS = [file.read_bytes().decode("utf-8") for file in SAMPLES]
IN_BLOCKS = """\
# every key on a line of its own
format: 1
units: mm   # millimetres
bodies:
  # what holds the part
  - name: block
    rides_on: table   # the table's top
    box:
      - 60
      - 60.0
      - 20
    at: [0, 0, 0]
  - name: "a name, with a comma"
    rides_on: block

    cylinder:
      d: 4
      h: 5
tools:
- id: T1
  kind: end mill
  neck: {d: 9, to: 40}
- {id: T2,
   kind: drill,   # short
   d: 5}
orientations: []
"""


def short_texts(small: str) -> st.SearchStrategy[str]:
    return st.sampled_from([small, IN_BLOCKS, small.replace("\n", "\r\n"), "\ufeff" + IN_BLOCKS])


def single_values(text: str) -> list[str]:
    """Paths of all single values that are no names: a new name gives new paths."""
    paths = Document("x", text, "scene").paths()
    return [
        path for path, node in paths.items() if isinstance(node, ScalarNode) and not path.endswith(("/name", "/id"))
    ]


def only_difference(before: str, after: str) -> tuple[str, str]:
    """The stretch in which two texts differ, as it was and as it is."""
    start = next(
        (i for i, (a, b) in enumerate(zip(before, after, strict=False)) if a != b), min(len(before), len(after))
    )
    end = 0
    while end < min(len(before), len(after)) - start and before[-1 - end] == after[-1 - end]:
        end += 1
    return before[start : len(before) - end], after[start : len(after) - end]


def lines_changed(before: str, after: str) -> tuple[list[str], list[str]]:
    """The lines that are only in one of two texts."""
    old, new = before.splitlines(keepends=True), after.splitlines(keepends=True)
    while old and new and old[0] == new[0]:
        old.pop(0), new.pop(0)
    while old and new and old[-1] == new[-1]:
        old.pop(), new.pop()
    return old, new


# --- one value ---


VALUES = st.one_of(
    st.decimals(-1000, 1000, places=3).map(float),
    st.floats(allow_nan=False, allow_infinity=False, width=32),
    st.integers(-10_000, 10_000),
    st.booleans(),
    st.text(min_size=1, max_size=20),
)


def check_edit(before: str, data: st.DataObject) -> None:
    path, value = data.draw(st.sampled_from(single_values(before))), data.draw(VALUES)
    node = Document("x", before, "scene").find(path)
    assert node is not None
    after = set_value(before, path, value)
    assert after[: node.start] == before[: node.start]
    assert after.endswith(before[node.end :])
    found = value_at(after, path)
    assert found == value
    assert isinstance(found, bool) == isinstance(value, bool)
    assert set_text(after, path, before[node.start : node.end]) == before


@settings(max_examples=80, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_that_an_edit_changes_its_span_only_reads_back_and_can_be_undone(data: st.DataObject, small_scene: str):
    check_edit(data.draw(short_texts(small_scene)), data)


@pytest.mark.slow
@settings(max_examples=120, deadline=None)
@given(data=st.data())
def test_that_an_edit_of_any_sample_changes_its_span_only_reads_back_and_can_be_undone(data: st.DataObject):
    check_edit(data.draw(st.sampled_from(SAMPLE_TEXTS)), data)


@pytest.mark.parametrize(
    ("path", "value", "was", "is_now"),
    [
        ("riser/h", 30, "4", "3"),
        ("T4/stick_out", 18.5, "", ".5"),
        ("V6/tilt", -7.25, "10", "-7.2"),
        ("clamp screw L/size", "M5", "6", "5"),
        ("title", 'He said "B", once', "Sampler block, op 2, set-up B", 'He said \\"B\\", once'),
        ("workpiece/profiled/after/1", "V1/pilot", "rofile", "ilot"),
        ("keep_off/cut", 1.0, "2.0", "1"),
    ],
)
def test_that_the_text_of_a_value_becomes_the_new_one(path: str, value: object, was: str, is_now: str):
    assert only_difference(TEXT, set_value(TEXT, path, value)) == (was, is_now)


def test_that_a_number_stays_as_it_was_typed():
    assert "{d: 60, h: 30.50}" in set_text(TEXT, "riser/h", "30.50")


def test_that_a_text_that_would_read_as_something_else_gets_quotes():
    assert value_text(set_value(TEXT, "clamp screw L/size", "10"), "clamp screw L/size") == '"10"'
    assert value_text(set_value(TEXT, "clamp screw L/size", "a, b"), "clamp screw L/size") == '"a, b"'
    assert value_text(set_value(TEXT, "clamp screw L/size", "a #1"), "clamp screw L/size") == '"a #1"'
    assert value_text(set_text(TEXT, "clamp screw L/size", "a, b"), "clamp screw L/size") == '"a, b"'


def test_that_renaming_changes_the_name_alone():
    assert only_difference(TEXT, set_value(TEXT, "riser/name", "tall riser")) == ("", "tall ")


def test_that_several_edits_follow_each_other():
    after = edited(TEXT, [("riser/h", 30), ("T4/stick_out", 20), ("riser/h", 35)])
    assert (value_at(after, "riser/h"), value_at(after, "T4/stick_out")) == (35.0, 20.0)


@pytest.mark.parametrize("ending", ["\r\n", "\r"])
def test_that_other_line_ends_and_a_byte_order_mark_stay(ending: str):
    text = "\ufeff" + TEXT.replace("\n", ending)
    assert set_value(text, "riser/h", 30) == "\ufeff" + set_value(TEXT, "riser/h", 30).replace("\n", ending)


# --- keys that the file does not give ---


def test_that_a_known_key_is_put_in_last_in_its_object():
    assert only_difference(TEXT, set_value(TEXT, "T4/corner_radius", 0.2)) == ("", ", corner_radius: 0.2")
    assert only_difference(TEXT, set_value(TEXT, "H16/grip", 20)) == ("", ", grip: 20")


def test_that_a_key_of_the_shape_goes_into_the_shape():
    after = set_value(TEXT, "clamp screw L/length", 16)
    assert "screw: {standard: ISO 4762, size: M6, plain_head: true, length: 16}, at: [-10, 25, 0]" in after


def test_that_a_key_in_a_block_gets_a_line_of_its_own():
    was, is_now = lines_changed(TEXT, set_value(TEXT, "dovetail fixture/axis", [0, 0, 1]))
    assert (was, is_now) == ([], ["    axis: [0, 0, 1]\n"])


def test_that_a_missing_object_comes_with_its_key():
    text = "\n".join(line for line in TEXT.splitlines() if not line.startswith("keep_off"))  # no line end at the end
    after = set_value(text, "keep_off/swing", 4)
    assert after == text + "\nkeep_off: {swing: 4}"
    assert read_scene_text(after, DEMO).scene.keep_off.swing == 4.0


@pytest.mark.parametrize(
    ("path", "nearest"),
    [("risr/h", "riser/h"), ("T4/stickout", "T4/stick_out"), ("riser/hh", "riser/h"), ("V6/rotari", "V6/rotary")],
)
def test_that_an_unknown_name_is_refused_with_the_nearest(path: str, nearest: str):
    with pytest.raises(EditError, match=f"nearest: {nearest}$"):
        set_value(TEXT, path, 1)


@pytest.mark.parametrize("written", ["", "a: b: c", "[1, 2", "1\n2", "&x 1", "*x", "!!str 1"])
def test_that_what_is_not_one_value_is_refused(written: str):
    with pytest.raises(EditError):
        set_text(TEXT, "riser/h", written)


def test_that_a_block_is_not_overwritten_by_one_value():
    with pytest.raises(EditError, match="several lines"):
        set_value(TEXT, "tools", 3)


def test_that_a_text_that_is_no_yaml_gives_its_faults():
    with pytest.raises(SceneFileError, match="still open"):
        set_value(TEXT.replace("[70, 0, 112]", "[70").replace("{d: 60, h: 40}", "{d: 60"), "riser/h", 3)


# --- whole entries ---


def test_that_a_body_is_put_in_after_its_neighbour():
    pin = {"name": "second pin", "rides_on": "dovetail body", "cylinder": {"d": 4, "h": 5}, "at": [22, 0, 0]}
    was, is_now = lines_changed(TEXT, insert_entry(TEXT, "stop pin", pin))
    assert was == []
    assert is_now == ["      - {name: second pin, rides_on: dovetail body, cylinder: {d: 4, h: 5}, at: [22, 0, 0]}\n"]


def test_that_a_cut_is_put_in_and_read():
    cut = {"name": "second pilot", "tool": "T5", "state": "raw", "hole": {"at": [5, 0, -2], "depth": 20}}
    after = insert_entry(TEXT, "V1/pilot", cut)
    assert [c.name for c in read_scene_text(after, DEMO).scene.orientations[0].cuts] == [
        "pilot",
        "second pilot",
        "profile",
    ]


def test_that_an_orientation_is_laid_out_as_its_neighbour():
    new = {
        "name": "V8",
        "tilt": 15,
        "rotary": 0,
        "cuts": [{"name": "last", "tool": "T4", "state": "profiled", "hole": {"at": [0, 0, -2], "depth": 1}}],
    }
    was, is_now = lines_changed(TEXT, insert_entry(TEXT, "orientations", new))
    assert was == []
    assert is_now == [
        "  - name: V8\n",
        "    tilt: 15\n",
        "    rotary: 0\n",
        "    cuts:\n",
        "      - {name: last, tool: T4, state: profiled, hole: {at: [0, 0, -2], depth: 1}}\n",
    ]


def test_that_a_step_is_put_into_a_profile():
    assert "[[28, 22, nut], [30, 5], [32, 18], [46, 20, flange]]" in insert_entry(TEXT, "H16/profile/1", [30, 5])
    assert value_at(insert_entry(TEXT, "H16/profile/1", [30, 5]), "H16/profile/2/1") == 30.0


def test_that_a_holder_is_put_in_beside_the_others():
    was, is_now = lines_changed(
        TEXT, insert_holder(TEXT, "H9", {"title": "mine, slim", "profile": [[14, 12], [46, 20, "flange"]]})
    )
    assert was == []
    assert is_now == ['  H9: {title: "mine, slim", profile: [[14, 12], [46, 20, flange]]}\n']
    with pytest.raises(EditError, match="already"):
        insert_holder(TEXT, "H16", {"profile": [[14, 12]]})


def test_that_the_first_entry_of_a_missing_list_makes_the_list():
    after = set_value(TEXT, "notes", ["check the stop", "mind, the gap"])
    assert after.endswith('notes: [check the stop, "mind, the gap"]\n')


def test_that_removing_an_entry_takes_its_lines_and_no_others():
    was, is_now = lines_changed(TEXT, remove_entry(TEXT, "stop pin"))
    assert is_now == []
    assert len(was) == 1
    assert "stop pin" in was[0]
    was, is_now = lines_changed(TEXT, remove_entry(TEXT, "V7"))
    assert is_now == []
    assert len(was) == 5


def test_that_the_last_entry_leaves_an_empty_list_and_its_comment():
    text = "cuts:   # in order\n  - {name: a}  # only one\nx: 1\n"
    assert remove_entry(text, "cuts/1") == "cuts: []   # in order\nx: 1\n"


def test_that_a_key_in_a_line_with_a_dash_is_taken_out():
    text = "orientations:\n  - tilt: 0\n    name: V\n"
    assert remove_entry(text, "V/tilt") == "orientations:\n  - name: V\n"


def check_insertion(text: str, data: st.DataObject) -> None:
    document = Document("x", text, "scene")
    bodies = [path for path in document.paths() if document.find(f"{path}/name") is not None and "/" not in path]
    torque = data.draw(st.text(min_size=1, max_size=10))
    entry = {"name": "new one", "at": [1, 2.5, -3], "box": [1, 2, 3], "torque": torque}
    changed = insert_entry(text, data.draw(st.sampled_from(bodies)), entry)
    assert value_at(changed, "new one/at/y") == 2.5
    assert only_difference(text, changed)[0] == ""  # one stretch came, nothing went
    assert remove_entry(changed, "new one") == text


@settings(max_examples=50, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_that_an_entry_put_in_and_taken_out_again_leaves_the_same_bytes(data: st.DataObject, small_scene: str):
    small = small_scene.replace("raw: [{", "raw:\n      - {").replace("-30]}]", "-30]}")
    check_insertion(data.draw(short_texts(small)), data)


@pytest.mark.slow
@settings(max_examples=80, deadline=None)
@given(data=st.data())
def test_that_an_entry_put_into_any_sample_and_taken_out_again_leaves_the_same_bytes(data: st.DataObject):
    check_insertion(data.draw(st.sampled_from(SAMPLE_TEXTS)), data)


def check_removal(text: str, data: st.DataObject) -> None:
    path = data.draw(st.sampled_from(list(Document("x", text, "scene").paths())))
    try:
        after = remove_entry(text, path)
    except EditError:
        return  # the only key of a block: refused with a reason
    _, new = only_difference(text, after)
    assert len(new.strip()) <= len("[]")  # one stretch went; an empty list may stand in its place
    assert len(after) < len(text)


@settings(max_examples=80, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_that_taking_anything_out_leaves_the_rest_as_it_reads(data: st.DataObject, small_scene: str):
    check_removal(data.draw(short_texts(small_scene)), data)


@pytest.mark.slow
@settings(max_examples=120, deadline=None)
@given(data=st.data())
def test_that_taking_anything_out_of_any_sample_leaves_the_rest_as_it_reads(data: st.DataObject):
    check_removal(data.draw(st.sampled_from(SAMPLE_TEXTS)), data)


def test_that_numbers_set_at_once_give_the_text_of_one_after_the_other() -> None:
    demo = Path(__file__).parents[3] / "sample_scenes" / "sampler_block_b" / "sampler_block_b.scene.yaml"
    text = demo.read_text(encoding="utf-8")
    changes = [("dovetail fixture/turn", 30.0), ("workpiece/zero/at/x", 1.0), ("V6/tilt", 104.5), ("riser/h", 41)]
    one_by_one = text
    for path, value in changes:
        one_by_one = set_value(one_by_one, path, value)
    assert edited(text, changes) == one_by_one
    with pytest.raises(EditError, match="nothing is called"):
        edited(text, [*changes, ("no such/number", 1.0)])
    renamed = edited(text, [("clamp screw L/name", "clamp screw X"), ("riser/h", 41)])
    assert "{name: clamp screw X, " in renamed
