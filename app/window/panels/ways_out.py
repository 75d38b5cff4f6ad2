"""What would make a tight orientation clear, each with what it gains; and both positions of the table side by side.

Shows: changes as they are found (`show_changes`), positions (`show_positions`). Says: taken(words, texts, numbers): do
this one; it is one step, so that one key takes it back.
"""

from __future__ import annotations

from PySide6.QtCore import QRectF, QSize, Qt, Signal, Slot
from PySide6.QtGui import QKeyEvent, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QButtonGroup, QPushButton, QWidget

from app.jobs.proposals import Proposal
from app.window import units
from app.window.marks import draw_plate, plate_width
from app.window.panels.overlay import Overlay
from app.window.panels.painted import LEFT, RIGHT, fitted
from app.window.part_answers import AlternativesShown, Position, PositionsShown
from app.window.theme import AT_EDGE, BETWEEN, INSIDE, Theme
from app.window.units import Unit
from kinematics.verdict import Verdict

WIDTH, ROW, HEAD, TOP = 760, 34, 30, 54
PLATE, SPARE, GAIN, REST, BUTTON = 130, 64, 64, 150, 76
MOST_ROWS = 12


class WaysOut(Overlay):
    """A list of changes over the window."""

    taken = Signal(str, object, object)

    def __init__(self, theme: Theme, orientation: str, unit: Unit, parent: QWidget) -> None:
        super().__init__(theme, parent)
        self.orientation, self.unit = orientation, unit
        self.changes: tuple[Proposal, ...] = ()
        self.positions: tuple[Position, ...] = ()
        self.is_done, self.why_none = False, ""
        self._keys = QButtonGroup(self)
        self._keys.idClicked.connect(self._clicked)
        self._buttons: list[QPushButton] = []
        self.setAccessibleName(f"what would make {orientation} clear")

    # ---- what is shown ----

    def show_changes(self, shown: AlternativesShown) -> None:
        """The changes that are known, best first."""
        self.changes = shown.found[:MOST_ROWS]
        self.is_done, self.why_none = shown.is_done, shown.why_none
        self._fill()

    def show_positions(self, shown: PositionsShown) -> None:
        """Positions of the table that aim the tool alike."""
        self.positions = shown.positions
        self._fill()

    def set_theme(self, theme: Theme) -> None:
        """Another look."""
        super().set_theme(theme)
        self._fill()

    def _fill(self) -> None:
        """A button for each row that can be taken."""
        for button in self._buttons:
            self._keys.removeButton(button)
            button.deleteLater()
        self._buttons = []
        for index, change in enumerate(self.changes):
            self._buttons.append(self._button(index, f"Do it: {change.words}"))
        for index, position in enumerate(self.positions):
            if not position.is_now and not position.outside and position.edits:
                self._buttons.append(self._button(MOST_ROWS + index, "Turn the table there"))
        if self.isVisible():
            self._fit()
        self._place()
        self.update()

    def _button(self, number: int, tip: str) -> QPushButton:
        button = QPushButton("Take", self)
        button.setToolTip(tip)
        button.setAccessibleName(tip)
        self._keys.addButton(button, number)
        button.setFixedSize(BUTTON - INSIDE, 28)
        button.show()
        return button

    def _place(self) -> None:
        for button in self._buttons:
            number = self._keys.id(button)
            y = self._change_y(number) if number < MOST_ROWS else self._position_y(number - MOST_ROWS)
            button.move(self.width() - AT_EDGE - button.width(), int(y) + 3)

    # ---- where things stand ----

    @property
    def _n_rows(self) -> int:
        return max(1, len(self.changes))

    def _change_y(self, index: int) -> float:
        return TOP + HEAD + index * ROW

    def _position_y(self, index: int) -> float:
        return TOP + HEAD + self._n_rows * ROW + BETWEEN + HEAD + index * ROW

    def sizeHint(self) -> QSize:
        height = self._position_y(len(self.positions)) if self.positions else self._change_y(self._n_rows)
        return QSize(WIDTH, int(height) + 2 * AT_EDGE + 14)

    def _fit(self) -> None:
        super()._fit()
        self._place()

    # ---- painting ----

    def paintEvent(self, event: QPaintEvent) -> None:
        super().paintEvent(event)
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        pal, fonts = self.theme.palette, self.theme.type
        painter.setFont(fonts.name)
        painter.setPen(pal.ink)
        painter.drawText(QRectF(AT_EDGE, 8, self.width(), 40), int(LEFT), f"What would make {self.orientation} clear")
        painter.setFont(fonts.quiet)
        painter.setPen(pal.quiet)
        painter.drawText(QRectF(0, 8, self.width() - AT_EDGE, 40), int(RIGHT), "Esc closes this card")
        self._head(painter, TOP, "change", "then", "gain", "whole set-up")
        for index, change in enumerate(self.changes):
            self._paint_change(painter, change, self._change_y(index))
        if not self.changes:
            words = self.why_none or ("Trying holders, screws, turns ..." if not self.is_done else "nothing found")
            painter.setFont(fonts.text)
            painter.setPen(pal.ink)
            painter.drawText(QRectF(AT_EDGE, self._change_y(0), self.width() - 2 * AT_EDGE, ROW), int(LEFT), words)
        if self.positions:
            self._head(painter, self._position_y(0) - HEAD, "position of the table", "there", "", "least travel left")
            for index, position in enumerate(self.positions):
                self._paint_position(painter, position, self._position_y(index))
        painter.setFont(fonts.quiet)
        painter.setPen(pal.quiet)
        foot = QRectF(AT_EDGE, self.height() - 30, self.width() - 2 * AT_EDGE, 22)
        more = "" if self.is_done else "Still trying. "
        painter.drawText(
            foot, int(LEFT), f"{more}Links and swings are checked after a change is taken. Ctrl+Z takes it back."
        )
        painter.end()

    def _columns(self, y: float) -> tuple[QRectF, QRectF, QRectF, QRectF]:
        """Of what to do, spare and plate, gain, the rest."""
        right = self.width() - AT_EDGE - BUTTON
        rest = QRectF(right - REST, y, REST - INSIDE, ROW)
        gain = QRectF(rest.left() - GAIN, y, GAIN - INSIDE, ROW)
        then = QRectF(gain.left() - SPARE - PLATE, y, SPARE + PLATE - INSIDE, ROW)
        return QRectF(AT_EDGE, y, then.left() - AT_EDGE - INSIDE, ROW), then, gain, rest

    def _head(self, painter: QPainter, y: float, *words: str) -> None:
        pal, fonts = self.theme.palette, self.theme.type
        painter.setFont(fonts.quiet)
        painter.setPen(pal.quiet)
        for column, (rect, word) in enumerate(zip(self._columns(y), words, strict=True)):
            cell = QRectF(rect.left(), y, rect.width(), HEAD)
            painter.drawText(cell, int(RIGHT if column == 2 else LEFT), word)
        painter.setPen(QPen(pal.line, 1.0))
        painter.drawLine(int(AT_EDGE), int(y + HEAD - 1), int(self.width() - AT_EDGE), int(y + HEAD - 1))

    def _paint_change(self, painter: QPainter, change: Proposal, y: float) -> None:
        what, then, gain, rest = self._columns(y)
        self._write(painter, what, change.sentence, bold=True)
        self._verdict(painter, then, change.here.verdict, change.here.spare, change.here.keep_off)
        if change.gain is not None:
            self._write(painter, gain, f"+{units.length(change.gain, self.unit)}", right=True)
        self._write(painter, rest, self._rest_words(change))

    def _rest_words(self, change: Proposal) -> str:
        whole = change.everywhere
        number = "" if whole.spare is None else f" {units.proven(whole.spare, self.unit)}"
        where = f" at {whole.orientation}" if whole.orientation else ""
        worse = "worse: " if change.makes_worse else ""
        return f"{worse}{whole.verdict}{number}{where}"

    def _paint_position(self, painter: QPainter, position: Position, y: float) -> None:
        what, then, _, rest = self._columns(y)
        angles = ", ".join(f"{axis} {angle:.2f}" for axis, angle in position.angles_deg)
        now = "  (now)" if position.is_now else ""
        self._write(painter, what, f"{angles}{now}", bold=position.is_now)
        if position.outside or (position.travel_left is not None and position.travel_left < 0.0):
            word, hits = "CAN'T REACH", Verdict.HITS
            plate = QRectF(then.left(), y + 4, plate_width(word, self.theme), 26)
            draw_plate(painter, plate, hits, word, self.theme)
        else:
            self._verdict(painter, then, position.verdict, position.spare, position.keep_off)
        if position.outside:
            self._write(painter, rest, f"{', '.join(position.outside)} outside its limits")
        elif position.travel_left is not None:
            self._write(painter, rest, f"{units.length(position.travel_left, self.unit)} {self.unit}")

    def _verdict(self, painter: QPainter, rect: QRectF, verdict: Verdict, spare: float | None, keep_off: float) -> None:
        word = str(verdict).upper()
        width = plate_width(word, self.theme)
        draw_plate(painter, QRectF(rect.left(), rect.top() + 4, width, 26), verdict, word, self.theme)
        if spare is not None:
            number = QRectF(rect.left() + PLATE, rect.top(), SPARE - INSIDE, ROW)
            self._write(painter, number, units.spare_text(spare, keep_off, self.unit), bold=True, right=True)

    def _write(self, painter: QPainter, rect: QRectF, text: str, *, bold: bool = False, right: bool = False) -> None:
        font = self.theme.type.text_bold if bold else self.theme.type.text
        painter.setFont(font)
        painter.setPen(self.theme.palette.ink)
        painter.drawText(rect, int(RIGHT if right else LEFT), fitted(text, font, rect.width()))

    # ---- what is done ----

    @Slot(int)
    def _clicked(self, number: int) -> None:
        if number < MOST_ROWS:
            change = self.changes[number]
            self.taken.emit(change.sentence, change.texts, change.numbers)
        else:
            position = self.positions[number - MOST_ROWS]
            angles = ", ".join(f"{axis} {angle:g}" for axis, angle in position.angles_deg)
            self.taken.emit(f"{self.orientation} at {angles}", (), position.edits)
        self.shut()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        if event.key() in (Qt.Key.Key_Down, Qt.Key.Key_Up) and self._buttons:
            step = 1 if event.key() == Qt.Key.Key_Down else -1
            focused = next((i for i, b in enumerate(self._buttons) if b.hasFocus()), -1 if step > 0 else 0)
            self._buttons[(focused + step) % len(self._buttons)].setFocus(Qt.FocusReason.TabFocusReason)
        else:
            super().keyPressEvent(event)
