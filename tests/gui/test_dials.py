"""The dials say what is turned, at most 60 times a second and never without the last value; they read as told."""

from dataclasses import replace
from itertools import pairwise

import pytest
from PySide6.QtCore import QPoint, QPointF, Qt
from PySide6.QtTest import QSignalSpy, QTest
from PySide6.QtWidgets import QLineEdit, QToolButton

from app.jobs.dial_faces import (
    Choice,
    CurvePoint,
    DialCell,
    DialFace,
    DialKind,
    DialOffer,
    DialRange,
    DialScope,
    NumberRule,
)
from app.window.panels.dial_row import Worst
from app.window.panels.dials import HEAD, HEIGHT, Dials
from app.window.panels.painted import fitted, width_of
from app.window.theme import DARK, LIGHT
from app.window.units import Unit
from kinematics.verdict import Verdict
from tests.gui.on_screen import colours, on_screen, picture, theme_for

SIZES = [(560, 300), (440, 268), (1008, 268)]
OUT, HOLDER, TILT, RISER = "T4/stick_out", "T4/holder", "V6/tilt", "riser/h"
PART = tuple(f"workpiece/zero/at/{axis}" for axis in "xyz")
OFFERS = (
    DialOffer(OUT, "T4 out", DialKind.LENGTH, 18.0, 4.0, 54.0, NumberRule(OUT), tool="T4"),
    DialOffer(
        HOLDER, "T4 holder", DialKind.CHOICE, "H11", choices=tuple(Choice(h, ()) for h in ("H16", "H11", "H11m"))
    ),
    DialOffer(TILT, "V6 tilt", DialKind.ANGLE, 105.0, -30.0, 120.0, NumberRule(TILT)),
    DialOffer(RISER, "riser h", DialKind.LENGTH, 40.0, 10.0, 80.0, NumberRule(RISER)),
    *(DialOffer(p, f"part {p[-1]}", DialKind.LENGTH, 0.0, -5.0, 5.0, NumberRule(p), group="part") for p in PART),
)
FACE = DialFace(
    OUT,
    DialScope.TOOL,
    2.0,
    curve=tuple(CurvePoint(float(v), min(0.1 * v, 6.0)) for v in range(4, 55, 5)),
    ranges=(
        DialRange(4.0, 10.0, Verdict.HITS),
        DialRange(10.0, 20.0, Verdict.TIGHT, 1.55, is_flat=True, where="V6 drain spot: nut, clamp screw L"),
        DialRange(20.0, 54.0, Verdict.CLEAR, 2.01),
    ),
    least_clear=20.0,
    n_done=1,
    n_all=1,
)


@pytest.fixture
def dials():
    made = Dials(theme_for(LIGHT))
    made.show_offers(OFFERS)
    made.show_tool("T4")
    made.show_face(FACE)
    with on_screen(made, (560, 300)):
        yield made


def heard(spy):
    return [list(spy.at(i)) for i in range(spy.count())]


def at(dials, key, value):
    """Where a value stands on its face."""
    face = dials.rows[key].face
    return QPoint(round(face.x_of(value)), 18)


# ---- dragging ----------------------------------------------------------------------------------------


def test_that_a_press_turns_to_the_value_under_the_hand_and_the_release_says_so(dials):
    turned, released = QSignalSpy(dials.turned), QSignalSpy(dials.released)
    face = dials.rows[OUT].face
    QTest.mousePress(face, Qt.MouseButton.LeftButton, pos=at(dials, OUT, 30.0))
    assert dials.held == OUT
    key, value = heard(turned)[0]
    assert key == OUT
    assert value == pytest.approx(30.0, abs=50.0 / face._track.width())
    assert round(value * 10) == pytest.approx(value * 10)  # to a tenth
    QTest.mouseRelease(face, Qt.MouseButton.LeftButton, pos=at(dials, OUT, 30.0))
    assert dials.held is None
    assert heard(released) == [[OUT, value]]
    assert dials.rows[OUT].field.text() == f"{value:.1f}"


def test_that_a_drag_ends_with_the_last_value_however_fast_it_was(dials):
    turned, released = QSignalSpy(dials.turned), QSignalSpy(dials.released)
    face = dials.rows[OUT].face
    QTest.mousePress(face, Qt.MouseButton.LeftButton, pos=at(dials, OUT, 10.0))
    for v in range(100, 500):  # as fast as can be: many moves within one sixtieth
        QTest.mouseMove(face, at(dials, OUT, v / 10.0))
    last = face.value
    QTest.mouseRelease(face, Qt.MouseButton.LeftButton, pos=at(dials, OUT, 49.9))
    assert heard(turned)[-1] == [OUT, last]
    assert heard(released) == [[OUT, last]]


def test_that_the_value_that_waits_is_told_when_its_time_comes(dials):
    turned = QSignalSpy(dials.turned)
    row = dials.rows[OUT]
    row._moved(20.1)
    row._moved(20.2)
    row._moved(20.3)
    assert [value for _, value in heard(turned)] == [20.1]
    assert turned.wait(1000)
    assert [value for _, value in heard(turned)] == [20.1, 20.3]


def test_that_values_of_two_dials_are_not_mixed_up(dials):
    turned = QSignalSpy(dials.turned)
    dials.rows[OUT]._moved(20.1)
    dials.rows[OUT]._moved(20.2)
    dials.rows[RISER]._moved(41.0)
    dials._flush()
    assert heard(turned) == [[OUT, 20.1], [OUT, 20.2], [RISER, 41.0]]


def test_that_ctrl_snaps_to_the_edge_of_a_range_and_nothing_else_does(dials):
    face = dials.rows[OUT].face
    near = at(dials, OUT, 20.0) + QPoint(3, 0)
    QTest.mouseClick(face, Qt.MouseButton.LeftButton, pos=near)
    assert face.value != 20.0
    QTest.mouseClick(face, Qt.MouseButton.LeftButton, Qt.KeyboardModifier.ControlModifier, near)
    assert face.value == 20.0


def test_that_double_click_goes_back_to_the_saved_value(dials):
    reset = QSignalSpy(dials.reset)
    face = dials.rows[OUT].face
    QTest.mouseClick(face, Qt.MouseButton.LeftButton, pos=at(dials, OUT, 30.0))
    QTest.mouseDClick(face, Qt.MouseButton.LeftButton, pos=at(dials, OUT, 30.0))
    assert heard(reset) == [[OUT]]
    assert face.value == 18.0
    assert dials.held is None


# ---- keys --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("unit", "modifier", "step"),
    [
        (Unit.MM, Qt.KeyboardModifier.NoModifier, 0.1),
        (Unit.MM, Qt.KeyboardModifier.ShiftModifier, 1.0),
        (Unit.MM, Qt.KeyboardModifier.ControlModifier, 0.01),
        (Unit.INCH, Qt.KeyboardModifier.NoModifier, 0.005 * 25.4),
        (Unit.INCH, Qt.KeyboardModifier.ShiftModifier, 0.05 * 25.4),
        (Unit.INCH, Qt.KeyboardModifier.ControlModifier, 0.0005 * 25.4),
    ],
)
def test_that_arrow_keys_step_by_what_the_unit_and_the_key_say(dials, unit, modifier, step):
    dials.set_unit(unit)
    face = dials.rows[OUT].face
    QTest.keyClick(face, Qt.Key.Key_Right, modifier)
    assert face.value == pytest.approx(18.0 + step, abs=1e-6)
    QTest.keyClick(face, Qt.Key.Key_Left, modifier)
    assert face.value == pytest.approx(18.0, abs=1e-6)


def test_that_angles_step_in_degrees_in_either_unit(dials):
    dials.set_unit(Unit.INCH)
    face = dials.rows[TILT].face
    QTest.keyClick(face, Qt.Key.Key_Left, Qt.KeyboardModifier.ShiftModifier)
    assert face.value == 104.0


def test_that_brackets_go_from_edge_to_edge_and_backspace_back(dials):
    face, reset = dials.rows[OUT].face, QSignalSpy(dials.reset)
    QTest.keyClick(face, Qt.Key.Key_BracketRight)
    assert face.value == 20.0
    QTest.keyClick(face, Qt.Key.Key_BracketRight)
    assert face.value == 54.0
    for _ in range(3):
        QTest.keyClick(face, Qt.Key.Key_BracketLeft)
    assert face.value == 4.0
    QTest.keyClick(face, Qt.Key.Key_Backspace)
    assert face.value == 18.0
    assert heard(reset) == [[OUT]]


def test_that_a_key_that_is_let_go_releases_and_enter_keeps(dials):
    face, released = dials.rows[OUT].face, QSignalSpy(dials.released)
    QTest.keyClick(face, Qt.Key.Key_Right)
    assert heard(released) == [[OUT, 18.1]]
    QTest.keyClick(face, Qt.Key.Key_Return)
    assert heard(released) == [[OUT, 18.1]] * 2


def test_that_dials_are_numbered_as_they_are_seen(dials):
    picked = QSignalSpy(dials.picked)
    dials.focus_dial(3)
    assert dials.window().focusWidget() is dials.rows[TILT].face
    dials.focus_dial(5)
    assert dials.window().focusWidget() is dials.rows[PART[0]].face
    dials.focus_dial(6)  # there is none
    assert dials.window().focusWidget() is dials.rows[PART[0]].face
    assert [key for (key,) in heard(picked)] == [TILT, PART[0]]


# ---- fields and choices ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("unit", "typed", "mm"),
    [(Unit.MM, "21,5", 21.5), (Unit.MM, "1 inch", 25.4), (Unit.INCH, "0.5", 12.7), (Unit.INCH, "10mm", 10.0)],
)
def test_that_a_typed_number_turns_the_dial_and_keeps_it(dials, unit, typed, mm):
    dials.set_unit(unit)
    turned, released, field = QSignalSpy(dials.turned), QSignalSpy(dials.released), dials.rows[OUT].field
    field.setText(typed)
    QTest.keyClick(field, Qt.Key.Key_Return)
    assert heard(turned) == [[OUT, pytest.approx(mm)]]
    assert heard(released) == [[OUT, pytest.approx(mm)]]


def test_that_what_is_no_number_turns_nothing(dials):
    turned, field = QSignalSpy(dials.turned), dials.rows[OUT].field
    field.setText("1/2")
    QTest.keyClick(field, Qt.Key.Key_Return)
    assert heard(turned) == []
    assert field.toolTip() == "'1/2' is no number; expected digits, as 21.0"
    QTest.keyClick(field, Qt.Key.Key_Escape)
    assert field.text() == "18.0"


def test_that_a_choice_is_clicked_or_stepped(dials):
    turned, released = QSignalSpy(dials.turned), QSignalSpy(dials.released)
    face = dials.rows[HOLDER].face
    QTest.mouseClick(face, Qt.MouseButton.LeftButton, pos=face.cells()[2][1].center().toPoint())
    QTest.mouseClick(face, Qt.MouseButton.LeftButton, pos=face.cells()[2][1].center().toPoint())  # nothing new
    QTest.keyClick(face, Qt.Key.Key_Right)
    assert heard(turned)[0] == [HOLDER, "H11m"]
    assert heard(released) == [[HOLDER, "H11m"], [HOLDER, "H16"]]


def test_that_the_part_has_one_row_for_its_three_directions(dials):
    assert [row.offer.key for row in dials.shown_rows()] == [OUT, HOLDER, TILT, RISER, PART[0]]
    row, picked = dials.rows[PART[0]], QSignalSpy(dials.picked)
    dials.focus_dial(5)
    letter = next(box for offer, box in row.letters() if offer.key == PART[2])
    QTest.mouseClick(row, Qt.MouseButton.LeftButton, pos=letter.center().toPoint())
    assert [r.offer.key for r in dials.shown_rows()][-1] == PART[2]
    assert dials.window().focusWidget() is dials.rows[PART[2]].face
    QTest.keyClick(dials.rows[PART[2]].face, Qt.Key.Key_Y)
    assert [r.offer.key for r in dials.shown_rows()][-1] == PART[1]
    assert heard(picked)[-1] == [PART[1]]


def test_that_a_path_that_is_typed_is_asked_for(dials):
    added = QSignalSpy(dials.added)
    field = next(f for f in dials.findChildren(QLineEdit) if f.placeholderText())
    QTest.keyClicks(field, " keep_off/cut ")
    QTest.keyClick(field, Qt.Key.Key_Return)
    assert heard(added) == [["keep_off/cut"]]


# ---- what is shown -----------------------------------------------------------------------------------


def test_that_what_cannot_be_turned_says_why_and_stays(dials):
    turned = QSignalSpy(dials.turned)
    dials.show_offers((DialOffer("post/yy", "post yy", DialKind.PLAIN, 0.0, 0.0, 1.0),))
    dials.show_face(DialFace("post/yy", DialScope.TOOL, 2.0, why="no number is called 'post/yy'"))
    face = dials.rows["post/yy"].face
    QTest.mouseClick(face, Qt.MouseButton.LeftButton, pos=QPoint(80, 15))
    assert heard(turned) == []
    assert face.end_text() == "no number is called 'post/yy'"


def test_that_the_switch_changes_whose_spare_it_is_and_forgets_the_faces_of_another(dials):
    changed = QSignalSpy(dials.scope_changed)
    all_of_them = next(b for b in dials.findChildren(QToolButton) if b.text() == "all")
    QTest.mouseClick(all_of_them, Qt.MouseButton.LeftButton)
    assert heard(changed) == [[DialScope.ALL]]
    assert dials.rows[OUT].face.face is None
    dials.show_face(FACE)  # it is of the tool's cuts: too late
    assert dials.rows[OUT].face.face is None


def test_that_the_switch_names_the_tool(dials):
    assert "all cuts of T4" in [b.text() for b in dials.findChildren(QToolButton)]


@pytest.mark.parametrize(
    ("before", "now", "shown"),
    [
        (Worst(Verdict.TIGHT, 1.559, 2.0), Worst(Verdict.CLEAR, 2.234, 2.0), ("1.55", "2.23")),
        (Worst(Verdict.CAN_HIT, -0.231, 2.0), Worst(Verdict.TIGHT, 1.9996, 2.0), ("\u22120.24", "1.99")),
        (Worst(Verdict.HITS, None, 2.0), None, ("hits", "...")),
        (Worst(Verdict.TIGHT, 1.5, 2.0), Worst(Verdict.NOT_CHECKED, None, 2.0), ("1.50", "?")),
    ],
)
def test_that_the_result_is_rounded_down_and_never_hides_what_is_unknown(dials, before, now, shown):
    row = dials.rows[OUT]
    dials.show_worst(OUT, before, before)
    assert row.result() == (shown[0], "")
    dials.show_value(OUT, 21.0)
    dials.show_worst(OUT, before, now)
    assert row.result() == shown
    row._moved(22.0)
    assert row.result() == (shown[0], "...")  # until the new one is told


def turned_and_kept(dials, value):
    """The dial as it is once the turned value went into the text."""
    first = dials.rows[OUT].face.value
    before, now = Worst(Verdict.TIGHT, 1.55, 2.0), Worst(Verdict.CLEAR, 2.23, 2.0)
    if first == 18.0:
        dials.show_worst(OUT, before, before)
    dials.rows[OUT]._moved(value)
    dials.show_offers((replace(OFFERS[0], now=value), *OFFERS[1:]))
    dials.show_worst(OUT, now, now)


def test_that_the_saved_value_stays_marked_after_the_turn_was_kept(dials):
    turned_and_kept(dials, 21.0)
    row = dials.rows[OUT]
    assert row.face.saved == 18.0
    assert row.result() == ("1.55", "2.23")
    released = QSignalSpy(dials.released)
    QTest.mouseDClick(row.face, Qt.MouseButton.LeftButton, pos=at(dials, OUT, 30.0))
    assert heard(released) == [[OUT, 18.0]]  # back in the text too


def test_that_saving_makes_the_values_that_are_there_the_saved_ones(dials):
    turned_and_kept(dials, 21.0)
    dials.mark_saved()
    row = dials.rows[OUT]
    assert row.face.saved == 21.0
    assert row.result() == ("2.23", "")


def test_that_another_file_brings_its_own_saved_values(dials):
    turned_and_kept(dials, 21.0)
    dials.forget_saved()
    dials.show_offers((replace(OFFERS[0], now=25.0),))
    assert dials.rows[OUT].face.saved == 25.0


def test_that_the_tool_tip_says_what_a_range_says(dials):
    face = dials.rows[OUT].face
    said = face.tip_at(QPointF(at(dials, OUT, 15.0)))
    assert said == "10.0 to 20.0: tight, 1.55, same all along, V6 drain spot: nut, clamp screw L"
    unknown = DialFace(OUT, DialScope.TOOL, 2.0, ranges=(DialRange(4.0, 54.0, None),), n_all=1)
    dials.show_face(unknown)
    assert face.tip_at(QPointF(at(dials, OUT, 15.0))) == "4.0 to 54.0: not computed yet"


def test_that_ranges_have_the_shades_of_their_verdicts_and_unknown_ones_none(dials):
    face = dials.rows[OUT].face
    image = picture(face)
    y = 13
    for value, verdict in ((4.6, Verdict.HITS), (12.0, Verdict.TIGHT), (50.0, Verdict.CLEAR)):
        assert image.pixelColor(round(face.x_of(value)), y).name() == LIGHT.plate(verdict).fill.name()
    dials.show_face(DialFace(OUT, DialScope.TOOL, 2.0, ranges=(DialRange(4.0, 54.0, None),), n_all=1))
    found = colours(picture(face))
    assert not {LIGHT.plate(v).fill.name() for v in Verdict} & set(found)


def test_that_what_is_not_finished_is_hatched_over_its_shade(dials):
    face = dials.rows[OUT].face
    whole = colours(picture(face))[LIGHT.plate(Verdict.CLEAR).fill.name()]
    dials.show_face(DialFace(OUT, DialScope.TOOL, 2.0, ranges=FACE.ranges, n_done=1, n_all=2))
    assert colours(picture(face))[LIGHT.plate(Verdict.CLEAR).fill.name()] < 0.9 * whole


def test_that_a_dial_that_never_clears_says_which_others_do(dials):
    ranges = (DialRange(10.0, 80.0, Verdict.TIGHT, 1.31, is_flat=True),)
    dials.show_face(
        DialFace(RISER, DialScope.TOOL, 2.0, ranges=ranges, is_never_clear=True, n_done=1, n_all=1)
    )  # fmt: skip
    assert dials.rows[RISER].face.end_text() == "no height clears: try T4 out"
    clear = DialCell("H11m", Verdict.CLEAR, 3.05)
    dials.show_face(DialFace(HOLDER, DialScope.TOOL, 2.0, cells=(clear,), n_done=1, n_all=1))
    assert dials.rows[RISER].face.end_text() == "no height clears: try T4 out, T4 holder"


def test_that_offers_of_another_cut_keep_what_stays_and_drop_what_goes(dials):
    row = dials.rows[RISER]
    dials.show_offers((OFFERS[3], OFFERS[0]))
    assert list(dials.rows) == [RISER, OUT]
    assert dials.rows[RISER] is row
    assert dials.rows[OUT].face.face == FACE


@pytest.mark.parametrize("size", SIZES, ids=str)
@pytest.mark.parametrize("unit", Unit)
@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=["light", "dark"])
def test_that_rows_are_30_high_and_nothing_in_them_is_cut_off(size, unit, palette):
    made = Dials(theme_for(palette))
    made.show_offers(OFFERS)
    made.show_tool("T4")
    made.set_unit(unit)
    with on_screen(made, size):
        buttons = made.findChildren(QToolButton)
        for one, other in pairwise(buttons):
            assert one.geometry().right() <= other.geometry().left() + 1
        for button in buttons:
            assert width_of(button.text(), made.theme.type.text) + 8 <= button.width()
            assert button.height() >= HEAD
        for i, row in enumerate(made.shown_rows()):
            assert row.height() == HEIGHT
            assert row.y() == i * HEIGHT
            made.show_worst(row.offer.key, Worst(Verdict.CAN_HIT, -12.341, 2.0), Worst(Verdict.TIGHT, 1.55, 2.0))
            name = row.theme.type.text_bold
            assert fitted(row.offer.name, name, 84) == row.offer.name
            if row.field.isVisible():
                assert row.field.geometry().right() < row.face.geometry().left()
                text = width_of(row.field.text(), row.theme.type.text)
                assert text + width_of(row.field.suffix, row.theme.type.quiet) + 9 <= row.field.width()
            left = row.face.geometry().right()
            _, now = row.result()
            assert width_of(now, row.theme.type.text_bold) <= row.width() - left
            assert row.face.width() >= 60
