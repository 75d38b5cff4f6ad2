"""Pictures for the cards of the tight board: each cut across its tightest gap, small, as they are ready.

1. They are drawn one after the other by a drawing process of their own, so that the tight view never waits for them.
2. The gap is painted over them as in the tight view, without a label: that is the card's own text.
3. A picture that nobody wants any more is left out. Nothing is drawn until something is wanted.

Shows: places by cut (`want`). Says: ready(key, image), failed(why).
"""

from __future__ import annotations

import numpy as np
from PySide6.QtCore import QObject, Signal, Slot
from PySide6.QtGui import QImage, QPainter

from app.view3d.cameras import Camera, Size, View
from app.view3d.drawn import ShellPaint, drawn_bodies
from app.view3d.frame_order import Finish
from app.view3d.frame_process import Asked, Frame, FrameProcess, Shown
from app.view3d.gap_mark import Canvas, GapLabel, gap_mark
from app.view3d.overlays import Letters, inks_of, paint_items
from app.view3d.places import Place
from app.view3d.styles import PALETTES
from app.window.answers import CutKey
from app.window.fonts import FAMILY
from app.window.theme import Theme

SIZE: Size = (120, 74)
SCALE = 0.55  # of lines and jaws, against those of the tight view
CLOSER, CLOSEST = 1.5, 5.0  # than the tight view
LEAST_GAP = 9.0  # px that a gap should have


class CardPictures(QObject):
    """Draws the pictures of cuts."""

    ready = Signal(object, QImage)
    failed = Signal(str)

    def __init__(self, theme: Theme, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._theme, self._ratio = theme, 1.0
        self._places: dict[CutKey, Place] = {}
        self._waiting: dict[CutKey, None] = {}
        self._under_way: CutKey | None = None
        self._letters = Letters(FAMILY)
        self._process = FrameProcess(self)
        self._process.drawn.connect(self._take)
        self._process.failed.connect(self.failed)

    def want(self, key: CutKey, place: Place) -> None:
        """Draw a cut; `place` came with its standpoint across the gap."""
        assert View.ACROSS in place.standpoints, "a card is aimed across the gap"
        self._places[key] = place
        self._waiting[key] = None
        self._next()

    def forget(self) -> None:
        """Another set-up: none of the cuts is there any more."""
        self._places.clear()
        self._waiting.clear()

    def set_theme(self, theme: Theme) -> None:
        """Another look: all are drawn anew."""
        self._theme = theme
        self._again()

    def set_ratio(self, ratio: float) -> None:
        """How many pixels of the screen stand for one of the design."""
        if ratio != self._ratio:
            self._ratio = ratio
            self._again()

    def shut_down(self) -> None:
        """End the drawing process."""
        self._process.close()

    @property
    def process(self) -> FrameProcess:
        return self._process

    @property
    def is_idle(self) -> bool:
        return not self._waiting and self._under_way is None

    def _again(self) -> None:
        self._waiting.update(dict.fromkeys(self._places))
        self._next()

    def _next(self) -> None:
        if self._under_way is not None or not self._waiting:
            return
        key = self._under_way = next(iter(self._waiting))
        del self._waiting[key]
        place = self._places[key]
        palette = PALETTES[self._theme.palette.style]
        bodies = drawn_bodies(place.bodies, place.standpoints[View.ACROSS].look, palette)
        paint = ShellPaint(palette.ink, palette.quiet)
        self._process.add(place.meshes)
        self._process.show(Shown(bodies, palette.ground, palette.ink, SCALE * self._ratio, None, paint))
        size = (round(SIZE[0] * self._ratio), round(SIZE[1] * self._ratio))
        self._process.ask(Asked("card", card_camera(place), size, Finish.FINE))

    @Slot(object)
    def _take(self, frame: Frame) -> None:
        key, self._under_way = self._under_way, None
        place = self._places.get(key) if key is not None else None
        if place is not None and key not in self._waiting:
            self._paint_gap(frame, place)
            self.ready.emit(key, frame.image)
        self._next()

    def _paint_gap(self, frame: Frame, place: Place) -> None:
        frame.image.setDevicePixelRatio(self._ratio)
        if place.gap is None:
            return
        a, b = frame.asked.camera.pixels(np.array(place.gap.ends_W), SIZE).tolist()
        canvas = Canvas(float(SIZE[0]), float(SIZE[1]), SCALE, self._letters.measure, lambda _: 0.0)
        label = GapLabel("", (), place.verdict)
        ends = ((a[0], a[1]), (b[0], b[1]))
        items = gap_mark(ends, 0.0, label, canvas, is_overlap=place.gap.is_overlap, with_glass=False)
        palette = PALETTES[self._theme.palette.style]
        painter = QPainter(frame.image)
        inks = inks_of(palette, place.verdict, is_stale=False)
        paint_items(painter, items, inks, self._letters, float(SIZE[1]), {})
        painter.end()


def card_camera(place: Place) -> Camera:
    """Across the gap, closer than the tight view, so close that the gap can be seen."""
    camera = place.standpoints[View.ACROSS].aim.camera(SIZE)
    closer = CLOSER
    if place.gap is not None:
        length = float(np.linalg.norm(np.subtract(*place.gap.ends_W))) * SIZE[1] / camera.height
        if length > 0.0:
            closer = min(CLOSEST, max(CLOSER, LEAST_GAP / length))
    return camera.zoomed(closer, place.middle_W)
