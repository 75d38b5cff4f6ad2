"""The blocks of a sheet beside its long tables: title, set-up, part zero, watch list, what is not known, initials.

1. A block is as wide as the page's frame. In points.
2. What this file does not know: how the texts came about, how many pages there are.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from reportlab.lib.colors import black, white
from reportlab.platypus import Flowable, Table, TableStyle

from app.jobs.sheet.content import SheetContent, Watch, ZeroRow
from app.jobs.sheet.drawn import Framed, LabelledSetUp, Mark, SetUpPicture, WatchPictures, WriteOn
from app.jobs.sheet.facts import CutName
from app.jobs.sheet.framing import (
    FRAME,
    HALVES,
    MOST_ITEMS,
    PAD,
    PADDED,
    RULE,
    Cell,
    Plan,
    bare,
    block,
    heading,
    joined,
    labelled,
    small,
    texts_of,
    tight,
)
from app.jobs.sheet.letters import BODY, BOLD, LEAST, SMALL, TITLE, bold, paragraph, plain, width_of

SET_UP_PICTURE = (126.0, 108.0)
WATCH_PICTURE = (126.0, 80.0)
MOST_ZEROS = 6  # part zeros that fit beside the set-up
SPACE = "&nbsp;&nbsp;&nbsp;&nbsp;"


@dataclass(frozen=True, slots=True)
class Pictures:
    """The pictures of a sheet; `why` says why one that is missing could not be drawn."""

    set_up: SetUpPicture | None = None
    watched: Mapping[CutName, WatchPictures] | None = None
    why: str | None = None


def title_block(content: SheetContent, plan: Plan) -> Table:
    """Name, verdict and what to do, then the sentence that matters. Black where it must not be run."""
    is_black = not content.may_run
    ink, paper = (white, black) if is_black else (black, white)
    colour = "white" if is_black else "black"
    word = f"{content.word.upper()}: {content.action}"
    said_width = min(width_of(word, BODY + 2, BOLD) + 6, plan.width * 0.5)
    name_width = plan.width - said_width - 32 - 5 * PAD
    name = plan.cutter.fitted(content.title.upper(), name_width - 2, 2, TITLE, BOLD)
    head = [
        paragraph(bold(name), TITLE, colour=colour),
        Mark(content.verdict, 1.1, ink, paper),
        paragraph(bold(word), BODY + 2, colour=colour),
    ]
    apart = ("RIGHTPADDING", (0, 0), (0, 0), 3 * PAD)
    top = Table(
        [head],
        colWidths=[name_width + 3 * PAD, 32, said_width],
        style=bare("MIDDLE", PAD, apart),
    )
    said = plan.cutter.fitted(" ".join(content.sentences), plan.width - 4 * PAD, plan.lines + 2, BODY)
    about = f"Lengths in {content.units}. {content.machine}."
    if width_of(f"{said} {about}", LEAST) > plan.width * 1.8:
        about = plan.cutter.fitted(about, plan.width - 4 * PAD, 1, LEAST)
    text = f'{plain(said)} <font size="{LEAST}">{plain(about)}</font>'
    rows: list[list[Cell]] = [[top], [paragraph(text, BODY)]]
    looks = [
        ("BOX", (0, 0), (-1, -1), 1.4, black),
        ("BACKGROUND", (0, 0), (-1, 0), paper),
        ("LINEBELOW", (0, 0), (-1, 0), RULE, black),
        ("TOPPADDING", (0, 0), (-1, 0), 2),
        ("BOTTOMPADDING", (0, 0), (-1, 0), 3),
        ("TOPPADDING", (0, 1), (-1, 1), 1),
        ("BOTTOMPADDING", (0, 1), (-1, 1), 3),
    ]
    return Table(rows, colWidths=[plan.width], style=TableStyle([*PADDED, *looks]))


def incomplete_block(text: str, plan: Plan) -> Table:
    rows: list[list[Cell]] = [[paragraph(bold(text), BODY, colour="white")]]
    looks = [("BACKGROUND", (0, 0), (-1, -1), black), ("BOX", (0, 0), (-1, -1), FRAME, black)]
    return Table(rows, colWidths=[plan.width], style=TableStyle([*PADDED, *looks]))


# --- set-up and part zero -----------------------------------------------------------------------


def set_up_block(content: SheetContent, pictures: Pictures, plan: Plan) -> Table:
    """The set-up at the left, part zero at the right."""
    left_width = plan.width * 0.48
    right_width = plan.width - left_width
    room = right_width - 2 * PAD
    left: list[Flowable] = [heading("SET-UP, as seen from the door")]
    if pictures.set_up is not None:
        size = (SET_UP_PICTURE[0] * plan.picture, SET_UP_PICTURE[1] * plan.picture)
        left.append(LabelledSetUp(pictures.set_up, left_width - 2 * PAD, size, plan.cutter))
    else:
        why = plan.cutter.fitted(pictures.why or "none was asked for", left_width - 2 * PAD, 4, BODY)
        left.append(paragraph(f"{bold('No picture of the set-up:')} {plain(why)}", BODY))
    said, zero = content.set_up, content.zero
    right: list[Flowable] = [heading("PART ZERO")]
    right += texts_of(zero.where, room, plan, size=BODY)
    right.append(paragraph(bold(plan.cutter.fitted(zero.how, room, 3, BODY, BOLD)), BODY))
    if len(zero.rows) <= MOST_ZEROS:
        right.append(_zero_table(zero.rows, room, plan))
        right.append(paragraph(plain(zero.counted), LEAST))
    else:
        right.append(paragraph("see PART ZERO AT EACH ORIENTATION", BODY))
    if zero.checking and _is_short(content):
        texts = "; ".join(zero.checking)
        text = f"{bold('For checking only, do not key in:')} {joined([texts], room, plan, lines=4)}"
        right.append(paragraph(text, SMALL))
    for title, texts_said in (("STOCK", said.stock), ("FIXTURE", said.turns), ("SCREWS", said.screws)):
        if texts_said:
            right.append(paragraph(f"{bold(title)} {joined(texts_said, room, plan)}", SMALL))
    if said.keys:
        right.append(paragraph(f"{bold('KEYS')} {joined(said.keys, room, plan)}", SMALL))
    if said.notes:
        right.append(paragraph(f"{bold('NOTES')} {joined(said.notes, room, plan, lines=6)}", SMALL))
    rows: list[list[Cell]] = [[left, right]]
    looks = [("BOX", (0, 0), (-1, -1), FRAME, black), ("LINEAFTER", (0, 0), (0, -1), RULE, black)]
    return Table(rows, colWidths=[left_width, right_width], style=TableStyle([*PADDED, *looks]))


def _is_short(content: SheetContent) -> bool:
    return len(content.zero.checking) <= MOST_ZEROS


def _zero_table(zeros: Sequence[ZeroRow], width: float, plan: Plan) -> Table:
    """X, Y and Z of every part zero; large where there is only one."""
    size = 12.0 if len(zeros) == 1 and all(len(z.x + z.y + z.z) <= 30 for z in zeros) else SMALL
    names = [z.name for z in zeros]
    name_width = min(max((width_of(n, SMALL, BOLD) for n in names), default=0.0) + 4, width * 0.34) if any(names) else 0
    columns = [name_width] * bool(any(names)) + [(width - name_width) / 3] * 3
    rows = []
    for zero in zeros:
        cells = [paragraph(f"{axis} {bold(v)}", size) for axis, v in zip("XYZ", (zero.x, zero.y, zero.z), strict=True)]
        if any(names):
            name = plan.cutter.fitted(zero.name, name_width - 2, 2, SMALL, BOLD)
            cells.insert(0, paragraph(bold(name), SMALL))
        rows.append(cells)
    return Table(rows, colWidths=columns, style=bare("MIDDLE", 1))


def zeros_block(content: SheetContent, plan: Plan) -> Table | None:
    """Part zeros, or those for checking only, where they are too many to stand beside the set-up."""
    zero = content.zero
    if len(zero.rows) > MOST_ZEROS:
        title, texts = (
            f"PART ZERO AT EACH ORIENTATION, {zero.counted}",
            [f"{z.name}:  X {z.x}  Y {z.y}  Z {z.z}" for z in zero.rows],
        )
    elif not _is_short(content):
        title, texts = "PART ZERO FOR CHECKING ONLY, do not key in", list(zero.checking)
    else:
        return None
    half = plan.width / 2
    cells = [paragraph(plain(plan.cutter.fitted(t, half - 2 * PAD, 1, LEAST)), LEAST) for t in texts]
    n = (len(cells) + 1) // 2
    pairs = [[cells[i], cells[i + n] if i + n < len(cells) else ""] for i in range(n)]
    return block(title, [half, half], pairs, pad=0.4)


# --- the watch list -----------------------------------------------------------------------------


def watch_block(content: SheetContent, pictures: Pictures, plan: Plan) -> Table:
    """Two places beside each other; one that is alone has its pictures beside its text."""
    watch = content.watch
    width = plan.width / HALVES
    rows: list[list[Cell]] = []
    for i in range(0, len(watch.items), HALVES):
        texts = [
            _watch_text(n, item, pictures, width, plan) for n, item in enumerate(watch.items[i : i + HALVES], i + 1)
        ]
        drawn = [_watch_pictures(item, pictures, width, plan) for item in watch.items[i : i + HALVES]]
        if len(texts) == 1:
            rows.append([texts[0], drawn[0]])
        else:
            rows.append([[*text, *picture] for text, picture in zip(texts, drawn, strict=True)])
    spans: list[list[Cell]] = []
    if any(item.pin for item in watch.items):
        spans.append([small(content.pin, plan.width, plan)])
    spans += [[small(text, plan.width, plan, lines=3)] for text in (*watch.more, watch.nearest) if text]
    n_full = len(watch.items) // HALVES
    lines = [("LINEAFTER", (0, 1), (0, n_full), RULE, black)] if n_full else []
    lines += [("LINEBELOW", (0, i), (-1, i), RULE, black) for i in range(1, len(rows))]
    return block(watch.title, [width] * HALVES, rows, spans=spans, looks=lines, pad=1.0)


def _watch_text(n: int, item: Watch, pictures: Pictures, width: float, plan: Plan) -> list[Flowable]:
    room = width - 2 * PAD
    place = f", {item.place}" if item.place else ""
    name = plan.cutter.fitted(item.name, room - 16, 2, BODY, BOLD)
    lines: list[Flowable] = [paragraph(f"{bold(f'{n}.')} {bold(name)}{plain(place)}", BODY)]
    if item.part:
        bodies = plan.cutter.fitted(item.bodies, room - 60, 2, BODY, BOLD)
        part = plan.cutter.fitted(item.part, room - 60, 1, BODY, BOLD)
        lines.append(paragraph(f"{bold(part)} {plain(item.beside)} {bold(bodies)}", BODY))
    else:
        lines.append(paragraph(plain(plan.cutter.fitted(item.bodies, room, 3, BODY)), BODY))
    if item.where:
        lines.append(paragraph(plain(plan.cutter.fitted(item.where, room, 2, SMALL)), SMALL))
    if item.gap:
        stop = f"{SPACE}{bold(item.stop)}" if item.stop else ""
        lines.append(paragraph(f"{bold(item.gap)}{stop}", BODY))
    if item.seen or item.pin:
        seen = bold(item.seen) if item.seen.startswith("HIDDEN") else plain(item.seen)
        lines.append(paragraph(f"{plain(item.pin)}. {seen}" if item.pin else seen, SMALL))
    if item.cut is not None and item.cut not in (pictures.watched or {}):
        why = plan.cutter.fitted(pictures.why or "none could be drawn", room - 50, 2, LEAST)
        lines.append(paragraph(f"{bold('No picture:')} {plain(why)}", LEAST))
    return lines


def _watch_pictures(item: Watch, pictures: Pictures, width: float, plan: Plan) -> list[Flowable]:
    drawn = (pictures.watched or {}).get(item.cut) if item.cut else None
    return [] if drawn is None else [_two_pictures(drawn, width - 2 * PAD, plan.picture)]


def _two_pictures(drawn: WatchPictures, room: float, share: float) -> Table:
    width = (room - PAD) / 2 * share
    height = width * WATCH_PICTURE[1] / WATCH_PICTURE[0]
    captions = [plain(drawn.seen_from), "from the door"]
    rows: list[list[Cell]] = [
        [Framed(drawn.across, width, height), Framed(drawn.door, width, height)],
        [paragraph(text, LEAST) for text in captions],
    ]
    looks = [("LEFTPADDING", (1, 0), (1, -1), PAD / 2), ("TOPPADDING", (0, 0), (-1, 0), 2)]
    made = Table(rows, colWidths=[width + PAD / 2, width + PAD / 2], style=bare("TOP", 0.5, *looks))
    made.hAlign = "LEFT"
    return made


# --- the rest -----------------------------------------------------------------------------------


def last_block(content: SheetContent, notes: Sequence[str], plan: Plan) -> Table:
    """What was not checked, is not modelled, was assumed; cautions."""
    room = plan.width - 2 * PAD
    most = MOST_ITEMS[plan.density]
    rows: list[list[Cell]] = []
    if content.not_checked:
        rows.append([paragraph(bold(f"NOT CHECKED: {len(content.not_checked)}"), BODY)])
        for text in content.not_checked[:most]:
            rows.append([paragraph(f"?  {plain(plan.cutter.fitted(text, room - 12, plan.lines, SMALL))}", SMALL)])
        if len(content.not_checked) > most:
            more = len(content.not_checked) - most
            rows.append(
                [paragraph(bold(f"and {more} more that were not checked: `tightside check` names them all"), SMALL)]
            )
    else:
        nothing = f"{bold('NOT CHECKED')} nothing{SPACE}"
        said = plan.cutter.fitted(content.not_modelled, room - 150, plan.lines, SMALL)
        rows.append([paragraph(f"{nothing}{bold('NOT MODELLED')} {plain(said)}", SMALL)])
    if content.not_checked:
        rows.append([labelled("NOT MODELLED", content.not_modelled, room, plan)])
    rows.append([labelled("ASSUMED", "; ".join(content.assumed), room, plan, lines=4)])
    rows.append([labelled("BEFORE RUNNING", content.before, room, plan, lines=6)])
    rows += [[paragraph(plain(note), LEAST)] for note in notes]
    looks: list[tuple[object, ...]] = [
        ("BOX", (0, 0), (-1, -1), FRAME, black),
        ("LINEBELOW", (0, "splitlast"), (-1, "splitlast"), FRAME, black),
    ]
    if content.not_checked:
        looks.append(("NOSPLIT", (0, 0), (0, 1)))  # its heading does not stand alone
    return Table(rows, colWidths=[plan.width], style=TableStyle([*PADDED, *tight(0.8), *looks]))


def sign_block(content: SheetContent, plan: Plan) -> Table:
    """Room for initials: each a word and a line to write on."""
    rows: list[list[Cell]] = [[WriteOn(content.sign, plan.width - 2 * PAD)]]
    looks = [("BOX", (0, 0), (-1, -1), FRAME, black), ("TOPPADDING", (0, 0), (-1, -1), 4 if plan.is_close else 8)]
    return Table(rows, colWidths=[plan.width], style=TableStyle([*PADDED, *looks]))
