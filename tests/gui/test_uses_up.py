"""The bar of what uses a clearance up is to scale, says its numbers, and gives the one that is clicked for editing."""

from dataclasses import replace

import pytest
from PySide6.QtCore import QPoint, Qt
from PySide6.QtTest import QSignalSpy, QTest
from PySide6.QtWidgets import QLineEdit

from app.jobs.plots import Term, UsesUp
from app.window.panels.uses_up import UsesUpBar
from app.window.theme import DARK, LIGHT
from app.window.units import Unit
from kinematics.verdict import Verdict
from tests.gui.on_screen import check_legible, colours, on_screen, picture, theme_for, written

TERMS = (
    Term("location", 0.15, "setup_errors/location", 0.15, is_measured=False),
    Term("model", 0.30, "clamp screw L/errors/body_model", 0.30, is_measured=True),
    Term("diameters", 0.20, "setup_errors/diameters", 0.20, is_measured=False),
    Term("tilt", 0.04, "setup_errors/tilt_deg", 0.02, is_measured=False),
    Term("stick-out", 0.0, "setup_errors/stick_out", 0.5, is_measured=False),
)
BAR = UsesUp("V6 drain spot", ("nut", "clamp screws L and R"), Verdict.TIGHT, 2.24, 1.55, 2.0, TERMS, 0.39)
CAN_HIT = replace(BAR, verdict=Verdict.CAN_HIT, clearance=0.46, spare=-0.23)
CLEAR = replace(BAR, verdict=Verdict.CLEAR, clearance=12.02, spare=11.33)
NO_BAR = UsesUp("V6 drain spot", ("nut", "clamp screw L"), Verdict.HITS, None, None, 2.0, why="They overlap by 2.26.")
SIZE = (320, 300)
PART_OFF = "Part may be off: 1.7 to you, 3.3 left or right, free away from you"


def shown(bar, palette=LIGHT):
    panel = UsesUpBar(theme_for(palette))
    panel.show_bar(bar)
    panel.show_part_off(PART_OFF)
    return panel


def test_that_blocks_are_to_scale_longest_first_and_the_rest_is_the_spare():
    with on_screen(shown(BAR), SIZE) as panel:
        names = [term.name for term, _ in panel.blocks()]
        assert names == ["model", "diameters", "location", "tilt", "stick-out"]
        widths = [rect.width() for _, rect in panel.blocks()]
        per_mm = widths[0] / 0.30
        assert widths == pytest.approx([0.30 * per_mm, 0.20 * per_mm, 0.15 * per_mm, 0.04 * per_mm, 0.0])
        image = picture(panel)
        y = int(panel._bar_rect.center().y())
        row = [image.pixelColor(x, y + 14).name() for x in range(image.width())]
        tight = LIGHT.plate(Verdict.TIGHT).fill.name()
        assert row.count(tight) == pytest.approx(1.55 * per_mm, abs=3.0)


@pytest.mark.parametrize("size", [SIZE, (282, 268)], ids=str)
@pytest.mark.parametrize("bar", [BAR, CAN_HIT, CLEAR, NO_BAR], ids=["tight", "can hit", "clear", "hits"])
@pytest.mark.parametrize("unit", Unit)
@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=["light", "dark"])
def test_that_no_text_is_cut_off_or_stands_over_another(bar, size, unit, palette, monkeypatch):
    panel = shown(bar, palette)
    panel.set_unit(unit)
    with on_screen(panel, size), written(monkeypatch) as found:
        picture(panel)
        assert found
        check_legible(found, panel)


def test_that_a_clearance_that_is_used_up_has_no_block_of_spare():
    with on_screen(shown(CAN_HIT), SIZE) as panel:
        assert LIGHT.plate(Verdict.CAN_HIT).fill.name() not in colours(picture(panel))
        assert "\u22120.23 spare" in panel.sentence()


def test_that_a_stale_bar_has_no_colour_and_says_was(monkeypatch):
    panel = shown(BAR)
    panel.mark_stale()
    with on_screen(panel, SIZE), written(monkeypatch) as found:
        assert LIGHT.plate(Verdict.TIGHT).fill.name() not in colours(picture(panel))
        assert any(text.startswith("was ") for text, _, _ in found)
        panel.show_bar(BAR)
        assert not panel.is_stale


def test_that_a_block_that_is_clicked_becomes_a_field_with_the_number_of_the_scene():
    with on_screen(shown(BAR), SIZE) as panel:
        edited, picked = QSignalSpy(panel.edited), QSignalSpy(panel.picked)
        _, block = panel.blocks()[1]
        QTest.mouseClick(panel, Qt.MouseButton.LeftButton, pos=block.center().toPoint())
        field = panel.findChild(QLineEdit)
        assert field.isVisible()
        assert field.text() == "0.20"
        assert picked.at(0) == ["setup_errors/diameters"]
        field.setText("0,1")
        QTest.keyClick(field, Qt.Key.Key_Return)
        assert [edited.at(i) for i in range(edited.count())] == [["setup_errors/diameters", 0.1]]
        assert not field.isVisible()


def test_that_the_tilt_is_edited_in_degrees_and_lengths_in_the_unit_of_the_window():
    panel = shown(BAR)
    panel.set_unit(Unit.INCH)
    with on_screen(panel, SIZE):
        edited, field = QSignalSpy(panel.edited), panel.findChild(QLineEdit)
        by_name = {term.name: term for term in TERMS}
        panel.open_field(by_name["tilt"])
        assert field.text() == "0.02"
        field.setText("0.05")
        QTest.keyClick(field, Qt.Key.Key_Return)
        panel.open_field(by_name["model"])
        field.setText("0.01")
        QTest.keyClick(field, Qt.Key.Key_Return)
        assert edited.at(0) == ["setup_errors/tilt_deg", 0.05]
        path, value = edited.at(1)
        assert path == "clamp screw L/errors/body_model"
        assert value == pytest.approx(0.254)


def test_that_what_is_no_number_is_not_taken_and_escape_leaves_the_field():
    with on_screen(shown(BAR), SIZE) as panel:
        edited, field = QSignalSpy(panel.edited), panel.findChild(QLineEdit)
        panel.open_field(TERMS[0])
        field.setText("a lot")
        QTest.keyClick(field, Qt.Key.Key_Return)
        assert field.isVisible()
        assert "'a lot' is no number" in field.toolTip()
        QTest.keyClick(field, Qt.Key.Key_Escape)
        assert not field.isVisible()
        assert edited.count() == 0


def test_that_the_keyboard_reaches_every_number():
    with on_screen(shown(BAR), SIZE) as panel:
        picked, field = QSignalSpy(panel.picked), panel.findChild(QLineEdit)
        panel.setFocus()
        for _ in range(2):
            QTest.keyClick(panel, Qt.Key.Key_Down)
        QTest.keyClick(panel, Qt.Key.Key_Return)
        assert field.isVisible()
        assert field.text() == "0.15"
        assert picked.at(picked.count() - 1) == ["setup_errors/location"]


def test_that_a_number_that_stands_nowhere_is_not_edited():
    measured = Term("stick-out", 0.05, "", 0.05, is_measured=True)
    with on_screen(shown(replace(BAR, terms=(*TERMS[:4], measured))), SIZE) as panel:
        panel.open_field(measured)
        assert not panel.findChild(QLineEdit).isVisible()


def test_that_an_empty_panel_says_why():
    panel = UsesUpBar(theme_for(LIGHT))
    panel.show_nothing("Pick a cut.")
    with on_screen(panel, SIZE):
        assert panel.is_empty
        assert panel.term_at(QPoint(50, 80)) is None
        assert len(colours(picture(panel))) > 10  # the words, with the soft edges of their letters
