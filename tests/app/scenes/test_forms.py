"""Forms of the sample set-ups: every number has one place, every field can be set, and set back to the same bytes."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest

from app.scenes.catalogues import Catalogues
from app.scenes.document import Document
from app.scenes.edits import remove_entry, set_text, value_text
from app.scenes.forms import MOST_ENTRIES, Form, FormField, Names, form_of, names_in, things_of
from app.scenes.live import LiveScene

SCENES = sorted((Path(__file__).parents[3] / "sample_scenes").glob("*/*.scene.yaml"))
NAMES = names_in(Catalogues(), "compact_ac")

# A value for a field that is not given, by kind; the text need not make sense as a set-up, only be put in.
TRIAL = {"number": "1.25", "text": "some text", "flag": "true", "list": "[0, 0, 1]"}


def forms(text: str) -> list[Form]:
    document = Document("", text, "scene")
    return [form_of(document, thing, NAMES) for thing in things_of(document)]


def fields(text: str) -> list[FormField]:
    return [field for form in forms(text) for row in form.rows for field in row.fields]


@pytest.mark.parametrize("path", SCENES, ids=lambda p: p.parent.name)
def test_that_every_number_of_a_scene_stands_in_exactly_one_form(path):
    text = path.read_text(encoding="utf-8")
    shown = Counter(field.path for field in fields(text) if field.kind == "number" and field.written is not None)
    numbers = {number.path: number for number in LiveScene(text, path).numbers()}
    own = Document("", text, "scene").paths()
    long_lists = {p for p in own if p.rpartition("/")[2].isdecimal() and int(p.rpartition("/")[2]) > MOST_ENTRIES}
    missing = [p for p in numbers if p in own and shown[p] != 1 and not any(p.startswith(x) for x in long_lists)]
    inline_machine = [p for p in missing if p.startswith("machine")]
    assert missing == inline_machine
    for field in fields(text):
        if field.kind == "number" and field.path in numbers:
            assert field.unit == numbers[field.path].unit, field.path


@pytest.mark.parametrize("path", SCENES, ids=lambda p: p.parent.name)
def test_that_a_field_set_to_what_is_written_changes_no_byte(path):
    text = path.read_text(encoding="utf-8")
    given = [field for field in fields(text) if field.written is not None]
    for field in given[:: max(1, len(given) // 12)]:
        written = value_text(text, field.path)
        assert set_text(text, field.path, written) == text, field.path


def test_that_a_field_that_is_not_given_is_put_in_and_taken_out_again():
    path = next(p for p in SCENES if p.parent.name == "sampler_block_b")
    text = path.read_text(encoding="utf-8")
    free = [field for field in fields(text) if field.written is None]
    assert len(free) > 100
    is_there = Document("", text, "scene").find
    for field in free[::6]:
        value = field.choices[0] if field.kind == "choice" else TRIAL[field.kind]
        after = set_text(text, field.path, value)
        assert value_text(after, field.path) == value, field.path
        outer = field.path.rpartition("/")[0] or field.path
        assert remove_entry(after, field.path if is_there(outer) else outer) == text, field.path


def test_that_names_come_from_the_scene_and_the_catalogues():
    path = next(p for p in SCENES if p.parent.name == "sampler_block_b")
    by_path = {field.path: field for field in fields(path.read_text(encoding="utf-8"))}
    assert {"H16", "H11", "H11m", "HS6"} <= set(by_path["T4/holder"].choices)
    assert set(Catalogues().names("holder")) <= set(by_path["T4/holder"].choices)
    assert "M6" in by_path["clamp screw L/size"].choices
    assert "DIN 7984" in by_path["clamp screw L/standard"].choices
    assert {"platter", "cradle", "riser"} <= set(by_path["dovetail body/rides_on"].choices)
    assert by_path["V6/drain spot/state"].choices == ("raw", "profiled")
    assert by_path["V6/drain spot/tool"].choices == ("T1", "T2", "T3", "T4", "T5", "T6", "T7")


def test_that_a_thing_tells_what_it_is_and_where_it_stands():
    path = next(p for p in SCENES if p.parent.name == "sampler_block_b")
    things = {t.path: t for t in things_of(Document("", path.read_text(encoding="utf-8"), "scene"))}
    assert (things["clamp screw L"].what, things["clamp screw L"].inside) == ("screw", "dovetail fixture")
    assert (things["V6/drain spot"].what, things["V6/drain spot"].inside) == ("hole, T4", "V6")
    assert things["T4"].what == "spot drill"
    assert things[""].kind == "scene"


def test_that_a_long_list_is_left_to_the_file_and_says_so():
    rows = ", ".join(f"[{k}, 0, 0]" for k in range(MOST_ENTRIES + 1))
    text = (
        "format: 1\nunits: mm\ntitle: t\nmachine: compact_ac\ntools: []\norientations:\n"
        f"  - {{name: V1, tilt: 0, rotary: 0, cuts: [{{name: c, tool: T1, state: s, path: {{points: [{rows}]}}}}]}}\n"
    )
    form = next(f for f in forms(text) if f.thing.path == "V1/c")
    assert form.note == "points has 41 entries: they are edited in the file"


def test_that_a_form_of_a_broken_scene_shows_what_there_is():
    text = "format: 1\nunits: inch\ntitle: t\nbodies:\n  - {name: b, box: [1, 2], wrong: 3}\n"
    document = Document("", text, "scene")
    (body,) = [t for t in things_of(document) if t.kind == "body"]
    form = form_of(document, body, Names())
    given = [field for row in form.rows for field in row.fields if field.written is not None]
    assert [(f.path, f.written) for f in given if f.kind == "number"][:2] == [("b/1", "1"), ("b/2", "2")]
    assert given[1].unit == "inch"
