"""A cut by pointing at the part: the card, the engine's answers, and the edits when it is agreed to."""

from __future__ import annotations

from typing import TYPE_CHECKING

from PySide6.QtCore import QObject, Slot

from app.scenes.document import Document as SceneText
from app.scenes.forms import units_of
from app.scenes.located import MapNode, ScalarNode
from app.scenes.things import Put, cut_put, free_name, orientation_put
from app.scenes.yaml_text import Plain
from app.window.answers import Found
from app.window.panels.measure import Agreed, Measure
from app.window.part_answers import MEASURED, WORKPIECE, MeasuredShown, MeasureWanted, WorkpieceShown
from app.window.session import Session
from kinematics.measured.found import FoundHole, FoundPocket, FoundSlot
from kinematics.pose import Vector

if TYPE_CHECKING:
    from app.window.main_window import MainWindow

MM_PER_INCH = 25.4
DIGITS = {"mm": 3, "inch": 4}


class Measuring(QObject):
    """Opens the card and adds what is agreed to."""

    def __init__(self, window: MainWindow, session: Session) -> None:
        super().__init__(window)
        self._window, self._session = window, session
        self.card: Measure | None = None
        session.found.connect(self._found)

    def open(self) -> None:
        """The card for the workpiece of the cut that is looked at."""
        focus, outline = self._session.focus, self._session.snapshot.outline
        if focus is None or outline is None:
            self._session.refused.emit("a cut of the same part has to be there before another can be measured")
            return
        text = self._session.document.text
        states, state = _states(text, focus)
        taken = [cut.key[1] for cut in outline.cuts()]
        name = next(f"cut {n}" for n in range(1, len(taken) + 2) if f"cut {n}" not in taken)
        self.card = Measure(self._window.theme, self._window.wiring.unit, self._window)
        self.card.show_choices(tuple(t.id for t in outline.tools), states, state, name)
        self.card.pointed.connect(self._pointed)
        self.card.agreed.connect(self._agreed)
        self.card.closed.connect(self._closed)
        self._window.lay_over(self.card)
        self._session.ask_beside(WORKPIECE, focus)

    @Slot(object, object)
    def _pointed(self, point: Vector, normal: Vector) -> None:
        if self._session.focus is not None:
            self._session.ask_beside(MEASURED, MeasureWanted(self._session.focus, point, normal))

    @Slot(object)
    def _found(self, found: Found) -> None:
        if self.card is None:
            return
        match found.value:
            case WorkpieceShown() as shown:
                self.card.show_workpiece(shown)
            case MeasuredShown() as shown:
                self.card.show_measured(shown)

    @Slot()
    def _closed(self) -> None:
        self.card = None

    @Slot(object)
    def _agreed(self, agreed: Agreed) -> None:
        text = self._session.document.text
        self._window.editing.editor.show()
        self._window.editing.put(f"Add {agreed.name}", lambda: cut_of(text, agreed))


def cut_of(text: str, agreed: Agreed) -> Put:
    """The text with the cut, and with its orientation where that is new. Raises EditError."""
    orientation = agreed.orientation
    if not orientation:
        n = text.count("- name: V") + 1
        made = orientation_put(text, free_name(text, f"V{n}"), dict(agreed.angles_deg))
        text, orientation = made.text, made.path
    units = units_of(SceneText("", text, "scene"))
    cut: dict[str, Plain] = {"name": agreed.name, "tool": agreed.tool, "state": agreed.state}
    return cut_put(text, orientation, {**cut, **feature_of(agreed.found, units)})


def feature_of(found: FoundHole | FoundPocket | FoundSlot, units: str) -> dict[str, Plain]:
    """What was measured, as a scene has it, in its units."""
    per = MM_PER_INCH if units == "inch" else 1.0

    def length(mm: float) -> float:
        return round(mm / per, DIGITS[units]) + 0.0

    def point(at: Vector) -> list[float]:
        return [length(v) for v in at]

    match found:
        case FoundHole():
            return {"hole": {"at": point(found.at), "depth": length(found.depth)}}
        case FoundPocket():
            size = [length(v) for v in found.size]
            along = [round(v, 9) + 0.0 for v in found.along]
            return {"pocket": {"at": point(found.at), "size": size, "along": along, "depth": length(found.depth)}}
        case FoundSlot():
            return {"slot": {"from": point(found.start), "to": point(found.end), "depth": length(found.depth)}}


def _states(text: str, focus: tuple[str, str]) -> tuple[tuple[str, ...], str]:
    """The states that there are, and the one that a cut begins with."""
    read = SceneText("", text, "scene")
    own = read.find(f"{focus[0]}/{focus[1]}/state")
    names = tuple(
        entry.key.text
        for path, node in read.paths().items()
        if path.rpartition("/")[2] == "states" and isinstance(node, MapNode)
        for entry in node.entries
    )
    return names, own.text if isinstance(own, ScalarNode) else ""
