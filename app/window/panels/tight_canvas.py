"""The picture in the tight view: frames of the drawing process, and over them the gap's mark painted by Qt.

1. It draws when something changed, never by itself. While something moves frames are quick, then one is fine.
2. What lies over a frame is laid out for the camera of that frame, so that both always fit each other.
3. Nothing here is computed about clearances; cameras are moved by `view3d/camera_moves.py`.

Shows: a Place (`show_place`). Says: picked(id of a body or empty), camera_moved().
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from PySide6.QtCore import QEasingCurve, QEvent, QPointF, QRectF, Qt, QTimer, QVariantAnimation, Signal, Slot
from PySide6.QtGui import QFocusEvent, QImage, QKeyEvent, QMouseEvent, QPainter, QPaintEvent, QResizeEvent, QWheelEvent
from PySide6.QtWidgets import QStyle, QWidget

from app.view3d.camera_moves import between, holding, nearer, orbited, panned
from app.view3d.cameras import Camera, Size, View, from_where
from app.view3d.drawn import ShellPaint, drawn_bodies, weight_of
from app.view3d.frame_order import Finish
from app.view3d.frame_process import Asked, Frame, FrameProcess, Shown
from app.view3d.gap_mark import Canvas, Cover, Glass, Item, Point, Rect, cover_of, gap_mark, plate_of
from app.view3d.looks import PLAIN, Look
from app.view3d.overlays import Letters, inks_of, paint_items
from app.view3d.places import Place
from app.view3d.styles import PALETTES
from app.window.fonts import FAMILY
from app.window.marks import draw_focus
from app.window.telling_gap import gap_label
from app.window.theme import AT_EDGE, Theme
from app.window.units import Unit
from kinematics.verdict import Verdict

VIEW, GLASS = "view", "glass"
MOTION_MS = 160
REST_MS = 120  # after the last step of a dial
ORBIT_STEP_DEG, PAN_STEP, ZOOM_STEP = 7.5, 40.0, 1.2
DEG_PER_PIXEL = 0.4
CLICK = 4.0  # px: a press that moves less is a click
COARSER = 2  # how many pixels of a frame one spot of its cover stands for, as in view3d/viewport.py


class TightCanvas(QWidget):
    """A place as a picture."""

    picked = Signal(str)
    camera_moved = Signal()
    failed = Signal(str)

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.theme, self.unit = theme, Unit.MM
        self.view = View.ACROSS
        self.place: Place | None = None
        self.camera: Camera | None = None
        self.hidden: frozenset[str] = frozenset()
        self.is_see_through = False
        self.is_stale = False
        self.motion_ms = MOTION_MS
        self.frame: Frame | None = None
        self.items: tuple[Item, ...] = ()
        self._picked = ""
        self._is_moved = False  # the user took the camera from where the view puts it
        self._glasses: dict[Glass, QImage] = {}
        self._glass_wanted: Glass | None = None
        self._glass_camera: Camera | None = None
        self._glass_of: tuple[Glass, Frame] | None = None  # what has been asked for
        self._keep: Point | None = None
        self._reserved: tuple[Rect, ...] = ()
        self._taken: Cover = _nothing
        self._press: tuple[QPointF, QPointF] | None = None  # where it began, where it was last
        self._standpoints: Place | None = None  # the last place that came with standpoints
        self._letters = Letters(FAMILY)
        self._process = FrameProcess(self)
        self._process.drawn.connect(self._take)
        self._process.failed.connect(self.failed)
        self._rest = QTimer(self, singleShot=True, interval=REST_MS)
        self._rest.timeout.connect(self._rested)
        self._animation = QVariantAnimation(self)
        self._animation.setStartValue(0.0)
        self._animation.setEndValue(1.0)
        self._animation.setEasingCurve(QEasingCurve.Type.OutCubic)
        self._animation.valueChanged.connect(self._on_the_way)
        self._animation.finished.connect(self._arrived)
        self._way: tuple[Camera, Camera] | None = None
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setAttribute(Qt.WidgetAttribute.WA_OpaquePaintEvent)
        self.setAccessibleName("tight view")

    def shut_down(self) -> None:
        """End the drawing process. Nothing is drawn after that."""
        self._animation.stop()
        self._process.close()

    @property
    def process(self) -> FrameProcess:
        return self._process

    # ---- what is shown -----------------------------------------------------------------------

    def show_place(self, place: Place) -> None:
        """Show a place. One of the same cut keeps the camera where the user took it; one without standpoints always."""
        before, self.place = self.place, place
        if place.standpoints:
            self._standpoints = place
        is_other = before is None or before.key != place.key or (before.shell is None) != (place.shell is None)
        self._process.add(place.meshes)
        if is_other:
            self._keep, self._picked, self._is_moved = None, self._picked if before else "", False
        self.is_stale = False
        if self.camera is None or (place.standpoints and not self._is_moved):
            self._go_to(self._camera_of(self.view))
        self._show_bodies()

    def show_nothing(self) -> None:
        """Forget the place."""
        self._animation.stop()
        self.place = self.frame = self.camera = self._standpoints = None
        self.items = ()
        self._process.drop(VIEW)
        self._process.drop(GLASS)
        self.update()

    def mark_stale(self) -> None:
        """The numbers are of the scene before the last change."""
        if not self.is_stale:
            self.is_stale = True
            self._lay_out()

    def set_theme(self, theme: Theme) -> None:
        """Another look."""
        self.theme = theme
        self._glasses.clear()
        self._show_bodies()
        self.update()

    def set_unit(self, unit: Unit) -> None:
        """Lengths in another unit."""
        self.unit = unit
        self._lay_out()

    def set_reserved(self, widgets: tuple[QWidget, ...]) -> None:
        """Labels keep off these widgets, which lie over the picture."""
        up = float(self.height())
        boxes = [w.geometry() for w in widgets]
        reserved = tuple(Rect(b.left(), up - b.bottom(), b.right(), up - b.top()) for b in boxes)
        if reserved != self._reserved:
            self._reserved = reserved
            self._lay_out()

    def set_hidden(self, hidden: frozenset[str]) -> None:
        """Leave these bodies out."""
        self.hidden = hidden
        self._show_bodies()

    def set_see_through(self, *, is_on: bool) -> None:
        """Whether one sees through the part."""
        self.is_see_through = is_on
        self._show_bodies()

    @property
    def picked_id(self) -> str:
        """Of the body that is picked; empty where none is."""
        shown = {body.id for body in self.place.bodies} if self.place else set()
        return self._picked if self._picked in shown else ""

    def pick(self, body: str) -> None:
        """Pick a body by its id; none where it is empty."""
        if body != self._picked:
            self._picked = body
            self._show_bodies()
            self.picked.emit(body)

    # ---- where it is seen from ---------------------------------------------------------------

    def look_from(self, view: View) -> None:
        """Go to where a view puts the camera."""
        self.view = view
        self._is_moved = False
        if self.place is not None:
            self._keep = None
            self._go_to(self._camera_of(view))
            self._show_bodies()

    def fit(self) -> None:
        """The whole set-up, in the direction in which it is seen."""
        if self.camera is None or self._standpoints is None:
            return
        points = self._standpoints.standpoints[View.DOOR].aim.seen_W
        assert points is not None, "a picture through the door says what it holds"
        self._moved(holding(self.camera, points, self._size()), is_far=True)

    def orbit(self, right_deg: float, up_deg: float) -> None:
        """Go round the gap."""
        if self.camera is not None and self.place is not None:
            self._moved(orbited(self.camera, self.place.middle_W, right_deg, up_deg))

    def pan(self, dx: float, dy: float) -> None:
        """Move what is seen by pixels, right and up."""
        if self.camera is not None:
            self._moved(panned(self.camera, dx, dy, self._size()))

    def zoom(self, by: float, at: Point | None = None) -> None:
        """Everything so many times as large, about a point in pixels from the lower left corner, or the middle."""
        if self.camera is not None:
            size = self._size()
            self._moved(nearer(self.camera, by, at or (size[0] / 2, size[1] / 2), size))

    @property
    def about(self) -> str:
        """From where it is seen, in words."""
        if self.camera is None or self.place is None:
            return ""
        if not self._is_moved and self._look() is not PLAIN:
            return self._look().about
        return from_where(self.camera, self.place.operator)

    def _camera_of(self, view: View) -> Camera:
        assert self._standpoints is not None, "the first place of a cut comes with its standpoints"
        standpoints = self._standpoints.standpoints
        return standpoints[view if view in standpoints else View.ACROSS].aim.camera(self._size())

    def _look(self) -> Look:
        """How bodies are drawn: as the view says; where the user looks from elsewhere nothing is left out for it."""
        if self._standpoints is None or self.place is None or self._standpoints.key != self.place.key:
            return PLAIN
        standpoint = self._standpoints.standpoints.get(self.view)
        if standpoint is None:
            return PLAIN
        return replace(standpoint.look, outlined=frozenset(), ghosts=frozenset()) if self._is_moved else standpoint.look

    def _size(self) -> Size:
        return max(1, self.width()), max(1, self.height())

    def _moved(self, camera: Camera, *, is_far: bool = False) -> None:
        """The user moved the camera."""
        self._animation.stop()
        first = not self._is_moved
        self._is_moved = True
        if is_far:
            self._go_to(camera)
        else:
            self.camera = camera
        if first:
            self._show_bodies()
        elif not is_far:
            self._ask(Finish.QUICK)
        self.camera_moved.emit()

    def _go_to(self, camera: Camera) -> None:
        """Go there in a short while, or at once where there is no way or motion is not wanted."""
        self._animation.stop()
        is_still = self.style().styleHint(QStyle.StyleHint.SH_Widget_Animation_Duration, None, self) == 0
        if self.camera is None or self.frame is None or is_still or self.motion_ms == 0 or not self.isVisible():
            self.camera = camera
            return
        if camera == self.camera:
            return
        self._way = self.camera, camera
        self._animation.setDuration(self.motion_ms)
        self._animation.start()

    @Slot(object)
    def _on_the_way(self, share: float) -> None:
        if self._way is not None:
            self.camera = between(*self._way, float(share))
            self._ask(Finish.QUICK)

    @Slot()
    def _arrived(self) -> None:
        if self._way is not None:
            self.camera, self._way = self._way[1], None
            self._ask(Finish.FINE)
            self.camera_moved.emit()

    # ---- frames ------------------------------------------------------------------------------

    def _show_bodies(self) -> None:
        """Hand the bodies to the drawing process and ask for a frame."""
        if self.place is None:
            return
        palette = PALETTES[self.theme.palette.style]
        through = self.place.workpieces if self.is_see_through else frozenset()
        bodies = drawn_bodies(
            self.place.bodies, self._look(), palette, hidden=self.hidden, through=through, picked=self.picked_id or None
        )
        paint = ShellPaint(palette.ink, palette.quiet)
        shown = Shown(bodies, palette.ground, palette.ink, self.devicePixelRatioF(), self.place.shell, paint)
        self._process.show(shown)
        self._ask(Finish.QUICK)

    def _ask(self, finish: Finish) -> None:
        if self.camera is None or self.place is None or not self.isVisible():
            return
        ratio = self.devicePixelRatioF()
        size = (max(1, round(self.width() * ratio)), max(1, round(self.height() * ratio)))
        self._rest.stop()
        self._process.drop(GLASS)
        self._process.ask(Asked(VIEW, self.camera, size, finish))

    @Slot()
    def _rested(self) -> None:
        self._ask(Finish.FINE)

    @property
    def is_settled(self) -> bool:
        """Whether the fine frame of what is shown is there, with its glass."""
        return (
            self._process.is_idle
            and self._way is None
            and self.frame is not None
            and self.frame.asked.finish is Finish.FINE
        )

    @Slot(object)
    def _take(self, frame: Frame) -> None:
        if self.place is None:
            return
        if frame.asked.purpose == GLASS:
            if self._glass_wanted is not None and frame.asked.camera == self._glass_camera:
                self._glasses = {self._glass_wanted: frame.image}
                self.update()
            return
        self.frame = frame
        if frame.body is not None:
            roles = {body.id: body.role for body in self.place.bodies}
            weights = np.array([0.0, *(weight_of(roles[i]) if i in roles else 0.0 for i in frame.ids)])
            known = np.minimum(frame.body, len(weights) - 1)
            self._taken = cover_of(weights[known], COARSER / self.devicePixelRatioF())
        self._lay_out()
        is_last = self._way is None and self._press is None and not self._process.awaits(VIEW)
        if frame.asked.finish is Finish.QUICK and is_last:
            if self.place.standpoints:
                self._ask(Finish.FINE)
            else:  # it follows a dial: the next step may come before a fine frame is drawn
                self._rest.start()

    def _lay_out(self) -> None:
        """Place the gap's mark over the frame."""
        self.update()
        frame, place = self.frame, self.place
        if frame is None or place is None:
            return
        self.items, self._glass_wanted = (), None
        if place.gap is None or place.told is None:
            return
        size = self._size()
        camera = frame.asked.camera
        a, b = (tuple(float(v) for v in p) for p in camera.pixels(np.array(place.gap.ends_W), size))
        if not _is_in(a, size) and not _is_in(b, size):
            return
        look = self._look()
        hidden_by = look.hidden_by if self.view is View.DOOR and not self._is_moved else None
        label = gap_label(place.told, place.verdict, self.unit, hidden_by=hidden_by, is_stale=self.is_stale)
        is_fine = frame.asked.finish is Finish.FINE
        canvas = Canvas(
            float(size[0]), float(size[1]), 1.0, self._letters.measure, self._taken, self._keep, self._reserved
        )
        true_length = float(np.linalg.norm(np.subtract(*place.gap.ends_W))) * size[1] / camera.height
        self.items = gap_mark(
            ((a[0], a[1]), (b[0], b[1])),
            true_length,
            label,
            canvas,
            is_overlap=place.gap.is_overlap,
            with_glass=is_fine and not look.is_gap_hidden,
        )
        plate = plate_of(self.items)
        if plate is not None and is_fine:
            self._keep = plate.centre
        glass = next((item for item in self.items if isinstance(item, Glass)), None)
        self._glass_wanted = glass
        if glass is not None and self._glass_of != (glass, frame):
            self._glass_of = glass, frame
            side = 2 * round(glass.radius * self.devicePixelRatioF())
            shown = camera.zoomed(glass.zoom * size[1] / (2.0 * glass.radius), place.middle_W)
            self._glass_camera = shown
            self._process.ask(Asked(GLASS, shown, (side, side), Finish.SMOOTH))

    # ---- painting ----------------------------------------------------------------------------

    def paintEvent(self, event: QPaintEvent) -> None:
        painter = QPainter(self)
        palette = PALETTES[self.theme.palette.style]
        painter.fillRect(event.rect(), self.theme.palette.ground)
        if self.frame is not None:
            painter.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform)
            painter.drawImage(QRectF(self.rect()), self.frame.image)
            verdict = self.place.verdict if self.place else Verdict.NOT_CHECKED
            inks = inks_of(palette, verdict, is_stale=self.is_stale)
            paint_items(painter, self.items, inks, self._letters, float(self.height()), self._glasses)
        if self.hasFocus():
            draw_focus(painter, QRectF(self.rect()), self.theme.palette)
        painter.end()

    def resizeEvent(self, _event: QResizeEvent) -> None:
        if self.place is not None and not self._is_moved and self._standpoints is not None:
            self._animation.stop()
            self._way = None
            self.camera = self._camera_of(self.view)
        self._keep = None
        self._ask(Finish.QUICK)

    def event(self, event: QEvent) -> bool:
        if event.type() in (QEvent.Type.Show, QEvent.Type.DevicePixelRatioChange):
            self._show_bodies()
        return super().event(event)

    def focusInEvent(self, event: QFocusEvent) -> None:
        self.update()
        super().focusInEvent(event)

    def focusOutEvent(self, event: QFocusEvent) -> None:
        self.update()
        super().focusOutEvent(event)

    # ---- mouse and keys ----------------------------------------------------------------------

    def mousePressEvent(self, event: QMouseEvent) -> None:
        self.setFocus(Qt.FocusReason.MouseFocusReason)
        self._press = event.position(), event.position()

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        if self._press is None:
            return
        began, last = self._press
        now = event.position()
        if (now - began).manhattanLength() < CLICK and last == began:
            return
        self._press = began, now
        dx, dy = now.x() - last.x(), now.y() - last.y()
        keys = event.modifiers() & (Qt.KeyboardModifier.ShiftModifier | Qt.KeyboardModifier.ControlModifier)
        if event.buttons() & Qt.MouseButton.LeftButton and not keys:
            self.orbit(-DEG_PER_PIXEL * dx, DEG_PER_PIXEL * dy)
        else:
            self.pan(dx, -dy)

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        if self._press is None:
            return
        began, last = self._press
        self._press = None
        if last == began:
            if event.button() is Qt.MouseButton.LeftButton:
                self.pick(self.body_at(event.position()))
        else:
            self._ask(Finish.FINE)

    def mouseDoubleClickEvent(self, _event: QMouseEvent) -> None:
        self.look_from(self.view)
        self.camera_moved.emit()

    def wheelEvent(self, event: QWheelEvent) -> None:
        at = event.position()
        self.zoom(ZOOM_STEP ** (event.angleDelta().y() / 120.0), (at.x(), self.height() - at.y()))
        event.accept()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        steps = {Qt.Key.Key_Left: (-1, 0), Qt.Key.Key_Right: (1, 0), Qt.Key.Key_Up: (0, 1), Qt.Key.Key_Down: (0, -1)}
        key = Qt.Key(event.key())
        if key in steps:
            x, y = steps[key]
            if event.modifiers() & Qt.KeyboardModifier.ControlModifier:
                self.pan(-x * PAN_STEP, -y * PAN_STEP)
            else:
                self.orbit(x * ORBIT_STEP_DEG, y * ORBIT_STEP_DEG)
        elif key in (Qt.Key.Key_Plus, Qt.Key.Key_Equal):
            self.zoom(ZOOM_STEP)
        elif key in (Qt.Key.Key_Minus, Qt.Key.Key_Underscore):
            self.zoom(1.0 / ZOOM_STEP)
        else:
            super().keyPressEvent(event)

    def body_at(self, at: QPointF) -> str:
        """The id of the body that is seen at a point of the widget; empty where there is none."""
        frame = self.frame
        if frame is None or frame.body is None:
            return ""
        rows, columns = frame.body.shape
        x = min(max(int(at.x() / self.width() * columns), 0), columns - 1)
        y = min(max(int((self.height() - at.y()) / self.height() * rows), 0), rows - 1)
        place = int(frame.body[y, x])
        return frame.ids[place - 1] if 0 < place <= len(frame.ids) else ""


def _nothing(_: Rect) -> float:
    return 0.0


def _is_in(p: tuple[float, ...], size: Size) -> bool:
    return -AT_EDGE <= p[0] <= size[0] + AT_EDGE and -AT_EDGE <= p[1] <= size[1] + AT_EDGE
