"""`tightside whatif`: dials turned, and what the set-up then leaves."""

from __future__ import annotations

import argparse
import re
from typing import TYPE_CHECKING

from app.cli.exit_status import ExitStatus
from app.cli.running import add_command, add_scene, prepare_engine, print_error, printed, read, status_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from app.cli.progress import Progress
    from app.jobs.whatif import Asked, Result
    from app.jobs.whatif_dials import Bench
    from app.scenes.reader import SceneFile
    from kinematics.answers.worst_room import CutName

_VALUES = "FROM:TO:STEP or A,B,C"


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    parser = add_command(
        commands,
        "whatif",
        run,
        help_text="turns dials: the worst spare, its pair and the travel for each value",
        description="Turn dials of a scene, one at a time, and say what the set-up leaves at each value.\n"
        f"Values are {_VALUES}, in the units of the file. Links and swings count with --swings only.\n"
        "The exit status is that of the best value.",
    )
    # a value such as -90:90:30 is no option
    parser._negative_number_matcher = re.compile(r"-[\d.]")  # noqa: SLF001 - argparse offers no other way to say so
    add_scene(parser)
    for option, metavar, words in (
        ("--vary", "PATH=VALUES", "a number by its path (riser/h=10:80:10), or a word"),
        ("--turn-fixture", "[GROUP=]VALUES", "the fixture turned under the part, which stays where it is, in degrees"),
        ("--raise-part", "[PART=]VALUES", "the part higher in its fixture, on more grip waste"),
        ("--shift-part", "[PART/]AXIS=VALUES", "the part shifted along x, y or z of what it stands on"),
        ("--re-aim", "V6/tilt=VALUES", "an angle of an orientation, features and tips kept and the tool re-aimed"),
        ("--holder", "TOOL[=NAMES]", "the holder of a tool: those that are named, or all of the scene"),
        ("--screws", "[NAMES=]STANDARD", 'screws of another standard, size or both, as "DIN 7984 M6"'),
        ("--order", "V1,V3,V2", "the orientations in another order"),
        ("--cut", "ORIENTATION/CUT", "only this cut counts"),
        ("--tool", "TOOL", "only the cuts of this tool count"),
    ):
        parser.add_argument(option, metavar=metavar, action="append", default=[], help=f"{words} (again)")
    parser.add_argument(
        "--other-solution", metavar="V1,V2", nargs="?", const="", help="the other position of the table that aims alike"
    )
    parser.add_argument("--swings", action="store_true", help="links and swings count too")
    parser.add_argument("--ranges", action="store_true", help="the proven ranges of the verdict of the cuts")
    parser.add_argument("--best", action="store_true", help="name the value with the largest worst spare")
    parser.add_argument("--json", action="store_true", help="JSON for programs, in mm and degrees")


def run(asked: argparse.Namespace) -> int:
    from app.cli.progress import Progress

    results: list[Result] = []
    with Progress() as progress:
        progress.at(f"reading {asked.scene.name}")
        scene_file = read(asked.scene)
        bench, dials, only = _understood(scene_file, asked)
        prepare_engine(progress)
        is_stopped = _turned(bench, dials, only, asked, progress, results)
    n_done, n_all = sum(1 for _, r in results if hasattr(r, "room")), sum(len(d.values) for d in dials)
    cancelled = f"after {n_done} of {n_all} values" if is_stopped else None
    from app.cli.whatif_tables import print_what_if
    from app.jobs.whatif import answers_of, verdict_of

    answers = answers_of(dials, results, with_ranges=asked.ranges)
    printed(lambda: print_what_if(scene_file, answers, only, asked, cancelled))
    if cancelled is not None:
        print_error(f"cancelled {cancelled}; what was done is reported")
        return ExitStatus.INTERRUPTED
    return status_of(verdict_of(answers))


def _understood(
    scene_file: SceneFile, asked: argparse.Namespace
) -> tuple[Bench, tuple[Asked, ...], frozenset[CutName] | None]:
    """What was asked; raises Refused after what is wrong is printed."""
    from app.cli.running import Refused
    from app.cli.whatif_asked import asked_of, cuts_asked
    from app.jobs.whatif_dials import Bench, DialFault
    from app.scenes.live import LiveScene

    bench = Bench(LiveScene(scene_file.text, scene_file.path))
    try:
        return bench, asked_of(bench, asked), cuts_asked(bench, asked)
    except DialFault as fault:
        print_error(f"{asked.scene}: {fault.message}")
        raise Refused(ExitStatus.FAULT) from fault


def _turned(
    bench: Bench,
    dials: Sequence[Asked],
    only: frozenset[CutName] | None,
    asked: argparse.Namespace,
    progress: Progress,
    results: list[Result],
) -> bool:
    """Put results into the list as they come; whether somebody stopped it."""
    from app.jobs.whatif import DialValue, what_if

    n_all = sum(len(d.values) for d in dials)
    n_done = 0
    try:
        progress.at(f"turning {dials[0].dial.name}, 1 of {n_all} values")
        for k, found in what_if(bench, dials, only=only, with_swings=asked.swings, with_ranges=asked.ranges):
            results.append((k, found))
            if isinstance(found, DialValue):
                n_done += 1
                progress.at(f"turning {dials[k].dial.name}, {min(n_done + 1, n_all)} of {n_all} values")
            else:
                progress.at(f"ranges of {dials[k].dial.name}, known up to {found.end:.6g}")
    except KeyboardInterrupt:
        return True
    return False
