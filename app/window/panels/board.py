"""The tight board: a card for each orientation, tightest first or in machining order, then with the swings between.

Shows: cards and swings (`show_cards`), pictures (`show_picture`), what is picked (`mark_picked`).
Says: picked(key) of a cut or swing; order_wanted(Order).
Cards move with a slide of 120 ms, unless told to stay.
"""

from __future__ import annotations

from PySide6.QtCore import QAbstractAnimation, QEasingCurve, QPoint, QPropertyAnimation, Qt, Signal, Slot
from PySide6.QtGui import QImage, QResizeEvent
from PySide6.QtWidgets import QButtonGroup, QHBoxLayout, QScrollArea, QToolButton, QVBoxLayout, QWidget

from app.window.answers import CutKey, MoveKey
from app.window.panels.card import CELL, FRAME, Card, What
from app.window.panels.strip import Strip
from app.window.results import CardNow, MoveNow, Order
from app.window.theme import Theme
from app.window.units import Unit

SLIDE_MS = 120
SCROLL_BAR = 14
Key = CutKey | MoveKey


class Board(QWidget):
    """All cards."""

    picked = Signal(object)
    order_wanted = Signal(object)

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._theme = theme
        self._cards: dict[str, Card] = {}
        self._strips: dict[MoveKey, Strip] = {}
        self._names: tuple[str, ...] = ()
        self._swings: tuple[MoveNow, ...] = ()
        self._pictures: dict[CutKey, tuple[QImage | None, What, str]] = {}
        self._slides: list[QPropertyAnimation] = []
        self._ends: dict[QWidget, QPoint] = {}  # where each card and strip stands, or slides to
        self._slide_ms = SLIDE_MS
        self._picked: Key | None = None
        self._area = QScrollArea(self)
        self._area.setWidgetResizable(False)
        self._area.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self._area.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self._ground = QWidget()
        self._area.setWidget(self._ground)
        self._order_keys = QButtonGroup(self)
        self.setMinimumWidth(CELL.width() + SCROLL_BAR + 2)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(4)
        column.addLayout(self._order_row())
        column.addWidget(self._area, 1)

    def _order_row(self) -> QHBoxLayout:
        row = QHBoxLayout()
        row.setContentsMargins(4, 0, SCROLL_BAR, 0)
        row.setSpacing(0)
        for i, order in enumerate(Order):
            key = QToolButton(self)
            key.setText(order.value.capitalize())
            key.setCheckable(True)
            key.setChecked(order is Order.TIGHTEST)
            key.setToolTip(f"Cards in {order.value} order (O)" if i else "The tightest card first (O)")
            self._order_keys.addButton(key, i)
            row.addWidget(key, 1)
            key.setSizePolicy(key.sizePolicy().horizontalPolicy().Expanding, key.sizePolicy().verticalPolicy())
        self._order_keys.idClicked.connect(self._order_clicked)
        return row

    # ---- what is shown ----

    def show_cards(self, cards: tuple[CardNow, ...], swings: tuple[MoveNow, ...], order: Order, unit: Unit) -> None:
        """Cards in the order given, and the swings between them, where there are any to be shown."""
        self._order_keys.button(list(Order).index(order)).setChecked(True)
        for name in set(self._cards) - {card.name for card in cards}:
            self._drop(self._cards.pop(name))
        for now in cards:
            card = self._cards.get(now.name) or self._new_card(now.name)
            before = card.card.shown.key if card.card else None
            card.show_card(now, unit)
            if before != now.shown.key:
                card.show_picture(*self._pictures.get(now.shown.key, (None, None, "")))
        for key in set(self._strips) - {swing.key for swing in swings}:
            self._drop(self._strips.pop(key))
        heights = {key: strip.height() for key, strip in self._strips.items()}
        for swing in swings:
            strip = self._strips.get(swing.key) or self._new_strip(swing.key)
            strip.show_move(swing, unit)
        names = tuple(card.name for card in cards)
        changed = {key: strip.height() for key, strip in self._strips.items()} != heights
        is_moved = names != self._names or changed or tuple(s.key for s in swings) != tuple(s.key for s in self._swings)
        had = bool(self._names)
        self._names, self._swings = names, swings
        if is_moved:
            self._place(self._slide_ms if had else 0)
        self.mark_picked(self._picked)
        if is_moved:
            self.bring_into_view()

    def show_picture(self, key: CutKey, picture: QImage | None, what: What, why: str = "") -> None:
        """The picture of a cut and of what it is; None with the reason where there is none."""
        self._pictures[key] = (picture, what, why)
        card = self._cards.get(key[0])
        if card is not None and card.card is not None and card.card.shown.key == key:
            card.show_picture(picture, what, why)

    def forget_pictures(self) -> None:
        """Another set-up, or another look."""
        self._pictures.clear()
        for card in self._cards.values():
            card.show_picture(None, None)

    def mark_picked(self, key: Key | None) -> None:
        """What is looked at."""
        self._picked = key
        for name, card in self._cards.items():
            card.mark_picked(is_picked=key is not None and len(key) == 2 and key[0] == name)
        for own, strip in self._strips.items():
            strip.mark_picked(is_picked=own == key)

    def bring_into_view(self) -> None:
        """Scroll to where what is picked stands, or slides to."""
        for widget in self._shown():
            if widget.is_picked:
                to = self._ends.get(widget, widget.pos())
                middle = to.y() + widget.height() // 2
                self._area.ensureVisible(to.x(), middle, 0, widget.height() // 2 + FRAME)

    def set_theme(self, theme: Theme) -> None:
        """Another look."""
        self._theme = theme
        for widget in self._shown():
            widget.set_theme(theme)

    def move_at_once(self) -> None:
        """No slides: the system asks for less motion."""
        self._slide_ms = 0

    def _shown(self) -> list[Card | Strip]:
        return [*self._cards.values(), *self._strips.values()]

    @property
    def cards(self) -> tuple[Card, ...]:
        """In the order shown."""
        return tuple(self._cards[name] for name in self._names)

    @property
    def strips(self) -> tuple[Strip, ...]:
        """In the order shown."""
        return tuple(self._strips[swing.key] for swing in self._swings)

    def focus_card(self, step: int) -> None:
        """Pick the next or last card, or the first where none is picked."""
        cards = self.cards
        if not cards:
            return
        at = next((i for i, card in enumerate(cards) if card.is_picked), None)
        to = 0 if at is None else max(0, min(len(cards) - 1, at + step))
        self.pick_nth(to)

    def pick_nth(self, n: int) -> None:
        """Pick a card by its place."""
        if n < len(self.cards):
            card = self.cards[n]
            card.setFocus(Qt.FocusReason.ShortcutFocusReason)
            assert card.card is not None, "a card that is shown has something on it"
            self.picked.emit(card.card.shown.key)

    # ---- places ----

    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        self._place(0)

    def _new_card(self, name: str) -> Card:
        card = self._cards[name] = Card(self._theme, self._ground)
        card.picked.connect(self.picked)
        card.show()
        return card

    def _new_strip(self, key: MoveKey) -> Strip:
        strip = self._strips[key] = Strip(self._theme, self._ground)
        strip.picked.connect(self.picked)
        strip.show()
        return strip

    def _drop(self, widget: QWidget) -> None:
        widget.hide()
        widget.setParent(None)
        widget.deleteLater()

    def _place(self, slide_ms: int) -> None:
        """Cards in rows, each with the swing that leaves its orientation under it."""
        for slide in self._slides:
            slide.stop()
        self._slides.clear()
        self._ends.clear()
        width = self._area.viewport().width()
        columns = max(1, width // CELL.width())
        under: dict[str, list[Strip]] = {}
        for swing in self._swings:
            name = swing.key[1] if swing.key[1] in self._cards else swing.key[2]
            under.setdefault(name, []).append(self._strips[swing.key])
        left, y = 0, 0
        for first in range(0, len(self._names), columns):
            row = self._names[first : first + columns]
            for i, name in enumerate(row):
                x = left + i * CELL.width()
                self._move(self._cards[name], QPoint(x, y), slide_ms)
                below = y + CELL.height()
                for strip in under.get(name, []):
                    self._move(strip, QPoint(x, below), slide_ms)
                    below += strip.height()
            y += CELL.height() + max((sum(s.height() for s in under.get(name, [])) for name in row), default=0)
        self._ground.resize(max(width, CELL.width()), y)

    def _move(self, widget: QWidget, to: QPoint, slide_ms: int) -> None:
        self._ends[widget] = to
        if not slide_ms or widget.pos() == to or not self.isVisible():
            widget.move(to)
            return
        slide = QPropertyAnimation(widget, b"pos", self)
        slide.setDuration(slide_ms)
        slide.setEndValue(to)
        slide.setEasingCurve(QEasingCurve.Type.OutCubic)
        self._slides.append(slide)
        slide.start(QAbstractAnimation.DeletionPolicy.KeepWhenStopped)

    @Slot(int)
    def _order_clicked(self, index: int) -> None:
        self.order_wanted.emit(list(Order)[index])
