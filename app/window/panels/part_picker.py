"""The part as a drawing that can be turned and pointed at: a click says where on its surface, and how that looks.

Shows: a part (`show_part`), what was pointed at (`mark`), a sentence over it (`show_words`).
Says: pointed(point, normal), in the part's coordinates (the middle of its top is the origin); hovered the same.
Painted facet by facet, the furthest first; with at most 20 000 facets nothing else is needed.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import (
    QColor,
    QImage,
    QKeyEvent,
    QMouseEvent,
    QPainter,
    QPaintEvent,
    QPen,
    QPolygonF,
    QResizeEvent,
    QWheelEvent,
)
from PySide6.QtWidgets import QWidget

from app.window.panels.painted import LEFT, fitted, width_of
from app.window.theme import INSIDE, Theme
from kinematics.pose import Array, Vector

CLICK = 4.0  # px: a press that moves less is a click
DEG_PER_PIXEL = 0.5
STEP_DEG = 15.0
EDGE = math.cos(math.radians(25.0))  # neighbours that turn by more than this have an edge between them
MARGIN = 28.0
_AXES = (("X", (1.0, 0.0, 0.0)), ("Y", (0.0, 1.0, 0.0)), ("Z", (0.0, 0.0, 1.0)))


class PartPicker(QWidget):
    """The part, seen from above, in front and to the right at first."""

    pointed = Signal(object, object)
    hovered = Signal(object, object)

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.theme = theme
        self.turn_deg, self.lean_deg, self.zoom = 30.0, 30.0, 1.0
        self._vertices: Array = np.zeros((0, 3))
        self._faces: NDArray[np.int32] = np.zeros((0, 3), dtype=np.int32)
        self._normals: Array = np.zeros((0, 3))
        self._edge_ends: NDArray[np.int64] = np.zeros((0, 2), dtype=np.int64)  # facet by facet
        self._edges_from: NDArray[np.int64] = np.zeros(1, dtype=np.int64)  # those of facet i: from [i] to [i + 1]
        self._words = ""
        self._mark: tuple[Vector, Vector] | None = None
        self._under: int = -1
        self._picture: QImage | None = None
        self._press: tuple[QPointF, QPointF] | None = None
        self.setMouseTracking(True)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setMinimumSize(220, 160)
        self.setAccessibleName("the part, to be pointed at")

    def sizeHint(self) -> QSize:
        return QSize(480, 320)

    # ---- what is shown ----

    def show_part(self, vertices: Array, faces: NDArray[np.int32]) -> None:
        """A part: vertices (n, 3) in mm, facets (m, 3), outward corners counter-clockwise."""
        self._vertices, self._faces = np.asarray(vertices, dtype=np.float64), faces
        corners = self._vertices[faces]
        crossed = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        length = np.linalg.norm(crossed, axis=1)
        self._normals = crossed / np.where(length > 0.0, length, 1.0)[:, None]
        made = _edges(faces, self._normals)
        owners = np.concatenate([made[:, 2], made[:, 3]])
        by_owner = np.argsort(owners, kind="stable")
        self._edge_ends = np.concatenate([made[:, :2], made[:, :2]])[by_owner]
        self._edges_from = np.searchsorted(owners[by_owner], np.arange(len(faces) + 1))
        self._mark, self._under = None, -1
        self._redraw()

    def show_words(self, words: str) -> None:
        """A sentence at the top left."""
        self._words = words
        self.update()

    def mark(self, point: Vector, direction: Vector) -> None:
        """An arrow that stands on the part: where a tool comes from."""
        self._mark = (point, direction)
        self.update()

    def clear_mark(self) -> None:
        """No arrow."""
        self._mark = None
        self.update()

    def set_theme(self, theme: Theme) -> None:
        """Another look."""
        self.theme = theme
        self._redraw()

    @property
    def is_empty(self) -> bool:
        return not len(self._faces)

    def _redraw(self) -> None:
        self._picture = None
        self.update()

    # ---- where things are ----

    def _eye(self) -> Array:
        """Rows: right, up and towards the eye, in the part's coordinates."""
        a, b = math.radians(self.turn_deg), math.radians(self.lean_deg)
        right = (math.cos(a), math.sin(a), 0.0)
        toward = (math.sin(a) * math.cos(b), -math.cos(a) * math.cos(b), math.sin(b))
        up = (-math.sin(a) * math.sin(b), math.cos(a) * math.sin(b), math.cos(b))
        return np.array([right, up, toward])

    def _scale(self) -> tuple[float, Array]:
        """Pixels per mm, and the middle of the part."""
        low, high = self._vertices.min(axis=0), self._vertices.max(axis=0)
        size = float(np.linalg.norm(high - low)) or 1.0
        room = max(40.0, min(self.width(), self.height()) - 2 * MARGIN)
        return 1.15 * room / size * self.zoom, (low + high) / 2.0

    def on_screen(self, points: Array) -> Array:
        """Points (n, 3) of the part as x, y in pixels and the distance towards the eye, mm."""
        scale, middle = self._scale()
        seen = (np.asarray(points, dtype=np.float64) - middle) @ self._eye().T
        x = self.width() / 2.0 + scale * seen[:, 0]
        y = self.height() / 2.0 - scale * seen[:, 1]
        return np.column_stack([x, y, seen[:, 2]])

    def facet_at(self, x: float, y: float) -> tuple[int, Vector] | None:
        """The facet that is seen at a pixel, and the point of it; None where there is none."""
        if self.is_empty:
            return None
        seen = self.on_screen(self._vertices)
        a, b, c = (seen[self._faces[:, k]] for k in range(3))
        d = (b[:, 1] - c[:, 1]) * (a[:, 0] - c[:, 0]) + (c[:, 0] - b[:, 0]) * (a[:, 1] - c[:, 1])
        safe = np.where(np.abs(d) > 1e-12, d, np.inf)
        u = ((b[:, 1] - c[:, 1]) * (x - c[:, 0]) + (c[:, 0] - b[:, 0]) * (y - c[:, 1])) / safe
        v = ((c[:, 1] - a[:, 1]) * (x - c[:, 0]) + (a[:, 0] - c[:, 0]) * (y - c[:, 1])) / safe
        w = 1.0 - u - v
        faces_eye = self._normals @ self._eye()[2] > 0.0
        hit = np.flatnonzero((u >= -1e-9) & (v >= -1e-9) & (w >= -1e-9) & faces_eye & np.isfinite(safe))
        if not len(hit):
            return None
        depth = u[hit] * a[hit, 2] + v[hit] * b[hit, 2] + w[hit] * c[hit, 2]
        face = int(hit[np.argmax(depth)])
        weights = np.array([u[face], v[face], w[face]])
        point = weights @ self._vertices[self._faces[face]]
        return face, _vector(point)

    def normal_of(self, face: int) -> Vector:
        """The direction in which a facet looks."""
        return _vector(self._normals[face])

    # ---- painting ----

    def paintEvent(self, _event: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.fillRect(self.rect(), self.theme.palette.card)
        painter.setPen(QPen(self.theme.palette.line, 1.0))
        painter.drawRect(QRectF(self.rect()).adjusted(0.5, 0.5, -0.5, -0.5))
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        if not self.is_empty:
            if self._picture is None:
                self._picture = self._drawn()
            painter.drawImage(0, 0, self._picture)
            self._paint_under(painter)
            self._paint_axes(painter)
            self._paint_mark(painter)
        painter.setFont(self.theme.type.text)
        painter.setPen(self.theme.palette.ink)
        row = QRectF(INSIDE, 4.0, self.width() - 2 * INSIDE, 24.0)
        painter.drawText(row, int(LEFT), fitted(self._words, self.theme.type.text, row.width()))
        painter.end()
        if self.hasFocus():
            self._paint_focus()

    def _paint_focus(self) -> None:
        painter = QPainter(self)
        painter.setPen(QPen(self.theme.palette.ink, 2.0))
        painter.drawRect(QRectF(self.rect()).adjusted(1, 1, -1, -1))
        painter.end()

    def _drawn(self) -> QImage:
        """The facets that look at the eye, the furthest first, then the edges of those that are not hidden by much."""
        ratio = self.devicePixelRatioF()
        image = QImage(self.size() * ratio, QImage.Format.Format_ARGB32_Premultiplied)
        image.setDevicePixelRatio(ratio)
        image.fill(Qt.GlobalColor.transparent)
        painter = QPainter(image)
        seen, eye = self.on_screen(self._vertices), self._eye()
        looks = self._normals @ eye[2]
        front = np.flatnonzero(looks > 0.0)
        order = front[np.argsort(seen[self._faces[front], 2].mean(axis=1))]
        light = self._normals @ (0.45 * eye[0] * -1.0 + 0.6 * eye[1] + 0.66 * eye[2])
        shades = [self._shade(k / 31.0) for k in range(32)]
        pens = [QPen(shade, 0.7) for shade in shades]
        levels = np.clip((31 * (0.5 + 0.5 * light[order])).astype(np.int64), 0, 31).tolist()
        xs, ys = seen[:, 0].tolist(), seen[:, 1].tolist()
        line = QPen(self.theme.palette.ink, 1.0)
        last = -1
        starts = self._edges_from.tolist()
        begins, ends = (column.tolist() for column in self._edge_ends.T)
        corners = [column.tolist() for column in self._faces[order].T]
        # plain numbers, and points that live no longer than a facet: kept by thousands they would call the collector
        for face, level, i, j, k in zip(order.tolist(), levels, *corners, strict=True):
            if level != last:
                painter.setPen(pens[level])
                painter.setBrush(shades[level])
                last = level
            painter.drawPolygon((QPointF(xs[i], ys[i]), QPointF(xs[j], ys[j]), QPointF(xs[k], ys[k])))
            if starts[face] < starts[face + 1]:
                painter.setPen(line)
                for e in range(starts[face], starts[face + 1]):
                    a, b = begins[e], ends[e]
                    painter.drawLine(QPointF(xs[a], ys[a]), QPointF(xs[b], ys[b]))
                last = -1
        painter.end()
        return image

    def _shade(self, light: float) -> QColor:
        """From the middle tone to a lighter one; in the dark look the same way round."""
        low, high = self.theme.palette.mid.darker(135), self.theme.palette.mid.lighter(118)
        return QColor(*(round(p + (q - p) * light) for p, q in zip(_rgb(low), _rgb(high), strict=True)))

    def _paint_under(self, painter: QPainter) -> None:
        """What is under the pointer: the plane it belongs to, hatched in ink."""
        if self._under < 0:
            return
        seen = self.on_screen(self._vertices)
        normal = self._normals[self._under]
        height = float(self._vertices[self._faces[self._under, 0]] @ normal)
        level = np.abs((self._vertices[self._faces] @ normal) - height).max(axis=1) < 0.01
        same = np.flatnonzero((self._normals @ normal > 0.9999) & level)
        colour = QColor(self.theme.palette.ink)
        colour.setAlpha(60)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(colour)
        for face in same.tolist():
            painter.drawPolygon(QPolygonF([QPointF(*seen[i, :2]) for i in self._faces[face]]))
        painter.setBrush(Qt.BrushStyle.NoBrush)

    def _paint_axes(self, painter: QPainter) -> None:
        """X, Y and Z of the part at the lower left."""
        eye = self._eye()
        corner = QPointF(34.0, self.height() - 34.0)
        painter.setFont(self.theme.type.quiet)
        painter.setPen(QPen(self.theme.palette.quiet, 1.5))
        for name, axis in _AXES:
            x, y = float(eye[0] @ np.array(axis)), -float(eye[1] @ np.array(axis))
            tip = corner + QPointF(20.0 * x, 20.0 * y)
            painter.drawLine(corner, tip)
            at = corner + QPointF(28.0 * x, 28.0 * y)
            painter.drawText(QRectF(at.x() - 8, at.y() - 8, 16, 16), int(Qt.AlignmentFlag.AlignCenter), name)

    def _paint_mark(self, painter: QPainter) -> None:
        if self._mark is None:
            return
        point, direction = (np.array(v) for v in self._mark)
        scale, _ = self._scale()
        foot, top = self.on_screen(np.array([point, point + direction * (64.0 / scale)]))[:, :2]
        along = foot - top
        length = float(np.linalg.norm(along)) or 1.0
        along /= length
        side = np.array([-along[1], along[0]])
        head = [foot, foot - 12 * along + 5 * side, foot - 12 * along - 5 * side]
        for colour, width in ((self.theme.palette.card, 5.0), (self.theme.palette.ink, 2.0)):
            painter.setPen(QPen(colour, width))
            painter.setBrush(colour)
            painter.drawLine(QPointF(*top), QPointF(*foot))
            painter.drawPolygon(QPolygonF([QPointF(*p) for p in head]))
        words = "tool"
        painter.setFont(self.theme.type.quiet_bold)
        painter.setPen(self.theme.palette.ink)
        width = width_of(words, self.theme.type.quiet_bold)
        painter.drawText(QPointF(top[0] - width / 2, top[1] - 6), words)

    # ---- what is done ----

    def mousePressEvent(self, event: QMouseEvent) -> None:
        self._press = (event.position(), event.position())

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        at = event.position()
        if self._press is None or not event.buttons():
            found = self.facet_at(at.x(), at.y())
            under = found[0] if found is not None else -1
            if under != self._under:
                self._under = under
                self.setCursor(Qt.CursorShape.PointingHandCursor if under >= 0 else Qt.CursorShape.ArrowCursor)
                self.update()
            if found is not None:
                self.hovered.emit(found[1], _vector(self._normals[found[0]]))
            return
        begun, last = self._press
        if (at - begun).manhattanLength() >= CLICK or last != begun:
            self.orbit(-(at.x() - last.x()) * DEG_PER_PIXEL, (at.y() - last.y()) * DEG_PER_PIXEL)
            self._press = (begun, at)

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        if self._press is None:
            return
        begun, last = self._press
        self._press = None
        if last == begun and (event.position() - begun).manhattanLength() < CLICK:
            self.point_at(event.position().x(), event.position().y())

    def point_at(self, x: float, y: float) -> bool:
        """Point at a pixel, as a click does; whether the part is there."""
        found = self.facet_at(x, y)
        if found is None:
            return False
        face, point = found
        self.pointed.emit(point, _vector(self._normals[face]))
        return True

    def orbit(self, turn_deg: float, lean_deg: float) -> None:
        """Go round the part."""
        self.turn_deg = (self.turn_deg + turn_deg) % 360.0
        self.lean_deg = max(-90.0, min(90.0, self.lean_deg + lean_deg))
        self._under = -1
        self._redraw()

    def wheelEvent(self, event: QWheelEvent) -> None:
        self.zoom = max(0.3, min(12.0, self.zoom * 1.2 ** (event.angleDelta().y() / 120.0)))
        self._redraw()
        event.accept()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        step = {
            Qt.Key.Key_Left: (STEP_DEG, 0.0),
            Qt.Key.Key_Right: (-STEP_DEG, 0.0),
            Qt.Key.Key_Up: (0.0, STEP_DEG),
            Qt.Key.Key_Down: (0.0, -STEP_DEG),
        }.get(Qt.Key(event.key()))
        if step is not None:
            self.orbit(*step)
        elif event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self.point_at(self.width() / 2.0, self.height() / 2.0)
        else:
            super().keyPressEvent(event)

    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        self._redraw()


def _edges(faces: NDArray[np.int32], normals: Array) -> NDArray[np.int64]:
    """Edges between facets that turn, and those with one facet only: two corners, then the facets."""
    if not len(faces):
        return np.zeros((0, 4), dtype=np.int64)
    whole = faces.astype(np.int64)
    ends = np.sort(np.concatenate([whole[:, [0, 1]], whole[:, [1, 2]], whole[:, [2, 0]]]), axis=1)
    owner = np.tile(np.arange(len(faces)), 3)
    order = np.lexsort((ends[:, 1], ends[:, 0]))
    ends, owner = ends[order], owner[order]
    same = (ends[1:] == ends[:-1]).all(axis=1)
    first = np.flatnonzero(same)
    turns = (normals[owner[first]] * normals[owner[first + 1]]).sum(axis=1) < EDGE
    sharp = first[turns]
    shared = np.zeros(len(ends), dtype=bool)
    shared[first], shared[first + 1] = True, True
    open_ones = np.flatnonzero(~shared)
    made = np.column_stack([ends[sharp], owner[sharp], owner[sharp + 1]])
    loose = np.column_stack([ends[open_ones], owner[open_ones], np.full(len(open_ones), -1)])
    found: NDArray[np.int64] = np.concatenate([made, loose]).astype(np.int64)
    return found


def _rgb(colour: QColor) -> tuple[int, int, int]:
    return colour.red(), colour.green(), colour.blue()


def _vector(v: Array) -> Vector:
    return (float(v[0]), float(v[1]), float(v[2]))
