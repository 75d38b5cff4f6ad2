"""From the session to the panels and back: who is shown what, and what is done when a panel says something.

1. One direction: panels say what was done; the session changes; panels are shown the new snapshot. No panel knows
   another, the session or the document.
2. While a dial is held cards do not change places; they do when it is let go.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from PySide6.QtCore import QObject, QSettings, Slot

from app.scenes.faults import Fault
from app.window.answers import CutKey
from app.window.panels.find_anything import Entry
from app.window.panels.headline import Offer
from app.window.panels.status_line import Status
from app.window.results import CutNow, Holds, MoveNow, Order, Snapshot, cards_of, cuts_tightest_first
from app.window.session import Key, Session
from app.window.telling import Headline, headline
from app.window.telling_line import ticks_of
from app.window.units import Unit
from kinematics.report import SecondOpinion
from kinematics.verdict import Verdict

if TYPE_CHECKING:
    from app.window.main_window import MainWindow

GO_ON = "go on"


class Wiring(QObject):
    """Holds what is the user's choice: order and unit."""

    def __init__(self, window: MainWindow, session: Session, settings: QSettings) -> None:
        super().__init__(window)
        self._window, self._session, self._settings = window, session, settings
        self.order = Order(str(settings.value("order", Order.TIGHTEST)))
        self.unit = Unit(str(settings.value("unit", Unit.MM)))
        self._names: tuple[str, ...] = ()
        self._saved = ""
        session.snapshot_changed.connect(self.show_all)
        session.selected.connect(self._selected)
        session.outline_changed.connect(self._outline_changed)
        session.document.path_changed.connect(self._show_title)
        session.document.stack.cleanChanged.connect(self._show_title)
        session.refused.connect(self._refused)
        window.board.picked.connect(self.pick)
        window.room_line.picked.connect(self.pick)
        window.board.order_wanted.connect(self.set_order)
        window.headline.unit_wanted.connect(self.set_unit)
        window.faults.jumped.connect(self._jump)
        window.files.saved.connect(self._was_saved)
        window.headline.offer_taken.connect(self._offer_taken)

    # ---- choices ----

    @Slot(object)
    def set_order(self, order: Order) -> None:
        """Cards in this order."""
        self.order = order
        self._settings.setValue("order", str(order))
        self.show_all()

    def toggle_unit(self) -> None:
        """mm, or inch."""
        self.set_unit(Unit.INCH if self.unit is Unit.MM else Unit.MM)

    @Slot(object)
    def set_unit(self, unit: Unit) -> None:
        """All lengths in this unit."""
        self.unit = unit
        self._settings.setValue("unit", str(unit))
        self._window.headline.show_unit(unit)
        self._window.room_line.set_unit(unit)
        for panel in self._window.plain_panels():
            panel.set_unit(unit)
        self._window.beside.show_unit(unit)
        self.show_all()

    @Slot(object)
    def pick(self, key: Key) -> None:
        """Look at a cut or swing."""
        self._session.select(key)

    def step_cut(self, step: int) -> None:
        """The next or last cut of the orientation that is looked at, in machining order."""
        focus = self._session.focus
        own = [cut.key for cut in self._session.snapshot.cuts if focus is not None and cut.key[0] == focus[0]]
        if focus in own:
            self.pick(own[(own.index(focus) + step) % len(own)])

    def step_not_clear(self, step: int) -> None:
        """The next or last cut or swing that is not clear, tightest first."""
        bad: list[Key] = [
            c.key for c in cuts_tightest_first(self._session.snapshot.cuts) if c.verdict is not Verdict.CLEAR
        ]
        bad += [m.key for m in self._session.snapshot.swings if m.verdict is not Verdict.CLEAR]
        if not bad:
            return
        now = self._session.move or self._session.focus
        at = bad.index(now) if now in bad else -1 if step > 0 else 0
        self.pick(bad[(at + step) % len(bad)])

    # ---- showing ----

    @Slot()
    def show_all(self) -> None:
        """Every panel gets the snapshot as it is."""
        snapshot, window = self._session.snapshot, self._window
        is_empty = not self._session.document.text
        window.headline.show_headline(Headline(None, "", "", "") if is_empty else headline(snapshot, self.unit))
        window.faults.show_faults(snapshot.faults)
        self._offer_to_go_on(snapshot)
        keep = self._names if self._session.held or (snapshot.doing and snapshot.is_stale) else None
        cards = cards_of(snapshot, self.order, keep)
        self._names = tuple(card.name for card in cards)
        swings: tuple[MoveNow, ...] = snapshot.swings
        if self.order is Order.TIGHTEST:
            swings = ()
        window.board.show_cards(cards, swings, self.order, self.unit)
        wanted = snapshot.outline
        window.room_line.show_ticks(
            ticks_of(snapshot, self.unit),
            wanted.keep_off_cut if wanted is not None else 0.0,
            wanted.keep_off_swing if wanted is not None else 0.0,
        )
        window.status.show_status(self._status())
        window.show_start(is_empty=snapshot.outline is None and not self._session.document.text)
        self._show_title()

    def _offer_to_go_on(self, snapshot: Snapshot) -> None:
        """After a stop, or without an engine: a key that goes on. What else is offered stands first."""
        headline_, offer = self._window.headline, self._window.headline.offer
        if snapshot.is_stopped and not snapshot.doing:
            wanted = Offer(GO_ON, "What was not reached is not checked.", ("Go on",))
        elif snapshot.failure and not snapshot.doing:
            wanted = Offer(GO_ON, "What was not computed is not checked.", ("Try again",))
        else:
            wanted = None
        if offer is None or offer.key == GO_ON:
            headline_.show_offer(wanted)

    @Slot(str)
    def _offer_taken(self, key: str) -> None:
        if key == GO_ON:
            self._session.recompute()

    def _kept_order(self, snapshot: Snapshot) -> tuple[str, ...] | None:
        """The order that cards keep while results come: as in the file before the first, else as they stand."""
        if any(cut.holds is Holds.COMPUTING for cut in snapshot.cuts) and snapshot.outline is not None:
            return tuple(orientation.name for orientation in snapshot.outline.orientations)
        return self._names if self._session.held or (snapshot.doing and snapshot.is_stale) else None

    def _status(self) -> Status:
        snapshot = self._session.snapshot
        if snapshot.outline is None:
            return Status(saved=self._saved, doing=_doing(snapshot.doing) if self._session.document.text else "")
        unchecked = snapshot.unchecked()
        n = len(unchecked)
        if snapshot.second_opinion is None and not n:
            words = "computing what is left" if snapshot.doing else "not everything was checked"
        elif n == 0:
            words = "0 not checked."
        else:
            words = f"{n} not checked: {unchecked[0].what}" + (f" and {n - 1} more" if n > 1 else "")
        tip = "\n".join(f"{item.what}: {item.why}" for item in unchecked[:20])
        opinion = {
            SecondOpinion.AGREES: " Second opinion agrees.",
            SecondOpinion.DISAGREES: " Second opinion disagrees.",
        }.get(snapshot.second_opinion or SecondOpinion.OFF, "")
        modelled = ", ".join(snapshot.outline.not_modelled)
        return Status(
            unchecked=words[:1].upper() + words[1:],
            is_loud=n > 0,
            not_modelled=(f"Not modelled: {modelled}." if modelled else "") + opinion,
            doing=_doing(snapshot.doing),
            saved=self._saved,
            tip=tip,
        )

    @Slot()
    def _show_title(self) -> None:
        outline, document = self._session.snapshot.outline, self._session.document
        name = document.path.name.removesuffix(".scene.yaml") if document.path else "Not saved yet"
        title = outline.title if outline is not None else name if document.text else self._empty_title()
        self._window.headline.show_title(title, is_modified=document.is_modified)
        star = " *" if document.is_modified else ""
        self._window.setWindowTitle(f"{name}{star} \u2013 Tightside" if document.text else "Tightside")

    def _empty_title(self) -> str:
        return "No set-up open." if self._window.new_page.isHidden() else "New set-up"

    @Slot(str)
    def _was_saved(self, words: str) -> None:
        self._saved = words
        self._window.status.show_status(self._status())

    @Slot(str)
    def _refused(self, why: str) -> None:
        self._window.status.show_status(Status(unchecked=why, is_loud=True, tip=why))

    @Slot()
    def _outline_changed(self) -> None:
        outline = self._session.snapshot.outline
        if outline is not None:
            self._window.show_outline(outline)

    @Slot()
    def _selected(self) -> None:
        key = self._session.move or self._session.focus
        self._window.board.mark_picked(key)
        self._window.room_line.mark_selected(key)
        self._window.board.bring_into_view()

    @Slot(object)
    def _jump(self, fault: Fault) -> None:
        self._window.jump_to(fault)

    # ---- names ----

    def entries(self) -> tuple[Entry, ...]:
        """Everything that can be found by name."""
        snapshot = self._session.snapshot
        found: list[Entry] = []
        if snapshot.outline is not None:
            found += [_cut_entry(cut) for cut in snapshot.cuts]
            found += [Entry("swing", f"{m.key[1]} > {m.key[2]}", str(m.verdict), m.key) for m in snapshot.swings]
            found += [Entry("body", name, "", name) for name in snapshot.outline.bodies]
            found += [Entry("tool", t.id, f"{t.kind} in {t.holder}", t.id) for t in snapshot.outline.tools]
            found += [
                Entry("number", n.path, f"{n.value:g} {n.unit}".strip(), n.path) for n in snapshot.outline.numbers
            ]
        return tuple(found)

    def first_cut_of_tool(self, tool: str) -> CutKey | None:
        """The tightest cut that is made with a tool."""
        ranked = cuts_tightest_first(self._session.snapshot.cuts)
        return next((cut.key for cut in ranked if cut.outline.tool == tool), None)


def _cut_entry(cut: CutNow) -> Entry:
    return Entry("cut", " ".join(cut.key), f"{cut.outline.tool}, {cut.verdict}", cut.key)


def _doing(words: str) -> str:
    return f"Computing: {words}" if words and words != "computing" else "Computing" if words else ""
