"""`tightside new`: a scene from a part file, a machine, a bar and a holding, by flags or by questions."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from app.cli.exit_status import ExitStatus
from app.cli.running import add_command, print_error, printed

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from app.jobs.new_setup.draft import Draft
    from app.jobs.new_setup.words import LineFault

SUFFIXES = (".yaml", ".yml")
FIRST_ORIENTATION = "V1 +Z"


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    parser = add_command(
        commands,
        "new",
        run,
        help_text="a scene from a part file, machine, bar size and holding kind, by flags or questions",
        description="Write a new scene that can be checked at once. What is not told by a flag is asked for\n"
        "with --ask, else it is assumed and marked so in the scene. Lengths are in --units, or have their\n"
        "own: d1/4in, 20mm.\n\n"
        "  tightside new op2/op2.scene.yaml --part cover.step --machine compact_ac --bar 40x34x52 \\\n"
        "    --holding dovetail --tool '2 end mill d6 flute 13 out 20 holder collet_11_jis30' \\\n"
        "    --orientation 'V1 +Z' --orientation 'V2 +Y at 0 15 -30 depth 8'",
    )
    parser.add_argument("scene", metavar="SCENE", type=Path, help="the scene to write (.scene.yaml); not there yet")
    parser.add_argument("--ask", action="store_true", help="ask for what no flag tells")
    parser.add_argument("--units", choices=("mm", "inch"), default="mm", help="of the scene (default mm)")
    parser.add_argument("--title", help="a title for people (default: the name of the part file)")
    parser.add_argument("--part", metavar="FILE", type=Path, help="STEP, STL, OBJ, PLY or 3MF; copied beside the scene")
    parser.add_argument("--part-units", metavar="UNIT", help="mm, inch, ...: of a part file that does not say it")
    parser.add_argument("--up", metavar="AXIS", help="the direction of the part file that is up (default +Z)")
    parser.add_argument("--machine", metavar="NAME", help="of the library, or a machine file by its path")
    parser.add_argument("--bar", metavar="XxYxZ", help="the bar as it stands (default: the part and a little more)")
    parser.add_argument("--top", metavar="LENGTH", help="how far the bar stands over the part (default 1 mm)")
    parser.add_argument("--holding", metavar="KIND", help="dovetail, vise, soft jaws or plate")
    parser.add_argument("--screws", metavar="'STANDARD SIZE'", help="of the fixture (default ISO 4762 M6)")
    parser.add_argument("--riser", metavar="LENGTH", help="height of the riser under the fixture; 0 for none")
    parser.add_argument("--grip", metavar="LENGTH", help="how high the bar is held")
    parser.add_argument("--turn", metavar="DEG", default="0", help="of the fixture about the platter's Z (default 0)")
    parser.add_argument(
        "--holder",
        metavar="NAME=HOLDER",
        action="append",
        default=[],
        help="a short name for a holder (again)",
    )
    parser.add_argument(
        "--tool",
        metavar="LINE",
        action="append",
        default=[],
        help="'2 end mill d6 flute 13 out 20 holder NAME' (again)",
    )
    parser.add_argument("--tools", metavar="FILE", type=Path, help="a text file with one tool a line")
    parser.add_argument(
        "--orientation",
        metavar="LINE",
        action="append",
        default=[],
        help="'V2 +Y T2 at 0 15 -30 depth 8'; 'second' takes the other position of the table (again)",
    )
    parser.add_argument("--retract", metavar="LENGTH", help="straight up after every cut (default 60 mm)")


def run(asked: argparse.Namespace) -> int:
    scene: Path = asked.scene
    if (why := _why_not(scene)) is not None:
        print_error(why)
        return ExitStatus.FAULT
    from app.cli.progress import Progress
    from app.jobs.new_setup.draft import Draft

    with Progress() as progress:
        progress.at("measuring the part")
        draft = Draft(scene.parent, asked.units)
        draft.title = asked.title or ""
        is_right = _taken(draft, asked)
    if not is_right:
        return ExitStatus.FAULT
    copied: list[Path] = []
    try:
        part: Path | None = asked.part
        if asked.ask:
            from app.cli.new_questions import NoMoreAnswers, ask_for_the_rest

            try:
                part = ask_for_the_rest(draft, part, scene, copied)
            except NoMoreAnswers:
                print_error("the answers ended before the set-up was whole; nothing was written")
                _remove(copied)
                return ExitStatus.FAULT
        return _written(draft, scene, part, copied)
    except KeyboardInterrupt:
        _remove(copied)
        raise


def _why_not(scene: Path) -> str | None:
    if scene.suffix not in SUFFIXES:
        return f"{scene}: expected a file name that ends in .scene.yaml"
    if scene.exists():
        return f"{scene}: is there already; expected a name that is free"
    if not scene.absolute().parent.is_dir():
        return f"{scene}: there is no folder {scene.absolute().parent}; expected one that exists"
    return None


def _taken(draft: Draft, asked: argparse.Namespace) -> bool:
    """Take every flag; all that is wrong is told, not only the first."""
    from app.jobs.new_setup.scene_text import AnswerFault

    is_right = True

    def take(flag: str, step: Callable[[], object]) -> None:
        nonlocal is_right
        try:
            step()
        except AnswerFault as fault:
            is_right = False
            print_error(f"{flag}: {fault.message}")

    for text in asked.holder:
        take("--holder", lambda text=text: draft.take_holder(text))  # type: ignore[misc]  # a default binds the loop's
    if asked.part is not None:
        take("--part", lambda: _part(draft, asked))
    if asked.machine is not None:
        take("--machine", lambda: draft.take_machine(asked.machine))
    for flag, value, step in (
        ("--bar", asked.bar, draft.take_bar),
        ("--top", asked.top, draft.take_top),
        ("--retract", asked.retract, draft.take_retract),
    ):
        if value is not None:
            take(flag, lambda value=value, step=step: step(value))  # type: ignore[misc]  # as above
    if asked.holding is not None:
        more = {"screws": asked.screws, "riser": asked.riser, "grip": asked.grip, "turn": asked.turn}
        take("--holding", lambda: draft.take_holding(asked.holding, **more))
    lines = [("--tool", text) for text in asked.tool]
    lines += [(f"{asked.tools}:{n}", text) for n, text in _lines_of(asked.tools)]
    for flag, text in lines:
        is_right &= say_faults(flag, text, draft.take_tool(text).faults)
    if draft.machine is not None and draft.holding is not None:
        orientations: list[str] = asked.orientation
        if not orientations and not asked.ask and draft.tools:
            orientations = [FIRST_ORIENTATION]
        for text in orientations:
            is_right &= say_faults("--orientation", text, draft.take_orientation(text).faults)
    return is_right


def _part(draft: Draft, asked: argparse.Namespace) -> None:
    from app.jobs.new_setup.draft import ASSUMED_UP
    from app.jobs.new_setup.scene_text import AnswerFault

    question = draft.take_part(asked.part, units=asked.part_units, up=asked.up or ASSUMED_UP)
    if question is not None and not asked.ask:
        raise AnswerFault(f"{question} Say it with --part-units")


def _lines_of(file: Path | None) -> Iterable[tuple[int, str]]:
    """The lines of a file of tools that are not empty and no comment."""
    if file is None:
        return []
    try:
        lines = file.read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        print_error(
            f"{file}: cannot be read ({getattr(error, 'strerror', None) or 'no UTF-8'}); expected one tool a line"
        )
        from app.cli.running import Refused

        raise Refused(ExitStatus.FAULT) from error
    return [(n, line) for n, line in enumerate(lines, 1) if line.strip() and not line.lstrip().startswith("#")]


def say_faults(flag: str, text: str, faults: Iterable[LineFault]) -> bool:
    """What is wrong with a line, each thing with its place under it; whether there is nothing."""
    is_right = True
    for fault in faults:
        is_right = False
        print_error(f"{flag}: {fault.message}")
        marks = " " * fault.start + "^" * max(1, fault.end - fault.start)
        sys.stderr.write(f"    {text}\n    {marks}\n")
    return is_right


def copy_part(part: Path, scene: Path, copied: list[Path]) -> None:
    """Put the part beside the scene, where a scene may name it. Raises OSError; AnswerFault for another file there."""
    import shutil

    from app.jobs.new_setup.scene_text import AnswerFault

    beside = scene.absolute().parent / part.name
    if beside.exists():
        if beside.resolve() == part.resolve() or beside.read_bytes() == part.read_bytes():
            return
        raise AnswerFault(f"{beside}: another file of that name is beside the scene; expected another name or folder")
    shutil.copyfile(part, beside)
    copied.append(beside)


def _remove(copied: list[Path]) -> None:
    for file in copied:
        file.unlink(missing_ok=True)


def _written(draft: Draft, scene: Path, part: Path | None, copied: list[Path]) -> int:
    """Write the scene, once it reads without a fault."""
    from app.cli.output import print_blocks, print_faults
    from app.jobs.new_setup.scene_text import AnswerFault, scene_text
    from app.scenes.faults import SceneFileError
    from app.scenes.reader import read_scene_text
    from app.scenes.saving import DiskState, SaveError, save

    try:
        answers = draft.answers()
        text = scene_text(answers)
        if part is not None:
            copy_part(part, scene, copied)
        scene_file = read_scene_text(text, scene, catalogues=draft.catalogues)
        save(scene, text, was=DiskState(None))
    except SceneFileError as error:
        print_faults(error.faults)
    except (AnswerFault, SaveError) as error:
        print_error(error.message + ("; say it by a flag, or use --ask" if "is missing" in error.message else ""))
    except OSError as error:
        print_error(f"{part}: cannot be copied beside the scene ({error.strerror}); expected a folder to write in")
    else:
        notes = [*scene_file.scene.notes, *(f"assumed: {text}" for text in scene_file.scene.assumed)]
        lines = [f"{scene}: {scene_file.scene.title}, {len(scene_file.scene.cuts())} cuts"]
        lines += [f"{file}: copied" for file in copied]
        lines += [f"  {note}" for note in notes]
        lines.append(f"Check it with: tightside check {scene}")
        printed(lambda: print_blocks(lines))
        return ExitStatus.CLEAR
    _remove(copied)
    return ExitStatus.FAULT
