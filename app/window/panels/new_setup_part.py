"""Block 1 of a new set-up: the part file, its size in mm and inch, what its numbers mean, which side is up.

Shows: nothing yet, a file that is being read, a question about its unit, a part, or why it can't be read.
Says: file_asked(), file_dropped(path), unit_chosen(unit), up_chosen(direction).
"""

from __future__ import annotations

from PySide6.QtCore import Qt, Signal, Slot
from PySide6.QtGui import QDragEnterEvent, QDropEvent
from PySide6.QtWidgets import QButtonGroup, QHBoxLayout, QLabel, QPushButton, QToolButton, QWidget

from app.jobs.new_setup.answers import MM_PER_INCH, PartAnswer
from app.jobs.new_setup.draft import FILE_UNITS
from app.jobs.new_setup.part_files import UPS, UnitQuestion
from app.window.panels.new_setup_parts import Block, Paper, StillChoice, WheelPasses, quiet, strong, trouble_words
from app.window.panels.part_picker import PartPicker
from app.window.part_answers import PartShown
from app.window.theme import INSIDE, Theme
from app.window.units import THIN_SPACE
from kinematics.pose import Vector

PART_SUFFIXES = (".step", ".stp", ".stl", ".obj", ".ply", ".3mf")
OTHER_UNITS = tuple(unit for unit in FILE_UNITS if unit not in ("mm", "inch"))


def size_words(size: Vector) -> tuple[str, str]:
    """A box in mm and in inch."""
    mm = " x ".join(f"{side:.2f}" for side in size)
    inch = " x ".join(f"{side / MM_PER_INCH:.3f}" for side in size)
    return f"{mm}{THIN_SPACE}mm", f"{inch}{THIN_SPACE}inch"


class PartBlock(Block):
    """The first block; it is open from the start."""

    file_asked = Signal()
    file_dropped = Signal(str)
    unit_chosen = Signal(str)
    up_chosen = Signal(str)

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(1, "Part", theme, parent)
        self.setAcceptDrops(True)
        self.drop = Paper(self)
        self.drop_words = strong("Drop the file of your part here: STEP, STL, OBJ, PLY or 3MF.", self)
        self.choose = QPushButton("Choose a file", self)
        self.trouble = trouble_words(self)
        line = QHBoxLayout()
        line.addWidget(self.drop_words, 1)
        line.addWidget(self.choose, 0, Qt.AlignmentFlag.AlignTop)
        self.drop.rows.addLayout(line)
        self.rows.addWidget(self.drop)
        self.rows.addWidget(self.trouble)
        self._lay_out_question()
        self._lay_out_part(theme)
        self.end_rows()
        self.choose.clicked.connect(self.file_asked)
        self.show_nothing()

    def _lay_out_question(self) -> None:
        self.question = Paper(self)
        self.question_words = strong("", self)
        self.question.rows.addWidget(strong("Which is your part?", self))
        self.question.rows.addWidget(self.question_words)
        line = QHBoxLayout()
        line.setSpacing(INSIDE)
        self.unit_keys = {unit: QPushButton(unit, self) for unit in ("mm", "inch")}
        for unit, key in self.unit_keys.items():
            key.setProperty("unit", unit)
            key.clicked.connect(self._unit_clicked)
            line.addWidget(key, 1)
        self.other = StillChoice(self)
        self.other.addItem("other")
        self.other.addItems(list(OTHER_UNITS))
        self.other.setAccessibleName("another unit")
        self.other.activated.connect(self._other_chosen)
        line.addWidget(self.other)
        self.question.rows.addLayout(line)
        self.rows.addWidget(self.question)

    def _lay_out_part(self, theme: Theme) -> None:
        self.part = QWidget(self)
        line = QHBoxLayout(self.part)
        line.setContentsMargins(0, 0, 0, 0)
        line.setSpacing(INSIDE)
        self.picture = PartPicker(theme, self)
        self.picture.setFixedSize(220, 190)
        self.picture.show_words("drag to turn it")
        self.picture.installEventFilter(WheelPasses(self))
        side = Paper(self)
        self.size_mm, self.size_inch = strong("", self), strong("", self)
        side.rows.addWidget(quiet("X x Y x Z as it stands", self))
        side.rows.addWidget(self.size_mm)
        side.rows.addWidget(self.size_inch)
        side.rows.addWidget(QLabel("Which side of the file is up?", self))
        keys = QHBoxLayout()
        keys.setSpacing(0)
        self.up_keys = QButtonGroup(self)
        for i, up in enumerate(UPS):
            key = QToolButton(self)
            key.setText(up)
            key.setCheckable(True)
            key.setStyleSheet("padding: 3px 1px; min-width: 20px;")
            self.up_keys.addButton(key, i)
            keys.addWidget(key, 1)
        self.up_keys.idClicked.connect(self._up_clicked)
        side.rows.addLayout(keys)
        side.rows.addStretch(1)
        line.addWidget(self.picture)
        line.addWidget(side, 1)
        self.rows.addWidget(self.part)

    # ---- what is shown ----

    def show_nothing(self, why: str = "") -> None:
        """No part yet, and perhaps why the last file was none."""
        self.trouble.say(why)
        self.drop_words.setText("Drop the file of your part here: STEP, STL, OBJ, PLY or 3MF.")
        self.choose.setText("Choose a file")
        for widget in (self.question, self.part, self.on):
            widget.hide()
        self.heading.say("")

    def show_reading(self, name: str) -> None:
        """A file is being read."""
        self.show_nothing()
        self.drop_words.setText(f"Reading {name} ...")

    def show_question(self, question: UnitQuestion) -> None:
        """The file does not say its unit."""
        self.show_nothing()
        self.drop_words.setText(question.file)
        self.question_words.setText(str(question))
        sides = " x ".join(f"{n:.1f}" for n in question.numbers)
        for unit, key in self.unit_keys.items():
            key.setText(f"{sides} {unit}")
        self.other.setCurrentIndex(0)
        self.question.show()

    def show_part(self, part: PartAnswer, shown: PartShown | None) -> None:
        """A part, with a mesh to draw where there is one."""
        self.trouble.say("")
        self.question.hide()
        mm, inch = size_words(part.size)
        self.drop_words.setText(part.file)
        self.choose.setText("Another file")
        self.size_mm.setText(mm)
        self.size_inch.setText(inch)
        self.up_keys.button(list(UPS).index(part.up)).setChecked(True)  # type: ignore[arg-type]  # one of them
        if shown is not None:
            self.picture.show_part(shown.mesh.vertices, shown.mesh.faces)
        self.part.show()
        self.on.show()
        self.say_on(is_answered=True)
        self.heading.say(f"{part.file}, {mm}")

    def set_theme(self, theme: Theme) -> None:
        super().set_theme(theme)
        self.picture.set_theme(theme)

    # ---- what is done ----

    @Slot()
    def _unit_clicked(self) -> None:
        self.unit_chosen.emit(str(self.sender().property("unit")))

    @Slot(int)
    def _other_chosen(self, index: int) -> None:
        if index > 0:
            self.unit_chosen.emit(self.other.itemText(index))

    @Slot(int)
    def _up_clicked(self, index: int) -> None:
        self.up_chosen.emit(UPS[index])

    def dragEnterEvent(self, event: QDragEnterEvent) -> None:
        if dropped_part(event):
            event.acceptProposedAction()

    def dropEvent(self, event: QDropEvent) -> None:
        path = dropped_part(event)
        if path:
            event.acceptProposedAction()
            self.file_dropped.emit(path)


def dropped_part(event: QDropEvent) -> str:
    """The one part file that is dropped; empty where it is something else."""
    urls = event.mimeData().urls()
    if len(urls) == 1 and urls[0].isLocalFile() and urls[0].toLocalFile().lower().endswith(PART_SUFFIXES):
        return urls[0].toLocalFile()
    return ""
