"""The sheet's letters: the embedded font, the sizes, paragraphs, and texts cut in the middle where room is short.

1. Title 16 pt, stick-outs 18 pt bold, body 10 pt, nothing under 8 pt; black only.
2. What is cut is cut in the middle, since names differ at their ends, and the sheet says that something was.
"""

from __future__ import annotations

import math
from functools import lru_cache
from html import escape
from pathlib import Path

from reportlab.lib.enums import TA_CENTER, TA_LEFT, TA_RIGHT
from reportlab.lib.styles import ParagraphStyle
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.platypus import Paragraph

FONTS = Path(__file__).parents[3] / "shared" / "fonts"
REGULAR, BOLD = "TightsideSheet", "TightsideSheet-Bold"
TITLE, STICK_OUT, BODY, SMALL, LEAST = 16.0, 18.0, 10.0, 8.5, 8.0
LEADING = 1.19  # of the font's size
SLACK = 0.98  # of a line that is filled: where it is nearly full it counts as two
MOST_LINES = 12  # beyond them a text is not broken into lines to count them
CUT = "\u2026"
CUT_NOTE = f"{CUT} in a name: cut for want of room; the scene file has it whole."
_ALIGN = {"left": TA_LEFT, "right": TA_RIGHT, "centre": TA_CENTER}


@lru_cache(maxsize=1)
def glyphs() -> frozenset[int]:
    """The letters that both cuts of the font have; registers the fonts."""
    found = []
    for name, file in ((REGULAR, "DejaVuSansCondensed.ttf"), (BOLD, "DejaVuSansCondensed-Bold.ttf")):
        font = TTFont(name, str(FONTS / file))
        pdfmetrics.registerFont(font)
        found.append(frozenset(font.face.charToGlyph))
    pdfmetrics.registerFontFamily(REGULAR, normal=REGULAR, bold=BOLD, italic=REGULAR, boldItalic=BOLD)
    return found[0] & found[1]


@lru_cache(maxsize=64)
def style(size: float = BODY, align: str = "left", colour: str = "black", leading: float = LEADING) -> ParagraphStyle:
    return ParagraphStyle(
        f"{size}{align}{colour}{leading}",
        fontName=REGULAR,
        fontSize=size,
        leading=round(size * leading, 2),
        alignment=_ALIGN[align],
        textColor=colour,
        splitLongWords=1,
        allowWidows=1,
        allowOrphans=1,
    )


def bold(text: str) -> str:
    """Escaped and bold; what `text_of` takes as it stands is escaped by `plain`."""
    return f"<b>{escape(text)}</b>"


def plain(text: str) -> str:
    return escape(text)


def paragraph(marked: str, size: float = BODY, align: str = "left", colour: str = "black") -> Paragraph:
    """A paragraph of text that is escaped already. A number of the largest size stands alone: it needs no leading."""
    return Paragraph(marked, style(size, align, colour, 1.1 if size == STICK_OUT else LEADING))


def width_of(text: str, size: float, font: str = REGULAR) -> float:
    glyphs()
    return float(pdfmetrics.stringWidth(text, font, size))


class Cutter:
    """Cuts texts to a number of lines and remembers whether it had to."""

    def __init__(self) -> None:
        self.has_cut = False

    def fitted(self, text: str, width: float, lines: int, size: float, font: str = REGULAR) -> str:
        """The text, cut in the middle if it needs more than so many lines of this width."""
        made = _fitted(text, round(width, 2), lines, size, font)
        self.has_cut = self.has_cut or made != text
        return made


@lru_cache(maxsize=8192)  # a sheet is laid out several times
def _fitted(text: str, width: float, lines: int, size: float, font: str) -> str:
    if n_lines(text, width, size, font) <= lines:
        return text
    most = int(len(text) * lines * width / width_of(text, size, font)) + 4  # about as many letters as have room
    low, high = 1, min(len(text) - 1, max(most, 1))
    while low < high:
        keep = (low + high + 1) // 2
        if n_lines(_cut(text, keep), width, size, font) <= lines:
            low = keep
        else:
            high = keep - 1
    return _cut(text, low)


def n_lines(text: str, width: float, size: float, font: str = REGULAR) -> int:
    """How many lines a text needs."""
    long = width_of(text, size, font) / (width * SLACK)
    if long <= 1.0:
        return 1
    if long > MOST_LINES:
        return math.ceil(long)
    made = Paragraph(bold(text) if font == BOLD else plain(text), style(size))
    height: float = made.wrap(width, 1e6)[1]
    return max(2, int(height / style(size).leading + 0.5))


def _cut(text: str, keep: int) -> str:
    """So many letters of a text, from both of its ends."""
    head = (keep + 1) // 2
    tail = keep - head
    return f"{text[:head].rstrip()}{CUT}{text[len(text) - tail :].lstrip() if tail else ''}"
