"""`tightside changes`: what got tighter or looser between two scenes, and what changed in their inputs."""

from __future__ import annotations

import argparse
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

from app.cli.exit_status import ExitStatus
from app.cli.running import add_command, prepare_engine, print_error, printed, read, status_of

if TYPE_CHECKING:
    from rich.console import RenderableType
    from rich.text import Text

    from app.cli.progress import Progress
    from app.jobs.changes import Changes, InputChange, ResultChange, SheetSum
    from app.jobs.results import Check, Result
    from app.scenes.reader import SceneFile
    from kinematics.verdict import Verdict

MOST_SHOWN = 40  # differences of one file in the text; --json has all
LONGEST = 44  # characters of one value in the text


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    parser = add_command(
        commands,
        "changes",
        run,
        help_text="what got tighter between two scenes, or whether a sheet is of this scene: changes A B",
        description="Check two scenes and say which cuts, links and swings got tighter, looser, new or gone,\n"
        "and which values changed, by their paths. The exit status is that of the second scene.\n"
        "In place of the first, the inputs number of a sheet (7c1e 90ab) tells whether the sheet is of the scene.",
    )
    parser.add_argument("before", metavar="A", nargs="+", help="the scene before, or the inputs number of a sheet")
    parser.add_argument("after", metavar="B", type=Path, help="the scene now (.scene.yaml)")
    parser.add_argument("--json", action="store_true", help="JSON for programs, in mm and degrees")
    parser.add_argument(
        "--no-second-opinion", action="store_true", help="do not find the clearances again with a second engine"
    )


def run(asked: argparse.Namespace) -> int:
    from app.cli.output import print_blocks, print_json
    from app.cli.progress import Progress
    from app.jobs.changes import ChecksumFault, changes_json, compared, sheet_json, sheet_sum
    from kinematics.errors import TightsideError

    given = " ".join(asked.before)
    sheet: SheetSum | None = None
    if len(asked.before) > 1 or not Path(given).exists():
        try:
            sheet = sheet_sum(given)
        except ChecksumFault as fault:
            print_error(fault.message)
            return ExitStatus.FAULT
    files = [asked.after] if sheet else [Path(given), asked.after]
    checks: list[Check] = []
    with Progress() as progress:
        for file in files:
            progress.at(f"reading {file.name}")
            scene_file = read(file)
            prepare_engine(progress)
            try:
                checks.append(_checked(scene_file, progress, second_opinion=not asked.no_second_opinion))
            except TightsideError as error:
                from app.cli.output import print_faults
                from app.scenes.origins import fault_of

                print_faults([fault_of(error, file=str(file))])
                return ExitStatus.FAULT
        progress.at("comparing")
        after = checks[-1]
        if sheet is not None:
            said = sheet_json(sheet, after)
            blocks = list(_sheet_blocks(sheet, after))
        else:
            changes = compared(checks[0], after)
            said = changes_json(changes)
            blocks = list(_blocks(changes))
    printed(lambda: print_json(said) if asked.json else print_blocks(blocks))
    return status_of(after.verdict)


def _checked(scene_file: SceneFile, progress: Progress, *, second_opinion: bool) -> Check:
    from app.jobs.check import check_scene, steps_of, whole_check

    steps = steps_of(scene_file)
    results = []
    progress.at(steps[0] if steps else "checking")
    for result in check_scene(scene_file, second_opinion=second_opinion):
        results.append(result)
        progress.at(steps[len(results)] if len(results) < len(steps) else "checking links and swings")
    return whole_check(scene_file, results)


# --- the text --------------------------------------------------------------------------------------------


def _sheet_blocks(sheet: SheetSum, check: Check) -> Iterable[RenderableType]:
    from rich.text import Text

    from app.jobs.changes import shown_sum

    if sheet.is_of(check.scene_file):
        yield Text(f"The sheet with the inputs {sheet} was made from this version.", style="bold")
    else:
        yield Text("THIS SHEET WAS MADE FROM ANOTHER VERSION: do not run by it.", style="bold")
        yield Text(f"It says {sheet}; the scene, with the files that it uses, is {shown_sum(check.scene_file)} now.")
        yield Text("A machine, a holder, a part file or the scene itself was changed since. Print a new sheet.")
    yield from _headline(check)


def _blocks(changes: Changes) -> Iterable[RenderableType]:
    from rich.text import Text

    from app.jobs.changes import Change, shown_sum

    yield from _headline(changes.after)
    for word, check in (("before", changes.before), ("after", changes.after)):
        scene_file = check.scene_file
        line = Text.assemble(f"{word:<7}", _plate(check.verdict), f" {scene_file.scene.title}, ")
        yield line.append(f"{scene_file.path}, inputs {shown_sum(scene_file)}")
    yield Text()
    titles = {
        Change.TIGHTER: "TIGHTER",
        Change.UNTOLD: "CAN'T BE TOLD, not checked on one side, or not known well enough",
        Change.LOOSER: "LOOSER",
        Change.NEW: "NEW",
        Change.GONE: "GONE",
    }
    for change, title in titles.items():
        rows = changes.of(change)
        if rows:
            yield Text(f"{title}: {len(rows)}", style="bold")
            yield _results_table(rows)
            yield Text()
    yield Text.assemble(("THE SAME: ", "bold"), _counted(changes.of(Change.SAME)))
    yield Text()
    yield from _input_blocks(changes)


def _headline(check: Check) -> Iterable[RenderableType]:
    from rich.text import Text

    from app.jobs.words import headline

    for verdict, word, what in headline(check):
        yield Text.assemble(_plate(verdict, word), f" {what}")


def _plate(verdict: Verdict, word: str = "") -> Text:
    """A verdict by its mark and word."""
    from rich.text import Text

    from app.cli.output import MARKS, STYLES

    return Text(f"{MARKS[verdict]} {(word or str(verdict)).upper()}", style=STYLES[verdict])


def _plate_of(result: Result | None) -> Text | str:
    from app.jobs.results import UncheckedCut
    from app.jobs.words import verdict_word
    from kinematics.report import CutReport

    if result is None:
        return ""
    return _plate(result.verdict, verdict_word(result) if isinstance(result, CutReport | UncheckedCut) else "")


def _counted(rows: Iterable[ResultChange]) -> str:
    kinds = [row.kind for row in rows]
    counts = [(kinds.count(kind), kind) for kind in dict.fromkeys(kinds)]
    return ", ".join(f"{n} {kind}{'' if n == 1 else 's'}" for n, kind in counts) or "nothing"


def _results_table(rows: Iterable[ResultChange]) -> RenderableType:
    from app.cli.output import new_table
    from app.jobs.words import MINUS, number

    table = new_table("where", "before", "after", "by", "was", "is", "between", numbers=("before", "after", "by"))
    table.columns[4].no_wrap = table.columns[5].no_wrap = True
    for row in rows:
        by = "" if row.spare_change is None else number(row.spare_change)
        table.add_row(
            row.name,
            _spare(row.before),
            _spare(row.after),
            by if by.startswith(MINUS) or not by else f"+{by}",
            _plate_of(row.before),
            _plate_of(row.after),
            _between(row.after or row.before),
        )
    return table


def _spare(result: Result | None) -> str:
    from app.jobs.words import spare_text
    from kinematics.report import CutReport, SwingReport

    if result is None:
        return ""
    if isinstance(result, CutReport):
        pair = result.worst
        if pair is None:
            return "?" if result.why else "far"
        return spare_text(pair.spare, pair.keep_off) if pair.spare is not None else pair.contact or "?"
    if not isinstance(result, SwingReport) or result.spare is None:
        return getattr(result, "contact", None) or "?"
    return spare_text(result.spare, result.keep_off)


def _between(result: Result | None) -> str:
    from kinematics.report import CutReport, SwingReport

    if result is None:
        return ""
    if isinstance(result, CutReport):
        from app.jobs.words import cause, nearest_bodies, reason, sentence
        from kinematics.verdict import Verdict

        if result.verdict is Verdict.NOT_CHECKED:
            return reason(result)
        if cause(result) in ("depth", "travel") and result.verdict is not Verdict.CLEAR:
            return sentence(result)
        pair = result.worst
        return "nothing near" if pair is None else f"{pair.between[0]}, {nearest_bodies(result, pair)}"
    if isinstance(result, SwingReport) and result.between is not None:
        return f"{result.between[0]}, {result.between[1]}"
    return result.why or ""


def _input_blocks(changes: Changes) -> Iterable[RenderableType]:
    from rich.text import Text

    if changes.are_inputs_the_same:
        yield Text.assemble(("INPUTS: ", "bold"), "the same, byte for byte")
        return
    if not changes.inputs:
        yield Text.assemble(("INPUTS: ", "bold"), "every value is the same; only comments or layout differ")
        return
    yield Text(f"INPUTS, value by value: {len(changes.inputs)}", style="bold")
    files = dict.fromkeys((change.role, change.name) for change in changes.inputs)
    for role, name in files:
        of_file = [c for c in changes.inputs if (c.role, c.name) == (role, name)]
        if role != "scene":
            yield Text(f"{role} {name}")
        yield _inputs_table(of_file[:MOST_SHOWN])
        if len(of_file) > MOST_SHOWN:
            yield Text(f"  and {len(of_file) - MOST_SHOWN} more; --json has all")


def _inputs_table(changes: Iterable[InputChange]) -> RenderableType:
    from app.cli.output import new_table

    table = new_table("path", "before", "after", "")
    for change in changes:
        d = change.difference
        table.add_row(
            f"  {d.path}", _shortened(d.before), _shortened(d.after), "" if d.kind == "value" else str(d.kind)
        )
    return table


def _shortened(text: str | None) -> str:
    if text is None:
        return "not given"
    return text if len(text) <= LONGEST else f"{text[: LONGEST - 3]}..."
