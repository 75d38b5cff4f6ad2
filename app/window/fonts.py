"""The window's type: one family from the program's own files, one scale, figures of one width.

Sizes are in pixels of the design; Qt scales them with the screen. Weights are 400 and 700 only.
"""

from __future__ import annotations

from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path

from PySide6.QtGui import QFont, QFontDatabase

FAMILY = "DejaVu Sans Condensed"
FILES = ("DejaVuSansCondensed.ttf", "DejaVuSansCondensed-Bold.ttf")

QUIET = 12
TEXT = 13
HEADLINE = 15
NAME = 18
NUMBER = 26


class FontError(RuntimeError):
    """A font file of the program is missing or unreadable."""


def load_fonts() -> None:
    """Make the program's own font known to Qt. Needs a QGuiApplication. Raises FontError."""
    folder = Path(str(files("shared"))) / "fonts"
    for name in FILES:
        found = QFontDatabase.addApplicationFont(str(folder / name))
        if found < 0 or FAMILY not in QFontDatabase.applicationFontFamilies(found):
            raise FontError(f"{folder / name}: can't be read as a font; expected {FAMILY}")


def plain(size: int) -> QFont:
    """The family at a size in pixels, weight 400."""
    font = QFont(FAMILY)
    font.setPixelSize(size)
    font.setWeight(QFont.Weight.Normal)
    font.setHintingPreference(QFont.HintingPreference.PreferNoHinting)
    return font


def bold(size: int) -> QFont:
    """The family at a size in pixels, weight 700."""
    font = plain(size)
    font.setWeight(QFont.Weight.Bold)
    return font


@dataclass(frozen=True, slots=True)
class TypeScale:
    """The fonts of the window by what they are for."""

    quiet: QFont
    quiet_bold: QFont
    text: QFont
    text_bold: QFont
    headline: QFont
    headline_bold: QFont
    name: QFont
    number: QFont


def type_scale() -> TypeScale:
    """12 quiet, 13 text, 15 headline, 18 name, 26 number. `load_fonts` comes first."""
    return TypeScale(
        quiet=plain(QUIET),
        quiet_bold=bold(QUIET),
        text=plain(TEXT),
        text_bold=bold(TEXT),
        headline=plain(HEADLINE),
        headline_bold=bold(HEADLINE),
        name=bold(NAME),
        number=bold(NUMBER),
    )
