"""The marks of the verdicts, their plates, the hatches and six glyphs, drawn with a painter.

1. All are built from the same two jaws and bars on a field of 22 x 14; what is between the jaws is the room.
2. Severity is told by mark and word; colour comes last. Not checked is hatched wherever it is shown.
3. Everything is drawn in pixels of the design; Qt scales it with the screen.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from enum import StrEnum

from PySide6.QtCore import QLineF, QPointF, QRectF, QSizeF, Qt
from PySide6.QtGui import QColor, QFontMetricsF, QIcon, QPainter, QPainterPath, QPen, QPixmap

from app.window.theme import RING, Palette, Theme
from kinematics.verdict import Verdict

MARK = QSizeF(22.0, 14.0)
PLATE_HEIGHT = 26.0
EDGE_WIDTHS = {
    Verdict.HITS: 10.0,
    Verdict.CAN_HIT: 8.0,
    Verdict.NOT_CHECKED: 6.0,
    Verdict.TIGHT: 6.0,
    Verdict.CLEAR: 2.0,
}
_PAD = 6.0
_ICON_SCALE = 3  # a pixmap for an icon is drawn this much larger, so that it stays sharp on dense screens


class Glyph(StrEnum):
    """Six signs, each shown with its word."""

    GAP = "gap"
    DOOR = "door"
    TOOL = "tool"
    SWEPT = "swept"
    UNDO = "undo"
    REDO = "redo"


@contextmanager
def painting(painter: QPainter) -> Iterator[None]:
    """The painter's state is put back afterwards."""
    painter.save()
    try:
        yield
    finally:
        painter.restore()


# ---- hatch ---------------------------------------------------------------------------------------


def hatch_lines(rect: QRectF, step: float, angle_deg: float) -> Iterator[QLineF]:
    """Lines over a rectangle at an angle (0 level, counted against the clock), `step` apart; not yet clipped."""
    centre, reach = rect.center(), (rect.width() ** 2 + rect.height() ** 2) ** 0.5 / 2.0 + step
    along = QLineF.fromPolar(1.0, angle_deg)
    across = QLineF.fromPolar(1.0, angle_deg + 90.0)
    n = int(reach / step) + 1
    for k in range(-n, n + 1):
        middle = centre + QPointF(across.dx(), across.dy()) * (k * step)
        way = QPointF(along.dx(), along.dy()) * reach
        yield QLineF(middle - way, middle + way)


def draw_hatch(
    painter: QPainter, rect: QRectF, colour: QColor, *, step: float = 5.0, angle_deg: float = 45.0, width: float = 1.0
) -> None:
    """Hatch a rectangle."""
    if rect.isEmpty():
        return
    with painting(painter):
        painter.setClipRect(rect, Qt.ClipOperation.IntersectClip)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setPen(QPen(colour, width))
        for line in hatch_lines(rect, step, angle_deg):
            painter.drawLine(line)


def shade(painter: QPainter, rect: QRectF, verdict: Verdict, palette: Palette) -> None:
    """Fill a rectangle with a verdict's shade; not checked is hatched over it."""
    plate = palette.plate(verdict)
    painter.fillRect(rect, plate.fill)
    if verdict is Verdict.NOT_CHECKED:
        draw_hatch(painter, rect, _faint(plate.text), step=6.0)


def _faint(colour: QColor) -> QColor:
    made = QColor(colour)
    made.setAlphaF(0.35)
    return made


# ---- marks and plates ----------------------------------------------------------------------------


def draw_mark(painter: QPainter, at: QPointF, verdict: Verdict, colour: QColor, under: QColor) -> None:
    """The mark of a verdict with its upper left corner `at`, 22 x 14.

    `colour` : of the jaws. `under` : what it is drawn on, for what is cut out.
    """
    with painting(painter):
        painter.translate(at)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(colour)
        match verdict:
            case Verdict.HITS:  # one solid bar, x cut out
                painter.drawRect(QRectF(0, 0, 22, 14))
                painter.setRenderHint(QPainter.RenderHint.Antialiasing)
                painter.setPen(QPen(under, 2.0))
                painter.drawLine(QLineF(7, 3, 15, 11))
                painter.drawLine(QLineF(15, 3, 7, 11))
            case Verdict.CAN_HIT:  # two jaws of 10, gap 2
                painter.drawRect(QRectF(0, 1, 10, 12))
                painter.drawRect(QRectF(12, 1, 10, 12))
            case Verdict.TIGHT:  # jaws of 6, gap 10, a dash in it
                painter.drawRect(QRectF(0, 1, 6, 12))
                painter.drawRect(QRectF(16, 1, 6, 12))
                painter.drawRect(QRectF(8, 6, 6, 2))
            case Verdict.CLEAR:  # jaws of 2, gap 18
                painter.drawRect(QRectF(0, 1, 2, 12))
                painter.drawRect(QRectF(20, 1, 2, 12))
            case Verdict.NOT_CHECKED:  # jaw, ?, dotted jaw
                painter.drawRect(QRectF(0, 1, 3, 12))
                for y in (1.0, 5.5, 10.0):
                    painter.drawRect(QRectF(19, y, 3, 3))
                _question(painter, colour)


def _question(painter: QPainter, colour: QColor) -> None:
    """A question mark in the middle of the mark, as a line of 2 px and a dot."""
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    path = QPainterPath(QPointF(8, 4.2))
    path.cubicTo(QPointF(8.2, 0.8), QPointF(14.2, 0.8), QPointF(14.0, 4.2))
    path.cubicTo(QPointF(13.9, 6.2), QPointF(11.0, 6.2), QPointF(11.0, 9.2))
    painter.setBrush(Qt.BrushStyle.NoBrush)
    painter.setPen(QPen(colour, 2.0))
    painter.drawPath(path)
    painter.fillRect(QRectF(10, 11, 2, 2), colour)


def plate_width(word: str, theme: Theme) -> float:
    """How wide a plate with this word is."""
    return _PAD + MARK.width() + _PAD + QFontMetricsF(theme.type.quiet_bold).horizontalAdvance(word) + _PAD


def draw_plate(painter: QPainter, rect: QRectF, verdict: Verdict, word: str, theme: Theme) -> None:
    """A verdict's plate, 26 high: mark, word in capitals, frame of 1 px ink."""
    shade(painter, rect, verdict, theme.palette)
    _on_plate(painter, rect, verdict, word, theme, theme.plate(verdict).text, theme.plate(verdict).fill)


def draw_hollow_plate(painter: QPainter, rect: QRectF, verdict: Verdict, word: str, theme: Theme) -> None:
    """The plate of a number that is not of the present scene: the same without its fill."""
    painter.fillRect(rect, theme.palette.card)
    _on_plate(painter, rect, verdict, word, theme, theme.palette.quiet, theme.palette.card)


def _on_plate(
    painter: QPainter, rect: QRectF, verdict: Verdict, word: str, theme: Theme, colour: QColor, under: QColor
) -> None:
    with painting(painter):
        painter.setPen(QPen(theme.palette.ink, 1.0))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.drawRect(rect.adjusted(0.5, 0.5, -0.5, -0.5))
        top = round(rect.center().y() - MARK.height() / 2.0)
        draw_mark(painter, QPointF(rect.left() + _PAD, top), verdict, colour, under)
        painter.setFont(theme.type.quiet_bold)
        painter.setPen(colour)
        where = rect.adjusted(_PAD + MARK.width() + _PAD, 0.0, -2.0, 0.0)
        painter.drawText(where, Qt.AlignmentFlag.AlignVCenter | Qt.AlignmentFlag.AlignLeft, word)


def draw_edge(painter: QPainter, rect: QRectF, verdict: Verdict, palette: Palette) -> None:
    """The bar at the left edge of a card, as wide as the verdict is bad; not checked is hatched."""
    bar = QRectF(rect.left(), rect.top(), EDGE_WIDTHS[verdict], rect.height())
    if verdict is Verdict.NOT_CHECKED:
        draw_hatch(painter, bar, palette.ink, step=4.0, width=1.5)
        painter.fillRect(QRectF(bar.right(), bar.top(), 1.0, bar.height()), palette.ink)
    else:
        painter.fillRect(bar, palette.ink)


def draw_stale_edge(painter: QPainter, rect: QRectF, verdict: Verdict, palette: Palette) -> None:
    """The bar of a card whose numbers are not of the present scene: hatched, whatever the verdict."""
    bar = QRectF(rect.left(), rect.top(), max(EDGE_WIDTHS[verdict], 6.0), rect.height())
    draw_hatch(painter, bar, palette.quiet, step=4.0)


def draw_focus(painter: QPainter, rect: QRectF, palette: Palette) -> None:
    """The ring of focus inside a rectangle: 2 px ink, then 2 px paper."""
    with painting(painter):
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, on=False)
        painter.setBrush(Qt.BrushStyle.NoBrush)
        for i, colour in enumerate((palette.ink, palette.card)):
            pen = QPen(colour, RING)
            pen.setJoinStyle(Qt.PenJoinStyle.MiterJoin)
            painter.setPen(pen)
            inset = RING * (i + 0.5)
            painter.drawRect(rect.adjusted(inset, inset, -inset, -inset))


# ---- glyphs --------------------------------------------------------------------------------------


def draw_glyph(painter: QPainter, at: QPointF, glyph: Glyph, colour: QColor) -> None:
    """One of the six glyphs with its upper left corner `at`, 22 x 14."""
    with painting(painter):
        painter.translate(at)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(colour)
        match glyph:
            case Glyph.GAP:  # two jaws with a line between them
                painter.drawRect(QRectF(0, 0, 3, 14))
                painter.drawRect(QRectF(19, 0, 3, 14))
                painter.drawRect(QRectF(3, 6, 16, 2))
            case Glyph.DOOR:  # a leaf that stands open between its posts
                painter.drawRect(QRectF(0, 0, 2, 14))
                painter.drawRect(QRectF(20, 0, 2, 14))
                painter.drawRect(QRectF(0, 12, 8, 2))
                painter.drawRect(QRectF(14, 12, 8, 2))
                painter.setPen(QPen(colour, 2.0))
                painter.drawLine(QLineF(7, 12, 14, 3))
            case Glyph.TOOL:  # holder, shank, tip
                painter.drawRect(QRectF(4, 0, 14, 4))
                painter.drawRect(QRectF(7, 4, 8, 4))
                painter.drawRect(QRectF(10, 8, 2, 6))
            case Glyph.SWEPT:  # a bar at three angles of one turn
                painter.setPen(QPen(colour, 2.0))
                for end in (QPointF(20, 12), QPointF(17, 5.5), QPointF(11, 1.5)):
                    painter.drawLine(QLineF(QPointF(2, 12), end))
            case Glyph.UNDO | Glyph.REDO:  # a bar that turns back on itself
                if glyph is Glyph.REDO:
                    painter.translate(22, 0)
                    painter.scale(-1, 1)
                painter.setBrush(Qt.BrushStyle.NoBrush)
                painter.setPen(QPen(colour, 2.0))
                path = QPainterPath(QPointF(4, 5))
                path.lineTo(18, 5)
                path.lineTo(18, 12)
                path.lineTo(9, 12)
                painter.drawPath(path)
                painter.drawLine(QLineF(8.5, 0.5, 4, 5))
                painter.drawLine(QLineF(8.5, 9.5, 4, 5))


def glyph_icon(glyph: Glyph, palette: Palette) -> QIcon:
    """A glyph for a button: ink, and paper where the button is down."""
    icon = QIcon()
    for colour, state in ((palette.ink, QIcon.State.Off), (palette.card, QIcon.State.On)):
        pixmap = QPixmap(int(MARK.width()) * _ICON_SCALE, int(MARK.height()) * _ICON_SCALE)
        pixmap.fill(Qt.GlobalColor.transparent)
        painter = QPainter(pixmap)
        painter.scale(_ICON_SCALE, _ICON_SCALE)
        draw_glyph(painter, QPointF(0, 0), glyph, colour)
        painter.end()
        icon.addPixmap(pixmap, QIcon.Mode.Normal, state)
    return icon
