"""The page of a new set-up: five blocks that unfold downward, in the place of the board. Nothing in it is modal.

Shows: how far it has unfolded (`unfold_to`), what is missing (`say_missing`), that the set-up was changed beside it
(`show_beside`). Says: done(), left(), unfold_asked(block), passed(block), beside_kept(), beside_taken_back(),
unit_shown(unit); the rest is said by the blocks.
"""

from __future__ import annotations

from PySide6.QtCore import Qt, QTimer, Signal, Slot
from PySide6.QtWidgets import QFrame, QHBoxLayout, QPushButton, QScrollArea, QSizePolicy, QVBoxLayout, QWidget

from app.window.panels.new_setup_holding import HoldingBlock
from app.window.panels.new_setup_machine import MachineBlock
from app.window.panels.new_setup_orientations import OrientationsBlock
from app.window.panels.new_setup_part import PartBlock
from app.window.panels.new_setup_parts import Block, Paper, Words, sheet_of, strong
from app.window.panels.new_setup_tools import ToolsBlock
from app.window.theme import INSIDE, TARGET, Theme
from app.window.units import Unit

BESIDE = "The set-up was changed beside this page. What is answered here would write it anew."
WIDTH = 540
LEAST_WIDTH = 480


class NewSetupPage(QWidget):
    """A column of its own."""

    done = Signal()
    left = Signal()
    unfold_asked = Signal(int)
    passed = Signal(int)
    beside_kept = Signal()
    beside_taken_back = Signal()
    unit_shown = Signal(object)

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName("page")
        self.setAttribute(Qt.WidgetAttribute.WA_StyledBackground)
        self.setMinimumWidth(LEAST_WIDTH)
        self._inner = QWidget(self)
        self._inner.setObjectName("page")
        self.part = PartBlock(theme, self._inner)
        self.machine = MachineBlock(theme, self._inner)
        self.holding = HoldingBlock(theme, self._inner)
        self.tools = ToolsBlock(theme, self._inner)
        self.orientations = OrientationsBlock(theme, self._inner)
        self.blocks: tuple[Block, ...] = (self.part, self.machine, self.holding, self.tools, self.orientations)
        self.tools.field.offered.setParent(self)
        column = QVBoxLayout(self._inner)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        for block in self.blocks:
            column.addWidget(block)
            block.unfold_asked.connect(self.unfold_asked)
            block.passed.connect(self.passed)
        column.addStretch(1)
        self.area = QScrollArea(self)
        self.area.setWidgetResizable(True)
        self.area.setFrameShape(QFrame.Shape.NoFrame)
        self.area.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.area.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.area.setWidget(self._inner)
        self.area.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        outer = QVBoxLayout(self)
        outer.setContentsMargins(0, 0, 0, 0)
        outer.setSpacing(0)
        outer.addWidget(self._beside_paper())
        outer.addWidget(self.area, 1)
        outer.addLayout(self._last_row())
        self.area.verticalScrollBar().valueChanged.connect(self.tools.field.place_offered)
        self._to_show: Block | None = None
        self._soon = QTimer(self, singleShot=True, interval=0)
        self._soon.timeout.connect(self._bring)
        self.set_theme(theme)
        self.part.unfold()
        self.setFocusProxy(self.part.choose)

    def _beside_paper(self) -> QWidget:
        self.beside = Paper(self)
        self.beside_words = strong(BESIDE, self)
        self.keep = QPushButton("Keep that, and close this page", self)
        self.take_back = QPushButton("Write it anew from this page", self)
        self.beside.rows.addWidget(self.beside_words)
        row = QHBoxLayout()
        row.setSpacing(INSIDE)
        row.addWidget(self.keep, 1)
        row.addWidget(self.take_back, 1)
        self.beside.rows.addLayout(row)
        self.keep.clicked.connect(self.beside_kept)
        self.take_back.clicked.connect(self.beside_taken_back)
        self.beside.hide()
        return self.beside

    def _last_row(self) -> QHBoxLayout:
        self.missing = Words("", self)
        self.close_key = QPushButton("Close this page", self)
        self.done_key = QPushButton("Done: save it", self)
        row = QHBoxLayout()
        row.setContentsMargins(INSIDE, INSIDE, INSIDE, INSIDE)
        row.setSpacing(INSIDE)
        row.addWidget(self.missing, 1)
        for key in (self.close_key, self.done_key):
            key.setMinimumHeight(TARGET)
            row.addWidget(key)
        self.close_key.clicked.connect(self.left)
        self.done_key.clicked.connect(self.done)
        return row

    # ---- what is shown ----

    def fold(self) -> None:
        """As at the start."""
        for block in self.blocks[1:]:
            block.body.hide()
            block.heading.say("")
        self.holding.is_touched = False
        self.machine.other.setChecked(False)
        self.orientations.show_orientations(())
        self.tools.show_lines(())
        self.area.verticalScrollBar().setValue(0)

    def unfold_to(self, n: int) -> None:
        """The first n blocks are open; what is looked at stays where it is."""
        for block in self.blocks[:n]:
            block.unfold()

    def bring(self, number: int) -> None:
        """A block into view."""
        self._to_show = self.blocks[number - 1]
        self._soon.start()

    def bring_orientation(self) -> None:
        """The orientation that was added last, as far down as it takes to see it whole."""
        self._is_last_wanted = True
        self._soon.start()

    _is_last_wanted = False

    @Slot()
    def _bring(self) -> None:
        """The block's heading to the top, as far as there is something below it."""
        block, self._to_show = self._to_show, None
        is_last_wanted, self._is_last_wanted = self._is_last_wanted, False
        layout = self._inner.layout()
        assert layout is not None, "the blocks are laid out"
        layout.activate()
        self._inner.adjustSize()
        if block is not None:
            self.area.verticalScrollBar().setValue(block.y())
        elif is_last_wanted and self.orientations.papers:
            self.area.ensureWidgetVisible(self.orientations.papers[-1], 0, INSIDE)

    def say_missing(self, words: str) -> None:
        """What the set-up can't do without, or what is wrong with it."""
        self.missing.setText(words)

    def show_beside(self) -> None:
        """The set-up was changed beside this page: wait until somebody says what counts."""
        self.beside.show()
        self.area.setEnabled(False)

    def hide_beside(self) -> None:
        """What is answered on the page counts."""
        self.beside.hide()
        self.area.setEnabled(True)

    def set_theme(self, theme: Theme) -> None:
        """Another look."""
        self.setStyleSheet(sheet_of(theme))
        for block in self.blocks:
            block.set_theme(theme)

    def set_unit(self, unit: Unit) -> None:
        """Lengths in another unit."""
        self.unit_shown.emit(unit)
