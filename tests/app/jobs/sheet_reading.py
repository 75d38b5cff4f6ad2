"""Reads a sheet back from its PDF with a library that had no part in making it: texts, places, lines, pictures."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pypdfium2 as pdfium
import pypdfium2.raw as raw

LEAST_LINE = 12.0  # points; a shorter stroke is part of a mark or a letter
THIN = 3.0
GRAZE = 0.6  # points that a letter's box may reach over another or over a line: boxes are of letters, not of ink


@dataclass(frozen=True)
class Box:
    """A thing on a page by its edges, in points from the lower left corner; `text` is "" for a line or picture."""

    x0: float
    y0: float
    x1: float
    y1: float
    text: str = ""
    size: float = 0.0

    def overlap(self, other: Box) -> tuple[float, float]:
        """How far two boxes reach over each other, each way; negative apart."""
        return min(self.x1, other.x1) - max(self.x0, other.x0), min(self.y1, other.y1) - max(self.y0, other.y0)


@dataclass(frozen=True)
class ReadPage:
    """What stands on one page."""

    width: float
    height: float
    texts: tuple[Box, ...]
    lines: tuple[Box, ...]
    pictures: tuple[Box, ...]
    text: str


def read_pages(data: bytes) -> list[ReadPage]:
    document = pdfium.PdfDocument(data)
    pages = [_page(page) for page in document]
    document.close()
    return pages


def text_of(data: bytes) -> str:
    """All text in the order in which it was written, white space and true minus made plain."""
    return " ".join(page.text for page in read_pages(data))


def grey_pages(data: bytes, dots_per_inch: float = 60.0) -> Iterator[np.ndarray]:
    """Every page as pixels (height, width, 3)."""
    document = pdfium.PdfDocument(data)
    for page in document:
        yield page.render(scale=dots_per_inch / 72.0, rev_byteorder=True).to_numpy()[..., :3]
    document.close()


def _page(page: pdfium.PdfPage) -> ReadPage:
    width, height = page.get_size()
    reader = page.get_textpage()
    found: dict[int, list[Box]] = {raw.FPDF_PAGEOBJ_TEXT: [], raw.FPDF_PAGEOBJ_PATH: [], raw.FPDF_PAGEOBJ_IMAGE: []}
    for thing in page.get_objects(textpage=reader):
        if thing.type in found:
            found[thing.type].append(_box(thing))
    said = reader.get_text_range()
    strokes = [b for b in found[raw.FPDF_PAGEOBJ_PATH] if max(b.x1 - b.x0, b.y1 - b.y0) > LEAST_LINE]
    return ReadPage(
        width,
        height,
        tuple(b for b in found[raw.FPDF_PAGEOBJ_TEXT] if b.text.strip()),
        tuple(b for b in strokes if min(b.x1 - b.x0, b.y1 - b.y0) < THIN),
        tuple(found[raw.FPDF_PAGEOBJ_IMAGE]),
        plain(said),
    )


def _box(thing: pdfium.PdfObject) -> Box:
    is_text = thing.type == raw.FPDF_PAGEOBJ_TEXT
    text = thing.extract() if is_text else ""
    return Box(*thing.get_bounds(), text, thing.get_font_size() if is_text else 0.0)


def plain(text: str) -> str:
    """One line, with blanks and minus signs as on a keyboard."""
    return re.sub(r"\s+", " ", text.replace("\u2212", "-").replace("\u00a0", " ")).strip()


def faults(page: ReadPage) -> Iterator[str]:
    """Every text that leaves the page, lies over another text, or crosses a line of the table that it stands in."""
    for text in page.texts:
        if text.x0 < 20.0 or text.x1 > page.width - 20.0 or text.y0 < 8.0 or text.y1 > page.height - 12.0:
            yield f"{text.text!r} leaves the page: {text}"
        for line in page.lines:
            if min(text.overlap(line)) > 0.0 and _crosses(text, line):
                yield f"{text.text!r} crosses a line: {text}, {line}"
    ordered = sorted(page.texts, key=lambda b: b.x0)
    for i, a in enumerate(ordered):
        for b in ordered[i + 1 :]:
            if b.x0 > a.x1:
                break
            if min(a.overlap(b)) > GRAZE:
                yield f"{a.text!r} lies over {b.text!r}: {a}, {b}"


def _crosses(text: Box, line: Box) -> bool:
    """Whether a line goes through a text, not only along its edge."""
    if line.x1 - line.x0 > line.y1 - line.y0:
        at = (line.y0 + line.y1) / 2
        return text.y0 + GRAZE < at < text.y1 - GRAZE
    at = (line.x0 + line.x1) / 2
    return text.x0 + GRAZE < at < text.x1 - GRAZE
