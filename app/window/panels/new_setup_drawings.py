"""Small drawings of our own for the page of a new set-up: ways of holding, which way a table turns, tools.

Each is drawn into a rectangle in ink on paper; nothing here is to scale but the tools.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from PySide6.QtCore import QLineF, QPointF, QRectF, QSizeF, Qt
from PySide6.QtGui import QColor, QPainter, QPainterPath, QPen, QPolygonF, QTransform

from app.jobs.new_setup.answers import HoldingKind
from app.jobs.new_setup.own_machine import AGAINST, AWAY, LEFT, RIGHT, TO_YOU, WITH
from app.window.marks import draw_hatch, painting
from app.window.theme import Theme
from kinematics.assembly import Slice
from kinematics.tool_kinds import CUTTER, NECK, SHANK

FIELD = QSizeF(120.0, 76.0)  # what holding and turning are drawn in, before it is scaled


def fit(painter: QPainter, rect: QRectF, field: QSizeF) -> None:
    """Scale so that a field stands in the middle of a rectangle."""
    scale = min(rect.width() / field.width(), rect.height() / field.height())
    painter.translate(rect.center())
    painter.scale(scale, scale)
    painter.translate(-field.width() / 2.0, -field.height() / 2.0)


def pen(colour: QColor, width: float = 1.5) -> QPen:
    """A pen with sharp corners."""
    made = QPen(colour, width)
    made.setJoinStyle(Qt.PenJoinStyle.MiterJoin)
    return made


# ---- holding -------------------------------------------------------------------------------------


def draw_holding(kind: HoldingKind, painter: QPainter, rect: QRectF, theme: Theme) -> None:
    """A bar and what holds it, seen from the side."""
    pal = theme.palette
    with painting(painter):
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        fit(painter, rect, FIELD)
        painter.setPen(pen(pal.ink))
        painter.drawLine(QLineF(8, 74, 112, 74))
        match kind:
            case HoldingKind.DOVETAIL:
                _body(painter, theme, [(34, 74), (34, 58), (52, 58), (48, 52), (72, 52), (68, 58), (86, 58), (86, 74)])
                _stock(painter, theme, QRectF(45, 12, 30, 34), [(45, 46), (75, 46), (70, 58), (50, 58)])
                _screw(painter, theme, 80, 58, 6)
            case HoldingKind.VISE:
                _body(painter, theme, [(18, 74), (18, 62), (102, 62), (102, 74)])
                _body(painter, theme, [(22, 62), (22, 40), (42, 40), (42, 62)])
                _body(painter, theme, [(78, 62), (78, 40), (98, 40), (98, 62)])
                painter.drawLine(QLineF(98, 51, 114, 51))
                painter.drawLine(QLineF(114, 45, 114, 57))
                _stock(painter, theme, QRectF(42, 14, 36, 40))
            case HoldingKind.SOFT_JAWS:
                _body(painter, theme, [(14, 74), (14, 62), (106, 62), (106, 74)])
                _body(painter, theme, [(20, 62), (20, 34), (50, 34), (50, 46), (42, 46), (42, 62)])
                _body(painter, theme, [(100, 62), (100, 34), (70, 34), (70, 46), (78, 46), (78, 62)])
                _screw(painter, theme, 30, 34, 6)
                _screw(painter, theme, 90, 34, 6)
                _stock(painter, theme, QRectF(50, 12, 20, 34), [(42, 46), (78, 46), (78, 54), (42, 54)])
            case HoldingKind.PLATE:
                _body(painter, theme, [(12, 74), (12, 62), (108, 62), (108, 74)])
                _stock(painter, theme, QRectF(38, 18, 44, 44))
                _screw(painter, theme, 24, 62, 6)
                _screw(painter, theme, 96, 62, 6)
                painter.setPen(QPen(pal.ink, 1.0, Qt.PenStyle.DashLine))
                for x in (48.0, 72.0):
                    painter.drawLine(QLineF(x, 74, x, 52))


Points = Sequence[tuple[float, float]]


def _polygon(points: Points) -> QPolygonF:
    return QPolygonF([QPointF(x, y) for x, y in points])


def _body(painter: QPainter, theme: Theme, points: Points) -> None:
    painter.setPen(pen(theme.palette.ink))
    painter.setBrush(theme.palette.mid)
    painter.drawPolygon(_polygon(points))


def _stock(painter: QPainter, theme: Theme, above: QRectF, below: Points = ()) -> None:
    """The bar: paper, what is held of it hatched."""
    painter.setPen(pen(theme.palette.ink))
    painter.setBrush(theme.palette.card)
    painter.drawRect(above)
    if below:
        painter.drawPolygon(_polygon(below))
    draw_hatch(painter, above.adjusted(2, 2, -2, -2), theme.palette.line, step=6.0)


def _screw(painter: QPainter, theme: Theme, x: float, top: float, high: float) -> None:
    painter.setPen(pen(theme.palette.ink))
    painter.setBrush(theme.palette.card)
    painter.drawRect(QRectF(x - 5, top - high, 10, high))
    painter.drawLine(QLineF(x, top - high + 1.5, x, top - 1.5))


# ---- which way a table turns -----------------------------------------------------------------------


def draw_turn(seen: str, painter: QPainter, rect: QRectF, theme: Theme) -> None:
    """What one sees after keying in: the part leant to a side, or turned round."""
    with painting(painter):
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        fit(painter, rect, FIELD)
        if seen in (TO_YOU, AWAY):
            _leant(painter, theme, -30.0 if seen == TO_YOU else 30.0)
            _person_from_the_side(painter, theme)
        elif seen in (LEFT, RIGHT):
            _leant(painter, theme, -30.0 if seen == LEFT else 30.0)
            _words(painter, theme, QRectF(0, 0, 120, 12), "as you stand before it")
        else:
            assert seen in (WITH, AGAINST), "there are three pairs of answers"
            _turned(painter, theme, 30.0 if seen == WITH else -30.0)


def _leant(painter: QPainter, theme: Theme, degrees: float) -> None:
    """A block on a table that has leant by so much, clockwise on paper; dashed: how it stood."""
    pal = theme.palette
    painter.setPen(pen(pal.ink))
    painter.drawLine(QLineF(26, 74, 112, 74))
    pivot = QPointF(72, 62)
    for turn, dashed in ((0.0, True), (degrees, False)):
        with painting(painter):
            painter.translate(pivot)
            painter.rotate(turn)
            if dashed:
                painter.setPen(QPen(pal.line, 1.0, Qt.PenStyle.DashLine))
                painter.setBrush(Qt.BrushStyle.NoBrush)
            else:
                painter.setPen(pen(pal.ink))
                painter.setBrush(pal.mid)
            painter.drawRect(QRectF(-24, -8, 48, 6))
            if not dashed:
                painter.setBrush(pal.card)
            painter.drawRect(QRectF(-11, -38, 22, 30))
    _arc_arrow(painter, theme, pivot, 48.0, 90.0, 90.0 - degrees)


def _arc_arrow(painter: QPainter, theme: Theme, centre: QPointF, radius: float, start: float, end: float) -> None:
    """An arrow along an arc; degrees count from the right, against the clock."""
    painter.setBrush(Qt.BrushStyle.NoBrush)
    painter.setPen(pen(theme.palette.ink))
    box = QRectF(centre.x() - radius, centre.y() - radius, 2 * radius, 2 * radius)
    path = QPainterPath()
    path.arcMoveTo(box, start)
    path.arcTo(box, start, end - start)
    painter.drawPath(path)
    a = math.radians(end)
    tip = centre + QPointF(radius * math.cos(a), -radius * math.sin(a))
    way = 1.0 if end > start else -1.0
    along = QPointF(-math.sin(a) * way, -math.cos(a) * way)
    side = QPointF(-along.y(), along.x())
    painter.setBrush(theme.palette.ink)
    painter.drawPolygon(QPolygonF([tip + along * 5, tip - along * 3 + side * 4, tip - along * 3 - side * 4]))


def _person_from_the_side(painter: QPainter, theme: Theme) -> None:
    """Who stands at the machine, at the left of the picture."""
    painter.setPen(pen(theme.palette.ink))
    painter.setBrush(theme.palette.ink)
    painter.drawEllipse(QPointF(12, 25), 5, 5)
    painter.drawRect(QRectF(9, 32, 6, 24))
    painter.drawLine(QLineF(12, 38, 24, 44))
    painter.drawLine(QLineF(10, 56, 8, 74))
    painter.drawLine(QLineF(14, 56, 16, 74))
    _words(painter, theme, QRectF(0, 6, 24, 12), "you")


def _turned(painter: QPainter, theme: Theme, degrees: float) -> None:
    """A block on a round table from above, turned with the clock by so much; you stand below."""
    pal = theme.palette
    centre = QPointF(60, 34)
    painter.setPen(pen(pal.ink))
    painter.setBrush(pal.mid)
    painter.drawEllipse(centre, 26, 26)
    for turn, dashed in ((0.0, True), (degrees, False)):
        with painting(painter):
            painter.translate(centre)
            painter.rotate(turn)
            painter.setPen(QPen(pal.ink, 1.0, Qt.PenStyle.DashLine) if dashed else pen(pal.ink))
            painter.setBrush(Qt.BrushStyle.NoBrush if dashed else pal.card)
            painter.drawRect(QRectF(-16, -9, 32, 18))
    _arc_arrow(painter, theme, centre, 31.0, 90.0, 90.0 - 1.6 * degrees)
    painter.setBrush(pal.ink)
    painter.setPen(pen(pal.ink))
    painter.drawEllipse(QPointF(60, 71), 4, 3)
    _words(painter, theme, QRectF(68, 65, 30, 11), "you")


def _words(painter: QPainter, theme: Theme, rect: QRectF, text: str) -> None:
    font = theme.type.quiet
    with painting(painter):
        small = QTransform.fromScale(0.75, 0.75)
        painter.setTransform(small * painter.transform())
        painter.setFont(font)
        painter.setPen(theme.palette.ink)
        wide = QRectF(rect.x() / 0.75, rect.y() / 0.75, rect.width() / 0.75, rect.height() / 0.75)
        painter.drawText(wide, int(Qt.AlignmentFlag.AlignCenter | Qt.TextFlag.TextDontClip), text)


# ---- tools -----------------------------------------------------------------------------------------


def draw_tool(painter: QPainter, rect: QRectF, profile: tuple[Slice, ...], scale: float, theme: Theme) -> None:
    """A tool in its holder, its tip at the bottom of a rectangle; `scale` in pixels per mm, the same for all."""
    pal = theme.palette
    with painting(painter):
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setClipRect(rect, Qt.ClipOperation.IntersectClip)
        painter.translate(rect.center().x(), rect.bottom() - 1.0)
        painter.scale(scale, -scale)
        line = pen(pal.ink, 1.0)
        line.setCosmetic(True)
        for part in profile:
            colour = pal.ink if part.part == CUTTER else pal.card if part.part in (NECK, SHANK) else pal.mid
            painter.setPen(line)
            painter.setBrush(colour)
            painter.drawPolygon(
                _polygon([(-part.r1, part.z1), (part.r1, part.z1), (part.r2, part.z2), (-part.r2, part.z2)])
            )


def tool_scale(profiles: Sequence[tuple[Slice, ...]], room: QSizeF) -> float:
    """Pixels per mm so that every tool has room, with its holder's lower end at least."""
    wide = max((2.0 * max(s.r1, s.r2) for p in profiles for s in p), default=1.0)
    high = max((p[-1].z2 for p in profiles if p), default=1.0)
    return min(room.width() / wide, room.height() / high)
