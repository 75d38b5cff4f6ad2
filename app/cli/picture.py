"""`tightside picture`: one view of one cut at its tightest place, as a PNG file."""

from __future__ import annotations

import argparse
import re
from pathlib import Path

from app.cli.exit_status import ExitStatus
from app.cli.running import add_command, add_scene, print_error, printed, read

SMALLEST, LARGEST = 60, 4096  # pixels of either side
LEAST_CAPTIONED = (400, 300)  # a smaller picture has no room for a strip of text


def add(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    parser = add_command(
        commands,
        "picture",
        run,
        help_text="one view of one cut as PNG: what is near what, and where the gap is",
        description="Draw a cut at its tightest place, with the gap marked, as a PNG file. Needs no screen.\n"
        "The exit status says whether the picture was made, not how tight the cut is.",
    )
    add_scene(parser)
    parser.add_argument("--cut", metavar="ORIENTATION/CUT", help='as in V6/"drain spot" (default: the tightest)')
    parser.add_argument(
        "--view",
        choices=("across", "door", "axis"),
        default="across",
        help="across the gap, as the operator sees it through the door, or down the tool's axis (default across)",
    )
    parser.add_argument("--size", metavar="WxH", default="1200x900", help="in pixels (default 1200x900)")
    parser.add_argument("--style", choices=("light", "dark", "print"), default="light", help="(default light)")
    parser.add_argument("--units", choices=("mm", "inch"), default="mm", help="of the numbers in it (default mm)")
    parser.add_argument("-o", "--out", metavar="FILE", type=Path, required=True, help="the file to write, .png")


def run(asked: argparse.Namespace) -> int:
    size = _size(asked.size)
    if size is None:
        print_error(f"--size {asked.size}: expected WIDTHxHEIGHT, {SMALLEST} to {LARGEST} pixels each, as 1200x900")
        return ExitStatus.FAULT
    if asked.out.suffix.lower() != ".png":
        print_error(f"{asked.out}: expected a file name that ends in .png")
        return ExitStatus.FAULT
    from app.cli.progress import Progress
    from kinematics.errors import TightsideError

    with Progress() as progress:
        progress.at(f"reading {asked.scene.name}")
        scene_file = read(asked.scene)
        from app.jobs.picture import CutNameFault, named_cut, tightest_cut
        from app.view3d.pictures import NoPicture, Style, View, Wanted, draw_pictures, picture_order
        from kinematics.prepared import Prepared

        wanted = Wanted(
            view=View(asked.view),
            size=size,
            style=Style(asked.style),
            units=asked.units,
            scale=min(4.0, max(0.8, min(size[0] / 1200, size[1] / 900))),
            with_caption=size[0] >= LEAST_CAPTIONED[0] and size[1] >= LEAST_CAPTIONED[1],
        )
        try:
            prepared = Prepared(scene_file.scene)
            progress.at("checking the cut" if asked.cut else "looking for the tightest cut")
            found = named_cut(prepared, asked.cut) if asked.cut else tightest_cut(prepared)
            progress.at("drawing")
            order = picture_order(prepared, *found, wanted)
        except CutNameFault as error:
            print_error(f"{asked.scene}: {error.message}")
            return ExitStatus.FAULT
        except TightsideError as error:
            from app.cli.output import print_faults
            from app.scenes.origins import fault_of

            print_faults([fault_of(error, file=str(asked.scene))])
            return ExitStatus.FAULT
        (drawn,) = draw_pictures([order])
    if isinstance(drawn, NoPicture):
        print_error(drawn.why)
        return ExitStatus.FAULT
    try:
        asked.out.write_bytes(drawn.png)
    except OSError as error:
        print_error(f"{asked.out}: cannot be written ({error.strerror}); expected a folder that exists")
        return ExitStatus.FAULT
    from app.cli.output import print_picture

    about = f"{size[0]} x {size[1]}, {asked.style}; {order.about}"
    printed(lambda: print_picture(found[2], str(asked.out), about))
    return ExitStatus.CLEAR


def _size(text: str) -> tuple[int, int] | None:
    """Width and height; None where the text is no size."""
    numbers = re.fullmatch(r"(\d{1,5})x(\d{1,5})", text)
    if numbers is None:
        return None
    width, height = int(numbers[1]), int(numbers[2])
    return (width, height) if all(SMALLEST <= n <= LARGEST for n in (width, height)) else None
