"""`tightside show`: opens the window. The command line does not know the window; who starts it hands it in."""

from __future__ import annotations

import argparse
from pathlib import Path

from app.cli.exit_status import ExitStatus
from app.cli.running import add_command, print_error


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    parser = add_command(
        commands,
        "show",
        run,
        help_text="open the window: tight board, tight view, dials",
        description="Open the window, with a set-up where one is named.",
    )
    parser.add_argument("scene", metavar="SCENE", type=Path, nargs="?", help="the scene file (.scene.yaml)")


def run(asked: argparse.Namespace) -> int:
    if asked.open_window is None:
        print_error("show: there is no window here; expected the command tightside")
        return ExitStatus.FAULT
    try:
        return int(asked.open_window([] if asked.scene is None else [str(asked.scene)]))
    except ImportError as error:
        print_error(f"show: the window cannot be opened here ({error}); all other commands work without one")
        return ExitStatus.FAULT
