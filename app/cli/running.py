"""What every command shares: reading a scene or saying its faults, printing, being interrupted."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from app.cli.exit_status import EXIT_STATUSES, ExitStatus

if TYPE_CHECKING:
    from app.cli.progress import Progress
    from app.scenes.reader import SceneFile
    from kinematics.verdict import Verdict


class Refused(Exception):
    """A command ends with this status; what is wrong has been printed."""

    def __init__(self, status: ExitStatus) -> None:
        super().__init__(status.name)
        self.status = status


def add_command(
    commands: argparse._SubParsersAction[argparse.ArgumentParser],
    name: str,
    run: Callable[[argparse.Namespace], int],
    *,
    help_text: str,
    description: str,
) -> argparse.ArgumentParser:
    """A command of the program, with the exit statuses under its help."""
    parser = commands.add_parser(
        name,
        help=help_text,
        description=description,
        epilog=EXIT_STATUSES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.set_defaults(run=run)
    return parser


def add_scene(parser: argparse.ArgumentParser) -> None:
    """The scene that a command is about."""
    parser.add_argument("scene", metavar="SCENE", type=Path, help="the scene file (.scene.yaml)")


def print_error(line: str) -> None:
    """One line on standard error."""
    sys.stderr.write(f"tightside: {line}\n")


def read(path: Path) -> SceneFile:
    """The scene; raises Refused after its faults are printed."""
    from app.scenes.faults import SceneFileError
    from app.scenes.reader import read_scene

    try:
        return read_scene(path)
    except SceneFileError as error:
        from app.cli.output import print_faults

        print_faults(error.faults)
        raise Refused(ExitStatus.FAULT) from error


def prepare_engine(progress: Progress) -> None:
    """Compiles the exact engine where that was not done before, and says so; asks the disk only where it was."""
    from kinematics.engine import kernel_cache

    if kernel_cache.is_ready():
        return
    progress.at(f"preparing the exact engine, once, about {kernel_cache.COMPILE_SECONDS:.0f} s")
    from kinematics.engine.compiled import compile_all

    compile_all()


def printed(show: Callable[[], None]) -> None:
    """Print, and bear it when whoever read our output has gone (`| head`): the verdict stands."""
    try:
        show()
        sys.stdout.flush()
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def status_of(verdict: Verdict) -> ExitStatus:
    """The exit status of a verdict."""
    return ExitStatus[verdict.name]
