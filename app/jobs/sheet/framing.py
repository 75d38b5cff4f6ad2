"""How the sheet's blocks are framed: a heading, rows, lines across; cells that take as many lines as there is room for.

1. A density says how much room texts get: 0 as designed, 1 tighter, 2 for a set-up that else would need more pages
   than a sheet may have. Sizes of letters are the same in all.
2. A block repeats its heading where it is split, and is only split after a row of its own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, TypeAlias

from reportlab.lib.colors import black
from reportlab.platypus import Flowable, Paragraph, Table, TableStyle

from app.jobs.sheet.letters import BOLD, REGULAR, SMALL, Cutter, bold, paragraph, plain, width_of

FRAME, RULE = 0.8, 0.35  # widths of lines
PAD = 4.0
LINES = (3, 2, 1)  # of a cell, by density
MOST_ITEMS = (12, 8, 5)  # of a list, by density
MARK_SCALE = 0.62  # of the mark in a row
HALVES = 2  # columns of a block that is split down its middle


@dataclass(frozen=True, slots=True)
class Plan:
    """How a sheet is laid out.

    Parameters
    ----------
    tools, order : how many rows are shown; None for all.
    picture : how high pictures are, of their design; where they are lower, rows stand closer too.
    """

    width: float
    density: int
    cutter: Cutter
    tools: int | None = None
    order: int | None = None
    picture: float = 1.0

    @property
    def is_close(self) -> bool:
        return self.picture < 1.0 or self.density > 0

    @property
    def lines(self) -> int:
        return LINES[self.density]


Cell: TypeAlias = Any  # text, a flowable or several: the library has no types


PADDED = [
    ("LEFTPADDING", (0, 0), (-1, -1), PAD),
    ("RIGHTPADDING", (0, 0), (-1, -1), PAD),
    ("TOPPADDING", (0, 0), (-1, -1), 2),
    ("BOTTOMPADDING", (0, 0), (-1, -1), 3),
    ("VALIGN", (0, 0), (-1, -1), "TOP"),
    ("FONTSIZE", (0, 0), (-1, -1), 1),  # of empty cells, which else are as high as a line
    ("LEADING", (0, 0), (-1, -1), 1),
]


def tight(pad: float) -> list[tuple[object, ...]]:
    return [("TOPPADDING", (0, 0), (-1, -1), pad), ("BOTTOMPADDING", (0, 0), (-1, -1), pad)]


def bare(align: str, pad: float, *looks: tuple[object, ...]) -> TableStyle:
    sides = [("LEFTPADDING", (0, 0), (-1, -1), 0), ("RIGHTPADDING", (0, 0), (-1, -1), 0)]
    return TableStyle([*sides, *tight(pad), ("VALIGN", (0, 0), (-1, -1), align), *looks])


def block(
    title: str,
    widths: Sequence[float],
    rows: Sequence[Sequence[Cell]],
    *,
    header: Sequence[Cell] | None = None,
    spans: Sequence[Sequence[Cell]] = (),
    looks: Sequence[tuple[object, ...]] = (),
    pad: float,
) -> Table:
    """A framed table: heading, column heads, rows, then lines across the whole width."""
    n = len(widths)
    heads: list[list[Cell]] = [[heading(title), *[""] * (n - 1)]]
    if header:
        heads.append([*header])
    body = [[*row] for row in rows] + [[span[0], *[""] * (n - 1)] for span in spans]
    last = len(heads) + len(rows)
    styles: list[tuple[object, ...]] = [
        *PADDED,
        ("LEFTPADDING", (0, 0), (-1, -1), PAD if n <= HALVES else PAD / 2),
        ("RIGHTPADDING", (0, 0), (-1, -1), PAD if n <= HALVES else PAD / 2),
        ("LEFTPADDING", (0, 0), (0, -1), PAD),
        ("RIGHTPADDING", (-1, 0), (-1, -1), PAD),
        *tight(pad),
        ("BOX", (0, 0), (-1, -1), FRAME, black),
        ("LINEBELOW", (0, "splitlast"), (-1, "splitlast"), FRAME, black),
        ("SPAN", (0, 0), (-1, 0)),
        ("TOPPADDING", (0, 0), (-1, 0), 1.5),
        ("VALIGN", (0, 1), (-1, -1), "MIDDLE" if header else "TOP"),
        *looks,
    ]
    if header and rows:
        styles.append(("LINEBELOW", (0, 1), (-1, last - 1), RULE, black))
    for i in range(len(spans)):
        styles.append(("SPAN", (0, last + i), (-1, last + i)))
        styles += [
            ("TOPPADDING", (0, last + i), (-1, last + i), 1),
            ("BOTTOMPADDING", (0, last + i), (-1, last + i), 1.5),
        ]
    return Table([*heads, *body], colWidths=list(widths), style=TableStyle(styles), repeatRows=len(heads))


def heading(text: str) -> Paragraph:
    first, comma, rest = text.partition(",")
    return paragraph(bold(first) + (plain(comma + rest) if comma else ""), SMALL)


def cut_to(text: str, width: float, lines: int, size: float, plan: Plan, *, is_bold: bool = False) -> Paragraph:
    fitted = plan.cutter.fitted(text, width - 2 * PAD, lines, size, BOLD if is_bold else REGULAR)
    return paragraph(bold(fitted) if is_bold else plain(fitted), size)


def small(text: str, width: float, plan: Plan, *, lines: int = 2, is_bold: bool = False) -> Paragraph:
    return cut_to(text, width, lines, SMALL, plan, is_bold=is_bold)


def labelled(label: str, text: str, room: float, plan: Plan, *, lines: int = 2) -> Paragraph:
    fitted = plan.cutter.fitted(f"{label} {text}", room - 10, lines, SMALL).removeprefix(label)
    return paragraph(f"{bold(label)}{plain(fitted)}", SMALL)


def texts_of(
    texts: Sequence[str], width: float, plan: Plan, *, size: float = SMALL, most: int | None = None
) -> list[Flowable]:
    shown = texts[: most or MOST_ITEMS[plan.density]]
    found: list[Flowable] = [paragraph(plain(plan.cutter.fitted(t, width, plan.lines, size)), size) for t in shown]
    if len(texts) > len(shown):
        plan.cutter.has_cut = True
        found.append(paragraph(plain(f"and {len(texts) - len(shown)} more, in the scene file"), size))
    return found


def joined(texts: Sequence[str], width: float, plan: Plan, *, lines: int | None = None) -> str:
    return plain(plan.cutter.fitted("; ".join(texts), width - 40, lines or plan.lines + 1, SMALL))


def width_for(texts: Sequence[str], size: float, font: str, least: float, most: float) -> float:
    return min(max([width_of(t, size, font) for t in texts] + [least]) + 2 * PAD + 1.0, most)
