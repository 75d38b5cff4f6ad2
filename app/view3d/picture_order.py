"""What a picture is ordered by: plain values that can be handed to another process, and what comes back."""

from __future__ import annotations

from dataclasses import dataclass

from app.view3d.cameras import Camera, Size
from app.view3d.caption import Caption
from app.view3d.gap_mark import GapLabel
from app.view3d.looks import PLAIN, Look
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
    look : how the bodies are drawn.
    """

    scene: DisplayScene
    camera: Camera
    size: Size
    style: Style
    scale: float
    label: GapLabel
    caption: Caption | None = None
    look: Look = PLAIN

    @property
    def about(self) -> str:
        """From where it is seen, in words."""
        return self.look.about


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
