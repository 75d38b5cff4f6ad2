"""The tight view on a screen: what is drawn where, what keys and clicks do, and that old numbers never look new.

Pictures are tested by facts: the colour of a verdict between the jaws, the ground in a corner, a label off the gap.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import psutil
import pytest
from PySide6.QtCore import QPoint, QPointF, Qt
from PySide6.QtGui import QImage, QWheelEvent
from PySide6.QtTest import QSignalSpy, QTest
from PySide6.QtWidgets import QApplication

from app.jobs.check import moves_of
from app.scenes.reader import read_scene
from app.view3d import frame_process
from app.view3d.cameras import View
from app.view3d.frame_order import Finish
from app.view3d.gap_mark import Rect, plate_of
from app.view3d.places import Place, Told, following_place, place_of, room_of, swept_place
from app.view3d.styles import PALETTES, Style
from app.window.card_pictures import SIZE as CARD_SIZE
from app.window.card_pictures import CardPictures
from app.window.panels.tight_view import TightView
from app.window.telling_gap import clearance_text
from app.window.theme import DARK, LIGHT, theme_of
from app.window.units import Unit
from kinematics.report import SwingReport
from kinematics.verdict import Verdict
from tests.app.cli.checked_samples import SAMPLES, sample_file
from tests.app.view3d.sample_places import tightest_place
from tests.gui.conftest import Opener, sample

Wait = Callable[..., None]
SIZE = (1008, 424)


@cache
def demo(name: str = "sampler_block_b") -> Place:
    prepared, orientation, cut, report = tightest_place(name)
    return place_of(prepared, orientation, cut, report)


@cache
def demo_swept() -> Place:
    prepared = tightest_place("sampler_block_b")[0]
    swings = list(moves_of(read_scene(sample_file("sampler_block_b")), prepared, with_links=False))
    assert isinstance(swings[1], SwingReport)
    return swept_place(prepared, 1, swings[1])


@pytest.fixture
def view(application: QApplication) -> Iterator[TightView]:  # noqa: ARG001 - there is an application
    made = TightView(theme_of(LIGHT))
    made.canvas.motion_ms = 0
    made.resize(*SIZE)
    made.show()
    yield made
    made.shut_down()
    made.close()
    made.deleteLater()


def settled(view: TightView, wait: Wait) -> None:
    wait(lambda: view.canvas.is_settled, "the picture is fine")


def pixels(view: TightView) -> np.ndarray:
    """Of the picture, (height, width, 3), the uppermost row first, in pixels of the design."""
    image = view.canvas.grab().toImage().convertToFormat(QImage.Format.Format_RGBX8888)
    rows = np.frombuffer(image.constBits(), dtype=np.uint8).reshape(image.height(), image.bytesPerLine() // 4, 4)
    return rows[:, : image.width(), :3].astype(int)


def rgb(colour: str) -> np.ndarray:
    return np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)])


def share_near(area: np.ndarray, colour: str, within: int = 12) -> float:
    return float((np.abs(area - rgb(colour)).max(axis=-1) <= within).mean())


def ends_px(view: TightView) -> np.ndarray:
    """The ends of the gap in the frame that is shown, from the lower left corner."""
    canvas = view.canvas
    assert canvas.frame is not None
    assert canvas.place is not None
    assert canvas.place.gap is not None
    return canvas.frame.asked.camera.pixels(np.array(canvas.place.gap.ends_W), (canvas.width(), canvas.height()))


def closer(view: TightView, wait: Wait) -> None:
    """So close that the gap needs no glass."""
    settled(view, wait)
    view.canvas.zoom(6.0)
    settled(view, wait)


@pytest.mark.parametrize("look", [LIGHT, DARK], ids=["light", "dark"])
def test_that_the_gap_has_the_colour_of_its_verdict_and_the_ground_none(
    view: TightView, wait: Wait, look: object
) -> None:
    view.set_theme(theme_of(look))
    view.show_place(demo())
    settled(view, wait)
    palette = PALETTES[look.style]
    assert (pixels(view)[6, 6] == rgb(palette.ground)).all()
    closer(view, wait)
    x, y = ends_px(view).mean(axis=0)
    shown = pixels(view)
    row, column = shown.shape[0] - round(y), round(x)
    at = shown[row - 2 : row + 3, column - 1 : column + 2]
    assert share_near(at, palette.verdicts[Verdict.TIGHT].fill) > 0.5


@pytest.mark.parametrize("name", SAMPLES)
def test_that_the_label_of_every_sample_is_in_the_view_and_off_both_ends(
    view: TightView, wait: Wait, name: str
) -> None:
    view.show_place(demo(name))
    for looked in View:
        view.look_from(looked)
        settled(view, wait)
        plate = plate_of(view.canvas.items)
        assert plate is not None
        assert Rect(0, 0, view.canvas.width(), view.canvas.height()).holds((plate.x0, plate.y0))
        assert Rect(0, 0, view.canvas.width(), view.canvas.height()).holds((plate.x1, plate.y1))
        for end in ends_px(view):
            assert not plate.holds((end[0], end[1]), 2.0)
        paper = pixels(view)[round(view.canvas.height() - plate.y1) + 2 :, round(plate.x0) + 2 :]
        assert share_near(paper[:6, :6], PALETTES[Style.LIGHT].paper, 2) == 1.0


def test_that_a_pose_that_changes_makes_no_body_anew(view: TightView, wait: Wait) -> None:
    prepared, orientation, cut, report = tightest_place("sampler_block_b")
    view.show_place(demo())
    settled(view, wait)
    assert view.canvas.frame is not None
    made = view.canvas.frame.n_made
    assert made == len(demo().bodies)
    camera = view.canvas.camera
    for lift in (1.0, 2.0, 3.0):
        worst = report.worst
        tip = worst.tip_W
        moved = replace(report, worst=replace(worst, tip_W=(tip[0], tip[1], tip[2] + lift)))
        view.show_place(following_place(prepared, orientation, cut, moved))
        settled(view, wait)
    assert view.canvas.frame.n_made == made
    assert view.canvas.camera == camera
    assert view.place is not None
    assert view.place.tip_W[2] == pytest.approx(tip[2] + 3.0)


def test_that_a_place_that_follows_one_that_is_gone_is_not_shown(view: TightView, wait: Wait) -> None:
    prepared, orientation, cut, report = tightest_place("sampler_block_b")
    follower = following_place(prepared, orientation, cut, report)
    view.show_place(follower)
    assert view.place is None
    view.show_place(demo("lamp_bracket"))
    view.show_place(follower)
    settled(view, wait)
    assert view.place is demo("lamp_bracket")


def test_that_an_old_number_is_hollow_and_says_was(view: TightView, wait: Wait) -> None:
    view.show_place(demo())
    closer(view, wait)
    fill = PALETTES[Style.LIGHT].verdicts[Verdict.TIGHT].fill
    assert share_near(pixels(view), fill) > 0.0
    view.mark_stale()
    assert share_near(pixels(view), fill) == 0.0  # at once, without a frame
    words = [item.text for item in view.canvas.items if hasattr(item, "text")]
    assert words[0].startswith("was 2.50")
    assert view.title.text().startswith("was: ")
    view.show_place(demo())
    settled(view, wait)
    assert share_near(pixels(view), fill) > 0.0


def test_that_the_label_says_clearance_spare_and_pair_in_either_unit(view: TightView, wait: Wait) -> None:
    """2.50 mm is 0.0984 inch, 1.31 mm is 0.0516: each rounded down to a step of 0.0005."""
    view.show_place(demo())
    settled(view, wait)

    def words() -> list[str]:
        return [item.text for item in view.canvas.items if hasattr(item, "text")][:3]

    assert words() == ["2.50\u2009mm", "1.31 spare", "cutter to clamp screws L and R"]
    view.set_unit(Unit.INCH)
    assert words() == ["0.0980\u2009inch", "0.0515 spare", "cutter to clamp screws L and R"]


def test_that_what_hides_the_gap_from_the_door_is_said_there_and_only_there(view: TightView, wait: Wait) -> None:
    view.show_place(demo())
    for looked, is_said in ((View.ACROSS, False), (View.DOOR, True), (View.AXIS, False)):
        view.look_from(looked)
        settled(view, wait)
        said = [item.text for item in view.canvas.items if hasattr(item, "text")]
        assert ("hidden from the door by stock" in said) is is_said


def test_that_along_the_tool_twelve_o_clock_is_up(view: TightView, wait: Wait) -> None:
    view.show_place(demo())
    view.look_along_tool()
    settled(view, wait)
    assert view.canvas.camera is not None
    assert view.canvas.camera.towards == pytest.approx((0.0, 0.0, 1.0))
    assert np.dot(view.canvas.camera.up, demo().operator) == pytest.approx(-1.0)


@pytest.mark.parametrize(
    ("button", "looked"), [("Door", View.DOOR), ("Tool", View.AXIS), ("Gap", View.ACROSS)], ids=["door", "tool", "gap"]
)
def test_that_the_keys_of_the_bar_look_from_there(view: TightView, wait: Wait, button: str, looked: View) -> None:
    view.show_place(demo())
    settled(view, wait)
    found = next(b for b in view.view_buttons.values() if b.text().strip() == button)
    QTest.mouseClick(found, Qt.MouseButton.LeftButton)
    settled(view, wait)
    assert view.canvas.view is looked
    assert [b.isChecked() for b in view.view_buttons.values()].count(True) == 1
    assert found.isChecked()


def test_that_a_click_picks_what_is_seen_and_says_its_room(view: TightView, wait: Wait) -> None:
    view.show_place(demo())
    settled(view, wait)
    canvas = view.canvas
    assert canvas.frame is not None
    body = next(b for b in demo().bodies if b.name == "clamp screw R")
    x, y = _middle_of(view, body.id)
    spy = QSignalSpy(view.picked)
    QTest.mouseClick(canvas, Qt.MouseButton.LeftButton, pos=QPoint(round(x), round(y)))
    settled(view, wait)
    assert [spy.at(i)[0] for i in range(spy.count())] == ["clamp screw R"]
    assert view.card.isVisible()
    assert view.card.name.text() == "clamp screw R"
    assert view.card.number.text() == "2.50\u2009mm"
    edits = QSignalSpy(view.edit_asked)
    QTest.mouseClick(view.card.edit_button, Qt.MouseButton.LeftButton)
    assert edits.at(0)[0] == "clamp screw R"
    QTest.mouseClick(canvas, Qt.MouseButton.LeftButton, pos=QPoint(4, 4))
    assert not view.card.isVisible()


def _middle_of(view: TightView, body: str) -> tuple[float, float]:
    """A point of the widget that shows a body."""
    frame = view.canvas.frame
    assert frame is not None
    assert frame.body is not None
    rows, columns = np.nonzero(frame.body == frame.ids.index(body) + 1)
    k = len(rows) // 2
    height, width = frame.body.shape
    return (columns[k] + 0.5) / width * view.canvas.width(), (1.0 - (rows[k] + 0.5) / height) * view.canvas.height()


def test_that_the_room_of_a_body_far_from_the_gap_is_asked_for_and_shown(view: TightView, wait: Wait) -> None:
    prepared, orientation, cut, _ = tightest_place("sampler_block_b")
    view.show_place(demo())
    settled(view, wait)
    asked = QSignalSpy(view.room_wanted)
    view.pick_body("clamp screw L")
    assert asked.count() == 0  # the report tells it
    view.pick_body("riser")
    assert [asked.at(i)[0] for i in range(asked.count())] == ["riser"]
    assert view.card.lines.text() == "not among the nearest pairs of this cut"
    assert not view.card.number.isVisible()
    told = room_of(prepared, orientation, cut, "riser")
    assert told is not None
    view.show_room(("V6", "another cut"), "riser", told)
    assert not view.card.number.isVisible()
    view.show_room(demo().key, "riser", told)
    assert view.card.number.text() == clearance_text(told, Unit.MM)
    assert view.card.lines.text().startswith(told.pair)
    view.show_place(replace(demo()))  # a scene that was changed: what was told is old
    assert not view.card.number.isVisible()
    assert asked.count() == 2
    view.show_room(demo().key, "riser", None)
    assert view.card.lines.text() == "compared with nothing in this cut"


def test_that_the_tools_parts_lead_to_the_numbers_of_tool_and_holder(view: TightView, wait: Wait) -> None:
    view.show_place(demo())
    settled(view, wait)
    edits = QSignalSpy(view.edit_asked)
    for name in ("cutter", "nut"):
        view.pick_body(name)
        QTest.mouseClick(view.card.edit_button, Qt.MouseButton.LeftButton)
    assert [edits.at(i)[0] for i in range(2)] == ["T1", "H16"]


def test_that_what_is_picked_can_be_left_out_and_all_shown_again(view: TightView, wait: Wait) -> None:
    view.show_place(demo())
    settled(view, wait)
    spy = QSignalSpy(view.hidden_changed)
    view.pick_body("stock")
    view.hide_picked()
    settled(view, wait)
    assert view.canvas.frame is not None
    assert "stock" not in view.canvas.frame.ids
    assert view.hide_button.text() == "Show all"
    assert len(view.canvas.items) > 0
    view.show_all()
    settled(view, wait)
    assert "stock" in view.canvas.frame.ids
    assert [tuple(spy.at(i)[0]) for i in range(spy.count())] == [("stock",), ()]


def test_that_one_sees_through_the_part_alone(view: TightView, wait: Wait) -> None:
    view.show_place(demo())
    settled(view, wait)
    view.toggle_see_through()
    settled(view, wait)
    assert view.canvas.frame is not None
    by_id = {body.id: body.opacity for body in view.canvas.frame.shown.bodies}
    assert 0.0 < by_id["stock"] < 0.5
    assert by_id["dovetail body"] == 1.0
    assert view.through_button.isChecked()
    view.toggle_see_through()
    assert not view.through_button.isChecked()


# ---- the camera ----------------------------------------------------------------------------------


def test_that_dragging_goes_round_the_gap_and_a_double_click_comes_back(view: TightView, wait: Wait) -> None:
    view.show_place(demo())
    settled(view, wait)
    canvas, first = view.canvas, view.canvas.camera
    assert first is not None
    middle_before = first.pixels(demo().middle_W, SIZE)
    QTest.mousePress(canvas, Qt.MouseButton.LeftButton, pos=QPoint(400, 200))
    for x in (410, 440, 480):
        QTest.mouseMove(canvas, QPoint(x, 190))
    assert canvas.camera != first
    QTest.mouseRelease(canvas, Qt.MouseButton.LeftButton, pos=QPoint(480, 190))
    settled(view, wait)
    assert canvas.camera is not None
    assert canvas.camera.pixels(demo().middle_W, SIZE) == pytest.approx(middle_before)
    assert canvas.picked_id == ""  # a drag picks nothing
    QTest.mouseDClick(canvas, Qt.MouseButton.LeftButton, pos=QPoint(4, 4))
    settled(view, wait)
    assert canvas.camera == first


def test_that_arrows_go_round_ctrl_arrows_along_and_plus_nearer(view: TightView, wait: Wait) -> None:
    view.show_place(demo())
    settled(view, wait)
    canvas = view.canvas
    cameras = [canvas.camera]
    for key, held in (
        (Qt.Key.Key_Left, Qt.KeyboardModifier.ShiftModifier),
        (Qt.Key.Key_Up, Qt.KeyboardModifier.ControlModifier),
        (Qt.Key.Key_Plus, Qt.KeyboardModifier.NoModifier),
    ):
        QTest.keyClick(canvas, key, held)
        cameras.append(canvas.camera)
    start, round_it, along, near = cameras
    assert round_it.towards != start.towards
    assert round_it.height == start.height
    assert along.towards == round_it.towards
    assert along.focus != round_it.focus
    assert near.height == pytest.approx(along.height / 1.2)


def test_that_the_wheel_keeps_what_is_under_the_pointer(view: TightView, wait: Wait) -> None:
    view.show_place(demo())
    settled(view, wait)
    canvas = view.canvas
    at = QPointF(700.0, 100.0)
    size = (canvas.width(), canvas.height())
    before = canvas.camera
    assert before is not None
    mm = before.height / size[1]
    off = np.asarray(before.right) * (at.x() - size[0] / 2) * mm
    under = np.asarray(before.focus) + off + np.asarray(before.up) * (size[1] / 2 - at.y()) * mm
    event = QWheelEvent(
        at, canvas.mapToGlobal(at), QPoint(), QPoint(0, 240), Qt.MouseButton.NoButton,
        Qt.KeyboardModifier.NoModifier, Qt.ScrollPhase.NoScrollPhase, False,
    )  # fmt: skip
    QApplication.sendEvent(canvas, event)
    assert canvas.camera is not None
    assert canvas.camera.height < before.height
    assert canvas.camera.pixels(under, size) == pytest.approx((at.x(), size[1] - at.y()))


def test_that_fitting_shows_all_of_the_set_up(view: TightView, wait: Wait) -> None:
    view.show_place(demo())
    settled(view, wait)
    view.fit()
    settled(view, wait)
    canvas = view.canvas
    assert canvas.camera is not None
    seen = demo().standpoints[View.DOOR].aim.seen_W
    assert seen is not None
    found = canvas.camera.pixels(seen, (canvas.width(), canvas.height()))
    assert (found >= 0).all()
    assert (found <= (canvas.width(), canvas.height())).all()


def test_that_the_camera_takes_its_time_and_none_where_no_motion_is_wanted(view: TightView, wait: Wait) -> None:
    view.show_place(demo())
    settled(view, wait)
    canvas = view.canvas
    goal = demo().standpoints[View.DOOR].aim.camera((canvas.width(), canvas.height()))
    view.look_through_door()
    assert canvas.camera == goal  # motion_ms is 0 here
    canvas.motion_ms = 160
    settled(view, wait)
    view.look_across_gap()
    assert canvas.camera == goal
    settled(view, wait)
    across = demo().standpoints[View.ACROSS].aim.camera((canvas.width(), canvas.height()))
    assert canvas.camera == across


def test_that_a_new_place_of_the_same_cut_leaves_the_users_camera_alone(view: TightView, wait: Wait) -> None:
    view.show_place(demo())
    settled(view, wait)
    view.canvas.orbit(30.0, 5.0)
    moved = view.canvas.camera
    view.show_place(replace(demo(), title="again"))
    assert view.canvas.camera == moved
    view.show_place(demo("lamp_bracket"))
    assert view.canvas.camera != moved


def test_that_a_view_of_another_size_fits_its_camera_and_its_frame(view: TightView, wait: Wait) -> None:
    view.show_place(demo())
    settled(view, wait)
    view.resize(700, 640)
    settled(view, wait)
    assert view.canvas.frame is not None
    ratio = view.canvas.devicePixelRatioF()
    size = view.canvas.frame.asked.size
    assert size == (round(view.canvas.width() * ratio), round(view.canvas.height() * ratio))
    assert view.canvas.camera == demo().standpoints[View.ACROSS].aim.camera((view.canvas.width(), view.canvas.height()))


# ---- swept room ----------------------------------------------------------------------------------


def test_that_swept_room_is_asked_for_shown_and_left_again(view: TightView, wait: Wait) -> None:
    view.show_place(demo())
    settled(view, wait)
    spy = QSignalSpy(view.swept_wanted)
    view.show_swept(demo_swept())
    assert view.place is demo()  # nobody asked for it
    QTest.mouseClick(view.swept_button, Qt.MouseButton.LeftButton)
    view.show_swept(demo_swept())
    settled(view, wait)
    assert view.place is demo_swept()
    assert view.canvas.frame is not None
    assert view.canvas.frame.shown.shell is demo_swept().shell
    assert view.title.toolTip().startswith("V1 > V2" if demo_swept().key == ("V1", "V2") else "V2 > V3")
    QTest.mouseClick(view.swept_button, Qt.MouseButton.LeftButton)
    settled(view, wait)
    assert view.place is demo()
    assert view.canvas.frame.shown.shell is None
    assert [spy.at(i)[0] for i in range(spy.count())] == [True, False]


def test_that_the_room_of_the_next_swing_is_asked_for_when_another_cut_is_shown(view: TightView, wait: Wait) -> None:
    view.show_place(demo())
    view.toggle_swept()
    view.show_swept(demo_swept())
    settled(view, wait)
    spy = QSignalSpy(view.swept_wanted)
    view.show_place(demo("lamp_bracket"))
    assert [spy.at(i)[0] for i in range(spy.count())] == [True]
    assert view.place is demo("lamp_bracket")  # until the room is there


# ---- nothing to show, and ends -------------------------------------------------------------------


def test_that_where_nothing_can_be_shown_it_says_why(view: TightView, wait: Wait) -> None:
    view.show_place(demo())
    settled(view, wait)
    view.show_nothing("slot is narrower than its cutter")
    assert view.message.isVisible()
    assert view.message.text() == "slot is narrower than its cutter"
    assert view.title.text() == ""
    assert (pixels(view)[40:60, 40:60] == rgb(PALETTES[Style.LIGHT].ground)).all()
    view.show_place(demo())
    settled(view, wait)
    assert not view.message.isVisible()


@pytest.mark.skipif(os.name == "nt", reason="processes end by signals only elsewhere")
def test_that_a_machine_without_graphics_keeps_its_window_and_is_told(
    view: TightView, wait: Wait, monkeypatch: pytest.MonkeyPatch
) -> None:
    dies = "import os, signal; os.kill(os.getpid(), signal.SIGSEGV)"
    monkeypatch.setattr(frame_process, "SERVER", ("-c", dies))
    view.show_place(demo())
    wait(view.message.isVisible, "the reason is shown")
    assert view.message.text().startswith("no picture can be drawn here: the graphics library ended")
    assert view.title.text() == "V1 profile, T1 in H16"


def test_that_twenty_views_leave_no_process_and_no_file(
    application: QApplication, wait: Wait, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert application is not None
    monkeypatch.setattr(frame_process, "IN_MEMORY", tmp_path)
    before = {child.pid for child in psutil.Process().children()}
    for _ in range(20):
        view = TightView(theme_of(LIGHT))
        view.canvas.motion_ms = 0
        view.resize(300, 240)
        view.show()
        view.show_place(demo())
        wait(lambda view=view: view.canvas.frame is not None, "a frame has come")
        view.shut_down()
        view.close()
        view.deleteLater()
    assert {child.pid for child in psutil.Process().children()} <= before
    assert not list(tmp_path.iterdir())


# ---- in the window --------------------------------------------------------------------------------


def test_that_the_window_shows_the_tightest_cut_its_swing_and_the_room_of_any_body(opener: Opener, wait: Wait) -> None:
    window = opener.checked(sample("sampler_block_b"))
    view = window.view
    wait(lambda: view.place is not None and view.canvas.is_settled, "the tightest cut is shown")
    assert view.title.text() == "V1 profile, T1 in H16"
    view.pick_body("riser")
    wait(lambda: view.card.number.isVisible(), "the room of the riser is told")
    prepared, orientation, cut, _ = tightest_place("sampler_block_b")
    told = room_of(prepared, orientation, cut, "riser")
    assert told is not None
    assert view.card.number.text() == clearance_text(told, Unit.MM)
    view.toggle_swept()
    wait(lambda: view.place is not None and view.place.shell is not None, "the swept room is shown")
    assert view.title.toolTip().startswith("V1 > V2")
    wait(lambda: view.canvas.is_settled, "it is drawn")
    assert view.canvas.frame is not None
    assert view.canvas.frame.shown.shell is not None


# ---- cards ---------------------------------------------------------------------------------------


def test_that_pictures_of_cards_come_as_they_are_ready_sharp_and_with_the_gap(
    application: QApplication, wait: Wait
) -> None:
    assert application is not None
    cards = CardPictures(theme_of(LIGHT))
    cards.set_ratio(2.0)
    found: dict[object, QImage] = {}
    cards.ready.connect(found.__setitem__)
    for name in ("sampler_block_b", "lamp_bracket"):
        cards.want((name, "cut"), demo(name))
    wait(lambda: cards.is_idle, "both are drawn")
    assert list(found) == [("sampler_block_b", "cut"), ("lamp_bracket", "cut")]
    for image in found.values():
        assert (image.width(), image.height()) == (2 * CARD_SIZE[0], 2 * CARD_SIZE[1])
        assert image.devicePixelRatio() == 2.0
        middle = image.pixelColor(image.width() // 2, image.height() // 2)
        wanted = rgb(PALETTES[Style.LIGHT].verdicts[Verdict.TIGHT].fill)
        assert np.abs(np.array([middle.red(), middle.green(), middle.blue()]) - wanted).max() < 14
    found.clear()
    cards.forget()
    cards.set_theme(theme_of(DARK))
    wait(lambda: cards.is_idle, "nothing is left")
    assert not found
    cards.shut_down()
    cards.deleteLater()


def test_that_an_overlap_is_told_by_its_depth_and_contact_by_its_name() -> None:
    told = Told("nut to stock", None, None, 2.0, "inside")
    assert clearance_text(told, Unit.MM) == "inside"
    assert clearance_text(replace(told, contact=None), Unit.MM) == "?"
    deep = tightest_place("sampler_block_a")[3].worst
    assert deep is not None
    assert clearance_text(replace(told, clearance=deep.clearance), Unit.MM) == "overlap 2.26\u2009mm"


def test_that_quick_frames_are_followed_by_a_fine_one(view: TightView, wait: Wait) -> None:
    finishes: list[Finish] = []
    view.canvas.process.drawn.connect(lambda frame: finishes.append(frame.asked.finish))
    view.show_place(demo())
    settled(view, wait)
    assert finishes[0] is Finish.QUICK
    assert Finish.FINE in finishes
