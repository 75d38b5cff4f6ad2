"""Side-on: the tool in profile against what stands round it, height up, radius to the right, one scale for both.

Shows: SideOn (`show_plot`). Says: picked(body) when something that it sees is clicked.
Solid is what stands in the tight direction, a pale step line what is nearest all round. The outline raised by what
is missing to clear is dashed.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from PySide6.QtCore import QEvent, QLineF, QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QMouseEvent, QPainter, QPainterPath, QPen
from PySide6.QtWidgets import QWidget

from app.jobs.plots import OutlineStep, Seen, SideOn
from app.window import units
from app.window.marks import painting
from app.window.panels.painted import LEFT, MIDDLE, RIGHT, TITLE, Painted, width_of
from app.window.theme import INSIDE, Theme

_READING = 20.0  # px, the line at the bottom that tells what is under the hand
_TICKS = 88.0  # px, left of the axis
_BELOW, _ABOVE = 6.0, 26.0  # mm, shown under the tip, and over the gap or the holder's end


class SideOnPlot(Painted):
    """The profile plot."""

    picked = Signal(str)

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(theme, parent)
        self.plot: SideOn | None = None
        self._hand: QPointF | None = None
        self.setMouseTracking(True)
        self.setMinimumSize(200, 200)

    def sizeHint(self) -> QSize:
        return QSize(264, 300)

    def show_plot(self, plot: SideOn) -> None:
        """Another cut."""
        self.plot, self.is_stale = plot, False
        self.setAccessibleName(self.sentence())
        self.update()

    def forget(self) -> None:
        self.plot = None

    @property
    def is_empty(self) -> bool:
        return self.plot is None

    def sentence(self) -> str:
        """The plot in words."""
        if self.plot is None:
            return self.why_empty
        longer = self.plot.longer_by
        more = "" if longer is None else f"; clear when {units.used_up(longer, self.unit)} longer"
        return f"{self.plot.title}, side-on{more}"

    # ---- scale -------------------------------------------------------------------------------------

    @property
    def area(self) -> QRectF:
        """Where the plot stands; the axis of the tool is its left edge."""
        return QRectF(
            _TICKS, TITLE + 4.0, self.width() - _TICKS - INSIDE, self.height() - TITLE - _READING - 8.0
        )  # fmt: skip

    def _heights(self) -> tuple[float, float]:
        """The lowest and the highest height that is shown: from under the tip to over the gap and the holder's end."""
        plot = self.plot
        assert plot is not None, "an empty panel has no scale"
        holder = min((s.z1 for s in plot.outline if s.part in plot.rises), default=plot.gauge_line)
        of_gap = max((z for _, z in plot.gap), default=0.0) if plot.gap else 0.0
        top = max(holder, of_gap) + _ABOVE + (plot.longer_by or 0.0)
        return -_BELOW, min(top, plot.gauge_line + _BELOW)

    @property
    def scale(self) -> float:
        """px for a mm, the same both ways."""
        low, high = self._heights()
        return self.area.height() / max(high - low, 1.0)

    def at(self, r: float, z: float) -> QPointF:
        """Where a radius and a height stand on the panel."""
        low, _ = self._heights()
        area = self.area
        return QPointF(area.left() + r * self.scale, area.bottom() - (z - low) * self.scale)

    def under(self, point: QPointF) -> tuple[float, float]:
        """The radius and the height at a point of the panel."""
        low, _ = self._heights()
        return (point.x() - self.area.left()) / self.scale, (self.area.bottom() - point.y()) / self.scale + low

    # ---- paint -------------------------------------------------------------------------------------

    def paint(self, painter: QPainter) -> None:
        plot = self.plot
        assert plot is not None, "an empty panel is not painted"
        self.write_title(painter, "SIDE-ON", plot.title)
        with painting(painter):
            painter.setClipRect(self.area.adjusted(0, -2, 1, 2))
            self._paint_around(painter, plot)
            self._paint_toward(painter, plot)
            self._paint_outline(painter, plot)
            if plot.longer_by is not None and plot.longer_by > 0.0:
                self._paint_longer(painter, plot, plot.longer_by)
            self._paint_gap(painter, plot)
        self._paint_axis(painter)
        self._paint_ticks(painter, plot)
        self._paint_longer_label(painter, plot)
        self._paint_reading(painter, plot)

    def _far(self) -> float:
        return (self.area.width() + 20.0) / self.scale

    def _steps(self, seen: Iterable[Seen]) -> QPainterPath:
        """The filled region outside a step line."""
        path, far = QPainterPath(), self._far()
        for bin_ in seen:
            if math.isfinite(bin_.r) and bin_.r < far:
                path.addRect(QRectF(self.at(bin_.r, bin_.z2), self.at(far, bin_.z1)))
        return path.simplified()

    def _paint_around(self, painter: QPainter, plot: SideOn) -> None:
        painter.setPen(QPen(self.theme.palette.line, 1.0))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.drawPath(self._steps(plot.around))

    def _paint_toward(self, painter: QPainter, plot: SideOn) -> None:
        path = self._steps(plot.toward)
        if self.is_stale:
            painter.setBrush(Qt.BrushStyle.NoBrush)
        else:
            painter.setBrush(self.theme.palette.mid)
        painter.setPen(QPen(self.ink, 1.0))
        painter.drawPath(path)

    def _outline(self, steps: Iterable[OutlineStep], up: float = 0.0) -> QPainterPath:
        path = QPainterPath()
        for s in steps:
            z1, z2 = s.z1 + up, s.z2 + up
            piece = QPainterPath(self.at(0.0, z1))
            for r, z in ((s.r1, z1), (s.r2, z2), (0.0, z2)):
                piece.lineTo(self.at(r, z))
            piece.closeSubpath()
            path = path.united(piece)
        return path.simplified()

    def _paint_outline(self, painter: QPainter, plot: SideOn) -> None:
        path = self._outline(plot.outline)
        painter.setBrush(self.theme.palette.card)
        painter.setPen(QPen(self.ink, 2.0))
        painter.drawPath(path)
        painter.setPen(QPen(self.theme.palette.line, 1.0))
        ends = {a.z2: min(a.r2, b.r1) for a, b in zip(plot.outline, plot.outline[1:], strict=False) if a.part != b.part}
        for z, r in ends.items():  # where one part ends and the next begins
            painter.drawLine(QLineF(self.at(0.0, z), self.at(r, z)))

    def _paint_longer(self, painter: QPainter, plot: SideOn, by: float) -> None:
        """The parts that rise with the stick-out, where they would be."""
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.setPen(QPen(self.ink, 1.5, Qt.PenStyle.DashLine))
        painter.drawPath(self._outline((s for s in plot.outline if s.part in plot.rises), by))

    def _paint_gap(self, painter: QPainter, plot: SideOn) -> None:
        """The gap as the jaws of a caliper."""
        if plot.gap is None or self.is_stale:
            return
        one, other = (self.at(*end) for end in plot.gap)
        line = QLineF(one, other)
        if line.length() < 0.5:
            line = QLineF(one, one + QPointF(0.5, 0.0))
        normal = line.normalVector().unitVector()
        jaw = QPointF(normal.dx(), normal.dy()) * 6.0
        for colour, width in ((self.ink, 6.0), (self.theme.plate(plot.verdict).fill, 3.0)):
            painter.setPen(QPen(colour, width, Qt.PenStyle.SolidLine, Qt.PenCapStyle.FlatCap))
            painter.drawLine(line)
        painter.setPen(QPen(self.ink, 2.0))
        for end in (line.p1(), line.p2()):
            painter.drawLine(QLineF(end - jaw, end + jaw))

    def _paint_axis(self, painter: QPainter) -> None:
        """The axis of the tool, as drawings have it: a chain line."""
        area = self.area
        painter.setPen(QPen(self.theme.palette.line, 1.0, Qt.PenStyle.DashDotLine))
        painter.drawLine(QLineF(area.left(), area.top(), area.left(), area.bottom()))

    def _ticks(self, plot: SideOn) -> list[tuple[float, str]]:
        found = [(0.0, "tip")]
        if plot.depth is not None and plot.depth > 0.0:
            found.append((plot.depth, f"cut {units.length(plot.depth, self.unit)}"))
        if plot.flute is not None:
            found.append((plot.flute, f"flute {units.length(plot.flute, self.unit)}"))
        holder = min((s.z1 for s in plot.outline if s.part in plot.rises), default=None)
        if holder is not None:
            found.append((holder, f"out {units.length(holder, self.unit)}"))
        found.append((plot.gauge_line, f"gauge {units.length(plot.gauge_line, self.unit)}"))
        return found

    def _paint_ticks(self, painter: QPainter, plot: SideOn) -> None:
        """Heights at the left, moved apart where they would touch."""
        fonts, area = self.theme.type, self.area
        _, high = self._heights()
        places = sorted(
            ((self.at(0.0, min(z, high)).y(), z > high, text) for z, text in self._ticks(plot)), reverse=True
        )
        below = area.bottom() + 14.0
        top = area.top() + 7.0
        for y, is_above, text in places:
            at = max(top, min(y, below - 14.0))
            row = QRectF(2.0, at - 7.0, _TICKS - 10.0, 14.0)
            self.write(painter, row, text, fonts.quiet, self.theme.palette.quiet, RIGHT)
            painter.setPen(QPen(self.ink, 1.0))
            if is_above:  # the gauge line is over the top of the plot
                x = _TICKS - 4.0
                painter.drawPolyline([QPointF(x - 3, at + 2), QPointF(x, at - 3), QPointF(x + 3, at + 2)])
            else:
                painter.drawLine(QLineF(_TICKS - 7.0, at, _TICKS - 4.0, y))
                painter.drawLine(QLineF(_TICKS - 4.0, y, _TICKS + 3.0, y))
            below = at

    def _paint_longer_label(self, painter: QPainter, plot: SideOn) -> None:
        if plot.longer_by is None or plot.longer_by <= 0.0:
            return
        rising = [s for s in plot.outline if s.part in plot.rises]
        if not rising:
            return
        lowest = min(rising, key=lambda s: s.z1)
        now, then = self.at(lowest.r1, lowest.z1), self.at(lowest.r1, lowest.z1 + plot.longer_by)
        text = f"+{units.used_up(plot.longer_by, self.unit)}"
        font = self.theme.type.text_bold
        plate = QRectF(0.0, 0.0, width_of(text, font) + 8.0, 18.0)
        plate.moveCenter(QPointF(min(then.x() + 24.0, self.width() - plate.width() / 2.0 - 4.0), then.y() - 14.0))
        plate.moveTop(max(plate.top(), self.area.top()))
        painter.fillRect(plate, self.theme.palette.card)
        painter.setPen(QPen(self.ink, 1.0))
        painter.drawLine(QLineF(now.x() - 6.0, now.y(), then.x() - 6.0, then.y()))
        self.write(painter, plate, text, font, self.ink, MIDDLE)

    # ---- the hand ----------------------------------------------------------------------------------

    def body_at(self, point: QPointF) -> tuple[str, float] | None:
        """What the tool sees at a point and how far from its axis: in the tight direction first, then all round."""
        if self.plot is None or not self.area.contains(point):
            return None
        r, z = self.under(point)
        for seen in (self.plot.toward, self.plot.around):
            for one in seen:
                if one.z1 <= z <= one.z2 and one.r <= r:
                    return one.body, one.r
        part = next((s for s in self.plot.outline if s.z1 <= z <= s.z2 and r <= max(s.r1, s.r2)), None)
        return None if part is None else (part.part, r)

    def reading(self) -> str:
        """Radius, height and body under the hand."""
        if self.plot is None or self._hand is None or not self.area.contains(self._hand):
            return ""
        r, z = self.under(self._hand)
        found = self.body_at(self._hand)
        body = "" if found is None else f"  {found[0]}"
        return f"r {units.length(r, self.unit)}  h {units.length(z, self.unit)}{body}"

    def _paint_reading(self, painter: QPainter, plot: SideOn) -> None:
        row = QRectF(INSIDE, self.height() - _READING, self.width() - 2 * INSIDE, _READING)
        text = self.reading()
        if text and self._hand is not None:
            painter.setPen(QPen(self.theme.palette.line, 1.0))
            area = self.area
            painter.drawLine(QLineF(area.left(), self._hand.y(), area.right(), self._hand.y()))
            painter.drawLine(QLineF(self._hand.x(), area.top(), self._hand.x(), area.bottom()))
            self.write(painter, row, text, self.theme.type.quiet_bold, self.ink)
            return
        said = plot.note or _direction(plot)
        self.write(painter, row, said, self.theme.type.quiet, self.theme.palette.quiet, LEFT)

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        self._hand = event.position()
        self.update()

    def leaveEvent(self, event: QEvent) -> None:
        self._hand = None
        self.update()
        super().leaveEvent(event)

    def mousePressEvent(self, event: QMouseEvent) -> None:
        found = self.body_at(event.position())
        if found is not None:
            self.picked.emit(found[0])


def _direction(plot: SideOn) -> str:
    if plot.clock_deg is None:
        return "solid: all round at the tightest place"
    hour = round(plot.clock_deg / 30.0) % 12 or 12
    return f"solid: towards {hour} o'clock; line: all round"
