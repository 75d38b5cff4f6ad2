"""What the command line prints: the report for people, JSON for programs, faults.

The report is at most 100 columns wide; colour only on a terminal, and never alone: every verdict has its
word and its mark, two jaws with the room between them. What was not checked is louder than what is clear.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from rich.console import Console, Group, RenderableType
from rich.table import Table
from rich.text import Text

from app.jobs.report import check_json, program
from app.jobs.words import (
    MINUS,
    cause,
    headline,
    name_of,
    number,
    reason,
    sentence,
    side_phrase,
    spare_text,
    tightest_first,
    together,
    verdict_word,
)
from kinematics.report import CutReport, ErrorTerms, PairReport, TravelReport
from kinematics.verdict import Verdict

if TYPE_CHECKING:
    from app.jobs.check import Check, CutResult
    from app.scenes.faults import Fault

WIDTH = 100
NARROWEST = 60  # on a narrower terminal the lines break by themselves

MARKS = {
    Verdict.HITS: "[##x##]",
    Verdict.CAN_HIT: "[## ##]",
    Verdict.NOT_CHECKED: "[# ? :]",
    Verdict.TIGHT: "[# - #]",
    Verdict.CLEAR: "[|   |]",
}
STYLES = {
    Verdict.HITS: "bold #FFFFFF on #7A1747",
    Verdict.CAN_HIT: "bold #15201D on #DA7439",
    Verdict.NOT_CHECKED: "bold #15201D on #BBA0EE",
    Verdict.TIGHT: "bold #15201D on #FCCB32",
    Verdict.CLEAR: "",
}
TERM_WORDS = {
    "location": "location",
    "body_model": "body model",
    "diameters": "diameters",
    "stick_out": "stick-out",
    "tilt": "tilt",
}
CAUTIONS = (
    "This report is an aid: measured tool lengths, stick-outs and part zero decide. Guards shut. First run: single "
    "block, low rapid; index only fully retracted. Follow the machine builder's manual, local rules and trained staff."
)


def print_faults(faults: Iterable[Fault]) -> None:
    """Faults, one a line, on standard error."""
    for fault in faults:
        print(_shown(str(fault), sys.stderr.encoding), file=sys.stderr)


def print_check_json(check: Check) -> None:
    """The check as one JSON object, in plain ASCII so that no code page can spoil it."""
    import json

    print(json.dumps(check_json(check), indent=1, allow_nan=False))


def print_check(check: Check) -> None:
    """The check for people."""
    console = Console(highlight=False, markup=False, emoji=False)
    console.width = min(WIDTH, max(console.width, NARROWEST)) if console.is_terminal else WIDTH
    with console.capture() as capture:
        for block in _blocks(check):
            console.print(block)
    text = "\n".join(line.rstrip() for line in capture.get().splitlines())
    print(_shown(text, sys.stdout.encoding))


def _shown(text: str, encoding: str | None) -> str:
    """The text as far as the stream's encoding can carry it."""
    name = encoding or "ascii"
    if name.lower().startswith("utf"):
        return text
    return text.replace(MINUS, "-").encode(name, "replace").decode(name)


# --- the report, block by block ---


def _blocks(check: Check) -> Iterable[RenderableType]:
    scene = check.scene_file.scene
    for verdict, word, what in headline(check):
        yield Text.assemble(_plate(verdict, word), " ", what)
    yield Text(f"{scene.title}; {scene.machine.title}; mm and degrees")
    yield Text()
    yield from _cut_table(check)
    for cut in tightest_first(check.cuts):
        if cut.verdict is not Verdict.CLEAR:
            yield _cut_block(cut)
    yield from _reach_table(check)
    yield from _lists(check)
    yield Text()
    yield Text(CAUTIONS)
    yield Text(f"{program()}, inputs {check.scene_file.input_sha256[:8]}")


def _plate(verdict: Verdict, word: str) -> Text:
    return Text(f"{MARKS[verdict]} {word.upper()}", style=STYLES[verdict])


def _table(*headers: str, numbers: Sequence[str] = ()) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 1, 0, 0), header_style="bold")
    for header in headers:
        is_number = header in numbers
        table.add_column(header, justify="right" if is_number else "left", no_wrap=is_number, overflow="fold")
    return table


def _cut_table(check: Check) -> Iterable[RenderableType]:
    if not check.cuts:
        return
    yield Text("CUTS, tightest first", style="bold")
    table = _table("cut", "tool", "verdict", "spare", "clear.", "between", "side", numbers=("spare", "clear."))
    table.columns[2].no_wrap = True
    for cut in tightest_first(check.cuts):
        pair = cut.worst if isinstance(cut, CutReport) else None
        table.add_row(
            name_of(cut),
            f"{cut.tool} in {cut.holder}",
            _plate(cut.verdict, verdict_word(cut)),
            spare_text(pair.spare, pair.keep_off) if pair and pair.spare is not None else "?",
            _clearance_text(pair),
            _pair_text(cut),
            (side_phrase(cut) or "").replace(" of the tool", "").replace(" the tool", ""),
        )
    yield table
    yield Text()


def _clearance_text(pair: PairReport | None) -> str:
    if pair is None:
        return "?"
    return number(pair.clearance.at_least) if pair.clearance else pair.contact or "?"


def _pair_text(cut: CutResult) -> str:
    if not isinstance(cut, CutReport):
        return cut.why
    if cut.worst is None:
        return reason(cut) if cut.verdict is Verdict.NOT_CHECKED else "nothing near"
    part, obstacle = cut.worst.between
    same = [b for a, b in cut.ties if a == part]
    return f"{part}, {together([obstacle, *same])}"


def _cut_block(cut: CutResult) -> RenderableType:
    """What is to be known about a cut that is not clear."""
    angles = ", ".join(f"{name} {angle:g}".replace("-", MINUS) for name, angle in cut.angles_deg) or "no table axis"
    head = Text.assemble((name_of(cut), "bold"), "  ", _plate(cut.verdict, verdict_word(cut)))
    head.append(f"  {cut.tool} in {cut.holder}, {angles}")
    grid = Table.grid(padding=(0, 2, 0, 0))
    grid.add_column(no_wrap=True)
    grid.add_column(overflow="fold")
    for label, text in _cut_rows(cut):
        grid.add_row(f"  {label}", text)
    return Group(head, grid, Text())


def _cut_rows(cut: CutResult) -> Iterable[tuple[str, str]]:
    yield "what", sentence(cut)
    if not isinstance(cut, CutReport):
        return
    if cause(cut) != "travel" and cut.travel.why:
        yield "travel", cut.travel.why
    if cause(cut) != "depth" and cut.depth is not None and cut.depth.verdict is not Verdict.CLEAR:
        yield "depth", f"flute too short, {number(cut.depth.needs)} needed, {number(cut.depth.has)} there"
    for unknown in cut.not_checked:
        yield "not checked", f"{unknown.between[0]}, {unknown.between[1]}: {unknown.why}"
    pair = cut.worst
    if pair is None:
        return
    if other_ties := [f"{a}, {b}" for a, b in cut.ties if a != pair.between[0]]:
        yield "equal", "; ".join(other_ties)
    if (where := side_phrase(cut)) is not None:
        part_side = f" (part {cut.part_side})" if cut.part_side else ""
        seen = {True: "; hidden from the operator", False: "; seen by the operator", None: ""}
        yield "side", f"{where}{part_side}{seen[cut.is_hidden_from_operator]}"
    if pair.points_W is not None:
        yield (
            "in W",
            f"{_point(pair.points_W[0])} on {pair.between[0]}; {_point(pair.points_W[1])} on {pair.between[1]}",
        )
    if cut.points_P is not None:
        height = f"; {number(cut.above_platter)} above the table face" if cut.above_platter is not None else ""
        tip = f"; tip at {_point(cut.tip_P)}" if cut.tip_P else ""
        yield "in P", f"{_point(cut.points_P[0])}; {_point(cut.points_P[1])}{tip}{height}"
    if pair.setup_error is not None:
        yield "uses it up", _terms_text(pair.setup_error)
    if following := [other for other in cut.next if other.between not in cut.ties]:
        yield "next", "; ".join(map(_next_text, following))


def _point(p: Sequence[float]) -> str:
    return " ".join(number(v) for v in p)


def _terms_text(terms: ErrorTerms) -> str:
    """The terms of the set-up error, largest first."""
    named = sorted(((getattr(terms, key), word) for key, word in TERM_WORDS.items()), reverse=True)
    shown = ", ".join(f"{word} {number(value)}" for value, word in named if value > 0.0)
    return f"{number(terms.total)}: {shown} (root sum of squares {number(terms.rss)})" if shown else "nothing"


def _next_text(pair: PairReport) -> str:
    spare = f" (spare {spare_text(pair.spare, pair.keep_off)})" if pair.spare is not None else ""
    return f"{pair.between[0]}, {pair.between[1]} {_clearance_text(pair)}{spare}"


def _reach_table(check: Check) -> Iterable[RenderableType]:
    """Depth and travel of every cut, in machining order."""
    reports = [cut for cut in check.cuts if isinstance(cut, CutReport)]
    if not reports:
        return
    sides = ("X-", "X+", "Y-", "Y+", "Z-", "Z+")
    yield Text("DEPTH AND TRAVEL LEFT, in machining order", style="bold")
    table = _table("cut", "depth", "may be", *sides, "", numbers=("depth", "may be", *sides))
    for cut in reports:
        depth = cut.depth
        flute = (number(depth.needs), number(depth.has)) if depth else ("", "")
        left = [number(v, 1) for axis in (cut.travel.x, cut.travel.y, cut.travel.z) for v in axis.left]
        table.add_row(name_of(cut), *flute, *left, _reach_words(depth.verdict if depth else None, cut.travel))
    yield table


def _reach_words(depth: Verdict | None, travel: TravelReport) -> str:
    """Only what is wrong is said."""
    words = []
    if depth not in (None, Verdict.CLEAR):
        words.append("flute too short")
    if travel.verdict is not Verdict.CLEAR:
        words.append("cannot reach")
    return ", ".join(words)


def _lists(check: Check) -> Iterable[RenderableType]:
    scene_file = check.scene_file
    yield Text()
    if check.not_checked:
        yield Text.assemble(_plate(Verdict.NOT_CHECKED, f"not checked: {len(check.not_checked)}"))
        for item in check.not_checked:
            yield _item(f"{item.what}: {item.why}", bullet="? ", style="bold")
    else:
        yield Text("NOT CHECKED: nothing")
    reasons: dict[str, list[str]] = {}
    for item in check.left_out:
        reasons.setdefault(item.why, []).append(item.what)
    yield from _listed("LEFT OUT BY RULE", [f"{'; '.join(pairs)} ({why})" for why, pairs in reasons.items()])
    yield from _listed("NOT MODELLED", [", ".join(scene_file.scene.machine.not_modelled)])
    yield from _listed("ASSUMED", ["; ".join(scene_file.scene.assumed)])
    yield from _listed("NOTED", scene_file.notes)


def _listed(title: str, items: Sequence[str]) -> Iterable[RenderableType]:
    items = [item for item in items if item]
    if len(items) == 1:
        yield Text.assemble((f"{title}: ", "bold"), items[0])
    elif items:
        yield Text(title, style="bold")
        yield from (_item(item) for item in items)


def _item(text: str, *, bullet: str = "  ", style: str = "") -> RenderableType:
    grid = Table.grid()
    grid.add_column(no_wrap=True)
    grid.add_column(overflow="fold")
    grid.add_row(bullet, Text(text, style=style))
    return grid
