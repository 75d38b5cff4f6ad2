"""The face of one dial with a hand on it: mouse and keys.

It says moved(value) while it is turned, chosen(word), let_go() when the hand is off, reset() for the saved value.
"""

from __future__ import annotations

import math

from PySide6.QtCore import QEvent, QPointF, Qt, Signal
from PySide6.QtGui import QKeyEvent, QMouseEvent
from PySide6.QtWidgets import QToolTip, QWidget

from app.jobs.dial_faces import DialKind, DialOffer
from app.window.panels.dial_picture import DialPicture
from app.window.theme import Theme
from app.window.units import Unit

_SNAP = 8.0  # px, with Ctrl
STEPS = {Unit.MM: (0.1, 1.0, 0.01), Unit.INCH: (0.005, 0.05, 0.0005)}  # plain, Shift, Ctrl
_KEYS_BACK = (Qt.Key.Key_Left, Qt.Key.Key_Down)
_KEYS_ON = (Qt.Key.Key_Right, Qt.Key.Key_Up)


class DialFaceWidget(DialPicture):
    """One face to turn."""

    moved = Signal(float)
    chosen = Signal(str)
    let_go = Signal()
    reset = Signal()

    def __init__(self, theme: Theme, offer: DialOffer, parent: QWidget | None = None) -> None:
        super().__init__(theme, offer, parent)
        self.is_held = False

    def event(self, event: QEvent) -> bool:
        if event.type() == QEvent.Type.ToolTip:
            point = self.mapFromGlobal(self.cursor().pos())
            text = self.tip_at(QPointF(point))
            if text:
                QToolTip.showText(self.cursor().pos(), text, self)
            else:
                QToolTip.hideText()
            return True
        return super().event(event)

    def mousePressEvent(self, event: QMouseEvent) -> None:
        if event.button() != Qt.MouseButton.LeftButton:
            return
        if self._is_choice:
            word = next((w for w, rect in self.cells() if rect.contains(event.position())), None)
            if word is not None:
                self._choose(word)
            return
        self.is_held = True
        self._hold(event)

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        if self.is_held:
            self._hold(event)

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        if self.is_held and event.button() == Qt.MouseButton.LeftButton:
            self.is_held = False
            self.let_go.emit()

    def mouseDoubleClickEvent(self, event: QMouseEvent) -> None:
        if event.button() == Qt.MouseButton.LeftButton:
            self.is_held = False
            self.reset.emit()

    def _hold(self, event: QMouseEvent) -> None:
        x = event.position().x()
        value = self.value_at(x)
        if event.modifiers() & Qt.KeyboardModifier.ControlModifier:
            value = min((e for e in self.edges() if abs(self.x_of(e) - x) <= _SNAP), key=lambda e: abs(e - value),
                        default=value)  # fmt: skip
        self._move(self.rounded(value))

    def rounded(self, value: float) -> float:
        """A value as the bench would set it: a tenth of a mm or degree, 0.005 inch; an edge stays what it is."""
        if any(math.isclose(value, edge, abs_tol=1e-9) for edge in self.edges()):
            return value
        step = self._steps()[0]
        return min(max(round(value / step) * step, self._span()[0]), self._span()[1])

    def _steps(self) -> tuple[float, float, float]:
        """Steps in mm or degrees: plain, Shift, Ctrl."""
        if self.offer.kind is DialKind.LENGTH and self.unit is Unit.INCH:
            plain, large, small = STEPS[Unit.INCH]
            return plain * Unit.INCH.mm, large * Unit.INCH.mm, small * Unit.INCH.mm
        return STEPS[Unit.MM]

    def _move(self, value: float) -> None:
        value = round(value, 6) + 0.0
        if value != self.value:
            self.value = value
            self.update()
            self.moved.emit(value)

    def _choose(self, word: str) -> None:
        if word != self.value:
            self.value = word
            self.update()
            self.chosen.emit(word)
            self.let_go.emit()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        if event.key() == Qt.Key.Key_Backspace:
            self.reset.emit()
        elif event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self.let_go.emit()
        elif not (self._step_choice(event) if self._is_choice else self._step(event)):
            super().keyPressEvent(event)

    def keyReleaseEvent(self, event: QKeyEvent) -> None:
        keys = (*_KEYS_BACK, *_KEYS_ON, Qt.Key.Key_BracketLeft, Qt.Key.Key_BracketRight)
        if event.key() in keys and not event.isAutoRepeat() and not self._is_choice:
            self.let_go.emit()
        else:
            super().keyReleaseEvent(event)

    def _step_choice(self, event: QKeyEvent) -> bool:
        words = [choice.word for choice in self.offer.choices]
        if event.key() not in (*_KEYS_BACK, *_KEYS_ON) or not words:
            return False
        i = words.index(self.value) if self.value in words else 0
        self._choose(words[(i + (1 if event.key() in _KEYS_ON else -1)) % len(words)])
        return True

    def _step(self, event: QKeyEvent) -> bool:
        if not isinstance(self.value, float):
            return False
        plain, large, small = self._steps()
        by = plain
        if event.modifiers() & Qt.KeyboardModifier.ShiftModifier:
            by = large
        elif event.modifiers() & Qt.KeyboardModifier.ControlModifier:
            by = small
        match event.key():
            case Qt.Key.Key_BracketLeft:
                self._move(max((e for e in self.edges() if e < self.value - 1e-9), default=self.value))
            case Qt.Key.Key_BracketRight:
                self._move(min((e for e in self.edges() if e > self.value + 1e-9), default=self.value))
            case key if key in _KEYS_BACK:
                self._move(max(self.value - by, self._span()[0]))
            case key if key in _KEYS_ON:
                self._move(min(self.value + by, self._span()[1]))
            case _:
                return False
        return True
