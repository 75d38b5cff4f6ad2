"""`tightside swing`: the swings of the table one by one, to a tolerance, and how low the tool may wait."""

from __future__ import annotations

import argparse

from app.cli.exit_status import ExitStatus
from app.cli.running import add_command, add_scene, prepare_engine, print_error, printed, read, status_of


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    parser = add_command(
        commands,
        "swing",
        run,
        help_text="swings one by one to a tolerance, and the least lift height for each",
        description="Work every swing of the table out to a tolerance, say where it is tight,\n"
        "and find the least height of the gauge line at which it is clear.",
    )
    add_scene(parser)
    parser.add_argument(
        "--tolerance", type=float, default=0.01, metavar="MM", help="of the clearance (default 0.01, or 1 %% of it)"
    )
    parser.add_argument("--json", action="store_true", help="JSON for programs, in mm and degrees")


def run(asked: argparse.Namespace) -> int:
    from app.cli.output import print_swings, print_swings_json
    from app.cli.progress import Progress

    if not 1e-4 <= asked.tolerance <= 100.0:
        print_error(f"--tolerance {asked.tolerance:g} mm; expected 0.0001 to 100")
        return ExitStatus.FAULT
    swings = []
    is_stopped = False
    with Progress() as progress:
        progress.at(f"reading {asked.scene.name}")
        scene_file = read(asked.scene)
        prepare_engine(progress)
        from app.jobs.check import moves_of
        from kinematics.swing_clearance import Settle
        from kinematics.verdict import Verdict, worst

        try:
            progress.at("working out the first swing")
            for swing in moves_of(scene_file, settle=Settle(asked.tolerance, with_least_lift=True), with_links=False):
                swings.append(swing)
                progress.at(f"working out swings, {len(swings)} done")
        except KeyboardInterrupt:
            is_stopped = True
    printed(lambda: print_swings_json(swings) if asked.json else print_swings(scene_file, swings))
    if is_stopped:
        print_error(f"stopped after {len(swings)} swings; what was done is reported")
        return ExitStatus.INTERRUPTED
    return status_of(worst([s.verdict for s in swings]) if swings else Verdict.CLEAR)
