"""A new set-up: what is answered on its page becomes the document's text, and the engine's answers come back to it.

1. The scene's text follows from the page alone (`typed.followed`). Every answer that changes it is a step of the undo
   stack; an undo brings the page back as it was.
2. What the engine is asked beside a check is lost when the set-up changes meanwhile: it is asked again then.
3. A change from elsewhere is never written over unasked: the page waits and says so.
"""

from __future__ import annotations

import contextlib
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from PySide6.QtCore import QObject, QTimer, Slot

from app.jobs.new_setup.answers import PartAnswer
from app.jobs.new_setup.screws import screw_names
from app.jobs.new_setup.typed import (
    DEFAULT_TOOL,
    Followed,
    OrientationNow,
    Typed,
    TypedOrientation,
    followed,
    free_orientation_name,
    tool_lines,
    with_text,
)
from app.scenes.catalogues import CatalogueFile, Catalogues
from app.scenes.side_files import SideFileFault
from app.view3d.places import Place
from app.window.answers import Found
from app.window.new_setup_asked import NewSetupQuestions, Question
from app.window.new_setup_machines import NewSetupMachines
from app.window.new_setup_orientations import NewSetupOrientations
from app.window.new_setup_part import NewSetupPart
from app.window.new_setup_room import PageRoom
from app.window.new_setup_wanted import BARE, ROOMS, BareWanted, RoomsShown, RoomsWanted
from app.window.new_setup_words import orientation_words
from app.window.panels.new_setup import NewSetupPage
from app.window.panels.new_setup_orientations import OrientationWords
from app.window.part_answers import PART, FeatureShown
from app.window.session import Session
from app.window.units import Unit

if TYPE_CHECKING:
    from app.window.main_window import MainWindow

PARTS = "Part files (*.step *.stp *.stl *.obj *.ply *.3mf);;All files (*)"
UP = (0.0, 0.0, 1.0)
NUMBERS = ("riser", "grip", "bar", "top", "tools")  # fields of Typed that are in its units
FIELD_WORDS = {"screws": "screws", "riser": "riser", "grip": "held height", "turn": "turn", "bar": "bar", "top": "top"}


class NewSetup(QObject):
    """Between the page, the session and the files."""

    def __init__(self, window: MainWindow, session: Session, page: NewSetupPage) -> None:
        super().__init__(window)
        self._window, self._session, self.page = window, session, page
        self.catalogues = Catalogues()
        self._unread: list[CatalogueFile] = []
        self._reads = QTimer(self, interval=0)
        self._reads.timeout.connect(self._read_one)
        self._screws_soon = QTimer(self, singleShot=True, interval=50)
        self._screws_soon.timeout.connect(self._offer_screws)
        self.typed = Typed()
        self.now: Followed | None = None
        self.is_begun = self._is_writing = False
        self._known: dict[str, Typed] = {}
        self.questions = NewSetupQuestions(session, self)
        self._n_open = 1
        self.room = PageRoom(window, page)
        self.part = NewSetupPart(self)
        self.machines = NewSetupMachines(self)
        self.orientations = NewSetupOrientations(self)
        self._connect()

    def _connect(self) -> None:
        page, document = self.page, self._session.document
        self.questions.answered.connect(self._found)
        document.text_changed.connect(self._text_changed)
        self._window.files.opened.connect(self.shut)
        self._window.files.saved.connect(self._was_saved)
        page.holding.kind_chosen.connect(self._kind_chosen)
        page.holding.answered.connect(self._answered)
        page.tools.typed.connect(self._tools_typed)
        page.tools.finished.connect(self._tools_finished)
        page.unfold_asked.connect(self._unfold)
        page.passed.connect(self._passed)
        page.done.connect(self.finish)
        page.left.connect(self.shut)
        page.beside_kept.connect(self.shut)
        page.beside_taken_back.connect(self._take_back)
        page.unit_shown.connect(self._unit_shown)

    @property
    def is_open(self) -> bool:
        return not self.page.isHidden()

    # ---- open and shut ----

    def start(self, part: str = "") -> None:
        """Begin, once nothing unsaved is in the way; with a part file where one was dropped."""
        if self._window.files.may_close(partial(self._start, part)):
            self._start(part)

    def _start(self, part: str) -> None:
        self._forget()
        self.typed = Typed(units=self._window.wiring.unit.value)
        self._session.document.begin("")
        self._unread = [*self.catalogues.listing("machine"), *self.catalogues.listing("holder")]
        self._reads.start()
        self.page.fold()
        self.page.hide_beside()
        self.page.part.show_nothing()
        self.page.tools.field.set_text("")
        self._window.board.hide()
        self.page.show()
        self.room.take()
        self._window.show_start(is_empty=True)
        self._window.wiring.show_all()
        for panel in (self._window.dials, self._window.uses_up, self._window.side_on, self._window.round_tool):
            panel.show_nothing("Filled once there is a tool and an orientation.")
        self._window.view.show_nothing("Your set-up stands here as you answer.")
        self._say_missing()
        if part:
            self.part.read(part)
        else:
            self.page.part.choose.setFocus()

    def _forget(self) -> None:
        self.now, self.is_begun, self._n_open = None, False, 1
        self.part.forget()
        self.orientations.forget()
        self._known.clear()
        self.questions.forget()

    @Slot()
    def shut(self) -> None:
        """The board again; the set-up stays as it is."""
        if not self.is_open:
            return
        self._reads.stop()
        self.questions.forget()
        self.page.hide()
        self._window.board.show()
        self.room.give_back()
        self.machines.remove_unused(self._session.document.text)
        if not self._session.document.text:
            self._window.view.show_nothing("")
        self._window.wiring.show_all()

    @Slot()
    def finish(self) -> None:
        """Save, and show the board. Asks for a name only where the usual one is taken."""
        now = self.now
        if now is None or now.missing or not now.is_right:
            self._say_missing()
            self._bring_missing()
            return
        files = self._window.files
        if files.save() if self.part.is_name_free else files.ask_save_as():
            self.shut()

    @Slot(str)
    def _was_saved(self, words: str) -> None:
        saved = self._session.document.path
        if not words or not self.is_open or not self.is_begun or saved is None:
            return
        before = self.part.path
        why = self.part.saved_as(saved)
        if why:
            self._session.refused.emit(why)
        elif self.part.path != before:
            self._session.recompute()  # what it names is beside it now

    def _bring_missing(self) -> None:
        """To the block that is not right."""
        now = self.now
        if now is None or self.typed.part is None:
            self._unfold(1)
        elif "machine" in now.faults:
            self._unfold(2)
        elif now.faults:
            self._unfold(3)
        elif "a tool" in now.missing or any(tool.faults for tool in now.tools):
            self._unfold(4)
        else:
            self._unfold(5)

    # ---- from the page to the text ----

    def change(self, what: str, typed: Typed) -> None:
        """Another answer."""
        if typed == self.typed:
            return
        self.typed = typed
        self._follow(what)

    def _follow(self, what: str) -> None:
        now = self.now = followed(self.typed, self.folder, self.catalogues)
        self.questions.keep_only(self._wanted())
        if now.text and self.part.path is not None and not self.page.beside.isVisible():
            self._write(what, now.text, self.part.path)
        self._show()
        self._ask_engine()

    def _write(self, what: str, text: str, path: Path) -> None:
        document = self._session.document
        self._known[text] = self.typed
        self._is_writing = True
        try:
            if self.is_begun:
                document.replace(f"New set-up: {what}", text)
            else:
                self.is_begun = True
                document.begin(text, path)
                document.stack.resetClean()  # it is in no file yet
        finally:
            self._is_writing = False

    @Slot(str, str)
    def _text_changed(self, _before: str, after: str) -> None:
        """An undo brings the page back; a change from elsewhere is told."""
        if not self.is_open or self._is_writing or not self.is_begun:
            return
        typed = self._known.get(after)
        if typed is not None:
            self.page.hide_beside()
            self._restore(typed)
        elif after:
            self.page.show_beside()

    def _restore(self, typed: Typed) -> None:
        self.typed = typed
        self.now = followed(typed, self.folder, self.catalogues)
        self.questions.keep_only(self._wanted())
        self.page.tools.field.set_text(typed.tools)
        self._show()
        self._ask_engine()
        self.part.restore(typed)

    @Slot()
    def _take_back(self) -> None:
        """What is on the page goes before what was changed beside it."""
        self.page.hide_beside()
        self._follow("as answered")

    @property
    def folder(self) -> Path:
        """Where the set-up is to stand."""
        return self.part.folder

    # ---- what the page shows ----

    def _show(self) -> None:
        page, typed, now = self.page, self.typed, self.now
        assert now is not None, "shown once something follows"
        page.unfold_to(self._n_open)
        if typed.part is not None:
            page.part.show_part(typed.part, self.part.shown)
        seen = {axis: typed.sign(axis) for machine, axis, _ in typed.signs if machine == typed.machine}
        page.machine.offer(self._titles())
        page.machine.show_machine(typed.machine, now.machine, seen, typed.units)
        page.machine.trouble.say(now.faults.get("machine", ""))
        page.holding.show_typed(typed, now)
        page.tools.show_holders(now.holders)
        page.tools.show_lines(now.tools)
        page.orientations.show_orientations(tuple(self._orientation_words(o, now) for o in now.orientations))
        self._say_missing()

    def _orientation_words(self, orientation: OrientationNow, now: Followed) -> OrientationWords:
        wanted = self._rooms_wanted(orientation)
        shown = self.questions.rooms_of(wanted)
        measured = self.orientations.measured_of(orientation.typed)
        return orientation_words(orientation, shown, self.typed, now, self._window.wiring.unit, measured)

    def _titles(self) -> dict[str, str]:
        """Machines of the library, and those that were made here."""
        titles = {found.name: self.catalogues.title(found) for found in self.catalogues.listing("machine")}
        own = self.typed.machine
        if own and own not in titles and self.now is not None and self.now.machine is not None:
            titles[own] = self.now.machine.title
        return titles

    def _say_missing(self) -> None:
        now = self.now
        if self.typed.part is None or now is None:
            self.page.say_missing("The part file is first.")
        elif now.missing:
            was = " What stands at the right is of the answers before." if self.is_begun else ""
            self.page.say_missing(f"Still missing: {', '.join(now.missing)}.{was}")
        elif not now.is_right:
            self.page.say_missing("What is marked is not in the set-up yet.")
        else:
            self.page.say_missing("")

    @Slot(int)
    def _unfold(self, number: int) -> None:
        if self.typed.part is None:
            return
        self.unfold_quietly(number)
        self.page.bring(number)

    def unfold_quietly(self, number: int) -> None:
        """A block unfolds while another one is looked at."""
        if number > self._n_open and self.now is not None:
            self._n_open = number
            self._show()

    @Slot(int)
    def _passed(self, number: int) -> None:
        """`Later`, or `Go on`, at the end of a block."""
        if number == 4 and self.now is not None and not any(tool.tool for tool in self.now.tools):
            line = DEFAULT_TOOL[self.typed.units]
            self.page.tools.field.set_text(line)
            self.change("a tool to begin with", replace(self.typed, tools=line, stand_in=line))
        if number == 5:
            if not self.typed.orientations:
                one = TypedOrientation(free_orientation_name(self.typed), UP)
                self.change("from above", replace(self.typed, orientations=(one,)))
            else:
                self.finish()
            return
        self._unfold(number + 1)
        if number == 3:
            self.page.tools.field.setFocus()

    # ---- 1 part ----

    def take_part(self, part: PartAnswer) -> None:
        """A part was read; what was clicked on it stays, unless another side of it is up now."""
        self._reads.stop()
        self._unread.clear()
        self._screws_soon.start()
        self._n_open = max(self._n_open, 2)
        machine = self.typed.machine or next(iter(self.catalogues.names("machine")), "")
        old = self.typed.part
        orientations = self.typed.orientations if old is None or old.up == part.up else ()
        self.change(f"part {part.file}", replace(self.typed, part=part, machine=machine, orientations=orientations))
        self.show_again()

    # ---- 3 holding ----

    @Slot()
    def _offer_screws(self) -> None:
        self.page.holding.offer_screws(screw_names(self.catalogues))

    @Slot(str)
    def _kind_chosen(self, kind: str) -> None:
        self.change(f"held by {kind}", replace(self.typed, holding=kind))

    @Slot(str, str)
    def _answered(self, field: str, text: str) -> None:
        self.change(FIELD_WORDS[field], with_text(self.typed, field, text))

    # ---- 4 tools ----

    @Slot(str)
    def _tools_typed(self, text: str) -> None:
        lines, holders = tool_lines(replace(self.typed, tools=text), self.folder, self.catalogues)
        self.page.tools.show_holders(holders)
        self.page.tools.show_lines(lines)

    @Slot(str)
    def _tools_finished(self, text: str) -> None:
        self.change("tools", replace(self.typed, tools=text))
        if self.now is not None and any(tool.tool for tool in self.now.tools):
            self.unfold_quietly(5)

    # ---- the engine ----

    def _wanted(self) -> list[Question]:
        """What each position leaves; before there is a tool, how everything stands."""
        now, path = self.now, self.part.path
        if now is None or now.stands is None or path is None:
            return []
        found: list[Question] = []
        for orientation in now.orientations:
            wanted = self._rooms_wanted(orientation)
            shown = self.questions.rooms_of(wanted)
            if wanted is not None and not (shown is not None and shown.is_done):
                found.append((ROOMS, wanted))
        if not now.text and not self.is_begun:
            found.append((BARE, BareWanted(now.stands, str(path))))
        return found

    def _ask_engine(self) -> None:
        for panel, about in self._wanted():
            self.questions.ask(panel, about)

    def _rooms_wanted(self, orientation: OrientationNow) -> RoomsWanted | None:
        """The question about one orientation; the same whichever position is chosen."""
        now = self.now
        if orientation.answer is None or now is None or now.stands is None or self.part.path is None:
            return None
        one = replace(orientation.answer, angles_deg=())
        return RoomsWanted(replace(now.stands, orientations=(one,)), orientation.solutions, str(self.part.path))

    def show_again(self) -> None:
        """Something more is known about what is answered."""
        if self.now is not None:
            self._show()

    @Slot(object)
    def _found(self, found: Found) -> None:
        match found.value:
            case _ if found.panel == PART:
                self.part.came(found.value)
            case RoomsShown():
                self.show_again()
            case Place() as place:
                if not self.is_begun:
                    self._window.view.show_place(place)
            case FeatureShown() as feature:
                self.orientations.feature_came(found.about, feature)
            case str(why) if found.panel == BARE and not self.is_begun:
                self._window.view.show_nothing(why)

    # ---- the rest ----

    @Slot(object)
    def _unit_shown(self, unit: Unit) -> None:
        """Lengths in another unit: what is typed keeps its own once there is something."""
        if not self.is_open:
            return
        is_free = not any(getattr(self.typed, field) for field in NUMBERS)
        if is_free and not any(o.depth for o in self.typed.orientations) and unit.value != self.typed.units:
            self.typed = replace(self.typed, units=unit.value)
            if self.now is not None:
                self._follow(f"lengths in {unit}")
        elif self.now is not None:
            self._show()

    @Slot()
    def _read_one(self) -> None:
        """Read a file of the library per turn, so that nobody waits for all of them."""
        if not self._unread:
            self._reads.stop()
            if self.now is None:
                self.page.machine.offer(self._titles())
            return
        with contextlib.suppress(SideFileFault):  # told when it is chosen
            self.catalogues.document(self._unread.pop(0))
