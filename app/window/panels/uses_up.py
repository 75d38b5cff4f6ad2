"""What uses it up: a clearance to scale, cut like a stack of gauge blocks, with what is left at its end.

Shows: UsesUp (`show_bar`), how far the part may be off (`show_part_off`).
Says: edited(path, value), the number behind a block, mm or degrees; picked(path) when a block is gone to.
"""

from __future__ import annotations

from PySide6.QtCore import QLineF, QPointF, QRectF, QSize, Qt, Signal, Slot
from PySide6.QtGui import QFocusEvent, QFontMetricsF, QKeyEvent, QMouseEvent, QPainter, QPen
from PySide6.QtWidgets import QLineEdit, QWidget

from app.jobs.plots import Term, UsesUp
from app.window import units
from app.window.marks import draw_focus, draw_hatch, painting, shade
from app.window.panels.painted import LEFT, MIDDLE, RIGHT, TITLE, Painted, width_of
from app.window.theme import INSIDE, Theme
from app.window.units import NumberFault, Unit

HATCHES = (45.0, 135.0, 0.0, 90.0, 20.0)  # degrees, one for each term
NAMES = ("location", "model", "diameters", "stick-out", "tilt")
_PAIR, _RULE, _BAR, _BELOW = 20.0, 20.0, 36.0, 20.0
_ROW, _TIGHT_ROW, _ROOMY_FROM = 22.0, 19.0, 285  # px; rows are lower in a panel that is
_FIELD = 84.0
_MOST_TEXT = 1.25  # of the clearance, how far a bar may reach beyond what it shows


class _Field(QLineEdit):
    """A number while it is edited; Return is its own."""

    left = Signal()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        super().keyPressEvent(event)
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            event.accept()

    def focusOutEvent(self, event: QFocusEvent) -> None:
        super().focusOutEvent(event)
        self.left.emit()


class UsesUpBar(Painted):
    """The bar and its terms."""

    edited = Signal(str, float)
    picked = Signal(str)

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(theme, parent)
        self.bar: UsesUp | None = None
        self.part_off = ""
        self.row = 0
        self._field = _Field(self)
        self._field.setFont(theme.type.text)
        self._field.setAlignment(Qt.AlignmentFlag.AlignRight)
        self._field.hide()
        self._field.returnPressed.connect(self._take)
        self._field.left.connect(self._close)
        self._editing: Term | None = None
        self.setMouseTracking(True)
        self.setMinimumSize(240, 240)

    def sizeHint(self) -> QSize:
        return QSize(320, 300)

    def show_bar(self, bar: UsesUp) -> None:
        """Another clearance."""
        self.bar, self.is_stale = bar, False
        self.row = min(self.row, max(0, len(bar.terms) - 1))
        if self._editing is not None and self._editing.path not in {t.path for t in bar.terms}:
            self._close()
        self.setAccessibleName(self.sentence())
        self.update()

    def show_part_off(self, text: str) -> None:
        """How far the part may be off, in words; empty while nobody knows."""
        self.part_off = text
        self.update()

    def forget(self) -> None:
        self.bar, self.part_off = None, ""
        self._close()

    @property
    def is_empty(self) -> bool:
        return self.bar is None

    @property
    def terms(self) -> tuple[Term, ...]:
        """What uses the clearance up, most first; what takes nothing is last."""
        return tuple(sorted(self.bar.terms, key=lambda t: -t.used)) if self.bar else ()

    def sentence(self) -> str:
        """The bar in words, for who does not see it."""
        bar = self.bar
        if bar is None or bar.clearance is None or bar.spare is None:
            return self.why_empty if bar is None else (bar.why or str(bar.verdict))
        used = ", ".join(f"{t.name} {units.length(t.used, self.unit)}" for t in self.terms)
        return (
            f"{bar.title}: clearance {units.proven(bar.clearance, self.unit)}, used up by {used}; "
            f"{units.spare_text(bar.spare, bar.keep_off, self.unit)} spare, "
            f"{units.length(bar.keep_off, self.unit)} wanted"
        )

    # ---- geometry of what is painted ---------------------------------------------------------------

    @property
    def _bar_rect(self) -> QRectF:
        return QRectF(INSIDE, TITLE + _PAIR + _RULE, self.width() - 2 * INSIDE, _BAR)

    @property
    def _scale(self) -> float:
        """px for a mm."""
        assert self.bar is not None and self.bar.clearance is not None, "a bar has a clearance"
        used = sum(t.used for t in self.bar.terms)
        whole = max(self.bar.clearance, used, min(used + self.bar.keep_off, self.bar.clearance * _MOST_TEXT), 1e-6)
        return self._bar_rect.width() / whole

    def blocks(self) -> list[tuple[Term, QRectF]]:
        """Where each term's block stands, longest first."""
        found, x, bar = [], self._bar_rect.left(), self._bar_rect
        for term in self.terms:
            width = term.used * self._scale
            found.append((term, QRectF(x, bar.top(), width, bar.height())))
            x += width
        return found

    def _row_rect(self, i: int) -> QRectF:
        height = _ROW if self.height() >= _ROOMY_FROM else _TIGHT_ROW
        top = self._bar_rect.bottom() + _BELOW + i * height
        return QRectF(INSIDE, top, self.width() - 2 * INSIDE, height)

    @property
    def _value_left(self) -> float:
        return self.width() - INSIDE - _FIELD

    # ---- paint -----------------------------------------------------------------------------------

    def paint(self, painter: QPainter) -> None:
        bar = self.bar
        assert bar is not None, "an empty panel is not painted"
        scale = self.theme.type
        self.write_title(painter, "WHAT USES IT UP", bar.title)
        pair = QRectF(INSIDE, TITLE, self.width() - 2 * INSIDE, _PAIR)
        self.write(painter, pair, " to ".join(bar.between or ()), scale.text_bold, self.ink)
        if bar.clearance is None or bar.spare is None:
            area = QRectF(INSIDE, TITLE + _PAIR, self.width() - 2 * INSIDE, 80.0)
            painter.setFont(scale.text)
            painter.setPen(self.ink)
            painter.drawText(area, int(Qt.AlignmentFlag.AlignTop | Qt.TextFlag.TextWordWrap), bar.why or "")
            return
        self._paint_rule(painter, bar)
        self._paint_blocks(painter, bar)
        for i, term in enumerate(self.terms):
            self._paint_row(painter, i, term)
        self._paint_part_off(painter)

    def _paint_part_off(self, painter: QPainter) -> None:
        """In as many lines as there is room for; the tool tip has all of it."""
        bottom, font = self._row_rect(len(self.terms)).top(), self.theme.type.quiet
        area = QRectF(INSIDE, bottom + 2.0, self.width() - 2 * INSIDE, self.height() - bottom - 3.0)
        flags = int(Qt.AlignmentFlag.AlignTop | Qt.TextFlag.TextWordWrap)
        said = f"In mm: {self.part_off}" if self.part_off and self.unit is Unit.INCH else self.part_off
        words, metrics = said.split(" "), QFontMetricsF(font)
        shown = said
        while len(words) > 1 and metrics.boundingRect(area, flags, shown).height() > area.height() + 1.0:
            words.pop()
            shown = f"{' '.join(words)} ..."
        painter.setFont(font)
        painter.setPen(self.ink)
        painter.drawText(area, flags, shown)

    def _paint_rule(self, painter: QPainter, bar: UsesUp) -> None:
        """The clearance as a dimension over the bar."""
        assert bar.clearance is not None, "checked by the caller"
        rect, end = self._bar_rect, self._bar_rect.left() + bar.clearance * self._scale
        y = rect.top() - _RULE / 2.0
        text = f"{units.proven(bar.clearance, self.unit)} clearance"
        if self.is_stale:
            text = f"was {text}"
        font = self.theme.type.quiet_bold
        width = width_of(text, font) + 8.0
        painter.setPen(QPen(self.ink, 1.0))
        left = rect.left()
        painter.drawLine(QLineF(left + 0.5, rect.top() - _RULE + 3, left + 0.5, rect.top() - 2))
        painter.drawLine(QLineF(end - 0.5, rect.top() - _RULE + 3, end - 0.5, rect.top() - 2))
        painter.drawLine(QLineF(left, y, end, y))
        middle = min(max((left + end) / 2.0, left + width / 2.0 + 4), rect.right() - width / 2.0)
        plate = QRectF(middle - width / 2.0, y - 9.0, width, 18.0)
        if end - left > width + 16.0:
            painter.fillRect(plate, self.theme.palette.card)
        else:  # beside a dimension that is too short for its text
            plate.moveLeft(end + 4.0)
        self.write(painter, plate, text, font, self.ink, MIDDLE)

    def _paint_blocks(self, painter: QPainter, bar: UsesUp) -> None:
        assert bar.clearance is not None and bar.spare is not None, "checked by the caller"
        pal, rect, scale = self.theme.palette, self._bar_rect, self._scale
        used = sum(t.used for t in bar.terms)
        end = rect.left() + bar.clearance * scale
        begin = rect.left() + used * scale
        if bar.spare > 0.0:
            block = QRectF(begin, rect.top(), end - begin, rect.height())
            if self.is_stale:
                draw_hatch(painter, block, pal.quiet, step=7.0)
            else:
                shade(painter, block, bar.verdict, pal)
        for i, (term, block) in enumerate(self.blocks()):
            step = 4.0 + (NAMES.index(term.name) if term.name in NAMES else i) % 2
            draw_hatch(painter, block, self.ink, step=step, angle_deg=_hatch_of(term))
            painter.setPen(QPen(self.ink, 1.0))
            if block.width() >= 1.0:
                painter.drawLine(QLineF(block.right(), block.top(), block.right(), block.bottom()))
        with painting(painter):
            painter.setRenderHint(QPainter.RenderHint.Antialiasing, on=False)
            painter.setPen(QPen(self.ink, 1.0))
            far = max(begin, end)
            painter.drawRect(QRectF(rect.left(), rect.top(), far - rect.left() - 1.0, rect.height() - 1.0))
            if bar.spare <= 0.0:  # errors reach beyond the clearance: where it ends stands a strong line
                painter.setPen(QPen(self.ink, 3.0))
                painter.drawLine(QLineF(end, rect.top() - 4.0, end, rect.bottom()))
        self._paint_spare(painter, bar, begin, end)

    def _paint_spare(self, painter: QPainter, bar: UsesUp, begin: float, end: float) -> None:
        """How much is left, in the block or under it, and where what is wanted would end."""
        assert bar.spare is not None, "checked by the caller"
        pal, fonts, rect = self.theme.palette, self.theme.type, self._bar_rect
        text = f"{units.spare_text(bar.spare, bar.keep_off, self.unit)} spare"
        wanted = f"{units.length(bar.keep_off, self.unit)} wanted"
        block = QRectF(begin, rect.top(), end - begin, rect.height())
        below = QRectF(rect.left(), rect.bottom(), rect.width(), _BELOW)
        at = rect.left() + (sum(t.used for t in bar.terms) + bar.keep_off) * self._scale
        wanted_at = QRectF(below)
        is_inside = bar.spare > 0.0 and block.width() > width_of(text, fonts.text_bold) + 10.0
        least = width_of(wanted, fonts.quiet) + (0.0 if is_inside else width_of(text, fonts.text_bold) + INSIDE)
        if at <= rect.right() + 0.5:
            wanted_at.setRight(min(rect.right(), max(at + 2.0, rect.left() + least)))
            pen = QPen(self.ink, 2.0, Qt.PenStyle.DotLine)
            painter.setPen(pen)
            painter.drawLine(QLineF(at, rect.top() - 2.0, at, rect.bottom() + 4.0))
        if is_inside:
            plate = QRectF(0, 0, width_of(text, fonts.text_bold) + 8.0, 20.0)
            plate.moveCenter(block.center())
            of = self.theme.plate(bar.verdict)
            painter.fillRect(plate, pal.card if self.is_stale else of.fill)  # over the line of what is wanted
            self.write(painter, plate, text, fonts.text_bold, self.ink if self.is_stale else of.text, MIDDLE)
        else:
            self.write(painter, below, text, fonts.text_bold, self.ink, LEFT)
        self.write(painter, wanted_at, wanted, fonts.quiet, pal.quiet, RIGHT)

    def _paint_row(self, painter: QPainter, i: int, term: Term) -> None:
        pal, fonts, rect = self.theme.palette, self.theme.type, self._row_rect(i)
        swatch = QRectF(rect.left() + 4.0, rect.top() + 4.0, 22.0, 14.0)
        draw_hatch(painter, swatch, self.ink, step=4.0, angle_deg=_hatch_of(term))
        with painting(painter):
            painter.setRenderHint(QPainter.RenderHint.Antialiasing, on=False)
            painter.setPen(QPen(self.ink, 1.0))
            painter.drawRect(swatch.adjusted(0, 0, -1, -1))
        name = rect.adjusted(34.0, 0, -_FIELD, 0)
        where = self.write(painter, name, term.name, fonts.text, self.ink)
        word = "measured" if term.is_measured else "assumed"
        note = name.adjusted(where.width() + INSIDE, 0, 0, 0)
        self.write(painter, note, word, fonts.quiet, pal.quiet)
        value = QRectF(self._value_left, rect.top(), _FIELD - 6.0, rect.height())
        at = self.write(painter, value, units.length(term.used, self.unit), fonts.text_bold, self.ink, RIGHT)
        painter.setPen(QPen(self.ink, 1.2, Qt.PenStyle.SolidLine if term.is_measured else Qt.PenStyle.DotLine))
        painter.drawLine(QPointF(at.left(), rect.bottom() - 2.0), QPointF(at.right(), rect.bottom() - 2.0))
        if self.hasFocus() and i == self.row:
            draw_focus(painter, rect, pal)

    # ---- hands -----------------------------------------------------------------------------------

    def term_at(self, at: QPointF) -> Term | None:
        """The term whose block or row is there."""
        if self.bar is None or self.bar.clearance is None or self.bar.spare is None:
            return None
        for term, block in self.blocks():
            if block.width() > 0.0 and block.adjusted(-1.0, 0, 1.0, 0).contains(at):
                return term
        return next((t for i, t in enumerate(self.terms) if self._row_rect(i).contains(at)), None)

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        term = self.term_at(event.position())
        self.setCursor(Qt.CursorShape.IBeamCursor if term else Qt.CursorShape.ArrowCursor)
        below = event.position().y() >= self._row_rect(len(self.terms)).top()
        self.setToolTip(self._tip(term) if term else self.part_off if below else "")

    def _tip(self, term: Term) -> str:
        said = "measured" if term.is_measured else "assumed"
        return f"{term.name}: {units.with_unit(units.length(term.used, self.unit), self.unit)}, {said} ({term.path})"

    def mousePressEvent(self, event: QMouseEvent) -> None:
        term = self.term_at(event.position())
        if term is not None:
            self.open_field(term)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        terms = self.terms
        match event.key():
            case Qt.Key.Key_Up | Qt.Key.Key_Down if terms:
                self.row = (self.row + (1 if event.key() == Qt.Key.Key_Down else -1)) % len(terms)
                self.picked.emit(terms[self.row].path)
                self.update()
            case Qt.Key.Key_Return | Qt.Key.Key_Enter | Qt.Key.Key_F2 if terms:
                self.open_field(terms[self.row])
            case Qt.Key.Key_Escape if self._editing is not None:
                self._close()
            case _:
                super().keyPressEvent(event)

    def open_field(self, term: Term) -> None:
        """Its number becomes a field: the one in the scene, which for the tilt is an angle; if a number says it."""
        if not term.path:
            return
        self.row = self.terms.index(term)
        self._editing = term
        rect = self._row_rect(self.row)
        self._field.setGeometry(int(self._value_left), int(rect.top() - 3), int(_FIELD), 28)
        is_angle = term.path.endswith("_deg")
        self._field.setText(units.angle(term.value) if is_angle else units.length(term.value, self.unit))
        self._field.setToolTip("degrees" if is_angle else str(self.unit))
        self._field.show()
        self._field.selectAll()
        self._field.setFocus()
        self.picked.emit(term.path)
        self.update()

    @Slot()
    def _take(self) -> None:
        term = self._editing
        if term is None:
            return
        try:
            text = self._field.text()
            is_angle = term.path.endswith("_deg")
            value = units.number_in(text) if is_angle else units.length_in(text, self.unit)
        except NumberFault as fault:
            self._field.setToolTip(fault.message)
            self._field.selectAll()
            return
        self._editing = None
        self._close()
        if value != term.value:
            self.edited.emit(term.path, value)

    @Slot()
    def _close(self) -> None:
        self._editing = None
        if self._field.isVisible():
            had_focus = self._field.hasFocus()
            self._field.hide()
            if had_focus:
                self.setFocus()
        self.update()


def _hatch_of(term: Term) -> float:
    return HATCHES[NAMES.index(term.name) if term.name in NAMES else 0]
