"""`tightside map`: what one cut leaves at every position of the table, as picture and as values."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from app.cli.exit_status import ExitStatus
from app.cli.running import add_command, add_scene, prepare_engine, print_error, printed, read

if TYPE_CHECKING:
    from kinematics.answers.orientation_map import OrientationMap

FINEST, COARSEST = 0.5, 45.0  # degrees; steps that may be asked for


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    parser = add_command(
        commands,
        "map",
        run,
        help_text="tilt x rotary map of one cut: picture and values",
        description="For one cut and every position of the table: the spare where the tip is kept and the tool\n"
        "re-aimed. A clear position has its keep-off, proven; the others tell their spare, or contact.\n"
        "The exit status says whether the map was made, not how tight the cut is.",
    )
    add_scene(parser)
    parser.add_argument("--cut", metavar="ORIENTATION/CUT", required=True, help='as in V6/"drain spot"')
    parser.add_argument("--step", metavar="DEGREES", type=float, default=5.0, help="from cell to cell (default 5)")
    parser.add_argument("-o", "--out", metavar="FILE", type=Path, help="the picture to write, .png")
    parser.add_argument("--csv", metavar="FILE", type=Path, help="the values to write, .csv")
    parser.add_argument("--json", action="store_true", help="JSON for programs, in mm and degrees")


def run(asked: argparse.Namespace) -> int:
    if (wrong := _wrong(asked)) is not None:
        print_error(wrong)
        return ExitStatus.FAULT
    from app.cli.progress import Progress

    found: OrientationMap | None = None
    with Progress() as progress:
        progress.at(f"reading {asked.scene.name}")
        scene_file = read(asked.scene)
        prepare_engine(progress)
        from app.jobs.stickout import NameFault
        from app.jobs.table_map import Rows, cut_map, map_csv
        from kinematics.answers.orientation_map import NoMap
        from kinematics.errors import TightsideError
        from kinematics.prepared import Prepared

        try:
            progress.at("turning the table")
            for said in cut_map(Prepared(scene_file.scene), asked.cut, asked.step):
                if isinstance(said, Rows):
                    progress.at(f"turning the table, {said.done} of {said.of} rows")
                else:
                    found = said
        except (NameFault, NoMap) as error:
            print_error(f"{asked.scene}: {error.message}")
            return ExitStatus.FAULT
        except TightsideError as error:
            from app.cli.output import print_faults
            from app.scenes.origins import fault_of

            print_faults([fault_of(error, file=str(asked.scene))])
            return ExitStatus.FAULT
        except KeyboardInterrupt:
            print_error("stopped before the map was whole; nothing was written")
            return ExitStatus.INTERRUPTED
        assert found is not None, "a job ends with its map"
        written: list[Path] = []
        if asked.out is not None:
            from app.jobs.table_map_picture import map_png

            progress.at("drawing")
            written.append(_written(asked.out, map_png(found, scene_file.scene.title)))
        if asked.csv is not None:
            written.append(_written(asked.csv, map_csv(found).encode()))
    from app.cli.table_map_tables import print_map, print_map_json

    whole = found
    printed(lambda: print_map_json(whole) if asked.json else print_map(scene_file, whole, written))
    return ExitStatus.CLEAR


def _wrong(asked: argparse.Namespace) -> str | None:
    """What is wrong with the arguments, before anything is read."""
    if not FINEST <= asked.step <= COARSEST:  # not a number is not either
        return f"--step {asked.step:g}: expected {FINEST:g} to {COARSEST:g} degrees, as 5 or 1"
    for file, ending in ((asked.out, ".png"), (asked.csv, ".csv")):
        if file is not None and file.suffix.lower() != ending:
            return f"{file}: expected a file name that ends in {ending}"
        if file is not None and not file.absolute().parent.is_dir():
            return f"{file}: there is no folder {file.absolute().parent}; expected one that exists"
    return None


def _written(file: Path, data: bytes) -> Path:
    from app.cli.running import Refused

    try:
        file.write_bytes(data)
    except OSError as error:
        print_error(f"{file}: cannot be written ({error.strerror}); expected a file that can")
        raise Refused(ExitStatus.FAULT) from error
    return file
