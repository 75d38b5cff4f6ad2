"""What the window asks its drawing process for, and what comes back. Plain values, sent as length and pickle.

Pixels do not travel in a message: they are written to a file that both have mapped, four bytes each (red, green,
blue, unused), the uppermost row first; behind them, where it was asked for, what the pixels show.
"""

from __future__ import annotations

import pickle
import struct
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from app.view3d.cameras import Camera, Size
from app.view3d.display_meshes import DisplayMesh
from app.view3d.drawn import DrawnBody, Shell, ShellPaint

LENGTH = struct.Struct("<Q")


class Finish(StrEnum):
    """How much care a frame is drawn with."""

    QUICK = "as it is, while something moves"
    FINE = "smooth, with shade, and what each pixel shows"
    SMOOTH = "smooth"


@dataclass(frozen=True, slots=True, eq=False)
class SceneOrder:
    """Show these bodies from now on.

    Parameters
    ----------
    meshes : those that the drawing process does not have. `forget` : keys of those that it may let go of.
    ground, over : colours of what is behind, and of edges that go over everything.
    scale : pixels for one of the design.
    """

    bodies: tuple[DrawnBody, ...]
    meshes: Mapping[str, DisplayMesh]
    forget: frozenset[str]
    ground: str
    over: str
    scale: float
    shell: Shell | None
    shell_paint: ShellPaint


@dataclass(frozen=True, slots=True, eq=False)
class FrameOrder:
    """Draw a frame into a file that is large enough; `number` comes back with it."""

    number: int
    camera: Camera
    size: Size
    finish: Finish
    path: str


@dataclass(frozen=True, slots=True)
class FrameDone:
    """A frame has been drawn.

    Parameters
    ----------
    cover : columns and rows of what the pixels show, behind the pixels; None where that was not asked for. Each is
        two bytes: the place of a body in `ids` plus 1, or 0.
    n_made : how many bodies have been made since the process started.
    """

    number: int
    cover: Size | None
    ids: tuple[str, ...]
    n_made: int


def packed(message: object) -> bytes:
    """A message as it is sent."""
    body = pickle.dumps(message, protocol=pickle.HIGHEST_PROTOCOL)
    return LENGTH.pack(len(body)) + body


def room_for(size: Size) -> int:
    """How many bytes a frame needs at most in its file."""
    return size[0] * size[1] * 4 + (size[0] * size[1] * 2)
