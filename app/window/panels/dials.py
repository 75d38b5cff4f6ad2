"""The dials: one row of 30 px each, with name, number field, face, and what turning it makes of the worst spare.

Shows: DialOffer (`show_offers`), DialFace (`show_face`), the value now (`show_value`), the worst spare before and now
(`show_worst`), the tool that is looked at (`show_tool`), which values are saved (`mark_saved`, `forget_saved`).
Says: turned(key, value) while a dial is turned, at most 60 times a second, the last value always; released(key, value)
when it is let go; reset(key); scope_changed(scope); picked(key) when a dial gets the focus; added(path) for a number
that has no dial yet; `app.jobs.dial_faces.edits` says what a value means in the file.
"""

from __future__ import annotations

from PySide6.QtCore import QRectF, QSize, Qt, QTimer, Signal, Slot
from PySide6.QtGui import QPainter, QPaintEvent, QPalette, QPen, QResizeEvent
from PySide6.QtWidgets import QButtonGroup, QCompleter, QLineEdit, QScrollArea, QToolButton, QWidget

from app.jobs.dial_faces import DialFace, DialOffer, DialScope
from app.window.marks import painting
from app.window.panels.dial_picture import HEIGHT
from app.window.panels.dial_row import DialRow, Worst
from app.window.panels.painted import LEFT, width_of
from app.window.theme import INSIDE, Theme
from app.window.units import Unit

HEAD = 28
TWO_COLUMNS_FROM = 1120  # px
_LIVE_MS = 16  # at most 60 times a second


class Dials(QWidget):
    """All dials of the cut that is looked at, with the switch of whose spare they show."""

    turned = Signal(str, object)
    released = Signal(str, object)
    reset = Signal(str)
    scope_changed = Signal(object)
    picked = Signal(str)
    added = Signal(str)

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.theme, self.unit = theme, Unit.MM
        self.scope = DialScope.TOOL
        self.rows: dict[str, DialRow] = {}
        self._of_group: dict[str, str] = {}  # which dial of a group is shown
        self.why_empty = ""
        self._paths: tuple[str, ...] = ()
        self._last = ""
        self._saved: dict[str, float | str] = {}  # values in the file as it was saved last, as far as they were seen
        self._waiting: tuple[str, object] | None = None
        self._timer = QTimer(self)
        self._timer.setSingleShot(True)
        self._timer.setInterval(_LIVE_MS)
        self._timer.timeout.connect(self._send)
        self._scroll = QScrollArea(self)
        self._scroll.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self._scroll.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self._sheet = QWidget()
        self._sheet.setBackgroundRole(QPalette.ColorRole.Base)
        self._sheet.setAutoFillBackground(True)
        self._scroll.setWidget(self._sheet)
        self._switch = QButtonGroup(self)
        self._buttons: dict[DialScope, QToolButton] = {}
        for scope in DialScope:
            button = QToolButton(self)
            button.setCheckable(True)
            button.setText(str(scope))
            button.setAccessibleName(f"spare of {scope}")
            self._switch.addButton(button)
            self._buttons[scope] = button
        self._buttons[self.scope].setChecked(True)
        self._switch.buttonClicked.connect(self._scope_clicked)
        self._path = QLineEdit(self)
        self._path.setPlaceholderText("any number, by its path")
        self._path.setAccessibleName("add a dial by the path of its number")
        self._path.returnPressed.connect(self._add)
        self.setMinimumSize(400, HEAD + 3 * HEIGHT)

    def sizeHint(self) -> QSize:
        return QSize(560, HEAD + 8 * HEIGHT)

    # ---- what it shows ---------------------------------------------------------------------------

    def set_theme(self, theme: Theme) -> None:
        """Another look."""
        self.theme = theme
        self._restyle()

    def set_unit(self, unit: Unit) -> None:
        """Lengths in another unit."""
        self.unit = unit
        self._restyle()

    def _restyle(self) -> None:
        for row in self.rows.values():
            row.restyle(self.theme, self.unit)
        self._arrange()
        self.update()

    def show_offers(self, offers: tuple[DialOffer, ...]) -> None:
        """The dials that there are; those that stay keep their face until a new one comes."""
        self.why_empty = ""
        for key in [k for k in self.rows if k not in {o.key for o in offers}]:
            row = self.rows.pop(key)
            row.hide()
            row.deleteLater()
        ordered: dict[str, DialRow] = {}
        for offer in offers:
            old = self.rows.get(offer.key)
            if old is not None and old.offer.kind is offer.kind:
                old.show_offer(offer)
                ordered[offer.key] = old
            else:
                if old is not None:
                    old.deleteLater()
                ordered[offer.key] = self._new_row(offer)
        self.rows = ordered
        for row in self.rows.values():
            row.show_saved(self._saved.setdefault(row.offer.key, row.offer.now))
            group = row.offer.group
            row.siblings = tuple(o for o in offers if group and o.group == group)
            if group and self._of_group.get(group) not in self.rows:
                self._of_group[group] = row.offer.key
        self._set_tab_order()
        self._arrange()
        self.update()

    def _new_row(self, offer: DialOffer) -> DialRow:
        row = DialRow(self.theme, offer, self._sheet)
        row.restyle(self.theme, self.unit)
        row.moved.connect(self._moved)
        row.let_go.connect(self._let_go)
        row.reset.connect(self._was_reset)
        row.focused.connect(self._was_picked)
        row.sibling_wanted.connect(self._show_sibling)
        row.show()
        return row

    def mark_saved(self) -> None:
        """The file has the values that are there now."""
        self._saved = {key: row.offer.now for key, row in self.rows.items()}
        for row in self.rows.values():
            row.show_saved(row.offer.now)

    def forget_saved(self) -> None:
        """Another file: the values that come next are those in it."""
        self._saved = {}

    def show_paths(self, paths: tuple[str, ...]) -> None:
        """The numbers that a dial can be made of, to be completed as they are typed."""
        if paths != self._paths:
            self._paths = paths
            completer = QCompleter(list(paths), self._path)
            completer.setFilterMode(Qt.MatchFlag.MatchContains)
            completer.setCaseSensitivity(Qt.CaseSensitivity.CaseInsensitive)
            self._path.setCompleter(completer)

    def show_nothing(self, why: str) -> None:
        """There is nothing to turn, and why."""
        self.show_offers(())
        self.why_empty = why
        self.update()

    def show_tool(self, tool: str) -> None:
        """The tool of the cut that is looked at, for the words of the switch."""
        self._buttons[DialScope.TOOL].setText(f"all cuts of {tool}" if tool else str(DialScope.TOOL))
        self._arrange()

    def show_face(self, face: DialFace) -> None:
        """What is known of a dial's values; that of another scope is dropped."""
        row = self.rows.get(face.key)
        if row is None or face.scope is not self.scope:
            return
        row.face.show_face(face)
        for other in self.rows.values():
            helpful = (r.offer.name for r in self.rows.values() if r is not other and r.face.face is not None)
            clear = [name for name in helpful if self._has_clear(name)]
            other.face.show_helpful(tuple(clear))

    def _has_clear(self, name: str) -> bool:
        faces = [row.face.face for row in self.rows.values() if row.offer.name == name]
        return any(face is not None and face.has_clear for face in faces)

    def forget_faces(self) -> None:
        """Another cut or scene: no curve and no range is known of it."""
        for row in self.rows.values():
            row.face.forget()

    def show_value(self, key: str, value: float | str) -> None:
        """The value that a number has now, as after an undo."""
        if key in self.rows:
            self.rows[key].show_value(value)
            self.rows[key].update()

    def show_worst(self, key: str, before: Worst | None, now: Worst | None) -> None:
        """The worst spare of the saved value and of the one now; None while nobody knows."""
        if key in self.rows:
            self.rows[key].is_busy = False
            self.rows[key].show_worst(before, now)
            self.rows[key].update()

    @property
    def held(self) -> str | None:
        """The dial that is being held, if one is."""
        return next((key for key, row in self.rows.items() if row.face.is_held), None)

    def focus_dial(self, n: int) -> None:
        """Go to the nth dial, from 1; with 0 to the last that had the focus."""
        if n < 1:
            self.focus_any()
            return
        rows = self.shown_rows()
        if n <= len(rows):
            rows[n - 1].face.setFocus(Qt.FocusReason.ShortcutFocusReason)
            self._scroll.ensureWidgetVisible(rows[n - 1], 0, 0)

    def focus_any(self) -> None:
        """Go to the dial that had the focus last, or the first."""
        rows = self.shown_rows()
        last = [row for row in rows if row.offer.key == self._last]
        if rows:
            (last or rows)[0].face.setFocus(Qt.FocusReason.ShortcutFocusReason)

    def shown_rows(self) -> list[DialRow]:
        """The rows that are there: of each group one."""
        return [r for key, r in self.rows.items() if not r.offer.group or self._of_group.get(r.offer.group) == key]

    # ---- layout ------------------------------------------------------------------------------------

    def resizeEvent(self, event: QResizeEvent) -> None:
        self._arrange()
        super().resizeEvent(event)

    def _arrange(self) -> None:
        x = INSIDE + int(width_of("DIALS", self.theme.type.quiet_bold)) + 2 * INSIDE
        short = {DialScope.CUT: "this cut", DialScope.ALL: "all"}
        for scope, button in self._buttons.items():
            button.setText(short.get(scope, button.text()))
            width = max(36, int(width_of(button.text(), self.theme.type.text)) + 22)
            button.setGeometry(x, 0, width, HEAD)
            x += width - 1
        left = x + INSIDE
        self._path.setVisible(self.width() - left - INSIDE >= 80)
        self._path.setGeometry(max(left, self.width() - INSIDE - 240), 0, min(240, self.width() - left - INSIDE), HEAD)
        area = self.rect().adjusted(0, HEAD, 0, 0)
        self._scroll.setGeometry(area)
        shown = self.shown_rows()
        for row in self.rows.values():
            row.setVisible(row in shown)
        n, n_columns = len(shown), 2 if self.width() >= TWO_COLUMNS_FROM else 1
        per_column = -(-n // n_columns)
        height = per_column * HEIGHT
        bar = self._scroll.verticalScrollBar().sizeHint().width() if height > area.height() else 0
        width = (area.width() - bar) // n_columns
        self._sheet.resize(area.width() - bar, max(height, area.height()))
        for i, row in enumerate(shown):
            row.setGeometry((i // max(per_column, 1)) * width, (i % max(per_column, 1)) * HEIGHT, width, HEIGHT)

    def _set_tab_order(self) -> None:
        before: QWidget = self._path
        for row in self.rows.values():
            for widget in (row.field, row.face):
                QWidget.setTabOrder(before, widget)
                before = widget

    def paintEvent(self, event: QPaintEvent) -> None:
        pal, fonts = self.theme.palette, self.theme.type
        painter = QPainter(self)
        painter.fillRect(event.rect(), pal.card)
        with painting(painter):
            painter.setFont(fonts.quiet_bold)
            painter.setPen(pal.ink)
            painter.drawText(QRectF(INSIDE, 0, 60, HEAD), int(LEFT), "DIALS")
            painter.setPen(QPen(pal.line, 1.0))
            painter.drawLine(0, HEAD - 1, self.width(), HEAD - 1)
        painter.end()

    # ---- hands -------------------------------------------------------------------------------------

    @Slot(str, object)
    def _moved(self, key: str, value: object) -> None:
        if not self._timer.isActive():
            self._timer.start()
            self.turned.emit(key, value)
            return
        if self._waiting is not None and self._waiting[0] != key:
            self.turned.emit(*self._waiting)
        self._waiting = key, value

    @Slot()
    def _send(self) -> None:
        if self._waiting is not None:
            waiting, self._waiting = self._waiting, None
            self._timer.start()
            self.turned.emit(*waiting)

    def _flush(self) -> None:
        self._timer.stop()
        if self._waiting is not None:
            waiting, self._waiting = self._waiting, None
            self.turned.emit(*waiting)

    @Slot(str, object)
    def _let_go(self, key: str, value: object) -> None:
        self._flush()
        self.released.emit(key, value)

    @Slot(str)
    def _was_picked(self, key: str) -> None:
        self._last = key
        self.picked.emit(key)

    @Slot(str)
    def _show_sibling(self, key: str) -> None:
        row = self.rows[key]
        group = [r for r in self.rows.values() if r.offer.group == row.offer.group]
        had_focus = any(r.face.hasFocus() for r in group)
        self._of_group[row.offer.group] = key
        self._arrange()
        if had_focus:
            row.face.setFocus()
        self.picked.emit(key)

    @Slot(str)
    def _was_reset(self, key: str) -> None:
        self._waiting = None
        self._timer.stop()
        self.reset.emit(key)

    @Slot()
    def _scope_clicked(self) -> None:
        scope = next(s for s, button in self._buttons.items() if button.isChecked())
        if scope is not self.scope:
            self.scope = scope
            for row in self.rows.values():
                row.saved_worst = None  # it was that of other cuts
            self.forget_faces()
            self.scope_changed.emit(scope)

    @Slot()
    def _add(self) -> None:
        path = self._path.text().strip()
        if path:
            self._path.clear()
            self.added.emit(path)
