"""Block 5 of a new set-up: a face of the part is clicked, and both positions of the table stand side by side.

Shows: the part, orientations with what each position leaves (`show_orientations`).
Says: pointed(point, normal), position_chosen(n, which), changed(n, field, text), measured_taken(n), taken_out(n),
line_typed(text).
"""

from __future__ import annotations

from dataclasses import dataclass

from PySide6.QtCore import QSignalBlocker, Signal, Slot
from PySide6.QtWidgets import QHBoxLayout, QLabel, QPushButton, QVBoxLayout, QWidget

from app.jobs.new_setup.directions import SIDES
from app.jobs.new_setup.typed import OrientationNow
from app.window.panels.new_setup_parts import (
    AnswerField,
    Block,
    Paper,
    StillChoice,
    VerdictChoice,
    WheelPasses,
    quiet,
    trouble_words,
)
from app.window.panels.part_picker import PartPicker
from app.window.part_answers import PartShown
from app.window.theme import INSIDE, Theme
from kinematics.pose import Vector
from kinematics.verdict import Verdict

STATES = {"bar": "whole bar", "part": "finished part"}
TYPED_EXAMPLE = "or type a line: V2 +Y T2 at 0 15 -30 depth 8"


@dataclass(frozen=True, slots=True)
class PositionWords:
    """One position of the table in words. `verdict` None: not known yet, or out of its limits (then not usable)."""

    angles: str
    verdict: Verdict | None
    word: str
    number: str
    why: str
    is_usable: bool


@dataclass(frozen=True, slots=True)
class OrientationWords:
    """One orientation as it is shown. `which`: of the usable positions; `measured`: what stands at the point."""

    now: OrientationNow
    positions: tuple[PositionWords, ...]
    which: int
    tools: tuple[str, ...]
    unit: str
    measured: str = ""


def direction_words(direction: Vector) -> str:
    """A direction of the part: +Y, or three numbers."""
    for name, side in SIDES.items():
        if max(abs(a - b) for a, b in zip(direction, side, strict=True)) < 1e-9:
            return name
    return ", ".join(f"{value:.3f}".rstrip("0").rstrip(".") for value in direction)


class OrientationPaper(Paper):
    """One orientation: name, direction, tool, depth; two positions; what is wrong."""

    position_chosen = Signal(int, int)
    changed = Signal(int, str, str)
    taken_out = Signal(int)
    measured_taken = Signal(int)

    def __init__(self, number: int, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.number = number
        line = QHBoxLayout()
        line.setSpacing(INSIDE)
        self.name = AnswerField("name", theme, self)
        self.name.setAccessibleName("name of the orientation")
        self.name.setFixedWidth(60)
        self.direction = QLabel(self)
        self.tool = StillChoice(self)
        self.tool.setAccessibleName("tool")
        self.depth_field = AnswerField("depth", theme, self)
        self.depth_field.setAccessibleName("depth along the tool")
        self.depth_field.setToolTip("Down along the tool, from where you clicked to the tip; empty: it only touches")
        self.depth_field.setFixedWidth(96)
        self.state = StillChoice(self)
        self.state.setAccessibleName("what the workpiece is when the cut begins")
        self.state.setToolTip("What the workpiece is when the cut begins")
        self.state.addItems(list(STATES.values()))
        self.out = QPushButton("Take out", self)
        for widget in (self.name, self.direction):
            line.addWidget(widget)
        line.addStretch(1)
        line.addWidget(self.out)
        self.rows.addLayout(line)
        line = QHBoxLayout()
        line.setSpacing(INSIDE)
        line.addWidget(self.tool)
        line.addWidget(QLabel("in the", self))
        line.addWidget(self.state)
        line.addStretch(1)
        line.addWidget(QLabel("depth", self))
        line.addWidget(self.depth_field)
        self.rows.addLayout(line)
        self.measured = QPushButton(self)
        self.measured.hide()
        self.rows.addWidget(self.measured)
        both = QHBoxLayout()
        both.setSpacing(INSIDE)
        self.positions = [VerdictChoice(theme, self) for _ in range(2)]
        for i, key in enumerate(self.positions):
            key.setProperty("number", i)
            key.clicked.connect(self._position_clicked)
            both.addWidget(key, 1)
        self.rows.addLayout(both)
        self.trouble = trouble_words(self)
        self.rows.addWidget(self.trouble)
        self._usable: list[int] = []
        self.name.answered.connect(self._answered)
        self.depth_field.answered.connect(self._answered)
        self.tool.activated.connect(self._tool_chosen)
        self.state.activated.connect(self._state_chosen)
        self.measured.clicked.connect(self._measured_clicked)
        self.out.clicked.connect(self._out_clicked)

    def show_words(self, words: OrientationWords) -> None:
        """Another state of it."""
        typed = words.now.typed
        self.name.show_value(typed.name, "", "")
        self.direction.setText(f"from {direction_words(typed.direction_P)}")
        with QSignalBlocker(self.tool):
            if [self.tool.itemText(i) for i in range(self.tool.count())] != list(words.tools):
                self.tool.clear()
                self.tool.addItems(list(words.tools))
            shown = typed.tool or next(iter(words.tools), "")
            self.tool.setCurrentIndex(self.tool.findText(shown))
        self.tool.setVisible(bool(words.tools))
        self.state.setCurrentIndex(list(STATES).index(typed.state or "bar"))
        self.measured.setText(f"{words.measured}: take its middle, direction and depth")
        self.measured.setVisible(bool(words.measured))
        self.depth_field.show_value(typed.depth, "touches", words.unit)
        self._usable = [i for i, p in enumerate(words.positions) if p.is_usable]
        for i, key in enumerate(self.positions):
            key.setVisible(i < len(words.positions))
            if i < len(words.positions):
                one = words.positions[i]
                key.setEnabled(one.is_usable)
                key.show_position(one.angles, one.verdict, one.word, one.number, one.why)
                at = min(words.which, len(self._usable) - 1)
                key.setChecked(bool(self._usable) and self._usable[at] == i)
        self.trouble.say(words.now.why)

    def set_theme(self, theme: Theme) -> None:
        self.name.theme = self.depth_field.theme = theme
        for key in self.positions:
            key.theme = theme
            key.update()

    @Slot()
    def _position_clicked(self) -> None:
        i = int(self.sender().property("number"))
        if i in self._usable:
            self.position_chosen.emit(self.number, self._usable.index(i))

    @Slot(str, str)
    def _answered(self, key: str, text: str) -> None:
        self.changed.emit(self.number, key, text)

    @Slot(int)
    def _tool_chosen(self, index: int) -> None:
        self.changed.emit(self.number, "tool", self.tool.itemText(index))

    @Slot(int)
    def _state_chosen(self, index: int) -> None:
        self.changed.emit(self.number, "state", list(STATES)[index])

    @Slot()
    def _measured_clicked(self) -> None:
        self.measured_taken.emit(self.number)

    @Slot()
    def _out_clicked(self) -> None:
        self.taken_out.emit(self.number)


class OrientationsBlock(Block):
    """The part to click on, and what was clicked."""

    pointed = Signal(object, object)
    position_chosen = Signal(int, int)
    changed = Signal(int, str, str)
    taken_out = Signal(int)
    measured_taken = Signal(int)
    line_typed = Signal(str)

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(5, "Orientations", theme, parent)
        self.rows.addWidget(quiet("Click the face that a tool is to come to, where it is to enter.", self))
        self.picture = PartPicker(theme, self)
        self.picture.setFixedHeight(300)
        self.picture.show_words("drag to turn it, click a face")
        self.picture.installEventFilter(WheelPasses(self))
        self.rows.addWidget(self.picture)
        self.papers: list[OrientationPaper] = []
        self._column = QVBoxLayout()
        self._column.setSpacing(INSIDE)
        self.rows.addLayout(self._column)
        self.line = AnswerField("line", theme, self)
        self.line.setAccessibleName("an orientation as a line")
        self.line.show_value("", TYPED_EXAMPLE, "")
        self.trouble = trouble_words(self)
        self.rows.addWidget(self.line)
        self.rows.addWidget(self.trouble)
        self.end_rows()
        self._theme = theme
        self._shown: PartShown | None = None
        self.picture.pointed.connect(self.pointed)
        self.line.answered.connect(self._line_answered)

    def show_part(self, shown: PartShown) -> None:
        """The part to click on; drawn once the block is open."""
        self._shown = shown
        if self.is_open:
            self._draw_part()

    def unfold(self) -> None:
        """Show what is under the heading."""
        super().unfold()
        self._draw_part()

    def _draw_part(self) -> None:
        if self._shown is not None:
            self.picture.show_part(self._shown.mesh.vertices, self._shown.mesh.faces)
            self._shown = None

    def show_orientations(self, words: tuple[OrientationWords, ...]) -> None:
        """What was clicked or typed."""
        while len(self.papers) > len(words):
            paper = self.papers.pop()
            self._column.removeWidget(paper)
            paper.hide()
            paper.deleteLater()
        while len(self.papers) < len(words):
            paper = OrientationPaper(len(self.papers), self._theme, self)
            paper.position_chosen.connect(self.position_chosen)
            paper.changed.connect(self.changed)
            paper.taken_out.connect(self.taken_out)
            paper.measured_taken.connect(self.measured_taken)
            self.papers.append(paper)
            self._column.addWidget(paper)
        for paper, one in zip(self.papers, words, strict=True):
            paper.show_words(one)
        self.say_on(is_answered=bool(words))
        self.heading.say(
            ", ".join(f"{w.now.typed.name} {direction_words(w.now.typed.direction_P)}" for w in words)
            if self.is_open
            else ""
        )
        last = words[-1].now.typed if words else None
        if last is not None and last.point is not None:
            self.picture.mark(last.point, last.direction_P)
        else:
            self.picture.clear_mark()

    def show_line_trouble(self, why: str, text: str) -> None:
        """What is wrong with the line that was typed; it stays there to be mended."""
        self.trouble.say(why)
        self.line.show_value(text, TYPED_EXAMPLE, "")

    def set_theme(self, theme: Theme) -> None:
        super().set_theme(theme)
        self._theme = self.line.theme = theme
        self.picture.set_theme(theme)
        for paper in self.papers:
            paper.set_theme(theme)

    @Slot(str, str)
    def _line_answered(self, _key: str, text: str) -> None:
        if text:
            self.line_typed.emit(text)
        else:
            self.trouble.say("")
