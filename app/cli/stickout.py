"""`tightside stickout`: how short the tools may stick out, with each holder."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from app.cli.exit_status import ExitStatus
from app.cli.running import add_command, add_scene, prepare_engine, print_error, printed, read, status_of

if TYPE_CHECKING:
    from app.jobs.stickout import Holders


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    parser = add_command(
        commands,
        "stickout",
        run,
        help_text="least stick-out per cut, tool and holder; holders ranked by bending",
        description="Find how short each tool may stick out of each holder: the least length that does not hit,\n"
        "that cannot hit, that is clear, and what keeps it from being less. The exit status is that of the\n"
        "worst cut with the best holder at its best stick-out.",
    )
    add_scene(parser)
    parser.add_argument("--cut", metavar="ORIENTATION/CUT", help='one cut only, as in V6/"drain spot"')
    parser.add_argument(
        "--holder", metavar="NAME", action="append", default=[], help="this holder, of the scene or the library (again)"
    )
    parser.add_argument(
        "--holders", action="store_true", help="those of the library too that fit the spindle and grip the shank"
    )
    parser.add_argument("--json", action="store_true", help="JSON for programs, in mm and degrees")


def run(asked: argparse.Namespace) -> int:
    from app.cli.progress import Progress
    from app.cli.stickout_tables import print_head, print_result, print_tail

    results = []
    is_stopped = False
    with Progress() as progress:
        progress.at(f"reading {asked.scene.name}")
        scene_file = read(asked.scene)
        prepare_engine(progress)
        from app.jobs.stickout import NameFault, cut_called, holders_of, steps_of, stick_outs, verdict_of
        from kinematics.errors import TightsideError

        try:
            only = None if asked.cut is None else cut_called(scene_file.scene, asked.cut)
            holders = holders_of(scene_file.scene, asked.holder, with_catalogue=asked.holders)
        except NameFault as error:
            print_error(f"{asked.scene}: {error.message}")
            return ExitStatus.FAULT
        _tell_faults(holders)
        steps = steps_of(scene_file.scene, only)
        if not asked.json:
            progress.clear()
            printed(lambda: print_head(scene_file))
        try:
            progress.at(steps[0] if steps else "trying stick-outs")
            for result in stick_outs(scene_file, holders, only):
                results.append(result)
                progress.at(steps[len(results)] if len(results) < len(steps) else "putting the tools together")
                if not asked.json:
                    progress.clear()
                    printed(lambda result=result: print_result(scene_file, result))  # type: ignore[misc]  # a default binds the loop's
        except TightsideError as error:
            from app.cli.output import print_faults
            from app.scenes.origins import fault_of

            print_faults([fault_of(error, file=str(asked.scene))])
            return ExitStatus.FAULT
        except KeyboardInterrupt:
            is_stopped = True
    printed(lambda: print_tail(results, holders, is_json=asked.json))
    if is_stopped:
        done = min(len(results), len(steps))
        print_error(f"stopped after {done} of {len(steps)} cuts; what was done is reported")
        return ExitStatus.INTERRUPTED
    return status_of(verdict_of(results))


def _tell_faults(holders: Holders) -> None:
    """A file of the library that is at fault is told, and the others are looked at."""
    if holders.faults:
        from app.cli.output import print_faults

        print_faults(holders.faults)
