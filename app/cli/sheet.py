"""`tightside sheet`: the bench sheet as PDF, for whoever sets the job up and runs it."""

from __future__ import annotations

import argparse
import re
from pathlib import Path
from typing import TYPE_CHECKING

from app.cli.exit_status import ExitStatus
from app.cli.running import add_command, add_scene, prepare_engine, print_error, printed, read, status_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from app.cli.progress import Progress
    from app.jobs.sheet.blocks import Pictures
    from app.jobs.sheet.content import SheetContent
    from app.jobs.sheet.facts import CutName, Facts
    from app.jobs.sheet.lengths import Lengths
    from app.scenes.reader import SceneFile
    from app.view3d.sheet_pictures import SetUpOrder, WatchOrder
    from kinematics.prepared import Prepared

LONGEST_DATE = 40  # letters


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    parser = add_command(
        commands,
        "sheet",
        run,
        help_text="the bench sheet as PDF: what to set, where to look, what not to go under",
        description="Check a set-up and write its bench sheet: part zero, stick-outs, the order, and where to watch\n"
        "in the first run. Needs no screen; where no picture can be drawn, the sheet says so.",
    )
    add_scene(parser)
    parser.add_argument("-o", "--out", metavar="FILE", type=Path, required=True, help="the file to write, .pdf")
    parser.add_argument("--paper", choices=("a4", "letter"), default="a4", help="(default a4)")
    parser.add_argument("--units", choices=("mm", "inch", "both"), default="mm", help="of its lengths (default mm)")
    parser.add_argument("--date", metavar="TEXT", help="printed as it stands (default: now)")
    parser.add_argument("--no-pictures", action="store_true", help="text only; the sheet says so")


def run(asked: argparse.Namespace) -> int:
    if asked.out.suffix.lower() != ".pdf":
        print_error(f"{asked.out}: expected a file name that ends in .pdf")
        return ExitStatus.FAULT
    if asked.date is not None and not re.fullmatch(rf"[^\n\r\t]{{1,{LONGEST_DATE}}}", asked.date):
        print_error(f"--date {asked.date!r}: expected one line of at most {LONGEST_DATE} letters")
        return ExitStatus.FAULT
    from app.cli.progress import Progress
    from kinematics.errors import TightsideError

    with Progress() as progress:
        progress.at(f"reading {asked.scene.name}")
        scene_file = read(asked.scene)
        prepare_engine(progress)
        from app.jobs.sheet.made import sheet_content
        from app.jobs.sheet.pages import sheet_pdf
        from kinematics.prepared import Prepared

        try:
            prepared = Prepared(scene_file.scene)
            facts = _facts(scene_file, prepared, progress)
            lengths = _lengths(asked.units)
            progress.at("drawing pictures")
            pictures, looks = _no_pictures() if asked.no_pictures else _drawn(facts, prepared, lengths)
            progress.at("writing the sheet")
            content = sheet_content(facts, prepared, lengths, date=asked.date or _now(), looks=looks)
        except TightsideError as error:
            from app.cli.output import print_faults
            from app.scenes.origins import fault_of

            print_faults([fault_of(error, file=str(asked.scene))])
            return ExitStatus.FAULT
        data = sheet_pdf(content, pictures, paper=asked.paper)
    try:
        asked.out.write_bytes(data)
    except OSError as error:
        print_error(f"{asked.out}: cannot be written ({error.strerror}); expected a folder that exists")
        return ExitStatus.FAULT
    printed(lambda: _say(content, asked.out, pictures))
    return status_of(facts.check.verdict)


def _facts(scene_file: SceneFile, prepared: Prepared, progress: Progress) -> Facts:
    from app.jobs.sheet.facts import facts_of, gather, steps_of

    gathered = []
    steps = steps_of(scene_file)
    progress.at(steps[0] if steps else "checking")
    for one in gather(scene_file, prepared):
        gathered.append(one)
        n = len(gathered)
        progress.at(steps[n] if n < len(steps) else "working out swings, then stick-outs")
    return facts_of(scene_file, gathered)


def _lengths(units: str) -> Lengths:
    from app.jobs.sheet.lengths import Lengths

    return Lengths("inch" if units == "inch" else "both" if units == "both" else "mm")


def _now() -> str:
    from datetime import datetime

    at = datetime.now().astimezone()
    return f"{at.day} {at:%b %Y %H:%M}"


def _no_pictures() -> tuple[Pictures, dict[CutName, str]]:
    from app.jobs.sheet.blocks import Pictures

    return Pictures(why="none was asked for"), {}


def _drawn(facts: Facts, prepared: Prepared, lengths: Lengths) -> tuple[Pictures, dict[CutName, str]]:
    """The pictures of the sheet, and from where what is hidden from the door is seen."""
    from app.jobs.sheet.blocks import SET_UP_PICTURE, WATCH_PICTURE
    from app.jobs.sheet.watching import gap_of, watched
    from app.view3d.pictures import draw_pictures
    from app.view3d.sheet_pictures import all_orders, pixels, set_up_order, watch_order
    from kinematics.errors import TightsideError

    cuts = {(o.name, c.name): (o, c) for o, c in facts.scene.cuts()}
    orders: dict[CutName, WatchOrder] = {}
    for result in watched(facts.check):
        name = (result.orientation, result.cut)
        gap = gap_of(result, lengths)
        number = lengths.split(gap)[0]
        if number[:1].isdigit():
            number += " inch" if lengths.units == "inch" else " mm"
        try:
            orders[name] = watch_order(prepared, *cuts[name], result, size=pixels(WATCH_PICTURE), number=number)
        except TightsideError:  # the cut can't be made with its tool: its place on the list says why
            continue
    set_up = set_up_order(prepared, size=pixels(SET_UP_PICTURE), named=_named(facts))
    drawn = draw_pictures([*all_orders(set_up, [*orders.values()])])
    looks = {name: order.look or "" for name, order in orders.items()}
    return _pictures(drawn, set_up, orders), looks


def _named(facts: Facts) -> list[str]:
    """Bodies that the sheet speaks of."""
    from app.jobs.sheet.watching import watched
    from kinematics.report import CutReport

    found = []
    for cut in watched(facts.check):
        if isinstance(cut, CutReport) and cut.worst is not None:
            found += [cut.worst.between[1], *(b for _, b in cut.ties)]
    return [*dict.fromkeys(found)]


def _pictures(drawn: Sequence[object], set_up: SetUpOrder, orders: dict[CutName, WatchOrder]) -> Pictures:
    from app.jobs.sheet.blocks import Pictures
    from app.jobs.sheet.drawn import Label, SetUpPicture, WatchPictures
    from app.view3d.pictures import Picture

    first, *rest = drawn
    whole = None
    if isinstance(first, Picture):
        labels = tuple(Label(one.name, one.at, one.is_hidden) for one in set_up.labels)
        whole = SetUpPicture(first.png, labels, set_up.to_operator)
    watched = {}
    for i, (name, order) in enumerate(orders.items()):
        across, door = rest[2 * i : 2 * i + 2]
        if isinstance(across, Picture) and isinstance(door, Picture):
            watched[name] = WatchPictures(across.png, door.png, order.seen_from)
    why = next((str(getattr(one, "why", "")) for one in drawn if not isinstance(one, Picture)), None)
    return Pictures(whole, watched, why)


def _say(content: SheetContent, out: Path, pictures: Pictures) -> None:
    from rich.text import Text

    from app.cli.output import print_blocks

    head = f"{content.word.upper()}: {content.action}. {' '.join(content.sentences)}"
    where = f"{out}: no picture in it, {pictures.why}" if pictures.why else str(out)
    print_blocks([Text(head), Text(where)])
