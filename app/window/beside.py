"""From the session to the tight view, the dials, the bar and the side plots, and back.

1. A dial says what was turned; `dial_faces.edits` says which numbers that is; the session does the rest.
2. What is shown of an older scene is marked so at once; while a dial is held the plots wait.
3. A choice without numbers is a step of its own: it changes words of the text.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from PySide6.QtCore import QObject, Slot
from PySide6.QtGui import QImage

from app.jobs.dial_faces import DialFace, DialOffer, DialScope, edits
from app.jobs.plots import RoundTool, SideOn, UsesUp
from app.view3d.places import Place, Told
from app.window.answers import CutKey, Found, MoveKey, Shapes
from app.window.panels.dial_row import Worst
from app.window.results import CutNow, Holds, Snapshot, cuts_tightest_first
from app.window.session import Key, Session
from app.window.units import Unit
from kinematics.errors import TightsideError
from kinematics.report import CutReport
from kinematics.verdict import Verdict

if TYPE_CHECKING:
    from app.window.main_window import MainWindow


class Beside(QObject):
    """What stands under and beside the tight view."""

    def __init__(self, window: MainWindow, session: Session) -> None:
        super().__init__(window)
        self._window, self._session = window, session
        self._offers: dict[str, DialOffer] = {}
        self._card_places: dict[CutKey, Place] = {}
        self._part_off: tuple[str, str] | None = None
        self._scope = DialScope.TOOL
        self._before: dict[str, Worst | None] = {}
        self._shown_worst: dict[str, tuple[Worst | None, Worst | None]] = {}
        self._turning = ""
        session.found.connect(self._found)
        session.shapes_came.connect(self._shapes_came)
        session.no_shapes.connect(self._no_shapes)
        window.files.opened.connect(self._opened)
        window.pictures.ready.connect(self._picture_ready)
        window.pictures.failed.connect(self._pictures_failed)
        window.view.swept_wanted.connect(self._swept_wanted)
        window.view.room_wanted.connect(self._room_wanted)
        window.view.edit_asked.connect(window.edit)
        session.selected.connect(self._selected)
        session.snapshot_changed.connect(self._snapshot_changed)
        window.dials.turned.connect(self._turned)
        window.dials.released.connect(self._released)
        window.dials.reset.connect(self._reset)
        window.dials.scope_changed.connect(self._scope_changed)
        window.dials.picked.connect(self._dial_picked)
        window.dials.added.connect(self._added)
        session.document.path_changed.connect(window.dials.forget_saved)
        session.document.changed_on_disk.connect(self._disk_changed)
        window.files.saved.connect(self._was_saved)
        window.uses_up.edited.connect(self._term_edited)
        window.round_tool.height_wanted.connect(self._height_wanted)

    def show_unit(self, unit: Unit) -> None:
        """What was told in mm and in inch."""
        if self._part_off is not None:
            self._window.uses_up.show_part_off(self._part_off[unit is Unit.INCH])

    # ---- the view ----

    @Slot(object)
    def _shapes_came(self, shapes: Shapes) -> None:
        view = self._window.view
        if len(shapes.key) == 3:
            if shapes.key == self._swing():
                view.show_swept(shapes.place)
        elif shapes.what_for == "card":
            self._card_places[shapes.key] = shapes.place
            self._window.pictures.want(shapes.key, shapes.place)
        elif shapes.key == self._session.focus:
            view.show_place(shapes.place)

    @Slot()
    def _opened(self) -> None:
        """Another set-up: nothing of the last one is shown of it."""
        self._card_places.clear()
        self._window.pictures.forget()
        self._window.board.forget_pictures()
        self._show_nothing("Computing.")
        self._window.dials.show_nothing("Computing.")

    def _show_nothing(self, why: str) -> None:
        for panel in (self._window.view, self._window.uses_up, self._window.side_on, self._window.round_tool):
            panel.show_nothing(why)

    @Slot(object, QImage)
    def _picture_ready(self, key: CutKey, image: QImage) -> None:
        place = self._card_places.get(key)
        if place is not None:
            told = place.told
            what = (place.verdict, told.clearance if told else None, told.spare if told else None)
            self._window.board.show_picture(key, image, what)

    @Slot(str)
    def _pictures_failed(self, why: str) -> None:
        for key in self._card_places:
            self._window.board.show_picture(key, None, None, why)

    @Slot(object, str)
    def _no_shapes(self, key: Key, why: str) -> None:
        if key == self._session.focus:
            self._window.view.show_nothing(why)

    def _swing(self) -> MoveKey | None:
        """The swing whose room is shown: the one that is picked, or the next after the cut that is looked at."""
        if self._session.move is not None:
            return self._session.move
        focus = self._session.focus
        return next((m.key for m in self._session.snapshot.swings if focus and m.key[1] == focus[0]), None)

    @Slot(str)
    def _room_wanted(self, name: str) -> None:
        self._session.ask_more("room", name)

    @Slot(bool)
    def _swept_wanted(self, is_wanted: bool) -> None:  # noqa: FBT001 - a slot takes what its signal gives
        swing = self._swing()
        if not is_wanted:
            self._session.leave_move()
        elif swing is None:
            self._session.refused.emit("no swing leads away from this orientation")
        else:
            self._session.look_at_swing(swing)

    # ---- results ----

    @Slot(object)
    def _found(self, found: Found) -> None:
        window, focus = self._window, self._session.focus
        match found.panel, found.value:
            case _ if focus is None or found.about != focus:
                return
            case "room", (str() as name, (Told() | None) as told):
                window.view.show_room(focus, name, told)
            case "offers", tuple() as offers:
                self._show_offers(offers)
            case "offers", str(why):
                window.dials.show_nothing(why)
            case "face", DialFace() as face:
                window.dials.show_face(face)
            case "uses_up", UsesUp() as bar:
                window.uses_up.show_bar(bar)
            case "part_off", (str(mm), str(inch)):
                self._part_off = mm, inch
                self.show_unit(window.wiring.unit)
            case "side_on", SideOn() as plot:
                window.side_on.show_plot(plot)
            case "side_on", str(why):
                window.side_on.show_nothing(why)
            case "round_tool", RoundTool() as plot:
                window.round_tool.show_plot(plot)
            case "round_tool", str(why):
                window.round_tool.show_nothing(why)

    def _show_offers(self, offers: tuple[DialOffer, ...]) -> None:
        if self._turning:
            return
        self._offers = {offer.key: offer for offer in offers}
        self._shown_worst.clear()
        self._window.dials.show_offers(offers)
        self._show_worst()

    @Slot()
    def _selected(self) -> None:
        cut = self._session.snapshot.cut(self._session.focus)
        if cut is not None:
            self._window.dials.show_tool(cut.outline.tool)
        if self._session.move is None:
            self._mark_stale()
        elif not self._window.view.is_swept_wanted:
            self._window.view.toggle_swept()

    @Slot()
    def _snapshot_changed(self) -> None:
        snapshot = self._session.snapshot
        cut = snapshot.cut(self._session.focus)
        if snapshot.outline is None and snapshot.faults:
            self._show_nothing("There is nothing to show until the faults are mended.")
        elif cut is not None and cut.holds is Holds.STOPPED:
            self._show_nothing("Not checked.")
        elif snapshot.is_stopped and not snapshot.doing and self._window.view.place is None:
            self._show_nothing("Stopped before this was computed.")
        elif snapshot.is_stale or snapshot.faults or snapshot.failure or snapshot.is_stopped:
            self._mark_stale()
            if not self._session.held:
                self._window.dials.forget_faces()
        if self._session.held:
            self._mark_plots_stale()
        if not self._session.held and not self._turning:
            self._before = {}
        self._show_worst()

    def _mark_stale(self) -> None:
        self._window.view.mark_stale()
        self._window.uses_up.mark_stale()
        self._mark_plots_stale()

    def _mark_plots_stale(self) -> None:
        if self._part_off is not None:  # it has no look of its own for what is old
            self._part_off = None
            self._window.uses_up.show_part_off("")
        self._window.side_on.mark_stale()
        self._window.round_tool.mark_stale()

    def _show_worst(self) -> None:
        """Beside each dial, the worst spare before it was turned and now; while one is followed, once all is there."""
        snapshot = self._session.snapshot
        if self._session.held and snapshot.doing and not snapshot.is_stale:
            return
        for key, offer in self._offers.items():
            now = worst_in(snapshot, self._scope, offer, self._session.focus)
            shown = (self._before.get(key, now), now)
            if self._shown_worst.get(key) != shown:
                self._shown_worst[key] = shown
                self._window.dials.show_worst(key, *shown)

    # ---- dials ----

    @Slot(str, object)
    def _turned(self, key: str, value: float | str) -> None:
        offer = self._offers.get(key)
        if offer is None or isinstance(value, str):
            return
        if not self._turning:
            snapshot = self._session.snapshot
            self._before = {k: worst_in(snapshot, self._scope, o, self._session.focus) for k, o in self._offers.items()}
        self._turning = key
        self._session.turn({path: number for path, number in edits(offer, value) if not isinstance(number, str)})

    @Slot(str, object)
    def _released(self, key: str, value: float | str) -> None:
        offer = self._offers.get(key)
        self._turning = ""
        if offer is None:
            return
        changed = dict(edits(offer, value))
        self._session.prefer_dials((key,))
        if value == offer.now:
            self._session.let_go()
        else:
            for other, row in self._window.dials.rows.items():  # its own face does not depend on where it stands
                if other != key:
                    row.face.forget()
            self._session.release(f"Turn {offer.name}", changed, merge=f"dial {key}")

    @Slot(str)
    def _reset(self, key: str) -> None:
        """Back to the saved value: what the text says."""
        self._turning = ""
        self._session.let_go()
        offer = self._offers.get(key)
        if offer is not None:
            self._window.dials.show_value(key, offer.now)

    @Slot(str)
    def _was_saved(self, when: str) -> None:
        if when:
            self._window.dials.mark_saved()

    @Slot(bool)
    def _disk_changed(self, is_changed: bool) -> None:  # noqa: FBT001 - a slot takes what its signal gives
        if not is_changed:  # it was read again, or written
            self._window.dials.forget_saved()

    @Slot(object)
    def _scope_changed(self, scope: DialScope) -> None:
        self._scope = scope
        self._show_worst()
        self._session.want_dials(scope)

    @Slot(str)
    def _dial_picked(self, key: str) -> None:
        self._session.prefer_dials((key,))

    @Slot(str)
    def _added(self, path: str) -> None:
        self._session.add_dial(path)

    # ---- bar and plots ----

    @Slot(str, float)
    def _term_edited(self, path: str, value: float) -> None:
        outline = self._session.snapshot.outline
        per = 25.4 if outline is not None and outline.unit == "inch" and not path.endswith("tilt_deg") else 1.0
        try:
            self._session.document.edit(f"Set {path}", path, round(value / per, 9))
        except TightsideError as error:
            self._session.refused.emit(error.message)

    @Slot(float)
    def _height_wanted(self, height: float) -> None:
        self._session.ask_more("round_tool", height)


def worst_in(snapshot: Snapshot, scope: DialScope, offer: DialOffer, focus: tuple[str, str] | None) -> Worst | None:
    """The worst of the cuts that a dial's result is about; None while one of them has no fresh result."""
    cuts = snapshot.cuts
    own = snapshot.cut(focus)
    if scope is DialScope.CUT:
        cuts = tuple(c for c in cuts if c.key == focus)
    elif scope is DialScope.TOOL:
        tool = offer.tool or (own.outline.tool if own is not None else None)
        cuts = tuple(c for c in cuts if c.outline.tool == tool)
    if not cuts or any(cut.holds is not Holds.FRESH for cut in cuts):
        return None
    return _worst_of(cuts_tightest_first(cuts)[0])


def _worst_of(cut: CutNow) -> Worst | None:
    result = cut.result
    if result is None:
        return None
    if not isinstance(result, CutReport) or result.worst is None:
        return Worst(result.verdict, None, 0.0) if result.verdict is not Verdict.CLEAR else None
    return Worst(result.verdict, result.worst.spare, result.worst.keep_off)
