"""A cut by pointing at the part: what was measured is shown for confirmation, and becomes a cut when it is agreed to.

Shows: the workpiece (`show_workpiece`), what was measured (`show_measured`), tools and states to choose from.
Says: pointed(point, normal) in the part's coordinates; agreed(Agreed).
"""

from __future__ import annotations

from dataclasses import dataclass

from PySide6.QtCore import QSize, Qt, Signal, Slot
from PySide6.QtWidgets import QComboBox, QFormLayout, QHBoxLayout, QLabel, QLineEdit, QPushButton, QVBoxLayout, QWidget

from app.window import units
from app.window.panels.overlay import Overlay
from app.window.panels.part_picker import PartPicker
from app.window.part_answers import MeasuredShown, WorkpieceShown
from app.window.theme import AT_EDGE, BETWEEN, TARGET, Theme
from app.window.units import Unit
from kinematics.measured.found import Declined, FoundHole, FoundPocket, FoundSlot
from kinematics.pose import Vector

NEW = "new orientation: "


@dataclass(frozen=True, slots=True)
class Agreed:
    """What is to become a cut. `angles_deg` only for a new orientation, whose name is then not known yet."""

    name: str
    tool: str
    state: str
    orientation: str
    angles_deg: tuple[tuple[str, float], ...]
    found: FoundHole | FoundPocket | FoundSlot


class Measure(Overlay):
    """The part at the left, what was measured at the right."""

    pointed = Signal(object, object)
    agreed = Signal(object)

    def __init__(self, theme: Theme, unit: Unit, parent: QWidget) -> None:
        super().__init__(theme, parent)
        self.unit = unit
        self.measured: MeasuredShown | None = None
        self.setAccessibleName("a cut by pointing at the part")
        title = QLabel("Click a hole, a pocket or a slot on the part", self)
        title.setStyleSheet(f"font-size: {theme.type.name.pixelSize()}px; font-weight: 700;")
        hint = QLabel("Esc closes this card", self)
        hint.setStyleSheet(f"color: {theme.palette.quiet.name()};")
        self.picker = PartPicker(theme, self)
        self.words = QLabel(self)
        self.words.setWordWrap(True)
        self.words.setTextFormat(Qt.TextFormat.PlainText)
        self.words.setAlignment(Qt.AlignmentFlag.AlignTop)
        self.name = QLineEdit(self)
        self.tool, self.state, self.orientation = (QComboBox(self) for _ in range(3))
        for box in (self.tool, self.state, self.orientation):
            box.setMinimumHeight(TARGET)
            box.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        self.add = QPushButton("Add this cut", self)
        self.add.setMinimumHeight(TARGET)
        self.add.setEnabled(False)
        first = QHBoxLayout()
        first.addWidget(title, 1)
        first.addWidget(hint)
        form = QFormLayout()
        form.setSpacing(6)
        for label, field in (
            ("name", self.name),
            ("tool", self.tool),
            ("begins with", self.state),
            ("at", self.orientation),
        ):
            form.addRow(label, field)
        right = QVBoxLayout()
        right.setSpacing(BETWEEN)
        right.addWidget(self.words, 1)
        right.addLayout(form)
        right.addWidget(self.add)
        side = QWidget(self)
        side.setLayout(right)
        side.setFixedWidth(300)
        both = QHBoxLayout()
        both.setSpacing(AT_EDGE)
        both.addWidget(self.picker, 1)
        both.addWidget(side)
        column = QVBoxLayout(self)
        column.setContentsMargins(AT_EDGE, BETWEEN, AT_EDGE, AT_EDGE)
        column.setSpacing(BETWEEN)
        column.addLayout(first)
        column.addLayout(both, 1)
        self.picker.pointed.connect(self.pointed)
        self.add.clicked.connect(self._agree)
        self._say("Reading the part ...")

    def sizeHint(self) -> QSize:
        return QSize(1000, 620)

    # ---- what is shown ----

    def show_choices(self, tools: tuple[str, ...], states: tuple[str, ...], state: str, name: str) -> None:
        """Tools and states there are, and the name that a new cut would have."""
        self.tool.addItems(list(tools))
        self.state.addItems(list(states))
        self.state.setCurrentText(state)
        self.name.setText(name)

    def show_workpiece(self, shown: WorkpieceShown) -> None:
        """The part to point at, or why there is none."""
        if shown.mesh is None:
            self._say(f"{shown.why[:1].upper()}{shown.why[1:]}.")
            return
        self.picker.show_part(shown.mesh.vertices, shown.mesh.faces)
        self.picker.setFocus()
        self._say("Drag to turn the part, click where the cut is to be. What is measured comes here.")

    def show_measured(self, shown: MeasuredShown) -> None:
        """What stands where the part was pointed at."""
        self.measured = shown
        found = shown.found
        self.orientation.clear()
        is_found = not isinstance(found, Declined)
        self.add.setEnabled(is_found)
        if isinstance(found, Declined):
            self.picker.clear_mark()
            self._say(f"Not measured: {found.why}. Point somewhere else, or give the cut by its numbers.")
            return
        self.picker.mark(_entry(found), found.direction)
        self._say(self._words_of(found))
        self.orientation.addItems(list(shown.orientations))
        for angles in shown.positions:
            self.orientation.addItem(NEW + ", ".join(f"{axis} {angle:g}" for axis, angle in angles))

    def _say(self, text: str) -> None:
        self.words.setText(text)

    def _words_of(self, found: FoundHole | FoundPocket | FoundSlot) -> str:
        def mm(value: float) -> str:
            return units.length(value, self.unit)

        def at(point: Vector) -> str:
            return f"X {mm(point[0])}  Y {mm(point[1])}  Z {mm(point[2])}"

        match found:
            case FoundHole():
                size = f"Hole, {mm(found.diameter)} across, {mm(found.depth)} deep"
                end = {"point": f"to the tip of its point ({found.point_deg or 0:.0f} degrees)"}
                lines = [f"{size}, {end.get(found.bottom, found.bottom)}.", f"Entry {at(found.at)}"]
            case FoundPocket():
                through = " through" if found.is_through else ""
                lines = [
                    f"Pocket{through}, {mm(found.size[0])} x {mm(found.size[1])}, {mm(found.depth)} deep.",
                    f"Corners {mm(found.corner_radius)}.",
                    f"Middle of the opening {at(found.at)}",
                ]
            case FoundSlot():
                lines = [
                    f"Slot, {mm(found.width)} wide, {mm(found.depth)} deep.",
                    f"From {at(found.start)}",
                    f"to {at(found.end)}",
                ]
        lines.append("Tool from " + ", ".join(f"{v:+.3f}" for v in found.direction))
        lines += [f"Look at this: {note}." for note in found.notes]
        lines.append(f"All in {self.unit}, in the coordinates of the part. Is that right?")
        return "\n".join(lines)

    # ---- what is done ----

    @Slot()
    def _agree(self) -> None:
        shown = self.measured
        if shown is None or isinstance(shown.found, Declined) or not self.name.text().strip():
            return
        index = self.orientation.currentIndex()
        n_known = len(shown.orientations)
        orientation = shown.orientations[index] if 0 <= index < n_known else ""
        angles = shown.positions[index - n_known] if index >= n_known else ()
        if not orientation and not angles:
            self._say("No position of the table within its limits aims the tool there.")
            return
        self.agreed.emit(
            Agreed(
                self.name.text().strip(), self.tool.currentText(), self.state.currentText(), orientation, angles,
                shown.found,
            )
        )  # fmt: skip
        self.shut()


def _entry(found: FoundHole | FoundPocket | FoundSlot) -> Vector:
    if isinstance(found, FoundSlot):
        x, y, z = ((a + b) / 2.0 for a, b in zip(found.start, found.end, strict=True))
        return x, y, z
    return found.at
