"""The bench sheet as PDF: blocks on pages of A4 or Letter, one page where it fits, never more than four.

1. Same content, same pictures: same bytes. The file carries no time and no random name of its own.
2. Letters are never made smaller to save room. Pictures are made lower and rows closer where that spares the second
   page; else texts are given fewer lines, long lists are cut and say so, and only then rows are left out, which the
   sheet says in a black bar at its top.
3. What this file does not know: what the texts mean.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Literal

from reportlab.lib.pagesizes import A4, LETTER
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import BaseDocTemplate, Flowable, Frame, PageTemplate, Spacer

from app.jobs.sheet.blocks import (
    Pictures,
    incomplete_block,
    last_block,
    set_up_block,
    sign_block,
    title_block,
    watch_block,
    zeros_block,
)
from app.jobs.sheet.content import SheetContent
from app.jobs.sheet.framing import Plan
from app.jobs.sheet.letters import BOLD, CUT_NOTE, LEAST, REGULAR, Cutter, glyphs, width_of
from app.jobs.sheet.printable import LETTERS_NOTE, printable, printable_all
from app.jobs.sheet.rows import order_block, tools_block

Paper = Literal["a4", "letter"]
PAPERS = {"a4": A4, "letter": LETTER}
MOST_PAGES = 4
SIDE, TOP, FOOT = 28.0, 20.0, 26.0  # margins; the foot holds a line of its own
HEAD = 13.0  # of the pages after the first
GAP = 2.5  # between blocks
DENSITIES = (0, 1, 2)
LOWER = 0.76  # of a picture's height, where that makes a sheet of two pages one


@dataclass(slots=True)
class _Made:
    """One try: the file and how many pages it has."""

    data: bytes
    n_pages: int


@dataclass(frozen=True, slots=True)
class _Sheet:
    """A sheet with what is the same in every try."""

    content: SheetContent
    pictures: Pictures
    size: tuple[float, float]
    notes: tuple[str, ...] = field(default=())

    @property
    def width(self) -> float:
        return self.size[0] - 2 * SIDE


def sheet_pdf(content: SheetContent, pictures: Pictures, *, paper: Paper = "a4") -> bytes:
    """The sheet as the bytes of a PDF file."""
    shown = printable_all(content, glyphs())
    notes = (LETTERS_NOTE,) if shown != content else ()
    sheet = _Sheet(shown, _printable_pictures(pictures), PAPERS[paper], notes)
    made = _made(sheet, Plan(sheet.width, DENSITIES[0], Cutter()))
    if made.n_pages == 2:
        lower = _made(sheet, Plan(sheet.width, DENSITIES[0], Cutter(), picture=LOWER))
        made = lower if lower.n_pages == 1 else made
    for density in DENSITIES[1:]:
        if made.n_pages <= MOST_PAGES:
            break
        made = _made(sheet, Plan(sheet.width, density, Cutter()))
    n_tools, n_order = len(shown.tools), len(shown.order)
    while made.n_pages > MOST_PAGES and (n_tools > 1 or n_order > 1):
        n_tools, n_order = max(1, n_tools * 4 // 5), max(1, n_order * 4 // 5)
        made = _made(sheet, Plan(sheet.width, DENSITIES[-1], Cutter(), n_tools, n_order))
    assert made.n_pages <= MOST_PAGES, "a sheet with one tool and one orientation fits"
    return made.data


def _printable_pictures(pictures: Pictures) -> Pictures:
    set_up = printable_all(pictures.set_up, glyphs()) if pictures.set_up else None
    why = printable(pictures.why, glyphs()) if pictures.why else None
    return Pictures(set_up, pictures.watched, why)


def _made(sheet: _Sheet, plan: Plan) -> _Made:
    """Laid out twice: the first time tells how many pages there are, and whether something was cut."""
    first = _built(sheet, plan, n_pages=1)
    notes = (*sheet.notes, CUT_NOTE) if plan.cutter.has_cut else sheet.notes
    told = _Sheet(sheet.content, sheet.pictures, sheet.size, notes)
    if first.n_pages == 1 and notes == sheet.notes:
        return first
    second = _built(told, plan, n_pages=first.n_pages)
    return second if second.n_pages == first.n_pages else _built(told, plan, n_pages=second.n_pages)


def _built(sheet: _Sheet, plan: Plan, *, n_pages: int) -> _Made:
    out = io.BytesIO()
    height = sheet.size[1]
    document = BaseDocTemplate(
        out, pagesize=sheet.size, title=sheet.content.title, author="tightside", subject="bench sheet",
        creator="tightside", invariant=1, pageCompression=1,
    )  # fmt: skip
    furniture = _Furniture(sheet.content, sheet.size, n_pages)
    frames = [
        Frame(SIDE, FOOT, sheet.width, height - TOP - FOOT - head, 0, 0, 0, 0, id=name)
        for name, head in (("first", 0.0), ("later", HEAD))
    ]
    document.addPageTemplates(
        [
            PageTemplate("first", [frames[0]], onPage=furniture.foot, autoNextPageTemplate="later"),
            PageTemplate("later", [frames[1]], onPage=furniture.head_and_foot),
        ]
    )
    document.build(list(_story(sheet, plan)))
    return _Made(out.getvalue(), document.page)


def _story(sheet: _Sheet, plan: Plan) -> Iterator[Flowable]:
    """The blocks in order, with a little room between them."""
    content = sheet.content
    blocks = [title_block(content, plan)]
    if (plan.tools or 10**9) < len(content.tools) or (plan.order or 10**9) < len(content.order):
        blocks.append(
            incomplete_block("THIS SHEET IS NOT COMPLETE: it has no room for all. See `tightside check`.", plan)
        )
    blocks += [set_up_block(content, sheet.pictures, plan), tools_block(content, plan), order_block(content, plan)]
    if (zeros := zeros_block(content, plan)) is not None:
        blocks.append(zeros)
    watch = content.watch
    if watch.items or watch.more or watch.nearest:
        blocks.append(watch_block(content, sheet.pictures, plan))
    blocks += [last_block(content, sheet.notes, plan), sign_block(content, plan)]
    for i, block in enumerate(blocks):
        if i:
            yield Spacer(1, GAP / 2 if plan.is_close else GAP)
        yield block


class _Furniture:
    """What stands on every page beside the blocks: date, program, inputs, number; on later ones the name again."""

    def __init__(self, content: SheetContent, size: tuple[float, float], n_pages: int) -> None:
        self.content, self.size, self.n_pages = content, size, n_pages

    def foot(self, canvas: Canvas, document: BaseDocTemplate) -> None:
        width = self.size[0]
        page = f"page {document.page}/{self.n_pages}"
        canvas.setFont(REGULAR, LEAST)
        room = width - 2 * SIDE - width_of(page, LEAST) - 12
        canvas.drawString(SIDE, FOOT - 11, Cutter().fitted(self.content.made, room, 1, LEAST))
        canvas.drawRightString(width - SIDE, FOOT - 11, page)

    def head_and_foot(self, canvas: Canvas, document: BaseDocTemplate) -> None:
        width, height = self.size
        word = f"{self.content.word.upper()}: {self.content.action}"
        canvas.setFont(BOLD, LEAST)
        room = width - 2 * SIDE - width_of(word, LEAST, BOLD) - 12
        canvas.drawString(SIDE, height - TOP - 8, Cutter().fitted(self.content.title, room, 1, LEAST, BOLD))
        canvas.drawRightString(width - SIDE, height - TOP - 8, word)
        self.foot(canvas, document)
