"""The clock face draws room by its square root, 12 away from the operator, and asks for the height that is wanted."""

import math
from dataclasses import replace

import pytest
from PySide6.QtCore import QPoint, QPointF, Qt
from PySide6.QtTest import QSignalSpy, QTest

from app.jobs.plots import RoundTool, Sector, TightWay
from app.window.panels.round_the_tool import RoundToolPlot
from app.window.theme import DARK, LIGHT
from app.window.units import Unit
from kinematics.verdict import Verdict
from tests.gui.on_screen import check_legible, colours, on_screen, picture, theme_for, written

SIZE = (264, 300)
FREE = Sector(20.0, None, "")


def sectors(near):
    """Twelve directions of 30 degrees from 12 o'clock on; `near` gives room and body of some."""
    return tuple(Sector(near[k][0], near[k][0], near[k][1]) if k in near else FREE for k in range(12))


PLOT = RoundTool(
    title="V6 drain spot, T4 in H11",
    height=18.0,
    heights=(0.0, 86.0),
    tightest=18.0,
    part="nut",
    keep_off=2.0,
    sectors=sectors({0: (1.55, "clamp screw R"), 11: (1.55, "clamp screw L"), 5: (5.0, "part")}),
    tight=(
        TightWay(332.0, 1.55, "clamp screw L", Verdict.TIGHT),
        TightWay(28.0, 1.55, "clamp screw R", Verdict.TIGHT),
    ),
)


def shown(plot=PLOT, palette=LIGHT):
    panel = RoundToolPlot(theme_for(palette))
    panel.show_plot(plot)
    return panel


def test_that_room_is_drawn_by_its_square_root():
    with on_screen(shown(), SIZE) as panel:
        assert panel.out(20.0) == pytest.approx(panel.radius)
        assert panel.out(5.0) == pytest.approx(panel.radius / 2.0)  # a quarter of the room at half the way
        assert panel.out(80.0) == pytest.approx(panel.radius)
        assert panel.out(-math.inf) == 0.0


def test_that_twelve_is_up_and_three_is_at_the_right():
    with on_screen(shown(), SIZE) as panel:
        assert panel.at(0.0, 10.0) == panel.centre + QPointF(0.0, -10.0)
        assert (panel.at(90.0, 10.0) - panel.centre).x() == pytest.approx(10.0)
        assert panel.sector_at(panel.at(15.0, 20.0)) == 0
        assert panel.sector_at(panel.at(345.0, 20.0)) == 11
        assert panel.sector_at(panel.at(95.0, 20.0)) == 3


def test_that_sectors_that_begin_beside_twelve_are_drawn_where_they_are():
    with on_screen(shown(replace(PLOT, first_deg=10.0)), SIZE) as panel:
        assert panel.sector_at(panel.at(9.0, 20.0)) == 11
        assert panel.sector_at(panel.at(11.0, 20.0)) == 0
        path = panel.room_path()
        assert path.contains(panel.at(5.0, panel.out(1.4)))
        assert not path.contains(panel.at(20.0, panel.out(2.0)))


def test_that_the_polygon_holds_the_room_and_no_more():
    with on_screen(shown(), SIZE) as panel:
        path = panel.room_path()
        assert path.contains(panel.at(15.0, panel.out(1.5)))
        assert not path.contains(panel.at(15.0, panel.out(1.7)))
        assert path.contains(panel.at(165.0, panel.out(4.8)))
        assert not path.contains(panel.at(165.0, panel.out(5.5)))
        assert path.contains(panel.at(90.0, panel.out(19.0)))


@pytest.mark.parametrize("unit", Unit)
@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize("ways", [0, 1, 2, 4])
def test_that_no_text_is_cut_off_or_stands_over_another(ways, palette, unit, monkeypatch):
    more = (
        TightWay(340.0, 1.6, "dovetail body", Verdict.TIGHT),
        TightWay(178.0, 1.9, "stop pin", Verdict.TIGHT),
    )
    plot = replace(PLOT, tight=(*PLOT.tight, *more)[:ways])
    panel = shown(plot, palette)
    panel.set_unit(unit)
    with on_screen(panel, SIZE), written(monkeypatch) as found:
        picture(panel)
        assert found
        check_legible(found, panel, may_be_shortened=(plot.title,))


def test_that_the_gap_has_the_colour_of_its_verdict_and_a_stale_one_has_none():
    with on_screen(shown(), SIZE) as panel:
        tight = LIGHT.plate(Verdict.TIGHT).fill.name()
        assert colours(picture(panel)).get(tight, 0) > 20
        panel.mark_stale()
        assert tight not in colours(picture(panel))


def test_that_the_hand_reads_the_room_in_its_direction():
    with on_screen(shown(), SIZE) as panel:
        panel._hand = panel.at(15.0, 30.0)
        assert panel.reading() == "12 o'clock: 1.55  clamp screw R"
        panel._hand = panel.at(100.0, 30.0)
        assert panel.reading() == "4 o'clock: over 20.00"
        panel.show_plot(replace(PLOT, sectors=(Sector(-math.inf, -math.inf, "part"),) * 12))
        assert panel.reading().endswith("touches  part")


def test_that_contact_is_drawn_in_the_middle_and_said_in_a_word(monkeypatch):
    way = TightWay(0.0, -math.inf, "part", Verdict.HITS)
    plot = replace(PLOT, sectors=(Sector(-math.inf, -math.inf, "part"),) * 12, tight=(way,))
    panel = shown(plot)
    with on_screen(panel, SIZE), written(monkeypatch) as found:
        assert LIGHT.plate(Verdict.HITS).fill.name() in colours(picture(panel))
        assert "12 o'clock part touches" in [text for text, _, _ in found]
        assert panel.sentence().endswith("12 o'clock part touches")


def test_that_a_click_names_the_body_of_the_direction():
    with on_screen(shown(), SIZE) as panel:
        picked = QSignalSpy(panel.picked)
        QTest.mouseClick(panel, Qt.MouseButton.LeftButton, pos=panel.at(345.0, 30.0).toPoint())
        QTest.mouseClick(panel, Qt.MouseButton.LeftButton, pos=panel.at(90.0, 30.0).toPoint())
        assert [picked.at(i) for i in range(picked.count())] == [["clamp screw L"]]


def test_that_the_slider_asks_for_a_height_and_double_click_for_the_tightest():
    with on_screen(shown(), SIZE) as panel:
        wanted = QSignalSpy(panel.height_wanted)
        track = panel._track
        middle = QPoint(int(track.center().x()), int(track.center().y()))
        QTest.mouseClick(panel, Qt.MouseButton.LeftButton, pos=middle)
        height = wanted.at(0)[0]
        assert height == pytest.approx(43.0, abs=0.5)  # half of 86
        panel.show_plot(replace(PLOT, height=height))
        assert panel.wanted is None
        QTest.mouseDClick(panel, Qt.MouseButton.LeftButton, pos=middle)
        assert wanted.at(wanted.count() - 1) == [18.0]


def test_that_arrow_keys_step_the_height_and_stop_at_its_ends():
    with on_screen(shown(replace(PLOT, height=85.5)), SIZE) as panel:
        wanted = QSignalSpy(panel.height_wanted)
        panel.setFocus()
        for _ in range(3):
            QTest.keyClick(panel, Qt.Key.Key_Up)
        assert [wanted.at(i)[0] for i in range(wanted.count())] == [86.0]
        QTest.keyClick(panel, Qt.Key.Key_Backspace)
        assert wanted.at(1) == [18.0]
