"""The page of a new set-up through its widgets: what is answered is the text, and an undo brings the page back."""

from __future__ import annotations

from pathlib import Path

import pytest
from PySide6.QtCore import QMimeData, QPoint, QPointF, Qt, QUrl
from PySide6.QtGui import QDropEvent
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication

from app.scenes.edits import value_at
from app.scenes.reader import read_scene_text
from app.window.main_window import MainWindow
from app.window.panels.empty_start import EmptyStart
from tests.app.jobs.new_setup.boxes import write_box
from tests.gui.conftest import is_checked, sample

TOOL = "1 end mill d10 flute 22 out 35 holder collet_16_jis30"


class Person:
    """Somebody at the page."""

    def __init__(self, window: MainWindow, wait) -> None:
        self.window, self.wait = window, wait
        self.page, self.core = window.new_page, window.new_setup

    @property
    def text(self) -> str:
        return self.window.session.document.text

    def begin(self, part: Path) -> None:
        self.core.start(str(part))
        self.wait(lambda: self.page.part.question.isVisible(), "the unit is asked for")
        QTest.mouseClick(self.page.part.unit_keys["mm"], Qt.MouseButton.LeftButton)
        self.wait(lambda: self.page.part.part.isVisible(), "the part is there")

    def unfold(self, number: int) -> None:
        QTest.mouseClick(self.page.blocks[number - 1].heading, Qt.MouseButton.LeftButton)
        QApplication.processEvents()

    def type_tools(self, text: str) -> None:
        self.unfold(4)
        field = self.page.tools.field
        field.setFocus()
        field.selectAll()
        for line in text.splitlines():
            QTest.keyClicks(field, line)
            QTest.keyClick(field, Qt.Key.Key_Return)

    def fill(self, key: str, text: str) -> None:
        self.unfold(3)
        field = self.page.holding.fields[key].field
        field.setFocus()
        field.selectAll()
        QTest.keyClicks(field, text)
        QTest.keyClick(field, Qt.Key.Key_Return)

    def click_face(self, direction: tuple[float, float, float]) -> None:
        self.unfold(5)
        picture = self.page.orientations.picture
        picture.orbit(0.0, 0.0)
        for y in range(10, picture.height() - 10, 5):
            for x in range(10, picture.width() - 10, 5):
                found = picture.facet_at(x, y)
                if found is not None and picture.normal_of(found[0]) == pytest.approx(direction, abs=1e-6):
                    QTest.mouseClick(picture, Qt.MouseButton.LeftButton, pos=QPoint(x, y))
                    return
        raise AssertionError(f"no face looks to {direction}")

    def await_check(self) -> None:
        self.wait(lambda: is_checked(self.window), "everything is checked")


@pytest.fixture
def part(tmp_path) -> Path:
    return write_box(tmp_path / "block.stl", 36.0, 30.0, 41.5)


@pytest.fixture
def person(opener, wait) -> Person:
    return Person(opener(), wait)


@pytest.fixture
def whole(person, part) -> Person:
    """A set-up that is there, with one tool and one orientation."""
    person.begin(part)
    person.type_tools(TOOL)
    person.click_face((0.0, 0.0, 1.0))
    person.await_check()
    return person


def test_that_the_first_way_of_the_empty_window_is_a_new_set_up(person) -> None:
    start = person.window.start
    assert isinstance(start, EmptyStart)
    first = start._way_keys.button(0)
    assert first.text() == "New set-up"
    QTest.mouseClick(first, Qt.MouseButton.LeftButton)
    assert person.core.is_open
    assert not person.window.board.isVisible()
    assert person.window.headline.title.whole == "New set-up"
    QTest.mouseClick(person.page.close_key, Qt.MouseButton.LeftButton)
    assert start.isVisible()


def test_that_a_file_without_a_unit_is_asked_about_word_for_word(person, part) -> None:
    person.core.start(str(part))
    person.wait(lambda: person.page.part.question.isVisible(), "the unit is asked for")
    said = "block.stl has no unit. Is it 36.0 x 30.0 x 41.5 mm, or 36.0 x 30.0 x 41.5 inch (914 mm)?"
    assert person.page.part.question_words.text() == said
    QTest.mouseClick(person.page.part.unit_keys["mm"], Qt.MouseButton.LeftButton)
    person.wait(lambda: person.page.part.part.isVisible(), "the part is there")
    assert person.page.part.size_mm.text().startswith("36.00 x 30.00 x 41.50")
    assert person.page.part.size_inch.text().startswith("1.417 x 1.181 x 1.634")  # by 25.4 mm to the inch


def test_that_another_unit_can_be_chosen(person, tmp_path) -> None:
    person.core.start(str(write_box(tmp_path / "small.stl", 3.6, 3.0, 4.15)))
    person.wait(lambda: person.page.part.question.isVisible(), "the unit is asked for")
    other = person.page.part.other
    other.setCurrentIndex(other.findText("cm"))
    other.activated.emit(other.currentIndex())
    person.wait(lambda: person.page.part.part.isVisible(), "the part is there")
    assert person.page.part.size_mm.text().startswith("36.00 x 30.00 x 41.50")


def test_that_a_file_that_is_no_part_is_told_at_its_block(person, tmp_path) -> None:
    (tmp_path / "bad.stl").write_text("solid x\nfacet", encoding="ascii")
    person.core.start(str(tmp_path / "bad.stl"))
    person.wait(lambda: person.page.part.trouble.isVisible(), "what is wrong is told")
    assert "bad.stl" in person.page.part.trouble.text()
    assert not person.page.machine.is_open


def test_that_a_side_of_the_file_can_be_up(person, part) -> None:
    person.begin(part)
    QTest.mouseClick(person.page.part.up_keys.button(0), Qt.MouseButton.LeftButton)  # +X
    person.wait(lambda: person.core.typed.part.up == "+X", "the part is turned")
    x, y, z = person.core.typed.part.size
    assert sorted((x, y, z)) == pytest.approx([30.0, 36.0, 41.5], abs=1e-4)
    assert z == pytest.approx(36.0)  # the side along X of the file stands up


def test_that_a_file_that_is_no_part_leaves_the_part_that_there_was(person, part, tmp_path) -> None:
    person.begin(part)
    (tmp_path / "bad.stl").write_text("solid x\nfacet", encoding="ascii")
    person.core.part.read(str(tmp_path / "bad.stl"))
    person.wait(lambda: person.page.part.trouble.isVisible(), "what is wrong is told")
    assert person.page.part.part.isVisible()
    assert person.core.typed.part.file == "block.stl"


def test_that_an_undo_of_another_side_up_brings_the_part_back(whole) -> None:
    before = whole.text
    QTest.mouseClick(whole.page.part.up_keys.button(0), Qt.MouseButton.LeftButton)  # +X
    whole.wait(lambda: whole.core.typed.part.up == "+X", "the part is turned")
    assert "Still missing: an orientation" in whole.page.missing.text()  # what was clicked was on another side
    whole.click_face((0.0, 0.0, 1.0))
    assert value_at(whole.text, "finished part/up") == "+X"
    whole.window.session.document.undo()
    assert whole.text == before
    assert whole.page.part.up_keys.checkedButton().text() == "+Z"
    whole.wait(lambda: whole.core.part.shown.answer.up == "+Z", "the part is drawn as it was")


def test_that_the_set_up_is_drawn_before_there_is_a_number(person, part) -> None:
    person.begin(part)
    view = person.window.view
    person.wait(lambda: view.place is not None, "the set-up is drawn")
    names = {body.name for body in view.place.bodies}
    assert {"stock", "dovetail body", "platter disc"} <= names
    assert not {"cutter", "nut", "spindle nose", "spindle head"} & names
    assert view.place.told is None
    assert person.text == ""


def test_that_the_first_number_comes_with_one_tool_and_one_orientation(person, part) -> None:
    person.begin(part)
    person.type_tools(TOOL)
    assert person.text == ""
    person.click_face((0.0, 0.0, 1.0))
    assert person.text
    person.await_check()
    assert person.window.headline.plate.word
    scene = read_scene_text(person.text, part.with_name("block.scene.yaml")).scene
    assert [cut.tool for _, cut in scene.cuts()] == ["T1"]
    assert person.window.session.document.is_modified
    assert not part.with_name("block.scene.yaml").exists()


def test_that_every_answer_is_undone_to_the_same_bytes_and_page(whole) -> None:
    document = whole.window.session.document
    texts, pages = [whole.text], [whole.core.typed]

    def answered() -> None:
        texts.append(whole.text)
        pages.append(whole.core.typed)

    whole.fill("riser", "25")
    answered()
    QTest.mouseClick(list(whole.page.holding.choices.values())[1], Qt.MouseButton.LeftButton)
    answered()
    whole.type_tools(f"{TOOL}\n2 drill d4.2 flute 30 out 40 holder collet_11_jis30")
    answered()
    whole.click_face((1.0, 0.0, 0.0))
    answered()
    assert len(set(texts)) == 5
    for text, page in zip(reversed(texts[:-1]), reversed(pages[:-1]), strict=True):
        document.undo()
        assert whole.text == text
        assert whole.core.typed == page
        assert whole.page.tools.field.toPlainText() == page.tools
        assert whole.page.holding.fields["riser"].field.text() == page.riser
        assert len(whole.page.orientations.papers) == len(page.orientations)
    for text in texts[1:]:
        document.redo()
        assert whole.text == text


def test_that_both_positions_stand_side_by_side_and_one_is_chosen(whole) -> None:
    line = whole.page.orientations.line
    line.setFocus()
    QTest.keyClicks(line, "V2 0,0.17364818,0.98480775 T1")  # 10 degrees from upright, to +Y
    QTest.keyClick(line, Qt.Key.Key_Return)
    paper = whole.page.orientations.papers[1]
    whole.wait(lambda: all(p.word for p in paper.positions), "both are checked")
    assert [p.text() for p in paper.positions] == ["tilt 10, rotary 0", "tilt \u221210, rotary 180"]
    assert [p.isChecked() for p in paper.positions] == [True, False]
    QTest.mouseClick(paper.positions[1], Qt.MouseButton.LeftButton)
    assert [p.isChecked() for p in paper.positions] == [False, True]
    assert value_at(whole.text, "V2/tilt") == pytest.approx(-10.0, abs=1e-4)
    whole.await_check()
    cut = next(c for c in whole.window.session.snapshot.cuts if c.key[0] == "V2")
    assert str(cut.verdict).upper() == paper.positions[1].word
    told = f"{cut.result.worst.spare:.1f}"
    assert paper.positions[1].number.startswith(told[:-1])


def test_that_an_orientation_takes_another_tool_depth_name_and_state(whole) -> None:
    whole.type_tools(f"{TOOL}\n2 drill d4.2 flute 30 out 40 holder collet_11_jis30")
    whole.unfold(5)
    paper = whole.page.orientations.papers[0]
    QApplication.processEvents()
    paper.tool.setFocus()
    QTest.keyClick(paper.tool, Qt.Key.Key_Down)
    paper.tool.activated.emit(paper.tool.currentIndex())
    for field, typed in ((paper.depth_field, "3"), (paper.name, "front")):
        field.setFocus()
        field.selectAll()
        QTest.keyClicks(field, typed)
        QTest.keyClick(field, Qt.Key.Key_Return)
    paper.state.setCurrentIndex(1)
    paper.state.activated.emit(1)
    scene = read_scene_text(whole.text, whole.window.session.document.path).scene
    (orientation,) = scene.orientations
    (cut,) = orientation.cuts
    assert (orientation.name, cut.tool, cut.state) == ("front", "T2", "part")
    assert value_at(whole.text, "front/hole/depth") == 3.0
    QTest.mouseClick(paper.out, Qt.MouseButton.LeftButton)
    assert not whole.page.orientations.papers
    assert "Still missing: an orientation" in whole.page.missing.text()


def test_that_wrong_words_are_underlined_and_told(person, part) -> None:
    person.begin(part)
    person.type_tools("1 end mill d10 flut 22 out 35 holder collet_16_jis30")
    assert person.page.tools.trouble.text() == "'flut' is no key of a tool; nearest: flute"
    block = person.page.tools.field.document().findBlockByNumber(0)
    assert [(f.start, f.length) for f in block.layout().formats()] == [(15, 4)]
    assert person.page.tools.drawn.n_drawn == 0
    person.type_tools(TOOL)
    assert not person.page.tools.trouble.isVisible()
    assert person.page.tools.drawn.n_drawn == 1


def test_that_words_are_completed_at_the_cursor(person, part) -> None:
    person.begin(part)
    person.unfold(4)
    field = person.page.tools.field
    field.setFocus()
    QTest.keyClicks(field, "1 end mill d10 flute 22 out 35 hol")
    assert field.offered.isVisible()
    QTest.keyClick(field, Qt.Key.Key_Tab)
    assert field.toPlainText().endswith("out 35 holder ")
    QTest.keyClicks(field, "collet_16_ji")
    assert field.offered.count() == 2
    QTest.keyClick(field, Qt.Key.Key_Down)
    QTest.keyClick(field, Qt.Key.Key_Return)
    assert field.toPlainText() == f"{TOOL} "
    assert person.page.tools.drawn.n_drawn == 1


def test_that_later_goes_on_with_what_stands_there(person, part) -> None:
    person.begin(part)
    for block in person.page.blocks[1:]:
        person.wait(lambda block=block: block.is_open, "the block is open")
        assert block.on.text() == "Later"
        person.page.area.ensureWidgetVisible(block.on)
        QTest.mouseClick(block.on, Qt.MouseButton.LeftButton)
        QApplication.processEvents()
    person.await_check()
    scene = read_scene_text(person.text, person.window.session.document.path).scene
    notes = "; ".join(scene.notes)
    for words in ("which way A and C turn", "T1: all of this tool", "where the cut enters", "screws ISO 4762 M6"):
        assert words in notes, words


def test_that_a_sign_that_differs_is_said_and_mended_in_a_file_of_ones_own(person, part) -> None:
    person.begin(part)
    paper = person.page.machine.papers[0]
    QApplication.processEvents()
    away = next(choice for choice in paper.choices if choice.text() == "away from you")
    QTest.mouseClick(away, Qt.MouseButton.LeftButton)
    assert (
        "The machine's file says the other way: A +30 leans to you; yours leans away from you." in paper.verdict.text()
    )
    QTest.mouseClick(paper.remedies[0], Qt.MouseButton.LeftButton)
    name = person.core.typed.machine
    file = part.with_name(name)
    assert value_at(file.read_text(encoding="utf-8"), "control/signs/tilt", kind="machine") == -1.0
    assert not paper.verdict.isVisible()
    assert paper.agrees.text() == "As the machine's file says: A +30 leans away from you."
    person.type_tools(TOOL)
    person.click_face((0.0, 0.0, 1.0))
    assert value_at(person.text, "machine") == name
    person.await_check()
    assert dict(person.window.session.snapshot.outline.orientations[0].control_deg)["A"] == 0.0


def test_that_numbers_of_another_machine_are_kept_beside_the_set_up(person, part) -> None:
    person.begin(part)
    person.unfold(2)
    QTest.mouseClick(person.page.machine.other, Qt.MouseButton.LeftButton)
    own = person.page.machine.own
    own.fields["tilt/origin/z"].setText("11,5,")
    QTest.mouseClick(own.save, Qt.MouseButton.LeftButton)
    assert "is no number" in own.trouble.text()
    own.fields["tilt/origin/z"].setText("113.5")
    QTest.mouseClick(own.save, Qt.MouseButton.LeftButton)
    file = part.with_name("my_machine.machine.yaml")
    assert value_at(file.read_text(encoding="utf-8"), "tilt/origin/z", kind="machine") == 113.5
    assert person.core.now.machine.axis("tilt").origin[2] == 113.5
    assert person.page.machine.key_of("my_machine.machine.yaml").isChecked()
    QTest.mouseClick(person.page.machine.key_of("compact_ac"), Qt.MouseButton.LeftButton)
    QTest.mouseClick(person.page.close_key, Qt.MouseButton.LeftButton)
    assert not file.exists()  # nothing names it


def test_that_a_change_beside_the_page_is_never_written_over_unasked(whole) -> None:
    document = whole.window.session.document
    document.edit("Set T1/stick_out", "T1/stick_out", 41.0)
    changed = whole.text
    assert whole.page.beside.isVisible()
    whole.page.holding.kind_chosen.emit("vise")
    assert whole.text == changed
    QTest.mouseClick(whole.page.take_back, Qt.MouseButton.LeftButton)
    assert not whole.page.beside.isVisible()
    assert value_at(whole.text, "T1/stick_out") == 35.0
    document.undo()
    assert whole.text == changed
    assert whole.page.beside.isVisible()
    QTest.mouseClick(whole.page.keep, Qt.MouseButton.LeftButton)
    assert not whole.core.is_open
    assert whole.text == changed


def test_that_done_saves_and_shows_the_board(whole, part) -> None:
    width = whole.window.board.parentWidget().width()
    QTest.mouseClick(whole.page.done_key, Qt.MouseButton.LeftButton)
    assert not whole.core.is_open
    assert whole.window.board.isVisible()
    saved = part.with_name("block.scene.yaml")
    assert saved.read_text(encoding="utf-8") == whole.text
    assert not whole.window.session.document.is_modified
    assert whole.window.files.recent()[0] == saved
    QApplication.processEvents()
    assert whole.window.board.parentWidget().width() < width


def test_that_a_name_is_asked_for_only_where_the_usual_one_is_taken(person, part, tmp_path) -> None:
    taken = part.with_name("block.scene.yaml")
    taken.write_text("somebody else's", encoding="utf-8")
    asked = []
    person.window.files.ask_name_to_save = lambda: asked.append(1) or tmp_path / "mine.scene.yaml"
    person.begin(part)
    person.type_tools(TOOL)
    person.click_face((0.0, 0.0, 1.0))
    QTest.mouseClick(person.page.done_key, Qt.MouseButton.LeftButton)
    assert asked == [1]
    assert taken.read_text(encoding="utf-8") == "somebody else's"
    assert (tmp_path / "mine.scene.yaml").read_text(encoding="utf-8") == person.text


def test_that_a_set_up_saved_in_another_folder_takes_its_part_along(whole, part, tmp_path) -> None:
    other = tmp_path / "other"
    other.mkdir()
    whole.window.files.ask_name_to_save = lambda: other / "there.scene.yaml"
    whole.window.trigger("file.save_as")
    assert (other / part.name).read_bytes() == part.read_bytes()
    whole.await_check()
    read_scene_text((other / "there.scene.yaml").read_text(encoding="utf-8"), other / "there.scene.yaml")
    assert not whole.window.session.snapshot.faults


def test_that_done_leads_to_what_is_missing(person, part) -> None:
    person.begin(part)
    QTest.mouseClick(person.page.done_key, Qt.MouseButton.LeftButton)
    assert person.core.is_open
    assert person.page.tools.is_open
    assert person.page.missing.text() == "Still missing: a tool, an orientation."


def test_that_a_part_that_is_dropped_on_the_window_begins_a_set_up(opener, wait, part) -> None:
    window = opener.checked(sample("sampler_block_b"))
    data = QMimeData()
    data.setUrls([QUrl.fromLocalFile(str(part))])
    event = QDropEvent(
        QPointF(600, 300), Qt.DropAction.CopyAction, data, Qt.MouseButton.LeftButton, Qt.KeyboardModifier.NoModifier
    )
    window.dropEvent(event)
    assert window.new_setup.is_open
    assert window.session.document.text == ""
    assert not window.session.snapshot.cuts  # nothing old stands beside a new set-up
    wait(lambda: window.new_page.part.question.isVisible(), "the unit is asked for")


def test_that_unsaved_changes_are_offered_first(whole, part) -> None:
    before = whole.text
    whole.core.start(str(part))
    assert whole.window.headline.offer is not None
    assert whole.text == before


def test_that_opening_a_file_closes_the_page(person, part) -> None:
    person.begin(part)
    person.window.files.open(sample("sampler_block_b"))
    assert not person.core.is_open
    assert person.window.board.isVisible()


def test_that_the_unit_of_the_window_is_the_unit_of_the_set_up(person, part) -> None:
    person.window.wiring.toggle_unit()
    person.begin(part)
    person.type_tools("1 end mill d0.375 flute 0.875 out 1.375 holder collet_16_jis30")
    person.click_face((0.0, 0.0, 1.0))
    assert value_at(person.text, "units") == "inch"
    assert value_at(person.text, "T1/d") == 0.375
    assert person.page.holding.fields["riser"].field.placeholderText() == "1.575"  # 40 mm
    person.window.wiring.toggle_unit()
    assert value_at(person.text, "units") == "inch"  # what was typed keeps its unit
