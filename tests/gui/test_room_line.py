"""The room line: where ticks stand, what a click means, and that nothing is dropped."""

from __future__ import annotations

import math

import pytest
from PySide6.QtCore import QPoint, Qt
from PySide6.QtGui import QColor
from PySide6.QtTest import QTest

from app.window.panels.room_line import AXIS_Y, DOWN, LEAST, UP, RoomLine, Tick
from app.window.theme import DARK, LIGHT, theme_of
from app.window.units import Unit
from kinematics.verdict import Verdict


def tick(name, verdict, spare, *, swing=False, fresh=True):
    key = (None, name, "end") if swing else (name, "cut")
    return Tick(key, verdict, spare, swing, fresh, f"{name}: words")


TICKS = (
    tick("V1", Verdict.TIGHT, 1.31),
    tick("V2", Verdict.CLEAR, 2.87),
    tick("V3", Verdict.HITS, -2.95),
    tick("V4", Verdict.CAN_HIT, -0.2),
    tick("V5", Verdict.NOT_CHECKED, None),
    tick("V6", Verdict.CLEAR, 17.98),
    tick("V7", Verdict.HITS, None),
    tick("S1", Verdict.TIGHT, 3.8, swing=True),
    tick("S2", Verdict.NOT_CHECKED, None, swing=True),
)


@pytest.fixture
def line(application):  # noqa: ARG001 - there is an application
    made = RoomLine(theme_of(LIGHT))
    made.resize(264, 56)
    made.show()
    made.show_ticks(TICKS, 2.0, 5.0)
    yield made
    made.close()
    made.deleteLater()


def test_that_spacing_is_that_of_square_roots_and_monotone(line):
    zero, end = line.x_of(0.0), line.x_of(20.0)
    for spare in (0.5, 1.0, 5.0, 10.0):
        assert (line.x_of(spare) - zero) / (end - zero) == pytest.approx(math.sqrt(spare / 20.0), abs=1e-9)
    places = [line.x_of(s) for s in (-9.0, -3.0, -1.0, -0.01, 0.0, 0.01, 1.0, 20.0, 99.0)]
    assert places == sorted(places)
    assert line.x_of(-0.01) < zero < line.x_of(0.01)
    assert 0 < line.x_of(LEAST) < line.x_of(99.0) < line.width()


def test_that_every_cut_and_swing_has_a_place_or_stands_in_the_bay(line):
    placed = [t for t in TICKS if line.place_of(t) is not None]
    bay = [t for t in TICKS if line.place_of(t) is None]
    assert {t.verdict for t in bay} == {Verdict.NOT_CHECKED}
    assert len(placed) + len(bay) == len(TICKS)
    assert line.place_of(TICKS[6]) == line.x_of(LEAST)  # contact without a depth stands at the worst end


def test_that_cuts_point_up_and_swings_down(line):
    line.show_ticks((TICKS[0], TICKS[7]), 0.0, 0.0)
    picture = line.grab().toImage()
    ink = QColor(LIGHT.ink)

    def is_ink(x, y):
        return abs(QColor(picture.pixel(round(x), round(y))).lightness() - ink.lightness()) < 40

    up, down = line.x_of(1.31), line.x_of(3.8)
    assert is_ink(up, AXIS_Y - UP / 2)
    assert not is_ink(up, AXIS_Y + DOWN / 2)
    assert is_ink(down, AXIS_Y + DOWN / 2)
    assert not is_ink(down, AXIS_Y - UP / 2)


def test_that_a_click_picks_the_nearest_tick_of_its_side(line):
    picked = []
    line.picked.connect(picked.append)
    QTest.mouseClick(line, Qt.MouseButton.LeftButton, pos=QPoint(round(line.x_of(1.31)) + 1, round(AXIS_Y) - 6))
    QTest.mouseClick(line, Qt.MouseButton.LeftButton, pos=QPoint(round(line.x_of(3.8)), round(AXIS_Y) + 6))
    QTest.mouseClick(line, Qt.MouseButton.LeftButton, pos=QPoint(14, round(AXIS_Y)))
    QTest.mouseClick(line, Qt.MouseButton.LeftButton, pos=QPoint(round(line.x_of(13.0)), round(AXIS_Y) - 6))
    assert picked == [("V1", "cut"), (None, "S1", "end"), ("V5", "cut")]


def test_that_arrows_step_through_all_of_them_from_the_left(line):
    picked = []

    def pick(key):
        picked.append(key)
        line.mark_selected(key)

    line.picked.connect(pick)
    for _ in TICKS:
        QTest.keyClick(line, Qt.Key.Key_Right)
    assert set(picked) == {t.key for t in TICKS}
    assert picked == [t.key for t in line.in_order()]
    QTest.keyClick(line, Qt.Key.Key_Left)
    assert picked[-1] == picked[-3]


@pytest.mark.parametrize("palette", [LIGHT, DARK])
@pytest.mark.parametrize("unit", list(Unit))
def test_that_it_is_drawn_in_both_looks_and_units(line, palette, unit):
    line.set_theme(theme_of(palette))
    line.set_unit(unit)
    line.mark_selected(TICKS[0].key)
    picture = line.grab().toImage()
    colours = {picture.pixel(x, y) for x in range(0, picture.width(), 2) for y in range(0, picture.height(), 2)}
    assert len(colours) > 5
