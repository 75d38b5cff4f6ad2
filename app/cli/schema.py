"""`tightside schema`: the JSON Schema of the files, for an editor's completion and hover text."""

from __future__ import annotations

import argparse

from app.cli.exit_status import ExitStatus
from app.cli.running import add_command, printed


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    parser = add_command(
        commands,
        "schema",
        run,
        help_text="the JSON Schema of the files",
        description="Print the JSON Schema (draft 2020-12) of one kind of file.",
    )
    parser.add_argument("kind", choices=["scene", "machine", "holder", "hardware"], nargs="?", default="scene")


def run(asked: argparse.Namespace) -> int:
    from app.cli.output import print_json
    from app.scenes.schema import schema

    printed(lambda: print_json(schema(asked.kind)))
    return ExitStatus.CLEAR
