"""What would make an orientation clear: asked of the engine, shown as a card, taken as one step of the document."""

from __future__ import annotations

from typing import TYPE_CHECKING

from PySide6.QtCore import QObject, Slot

from app.scenes.edits import edited
from app.scenes.yaml_text import Plain
from app.window.answers import Found
from app.window.panels.ways_out import WaysOut
from app.window.part_answers import ALTERNATIVES, POSITIONS, AlternativesShown, PositionsShown
from app.window.session import Session
from kinematics.errors import TightsideError

if TYPE_CHECKING:
    from app.window.main_window import MainWindow


class Ways(QObject):
    """Opens the card and does what is taken."""

    def __init__(self, window: MainWindow, session: Session) -> None:
        super().__init__(window)
        self._window, self._session = window, session
        self.card: WaysOut | None = None
        session.found.connect(self._found)

    def open(self) -> None:
        """The card for the orientation that is looked at."""
        focus = self._session.focus
        if focus is None or self._session.snapshot.outline is None:
            return
        orientation = focus[0]
        self.card = WaysOut(self._window.theme, orientation, self._window.wiring.unit, self._window)
        self.card.taken.connect(self._take)
        self.card.closed.connect(self._closed)
        self._window.lay_over(self.card)
        self._session.ask_beside(POSITIONS, orientation)
        self._session.ask_beside(ALTERNATIVES, orientation)

    @Slot(object)
    def _found(self, found: Found) -> None:
        if self.card is None:
            return
        match found.value:
            case AlternativesShown() as shown if shown.orientation == self.card.orientation:
                self.card.show_changes(shown)
            case PositionsShown() as shown if shown.orientation == self.card.orientation:
                self.card.show_positions(shown)

    @Slot()
    def _closed(self) -> None:
        self.card = None

    @Slot(str, object, object)
    def _take(self, words: str, texts: tuple[tuple[str, Plain], ...], numbers: tuple[tuple[str, float], ...]) -> None:
        changes: list[tuple[str, Plain]] = [*texts, *numbers]
        try:
            self._session.document.replace(words, edited(self._session.document.text, changes))
        except TightsideError as error:
            self._session.refused.emit(error.message)
