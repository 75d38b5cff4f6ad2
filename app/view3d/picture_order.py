"""What a picture is ordered by: plain values that can be handed to another process, and what comes back."""

from __future__ import annotations

from dataclasses import dataclass

from app.view3d.cameras import Camera, Size
from app.view3d.caption import Caption
from app.view3d.gap_mark import GapLabel
from app.view3d.scene_meshes import DisplayScene
from app.view3d.styles import Style


@dataclass(frozen=True, slots=True, eq=False)
class PictureOrder:
    """One picture to draw.

    Parameters
    ----------
    size : of the whole picture in pixels, with the caption's strip.
    scale : pixels of the picture for one of the design.
    label : None draws the jaws alone.
    is_gap_hidden : bodies stand before the gap; the edges of the pair are drawn over them.
    outlined : names of bodies of which only the edges are drawn, since they stand before the gap.
    ghosts : names of bodies of the pair that are drawn so that one sees through them.
    pale : names of bodies that recede further than their role does.
    about : from where it is seen, in words.
    """

    scene: DisplayScene
    camera: Camera
    size: Size
    style: Style
    scale: float
    label: GapLabel
    caption: Caption | None = None
    is_gap_hidden: bool = False
    outlined: frozenset[str] = frozenset()
    ghosts: frozenset[str] = frozenset()
    pale: frozenset[str] = frozenset()
    about: str = ""


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture as a PNG file. `gap_px`: the ends of the gap in it, from the lower left corner; None without a gap."""

    png: bytes
    size: Size
    gap_px: tuple[tuple[float, float], tuple[float, float]] | None


@dataclass(frozen=True, slots=True)
class NoPicture:
    """That no picture could be drawn, and why, as a sentence."""

    why: str
