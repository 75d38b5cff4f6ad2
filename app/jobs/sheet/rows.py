"""The two long tables of a sheet: the tools, and the orientations in their order. In points."""

from __future__ import annotations

from collections.abc import Sequence

from reportlab.platypus import Paragraph, Table

from app.jobs.sheet.content import OrderRow, SheetContent, ToolRow
from app.jobs.sheet.drawn import MARK, Mark
from app.jobs.sheet.framing import MARK_SCALE, PAD, Cell, Plan, block, cut_to, small, width_for
from app.jobs.sheet.letters import BODY, BOLD, LEAST, REGULAR, SMALL, STICK_OUT, bold, n_lines, paragraph, plain
from kinematics.verdict import Verdict


def tools_block(content: SheetContent, plan: Plan) -> Table:
    shown = content.tools[: plan.tools]
    rest = content.tools[len(shown) :]
    rows = _run_rows(shown, plan) if content.may_run else _stopped_rows(shown, plan)
    widths = _run_widths(content.tools, plan) if content.may_run else _stopped_widths(content.tools, plan)
    heads = _RUN_HEADS if content.may_run else _STOPPED_HEADS
    header = [paragraph(plain(h), LEAST, a) for h, a in heads]
    spans: list[list[Cell]] = []
    if rest:
        names = ", ".join(t.id for t in rest)
        spans.append([small(f"AND {len(rest)} MORE TOOLS, NOT ON THIS SHEET: {names}", plan.width, plan, is_bold=True)])
    if content.tool_notes:
        spans.append([small(" ".join(content.tool_notes), plan.width, plan, is_bold=True)])
    title = "TOOLS, stick-out from the face of the nut or holder" if content.may_run else "TOOLS, as they were checked"
    return block(title, widths, rows, header=header, spans=spans, pad=0.0 if plan.is_close else 1.0)


_RUN_HEADS = (
    ("T", "left"),
    ("tool", "left"),
    ("holder", "left"),
    ("SET", "right"),
    ("NOT UNDER", "right"),
    ("gauge l.", "right"),
    ("measured", "centre"),
    ("L/D", "right"),
    ("what NOT UNDER guards", "left"),
)
_STOPPED_HEADS = (("T", "left"), ("tool", "left"), ("holder", "left"), ("L/D", "right"), ("", "left"), ("", "left"))


def _run_widths(tools: Sequence[ToolRow], plan: Plan) -> list[float]:
    first = [t.set.partition(" (")[0] for t in tools]
    fixed = [
        width_for([t.id for t in tools], BODY, BOLD, 14, 56),
        width_for([t.tool for t in tools], SMALL, REGULAR, 40, 78),
        width_for([f"{t.holder}  {t.holder_title}" for t in tools], SMALL, REGULAR, 50, 104),
        width_for(first, STICK_OUT, BOLD, 30, 110),
        width_for([t.not_under.partition(" (")[0] for t in tools], BODY + 2, BOLD, 46, 80),
        width_for([t.gauge_length.partition(" (")[0] for t in tools], SMALL, REGULAR, 32, 60),
        46.0,
        width_for([t.slenderness for t in tools], SMALL, REGULAR, 16, 34),
    ]
    return [*fixed, plan.width - sum(fixed)]


def _run_rows(tools: Sequence[ToolRow], plan: Plan) -> list[list[Cell]]:
    widths = _run_widths(tools, plan) if tools else []
    lines = min(plan.lines, 2)
    rows: list[list[Cell]] = []
    for tool in tools:
        rows.append(
            [
                cut_to(tool.id, widths[0], lines, BODY, plan, is_bold=True),
                cut_to(tool.tool, widths[1], lines, SMALL, plan),
                _holder(tool, widths[2], plan),
                _length(tool.set, STICK_OUT),
                _length(tool.not_under, BODY + 2),
                _length(tool.gauge_length, SMALL, is_bold=False),
                paragraph("________", LEAST, "centre"),
                paragraph(plain(tool.slenderness), SMALL, "right"),
                cut_to(tool.guards, widths[8], plan.lines, SMALL, plan),
            ]
        )
    return rows


def _length(text: str, size: float, *, is_bold: bool = True) -> list[Paragraph]:
    """A length, with what stands in brackets small under it."""
    first, _, second = text.partition(" (")
    lines = [paragraph(bold(first) if is_bold else plain(first), size, "right")]
    return [*lines, paragraph(f"{plain(second.rstrip(')'))} in", LEAST, "right")] if second else lines


def _holder(tool: ToolRow, width: float, plan: Plan) -> Paragraph:
    """The holder by its name, then what it is, as far as there is room: the name tells it."""
    lines, room = min(plan.lines, 2), width - 2 * PAD
    name = plan.cutter.fitted(tool.holder, room, lines, SMALL, BOLD)
    parts = tool.holder_title.split(", ") if tool.holder_title else []
    while parts and n_lines(f"{name} {', '.join(parts)}", room * 0.93, SMALL) > lines:
        parts.pop()
    return paragraph(f"{bold(name)} {plain(', '.join(parts))}", SMALL)


def _stopped_widths(tools: Sequence[ToolRow], plan: Plan) -> list[float]:
    fixed = [
        width_for([t.id for t in tools], BODY, BOLD, 14, 60),
        90.0,
        150.0,
        30.0,
        MARK_SCALE * MARK[0] + 2 * PAD,
    ]
    return [*fixed, plan.width - sum(fixed)]


def _stopped_rows(tools: Sequence[ToolRow], plan: Plan) -> list[list[Cell]]:
    widths = _stopped_widths(tools, plan) if tools else []
    lines = min(plan.lines, 2)
    rows: list[list[Cell]] = []
    for tool in tools:
        word = str(tool.verdict).upper() if tool.guards != str(tool.verdict) else ""
        rows.append(
            [
                cut_to(tool.id, widths[0], lines, BODY, plan, is_bold=True),
                cut_to(tool.tool, widths[1], lines, SMALL, plan),
                _holder(tool, widths[2], plan),
                paragraph(plain(tool.slenderness), SMALL, "right"),
                Mark(tool.verdict, MARK_SCALE),
                cut_to(f"{word}; {tool.guards}" if word else tool.guards, widths[5], lines, SMALL, plan),
            ]
        )
    return rows


def order_block(content: SheetContent, plan: Plan) -> Table:
    shown = content.order[: plan.order]
    rest = content.order[len(shown) :]
    widths = _order_widths(content.order, plan)
    rows = [_order_row(row, widths, plan) for row in shown]
    spans: list[list[Cell]] = []
    if rest:
        names = ", ".join(r.name for r in rest)
        text = f"AND {len(rest)} MORE ORIENTATIONS, NOT ON THIS SHEET: {names}"
        spans.append([small(text, plan.width, plan, is_bold=True)])
    if content.turns:
        said = plan.cutter.fitted(" ".join(content.turns), plan.width - 2 * PAD, plan.lines + 2, SMALL)
        spans.append([paragraph(f"{bold('TABLE TURNS')} {plain(said)}", SMALL)])
    heads = (("", "left"), ("table", "left"), ("cuts", "left"), ("", "left"), ("nearest", "left"), ("gap", "right"))
    header = [paragraph(plain(h), LEAST, a) for h, a in heads]
    return block("ORDER, with what is nearest", widths, rows, header=header, spans=spans, pad=0.3)


def _order_widths(rows: Sequence[OrderRow], plan: Plan) -> list[float]:
    name = width_for([r.name for r in rows], SMALL, BOLD, 14, 84)
    table = width_for([r.angles for r in rows], SMALL, REGULAR, 20, 120)
    gap = width_for([r.gap for r in rows], SMALL, BOLD, 20, 74)
    rest = plan.width - name - table - gap - (MARK_SCALE * MARK[0] + 6)
    cuts = min(width_for([r.cuts for r in rows], SMALL, REGULAR, 60, 400), rest * 0.48)
    return [name, table, cuts, MARK_SCALE * MARK[0] + 6, rest - cuts, gap]


def _order_row(row: OrderRow, widths: Sequence[float], plan: Plan) -> list[Cell]:
    lines = plan.lines
    is_clear = row.verdict is Verdict.CLEAR
    gap = plan.cutter.fitted(row.gap, widths[5] - PAD, 2, SMALL, BOLD)
    return [
        cut_to(row.name, widths[0], lines, SMALL, plan, is_bold=True),
        paragraph(plain(row.angles), SMALL),  # never cut: it is keyed in
        cut_to(row.cuts, widths[2], lines, SMALL, plan),
        "" if is_clear else Mark(row.verdict, MARK_SCALE),
        cut_to(row.tightest, widths[4], lines, SMALL, plan, is_bold=not is_clear),
        paragraph(plain(gap) if is_clear else bold(gap), SMALL, "right"),
    ]
