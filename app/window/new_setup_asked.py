"""What the engine was asked about a new set-up and has not answered yet; what it has found of the table's positions.

Answers to what was asked before a change of the set-up never come: what is still wanted is asked again then.
"""

from __future__ import annotations

from collections.abc import Iterable

from PySide6.QtCore import QObject, Signal, Slot

from app.window.answers import Found
from app.window.new_setup_wanted import BARE, ROOMS, RoomsShown, RoomsWanted
from app.window.part_answers import FEATURE, PART
from app.window.session import Session

OWN_PANELS = (PART, FEATURE, ROOMS, BARE)
REPLACED = (ROOMS, BARE)  # an answer on the page replaces what was wanted of these
MOST_ROOMS = 60  # answers that are kept

Question = tuple[str, object]


class NewSetupQuestions(QObject):
    """`answered` hands on a Found that is still wanted."""

    answered = Signal(object)

    def __init__(self, session: Session, parent: QObject) -> None:
        super().__init__(parent)
        self._session = session
        self._pending: dict[Question, None] = {}
        self._rooms: dict[RoomsWanted, RoomsShown] = {}
        session.found.connect(self._found)
        session.held_changed.connect(self.ask_again)
        session.document.text_changed.connect(self.ask_again)

    def forget(self) -> None:
        """Nothing is wanted, nothing was found."""
        self._pending.clear()
        self._rooms.clear()

    def ask(self, panel: str, about: object) -> None:
        """Ask, unless it was asked already."""
        if (panel, about) not in self._pending:
            self._pending[panel, about] = None
            self._session.ask_beside(panel, about)

    def drop(self, panel: str) -> None:
        """What was asked for one panel is not wanted any more."""
        for question in [q for q in self._pending if q[0] == panel]:
            del self._pending[question]

    def keep_only(self, wanted: Iterable[Question]) -> None:
        """Of what an answer replaces, only this is wanted still."""
        kept = set(wanted)
        for question in [q for q in self._pending if q[0] in REPLACED and q not in kept]:
            del self._pending[question]

    def rooms_of(self, wanted: RoomsWanted | None) -> RoomsShown | None:
        """What was found about the positions of one orientation."""
        return None if wanted is None else self._rooms.get(wanted)

    @Slot()
    def ask_again(self) -> None:
        """The set-up has changed."""
        for panel, about in self._pending:
            self._session.ask_beside(panel, about)

    @Slot(object)
    def _found(self, found: Found) -> None:
        if found.panel not in OWN_PANELS or (found.panel, found.about) not in self._pending:
            return
        is_done = True
        if isinstance(found.value, RoomsShown) and isinstance(found.about, RoomsWanted):
            is_done = found.value.is_done
            while len(self._rooms) >= MOST_ROOMS:
                del self._rooms[next(iter(self._rooms))]
            self._rooms[found.about] = found.value
        if is_done:
            del self._pending[found.panel, found.about]
        self.answered.emit(found)
