"""`tightside offsets`: where part zero stands at every orientation."""

from __future__ import annotations

import argparse

from app.cli.exit_status import ExitStatus
from app.cli.running import add_command, add_scene, print_error, printed, read


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    parser = add_command(
        commands,
        "offsets",
        run,
        help_text="part zero at every orientation, in W and in the control's coordinates",
        description="Say where part zero stands when the table turns, in W and as the control counts,\n"
        "and how far a wrong rotary centre would move it.",
    )
    add_scene(parser)
    parser.add_argument("--csv", action="store_true", help="comma-separated values")
    parser.add_argument("--json", action="store_true", help="JSON for programs, in mm and degrees")
    parser.add_argument(
        "--centre-error",
        action="append",
        default=[],
        metavar="AXIS=X,Y,Z",
        help="an axis that stands off by this vector (mm, in the frame that carries it); may be given for each axis",
    )


def run(asked: argparse.Namespace) -> int:
    from app.cli.output import print_offsets, print_offsets_csv, print_offsets_json
    from app.jobs.offsets import CentreErrorFault, offset_table, read_centre_error

    scene_file = read(asked.scene)
    try:
        errors = [read_centre_error(scene_file.scene.machine, text) for text in asked.centre_error]
    except CentreErrorFault as error:
        print_error(error.message)
        return ExitStatus.FAULT
    table = offset_table(scene_file.scene, errors)
    show = print_offsets_csv if asked.csv else print_offsets_json if asked.json else print_offsets
    printed(lambda: show(scene_file, table))
    return ExitStatus.CLEAR
