"""The editor through its widgets: what is typed becomes one step in the text, and undo gives the same bytes."""

from __future__ import annotations

import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QComboBox, QLineEdit, QToolButton, QWidget

from app.scenes.edits import value_at
from app.scenes.reader import read_scene_text
from app.window.editing import Editing
from app.window.panels.editor import ADDITIONS, Editor
from app.window.session import Session
from app.window.theme import LIGHT, theme_of
from tests.gui.conftest import sample, settle

DEMO = sample("sampler_block_b")
TEXT = DEMO.read_text(encoding="utf-8")


class Window(QWidget):
    """Stands for the main window: what takes more than a form is told here."""

    def __init__(self):
        super().__init__()
        self.asked: list[str] = []
        self.theme = theme_of(LIGHT)
        self.card = None

    def add_by(self, kind: str) -> None:
        self.asked.append(kind)

    def lay_over(self, card) -> None:
        self.card = card
        card.open()


@pytest.fixture
def editing(application):
    application.processEvents()
    window = Window()
    session = Session(window)
    editor = Editor(theme_of(LIGHT), window)
    editor.resize(340, 600)
    made = Editing(window, session, editor)
    session.document.open(DEMO)
    window.show()
    yield made
    session.close()
    window.close()
    window.deleteLater()
    settle()


def type_into(editing: Editing, path: str, text: str) -> None:
    """As a person does: into the field, select all, type, Enter."""
    edit = editing.editor.input_of(path)
    assert isinstance(edit, QLineEdit), path
    edit.setFocus()
    edit.selectAll()
    QTest.keyClicks(edit, text)
    QTest.keyClick(edit, Qt.Key.Key_Return)


def text_of(editing: Editing) -> str:
    return editing._session.document.text


@pytest.mark.parametrize(
    ("thing", "path", "typed", "value"),
    [
        ("riser", "riser/h", "30.50", 30.5),
        ("clamp screw L", "clamp screw L/at/x", "-12", -12.0),
        ("T4", "T4/stick_out", "21.0", 21.0),
        ("V6/drain spot", "V6/drain spot/depth", "3", 3.0),
        ("H11", "H11/profile/1/1", "19.5", 19.5),
        ("", "keep_off/cut", "1.5", 1.5),
        ("V6", "V6/tilt", "100", 100.0),
        ("part", "part/3", "40", 40.0),
    ],
)
def test_that_a_number_that_is_typed_is_one_step_and_undone_to_the_same_bytes(editing, thing, path, typed, value):
    editing.open(thing)
    type_into(editing, path, typed)
    assert value_at(text_of(editing), path) == value
    assert f" {typed}" in text_of(editing) or f"[{typed}" in text_of(editing)  # digits as typed
    assert editing._session.document.stack.count() == 1
    editing._session.document.undo()
    assert text_of(editing) == TEXT
    editing._session.document.redo()
    assert value_at(text_of(editing), path) == value


def test_that_a_value_that_was_not_given_is_put_in(editing):
    editing.open("riser")
    assert editing.editor.input_of("riser/turn") is None
    editing.editor.more.click()
    type_into(editing, "riser/turn", "15")
    assert value_at(text_of(editing), "riser/turn") == 15.0
    editing._session.document.undo()
    assert text_of(editing) == TEXT


def test_that_what_is_no_number_is_refused_at_its_field(editing):
    editing.open("riser")
    type_into(editing, "riser/h", "3O mm, about")
    assert text_of(editing) == TEXT
    assert editing._session.document.stack.count() == 0
    assert "riser/h" in editing.editor.trouble.text()
    assert not editing.editor.trouble.isHidden()
    type_into(editing, "riser/h", "31")
    assert editing.editor.trouble.isHidden()


def test_that_escape_takes_back_what_was_typed(editing):
    editing.open("riser")
    edit = editing.editor.input_of("riser/h")
    edit.selectAll()
    QTest.keyClicks(edit, "99")
    QTest.keyClick(edit, Qt.Key.Key_Escape)
    assert edit.text() == "40"
    edit.clearFocus()
    assert text_of(editing) == TEXT


def test_that_a_holder_is_chosen_from_those_that_there_are(editing):
    editing.open("T4")
    choice = editing.editor.input_of("T4/holder")
    assert isinstance(choice, QComboBox)
    choice.setCurrentText("HS6")
    choice.activated.emit(choice.currentIndex())
    assert value_at(text_of(editing), "T4/holder") == "HS6"
    editing._session.document.undo()
    assert text_of(editing) == TEXT


def test_that_a_holder_gets_another_step_and_loses_one(editing):
    editing.open("H11")
    keys = [k for k in editing.editor.findChildren(QToolButton) if k.property("entry") == "H11/profile/2"]
    keys[0].click()
    assert value_at(text_of(editing), "H11/profile/3") == value_at(text_of(editing), "H11/profile/2")
    assert value_at(text_of(editing), "H11/profile/5") == value_at(TEXT, "H11/profile/4")
    editing._session.document.undo()
    assert text_of(editing) == TEXT
    keys[1].click()
    assert value_at(text_of(editing), "H11/profile/2") == value_at(TEXT, "H11/profile/3")
    editing._session.document.undo()
    assert text_of(editing) == TEXT


def test_that_a_new_name_reaches_what_refers_to_it(editing):
    editing.open("T6")
    type_into(editing, "T6/id", "T16")
    assert value_at(text_of(editing), "V5/bevel port/tool") == "T16"
    assert editing.editor.form.thing.path == "T16"
    assert editing._session.document.stack.count() == 1
    editing._session.document.undo()
    assert text_of(editing) == TEXT


def test_that_taking_out_asks_only_where_something_refers_to_it(editing):
    editing.open("stop pin")
    editing.editor.remove.click()
    assert "stop pin" not in text_of(editing)
    editing._session.document.undo()
    assert text_of(editing) == TEXT
    editing.open("dovetail body")
    editing.editor.remove.click()
    assert text_of(editing) == TEXT
    assert "is needed by" in editing.editor.trouble.text()
    assert "clamp screw L" in editing.editor.trouble.text()
    editing.editor.remove.click()
    assert "name: dovetail body" not in text_of(editing)
    editing._session.document.undo()
    assert text_of(editing) == TEXT


@pytest.mark.parametrize("kind", ["box", "cylinder", "screw", "pin", "orientation", "cut", "mesh", "holder"])
def test_that_what_is_added_can_be_edited_at_once_and_undone(editing, kind, tmp_path):
    editing.ask_mesh = lambda: tmp_path / "lug.stl"
    editing.open("dovetail body")
    action = next(a for a in editing.editor.add.menu().actions() if a.data() == kind)
    action.trigger()
    assert text_of(editing) != TEXT
    form = editing.editor.form
    assert form.thing.path in text_of(editing) or form.thing.path.rpartition("/")[2] in text_of(editing)
    assert form.thing.kind in ("body", "orientation", "cut", "holder")
    editing._session.document.undo()
    assert text_of(editing) == TEXT


def test_that_what_takes_more_than_a_form_is_handed_on(editing):
    editing.open("")
    next(a for a in editing.editor.add.menu().actions() if a.data() == "measured").trigger()
    assert editing._window.asked == ["measured"]
    assert {a.data() for a in editing.editor.add.menu().actions()} == {key for key, _ in ADDITIONS}


def test_that_a_tool_is_added_by_one_line(editing):
    editing.open("")
    next(a for a in editing.editor.add.menu().actions() if a.data() == "tool").trigger()
    card = editing._window.card
    QTest.keyClicks(card.field, "8 drill d3.3 flute 24 out 30 holdr collet_11_jis30")
    assert not card.add.isEnabled()
    assert "holdr" in card.words.text()
    card.field.selectAll()
    QTest.keyClicks(card.field, "8 drill d3.3 flute 24 out 30 holder collet_11_jis30")
    assert card.add.isEnabled(), card.words.text()
    card.add.click()
    assert value_at(text_of(editing), "T8/d") == 3.3
    assert value_at(text_of(editing), "T8/stick_out") == 30.0
    assert value_at(text_of(editing), "T8/holder") == "collet_11_jis30"
    assert editing.editor.form.thing.path == "T8"
    assert "T8" in {tool.id for tool in read_scene_text(text_of(editing), DEMO).scene.tools}
    editing._session.document.undo()
    assert text_of(editing) == TEXT


def test_that_the_field_that_has_the_focus_keeps_it_when_the_form_is_made_anew(editing, wait):
    editing.open("riser")
    type_into(editing, "riser/h", "33")
    wait(lambda: editing.editor.input_of("riser/h").text() == "33", "the form is made anew")
    editing.editor.input_of("riser/d").setFocus()
    editing._session.document.edit("Set", "riser/h", 35.0)
    wait(lambda: editing.editor.input_of("riser/h").text() == "35", "the form is made anew")
    wait(lambda: editing._window.focusWidget() is editing.editor.input_of("riser/d"), "the focus comes back")
