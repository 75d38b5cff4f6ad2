"""`tightside check`: every cut, link and swing of a set-up."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from app.cli.exit_status import ExitStatus
from app.cli.running import add_command, add_scene, prepare_engine, print_error, printed, read, status_of

if TYPE_CHECKING:
    from kinematics.answers.part_off import PartOff


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    parser = add_command(
        commands,
        "check",
        run,
        help_text="every cut, link and swing: verdict, spare, clearance, between which two, on which side",
        description="Check every cut of a set-up, and every move between the cuts,\n"
        "and say what is nearest, how near, on which side.",
    )
    add_scene(parser)
    parser.add_argument("--json", action="store_true", help="JSON for programs, in mm and degrees")
    parser.add_argument(
        "--no-second-opinion",
        action="store_true",
        help="do not find the clearances again with a second engine; the report says so",
    )
    parser.add_argument("--part-off", action="store_true", help="and how far the part may be off, to first order")
    parser.add_argument("--exact", action="store_true", help="with --part-off: proven all the way")
    parser.add_argument("--html", metavar="FILE", type=Path, help="and write the bench sheet as a page for a tablet")


def run(asked: argparse.Namespace) -> int:
    from app.cli.check_html import why_not, write_page
    from app.cli.output import print_check, print_check_json, print_faults
    from app.cli.progress import Progress
    from app.scenes.saving import SaveError
    from kinematics.errors import TightsideError

    if asked.exact and not asked.part_off:
        print_error("--exact: belongs to --part-off, which is not asked for")
        return ExitStatus.FAULT
    if asked.html is not None and (why := why_not(asked.html, has_second_opinion=not asked.no_second_opinion)):
        print_error(why)
        return ExitStatus.FAULT
    path: Path = asked.scene
    is_stopped = False
    results = []
    answers: list[PartOff] = []
    with Progress() as progress:
        progress.at(f"reading {path.name}")
        scene_file = read(path)
        prepare_engine(progress)
        from app.jobs.check import check_scene, steps_of, whole_check
        from app.jobs.part_off import exact_parts_off, parts_off
        from kinematics.prepared import Prepared

        steps = steps_of(scene_file)
        try:
            progress.at(steps[0] if steps else "checking")
            prepared = Prepared(scene_file.scene)
            opinion = not asked.no_second_opinion
            for result in check_scene(scene_file, second_opinion=opinion, prepared=prepared):
                results.append(result)
                progress.at(steps[len(results)] if len(results) < len(steps) else "checking links and swings")
            if asked.part_off:
                progress.at("shifting and turning the part")
                answers.extend((exact_parts_off if asked.exact else parts_off)(prepared))
            if asked.html is not None:
                write_page(asked.html, scene_file, prepared, progress)
        except SaveError as error:
            print_error(error.message)
            return ExitStatus.FAULT
        except TightsideError as error:
            from app.scenes.origins import fault_of

            print_faults([fault_of(error, file=str(path))])
            return ExitStatus.FAULT
        except KeyboardInterrupt:
            is_stopped = True
    check = whole_check(scene_file, results, is_stopped=is_stopped)
    if asked.part_off:
        from app.cli.part_off import print_check_with_part_off, print_check_with_part_off_json

        show = print_check_with_part_off_json if asked.json else print_check_with_part_off
        printed(lambda: show(check, answers))
    else:
        printed(lambda: print_check_json(check) if asked.json else print_check(check))
    if is_stopped:
        n_cuts = len(scene_file.scene.cuts())
        done = min(len(results), n_cuts)
        print_error(f"stopped after {done} of {n_cuts} cuts; what was done is reported")
        return ExitStatus.INTERRUPTED
    return status_of(check.verdict)
