"""The profile plot draws radius and height to one scale, and tells what is under the hand."""

from dataclasses import replace

import pytest
from PySide6.QtCore import QPointF, Qt
from PySide6.QtTest import QSignalSpy, QTest

from app.jobs.plots import OutlineStep, Seen, SideOn
from app.window.panels.side_on import SideOnPlot
from app.window.theme import DARK, LIGHT
from app.window.units import Unit
from kinematics.verdict import Verdict
from tests.gui.on_screen import check_legible, colours, on_screen, picture, theme_for, written

SIZE = (264, 300)
OUTLINE = (
    OutlineStep("cutter", 0.0, 3.0, 0.0, 3.0),
    OutlineStep("cutter", 3.0, 3.0, 3.0, 4.0),
    OutlineStep("shank", 3.0, 3.0, 4.0, 18.0),
    OutlineStep("nut", 9.5, 9.5, 18.0, 30.0),
    OutlineStep("holder", 9.5, 9.5, 30.0, 56.0),
)
PLOT = SideOn(
    title="V6 drain spot, T4 in H11",
    verdict=Verdict.TIGHT,
    outline=OUTLINE,
    toward=(Seen(-10.0, 2.0, 3.0, "part"), Seen(10.0, 22.0, 12.0, "clamp screw L")),
    around=(Seen(-10.0, 2.0, 2.0, "part"), Seen(10.0, 40.0, 11.0, "riser")),
    clock_deg=332.0,
    gap=((9.5, 18.0), (12.0, 18.0)),
    depth=3.4,
    flute=4.0,
    gauge_line=86.0,
    longer_by=2.99,
    rises=frozenset({"nut", "holder"}),
)


def shown(plot=PLOT, palette=LIGHT):
    panel = SideOnPlot(theme_for(palette))
    panel.show_plot(plot)
    return panel


def test_that_a_millimetre_is_as_long_across_as_it_is_up():
    with on_screen(shown(), SIZE) as panel:
        origin = panel.at(0.0, 0.0)
        assert panel.at(10.0, 0.0).x() - origin.x() == pytest.approx(origin.y() - panel.at(0.0, 10.0).y())
        assert panel.under(panel.at(7.25, 13.5)) == pytest.approx((7.25, 13.5))


def test_that_what_stands_in_the_tight_direction_is_filled_and_the_tool_is_paper():
    with on_screen(shown(), SIZE) as panel:
        image = picture(panel)

        def colour(r, z):
            return image.pixelColor(panel.at(r, z).toPoint()).name()

        assert colour(16.0, 16.0) == LIGHT.mid.name()
        assert colour(6.0, 24.0) == LIGHT.card.name()  # in the nut
        assert colour(16.0, 30.0) == LIGHT.card.name()  # only the pale line is there
        assert colour(10.7, 18.0) == LIGHT.plate(Verdict.TIGHT).fill.name()  # the gap


@pytest.mark.parametrize("unit", Unit)
@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize(
    "plot",
    [PLOT, replace(PLOT, depth=3.9, longer_by=None, clock_deg=None), replace(PLOT, depth=17.9, flute=18.0)],
    ids=["tight", "below", "crowded"],
)
def test_that_no_text_is_cut_off_or_stands_over_another(plot, palette, unit, monkeypatch):
    panel = shown(plot, palette)
    panel.set_unit(unit)
    with on_screen(panel, SIZE), written(monkeypatch) as found:
        picture(panel)
        assert found
        check_legible(found, panel, may_be_shortened=(plot.title,))


def test_that_the_missing_length_is_told_rounded_up(monkeypatch):
    with on_screen(shown(replace(PLOT, longer_by=2.981)), SIZE) as panel, written(monkeypatch) as found:
        picture(panel)
        assert "+2.99" in [text for text, _, _ in found]


def test_that_a_note_says_why_no_length_helps(monkeypatch):
    plot = replace(PLOT, longer_by=None, note="no length clears: tight at best")
    with on_screen(shown(plot), SIZE) as panel, written(monkeypatch) as found:
        picture(panel)
        assert "no length clears: tight at best" in [text for text, _, _ in found]


def test_that_the_hand_reads_radius_height_and_body():
    with on_screen(shown(), SIZE) as panel:
        panel._hand = panel.at(14.0, 16.0)
        assert panel.reading() == "r 14.00  h 16.00  clamp screw L"
        panel._hand = panel.at(14.0, 30.0)
        assert panel.reading().endswith("riser")
        panel._hand = panel.at(5.0, 24.0)
        assert panel.reading().endswith("nut")
        panel._hand = panel.at(8.0, 14.0)
        assert panel.reading() == "r 8.00  h 14.00"
        panel.set_unit(Unit.INCH)
        panel._hand = panel.at(25.4, 12.7)
        assert panel.reading() == "r 1.0000  h 0.5000  clamp screw L"


def test_that_a_click_names_what_is_there():
    with on_screen(shown(), SIZE) as panel:
        picked = QSignalSpy(panel.picked)
        QTest.mouseClick(panel, Qt.MouseButton.LeftButton, pos=panel.at(14.0, 16.0).toPoint())
        QTest.mouseClick(panel, Qt.MouseButton.LeftButton, pos=panel.at(8.0, 14.0).toPoint())
        assert [picked.at(i) for i in range(picked.count())] == [["clamp screw L"]]


def test_that_a_stale_plot_has_no_colour_and_says_was(monkeypatch):
    panel = shown()
    panel.mark_stale()
    with on_screen(panel, SIZE), written(monkeypatch) as found:
        assert LIGHT.plate(Verdict.TIGHT).fill.name() not in colours(picture(panel))
        assert f"was {PLOT.title}" in [text for text, _, _ in found]


def test_that_nothing_is_under_the_hand_outside_the_plot():
    with on_screen(shown(), SIZE) as panel:
        assert panel.body_at(QPointF(2.0, 150.0)) is None
