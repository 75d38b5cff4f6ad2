"""What is open in a window: the document, the engine that works on it, and the snapshot that panels are shown.

1. Every change of the text, and every turn of a dial, is a new revision. What was there becomes `was` unless the new
   results come within STALE_MS; they never look new before.
2. While a dial is held, only its newest value is asked, and the next one when the cuts of the last are there or take
   long. On release the value goes into the text as one step, and everything else is computed.
3. A selection is a cut or a move by its names; it survives every change that keeps the names.
4. What this file does not know: widgets, processes, geometry.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from PySide6.QtCore import QElapsedTimer, QObject, QTimer, Signal, Slot

from app.jobs.dial_faces import DialScope
from app.jobs.proposals import Proposal
from app.scenes.yaml_text import Plain
from app.window.answers import (
    Ask,
    Body,
    CutDone,
    CutKey,
    DialsWanted,
    Failed,
    Faulty,
    Found,
    HowFar,
    Look,
    MoveDone,
    MoveKey,
    MovesPlanned,
    NoShapes,
    Opened,
    Outline,
    Shapes,
    Stage,
    Whole,
)
from app.window.document import Document
from app.window.results import ENGINE_GONE, STOPPED_BY_YOU, CutNow, Holds, MoveNow, Snapshot, cuts_tightest_first
from app.window.worker import Worker
from kinematics.errors import TightsideError

STALE_MS = 45  # what is not replaced by then is shown as old
TOGETHER_MS = 30  # results of one step of a dial that come within this are shown together
TOGETHER_MS = 30  # results of one step of a dial that come within this are shown together
LONG_MS = 150  # a held dial waits no longer than this for the value before

Key = CutKey | MoveKey


class Session(QObject):
    """The state of a window. `snapshot_changed` comes at most once per turn of the event loop.

    `shapes_came` (Shapes), `no_shapes` (key, why) and `found` (Found) hand on what is shown elsewhere; `refused` says
    why something could not be done.
    """

    snapshot_changed = Signal()
    outline_changed = Signal()
    selected = Signal()
    shapes_came = Signal(object)
    no_shapes = Signal(object, str)
    found = Signal(object)
    held_changed = Signal()
    refused = Signal(str)

    def __init__(self, parent: QObject | None = None, worker: Worker | None = None) -> None:
        super().__init__(parent)
        self.document = Document(self)
        self.worker = worker or Worker(self)
        self.snapshot = Snapshot()
        self._focus: CutKey | None = None
        self._move: MoveKey | None = None
        self._is_chosen = False  # the user has picked something
        self._held: dict[str, float] = {}
        self._waits: dict[str, float] | None = None  # turned, not asked yet
        self._is_released = False  # the next change of the text is that of a dial whose cuts are there already
        self._is_asked = False
        self._is_under_way = False  # cuts are being computed
        self._dials = DialsWanted()
        self._since_asked = QElapsedTimer()
        self._stale = QTimer(self, singleShot=True, interval=STALE_MS)
        self._stale.timeout.connect(self._show_stale)
        self._next = QTimer(self, singleShot=True, interval=LONG_MS)
        self._next.timeout.connect(self._ask_held)
        self._fresh_cuts: set[CutKey] = set()
        self._fresh_moves: set[MoveKey] = set()
        self._told = QTimer(self, singleShot=True, interval=0)
        self._told.timeout.connect(self.snapshot_changed)
        self.document.text_changed.connect(self._text_changed)
        self.worker.answered.connect(self._answered)
        self.worker.died.connect(self._died)
        self.worker.stopped.connect(self._stopped)

    @property
    def is_about_to_tell(self) -> bool:
        """Whether the snapshot has changed since panels were shown one."""
        return self._told.isActive()

    # ---- what is looked at ----

    @property
    def focus(self) -> CutKey | None:
        """The cut that is looked at; None where there is none."""
        return self._focus

    @property
    def move(self) -> MoveKey | None:
        """The link or swing that is picked; None where a cut is."""
        return self._move

    @property
    def held(self) -> Mapping[str, float]:
        """Numbers that are being turned, by path."""
        return self._held

    def select(self, key: Key) -> None:
        """Look at a cut, or at a move, by its names."""
        self._is_chosen = True
        if len(key) == 3:
            if self.snapshot.move(key) is None or key == self._move:
                return
            self._move = key
            self.look_at_swing(key)
        else:
            if self.snapshot.cut(key) is None or (key == self._focus and self._move is None):
                return
            self._focus, self._move = key, None
            self._look()
        self.selected.emit()

    def leave_move(self) -> None:
        """No swing is picked any more."""
        if self._move is not None:
            self._move = None
            self.selected.emit()

    def look_at_swing(self, key: MoveKey) -> None:
        """The room that a swing sweeps is wanted."""
        if self._focus is not None and self._is_asked:
            self.worker.ask(Look(self.worker.generation, self._focus, key))

    def ask_more(self, panel: str, about: object = None) -> None:
        """Ask what one panel shows beyond the usual; it comes by `found`."""
        if self._focus is not None and self._is_asked:
            self.worker.ask(Look(self.worker.generation, self._focus, panel=panel, about=about))

    def ask_beside(self, panel: str, about: object) -> None:
        """Ask what needs no cut to look at (`part_answers.PANELS`); it comes by `found`."""
        focus = self._focus or ("", "")
        self.worker.ask(Look(self.worker.generation, focus, panel=panel, about=about))

    def want_dials(self, scope: DialScope) -> None:
        """Dials show the worst spare in this scope from now on."""
        self._dials = replace(self._dials, scope=scope)
        if not self._held and self._waits is None:
            self.ask_more("faces", self._dials)

    def prefer_dials(self, first: tuple[str, ...]) -> None:
        """The faces of these dials come first the next time."""
        self._dials = replace(self._dials, first=first)

    def add_dial(self, path: str) -> None:
        """A number gets a dial of its own."""
        if path not in self._dials.added:
            self._dials = replace(self._dials, first=(path,), added=(*self._dials.added, path))
            self.ask_more("faces", self._dials)

    def _look(self) -> None:
        if self._focus is not None and self._is_asked and not self._held:
            self.worker.ask(Look(self.worker.generation, self._focus))

    # ---- dials ----

    def turn(self, values: Mapping[str, float]) -> None:
        """A dial is held at these numbers, by path, in the units of the file."""
        if self._waits == dict(values) or (self._waits is None and self._held == dict(values)):
            return
        self._waits = dict(values)
        if not self._held or not self._is_under_way or not self._next.isActive():
            self._ask_held()
        else:
            self._become_stale()

    def release(self, name: str, values: Mapping[str, Plain], *, merge: str = "") -> None:
        """The dial is let go: its numbers go into the text. What is refused is said, and the dial goes back."""
        self._next.stop()
        is_there = (
            self._waits is None and self._held == dict(values) and len(self._fresh_cuts) == len(self.snapshot.cuts)
        )
        self._waits, self._held = None, {}
        self._is_released = is_there and not self.snapshot.faults
        before = self.document.text
        try:
            self.document.edit_all(name, dict(values), merge=merge)
        except TightsideError as error:
            self.refused.emit(error.message)
        self._is_released = False
        if self.document.text == before:  # nothing was changed
            self._new_revision()
        self.held_changed.emit()

    def let_go(self) -> None:
        """The dial is let go, and its numbers stay as they were."""
        self._next.stop()
        if self._held or self._waits is not None:
            self._waits, self._held = None, {}
            self._new_revision()
            self.held_changed.emit()

    @Slot()
    def _ask_held(self) -> None:
        self._next.stop()
        if self._waits is None:
            return
        self._held, self._waits = self._waits, None
        self._ask("cuts")
        self._next.start()
        self.held_changed.emit()

    # ---- asking ----

    @Slot()
    def recompute(self) -> None:
        """Go on after a stop or a failure."""
        self.snapshot = replace(self.snapshot, is_stopped=False, failure="")
        self._ask("all")

    @Slot()
    def stop(self) -> None:
        """Stop what is being computed."""
        if not self.snapshot.doing:
            return
        self._next.stop()
        self._waits = None
        self._stale.stop()
        self.worker.stop()
        cuts = tuple(
            c if c.holds is Holds.FRESH else replace(c, holds=Holds.STOPPED, why=STOPPED_BY_YOU)
            for c in self.snapshot.cuts
        )
        moves = tuple(
            m if m.holds is Holds.FRESH else replace(m, holds=Holds.STOPPED, why=STOPPED_BY_YOU)
            for m in self.snapshot.moves
        )
        self._take(replace(self.snapshot, cuts=cuts, moves=moves, is_stopped=True, doing="stopping"))

    @Slot()
    def _text_changed(self) -> None:
        self._waits, self._held = None, {}
        if self.document.text:
            self._ask("all", is_known=self._is_released)
        else:
            self._forget()

    def _forget(self) -> None:
        """Nothing is open."""
        self._next.stop()
        self._stale.stop()
        self.worker.next_generation()
        self._focus = self._move = None
        self._is_asked = self._is_chosen = False
        self._fresh_cuts.clear()
        self._fresh_moves.clear()
        self._take(Snapshot())
        self.selected.emit()

    def _new_revision(self) -> None:
        self._ask("all")

    def _ask(self, how_far: HowFar, *, is_known: bool = False) -> None:
        """Ask about the present scene. `is_known`: the cuts that are there are of it."""
        if not is_known:
            self._fresh_cuts.clear()
        self._fresh_moves.clear()
        self._become_stale()
        order = tuple(cut.key for cut in cuts_tightest_first(self.snapshot.cuts))
        self._is_asked = self._is_under_way = True
        self._since_asked.start()
        self.snapshot = replace(
            self.snapshot, doing="computing", is_stopped=False, not_checked=(), second_opinion=None, advice=None
        )
        self.worker.ask(
            Ask(
                self.worker.next_generation(),
                self.document.text,
                str(self.document.path or "untitled.scene.yaml"),
                values=tuple(self._held.items()),
                first=order,
                focus=self._focus,
                dials=self._dials,
                how_far=how_far,
            )
        )
        self._tell()

    def _become_stale(self) -> None:
        if not self._stale.isActive():
            self._stale.start()

    @Slot()
    def _show_stale(self) -> None:
        """What has not been replaced is of the scene before."""
        cuts = tuple(
            replace(c, holds=Holds.WAS if c.result else Holds.COMPUTING)
            if c.key not in self._fresh_cuts and c.holds is not Holds.COMPUTING
            else c
            for c in self.snapshot.cuts
        )
        moves = tuple(
            replace(m, holds=Holds.WAS if m.result else Holds.COMPUTING)
            if m.key not in self._fresh_moves and m.holds is not Holds.COMPUTING
            else m
            for m in self.snapshot.moves
        )
        self._take(replace(self.snapshot, cuts=cuts, moves=moves))

    # ---- answers ----

    @Slot(object)
    def _answered(self, bodies: tuple[Body, ...]) -> None:
        for body in bodies:
            self._take_body(body)

    def _take_body(self, body: Body) -> None:
        now = self.snapshot
        match body:
            case Opened(outline):
                self._open(outline)
            case Faulty(faults):
                self._take(replace(now, faults=faults, doing=""))
            case CutDone(key, result):
                self._fresh_cuts.add(key)
                cuts = tuple(replace(c, result=result, holds=Holds.FRESH) if c.key == key else c for c in now.cuts)
                self._take(replace(now, cuts=cuts, faults=()))
            case MovesPlanned(keys):
                known = {m.key: m for m in now.moves}
                new = tuple(known.get(key) or MoveNow(key, None, Holds.COMPUTING) for key in keys)
                self._take(replace(now, moves=new))
            case MoveDone(key, result):
                self._move_done(key, MoveNow(key, result, Holds.FRESH))
            case Whole(_, second_opinion, not_checked, _):
                self._take(replace(now, second_opinion=second_opinion, not_checked=not_checked))
            case Stage(words, done):
                self._stage(words, done)
            case Failed(why):
                self._fail(why)
            case Shapes():
                self.shapes_came.emit(body)
            case NoShapes(key, why):
                self.no_shapes.emit(key, why)
            case Found(panel, _, value):
                if panel == "advice":
                    self._take(replace(now, advice=value if isinstance(value, Proposal) else None))
                self.found.emit(body)

    def _open(self, outline: Outline) -> None:
        """Take over what is still there by the same name."""
        before = {cut.key: cut for cut in self.snapshot.cuts}
        cuts = []
        for own in outline.cuts():
            old = before.get(own.key)
            cuts.append(replace(old, outline=own) if old else CutNow(own, None, Holds.COMPUTING))
        is_new = self.snapshot.outline is None or not any(cut.key in before for cut in outline.cuts())
        moves = () if is_new else self.snapshot.moves
        self.snapshot = replace(self.snapshot, outline=outline, cuts=tuple(cuts), moves=moves, faults=(), failure="")
        if self.snapshot.cut(self._focus) is None:
            self._focus, self._move = (cuts[0].key if cuts else None), None
            self._is_chosen = False
            self.selected.emit()
        self.outline_changed.emit()
        self._tell()

    def _move_done(self, key: MoveKey, move: MoveNow) -> None:
        self._fresh_moves.add(key)
        moves = self.snapshot.moves
        if self.snapshot.move(key) is None:
            moves = (*(m for m in moves if m.holds is Holds.FRESH), move)
        self._take(replace(self.snapshot, moves=tuple(move if m.key == key else m for m in moves)))

    def _stage(self, words: str, done: str) -> None:
        if done == "cuts":
            self._is_under_way = False
            self._stale.stop()
            self._show_stale()  # links and swings follow the cuts
            self._choose_tightest()
        if done == "all" or (done == "cuts" and self._held):
            self._take(replace(self.snapshot, doing=""))
        elif words:
            self._take(replace(self.snapshot, doing=words))
        if done == "cuts" and self._waits is not None:
            self._ask_held()

    def _choose_tightest(self) -> None:
        """Look at the tightest, until the user has picked something."""
        if self._is_chosen or not self.snapshot.cuts:
            return
        tightest = cuts_tightest_first(self.snapshot.cuts)[0].key
        if tightest != self._focus:
            self._focus = tightest
            self._look()
            self.selected.emit()

    @Slot(str)
    def _died(self, why: str) -> None:
        self._fail(why)
        if self.worker.is_running and self.document.text:
            failure = self.snapshot.failure
            self._ask("all")
            self.snapshot = replace(self.snapshot, failure=failure)

    def _fail(self, why: str) -> None:
        """Nothing that was being computed is known."""
        self._stale.stop()
        cuts = tuple(
            c if c.key in self._fresh_cuts else replace(c, result=None, holds=Holds.STOPPED, why=ENGINE_GONE)
            for c in self.snapshot.cuts
        )
        moves = tuple(
            m if m.key in self._fresh_moves else replace(m, result=None, holds=Holds.STOPPED, why=ENGINE_GONE)
            for m in self.snapshot.moves
        )
        self._take(replace(self.snapshot, cuts=cuts, moves=moves, failure=why, doing=""))

    @Slot()
    def _stopped(self) -> None:
        self._take(replace(self.snapshot, doing=""))

    def _take(self, snapshot: Snapshot) -> None:
        if snapshot != self.snapshot:
            self.snapshot = snapshot
            self._tell()

    def _tell(self) -> None:
        """Panels are shown the snapshot soon; while a dial is followed, what comes quickly all at once."""
        wait_ms = TOGETHER_MS if self._held and self._is_under_way else 0
        if not self._told.isActive() or self._told.remainingTime() > wait_ms:
            self._told.start(wait_ms)

    def close(self) -> None:
        """End the engine and every timer."""
        for timer in (self._stale, self._next, self._told):
            timer.stop()
        self.worker.close()
