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

from app.jobs.report import check_json, nearest, offset_json, program, swing_json
from app.jobs.results import name_of_move
from app.jobs.words import (
    MINUS,
    angles_text,
    cause,
    headline,
    move_sentence,
    moves_tightest_first,
    name_of,
    number,
    proven,
    reason,
    second_opinion,
    sentence,
    side_phrase,
    spare_text,
    tightest_first,
    together,
    verdict_word,
)
from kinematics.report import CutReport, ErrorTerms, PairReport, SwingReport, TravelReport
from kinematics.verdict import Verdict

if TYPE_CHECKING:
    from app.jobs.library import Listing
    from app.jobs.offsets import OffsetRow
    from app.jobs.results import Check, CutResult, MoveResult
    from app.scenes.faults import Fault
    from app.scenes.reader import SceneFile
    from kinematics.scene import Scene
    from kinematics.work_offset import WorkOffset

WIDTH = 100
MOST_NAMED = 8  # pairs that are left out by one rule and named
NARROW = 0.1  # mm; a clearance known this well is shown as a number, else as a bound
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
    """The check as one JSON object."""
    print_json(check_json(check))


def print_check(check: Check) -> None:
    """The check for people."""
    print_blocks(_blocks(check))


def print_json(data: object) -> None:
    """Data as JSON, in plain ASCII so that no code page can spoil it."""
    import json

    print(json.dumps(data, indent=1, allow_nan=False))


def print_swings_json(swings: Sequence[MoveResult]) -> None:
    """The swings for programs: the list that `check --json` has under "swings"."""
    print_json([swing_json(swing) for swing in swings])


def print_swings(scene_file: SceneFile, swings: Sequence[MoveResult]) -> None:
    """The swings for people, and the one lift height that serves them all."""
    scene = scene_file.scene
    blocks: list[RenderableType] = [Text(f"{scene.title}; {scene.machine.title}; mm and degrees"), Text()]
    if not swings:
        blocks.append(Text("The table does not turn in this set-up: there is no swing."))
    else:
        blocks += [Text("SWINGS of the table, in machining order", style="bold")]
        blocks += [moves_table(swings, with_least_lift=True), Text(), *_whole_lift(scene, swings)]
        for move in moves_tightest_first(swings):
            if move.verdict is not Verdict.CLEAR:
                blocks.append(_move_block(move))
    blocks += [Text(), Text(CAUTIONS)]
    print_blocks(blocks)


def _whole_lift(scene: Scene, swings: Sequence[MoveResult]) -> Iterable[RenderableType]:
    heights = [s.least_lift_gauge_z if isinstance(s, SwingReport) else None for s in swings]
    if any(height is None for height in heights):
        yield Text("No lift height serves all swings: at least one is not clear at the top of travel.")
        return
    lift = max(height for height in heights if height is not None)
    low, top = scene.machine.z.limits
    wanted = number(scene.keep_off.swing)
    words = f"Least height of the gauge line that clears every swing by {wanted}: {number(lift)}"
    yield Text(f"{words} (travel {number(low, 1)} to {number(top, 1)}, in W).", style="bold")


def print_offsets(scene_file: SceneFile, rows: Sequence[OffsetRow]) -> None:
    """Part zero at every orientation, for people."""
    scene = scene_file.scene
    blocks: list[RenderableType] = [Text(f"{scene.title}; {scene.machine.title}; mm and degrees"), Text()]
    blocks += [Text("PART ZERO, in W and as the control counts", style="bold")]
    blocks.append(offsets_table([row.offset for row in rows]))
    control = scene.machine.control
    if control is None:
        blocks.append(Text("The machine file does not say how its control counts."))
    elif control.work_offset == "once":
        blocks.append(Text("The control carries the work offset round with the table: set it once, where it is first."))
    else:
        blocks.append(Text("The control does not carry the work offset round: set one for each orientation."))
    if any(row.off_w is not None for row in rows):
        blocks += [Text(), Text("OFF BY, with the centre error asked for, in W", style="bold"), _off_table(rows)]
    print_blocks(blocks)


def _off_table(rows: Sequence[OffsetRow]) -> Table:
    table = new_table("orientation", "X", "Y", "Z", "size", numbers=("X", "Y", "Z", "size"))
    for row in rows:
        off = row.off_w or (0.0, 0.0, 0.0)
        size = sum(v * v for v in off) ** 0.5
        table.add_row(row.offset.orientation, *(number(v, 4) for v in (*off, size)))
    return table


def print_offsets_json(_scene_file: SceneFile, rows: Sequence[OffsetRow]) -> None:
    """Part zero for programs: the list that `check --json` has under "work_offsets"."""
    data = []
    for row in rows:
        item = offset_json(row.offset)
        if row.off_w is not None:
            item["off_w"] = [nearest(v, 6) for v in row.off_w]
        data.append(item)
    print_json(data)


def print_offsets_csv(_scene_file: SceneFile, rows: Sequence[OffsetRow]) -> None:
    """Part zero as comma-separated values, lengths in mm, angles in degrees as the control counts."""
    import csv

    letters = [letter for letter, _ in rows[0].offset.angles_control] if rows else []
    writer = csv.writer(sys.stdout, lineterminator="\n")
    has_off = any(row.off_w is not None for row in rows)
    heads = ["orientation", "workpiece", *letters, "x_w", "y_w", "z_w", "x_control", "y_control", "z_control"]
    writer.writerow([*heads, *(["off_x", "off_y", "off_z"] if has_off else [])])
    for row in rows:
        o = row.offset
        control = o.control or ("", "", "")
        off = [nearest(v, 6) for v in row.off_w or (0.0, 0.0, 0.0)] if has_off else []
        places = [v if isinstance(v, str) else nearest(v) for v in (*o.w, *control)]
        writer.writerow([o.orientation, o.workpiece or "", *(nearest(a) for _, a in o.angles_control), *places, *off])


def print_picture(cut: CutResult, file: str, about: str) -> None:
    """What a picture shows, for people, and where it was written."""
    headline = Text.assemble(_plate(cut.verdict, verdict_word(cut)), f" {name_of(cut)}: {sentence(cut)}")
    print_blocks([headline, Text(f"{file}: {about}")])


def print_library(listing: Listing) -> None:
    """What a scene may name, for people."""
    blocks: list[RenderableType] = []
    for kind, title in (("machine", "MACHINES"), ("holder", "HOLDERS"), ("hardware", "HARDWARE")):
        blocks.append(Text(title, style="bold"))
        table = new_table("name", "what it is", "from")
        for item in (i for i in listing.found if i.kind == kind):
            table.add_row(item.name, item.title, "your library" if item.where == "library" else "the program")
        blocks += [table, Text()]
    blocks.append(Text(f"Your own library: {listing.library}"))
    print_blocks(blocks)


def print_blocks(blocks: Iterable[RenderableType]) -> None:
    console = Console(highlight=False, markup=False, emoji=False)
    console.width = min(WIDTH, max(console.width, NARROWEST)) if console.is_terminal else WIDTH
    with console.capture() as capture:
        for block in blocks:
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
    yield from _moves_table(check)
    yield from _reach_table(check)
    yield from _offset_table(check.work_offsets)
    yield from _lists(check)
    yield Text()
    yield Text(CAUTIONS)
    yield Text(f"{program()}, inputs {check.scene_file.input_sha256[:8]}")


def _plate(verdict: Verdict, word: str) -> Text:
    return Text(f"{MARKS[verdict]} {word.upper()}", style=STYLES[verdict])


def new_table(*headers: str, numbers: Sequence[str] = ()) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 1, 0, 0), header_style="bold")
    for header in headers:
        is_number = header in numbers
        table.add_column(header, justify="right" if is_number else "left", no_wrap=is_number, overflow="fold")
    return table


def _cut_table(check: Check) -> Iterable[RenderableType]:
    if not check.cuts:
        return
    yield Text("CUTS, tightest first", style="bold")
    table = new_table("cut", "tool", "verdict", "spare", "clear.", "between", "side", numbers=("spare", "clear."))
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
    return proven(pair.clearance.at_least) if pair.clearance else pair.contact or "?"


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


def _moves_table(check: Check) -> Iterable[RenderableType]:
    """Links and swings, in machining order; most are far from anything."""
    for title, moves in (("LINKS at the lift", check.links), ("SWINGS of the table", check.swings)):
        if moves:
            yield Text(f"{title}, in machining order", style="bold")
            yield moves_table(moves)
            yield Text()
    for move in moves_tightest_first((*check.links, *check.swings)):
        if move.verdict is not Verdict.CLEAR:
            yield _move_block(move)


def _move_block(move: MoveResult) -> RenderableType:
    """What is to be known about a link or swing that is not clear."""
    head = Text.assemble((name_of_move(move), "bold"), "  ", _plate(move.verdict, str(move.verdict)))
    rows = [("what", move_sentence(move))]
    if isinstance(move, SwingReport) and move.side is not None and move.points_W is not None and move.between:
        clock = f", {move.clock} o'clock" if move.clock else ""
        part = f" (part {move.part_side})" if move.part_side else ""
        rows.append(("side", f"{move.side}{clock}{part}, from {move.between[0]} to {move.between[1]}"))
        rows.append(("in W", f"{_point(move.points_W[0])}; {_point(move.points_W[1])}"))
    if isinstance(move, SwingReport) and move.setup_error is not None and move.verdict is not Verdict.HITS:
        rows.append(("uses it up", _terms_text(move.setup_error)))
    grid = Table.grid(padding=(0, 2, 0, 0))
    grid.add_column(no_wrap=True)
    grid.add_column(overflow="fold")
    for label, text in rows:
        grid.add_row(f"  {label}", text)
    return Group(head, grid, Text())


def moves_table(moves: Sequence[MoveResult], *, with_least_lift: bool = False) -> Table:
    """One row per link or swing. A spare that was proven far enough is marked with >=."""
    headers = ["way", "verdict", "spare", "between", "at", "lift"]
    table = new_table(*headers, *(["least"] if with_least_lift else []), numbers=("spare", "lift", "least"))
    table.columns[1].no_wrap = True
    for move in moves:
        way = (
            f"{move.start} > {move.end}"
            if move.orientation is None
            else f"{move.orientation}: {move.start} > {move.end}"
        )
        plate = _plate(move.verdict, str(move.verdict))
        if not isinstance(move, SwingReport) or move.between is None:
            table.add_row(way, plate, "?", move.why or "")
            continue
        spare = "?" if move.spare is None else spare_text(move.spare, move.keep_off)
        if move.spare is not None and move.is_proven_enough and not _is_narrow(move):
            spare = f">= {spare}"
        first = f"{move.between[0]} of {move.tool}" if move.tool else move.between[0]
        row: list[RenderableType] = [way, plate, spare, f"{first}, {move.between[1]}"]
        row += [angles_text(move.at_angles_deg), number(move.lift_gauge_z, 1)]
        if with_least_lift:
            row.append("none" if move.least_lift_gauge_z is None else number(move.least_lift_gauge_z, 1))
        table.add_row(*row)
    return table


def _is_narrow(move: SwingReport) -> bool:
    return move.clearance is not None and move.clearance.value - move.clearance.at_least <= NARROW


def _offset_table(offsets: Sequence[WorkOffset]) -> Iterable[RenderableType]:
    if offsets:
        yield Text()
        yield Text("PART ZERO, in W and as the control counts", style="bold")
        yield offsets_table(offsets)


def offsets_table(offsets: Sequence[WorkOffset]) -> Table:
    """Part zero at every orientation; no control columns where the machine does not say how it counts."""
    has_control = any(o.control is not None for o in offsets)
    columns = ["X", "Y", "Z"] + (["control X", "control Y", "control Z"] if has_control else [])
    letters = [letter for letter, _ in offsets[0].angles_control]
    table = new_table("orientation", *letters, *columns, numbers=(*letters, *columns))
    for offset in offsets:
        name = offset.orientation + (f" ({offset.workpiece})" if offset.workpiece else "")
        angles = [number(angle, 3).rstrip("0").rstrip(".") for _, angle in offset.angles_control]
        table.add_row(name, *angles, *map(number, offset.w), *map(number, offset.control or ()))
    return table


def _reach_table(check: Check) -> Iterable[RenderableType]:
    """Depth and travel of every cut, in machining order."""
    reports = [cut for cut in check.cuts if isinstance(cut, CutReport)]
    if not reports:
        return
    sides = ("X-", "X+", "Y-", "Y+", "Z-", "Z+")
    yield Text("DEPTH AND TRAVEL LEFT, in machining order", style="bold")
    table = new_table("cut", "depth", "may be", *sides, "", numbers=("depth", "may be", *sides))
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
    yield from _listed("SECOND OPINION", [second_opinion(check)])
    if check.not_checked:
        yield Text.assemble(_plate(Verdict.NOT_CHECKED, f"not checked: {len(check.not_checked)}"))
        for item in check.not_checked:
            yield _item(f"{item.what}: {item.why}", bullet="? ", style="bold")
    else:
        yield Text("NOT CHECKED: nothing")
    reasons: dict[str, dict[str, None]] = {}
    for item in check.left_out:  # the pair by itself: the same one is left out in many cuts
        reasons.setdefault(item.why, {})[item.what.rpartition(": ")[2]] = None
    yield from _listed("LEFT OUT BY RULE", [f"{_few([*pairs])} ({why})" for why, pairs in reasons.items()])
    yield from _listed("NOT MODELLED", [", ".join(scene_file.scene.machine.not_modelled)])
    yield from _listed("ASSUMED", ["; ".join(scene_file.scene.assumed)])
    yield from _listed("NOTED", scene_file.notes)


def _few(pairs: Sequence[str]) -> str:
    """Pairs by name, or their number where the names would only be a wall; `--json` has them all."""
    return "; ".join(pairs) if len(pairs) <= MOST_NAMED else f"{len(pairs)} pairs"


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
