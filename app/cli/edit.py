"""`tightside edit`: set numbers and words of a scene by their path; nothing else in the file changes."""

from __future__ import annotations

import argparse
from pathlib import Path

from app.cli.exit_status import ExitStatus
from app.cli.running import add_command, add_scene, print_error


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    parser = add_command(
        commands,
        "edit",
        run,
        help_text="sets numbers by path: edit SCENE riser/h=30 -o OUT",
        description="Set values of a scene by their path, as riser/h=30 or T4/stick_out=21.\n"
        "Comments, blanks and everything else stay as they are, byte for byte.",
    )
    add_scene(parser)
    parser.add_argument("changes", metavar="PATH=VALUE", nargs="+", help="a path and what it is to be")
    parser.add_argument("-o", "--out", metavar="OUT", type=Path, required=True, help="the file to write; may be SCENE")


def run(asked: argparse.Namespace) -> int:
    from app.cli.output import print_faults
    from app.scenes.document import Document
    from app.scenes.edits import EditError, set_text
    from app.scenes.faults import SceneFileError
    from app.scenes.saving import SaveError, disk_state, save

    try:
        data = asked.scene.read_bytes()
    except OSError as error:
        print_error(f"{asked.scene}: cannot be read ({error.strerror}); expected a scene file")
        return ExitStatus.FAULT
    try:
        document, was = Document.of_bytes(str(asked.scene), data, "scene"), disk_state(asked.out)
        if document.faults:
            raise SceneFileError(document.faults)
        text = document.text
        for change in asked.changes:
            path, equals, value = change.partition("=")
            if not equals or not path:
                raise EditError(f"{change}: expected PATH=VALUE, as riser/h=30")
            text = set_text(text, path, value)
        save(asked.out, text, was=was)
    except SceneFileError as error:
        print_faults(error.faults)
        return ExitStatus.FAULT
    except (EditError, SaveError) as error:
        print_error(error.message)
        return ExitStatus.FAULT
    return ExitStatus.CLEAR
