"""The headline: the set-up's title, the verdict with its count, units, sheet and menu; below it one sentence.

Shows: a Headline (`show_headline`), the title (`show_title`), an offer with two buttons (`show_offer`).
Says: unit_wanted(Unit); offer_taken(offer, number of the button). Sheet and menu buttons are filled by whoever owns
the actions.
"""

from __future__ import annotations

from dataclasses import dataclass

from PySide6.QtCore import QRectF, QSize, Qt, Signal, Slot
from PySide6.QtGui import QFontMetricsF, QPainter, QPaintEvent, QResizeEvent
from PySide6.QtWidgets import (
    QButtonGroup,
    QHBoxLayout,
    QLabel,
    QPushButton,
    QSizePolicy,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from app.window.marks import draw_hollow_plate, draw_plate, plate_width
from app.window.telling import Headline
from app.window.theme import AT_EDGE, BETWEEN, INSIDE, TARGET, Theme
from app.window.units import Unit
from kinematics.verdict import Verdict


@dataclass(frozen=True, slots=True)
class Offer:
    """A line with what happened and at most two things to do about it."""

    key: str
    words: str
    buttons: tuple[str, ...]


class PlateLabel(QWidget):
    """The plate of the whole set-up."""

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.theme = theme
        self.verdict: Verdict | None = None
        self.word = ""
        self.is_hollow = False
        self.setSizePolicy(QSizePolicy.Policy.Fixed, QSizePolicy.Policy.Fixed)

    def show_plate(self, line: Headline) -> None:
        """Word and verdict; nothing where there is none."""
        verdict = line.verdict if line.verdict is not None else Verdict.NOT_CHECKED if line.word else None
        self.verdict, self.word = verdict, line.word
        self.is_hollow = line.is_was or line.verdict is None
        self.setVisible(bool(self.word))
        self.updateGeometry()
        self.update()

    def sizeHint(self) -> QSize:
        return QSize(round(plate_width(self.word, self.theme)) + 4, 26)

    def paintEvent(self, _event: QPaintEvent) -> None:
        if self.verdict is None:
            return
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        draw = draw_hollow_plate if self.is_hollow else draw_plate
        draw(painter, QRectF(self.rect()), self.verdict, self.word, self.theme)
        painter.end()


class Sentence(QLabel):
    """Text of one or two lines; what does not fit is left out in the middle, and told whole by the tool tip."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._whole = ""
        self.setWordWrap(True)
        self.setTextFormat(Qt.TextFormat.PlainText)
        self.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Preferred)

    def say(self, text: str) -> None:
        """Another text."""
        if text != self._whole:
            self._whole = text
            self.setToolTip(text)
            self.setAccessibleName(text)
            self._fit()

    @property
    def whole(self) -> str:
        return self._whole

    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        self._fit()

    def _fit(self) -> None:
        room = max(2 * (self.width() - INSIDE) - 40, 200)
        self.setText(QFontMetricsF(self.font()).elidedText(self._whole, Qt.TextElideMode.ElideMiddle, room))


class HeadlinePanel(QWidget):
    """Two rows, and a third while something is offered."""

    unit_wanted = Signal(object)
    offer_taken = Signal(str, int)

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._theme = theme
        self._offer: Offer | None = None
        self.title = Sentence(self)
        self.title.setWordWrap(False)
        self.plate = PlateLabel(theme, self)
        self.count = QLabel(self)
        self.sentence = Sentence(self)
        self.sheet = QToolButton(self)
        self.sheet.setText("Sheet")
        self.menu = QToolButton(self)
        self.menu.setText("More")
        self.menu.setPopupMode(QToolButton.ToolButtonPopupMode.InstantPopup)
        self._unit_keys = QButtonGroup(self)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        column.addLayout(self._first_row())
        second = QHBoxLayout()
        second.setContentsMargins(AT_EDGE, 0, AT_EDGE, 0)
        second.addWidget(self.sentence, 1)
        column.addLayout(second)
        column.addWidget(self._offer_row())
        self.sentence.setMinimumHeight(32)
        self.set_theme(theme)

    def _first_row(self) -> QHBoxLayout:
        row = QHBoxLayout()
        row.setContentsMargins(AT_EDGE, 6, AT_EDGE, 6)
        row.setSpacing(BETWEEN)
        row.addWidget(self.title, 1)
        row.addWidget(self.plate)
        row.addWidget(self.count)
        row.addStretch(1)
        both = QHBoxLayout()
        both.setSpacing(0)
        for i, unit in enumerate(Unit):
            key = QToolButton(self)
            key.setText(str(unit))
            key.setCheckable(True)
            key.setToolTip(f"All lengths in {unit} (U)")
            self._unit_keys.addButton(key, i)
            both.addWidget(key)
        self._unit_keys.button(0).setChecked(True)
        self._unit_keys.idClicked.connect(self._unit_clicked)
        row.addLayout(both)
        row.addWidget(self.sheet)
        row.addWidget(self.menu)
        return row

    def _offer_row(self) -> QWidget:
        self._offer_line = QWidget(self)
        row = QHBoxLayout(self._offer_line)
        row.setContentsMargins(AT_EDGE, 2, AT_EDGE, 6)
        row.setSpacing(BETWEEN)
        self._offer_words = Sentence(self)
        self._offer_keys = [QPushButton(self) for _ in range(2)]
        row.addWidget(self._offer_words, 1)
        self._offer_clicks = QButtonGroup(self)
        for i, key in enumerate(self._offer_keys):
            key.setMinimumHeight(TARGET)
            self._offer_clicks.addButton(key, i)
            row.addWidget(key)
        self._offer_clicks.idClicked.connect(self._offer_clicked)
        self._offer_line.hide()
        return self._offer_line

    # ---- what is shown ----

    def show_headline(self, line: Headline) -> None:
        """Verdict, count and sentence."""
        self.plate.show_plate(line)
        self.count.setText(line.count)
        self.count.setVisible(bool(line.count))
        self.sentence.say(line.sentence)

    def show_title(self, title: str, *, is_modified: bool) -> None:
        """The set-up's name; a star where it is not as on disk."""
        self.title.say(f"{title} *" if is_modified else title)

    def show_unit(self, unit: Unit) -> None:
        """The unit that lengths are in."""
        self._unit_keys.button(list(Unit).index(unit)).setChecked(True)

    def show_offer(self, offer: Offer | None) -> None:
        """A line with two buttons, or none."""
        if offer == self._offer:
            return
        self._offer = offer
        self._offer_line.setVisible(offer is not None)
        if offer is not None:
            self._offer_words.say(offer.words)
            for i, key in enumerate(self._offer_keys):
                key.setVisible(i < len(offer.buttons))
                key.setText(offer.buttons[i] if i < len(offer.buttons) else "")

    @property
    def offer(self) -> Offer | None:
        return self._offer

    def offer_key(self, n: int) -> QPushButton:
        """A button of the offer."""
        return self._offer_keys[n]

    def set_theme(self, theme: Theme) -> None:
        """Another look."""
        self._theme = theme
        self.plate.theme = theme
        for label, font in (
            (self.title, theme.type.headline_bold),
            (self.count, theme.type.headline),
            (self.sentence, theme.type.headline),
            (self._offer_words, theme.type.text_bold),
        ):
            label.setStyleSheet(f"font-size: {font.pixelSize()}px; font-weight: {font.weight().value};")
        self.update()

    @Slot(int)
    def _unit_clicked(self, index: int) -> None:
        self.unit_wanted.emit(list(Unit)[index])

    @Slot(int)
    def _offer_clicked(self, index: int) -> None:
        if self._offer is not None:
            self.offer_taken.emit(self._offer.key, index)
