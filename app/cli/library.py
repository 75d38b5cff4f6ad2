"""`tightside library`: machines, holders and hardware that are found, and where."""

from __future__ import annotations

import argparse

from app.cli.exit_status import ExitStatus
from app.cli.running import add_command, printed


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    parser = add_command(
        commands,
        "library",
        run,
        help_text="machines, holders and hardware that are found, and where",
        description="List what a scene may name: files of your own library folder, then those of the program.\n"
        "A file of your library hides one of the same name. TIGHTSIDE_LIBRARY names another folder.",
    )
    parser.add_argument("--json", action="store_true", help="JSON for programs")


def run(asked: argparse.Namespace) -> int:
    from app.cli.output import print_json, print_library
    from app.jobs.library import library_json, library_listing

    listing = library_listing()
    printed(lambda: print_json(library_json(listing)) if asked.json else print_library(listing))
    return ExitStatus.CLEAR
