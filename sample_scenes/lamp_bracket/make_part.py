"""Model the lamp bracket of this scene and write its two STEP files beside this script.

Run by hand when the part is changed; the program never runs it. It needs build123d, a modelling library that
is not among the dependencies of the project. Lengths in mm, in the frame of part zero P: the origin is the
centre of the boss's top, Z up.
"""

from __future__ import annotations

import math
import re
from pathlib import Path

from build123d import (
    Align,
    Axis,
    Box,
    Cylinder,
    Part,
    Plane,
    Pos,
    RectangleRounded,
    chamfer,
    export_step,
    extrude,
    fillet,
)

HERE = Path(__file__).parent
LENGTH, WIDTH, HEIGHT = 52.0, 36.0, 44.0  # X, Y and Z of the finished bracket
BOSS_LENGTH, BOSS_WIDTH, BOSS_HEIGHT = 34.0, 28.0, 6.0
TOP = (Align.CENTER, Align.CENTER, Align.MAX)


def pocket(plane: Plane, length: float, width: float, depth: float, corner: float) -> Part:
    """What a pocket takes away: `plane` lies in its opening, its normal points out of the part."""
    return extrude(plane * RectangleRounded(length, width, corner), amount=-depth)


def hole(plane: Plane, d: float, depth: float) -> Part:
    """What a drill takes away below the origin of `plane`; it begins 3 mm outside to cut through a slope."""
    return plane * Pos(0, 0, 3) * Cylinder(d / 2, depth + 3, align=TOP)


def blank() -> Part:
    """After the outline and the boss were milled from the top."""
    body = Pos(0, 0, -BOSS_HEIGHT) * Box(LENGTH, WIDTH, HEIGHT - BOSS_HEIGHT, align=TOP)
    body = fillet(body.edges().filter_by(Axis.Z), 4)
    boss = Box(BOSS_LENGTH, BOSS_WIDTH, BOSS_HEIGHT, align=TOP)
    boss = fillet(boss.edges().filter_by(Axis.Z), 2.5)
    return body + boss


def finished() -> Part:
    """The bracket with its socket, window, recess, groove, bevel, drip edge and holes."""
    part = blank()
    part -= pocket(Plane.XY, 18, 18, 12, 4)  # lamp socket
    part -= hole(Plane((0, 0, -12)), 8, 22)  # cable well below the socket
    for x, y in ((21, 13), (-21, 13), (-21, -13), (21, -13)):
        part -= hole(Plane((x, y, -BOSS_HEIGHT)), 4.2, 14)  # flange screws
    part -= pocket(Plane((0, WIDTH / 2, -20), x_dir=(1, 0, 0), z_dir=(0, 1, 0)), 28, 16, 4, 4)  # window
    part -= pocket(Plane((LENGTH / 2, 0, -20), x_dir=(0, 1, 0), z_dir=(1, 0, 0)), 22, 18, 4, 4)  # name plate recess
    part -= pocket(Plane((0, -WIDTH / 2, -25), x_dir=(1, 0, 0), z_dir=(0, -1, 0)), 6, 30, 4, 2.99)  # cable groove
    slope = math.sqrt(0.5)
    part -= Plane((-23, 0, -6), x_dir=(0, 1, 0), z_dir=(-slope, 0, slope)) * Box(
        60, 30, 20, align=(*TOP[:2], Align.MIN)
    )
    part -= hole(Plane((-24.5, 0, -7.5), z_dir=(-slope, 0, slope)), 4.2, 10)  # shade pin, in the bevel
    fifteen, twenty = math.radians(15), math.radians(20)
    part -= hole(Plane((0, WIDTH / 2, -37), z_dir=(0, math.cos(fifteen), -math.sin(fifteen))), 4.2, 17)  # weep hole
    under = Plane((26, 0, -34), x_dir=(0, 1, 0), z_dir=(math.cos(twenty), 0, -math.sin(twenty)))
    part -= under * Box(60, 40, 20, align=(*TOP[:2], Align.MIN))  # drip edge
    rim = part.faces().sort_by(Axis.Z)[-1].outer_wire().edges()
    return chamfer(rim, 1)


def write_neutral_step(part: Part, path: Path, name: str) -> None:
    """Write the part as STEP and put neutral words into the header and the product entry."""
    part.label = name
    export_step(part, str(path))
    text = path.read_text(encoding="utf-8")
    text = re.sub(r"FILE_DESCRIPTION\(.*?\);", f"FILE_DESCRIPTION(('{name}'),'2;1');", text, count=1, flags=re.DOTALL)
    text = re.sub(
        r"FILE_NAME\(.*?\);",
        f"FILE_NAME('{path.name}','2024-01-01T00:00:00',(''),(''),'','','');",
        text,
        count=1,
        flags=re.DOTALL,
    )
    path.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    write_neutral_step(blank(), HERE / "lamp_bracket_blank.step", "lamp bracket blank")
    write_neutral_step(finished(), HERE / "lamp_bracket.step", "lamp bracket")
