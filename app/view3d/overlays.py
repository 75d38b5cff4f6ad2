"""What lies over the bodies, painted by Qt: the gap's mark, its label, the glass. Letters are sharp at any scale.

1. What is laid out comes from `gap_mark.py`, in pixels of the design from the lower left corner; here y goes down.
2. A stale mark has no verdict's colour, and its number is an outline.
3. What this file does not know: what is near what, where labels go.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QFont, QFontMetricsF, QImage, QPainter, QPainterPath, QPen, QPolygonF

from app.view3d.gap_mark import NUMBER_SIZE, Area, Glass, Item, Point, Stroke, Words
from app.view3d.styles import Palette
from kinematics.verdict import Verdict


@dataclass(frozen=True, slots=True)
class Inks:
    """The colours of what is painted, and whether it is of the scene before the last change."""

    by_paint: Mapping[str, QColor]
    is_stale: bool = False


def inks_of(palette: Palette, verdict: Verdict, *, is_stale: bool) -> Inks:
    """The colours of a mark of a verdict."""
    plate = palette.verdicts[verdict]
    colours = {
        "jaws": palette.paper if is_stale else palette.jaws or plate.fill,
        "gap": palette.paper if is_stale else plate.fill,
        "on gap": palette.ink if is_stale else plate.text,
        "ink": palette.ink,
        "paper": palette.paper,
        "quiet": palette.quiet,
        "line": palette.line,
    }
    return Inks({name: QColor(colour) for name, colour in colours.items()}, is_stale)


class Letters:
    """Measures and finds fonts of one family by size and weight."""

    def __init__(self, family: str) -> None:
        self._family = family
        self._fonts: dict[tuple[int, bool], QFont] = {}

    def font(self, words: Words) -> QFont:
        key = (round(words.size), words.is_bold)
        found = self._fonts.get(key)
        if found is None:
            found = QFont(self._family)
            found.setPixelSize(max(1, key[0]))
            found.setBold(words.is_bold)
            found.setHintingPreference(QFont.HintingPreference.PreferNoHinting)
            self._fonts[key] = found
        return found

    def measure(self, words: Words) -> Point:
        metrics = QFontMetricsF(self.font(words))
        return metrics.horizontalAdvance(words.text), metrics.ascent() + metrics.descent()


def paint_items(
    painter: QPainter,
    items: Sequence[Item],
    inks: Inks,
    letters: Letters,
    height: float,
    glasses: Mapping[Glass, QImage],
) -> None:
    """Paint items, the first at the back, on a picture that is `height` pixels of the design high."""
    painter.save()
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    painter.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform)
    for item in items:
        match item:
            case Stroke(points, width, paint):
                pen = QPen(inks.by_paint[paint], width, Qt.PenStyle.SolidLine, Qt.PenCapStyle.SquareCap)
                pen.setJoinStyle(Qt.PenJoinStyle.MiterJoin)
                painter.setPen(pen)
                painter.setBrush(Qt.BrushStyle.NoBrush)
                if points[0] == points[-1]:
                    painter.drawPolygon(_polygon(points[:-1], height))
                else:
                    painter.drawPolyline(_polygon(points, height))
            case Area(points, paint):
                painter.setPen(Qt.PenStyle.NoPen)
                painter.setBrush(inks.by_paint[paint])
                painter.drawPolygon(_polygon(points, height))
            case Words():
                _write(painter, item, inks, letters, height)
            case Glass():
                _paint_glass(painter, item, glasses.get(item), inks, height)
    painter.restore()


def _polygon(points: Sequence[Point], height: float) -> QPolygonF:
    return QPolygonF([QPointF(x, height - y) for x, y in points])


def _write(painter: QPainter, words: Words, inks: Inks, letters: Letters, height: float) -> None:
    at = QPointF(words.at[0], height - words.at[1])
    colour = inks.by_paint[words.paint]
    if inks.is_stale and words.is_bold and words.size >= NUMBER_SIZE:  # hollow: of the scene before
        path = QPainterPath()
        path.addText(at, letters.font(words), words.text)
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.setPen(QPen(colour, 1.0))
        painter.drawPath(path)
        return
    painter.setFont(letters.font(words))
    painter.setPen(colour)
    painter.drawText(at, words.text)


def _paint_glass(painter: QPainter, glass: Glass, image: QImage | None, inks: Inks, height: float) -> None:
    x, y, r = glass.centre[0], height - glass.centre[1], glass.radius
    round_place = QRectF(x - r, y - r, 2 * r, 2 * r)
    path = QPainterPath()
    path.addEllipse(round_place)
    painter.save()
    if image is None:
        painter.fillPath(path, inks.by_paint["paper"])
    else:
        painter.setClipPath(path)
        painter.drawImage(round_place, image)
    painter.restore()
