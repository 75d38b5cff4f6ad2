"""The command line: what is asked, which job answers, which exit status comes back.

Nothing slow is imported before it is known that it is needed: `--help` imports the standard library only.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable, Sequence
from pathlib import Path

from app.cli import (
    changes,
    check,
    edit,
    library,
    new,
    offsets,
    picture,
    reach,
    schema,
    sheet,
    show,
    stickout,
    swing,
    table_map,
    whatif,
)
from app.cli.exit_status import EXIT_STATUSES, ExitStatus
from app.cli.running import Refused, print_error

DEBUG_VARIABLE = "TIGHTSIDE_DEBUG"
OpenWindow = Callable[[list[str]], int]  # with the arguments of `show`


def main(arguments: Sequence[str] | None = None, *, open_window: OpenWindow | None = None) -> int:
    """Run one command. The front door: what goes wrong below becomes a line and an exit status."""
    try:
        return _run(sys.argv[1:] if arguments is None else arguments, open_window)
    except KeyboardInterrupt:
        print_error("stopped before there was a result")
        return ExitStatus.INTERRUPTED
    except Exception as error:  # noqa: BLE001 - the front door: a bug gets a line that can be reported
        return _internal_error(error)


def _run(arguments: Sequence[str], open_window: OpenWindow | None) -> int:
    parser = _parser()
    try:
        asked = parser.parse_args(arguments)
    except SystemExit as stop:  # argparse has printed the help or what is wrong
        return stop.code if isinstance(stop.code, int) else ExitStatus.FAULT
    if asked.command is None:
        parser.print_help(sys.stderr)
        return ExitStatus.FAULT
    asked.open_window = open_window
    try:
        return int(asked.run(asked))
    except Refused as refused:
        return refused.status


class _ShowVersion(argparse.Action):
    """Says name and version; looked up only when asked for."""

    def __call__(self, parser: argparse.ArgumentParser, *_: object) -> None:
        from importlib.metadata import version

        sys.stdout.write(f"tightside {version('tightside')}\n")
        parser.exit(0)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="tightside",
        description="How much room is left between the tool assembly and everything that stands on the table,\n"
        "at every indexed orientation: where, on which side, and what would use it up.",
        epilog=EXIT_STATUSES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("--version", action=_ShowVersion, nargs=0, help="show the version and stop")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", title="commands")
    for command in (
        check,
        changes,
        stickout,
        swing,
        whatif,
        reach,
        table_map,
        offsets,
        picture,
        sheet,
        new,
        edit,
        library,
        schema,
        show,
    ):
        command.add(commands)
    return parser


def _internal_error(error: Exception) -> int:
    if os.environ.get(DEBUG_VARIABLE) == "1":
        import traceback

        traceback.print_exception(error)
    trace = error.__traceback__
    while trace is not None and trace.tb_next is not None:
        trace = trace.tb_next
    place = f" at {Path(trace.tb_frame.f_code.co_filename).name}:{trace.tb_lineno}" if trace else ""
    words = " ".join(str(error).split()) or "no further words"
    print_error(
        f"internal error, {type(error).__name__}{place}: {words}; this is a fault of the program, not of your file: "
        f"please report this line with the scene ({DEBUG_VARIABLE}=1 shows more)"
    )
    return ExitStatus.INTERNAL_ERROR
