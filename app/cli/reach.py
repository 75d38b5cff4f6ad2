"""`tightside reach`: which positions of the table a cut can be made at, and how far past 90."""

from __future__ import annotations

import argparse

from app.cli.exit_status import ExitStatus
from app.cli.running import add_command, add_scene, prepare_engine, print_error, printed, read, status_of


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    parser = add_command(
        commands,
        "reach",
        run,
        help_text="both table positions for a cut, and how far past 90 it may lean",
        description="For each cut every position of the table that aims the tool the same way, with limits and spare;\n"
        "and the lowest and highest angle of a table axis, the tip kept and the tool re-aimed, with what stops it.\n"
        "The exit status is that of the worst cut at its best position.",
    )
    add_scene(parser)
    parser.add_argument("--cut", metavar="ORIENTATION/CUT", help='one cut only, as in V6/"drain spot"')
    parser.add_argument("--axis", metavar="NAME", help="the table axis to turn (default: the first one)")
    parser.add_argument(
        "--direction", metavar="X,Y,Z", help="with --cut: aim the tool along this, from the tip up, in the part"
    )
    parser.add_argument("--json", action="store_true", help="JSON for programs, in mm and degrees")


def run(asked: argparse.Namespace) -> int:
    from app.cli.progress import Progress

    if asked.direction is not None and asked.cut is None:
        print_error("--direction: belongs to one cut; expected --cut ORIENTATION/CUT with it")
        return ExitStatus.FAULT
    results = []
    is_stopped = False
    with Progress() as progress:
        progress.at(f"reading {asked.scene.name}")
        scene_file = read(asked.scene)
        scene = scene_file.scene
        prepare_engine(progress)
        from app.cli.reach_tables import print_head, print_result, print_tail
        from app.jobs.reach import direction_called, reaches, steps_of, table_axis, verdict_of
        from app.jobs.stickout import NameFault, cut_called
        from kinematics.errors import TightsideError
        from kinematics.prepared import Prepared

        try:
            only = None if asked.cut is None else cut_called(scene, asked.cut)
            axis = table_axis(scene, asked.axis)
            direction = None if asked.direction is None else direction_called(asked.direction)
        except NameFault as error:
            print_error(f"{asked.scene}: {error.message}")
            return ExitStatus.FAULT
        steps = steps_of(scene, only)
        if not asked.json:
            progress.clear()
            printed(lambda: print_head(scene_file))
        try:
            progress.at(steps[0] if steps else "turning the table")
            for result in reaches(Prepared(scene), axis, only, direction):
                results.append(result)
                progress.at(steps[len(results)] if len(results) < len(steps) else "putting it together")
                if not asked.json:
                    progress.clear()
                    printed(lambda result=result: print_result(result))  # type: ignore[misc]  # a default binds the loop's
        except TightsideError as error:
            from app.cli.output import print_faults
            from app.scenes.origins import fault_of

            print_faults([fault_of(error, file=str(asked.scene))])
            return ExitStatus.FAULT
        except KeyboardInterrupt:
            is_stopped = True
    printed(lambda: print_tail(results, is_json=asked.json))
    if is_stopped:
        print_error(f"stopped after {len(results)} of {len(steps)} cuts; what was done is reported")
        return ExitStatus.INTERRUPTED
    return status_of(verdict_of(results))
