"""A machine in two views of ours, from the door and from the left, with a letter at each number that can be changed."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from PySide6.QtCore import QLineF, QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QPainter, QPaintEvent, QPen, QPolygonF
from PySide6.QtWidgets import QSizePolicy, QWidget

from app.window.panels.new_setup_drawings import pen
from app.window.theme import Theme
from kinematics.machine import Machine

HEIGHT = 260
ABOVE = 30.0  # px, of the dimension to the axis over the axis
At = Callable[[float, float], QPointF]


class MachineDrawing(QWidget):
    """Table, axes, face and travel; not bodies."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.theme = theme
        self._machine: Machine | None = None
        self._marks: Mapping[str, str] = {}
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.setFixedHeight(HEIGHT)

    def sizeHint(self) -> QSize:
        return QSize(440, HEIGHT)

    def show_machine(self, machine: Machine, marks: Mapping[str, str]) -> None:
        """`marks`: the letter of each number, by its path."""
        self._machine, self._marks = machine, marks
        self.update()

    def set_theme(self, theme: Theme) -> None:
        self.theme = theme
        self.update()

    def paintEvent(self, _event: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        if self._machine is not None:
            half = self.width() / 2.0
            self._view(painter, QRectF(0, 0, half - 4, self.height()), 0, "from the door")
            self._view(painter, QRectF(half + 4, 0, half - 4, self.height()), 1, "from the left; you stand at the left")
        painter.end()

    def _view(self, painter: QPainter, rect: QRectF, across: int, words: str) -> None:
        """X or Y to the right, Z up."""
        machine, pal = self._machine, self.theme.palette
        assert machine is not None, "drawn once there is a machine"
        name = "xy"[across]
        painter.setFont(self.theme.type.quiet)
        painter.setPen(pal.quiet)
        painter.drawText(QRectF(rect.left(), rect.bottom() - 16, rect.width(), 16), words)
        low, high = machine.linear_axes[across].limits
        bottom, top = machine.z.limits
        area = rect.adjusted(16, 12, -30, -44)
        scale = min(area.width() / max(high - low, 1.0), area.height() / max(top, 1.0))

        def at(u: float, z: float) -> QPointF:
            return QPointF(area.center().x() + (u - (low + high) / 2.0) * scale, area.bottom() - z * scale)

        self._travel(painter, at, (low, high), (bottom, top), name)
        painter.setPen(pen(pal.ink, 3.0))
        painter.drawLine(QLineF(at(low, 0), at(high, 0)))
        self._axes(painter, at, across)

    def _travel(
        self, painter: QPainter, at: At, along: tuple[float, float], up: tuple[float, float], name: str
    ) -> None:
        """Where the spindle's gauge line can go, dashed, and how far from the middle of the table."""
        pal = self.theme.palette
        painter.setPen(QPen(pal.quiet, 1.0, Qt.PenStyle.DashLine))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.drawRect(QRectF(at(along[0], up[1]), at(along[1], up[0])))
        below = QPointF(0, 16)
        for i, limit in enumerate(along, 1):
            self._arrow(painter, at(0, 0) + below, at(limit, 0) + below, self._mark(f"linear_axes/{name}/limits/{i}"))
        if name == "x":
            for i, limit in enumerate(up, 1):
                right = QPointF(8 + 10 * i, 0)
                foot, head = at(along[1], 0) + right, at(along[1], limit) + right
                self._arrow(painter, foot, head, self._mark(f"linear_axes/z/limits/{i}"))

    def _axes(self, painter: QPainter, at: At, across: int) -> None:
        """The first table axis as a cross in a ring, the face that the second one turns as a bar."""
        machine, pal = self._machine, self.theme.palette
        assert machine is not None, "drawn once there is a machine"
        if not machine.table_axes:
            return
        first = machine.table_axes[0]
        u, z = first.origin[across], first.origin[2]
        above = QPointF(0.0, -ABOVE)
        painter.setPen(QPen(pal.quiet, 1.0, Qt.PenStyle.DashDotLine))
        painter.drawLine(QLineF(at(0, 0), at(0, z) + above * 1.4))
        painter.setPen(QPen(pal.quiet, 1.0))
        painter.drawLine(QLineF(at(u, z), at(u, z) + above * 1.2))
        self._arrow(painter, at(0, z) + above, at(u, z) + above, self._mark(f"{first.name}/origin/{'xy'[across]}"))
        if across == 0:
            self._arrow(painter, at(u, 0), at(u, z), self._mark(f"{first.name}/origin/z"))
        if len(machine.table_axes) > 1:
            second = machine.table_axes[1]
            face_u, face_z = u + second.origin[across], z + second.origin[2]
            painter.setPen(pen(pal.ink, 4.0))
            centre = at(face_u, face_z)
            painter.drawLine(QLineF(centre - QPointF(24, 0), centre + QPointF(24, 0)))
            aside = QPointF(36, 0)
            painter.setPen(QPen(pal.quiet, 1.0))
            painter.drawLine(QLineF(at(u, z), at(u, z) + aside))
            self._arrow(painter, at(u, z) + aside, at(u, face_z) + aside, self._mark(f"{second.name}/origin/z"))
            said = self._mark(f"{second.name}/origin/{'xy'[across]}")
            self._letter(painter, centre + QPointF(-34, 4), said)
        painter.setPen(pen(pal.ink, 1.5))
        painter.setBrush(pal.card)
        middle = at(u, z)
        painter.drawEllipse(middle, 5, 5)
        painter.drawLine(QLineF(middle - QPointF(8, 0), middle + QPointF(8, 0)))
        painter.drawLine(QLineF(middle - QPointF(0, 8), middle + QPointF(0, 8)))
        limits = [self._mark(f"{first.name}/limits/{i}") for i in (1, 2)]
        if across == 1 and all(limits):
            self._letter(painter, middle + QPointF(-22, -14), ", ".join(limits))

    def _mark(self, path: str) -> str:
        return self._marks.get(path, "")

    def _arrow(self, painter: QPainter, start: QPointF, end: QPointF, mark: str) -> None:
        """A dimension with its letter in the middle; where it is too short, beside its end."""
        pal = self.theme.palette
        line = QLineF(start, end)
        painter.setPen(QPen(pal.ink, 1.0))
        painter.drawLine(line)
        if line.length() > 1.0:
            along = QPointF(line.dx(), line.dy()) / line.length()
            side = QPointF(-along.y(), along.x())
            painter.setBrush(pal.ink)
            painter.drawPolygon(QPolygonF([end, end - along * 6 + side * 3, end - along * 6 - side * 3]))
        is_long = line.length() > 24.0
        self._letter(painter, line.center() if is_long else end + QPointF(9, -7), mark)

    def _letter(self, painter: QPainter, centre: QPointF, mark: str) -> None:
        if not mark:
            return
        pal = self.theme.palette
        wide = 8.0 + 7.0 * len(mark)
        box = QRectF(centre.x() - wide / 2, centre.y() - 8, wide, 16)
        painter.fillRect(box, pal.card)
        painter.setFont(self.theme.type.quiet_bold)
        painter.setPen(pal.ink)
        painter.drawText(box, int(Qt.AlignmentFlag.AlignCenter), mark)
