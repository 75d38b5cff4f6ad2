"""One dial as a row: name, number field with its unit, face, and what turning it makes of the worst spare.

Dials of one group share a row; its name is then their letters (part x y z), one of which is shown.
The row says moved(key, value) while it is turned, let_go(key, value), reset(key), focused(key), sibling_wanted(key).
"""

from __future__ import annotations

from dataclasses import dataclass

from PySide6.QtCore import QEvent, QObject, QRectF, Qt, Signal, Slot
from PySide6.QtGui import QKeyEvent, QMouseEvent, QPainter, QPaintEvent, QResizeEvent
from PySide6.QtWidgets import QLineEdit, QWidget

from app.jobs.dial_faces import DialKind, DialOffer
from app.window import units
from app.window.panels.dial_face import DialFaceWidget
from app.window.panels.dial_picture import HEIGHT
from app.window.panels.painted import LEFT, MIDDLE, RIGHT, fitted, width_of
from app.window.theme import INSIDE, Theme
from app.window.units import NumberFault, Unit
from kinematics.verdict import Verdict

NAME_WIDTH, FIELD_WIDTH, RESULT_WIDTH = 88, 76, 104
_NARROW_RESULT = 80
_LETTER = 17.0  # px, of one of x y z


@dataclass(frozen=True, slots=True)
class Worst:
    """The worst spare that a dial is about. `spare` is None on contact, or where nothing was established."""

    verdict: Verdict
    spare: float | None
    keep_off: float


class NumberField(QLineEdit):
    """A number with its unit at the right edge; arrow keys step like the dial's."""

    def __init__(self, theme: Theme, row: DialRow) -> None:
        super().__init__(row)
        self.theme, self.row, self.suffix = theme, row, ""
        self.setFont(theme.type.text)

    def show_suffix(self, suffix: str) -> None:
        self.suffix = suffix
        self.setTextMargins(0, 0, int(width_of(suffix, self.theme.type.quiet)) + 3, 0)
        self.update()

    def paintEvent(self, event: QPaintEvent) -> None:
        super().paintEvent(event)
        painter = QPainter(self)
        painter.setFont(self.theme.type.quiet)
        painter.setPen(self.theme.palette.quiet)
        painter.drawText(QRectF(self.rect()).adjusted(0, 0, -5, 0), int(RIGHT), self.suffix)
        painter.end()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        if event.key() in (Qt.Key.Key_Up, Qt.Key.Key_Down):
            self.row.face.keyPressEvent(event)
        elif event.key() == Qt.Key.Key_Escape:
            self.row.show_value(self.row.face.value)
            self.row.face.setFocus()
        else:
            super().keyPressEvent(event)
            if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
                event.accept()  # it is the field's own


class DialRow(QWidget):
    """One dial."""

    moved = Signal(str, object)
    let_go = Signal(str, object)
    reset = Signal(str)
    focused = Signal(str)
    sibling_wanted = Signal(str)

    def __init__(self, theme: Theme, offer: DialOffer, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.theme, self.unit, self.offer = theme, Unit.MM, offer
        self.before: Worst | None = None
        self.now: Worst | None = None
        self.saved_worst: Worst | None = None  # while the dial stood at its saved value
        self.is_busy = False
        self.siblings: tuple[DialOffer, ...] = ()
        self.setFixedHeight(HEIGHT)
        self.face = DialFaceWidget(theme, offer, self)
        self.field = NumberField(theme, self)
        self.field.setVisible(offer.kind is not DialKind.CHOICE)
        self.field.setAccessibleName(offer.name)
        self.face.moved.connect(self._moved)
        self.face.chosen.connect(self._moved)
        self.face.let_go.connect(self._let_go)
        self.face.reset.connect(self._reset)
        self.face.installEventFilter(self)
        self.field.returnPressed.connect(self._typed)
        self.restyle(theme, self.unit)
        self._enable()

    # ---- what it shows ---------------------------------------------------------------------------

    def restyle(self, theme: Theme, unit: Unit) -> None:
        self.theme, self.unit = theme, unit
        self.face.restyle(theme, unit)
        self.field.theme = theme
        self.field.show_suffix({DialKind.LENGTH: str(unit), DialKind.ANGLE: units.DEGREE}.get(self.offer.kind, ""))
        self.show_value(self.face.value)
        self.update()

    def _enable(self) -> None:
        """What can't be turned is there to say why."""
        for widget in (self.face, self.field):
            widget.setEnabled(self.offer.rule is not None or bool(self.offer.choices))

    def show_offer(self, offer: DialOffer) -> None:
        self.offer = offer
        self._enable()
        self.face.show_offer(offer)
        if not self.face.is_held:
            self.show_value(offer.now)
        self.update()

    def show_value(self, value: float | str) -> None:
        self.face.show_value(value)
        if isinstance(value, float):
            text = self.face.text_of(value)
            if self.field.text() != text:
                self.field.setText(text)

    def show_saved(self, saved: float | str) -> None:
        """The value in the file as it was saved last, which stays marked however often it is turned."""
        if saved != self.face.saved:
            self.face.show_saved(saved)
            self.saved_worst = None
            self.update()

    @property
    def is_turned(self) -> bool:
        return self.face.value != self.face.saved

    def show_worst(self, before: Worst | None, now: Worst | None) -> None:
        if not self.is_turned:
            self.saved_worst = now
        if (before, now) != (self.before, self.now):
            self.before, self.now = before, now
            self.update()

    def result(self) -> tuple[str, str]:
        """The worst spare at the saved value, and now: the second is empty where nothing was turned."""
        before = self.saved_worst or self.before
        if not self.is_turned or (self.saved_worst is None and self.before == self.now and not self.is_busy):
            return self._spare(self.now), ""
        return self._spare(before), "..." if self.now is None or self.is_busy else self._spare(self.now)

    def _spare(self, worst: Worst | None) -> str:
        if worst is None:
            return "..."
        if worst.verdict is Verdict.NOT_CHECKED:
            return "?"
        if worst.spare is None:
            return "hits" if worst.verdict is Verdict.HITS else str(worst.verdict)
        return units.spare_text(worst.spare, worst.keep_off, self.unit)

    # ---- layout ------------------------------------------------------------------------------------

    def _result_width(self) -> int:
        wide = RESULT_WIDTH if self.unit is Unit.MM else RESULT_WIDTH + 8
        return wide if self.width() >= 480 or self.unit is Unit.INCH else _NARROW_RESULT

    def resizeEvent(self, event: QResizeEvent) -> None:
        self._arrange()
        super().resizeEvent(event)

    def _arrange(self) -> None:
        left = INSIDE + NAME_WIDTH
        right = self.width() - INSIDE - self._result_width()
        self.field.setGeometry(left, 1, FIELD_WIDTH, 28)
        face = left if self.offer.kind is DialKind.CHOICE else left + FIELD_WIDTH + 4
        self.face.setGeometry(face, 0, max(40, right - face), HEIGHT)

    def paintEvent(self, event: QPaintEvent) -> None:
        pal, fonts = self.theme.palette, self.theme.type
        painter = QPainter(self)
        painter.fillRect(event.rect(), pal.card)
        painter.setPen(pal.ink)
        painter.setFont(fonts.text_bold if self.is_turned else fonts.text)
        name = QRectF(INSIDE, 0, NAME_WIDTH - 4, HEIGHT)
        if self.siblings:
            self._paint_letters(painter)
        else:
            painter.drawText(name, int(LEFT), fitted(self.offer.name, painter.font(), name.width()))
        self._paint_result(painter)
        painter.end()

    def letters(self) -> list[tuple[DialOffer, QRectF]]:
        """Where the letter of each dial of the group stands."""
        left = INSIDE + NAME_WIDTH - 6 - _LETTER * len(self.siblings)
        return [(o, QRectF(left + _LETTER * i, 1.0, _LETTER, HEIGHT - 2.0)) for i, o in enumerate(self.siblings)]

    def _paint_letters(self, painter: QPainter) -> None:
        pal, fonts = self.theme.palette, self.theme.type
        word = self.offer.name.rpartition(" ")[0]
        room = self.letters()[0][1].left() - INSIDE - 2.0
        painter.drawText(QRectF(INSIDE, 0, room, HEIGHT), int(LEFT), fitted(word, painter.font(), room))
        for offer, box in self.letters():
            is_shown = offer.key == self.offer.key
            painter.setFont(fonts.text_bold if is_shown else fonts.text)
            painter.setPen(pal.ink if is_shown else pal.quiet)
            painter.drawText(box, int(MIDDLE), offer.name.rpartition(" ")[2])
            if is_shown:
                painter.fillRect(QRectF(box.left() + 3.0, box.bottom() - 5.0, box.width() - 6.0, 2.0), pal.ink)

    def mousePressEvent(self, event: QMouseEvent) -> None:
        wanted = [offer for offer, box in self.letters() if box.contains(event.position())]
        if wanted:
            self.sibling_wanted.emit(wanted[0].key)
        else:
            super().mousePressEvent(event)

    def _paint_result(self, painter: QPainter) -> None:
        pal, fonts = self.theme.palette, self.theme.type
        before, now = self.result()
        painter.setPen(pal.ink)
        box = QRectF(self.width() - INSIDE - self._result_width() + 6, 0, self._result_width() - 6, HEIGHT)
        if not now:
            painter.setFont(fonts.text)
            painter.drawText(box, int(RIGHT), fitted(before, fonts.text, box.width()))
            return
        painter.setFont(fonts.text_bold)
        shown = fitted(now, fonts.text_bold, box.width())
        painter.drawText(box, int(RIGHT), shown)
        box.setRight(box.right() - width_of(shown, fonts.text_bold))
        text = f"{before} > "
        font = fonts.text if width_of(text, fonts.text) <= box.width() else fonts.quiet
        painter.setFont(font)
        painter.setPen(pal.quiet)
        if width_of(text, font) <= box.width():
            painter.drawText(box, int(RIGHT), text)

    # ---- hands -------------------------------------------------------------------------------------

    @Slot(float)
    @Slot(str)
    def _moved(self, value: float | str) -> None:
        self.show_value(value)
        self.is_busy = True
        self.update()
        self.moved.emit(self.offer.key, value)

    @Slot()
    def _let_go(self) -> None:
        self.let_go.emit(self.offer.key, self.face.value)

    @Slot()
    def _reset(self) -> None:
        """Back to the saved value: where the text has another by now, that is a turn like any other."""
        saved = self.face.saved
        self.show_value(saved)
        if saved == self.offer.now:
            self.update()
            self.reset.emit(self.offer.key)
        else:
            self._moved(saved)
            self._let_go()

    @Slot()
    def _typed(self) -> None:
        try:
            if self.offer.kind is DialKind.LENGTH:
                value = units.length_in(self.field.text(), self.unit)
            else:
                value = units.number_in(self.field.text())
        except NumberFault as fault:
            self.field.setToolTip(fault.message)
            self.field.selectAll()
            return
        self.field.setToolTip("")
        if value != self.face.value:
            self._moved(value)
        self._let_go()

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        if event.type() == QEvent.Type.FocusIn:
            self.focused.emit(self.offer.key)
        if event.type() == QEvent.Type.KeyPress and isinstance(event, QKeyEvent):
            letter = event.text().lower()
            wanted = [o.key for o in self.siblings if letter and o.name.rpartition(" ")[2].lower() == letter]
            if wanted:
                self.sibling_wanted.emit(wanted[0])
                return True
        return super().eventFilter(watched, event)
