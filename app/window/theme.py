"""What widgets are painted with: two palettes, the type scale, and standard widgets to match.

1. Colour means room and nothing else: only verdict plates, the tracks of dials and the gap are coloured.
2. The colours are those of the pictures (`view3d/styles.py`); a test recomputes their contrasts.
3. A Theme is a value; it is handed to each widget. Nothing here is global.
"""

from __future__ import annotations

from dataclasses import dataclass

from PySide6.QtGui import QColor, QPalette
from PySide6.QtWidgets import QApplication

from app.view3d.styles import PALETTES, Style
from app.window.fonts import TEXT, TypeScale, type_scale
from kinematics.verdict import Verdict

GRID = 4
INSIDE = 8
BETWEEN = 12
AT_EDGE = 16
TARGET = 28  # px, least height and width of what is clicked
RING = 2  # px, of ink and of paper in a ring of focus


@dataclass(frozen=True, slots=True)
class Plate:
    """A verdict's colour, and what is written on it."""

    fill: QColor
    text: QColor


@dataclass(frozen=True, slots=True)
class Palette:
    """The colours of one look.

    Parameters
    ----------
    ground, card : behind everything; of cards, fields, plots.
    ink, quiet, line : of text and strong lines; of small text; of thin lines and frames of fields.
    mid : of bodies that are neither ink nor paper, and of pale fills in plots.
    plates : one for each verdict.
    """

    style: Style
    ground: QColor
    card: QColor
    ink: QColor
    quiet: QColor
    line: QColor
    mid: QColor
    plates: dict[Verdict, Plate]

    def plate(self, verdict: Verdict) -> Plate:
        return self.plates[verdict]

    @property
    def is_dark(self) -> bool:
        return self.style is Style.DARK


def _palette(style: Style) -> Palette:
    of = PALETTES[style]
    return Palette(
        style=style,
        ground=QColor(of.ground),
        card=QColor(of.paper),
        ink=QColor(of.ink),
        quiet=QColor(of.quiet),
        line=QColor(of.line),
        mid=QColor(of.workpiece.lit),
        plates={verdict: Plate(QColor(p.fill), QColor(p.text)) for verdict, p in of.verdicts.items()},
    )


LIGHT = _palette(Style.LIGHT)
DARK = _palette(Style.DARK)


@dataclass(frozen=True, slots=True)
class Theme:
    """A palette with the type that goes with it. Made by `theme_of`, once the fonts are loaded."""

    palette: Palette
    type: TypeScale

    def plate(self, verdict: Verdict) -> Plate:
        return self.palette.plate(verdict)


def theme_of(palette: Palette) -> Theme:
    """The theme of a palette. Needs a QGuiApplication with the fonts of `load_fonts`."""
    return Theme(palette, type_scale())


def apply_to(application: QApplication, theme: Theme) -> None:
    """Give the standard widgets of an application this look."""
    application.setStyle("Fusion")
    application.setFont(theme.type.text)
    application.setPalette(qt_palette(theme.palette))
    application.setStyleSheet(style_sheet(theme.palette))


def qt_palette(palette: Palette) -> QPalette:
    """Qt's own palette: ink on paper, selection is ink with paper text."""
    made = QPalette()
    role = QPalette.ColorRole
    for roles, colour in (
        ((role.Window, role.AlternateBase), palette.ground),
        ((role.Base, role.Button, role.ToolTipBase, role.HighlightedText, role.BrightText), palette.card),
        ((role.WindowText, role.Text, role.ButtonText, role.ToolTipText, role.Highlight), palette.ink),
        ((role.Link, role.LinkVisited, role.Accent), palette.ink),
        ((role.PlaceholderText,), palette.quiet),
        ((role.Light, role.Midlight, role.Mid, role.Dark, role.Shadow), palette.line),
    ):
        for one in roles:
            made.setColor(one, colour)
    for one in (role.WindowText, role.Text, role.ButtonText):
        made.setColor(QPalette.ColorGroup.Disabled, one, palette.quiet)
    return made


def style_sheet(palette: Palette) -> str:
    """Square corners, lines of 1 px, targets of 28 px; the ring of focus is ink, 2 px, with paper inside it."""
    ground, card, ink = palette.ground.name(), palette.card.name(), palette.ink.name()
    quiet, line = palette.quiet.name(), palette.line.name()
    # a frame of 1 px and padding of 1 px give way to a ring of 2 px, so that nothing moves
    return f"""
* {{ font-size: {TEXT}px; }}
QWidget {{ color: {ink}; }}
QMainWindow, QDialog {{ background: {ground}; }}
QPushButton, QToolButton, QComboBox, QLineEdit, QSpinBox, QDoubleSpinBox, QPlainTextEdit, QTextEdit, QListView {{
    background: {card}; color: {ink}; border: 1px solid {line}; border-radius: 0; padding: 3px;
    selection-background-color: {ink}; selection-color: {card};
}}
QPushButton, QToolButton, QComboBox {{ min-height: {TARGET - 8}px; padding: 3px 9px; }}
QLineEdit, QSpinBox, QDoubleSpinBox {{ min-height: {TARGET - 8}px; }}
QPushButton:focus, QToolButton:focus, QComboBox:focus {{ border: {RING}px solid {ink}; padding: 2px 8px; }}
QLineEdit:focus, QSpinBox:focus, QDoubleSpinBox:focus, QPlainTextEdit:focus, QTextEdit:focus, QListView:focus {{
    border: {RING}px solid {ink}; padding: 2px;
}}
QPushButton:hover, QToolButton:hover, QComboBox:hover {{ border-color: {ink}; }}
QPushButton:pressed, QPushButton:checked, QToolButton:pressed, QToolButton:checked {{
    background: {ink}; color: {card};
}}
QPushButton:disabled, QToolButton:disabled, QLineEdit:disabled, QComboBox:disabled {{
    background: {ground}; color: {quiet};
}}
QToolButton::menu-indicator {{ image: none; }}
QComboBox::drop-down {{ border: none; width: 20px; }}
QComboBox::down-arrow {{
    width: 0; height: 0; border-left: 5px solid {card}; border-right: 5px solid {card}; border-top: 6px solid {ink};
}}
QCheckBox, QRadioButton {{ spacing: 8px; min-height: {TARGET}px; background: transparent; }}
QCheckBox::indicator, QRadioButton::indicator {{
    width: 14px; height: 14px; border: 1px solid {ink}; background: {card};
}}
QCheckBox::indicator:checked, QRadioButton::indicator:checked {{ background: {ink}; border: 4px solid {card}; }}
QCheckBox:focus, QRadioButton:focus {{ border: {RING}px solid {ink}; }}
QLabel {{ background: transparent; }}
QToolTip {{ background: {card}; color: {ink}; border: 1px solid {ink}; padding: 4px; }}
QMenu {{ background: {card}; color: {ink}; border: 1px solid {ink}; padding: 4px; }}
QMenu::item {{ min-height: {TARGET - 8}px; padding: 4px 24px 4px 12px; }}
QMenu::item:selected {{ background: {ink}; color: {card}; }}
QMenu::item:disabled {{ color: {quiet}; }}
QMenu::separator {{ height: 1px; background: {line}; margin: 4px 8px; }}
QSplitter::handle {{ background: {line}; }}
QSplitter::handle:horizontal {{ width: 1px; margin: 0 2px; }}
QSplitter::handle:vertical {{ height: 1px; margin: 2px 0; }}
QSplitter::handle:hover {{ background: {ink}; }}
QScrollArea {{ border: none; background: {ground}; }}
QScrollBar:vertical {{ background: {ground}; width: 14px; margin: 0; border: none; }}
QScrollBar:horizontal {{ background: {ground}; height: 14px; margin: 0; border: none; }}
QScrollBar::handle {{ background: {line}; border: 4px solid {ground}; min-height: {TARGET}px; min-width: {TARGET}px; }}
QScrollBar::handle:hover {{ background: {ink}; }}
QScrollBar::add-line, QScrollBar::sub-line, QScrollBar::add-page, QScrollBar::sub-page {{
    background: none; border: none; width: 0; height: 0;
}}
"""
