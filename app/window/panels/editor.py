"""Everything that can be edited of one thing of the scene: its numbers and words beside each other, in the file's unit.

Shows: the things there are (`show_things`), the form of one (`show_form`), why an edit was refused (`show_trouble`).
Says: set_asked(path, what was typed, kind of field), rename_asked(path, name), remove_asked(path), add_asked(kind),
repeat_asked(path of an entry), drop_asked(the same), thing_picked(path), shut_asked().
"""

from __future__ import annotations

from PySide6.QtCore import QEvent, QObject, QRectF, QSize, Qt, QTimer, Signal, Slot
from PySide6.QtGui import QAction, QKeyEvent, QPainter, QPaintEvent, QWheelEvent
from PySide6.QtWidgets import (
    QComboBox,
    QHBoxLayout,
    QLabel,
    QLineEdit,
    QMenu,
    QPushButton,
    QScrollArea,
    QSizePolicy,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from app.scenes.forms import Form, FormField, FormRow, Thing
from app.window.panels.painted import LEFT, RIGHT, width_of
from app.window.theme import INSIDE, TARGET, Theme

WIDTH = 340
LABEL_WIDTH = 104

# what may be added, in the order of the menu: the key that is told, and its words
ADDITIONS: tuple[tuple[str, str], ...] = (
    ("box", "Body: box"),
    ("cylinder", "Body: cylinder"),
    ("screw", "Body: screw by its standard"),
    ("pin", "Body: pin"),
    ("mesh", "Body: mesh file ..."),
    ("tool", "Tool: type a line"),
    ("holder", "Holder: by its steps"),
    ("orientation", "Orientation"),
    ("cut", "Cut: by its numbers"),
    ("measured", "Cut: click a hole or pocket on the part"),
)


class FieldEdit(QLineEdit):
    """A value; its hint stands at the left edge, its unit at the right. Esc takes back what was typed."""

    def __init__(
        self, theme: Theme, field: FormField, parent: QWidget | None = None, *, is_one_of_many: bool = False
    ) -> None:
        super().__init__(field.written or "", parent)
        self.theme, self.field = theme, field
        is_word = field.hint == "name"
        self.setPlaceholderText(field.hint if is_word else "" if field.hint else "not given")
        self._hint = "" if is_word else field.hint
        self.setAccessibleName(field.path)
        self.setToolTip(field.path)
        self.setMinimumWidth(44)
        self._unit = "" if is_one_of_many else field.unit
        left = width_of(self._hint, theme.type.quiet) + 5 if self._hint else 0
        right = width_of(self._unit, theme.type.quiet) + 4 if self._unit else 0
        self.setTextMargins(int(left), 0, int(right), 0)

    @property
    def is_changed(self) -> bool:
        return self.text().strip() != (self.field.written or "")

    def keyPressEvent(self, event: QKeyEvent) -> None:
        if event.key() == Qt.Key.Key_Escape and self.is_changed:
            self.setText(self.field.written or "")
        else:
            super().keyPressEvent(event)

    def paintEvent(self, event: QPaintEvent) -> None:
        super().paintEvent(event)
        painter = QPainter(self)
        painter.setFont(self.theme.type.quiet)
        painter.setPen(self.theme.palette.quiet)
        inner = QRectF(self.rect()).adjusted(6, 0, -6, 0)
        painter.drawText(inner, int(LEFT), self._hint)
        painter.drawText(inner, int(RIGHT), self._unit)
        painter.end()


class FieldChoice(QComboBox):
    """A value out of a few, or a name with those that there are; a name may be typed as well."""

    def __init__(self, field: FormField, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.field = field
        self.setEditable(field.kind == "text")
        self.setAccessibleName(field.path)
        self.setToolTip(field.path)
        self.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        self.setMinimumContentsLength(6)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        if field.written is None:
            self.addItem("")
        self.addItems(list(field.choices))
        if field.written is not None and field.written not in field.choices:
            self.addItem(field.written)
        self.setCurrentText(field.written or "")

    def wheelEvent(self, event: QWheelEvent) -> None:
        event.ignore()  # a wheel over a list must not change it


class Editor(QWidget):
    """A column beside the view."""

    set_asked = Signal(str, str, str)
    rename_asked = Signal(str, str)
    remove_asked = Signal(str)
    add_asked = Signal(str)
    thing_picked = Signal(str)
    shut_asked = Signal()
    repeat_asked = Signal(str)
    drop_asked = Signal(str)

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.theme = theme
        self._things: tuple[Thing, ...] = ()
        self.form: Form | None = None
        self._is_open_wide = False
        self._inputs: dict[str, QWidget] = {}
        self.picker = QComboBox(self)
        self.picker.setAccessibleName("what is edited")
        self.picker.setMaxVisibleItems(24)
        self.picker.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)
        self.add = QToolButton(self)
        self.add.setText("Add")
        self.add.setPopupMode(QToolButton.ToolButtonPopupMode.InstantPopup)
        self.remove = QPushButton("Take out", self)
        self.shut = QToolButton(self)
        self.shut.setText("Close")
        self.trouble = QLabel(self)
        self.trouble.setWordWrap(True)
        self.trouble.setTextFormat(Qt.TextFormat.PlainText)
        self.trouble.hide()
        self.more = QToolButton(self)
        self.more.setCheckable(True)
        self._area = QScrollArea(self)
        self._area.setWidgetResizable(True)
        self._area.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self._area.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self._fill_menu()
        self._lay_out()
        self.picker.activated.connect(self._picked)
        self.remove.clicked.connect(self._remove)
        self.shut.clicked.connect(self.shut_asked)
        self.more.toggled.connect(self._more_toggled)
        self.setMinimumWidth(280)

    def sizeHint(self) -> QSize:
        return QSize(WIDTH, 400)

    def _fill_menu(self) -> None:
        menu = QMenu(self)
        for key, words in ADDITIONS:
            action = QAction(words, menu)
            action.setData(key)
            action.triggered.connect(self._add)
            menu.addAction(action)
        self.add.setMenu(menu)

    def _lay_out(self) -> None:
        column = QVBoxLayout(self)
        column.setContentsMargins(INSIDE, INSIDE, INSIDE, INSIDE)
        column.setSpacing(INSIDE)
        first = QHBoxLayout()
        first.setSpacing(INSIDE)
        first.addWidget(self.picker, 1)
        first.addWidget(self.shut)
        column.addLayout(first)
        column.addWidget(self.trouble)
        column.addWidget(self._area, 1)
        last = QHBoxLayout()
        last.setSpacing(INSIDE)
        last.addWidget(self.add)
        last.addWidget(self.remove)
        last.addStretch(1)
        last.addWidget(self.more)
        column.addLayout(last)

    # ---- what is shown ----

    def show_things(self, things: tuple[Thing, ...]) -> None:
        """What there is to edit."""
        if things == self._things:
            return
        self._things = things
        now = self.form.thing.path if self.form is not None else ""
        self.picker.blockSignals(True)
        self.picker.clear()
        for thing in things:
            self.picker.addItem(_words_of(thing), thing.path)
        self.picker.setCurrentIndex(max(0, self.picker.findData(now)))
        self.picker.blockSignals(False)

    def show_form(self, form: Form) -> None:
        """The fields of one thing; the one that has the focus keeps it."""
        focused = self._focused_path()
        if self.form is None or self.form.thing.path != form.thing.path:
            self.show_trouble("", "")
        self.form = form
        self.picker.setCurrentIndex(max(0, self.picker.findData(form.thing.path)))
        self.remove.setVisible(form.thing.kind not in ("scene", "workpiece"))
        self._rebuild()
        if focused in self._inputs:
            QTimer.singleShot(0, self._inputs[focused], self._inputs[focused].setFocus)

    def show_trouble(self, path: str, message: str) -> None:
        """Why an edit was refused, at its field; an empty message takes it away."""
        self.remove.setText("Take out")
        self.trouble.setText(message)
        self.trouble.setVisible(bool(message))
        edit = self._inputs.get(path)
        if message and isinstance(edit, QLineEdit):
            edit.setFocus()
            edit.selectAll()

    def ask_removal(self, why: str) -> None:
        """Something refers to the thing: say what, and wait for the button again."""
        self.show_trouble("", why)
        self.remove.setText("Take out all the same")

    @property
    def is_removal_asked(self) -> bool:
        return self.remove.text() != "Take out"

    def set_theme(self, theme: Theme) -> None:
        """Another look."""
        self.theme = theme
        if self.form is not None:
            self._rebuild()

    def input_of(self, path: str) -> QWidget | None:
        """The field of a path, where it is shown."""
        return self._inputs.get(path)

    def focus_field(self, path: str) -> None:
        """The focus into a field; those that may be given are unfolded for it."""
        rows = self.form.rows if self.form is not None else ()
        if path not in self._inputs and any(field.path == path for row in rows for field in row.fields):
            self.more.setChecked(True)
        edit = self._inputs.get(path)
        if edit is not None:
            edit.setFocus(Qt.FocusReason.OtherFocusReason)
            self._area.ensureWidgetVisible(edit)
            if isinstance(edit, QLineEdit):
                edit.selectAll()

    # ---- fields ----

    def _focused_path(self) -> str:
        focused = self.window().focusWidget()
        return next((path for path, edit in self._inputs.items() if focused in (edit, edit.focusProxy())), "")

    def _rebuild(self) -> None:
        assert self.form is not None, "there is something to show"
        self._inputs = {}
        inner = QWidget()
        inner.setObjectName("rows")
        inner.setStyleSheet(f"#rows {{ background: {self.theme.palette.ground.name()}; }}")
        column = QVBoxLayout(inner)
        column.setContentsMargins(0, 0, INSIDE, 0)
        column.setSpacing(4)
        given = [row for row in self.form.rows if row.is_given]
        free = [row for row in self.form.rows if not row.is_given]
        for row in given:
            column.addWidget(self._row(row, inner))
        self.more.setVisible(bool(free))
        self.more.setText("Fewer" if self.more.isChecked() else f"{len(free)} more")
        self.more.setToolTip("Values that may be given as well")
        if self.more.isChecked():
            for row in free:
                column.addWidget(self._row(row, inner))
        if self.form.note:
            note = QLabel(self.form.note, inner)
            note.setWordWrap(True)
            column.addWidget(note)
        column.addStretch(1)
        position = self._area.verticalScrollBar().value()
        self._area.setWidget(inner)
        self._area.verticalScrollBar().setValue(position)

    def _row(self, row: FormRow, parent: QWidget) -> QWidget:
        line = QWidget(parent)
        across = QHBoxLayout(line)
        across.setContentsMargins(0, 0, 0, 0)
        across.setSpacing(4)
        units = {field.unit for field in row.fields if field.unit} if len(row.fields) > 1 else set()
        label = QLabel(" ".join([row.label.replace("_", " "), *(f"({unit})" for unit in sorted(units))]), line)
        label.setFixedWidth(LABEL_WIDTH)
        label.setWordWrap(True)
        label.setToolTip(row.about)
        across.addWidget(label)
        for field in row.fields:
            edit = self._input(field, line, len(row.fields))
            edit.setMinimumHeight(TARGET)
            edit.setStatusTip(row.about)
            self._inputs[field.path] = edit
            across.addWidget(edit, 1)
        if row.entry:
            for sign, tip, slot in (
                ("+", "another like this below it", self._repeat),
                ("\u2212", "without it", self._drop),
            ):
                key = QToolButton(line)
                key.setText(sign)
                key.setFixedSize(TARGET, TARGET)
                key.setStyleSheet("padding: 0; min-height: 0;")
                key.setToolTip(f"{row.label}: {tip}")
                key.setAccessibleName(f"{row.label}: {tip}")
                key.setProperty("entry", row.entry)
                key.clicked.connect(slot)
                across.addWidget(key)
        return line

    def _input(self, field: FormField, parent: QWidget, n_in_row: int) -> QWidget:
        if field.choices:
            choice = FieldChoice(field, parent)
            choice.installEventFilter(self)
            choice.activated.connect(self._chosen)
            line = choice.lineEdit()
            if line is not None:
                line.returnPressed.connect(self._chosen_typed)
            return choice
        edit = FieldEdit(self.theme, field, parent, is_one_of_many=n_in_row > 1)
        edit.editingFinished.connect(self._typed)
        return edit

    @Slot()
    def _typed(self) -> None:
        edit = self.sender()
        if isinstance(edit, FieldEdit) and edit.is_changed and edit.text().strip():
            self._ask(edit.field, edit.text().strip())

    @Slot(int)
    def _chosen(self, _index: int) -> None:
        choice = self.sender()
        if isinstance(choice, FieldChoice):
            self._ask_choice(choice)

    @Slot()
    def _chosen_typed(self) -> None:
        choice = self.sender().parent() if self.sender() is not None else None
        if isinstance(choice, FieldChoice):
            self._ask_choice(choice)

    def _ask_choice(self, choice: FieldChoice) -> None:
        text = choice.currentText().strip()
        if text and text != (choice.field.written or ""):
            self._ask(choice.field, text)

    def _ask(self, field: FormField, text: str) -> None:
        assert self.form is not None, "a field belongs to a form"
        self.show_trouble("", "")
        own = self.form.thing
        if own.kind not in ("scene", "workpiece", "holder") and field.path in (f"{own.path}/name", f"{own.path}/id"):
            self.rename_asked.emit(own.path, text)
        else:
            self.set_asked.emit(field.path, text, field.kind)

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        if isinstance(watched, FieldChoice) and event.type() is QEvent.Type.FocusOut and watched.isEditable():
            self._ask_choice(watched)
        return super().eventFilter(watched, event)

    # ---- buttons ----

    @Slot()
    def _repeat(self) -> None:
        key = self.sender()
        if key is not None:
            self.repeat_asked.emit(str(key.property("entry")))

    @Slot()
    def _drop(self) -> None:
        key = self.sender()
        if key is not None:
            self.drop_asked.emit(str(key.property("entry")))

    @Slot(int)
    def _picked(self, index: int) -> None:
        self.thing_picked.emit(str(self.picker.itemData(index)))

    @Slot()
    def _remove(self) -> None:
        if self.form is not None:
            self.remove_asked.emit(self.form.thing.path)

    @Slot()
    def _add(self) -> None:
        action = self.sender()
        if isinstance(action, QAction):
            self.add_asked.emit(str(action.data()))

    @Slot(bool)
    def _more_toggled(self, _is_wide: bool) -> None:  # noqa: FBT001 - a slot takes what its signal gives
        if self.form is not None:
            self._rebuild()


def _words_of(thing: Thing) -> str:
    """A thing in the list: its name and what it is, drawn in under what it stands in."""
    name = thing.path.rpartition("/")[2] if thing.kind == "cut" else thing.path
    shown = f"{name}   {thing.what}" if name and thing.what != name else name or f"Set-up   {thing.what}"
    return f"    {shown}" if thing.inside else shown
