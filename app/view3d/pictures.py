"""Pictures of cuts as PNG, drawn without a window in a process of its own. The door for everyone who wants one.

1. Nothing here imports the graphics library: where it cannot run it ends its process, and that process is not
   this one. The caller gets `NoPicture` with the reason and goes on.
2. Many pictures in one call share the time that starting takes.
3. A picture says what the report says, in the same words and numbers; it decides nothing.
"""

from __future__ import annotations

import io
import os
import pickle
import re
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from app.jobs.results import CutResult
from app.jobs.words import MINUS, name_of, nearest_bodies, proven, sentence, side_phrase, spare_text, verdict_word
from app.view3d.cameras import Size, View, camera
from app.view3d.caption import STRIP, Caption
from app.view3d.gap_mark import GapLabel
from app.view3d.looks import Look, look_of
from app.view3d.picture_order import NoPicture, Picture, PictureOrder
from app.view3d.scene_meshes import DisplayScene, MeshCache, display_scene
from app.view3d.styles import Style
from kinematics.report import CutReport, PairReport
from kinematics.scene import Cut, Orientation

if TYPE_CHECKING:
    from kinematics.prepared import Prepared

__all__ = [
    "CARD", "NoPicture", "Picture", "PictureOrder", "Style", "Units", "View", "Wanted",
    "draw_pictures", "length_text", "picture_order",
]  # fmt: skip

Units = Literal["mm", "inch"]

MM_PER_INCH = 25.4  # exactly, by the international yard and pound agreement of 1959
START_SECONDS, PICTURE_SECONDS = 60.0, 60.0  # what starting and one picture may take at most
CAN_NOT = "no picture can be drawn here"
WINDOW_VARIABLE = "VTK_DEFAULT_OPENGL_WINDOW"  # which of its windows the graphics library takes; ours first
DRAWING = ("-m", "app.view3d.drawing")
ROOT = Path(__file__).parents[2]


@dataclass(frozen=True, slots=True)
class Wanted:
    """What somebody wants to see of a cut.

    Parameters
    ----------
    scale : pixels of the picture for one of the design: how thick lines are and how large letters.
    closer : how many times larger than usual things are shown; for small pictures.
    """

    view: View = View.ACROSS
    size: Size = (1200, 900)
    style: Style = Style.LIGHT
    units: Units = "mm"
    scale: float = 1.0
    closer: float = 1.0
    with_caption: bool = True


CARD = Wanted(size=(120, 74), scale=0.5, closer=1.5, with_caption=False)  # the picture on a card of the tight board


def picture_order(
    prepared: Prepared,
    orientation: Orientation,
    cut: Cut,
    result: CutResult,
    wanted: Wanted,
    meshes: MeshCache | None = None,
) -> PictureOrder:
    """The order for one picture of a cut.

    Raises
    ------
    FeatureError, ToolError : the cut can't be made with its tool, so there is no place to show.
    """
    report = result if isinstance(result, CutReport) else None
    scene = display_scene(prepared, orientation, cut, report, meshes)
    width, height = wanted.size
    room = (width, max(1, height - (round(STRIP * wanted.scale) if wanted.with_caption else 0)))
    seen = camera(wanted.view, scene, room)
    if wanted.closer != 1.0:
        seen = seen.zoomed(wanted.closer, scene.middle_W)
    look = look_of(wanted.view, scene, seen, report=report)
    return PictureOrder(
        scene=scene,
        camera=seen,
        size=wanted.size,
        style=wanted.style,
        scale=wanted.scale,
        label=gap_label(result, wanted.units, look.hidden_by),
        caption=_caption(result, scene, look) if wanted.with_caption else None,
        look=look,
    )


def draw_pictures(orders: Sequence[PictureOrder]) -> tuple[Picture | NoPicture, ...]:
    """The pictures, in order, drawn by one process of their own; what could not be drawn says why."""
    if not orders:
        return ()
    command = [sys.executable, *DRAWING]
    answers, why = b"", ""
    try:
        done = subprocess.run(
            command,
            input=pickle.dumps(list(orders)),
            capture_output=True,
            env=drawing_environment(),
            timeout=START_SECONDS + PICTURE_SECONDS * len(orders),
            check=False,
        )
        answers, why = done.stdout, reason_of(done.returncode, done.stderr)
    except subprocess.TimeoutExpired as late:
        answers, why = late.stdout or b"", f"drawing took more than {late.timeout:.0f} s"
    except OSError as error:
        why = f"the drawing process could not be started ({error.strerror})"
    drawn = _unpacked(answers)
    rest = len(orders) - len(drawn)
    return (*drawn, *(NoPicture(f"{CAN_NOT}: {why}") for _ in range(rest)))


def drawing_environment() -> dict[str, str]:
    """What a drawing process is started in."""
    environment = {**_own_window(), **os.environ}
    environment["PYTHONPATH"] = os.pathsep.join([str(ROOT), *filter(None, [os.environ.get("PYTHONPATH")])])
    return environment


def _own_window() -> dict[str, str]:
    """On Linux without a display, the graphics library's window that needs none; else it chooses."""
    if sys.platform.startswith("linux") and not os.environ.get("DISPLAY"):
        return {WINDOW_VARIABLE: "vtkEGLRenderWindow"}
    return {}


def reason_of(status: int, said: bytes) -> str:
    """Why the drawing process gave no picture, from how it ended and the last line that it said."""
    text = re.sub(r"\x1b\[[0-9;]*m", "", said.decode("utf-8", "replace"))  # colours of a terminal
    lines = [line.rpartition("| ")[2].strip() for line in text.splitlines() if line.strip()]
    last = f" ({lines[-1][:120]})" if lines else ""
    if status < 0:
        return f"the graphics library ended the drawing process; are OpenGL libraries installed?{last}"
    return f"the drawing process ended with status {status}{last}"


def _unpacked(answers: bytes) -> list[Picture]:
    """The whole pictures among the answers."""
    found: list[Picture] = []
    stream = io.BytesIO(answers)
    while stream.tell() < len(answers):
        try:
            found.append(pickle.load(stream))
        except (EOFError, pickle.UnpicklingError):  # cut off where the process ended
            break
    return found


# --- what is written ----------------------------------------------------------------------------


def length_text(value: float, units: Units) -> str:
    """A length with its unit, as a person reads it."""
    return f"{proven(value)} mm" if units == "mm" else f"{proven(value / MM_PER_INCH, 4)} in"


def gap_label(result: CutResult, units: Units, hidden_by: str | None) -> GapLabel:
    """What stands beside the gap of a cut: its clearance, its spare, between which two."""
    pair = result.worst if isinstance(result, CutReport) else None
    if pair is None:
        return GapLabel("?", (), result.verdict)
    lines = [line for line in (_spare_line(pair, units), _pair_line(result, pair)) if line]
    if hidden_by is not None:
        lines.append(f"hidden from the door by {hidden_by}")
    return GapLabel(_number_line(pair, units), tuple(lines), result.verdict)


def _number_line(pair: PairReport, units: Units) -> str:
    if pair.clearance is None:
        return pair.contact or "?"
    if pair.clearance.value < 0.0:
        return f"overlap {length_text(-pair.clearance.value, units)}"
    return length_text(pair.clearance.at_least, units)


def _spare_line(pair: PairReport, units: Units) -> str:
    if pair.spare is None:
        return ""
    spare = spare_text(pair.spare, pair.keep_off) if units == "mm" else proven(pair.spare / MM_PER_INCH, 4)
    return f"{spare} spare"


def _pair_line(result: CutResult, pair: PairReport) -> str:
    bodies = nearest_bodies(result, pair) if isinstance(result, CutReport) else pair.between[1]
    return f"{pair.between[0]} to {bodies}"


def _caption(result: CutResult, scene: DisplayScene, look: Look) -> Caption:
    angles = ", ".join(f"{name} {angle:g}".replace("-", MINUS) for name, angle in result.angles_deg)
    title = f"{name_of(result)}, {result.tool} in {result.holder}" + (f", {angles}" if angles else "")
    where = side_phrase(result)
    texts = [f"{text[:1].upper()}{text[1:]}." for text in (where, look.about) if text]
    if scene.gap is None:  # there is no label to say it
        said = sentence(result)
        texts.insert(0, f"{said[:1].upper()}{said[1:]}")
    texts += [f"{b.name} is drawn with fewer triangles, {b.mesh.off_by:.2f} mm off at most." for b in scene.reduced]
    return Caption(result.verdict, verdict_word(result), title, " ".join(texts))
