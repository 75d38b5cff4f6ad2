"""The face of one dial to look at: a thin curve of the worst spare over a track of ranges.

1. The curve shows what a track hides: where the spare no longer grows. The keep-off is dotted.
2. The track has the shade of each range's verdict, its mark where there is room, ink between ranges; what was not
   computed yet is hatched. A choice has cells instead of ranges, with its words.
3. Open triangle: the saved value. Solid pin: now. Flag with a number: the least that is clear.
4. Values are mm or degrees. What turns it is `dial_face.py`.
"""

from __future__ import annotations

from PySide6.QtCore import QLineF, QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QFontMetricsF, QPainter, QPaintEvent, QPen, QPolygonF
from PySide6.QtWidgets import QWidget

from app.jobs.dial_faces import DialFace, DialKind, DialOffer, DialRange
from app.window import units
from app.window.marks import MARK, draw_focus, draw_hatch, draw_mark, painting, shade
from app.window.panels.painted import LEFT, MIDDLE, fitted, width_of
from app.window.theme import Theme
from app.window.units import Unit

HEIGHT = 30
_CURVE_TOP, _TRACK_TOP, _TRACK_BOTTOM = 2.0, 11.0, 25.0
_SIDE = 5.0  # px, left and right of the track, so that a pin at the end is whole
_MARK_FROM = 26.0  # px; a range wider than this has its mark
_CURVE_TO = 3.0  # times the keep-off, the spare at the top of the curve


class DialPicture(QWidget):
    """One face to look at."""

    def __init__(self, theme: Theme, offer: DialOffer, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.theme, self.unit, self.offer = theme, Unit.MM, offer
        self.face: DialFace | None = None
        self.value: float | str = offer.now
        self.saved: float | str = offer.now  # in the file as it was saved last
        self.helpful: tuple[str, ...] = ()
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setMouseTracking(True)
        self.setFixedHeight(HEIGHT)
        self.setMinimumWidth(60)
        self.setAccessibleName(offer.name)

    def sizeHint(self) -> QSize:
        return QSize(240, HEIGHT)

    # ---- what it shows ---------------------------------------------------------------------------

    def show_face(self, face: DialFace) -> None:
        self.face = face
        self.update()

    def forget(self) -> None:
        """Nothing is known of it."""
        if self.face is not None:
            self.face = None
            self.update()

    def show_value(self, value: float | str) -> None:
        if value != self.value:
            self.value = value
            self.update()

    def show_saved(self, saved: float | str) -> None:
        if saved != self.saved:
            self.saved = saved
            self.update()

    def show_offer(self, offer: DialOffer) -> None:
        """The same dial of a scene that was saved, or opened, since."""
        if offer.choices != self.offer.choices:
            self.face = None
        self.offer = offer
        self.update()

    def show_helpful(self, names: tuple[str, ...]) -> None:
        """Which other dials have a value that is clear, for the words at the end."""
        if names != self.helpful:
            self.helpful = names
            self.update()

    def restyle(self, theme: Theme, unit: Unit) -> None:
        self.theme, self.unit = theme, unit
        self.update()

    # ---- scale -------------------------------------------------------------------------------------

    @property
    def _is_choice(self) -> bool:
        return self.offer.kind is DialKind.CHOICE

    def _span(self) -> tuple[float, float]:
        low, high = self.offer.low, self.offer.high
        if self.face and self.face.ranges:
            low, high = min(low, self.face.ranges[0].start), max(high, self.face.ranges[-1].end)
        for value in (self.value, self.saved):
            if isinstance(value, float):
                low, high = min(low, value), max(high, value)
        return low, (high if high > low else low + 1.0)

    @property
    def _track(self) -> QRectF:
        return QRectF(_SIDE, _TRACK_TOP, self.width() - 2 * _SIDE, _TRACK_BOTTOM - _TRACK_TOP)

    def x_of(self, value: float) -> float:
        """px of a value."""
        low, high = self._span()
        return self._track.left() + (value - low) / (high - low) * self._track.width()

    def value_at(self, x: float) -> float:
        """The value at a px."""
        low, high = self._span()
        share = min(1.0, max(0.0, (x - self._track.left()) / self._track.width()))
        return low + share * (high - low)

    def cells(self) -> list[tuple[str, QRectF]]:
        """Where each choice stands."""
        area = QRectF(0.0, 1.0, self.width(), HEIGHT - 2.0)
        n = max(1, len(self.offer.choices))
        width = area.width() / n
        return [
            (choice.word, QRectF(area.left() + i * width, area.top(), width, area.height()))
            for i, choice in enumerate(self.offer.choices)
        ]

    def range_at(self, value: float) -> DialRange | None:
        """The range that holds a value; of two that meet there, the worse."""
        if self.face is None:
            return None
        found = [r for r in self.face.ranges if r.start <= value <= r.end]
        return max(found, key=lambda r: 5 if r.verdict is None else r.verdict.severity, default=None)

    def edges(self) -> list[float]:
        """Where one range ends and the next begins."""
        if self.face is None:
            return []
        return sorted({end for r in self.face.ranges for end in (r.start, r.end)})

    def text_of(self, value: float) -> str:
        """A value as the number field shows it."""
        if self.offer.kind is DialKind.LENGTH:
            return units.dial_text(value, self.unit)
        text = units.angle(value)
        return text.removesuffix("0") if text.endswith("0") else text

    # ---- paint -------------------------------------------------------------------------------------

    def paintEvent(self, event: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.fillRect(event.rect(), self.theme.palette.card)
        if self.hasFocus():
            draw_focus(painter, QRectF(self.rect()), self.theme.palette)
        if self._is_choice:
            self._paint_cells(painter)
        else:
            self._paint_track(painter)
            self._paint_curve(painter)
            self._paint_end(painter)
            self._paint_hands(painter)
        painter.end()

    def _paint_track(self, painter: QPainter) -> None:
        pal, track = self.theme.palette, self._track
        if self.face is None or not self.face.ranges:
            draw_hatch(painter, track, pal.line)
        else:
            for r in self.face.ranges:
                self._paint_range(painter, r)
        with painting(painter):
            painter.setRenderHint(QPainter.RenderHint.Antialiasing, on=False)
            painter.setPen(QPen(pal.ink, 1.0))
            painter.drawRect(track.adjusted(0, 0, -1, -1))

    def _range_rect(self, r: DialRange) -> QRectF:
        left, right = self.x_of(r.start), self.x_of(r.end)
        return QRectF(left, _TRACK_TOP, max(right - left, 1.0), self._track.height())

    def _paint_range(self, painter: QPainter, r: DialRange) -> None:
        pal, rect = self.theme.palette, self._range_rect(r)
        if r.verdict is None:
            draw_hatch(painter, rect, pal.line)
            return
        shade(painter, rect, r.verdict, pal)
        if self.face is not None and not self.face.is_finished:  # another cut may still make it worse
            draw_hatch(painter, rect, pal.line, step=8.0)
        if rect.width() > _MARK_FROM:
            plate = self.theme.plate(r.verdict)
            at = QPointF(round(rect.center().x() - MARK.width() / 2.0), _TRACK_TOP)
            draw_mark(painter, at, r.verdict, plate.text, plate.fill)
        painter.fillRect(QRectF(round(rect.right()) - 1.0, rect.top(), 1.0, rect.height()), pal.ink)

    def _curve_y(self, spare: float, top: float) -> float:
        share = min(1.0, max(0.0, spare / top))
        return _TRACK_TOP - 1.5 - share * (_TRACK_TOP - 1.5 - _CURVE_TOP)

    def _paint_curve(self, painter: QPainter) -> None:
        face = self.face
        if face is None or len(face.curve) < 2:
            return
        pal = self.theme.palette
        top = max(face.keep_off * _CURVE_TO, 1e-6)
        y = self._curve_y(face.keep_off, top)
        painter.setPen(QPen(pal.line, 1.0, Qt.PenStyle.DotLine))
        painter.drawLine(QLineF(self._track.left(), y, self._track.right(), y))
        painter.setPen(QPen(pal.ink, 1.2))
        line = QPolygonF([QPointF(self.x_of(p.value), self._curve_y(p.spare or 0.0, top)) for p in face.curve])
        painter.drawPolyline(line)

    def _paint_hands(self, painter: QPainter) -> None:
        pal, face = self.theme.palette, self.face
        if face is not None and face.least_clear is not None:
            self._paint_flag(painter, face.least_clear)
        painter.setPen(QPen(pal.ink, 1.2))
        if isinstance(self.saved, float):  # saved: an open triangle
            x = self.x_of(self.saved)
            painter.setBrush(pal.card)
            painter.drawPolygon([QPointF(x - 4.0, 28.0), QPointF(x, 23.5), QPointF(x + 4.0, 28.0)])
        if isinstance(self.value, float):  # now: a solid pin
            x = self.x_of(self.value)
            painter.setPen(Qt.PenStyle.NoPen)
            painter.setBrush(pal.card)
            painter.drawRect(QRectF(x - 2.5, _TRACK_TOP - 4.0, 5.0, 19.0))
            painter.setBrush(pal.ink)
            painter.drawRect(QRectF(x - 1.5, _TRACK_TOP - 4.0, 3.0, 19.0))
            painter.drawEllipse(QPointF(x, _TRACK_TOP - 4.0), 4.0, 4.0)

    def _paint_flag(self, painter: QPainter, least: float) -> None:
        """A pole with its number where the clear range begins."""
        pal, font, x = self.theme.palette, self.theme.type.quiet_bold, self.x_of(least)
        painter.fillRect(QRectF(round(x) - 1.0, 0.0, 2.0, _TRACK_BOTTOM + 3.0), pal.ink)
        text = units.used_up(least, self.unit) if self.offer.kind is DialKind.LENGTH else self.text_of(least)
        width = width_of(text, font) + 6.0
        plate = QRectF(x + 1.0, 0.0, width, 11.0)
        pin = self.x_of(self.value) if isinstance(self.value, float) else x
        is_under_hand = x + 1.0 < pin + 4.0 and pin - 4.0 < plate.right() and pin > x + 4.0
        if plate.right() > self.width() or (is_under_hand and plate.width() < x):
            plate.moveRight(x - 1.0)
        painter.fillRect(plate, pal.card)
        painter.setFont(font)
        painter.setPen(pal.ink)
        painter.drawText(plate.adjusted(0, -3, 0, 3), int(MIDDLE), text)

    def end_text(self) -> str:
        """What the face says at its end where no value is clear, or nothing can be told."""
        return self._end_texts()[0]

    def _end_texts(self) -> tuple[str, ...]:
        """The same, the longest first."""
        face = self.face
        if face is None or not (face.why or face.is_never_clear):
            return ("",)
        if face.why:
            return (face.why,)
        what = {"stick_out": "length", "h": "height", "tilt": "angle"}.get(self.offer.key.rpartition("/")[2], "value")
        words = f"no {what} clears"
        tries = [f"{words}: try {', '.join(self.helpful[:n])}" for n in (2, 1) if len(self.helpful) >= n]
        return (*tries, words, "none clear")

    def _paint_end(self, painter: QPainter) -> None:
        """At the end of the curve where nothing is clear, on the track where there are no ranges; beside the hand."""
        font, track = self.theme.type.quiet_bold, self._track
        texts = self._end_texts()
        if not texts[0]:
            return
        pin = self.x_of(self.value) if isinstance(self.value, float) else track.left()
        left, right = pin - 8.0 - track.left(), track.right() - pin - 8.0
        room = max(left, right) - 6.0
        text = next((t for t in texts if width_of(t, font) <= room), texts[-1])
        shown = QFontMetricsF(font).elidedText(text, Qt.TextElideMode.ElideRight, room)
        if shown != text and text == texts[-1] and len(texts) > 1:
            return  # the tool tip says it
        has_ranges = self.face is not None and bool(self.face.ranges)
        plate = QRectF(0.0, 0.0, width_of(shown, font) + 6.0, _TRACK_TOP - 0.5)
        if not has_ranges:
            plate = QRectF(0.0, _TRACK_TOP + 1.0, plate.width(), track.height() - 3.0)
        plate.moveRight(track.right() - 1.0 if right >= left else pin - 8.0)
        painter.fillRect(plate, self.theme.palette.card)
        painter.setFont(font)
        painter.setPen(self.theme.palette.ink)
        painter.drawText(plate.adjusted(0, -3, 0, 3), int(MIDDLE), shown)

    def _paint_cells(self, painter: QPainter) -> None:
        pal, fonts = self.theme.palette, self.theme.type
        known = {cell.word: cell for cell in self.face.cells} if self.face else {}
        for word, rect in self.cells():
            inner = rect.adjusted(1, 2, -1, -3)
            cell = known.get(word)
            verdict = cell.verdict if cell else None
            if verdict is None:
                painter.fillRect(inner, pal.card)
                draw_hatch(painter, inner, pal.line)
                colour, under = pal.ink, pal.card
            else:
                shade(painter, inner, verdict, pal)
                colour, under = self.theme.plate(verdict).text, self.theme.plate(verdict).fill
            is_now, is_saved = word == self.value, word == self.saved
            with painting(painter):
                painter.setRenderHint(QPainter.RenderHint.Antialiasing, on=False)
                painter.setBrush(Qt.BrushStyle.NoBrush)
                painter.setPen(QPen(pal.ink, 3.0 if is_now else 1.0))
                painter.drawRect(inner.adjusted(1, 1, -2, -2) if is_now else inner.adjusted(0, 0, -1, -1))
            room = inner.adjusted(4, 0, -3, 0)
            if verdict is not None and room.width() > MARK.width() + 4.0 + width_of(word, fonts.quiet_bold):
                at = QPointF(room.left(), round(room.center().y() - MARK.height() / 2.0))
                draw_mark(painter, at, verdict, colour, under)
                room.setLeft(room.left() + MARK.width() + 4.0)
            is_bold = is_now and width_of(word, fonts.quiet_bold) <= room.width()
            painter.setFont(fonts.quiet_bold if is_bold else fonts.quiet)
            painter.setPen(colour)
            short = word if width_of(word, painter.font()) <= room.width() else word.split()[-1]
            painter.drawText(room, int(LEFT), fitted(short, painter.font(), room.width()))
            if is_saved:
                x = rect.center().x()
                painter.setPen(QPen(pal.ink, 1.2))
                painter.setBrush(pal.card)
                painter.drawPolygon([QPointF(x - 4.0, 28.0), QPointF(x, 23.5), QPointF(x + 4.0, 28.0)])

    # ---- words ---------------------------------------------------------------------------------------

    def tip_at(self, at: QPointF) -> str:
        """What a place on the face says: `10.0 to 18.8: tight, 1.55, same all along`."""
        if self._is_choice:
            word = next((w for w, rect in self.cells() if rect.contains(at)), None)
            cell = next((c for c in self.face.cells if c.word == word), None) if self.face else None
            if word is None or cell is None or cell.verdict is None:
                return f"{word}: not computed yet" if word else ""
            return _joined(f"{word}: {cell.verdict}", self._spare(cell.spare), cell.where)
        found = self.range_at(self.value_at(at.x()))
        if found is None:
            return self.end_text()
        where = f"{self.text_of(found.start)} to {self.text_of(found.end)}"
        if found.verdict is None:
            return f"{where}: not computed yet"
        flat = "same all along" if found.is_flat else ""
        return _joined(f"{where}: {found.verdict}", self._spare(found.spare), flat, found.where, self.end_text())

    def _spare(self, spare: float | None) -> str:
        keep_off = self.face.keep_off if self.face else 0.0
        return "" if spare is None else units.spare_text(spare, keep_off, self.unit)


def _joined(*parts: str) -> str:
    return ", ".join(part for part in parts if part)
