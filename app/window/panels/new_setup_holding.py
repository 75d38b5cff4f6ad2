"""Block 3 of a new set-up: how the bar is held, as four drawings, and the numbers that may be known.

Says: kind_chosen(kind), answered(field of Typed, text).
"""

from __future__ import annotations

from functools import partial

from PySide6.QtCore import Qt, Signal, Slot
from PySide6.QtWidgets import QButtonGroup, QCompleter, QGridLayout, QHBoxLayout, QWidget

from app.jobs.new_setup.answers import MM_PER_INCH, HoldingKind, Units
from app.jobs.new_setup.directions import ASSUMED_TOP
from app.jobs.new_setup.holding import DEFAULT_SIZE, DEFAULT_STANDARD, GRIP, RISER
from app.jobs.new_setup.typed import Followed, Typed
from app.scenes.yaml_text import number_text
from app.window.panels.new_setup_drawings import draw_holding
from app.window.panels.new_setup_parts import AnswerField, Block, Choice, FieldRow, quiet, trouble_words
from app.window.theme import INSIDE, Theme

FIELDS = (
    ("screws", "Screws"),
    ("riser", "Riser under it"),
    ("bar", "Bar X x Y x Z"),
    ("top", "Bar over the part"),
    ("turn", "Turned"),
    ("grip", "Held height"),
)
TIPS = {
    "screws": "standard and size of the screws that hold the fixture, as ISO 4762 M6",
    "riser": "height of what stands between the table and the fixture; 0 for none",
    "bar": "the stock as it stands, as 40x34x52",
    "top": "how much of the bar stands over the part",
    "grip": "how high the jaws hold the bar, from its bottom",
    "turn": "degrees about the table's upright, against the clock from above; the part turns with the fixture",
}


class HoldingBlock(Block):
    """Four drawings, six fields."""

    kind_chosen = Signal(str)
    answered = Signal(str, str)

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(3, "Holding", theme, parent)
        line = QHBoxLayout()
        line.setSpacing(INSIDE)
        self.kinds = QButtonGroup(self)
        self.choices: dict[HoldingKind, Choice] = {}
        for i, kind in enumerate(HoldingKind):
            choice = Choice(str(kind), partial(draw_holding, kind), theme, self)
            self.choices[kind] = choice
            self.kinds.addButton(choice, i)
            line.addWidget(choice, 1)
        self.kinds.idClicked.connect(self._kind_clicked)
        self.rows.addLayout(line)
        self.trouble = trouble_words(self)
        self.rows.addWidget(self.trouble)
        self.fields: dict[str, FieldRow] = {}
        grid = QGridLayout()
        grid.setHorizontalSpacing(INSIDE * 2)
        grid.setVerticalSpacing(INSIDE)
        for i, (key, words) in enumerate(FIELDS):
            field = AnswerField(key, theme, self)
            field.setToolTip(TIPS[key])
            field.answered.connect(self.answered)
            self.fields[key] = FieldRow(words, field, self)
            grid.addWidget(self.fields[key], i // 2, i % 2, Qt.AlignmentFlag.AlignTop)
        self.rows.addLayout(grid)
        self.rows.addWidget(quiet("Pale values are assumed until you write in yours.", self))
        self.end_rows()
        self.is_touched = False

    def offer_screws(self, names: tuple[str, ...]) -> None:
        """Screws by standard and size."""
        completer = QCompleter(list(names), self)
        completer.setCaseSensitivity(Qt.CaseSensitivity.CaseInsensitive)
        completer.setFilterMode(Qt.MatchFlag.MatchContains)
        self.fields["screws"].field.setCompleter(completer)

    def show_typed(self, typed: Typed, now: Followed) -> None:
        """What was answered, what is assumed else, what is wrong."""
        kind = HoldingKind(typed.holding)
        self.choices[kind].setChecked(True)
        bar = " x ".join(_shown(side, typed.units) for side in now.bar) if now.bar is not None else ""
        defaults = {
            "screws": f"{DEFAULT_STANDARD} {DEFAULT_SIZE}",
            "riser": _shown(RISER[kind], typed.units),
            "bar": bar,
            "top": _shown(ASSUMED_TOP, typed.units),
            "grip": _shown(GRIP[kind], typed.units),
            "turn": "0",
        }
        for key, row in self.fields.items():
            unit = "" if key == "screws" else "degrees" if key == "turn" else typed.units
            row.field.show_value(getattr(typed, key), defaults[key], unit)
            row.trouble.say(now.faults.get(key, ""))
        self.fields["grip"].setVisible(kind in (HoldingKind.VISE, HoldingKind.SOFT_JAWS))
        self.trouble.say(now.faults.get("holding", ""))
        said = [str(kind), f"screws {typed.screws or defaults['screws']}"]
        if typed.turn:
            said.append(f"turned {typed.turn}")
        self.heading.say(", ".join(said) if self.is_open else "")
        self.say_on(is_answered=self.is_touched or any(getattr(typed, key) for key in self.fields))

    def set_theme(self, theme: Theme) -> None:
        super().set_theme(theme)
        for choice in self.choices.values():
            choice.set_theme(theme)
        for row in self.fields.values():
            row.field.theme = theme

    @Slot(int)
    def _kind_clicked(self, index: int) -> None:
        self.is_touched = True
        self.on.setText("Go on")
        self.kind_chosen.emit(str(list(HoldingKind)[index]))


def _shown(mm: float, units: Units) -> str:
    return number_text(round(mm if units == "mm" else mm / MM_PER_INCH, 3))
