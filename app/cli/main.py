"""The command line: what is asked, which job answers, which exit status comes back.

Nothing slow is imported before it is known that it is needed: `--help` imports the standard library only.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from app.cli.exit_status import ExitStatus

if TYPE_CHECKING:
    from app.jobs.check import Check

DEBUG_VARIABLE = "TIGHTSIDE_DEBUG"
EXIT_STATUSES = (
    "exit status: 0 clear, 10 tight, 20 can hit, 30 hits or cannot reach, 40 not checked (and nothing worse);\n"
    "2 scene or usage at fault, 70 internal error, 130 interrupted"
)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command. The front door: what goes wrong below becomes a line and an exit status."""
    try:
        return _run(sys.argv[1:] if arguments is None else arguments)
    except KeyboardInterrupt:
        print_error("stopped before there was a result")
        return ExitStatus.INTERRUPTED
    except Exception as error:  # noqa: BLE001 - the front door: a bug gets a line that can be reported
        return _internal_error(error)


def print_error(line: str) -> None:
    sys.stderr.write(f"tightside: {line}\n")


def _run(arguments: Sequence[str]) -> int:
    parser = _parser()
    try:
        asked = parser.parse_args(arguments)
    except SystemExit as stop:  # argparse has printed the help or what is wrong
        return stop.code if isinstance(stop.code, int) else ExitStatus.FAULT
    if asked.command is None:
        parser.print_help(sys.stderr)
        return ExitStatus.FAULT
    return _check(asked.scene, as_json=asked.json)


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
    check = commands.add_parser(
        "check",
        help="every cut of a set-up: verdict, spare, clearance, between which two, on which side",
        description="Check every cut of a set-up and say what is nearest, how near, on which side.",
        epilog=EXIT_STATUSES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    check.add_argument("scene", metavar="SCENE", type=Path, help="the scene file (.scene.yaml)")
    check.add_argument("--json", action="store_true", help="JSON for programs, in mm and degrees")
    return parser


def _check(path: Path, *, as_json: bool) -> int:
    from app.cli.output import print_check, print_check_json, print_faults
    from app.cli.progress import Progress
    from app.scenes.faults import SceneFileError
    from kinematics.errors import TightsideError

    is_stopped = False
    results = []
    with Progress() as progress:
        progress.at(f"reading {path.name}")
        from app.jobs.check import check_scene, whole_check
        from app.scenes.reader import read_scene

        try:
            scene_file = read_scene(path)
        except SceneFileError as error:
            print_faults(error.faults)
            return ExitStatus.FAULT
        cuts = scene_file.scene.cuts()
        try:
            names = [f"checking {o.name} {c.name}, {i} of {len(cuts)} cuts" for i, (o, c) in enumerate(cuts, 1)]
            progress.at(names[0] if names else "checking")
            for result in check_scene(scene_file):
                results.append(result)
                progress.at(names[min(len(results), len(names) - 1)])
        except TightsideError as error:
            from app.scenes.origins import fault_of

            print_faults([fault_of(error, file=str(path))])
            return ExitStatus.FAULT
        except KeyboardInterrupt:
            is_stopped = True
    check = whole_check(scene_file, results)
    try:
        if as_json:
            print_check_json(check)
        else:
            print_check(check)
        sys.stdout.flush()
    except BrokenPipeError:
        # whoever read our output has gone (`| head`): nobody is left to tell, and the verdict stands
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    if is_stopped:
        print_error(f"stopped after {len(results)} of {len(cuts)} cuts; what was done is reported")
        return ExitStatus.INTERRUPTED
    return status_of(check)


def status_of(check: Check) -> ExitStatus:
    """The exit status of a verdict."""
    return ExitStatus[check.verdict.name]


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
