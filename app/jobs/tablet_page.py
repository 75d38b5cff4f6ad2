"""The bench sheet as one page for a tablet in the shop: the same texts and numbers, with its pictures inside it.

1. Every text and number is the sheet's (`sheet/content.py`); nothing is computed or rounded here.
2. One file: pictures stand in it as data, nothing is loaded, there is no script; a policy in its head forbids both.
3. Every text is escaped. What could not be drawn says why, in the picture's place.
4. What was not checked stands right under the verdict, not at the end.
"""

from __future__ import annotations

import base64
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from html import escape

from app.jobs.sheet.content import OrderRow, SheetContent, ToolRow, Watch
from app.jobs.sheet.facts import CutName
from app.jobs.tablet_style import mark, plate_class, style
from kinematics.verdict import Verdict

POLICY = "default-src 'none'; img-src data:; style-src 'unsafe-inline'"
_BLANK = '<span class="blank">&nbsp;</span>'


@dataclass(frozen=True, slots=True)
class PageLabel:
    """A name, and its place in a picture as shares of width and height from the upper left corner."""

    name: str
    x: float
    y: float


@dataclass(frozen=True, slots=True)
class PagePicture:
    """A picture as PNG, in light and, if there is one, in dark.

    Parameters
    ----------
    about : what is seen and from where; stands under it.
    labels : what is marked with a number in it, in the order of the numbers.
    to_operator : which way in the picture leads to the operator (x right, y down); None where that is not shown.
    """

    light: bytes
    dark: bytes | None
    size: tuple[int, int]
    about: str
    labels: tuple[PageLabel, ...] = ()
    to_operator: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class NotDrawn:
    """A picture that could not be made, and why."""

    about: str
    why: str


Shown = PagePicture | NotDrawn


@dataclass(frozen=True, slots=True)
class PagePictures:
    """The pictures of a page. `of_cuts`: those of each cut on the watch list."""

    set_up: Shown | None = None
    of_cuts: Mapping[CutName, Sequence[Shown]] = field(default_factory=dict)


def tablet_page(content: SheetContent, pictures: PagePictures) -> str:
    """The whole page as text."""
    parts = [
        "<!DOCTYPE html>",
        '<html lang="en">',
        "<head>",
        '<meta charset="utf-8">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        f'<meta http-equiv="Content-Security-Policy" content="{POLICY}">',
        '<meta name="color-scheme" content="light dark">',
        f"<title>{escape(content.title)}: {escape(content.word.upper())}</title>",
        f"<style>{style()}</style>",
        "</head>",
        "<body>",
        *_body(content, pictures),
        "</body>",
        "</html>",
    ]
    return "\n".join(parts) + "\n"


def _body(c: SheetContent, pictures: PagePictures) -> Iterator[str]:
    yield from _head(c)
    if c.not_checked:
        yield from _section("NOT CHECKED", [_list(c.not_checked)], kind="loud")
    if c.watch.items and not c.may_run:
        yield from _watch_list(c, pictures)
    yield from _set_up(c, pictures)
    yield from _zero(c)
    yield from _tools(c)
    yield from _order(c)
    if c.turns:
        yield from _section("TABLE TURNS", [_list(c.turns)])
    if c.may_run or not c.watch.items:
        yield from _watch_list(c, pictures)
    known = [
        ("NOT CHECKED", "; ".join(c.not_checked) or "nothing"),
        ("NOT MODELLED", c.not_modelled),
        ("ASSUMED", "; ".join(c.assumed)),
    ]
    rows = "".join(f"<dt>{escape(name)}</dt><dd>{escape(text)}</dd>" for name, text in known)
    yield from _section("WHAT IS NOT KNOWN", [f"<dl>{rows}</dl>"])
    yield from _section("BEFORE RUNNING", [f"<p>{escape(c.before)}</p>"])
    signs = "".join(f"<span>{escape(text)} {_BLANK}</span>" for text in c.sign)
    yield from _section("INITIALS", [f'<div class="sign">{signs}</div>'])
    yield f"<footer><p>{escape(' '.join(c.made.split()))}</p></footer>"


def _head(c: SheetContent) -> Iterator[str]:
    yield "<header>"
    yield f'<h1 dir="auto">{escape(c.title)}</h1>'
    yield f'<p class="quiet">{escape(c.machine)}; lengths in {escape(c.units)}</p>'
    word = f"<span>{escape(c.word.upper())}: {escape(c.action)}</span>"
    yield f'<p class="plate verdict {plate_class(c.verdict)}">{mark(c.verdict)}{word}</p>'
    yield from (f'<p class="say">{escape(text)}</p>' for text in c.sentences)
    yield "</header>"


def _set_up(c: SheetContent, pictures: PagePictures) -> Iterator[str]:
    s = c.set_up
    texts = [_list([*s.turns, *s.screws, *s.stock, *s.keys])]
    if s.notes:
        texts += ["<h3>Notes</h3>", _list(s.notes)]
    picture = _figure(pictures.set_up) if pictures.set_up is not None else ""
    body = ['<div class="pair">', picture, "<div>", *texts, "</div></div>"] if picture else texts
    yield from _section("SET-UP, AS SEEN FROM THE DOOR" if picture else "SET-UP", body)


def _zero(c: SheetContent) -> Iterator[str]:
    z = c.zero
    rows = [
        _row([("", z_row.name, "head"), ("X", z_row.x, "n"), ("Y", z_row.y, "n"), ("Z", z_row.z, "n")])
        for z_row in z.rows
    ]
    body = [_list(z.where), f"<p><b>{escape(z.how)}</b></p>", f'<p class="quiet">{escape(z.counted)}</p>']
    body += _table(["", "X", "Y", "Z"], rows, numbers=("X", "Y", "Z"), kind="zero")
    if z.checking:
        body += ['<p class="quiet">For checking only, do not key in:</p>', _list(z.checking)]
    yield from _section("PART ZERO", body)


def _tools(c: SheetContent) -> Iterator[str]:
    if c.may_run:
        heads = ["T", "tool, holder", "SET", "NOT UNDER", "gauge length", "measured", "L/D", "guards"]
    else:
        heads = ["T", "tool, holder", "L/D", "what is the matter"]
    rows = [_row(_tool_cells(tool, may_run=c.may_run)) for tool in c.tools]
    body = [f'<p class="quiet">Stick-out from the nut or holder face, in {escape(c.units)}.</p>'] if c.may_run else []
    body += _table(heads, rows, numbers=("SET", "NOT UNDER", "gauge length", "L/D"))
    if c.tool_notes:
        body.append(_list(c.tool_notes))
    yield from _section("TOOLS", body)


def _tool_cells(tool: ToolRow, *, may_run: bool) -> list[tuple[str, str, str]]:
    title = f", {tool.holder_title}" if tool.holder_title else ""
    first = [("T", tool.id, "head"), ("tool, holder", f"{tool.tool} in {tool.holder}{title}", "")]
    if not may_run:
        return [*first, ("L/D", tool.slenderness, "n"), ("what is the matter", tool.guards, "")]
    return [
        *first,
        ("SET", tool.set, "n set"),
        ("NOT UNDER", tool.not_under, "n under"),
        ("gauge length", tool.gauge_length, "n"),
        ("measured", "", "blank-cell"),
        ("L/D", tool.slenderness, "n"),
        ("guards", tool.guards, ""),
    ]


def _order(c: SheetContent) -> Iterator[str]:
    heads = ["orientation", "angles", "cuts", "", "tightest", "gap"]
    rows = [_order_row(row) for row in c.order]
    yield from _section("ORDER", _table(heads, rows, numbers=("gap",)))


def _order_row(row: OrderRow) -> str:
    cells = [("orientation", row.name, "head"), ("angles", row.angles, ""), ("cuts", row.cuts, "")]
    plate = f'<td data-label="verdict">{_plate(row.verdict)}</td>'
    after = [("tightest", row.tightest, ""), ("gap", row.gap, "n")]
    return f"<tr>{_cells(cells)}{plate}{_cells(after)}</tr>"


def _watch_list(c: SheetContent, pictures: PagePictures) -> Iterator[str]:
    body = []
    for number, item in enumerate(c.watch.items, 1):
        shown = pictures.of_cuts.get(item.cut, ()) if item.cut is not None else ()
        body += [*_watch(number, item, shown)]
    body += [f"<p>{escape(text)}</p>" for text in (*c.watch.more, c.watch.nearest) if text]
    if body:
        yield from _section(c.watch.title, body)


def _watch(number: int, item: Watch, shown: Sequence[Shown]) -> Iterator[str]:
    yield '<article class="watch">'
    yield "<div>"
    yield f"<h3><span>{number}. {escape(item.name)}</span>{_plate(item.verdict)}</h3>"
    if item.place:
        yield f"<p>{escape(item.place)}</p>"
    pair = " ".join(text for text in (item.part.upper(), item.beside, item.bodies.upper()) if text)
    yield f"<p><b>{escape(pair if item.part else item.bodies)}</b></p>"
    for text, kind in (
        (item.where, ""),
        (item.gap, "gap"),
        (item.stop, "stop"),
        (item.pin, ""),
        (item.seen, "seen"),
    ):
        if text:
            yield f'<p class="{kind}">{escape(text)}</p>' if kind else f"<p>{escape(text)}</p>"
    yield "</div>"
    if shown:
        yield f'<div class="pictures">{"".join(map(_figure, shown))}</div>'
    yield "</article>"


# --- small parts ---------------------------------------------------------------------------------


def _section(title: str, body: Iterable[str], *, kind: str = "") -> Iterator[str]:
    yield f'<section class="{kind}">' if kind else "<section>"
    yield f"<h2>{escape(title)}</h2>"
    yield from body
    yield "</section>"


def _plate(verdict: Verdict) -> str:
    word = escape(str(verdict).upper())
    return f'<span class="plate {plate_class(verdict)}">{mark(verdict)}<span>{word}</span></span>'


def _list(texts: Iterable[str]) -> str:
    items = "".join(f'<li dir="auto">{escape(text)}</li>' for text in texts)
    return f"<ul>{items}</ul>" if items else ""


def _table(heads: Sequence[str], rows: Sequence[str], *, numbers: Sequence[str] = (), kind: str = "") -> list[str]:
    if not rows:
        return ["<p>none</p>"]
    cells = "".join(f'<th scope="col"{_class("n" if h in numbers else "")}>{escape(h)}</th>' for h in heads)
    return [f"<table{_class(kind)}>", f"<thead><tr>{cells}</tr></thead>", "<tbody>", *rows, "</tbody>", "</table>"]


def _row(cells: Iterable[tuple[str, str, str]]) -> str:
    return f"<tr>{_cells(cells)}</tr>"


def _cells(cells: Iterable[tuple[str, str, str]]) -> str:
    """Cells of (heading, text, class); a cell for what is to be measured is a line to write on."""
    texts = []
    for label, text, kind in cells:
        is_blank = kind == "blank-cell"
        inner = _BLANK if is_blank else f'<span dir="auto">{escape(text)}</span>'
        texts.append(f'<td data-label="{escape(label)}"{_class("" if is_blank else kind)}>{inner}</td>')
    return "".join(texts)


def _class(name: str) -> str:
    return f' class="{name}"' if name else ""


def _figure(shown: Shown) -> str:
    caption = f"<figcaption>{escape(shown.about)}</figcaption>"
    if isinstance(shown, NotDrawn):
        why = shown.why if shown.why.startswith("no picture") else f"no picture: {shown.why}"
        return f'<figure><p class="missing">{escape(why[:1].upper() + why[1:])}</p>{caption}</figure>'
    width, height = shown.size
    about = escape(shown.about)
    image = f'<img src="{_data(shown.light)}" width="{width}" height="{height}" alt="{about}">'
    if shown.dark is not None:
        dark = f'<source media="screen and (prefers-color-scheme: dark)" srcset="{_data(shown.dark)}">'
        image = f"<picture>{dark}{image}</picture>"
    marks = "".join(
        f'<span class="pin" style="left:{100 * label.x:.1f}%;top:{100 * label.y:.1f}%"><i>{number}</i></span>'
        for number, label in enumerate(shown.labels, 1)
    )
    names = "".join(f"<li><b>{number}</b> {escape(label.name)}</li>" for number, label in enumerate(shown.labels, 1))
    legend = f'<ol class="legend">{names}</ol>' if names else ""
    return f'<figure><div class="drawn">{image}{marks}{_arrow(shown)}</div>{legend}{caption}</figure>'


def _arrow(shown: PagePicture) -> str:
    """Which way is to the operator."""
    if shown.to_operator is None:
        return ""
    x, y = shown.to_operator
    turned = math.degrees(math.atan2(y, x))
    arrow = (
        '<svg viewBox="-12 -12 24 24" width="24" height="24" aria-hidden="true">'
        f'<path transform="rotate({turned:.0f})" d="M-10 -2H2V-7L11 0 2 7V2H-10Z"/></svg>'
    )
    return f'<span class="toyou">{arrow} TO YOU</span>'


def _data(png: bytes) -> str:
    return f"data:image/png;base64,{base64.b64encode(png).decode('ascii')}"
