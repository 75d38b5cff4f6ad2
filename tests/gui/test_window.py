"""The window as its user meets it: keys, states, files, undo, stopping, and that nothing is left when it closes."""

from __future__ import annotations

import os
import signal

import pytest
from PySide6.QtCore import QMimeData, QPoint, QPointF, Qt, QUrl
from PySide6.QtGui import QDropEvent, QKeySequence
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication

from app.jobs.words import MINUS
from app.window.actions import ACTIONS
from app.window.panels.about import CAUTIONS, About
from app.window.panels.find_anything import FindAnything
from app.window.panels.keys_card import KeysCard
from app.window.results import Holds, Order
from app.window.units import Unit
from kinematics.verdict import Verdict
from tests.gui import scenes_for_pictures as scenes
from tests.gui.conftest import is_checked, sample, settle

SPOT = ("V6", "drain spot")


@pytest.fixture
def window(opener):
    """The demo, checked, in a window that has the keyboard."""
    made = opener.checked(sample("sampler_block_b"), (1920, 1080))
    press_settle(made)
    return made


def press_settle(window) -> None:
    window.activateWindow()
    window.board.setFocus()
    settle()


def press(window, key: str) -> None:
    """A key, given to whatever has the focus."""
    combination = QKeySequence(key)[0]
    QTest.keyClick(QApplication.focusWidget() or window, combination.key(), combination.keyboardModifiers())
    settle()


# ---- keys ----------------------------------------------------------------------------------------


def test_that_digits_pick_cards_and_letters_what_they_say(window) -> None:
    press(window, "2")
    assert window.session.focus == SPOT
    press(window, "1")
    assert window.session.focus == ("V1", "profile")
    press(window, "Down")
    assert window.session.focus[0] == "V6"
    press(window, "Right")
    assert window.session.focus == ("V6", "drain drill")
    press(window, "Left")
    assert window.session.focus == SPOT
    press(window, "N")
    assert window.session.focus == ("V1", "profile"), "two are not clear, and the next after the last is the first"
    press(window, "O")
    assert window.wiring.order is Order.MACHINING
    assert [card.card.name for card in window.board.cards] == ["V1", "V2", "V3", "V4", "V5", "V6", "V7"]
    press(window, "U")
    assert window.wiring.unit is Unit.INCH
    assert window.board.cards[0].texts.number == "0.0515"  # 1.31 / 25.4 = 0.05157, rounded down to a half thousandth
    assert "0.0515 spare" in window.headline.sentence.whole


def test_that_a_letter_typed_into_a_field_is_text(window) -> None:
    window.open_finder()
    QTest.keyClicks(window.overlay.field, "u2n")
    assert window.overlay.field.text() == "u2n"
    assert window.wiring.unit is Unit.MM


def test_that_every_shortcut_is_there_once() -> None:
    keys = [(key, action.where) for action in ACTIONS for key in action.keys]
    assert len(keys) == len(set(keys))
    assert len({action.key for action in ACTIONS}) == len(ACTIONS)
    in_window = {key for key, where in keys if where == "window"}
    assert not {key for key, where in keys if where != "window"} & in_window


def test_that_all_actions_of_the_table_can_be_triggered_without_a_set_up(opener) -> None:
    window = opener()
    window.files.ask_name_to_open = window.files.ask_name_to_save = lambda: None
    opens_something = {"file.sample", "file.close", "file.new"}
    for action in ACTIONS:
        if action.key not in opens_something:
            window.trigger(action.key)
            settle()


def test_that_f1_shows_every_key_and_escape_takes_it_away(window) -> None:
    press(window, "F1")
    card = window.overlay
    assert isinstance(card, KeysCard)
    shown = " ".join(keys for _, lines in card.rows for keys, _ in lines)
    for action in ACTIONS:
        if action.keys and not action.key.startswith(("board.", "dial.")):
            assert action.keys[0] in shown, action.key
    press(window, "Escape")
    assert window.overlay is None


def test_that_about_tells_the_cautions_and_versions(window) -> None:
    window.trigger("window.about")
    about = window.overlay
    assert isinstance(about, About)
    assert all(caution in about.accessibleDescription() for caution in CAUTIONS)
    assert dict(about.versions)["tightside"]


def test_that_anything_is_found_by_name(window) -> None:
    press(window, "Ctrl+K")
    finder = window.overlay
    assert isinstance(finder, FindAnything)
    QTest.keyClicks(finder.field, "drain spot")
    assert finder.found[0].key == SPOT
    QTest.keyClick(finder.field, Qt.Key.Key_Return)
    assert window.session.focus == SPOT
    assert window.overlay is None
    window.open_finder()
    QTest.keyClicks(window.overlay.field, "T6")
    assert (window.overlay.found[0].kind, window.overlay.found[0].name) == ("tool", "T6")


def test_that_f6_goes_round_the_panes(window) -> None:
    seen = []
    for _ in range(12):
        press(window, "F6")
        focus = QApplication.focusWidget()
        seen.append(next(pane for pane in window._panes if focus is pane or pane.isAncestorOf(focus)))
    assert {type(pane).__name__ for pane in seen} >= {"Board", "TightView", "Dials", "UsesUpBar", "SideOnPlot"}


# ---- selection -----------------------------------------------------------------------------------


def test_that_a_click_on_a_card_shows_its_cut_everywhere(window, wait) -> None:
    card = next(card for card in window.board.cards if card.card.name == "V6")
    QTest.mouseClick(card, Qt.MouseButton.LeftButton, Qt.KeyboardModifier.NoModifier, QPoint(60, 20))
    wait(lambda: window.view.place.key == SPOT, "the view shows the cut")
    wait(lambda: window.uses_up.bar.title == "V6 drain spot", "the bar is of the cut")
    wait(lambda: window.side_on.plot.title.startswith("V6 drain spot"), "the plot is of the cut")
    wait(lambda: window.round_tool.plot.title.startswith("V6 drain spot"), "the plot is of the cut")
    assert card.is_picked
    assert [c.card.name for c in window.board.cards if c.is_picked] == ["V6"]


def test_that_a_swing_shows_the_room_that_it_sweeps(window, wait) -> None:
    window.wiring.set_order(Order.MACHINING)
    strip = window.board.strips[0]
    QTest.mouseClick(strip, Qt.MouseButton.LeftButton, Qt.KeyboardModifier.NoModifier, QPoint(100, 10))
    assert window.session.move == strip.move_now.key
    wait(lambda: window.view.place.shell is not None, "the swept room is shown")
    window.trigger("view.swept")
    assert window.view.place.shell is None
    assert window.session.move is None


def test_that_cards_show_pictures_of_their_own_numbers(window, wait) -> None:
    wait(lambda: all(card.has_picture for card in window.board.cards), "every card has its picture", seconds=120)
    card = next(card for card in window.board.cards if card.card.name == "V6")
    window.session.turn({"T4/stick_out": 20.0})
    wait(lambda: not card.has_picture, "an old picture is no picture of the number")
    window.session.let_go()


# ---- edits ---------------------------------------------------------------------------------------


def test_that_an_edit_is_followed_and_undone_by_everything(window, opener) -> None:
    before = window.session.document.text
    window.session.document.edit("T4 out", "T4/stick_out", 21)
    opener.await_check(window)
    card = next(card for card in window.board.cards if card.card.name == "V6")
    assert card.texts.verdict is Verdict.CLEAR
    assert window.headline.title.whole.endswith(" *")
    assert window.headline.count.text() == "1 of 9 cuts"
    press(window, "Ctrl+Z")
    assert window.session.document.text == before
    opener.await_check(window)
    card = next(card for card in window.board.cards if card.card.name == "V6")
    assert (card.texts.verdict, card.texts.number) == (Verdict.TIGHT, "1.55")
    assert not window.headline.title.whole.endswith(" *")


def test_that_every_dial_with_numbers_can_be_dragged_released_and_undone(window, opener, wait) -> None:
    window.wiring.pick(SPOT)
    wait(lambda: "T4/stick_out" in window.dials.rows, "the dials of the cut are there")
    before = window.session.document.text
    keys = [key for key, row in window.dials.rows.items() if not row.offer.choices]
    assert len(keys) >= 6
    for key in keys:
        face = window.dials.rows[key].face
        start = face.x_of(face.value)
        y = face.height() // 2
        QTest.mousePress(face, Qt.MouseButton.LeftButton, Qt.KeyboardModifier.NoModifier, QPoint(round(start), y))
        for step in (3, 6, 9):
            QTest.mouseMove(face, QPoint(round(start) + step, y))
            settle()
        wait(lambda: bool(window.session.held), f"{key} is held")
        held = dict(window.session.held)
        wait(lambda: window.session.snapshot.is_fresh and not window.session.snapshot.doing, f"{key} is followed")
        QTest.mouseRelease(face, Qt.MouseButton.LeftButton, Qt.KeyboardModifier.NoModifier, QPoint(round(start) + 9, y))
        settle()
        assert not window.session.held
        assert window.session.document.text != before, f"{key}: {held}"
        assert window.session.document.stack.count() == 1
        window.session.document.undo()
        assert window.session.document.text == before
    opener.await_check(window)
    assert next(card for card in window.board.cards if card.card.name == "V6").texts.number == "1.55"


def test_that_a_held_dial_tells_what_a_check_of_the_edited_file_tells(window, opener, wait, tmp_path) -> None:
    window.session.turn({"T4/stick_out": 20.5})
    wait(lambda: window.session.snapshot.is_fresh and not window.session.snapshot.doing, "the dial is followed")
    held = [(cut.key, cut.verdict, cut.result.worst.spare) for cut in window.session.snapshot.cuts]
    file = tmp_path / "edited.scene.yaml"
    file.write_text(sample("sampler_block_b").read_text().replace("stick_out: 18", "stick_out: 20.5"))
    other = opener.checked(file)
    found = [(cut.key, cut.verdict, cut.result.worst.spare) for cut in other.session.snapshot.cuts]
    assert [(k, v) for k, v, _ in held] == [(k, v) for k, v, _ in found]
    assert [s for *_, s in held] == pytest.approx([s for *_, s in found], abs=1e-6)


# ---- states --------------------------------------------------------------------------------------


def test_that_a_cut_that_was_not_checked_cannot_be_overlooked(opener, tmp_path) -> None:
    window = opener.checked(scenes.not_checked(tmp_path))
    for order in Order:
        window.wiring.set_order(order)
        first = window.board.cards[0]
        assert (first.card.name, first.texts.word, first.texts.number) == ("V2", "NOT CHECKED", "?")
        assert "after V1/profile" in first.texts.pair
    assert window.headline.plate.verdict is Verdict.NOT_CHECKED
    assert window.status.unchecked.text().startswith("1 not checked: ")
    assert window.session.snapshot.verdict is Verdict.NOT_CHECKED


def test_that_faults_are_listed_as_on_the_command_line_and_can_be_jumped_to(opener, wait, tmp_path) -> None:
    window = opener(scenes.with_faults(tmp_path))
    wait(lambda: bool(window.session.snapshot.faults), "the faults are told")
    settle()
    told = [window.faults.item(i).text() for i in range(window.faults.count())]
    from app.scenes.faults import SceneFileError
    from app.scenes.reader import read_scene

    with pytest.raises(SceneFileError) as raised:
        read_scene(tmp_path / "faults.scene.yaml")
    assert told == [str(fault) for fault in raised.value.faults]
    assert window.faults.isVisible()
    jumped = []
    window.faults.jumped.connect(jumped.append)
    press_settle(window)
    press(window, "F8")
    QTest.keyClick(window.faults, Qt.Key.Key_Return)
    assert jumped == [raised.value.faults[0]]


def test_that_a_fault_leaves_the_last_numbers_as_old(window, wait) -> None:
    window.session.document.edit("wrong", "T4/flute", -3)
    wait(lambda: bool(window.session.snapshot.faults), "the fault is told")
    wait(lambda: all(card.texts.is_was for card in window.board.cards), "every number looks old")
    assert window.headline.plate.is_hollow
    press(window, "Ctrl+Z")
    wait(lambda: is_checked(window), "the set-up is checked again")
    assert not window.faults.isVisible()


@pytest.mark.skipif(os.name == "nt", reason="processes end by signals only elsewhere")
def test_that_an_engine_that_dies_is_replaced_and_nothing_is_believed_meanwhile(window, wait) -> None:
    first = window.session.worker.process_id
    window.session.document.edit("riser", "riser/h", 44)
    os.kill(first, signal.SIGKILL)
    wait(lambda: window.session.worker.process_id not in (0, first), "another process is there")
    wait(lambda: window.session.snapshot.second_opinion is not None, "the set-up is checked by it")
    assert window.session.snapshot.is_fresh


@pytest.mark.skipif(os.name == "nt", reason="processes end by signals only elsewhere")
def test_that_an_engine_that_keeps_dying_leaves_everything_not_checked(window, wait) -> None:
    window.session.document.edit("riser", "riser/h", 44)
    while window.session.worker.is_running:
        os.kill(window.session.worker.process_id, signal.SIGKILL)
        pid = window.session.worker.process_id
        wait(lambda pid=pid: window.session.worker.process_id != pid, "it is gone")
    settle()
    assert window.headline.plate.verdict is Verdict.NOT_CHECKED
    assert "ended by the system" in window.headline.sentence.whole
    assert all(cut.verdict is Verdict.NOT_CHECKED or cut.holds is Holds.FRESH for cut in window.session.snapshot.cuts)
    assert window.headline.offer.buttons == ("Try again",)
    window.headline.offer_key(0).click()
    wait(lambda: is_checked(window) and not window.session.snapshot.failure, "it goes on")


@pytest.mark.slow
def test_that_long_work_is_stopped_and_goes_on_when_asked(opener, wait, tmp_path) -> None:
    window = opener(scenes.with_large_part(tmp_path, 400_000))
    wait(lambda: window.session.snapshot.n_fresh >= 2, "some cuts are there")
    press_settle(window)
    press(window, "Escape")
    session = window.session
    wait(lambda: not session.snapshot.doing and not session.is_about_to_tell, "it stands still", seconds=20)
    done = [cut for cut in window.session.snapshot.cuts if cut.holds is Holds.FRESH]
    stopped = [cut for cut in window.session.snapshot.cuts if cut.holds is Holds.STOPPED]
    assert len(done) + len(stopped) == 9
    assert stopped
    words = {card.card.name: card.texts.word for card in window.board.cards}
    assert all(words[cut.key[0]] in ("NOT CHECKED", "TIGHT", "CLEAR") for cut in stopped)
    assert window.headline.plate.verdict is Verdict.NOT_CHECKED
    assert window.headline.offer.buttons == ("Go on",)
    window.headline.offer_key(0).click()
    opener.await_check(window)
    assert window.headline.offer is None


def test_that_a_light_and_a_dark_look_differ_and_all_panels_follow(window) -> None:
    light = window.grab().toImage()
    window.trigger("window.look")
    settle()
    dark = window.grab().toImage()
    spots = [(505, 600), (600, 8), (1000, 1060), (1300, 1030), (100, 1000), (1880, 1040)]
    for x, y in spots:
        assert light.pixelColor(x, y).lightness() > 180 > 90 > dark.pixelColor(x, y).lightness(), (x, y)


# ---- files ---------------------------------------------------------------------------------------


def test_that_the_start_offers_what_was_open_before(opener, wait) -> None:
    window = opener.checked(sample("sampler_block_c"))
    window.close()
    other = opener()
    assert other.start.isVisible()
    assert not other.board.isVisible()
    assert other.files.recent() == (sample("sampler_block_c").absolute(),)
    other.start._recent_keys.button(0).click()
    wait(lambda: is_checked(other), "the recent file is checked")
    assert other.headline.plate.word == "CLEAR"


def test_that_a_dropped_scene_is_opened(opener, wait) -> None:
    window = opener()
    data = QMimeData()
    data.setUrls([QUrl.fromLocalFile(str(sample("sampler_block_c")))])
    actions, button, modifier = Qt.DropAction.CopyAction, Qt.MouseButton.LeftButton, Qt.KeyboardModifier.NoModifier
    window.dropEvent(QDropEvent(QPointF(100, 100), actions, data, button, modifier))
    wait(lambda: is_checked(window), "the dropped file is checked")


def test_that_unsaved_changes_are_never_lost_unasked(opener, tmp_path) -> None:
    window = opener.checked(scenes.demo(tmp_path))
    window.session.document.edit("T4 out", "T4/stick_out", 21)
    window.close()
    assert window.isVisible()
    assert window.headline.offer.buttons == ("Save", "Throw them away")
    window.escape()
    assert window.headline.offer is None
    window.files.open(sample("sampler_block_a"))
    assert window.session.document.path.parent == tmp_path
    window.headline.offer_key(0).click()
    assert "stick_out: 21" in (tmp_path / "demo.scene.yaml").read_text()
    assert window.session.document.path == sample("sampler_block_a")


def test_that_a_change_on_disk_is_offered_with_two_buttons(opener, wait, tmp_path) -> None:
    window = opener.checked(scenes.demo(tmp_path))
    file = tmp_path / "demo.scene.yaml"
    file.write_text(file.read_text().replace("stick_out: 18", "stick_out: 21"))
    wait(lambda: window.headline.offer is not None, "the change is offered")
    assert window.headline.offer.buttons[0] == "Read it again"
    window.headline.offer_key(0).click()
    wait(lambda: is_checked(window), "it is checked again")
    assert next(card for card in window.board.cards if card.card.name == "V6").texts.verdict is Verdict.CLEAR
    assert not window.session.document.is_modified


def test_that_a_file_that_is_no_scene_is_told_and_changes_nothing(window, tmp_path) -> None:
    before = window.session.document.text
    window.files.open(tmp_path / "nothing.scene.yaml")
    assert "cannot be read" in window.headline.offer.words
    assert window.session.document.text == before


# ---- sizes, memory, ends -------------------------------------------------------------------------


@pytest.mark.parametrize("size", [(960, 600), (1280, 800), (1920, 1080), (3840, 2160)])
def test_that_every_panel_has_its_place_at_every_size(opener, size) -> None:
    window = opener.checked(sample("sampler_block_b"), size)
    assert (window.width(), window.height()) == size
    for panel, least in ((window.board, 250), (window.view, 360), (window.dials, 260), (window.uses_up, 200)):
        assert panel.isVisible()
        assert panel.width() >= least, type(panel).__name__
        corner = panel.mapTo(window, QPoint(panel.width(), panel.height()))
        assert corner.x() <= size[0]
        assert corner.y() <= size[1]
    columns = {card.x() for card in window.board.cards}
    assert len(columns) == {960: 1, 1280: 1, 1920: 2, 3840: 4}[size[0]]
    both = window.side_on.isVisible() and window.round_tool.isVisible()
    assert both == (size[0] >= 1920)


def test_that_the_layout_order_and_unit_are_remembered(opener, settings) -> None:
    window = opener.checked(sample("sampler_block_b"), (1920, 1080))
    splitter = window.arrangement._splitters["main"]
    splitter.setSizes([780, 1140])
    kept = splitter.sizes()
    window.wiring.set_order(Order.MACHINING)
    window.wiring.toggle_unit()
    window.close()
    settings.sync()
    other = opener.checked(sample("sampler_block_b"), (1920, 1080))
    assert other.arrangement._splitters["main"].sizes() == kept
    assert other.wiring.order is Order.MACHINING
    assert other.wiring.unit is Unit.INCH
    assert {card.x() for card in other.board.cards}.__len__() == 3


def test_that_a_negative_spare_keeps_its_sign_in_both_units(opener) -> None:
    window = opener.checked(sample("sampler_block_a"))
    assert window.board.cards[0].texts.number == f"{MINUS}2.95"
    window.wiring.toggle_unit()
    assert window.board.cards[0].texts.number.startswith(f"{MINUS}0.116")  # 2.95 / 25.4 = 0.1161


@pytest.mark.slow
def test_that_twenty_windows_come_and_go_without_a_trace(opener, wait) -> None:
    """The conftest looks for widgets, threads and processes; here for what grows."""
    import psutil

    process = psutil.Process()
    held = []
    for n in range(20):
        window = opener(sample("sampler_block_b"))
        wait(lambda window=window: bool(window.session.snapshot.n_fresh), "the first cut is there")
        if n % 4 == 0:
            opener.await_check(window)
        opener.close()
        settle()
        held.append((process.memory_info().rss, process.num_fds(), process.num_threads()))
    assert held[-1][1] <= held[4][1] + 2, "file descriptors"
    assert held[-1][2] <= held[4][2], "threads"
    assert held[-1][0] - held[4][0] < 40 << 20, f"memory grew from {held[4][0] >> 20} to {held[-1][0] >> 20} MiB"
