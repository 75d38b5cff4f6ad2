"""Block 2 of a new set-up: which machine, its numbers on drawings of ours, which way its table turns.

Says: machine_chosen(name), seen(axis, what was seen), remedy_taken(axis, number of the remedy),
own_asked(numbers by path, title).
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial

from PySide6.QtCore import Signal, Slot
from PySide6.QtWidgets import (
    QButtonGroup,
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QLineEdit,
    QPushButton,
    QRadioButton,
    QToolButton,
    QWidget,
)

from app.jobs.new_setup.answers import MM_PER_INCH, Units
from app.jobs.new_setup.own_machine import (
    AGAINST,
    CAREFUL,
    WITH,
    Dimension,
    SignQuestion,
    SignRemedy,
    dimensions,
    sign_questions,
    sign_remedies,
)
from app.scenes.yaml_text import number_text
from app.window.panels.new_setup_drawings import draw_turn
from app.window.panels.new_setup_machine_drawing import MachineDrawing
from app.window.panels.new_setup_parts import Block, Choice, Paper, quiet, strong, trouble_words
from app.window.theme import INSIDE, TARGET, Theme
from app.window.units import NumberFault, Unit, length_in, number_in
from kinematics.machine import Machine

TURNS = {WITH, AGAINST}
WHERE = "Where do I find this?"


class SignPaper(Paper):
    """One question at the machine, two drawings, and what to do if it turns the other way."""

    seen = Signal(str, str)
    remedy_taken = Signal(str, int)

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.question: SignQuestion | None = None
        self.words, self.careful = strong("", self), quiet(CAREFUL, self)
        self.rows.addWidget(self.words)
        self.rows.addWidget(self.careful)
        self._line = QHBoxLayout()
        self._line.setSpacing(INSIDE)
        self.rows.addLayout(self._line)
        self._theme = theme
        self.choices: tuple[Choice, ...] = ()
        self.verdict = trouble_words(self)
        self.agrees = quiet("", self)
        self.rows.addWidget(self.verdict)
        self.rows.addWidget(self.agrees)
        self.remedies = [QPushButton(self) for _ in range(2)]
        for i, button in enumerate(self.remedies):
            button.setProperty("number", i)
            button.clicked.connect(self._remedy_clicked)
            self.rows.addWidget(button)

    def show_question(self, question: SignQuestion, seen: str, remedies: tuple[SignRemedy, ...]) -> None:
        """A question, what was seen, and what can be done where that is not what the file says."""
        if question != self.question:
            self.question = question
            self.words.setText(question.words)
            for old in self.choices:
                self._line.removeWidget(old)
                old.hide()
                old.deleteLater()
            made = []
            for choice in question.choices:
                key = Choice(choice, partial(draw_turn, choice), self._theme, self)
                key.clicked.connect(self._choice_clicked)
                self._line.addWidget(key, 1)
                made.append(key)
            self.choices = tuple(made)
        for key in self.choices:
            key.setChecked(key.text() == seen)
        is_other = bool(seen) and seen != question.says
        letter, does = question.letter, "turns" if TURNS & set(question.choices) else "leans"
        self.agrees.setText(f"As the machine's file says: {letter} +30 {does} {seen}." if seen and not is_other else "")
        self.agrees.setVisible(bool(seen) and not is_other)
        self.verdict.say(
            f"The machine's file says the other way: {letter} +30 {does} {question.says}; yours {does} {seen}. "
            "Every orientation would be told with the wrong sign. Keep a file of your own machine:"
            if is_other
            else ""
        )
        for i, button in enumerate(self.remedies):
            button.setVisible(is_other and i < len(remedies))
            if i < len(remedies):
                button.setText(remedies[i].words)

    def set_theme(self, theme: Theme) -> None:
        self._theme = theme
        for key in self.choices:
            key.set_theme(theme)

    @Slot()
    def _choice_clicked(self) -> None:
        key = self.sender()
        if isinstance(key, Choice) and self.question is not None:
            self.seen.emit(self.question.axis, key.text())

    @Slot()
    def _remedy_clicked(self) -> None:
        if self.question is not None:
            self.remedy_taken.emit(self.question.axis, int(self.sender().property("number")))


class OwnPaper(Paper):
    """The numbers of a machine: two drawings with letters, a field for each letter."""

    own_asked = Signal(object, str)

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.units: Units = "mm"
        self._machine: Machine | None = None
        self.drawing = MachineDrawing(theme, self)
        self.rows.addWidget(self.drawing)
        self.rows.addWidget(quiet("From the middle of the table's top; lengths in the unit of the set-up.", self))
        self._grid = QGridLayout()
        self._grid.setHorizontalSpacing(6)
        self._grid.setVerticalSpacing(4)
        self.rows.addLayout(self._grid)
        self.fields: dict[str, QLineEdit] = {}
        self._dimensions: tuple[Dimension, ...] = ()
        self._made: list[QWidget] = []
        self.whereabouts = quiet("", self)
        self.whereabouts.hide()
        self.trouble = trouble_words(self)
        self.rows.addWidget(self.whereabouts)
        self.rows.addWidget(self.trouble)
        last = QHBoxLayout()
        self.title = QLineEdit("My machine", self)
        self.title.setAccessibleName("what it is called")
        self.title.setMinimumHeight(TARGET)
        self.save = QPushButton("Keep as my machine", self)
        self.save.setToolTip("Written as a file of its own beside the set-up; castings and covers stay as they were")
        last.addWidget(QLabel("Called", self))
        last.addWidget(self.title, 1)
        last.addWidget(self.save)
        self.rows.addLayout(last)
        self.save.clicked.connect(self._save_clicked)

    def show_machine(self, machine: Machine, units: Units) -> None:
        """The numbers of a machine, to be changed."""
        if machine == self._machine and units == self.units:
            return
        self._machine, self.units = machine, units
        self._dimensions = dimensions(machine)
        self.drawing.show_machine(machine, {d.path: d.mark for d in self._dimensions})
        for widget in self._made:
            self._grid.removeWidget(widget)
            widget.hide()
            widget.deleteLater()
        self._made, self.fields = [], {}
        half = -(-len(self._dimensions) // 2)
        for i, one in enumerate(self._dimensions):
            self._add_row(i % half, 4 * (i // half), one)
        self.whereabouts.hide()
        self.trouble.say("")

    def _add_row(self, row: int, column: int, one: Dimension) -> None:
        mark, label = QLabel(one.mark, self), QLabel(one.label, self)
        mark.setObjectName("strong")
        field = QLineEdit(self._shown(one), self)
        field.setMinimumHeight(TARGET)
        field.setMinimumWidth(56)
        field.setAccessibleName(f"{one.label}, {'degrees' if one.is_angle else self.units}")
        where = QToolButton(self)
        where.setText("?")
        where.setToolTip(WHERE)
        where.setAccessibleName(f"{one.label}: {WHERE}")
        where.setProperty("find", f"{one.mark}  {one.label}. {one.find}")
        where.clicked.connect(self._where_clicked)
        for i, widget in enumerate((mark, label, field, where)):
            self._grid.addWidget(widget, row, column + i)
            self._made.append(widget)
        self._grid.setColumnStretch(column + 2, 1)
        self.fields[one.path] = field

    def _shown(self, one: Dimension) -> str:
        is_inch = self.units == "inch" and not one.is_angle
        return number_text(round(one.value / MM_PER_INCH if is_inch else one.value, 4))

    @Slot()
    def _where_clicked(self) -> None:
        self.whereabouts.say(str(self.sender().property("find")))

    @Slot()
    def _save_clicked(self) -> None:
        changed: dict[str, float] = {}
        self.trouble.say("")
        for one in self._dimensions:
            field = self.fields[one.path]
            if field.text().strip() == self._shown(one):
                continue
            try:
                typed = field.text()
                changed[one.path] = number_in(typed) if one.is_angle else length_in(typed, Unit(self.units))
            except NumberFault as fault:
                self.trouble.say(f"{one.mark}  {one.label}: {fault.message}")
                field.setFocus()
                field.selectAll()
                return
        self.own_asked.emit(changed, self.title.text().strip() or "My machine")


class MachineBlock(Block):
    """The list, the drawings, the questions."""

    machine_chosen = Signal(str)
    seen = Signal(str, str)
    remedy_taken = Signal(str, int)
    own_asked = Signal(object, str)

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(2, "Machine", theme, parent)
        self.names: tuple[str, ...] = ()
        self._keys = QButtonGroup(self)
        self._list = QWidget(self)
        self._list_rows = QGridLayout(self._list)
        self._list_rows.setContentsMargins(0, 0, 0, 0)
        self._list_rows.setSpacing(0)
        self.rows.addWidget(self._list)
        self.other = QPushButton("My machine is another one", self)
        self.other.setCheckable(True)
        line = QHBoxLayout()
        line.addWidget(self.other)
        line.addStretch(1)
        self.rows.addLayout(line)
        self.own = OwnPaper(theme, self)
        self.own.hide()
        self.rows.addWidget(self.own)
        self.trouble = trouble_words(self)
        self.rows.addWidget(self.trouble)
        self.papers = [SignPaper(theme, self) for _ in range(2)]
        for paper in self.papers:
            paper.seen.connect(self.seen)
            paper.remedy_taken.connect(self.remedy_taken)
            paper.hide()
            self.rows.addWidget(paper)
        self.end_rows()
        self._keys.idClicked.connect(self._machine_clicked)
        self._machine: tuple[Machine, Units] | None = None
        self.other.toggled.connect(self._other_toggled)
        self.own.own_asked.connect(self.own_asked)

    def offer(self, titles: Mapping[str, str]) -> None:
        """Machines by name, with their titles."""
        if tuple(titles) == self.names:
            return
        for key in self._keys.buttons():
            self._keys.removeButton(key)
            key.hide()
            key.deleteLater()
        self.names = tuple(titles)
        for i, (name, title) in enumerate(titles.items()):
            key = QRadioButton(title or name, self._list)
            key.setToolTip(name)
            key.setMinimumHeight(TARGET)
            self._keys.addButton(key, i)
            self._list_rows.addWidget(key, i, 0)

    def key_of(self, name: str) -> QRadioButton:
        """The line of a machine."""
        found = self._keys.button(self.names.index(name))
        assert isinstance(found, QRadioButton), "lines of machines are such buttons"
        return found

    def show_machine(self, name: str, machine: Machine | None, seen: Mapping[str, str], units: Units) -> None:
        """What was chosen, and what was seen of its axes."""
        if name in self.names:
            self.key_of(name).setChecked(True)
        questions = sign_questions(machine) if machine is not None else ()
        self._machine = (machine, units) if machine is not None else None
        self._fill_own()
        unseen = [q for q in questions if not seen.get(q.axis)]
        for i, paper in enumerate(self.papers):
            is_due = i < len(questions) and all(seen.get(q.axis) for q in questions[:i])
            paper.setVisible(is_due)
            if is_due and machine is not None:
                axis = questions[i].axis
                paper.show_question(questions[i], seen.get(axis, ""), sign_remedies(machine, axis))
        self.say_on(is_answered=not unseen)
        said = machine.title if machine is not None else ""
        if machine is not None and unseen and self.is_open:
            said += f"; {', '.join(q.letter for q in unseen)} not looked at"
        self.heading.say(said if self.is_open else "")

    def set_theme(self, theme: Theme) -> None:
        super().set_theme(theme)
        self.own.drawing.set_theme(theme)
        for paper in self.papers:
            paper.set_theme(theme)

    def _fill_own(self) -> None:
        """Drawings and fields are made once somebody wants them."""
        if self._machine is not None and self.other.isChecked():
            self.own.show_machine(*self._machine)

    @Slot(bool)
    def _other_toggled(self, is_wanted: bool) -> None:  # noqa: FBT001 - a slot takes what its signal gives
        self._fill_own()
        self.own.setVisible(is_wanted)

    @Slot(int)
    def _machine_clicked(self, index: int) -> None:
        self.machine_chosen.emit(self.names[index])
