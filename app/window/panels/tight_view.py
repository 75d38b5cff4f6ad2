"""The tight view: the set-up where it is tightest, seen across the gap, through the door or along the tool.

Shows: a Place of a cut (`show_place`) or of a swing (`show_swept`); `show_nothing` says why there is none.
A place without standpoints, as while a dial is held, keeps the camera and the looks of the one before.
Says: picked(name of a body), room_wanted(name of one of which the place tells nothing; answered by `show_room`),
edit_asked(path of what the body is made of), swept_wanted(whether it is wanted),
hidden_changed(ids of the bodies that are left out).
"""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import QSize, Qt, Signal, Slot
from PySide6.QtGui import QColor, QFont, QResizeEvent
from PySide6.QtWidgets import QApplication, QFrame, QHBoxLayout, QLabel, QSizePolicy, QToolButton, QVBoxLayout, QWidget

from app.view3d.cameras import View
from app.view3d.places import Place, Told
from app.window.marks import MARK, Glyph, glyph_icon
from app.window.panels.painted import fitted, width_of
from app.window.panels.tight_canvas import TightCanvas
from app.window.telling_gap import clearance_text, short_text
from app.window.theme import GRID, INSIDE, TARGET, Theme
from app.window.units import Unit, spare_text

LEAST_ABOUT = 90.0  # px: in less room it is not said from where it is seen
VIEWS = ((View.ACROSS, Glyph.GAP, "Gap"), (View.DOOR, Glyph.DOOR, "Door"), (View.AXIS, Glyph.TOOL, "Tool"))
NOT_NEAR = "not among the nearest pairs of this cut"
NOT_COMPARED = "compared with nothing in this cut"


class TightView(QWidget):
    """Bar, picture, and what is picked."""

    picked = Signal(str)
    edit_asked = Signal(str)
    room_wanted = Signal(str)
    swept_wanted = Signal(bool)
    hidden_changed = Signal(tuple)

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.theme, self.unit = theme, Unit.MM
        self.canvas = TightCanvas(theme, self)
        self._cut: Place | None = None  # the last place of a cut; a swept room goes back to it
        self._swept: Place | None = None
        self._why = ""
        self._rooms: dict[str, Told | None] = {}  # of bodies of which the place tells nothing, by name
        lookers = (self.look_across_gap, self.look_through_door, self.look_along_tool)
        self.view_buttons = {
            view: self._button(word, looker) for (view, _, word), looker in zip(VIEWS, lookers, strict=True)
        }
        self.title = QLabel(self)
        self.about = QLabel(self)
        self.hide_button = self._button("Hide", self.hide_or_show)
        self.through_button = self._button("See-through", self.toggle_see_through)
        self.swept_button = self._button("Swept", self.toggle_swept)
        for button in (*self.view_buttons.values(), self.through_button, self.swept_button):
            button.setCheckable(True)
        self.view_buttons[View.ACROSS].setChecked(True)
        self.message = QLabel(self.canvas)
        self.card = PickedCard(theme, self.canvas)
        self.note = QLabel(self.canvas)
        self._lay_out()
        self.canvas.picked.connect(self._picked)
        self.canvas.camera_moved.connect(self._show_words)
        self.canvas.failed.connect(self._failed)
        self.card.edit_wanted.connect(self.edit_asked)
        self.card.hide_wanted.connect(self.hide_picked)
        self.setFocusProxy(self.canvas)
        application = QApplication.instance()
        if application is not None:
            application.aboutToQuit.connect(self.shut_down)
        self.set_theme(theme)

    def _button(self, words: str, handler: Callable[[], None]) -> QToolButton:
        button = QToolButton(self)
        button.setText(words)
        button.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        button.clicked.connect(handler)
        return button

    def _lay_out(self) -> None:
        bar = self._bar = QHBoxLayout()
        bar.setContentsMargins(INSIDE, GRID, INSIDE, GRID)
        bar.setSpacing(GRID)
        for view, _, word in VIEWS:
            self.view_buttons[view].setToolTip(
                {"Gap": "across the gap (G)", "Door": "through the door (D)", "Tool": "along the tool (T)"}[word]
            )
            bar.addWidget(self.view_buttons[view])
        bar.addSpacing(INSIDE)
        for label in (self.title, self.about):
            label.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Preferred)
        bar.addWidget(self.title, 1)
        bar.addWidget(self.about, 1)
        bar.addSpacing(INSIDE)
        self.about.setAlignment(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
        tips = ("leave out what is picked (H), or show all (Shift+H)", "see through the part (P)",
                "the room that the table sweeps to the next orientation (W)")  # fmt: skip
        for button, tip in zip((self.hide_button, self.through_button, self.swept_button), tips, strict=True):
            button.setToolTip(tip)
            bar.addWidget(button)
        rows = QVBoxLayout(self)
        rows.setContentsMargins(0, 0, 0, 0)
        rows.setSpacing(0)
        rows.addLayout(bar)
        rows.addWidget(self.canvas, 1)
        self.message.setAlignment(Qt.AlignmentFlag.AlignCenter)
        self.message.setWordWrap(True)
        self.message.setAttribute(Qt.WidgetAttribute.WA_TransparentForMouseEvents)
        self.note.setAttribute(Qt.WidgetAttribute.WA_TransparentForMouseEvents)
        self.card.hide()
        self.setMinimumSize(QSize(360, 200))

    @Slot()
    def shut_down(self) -> None:
        """End the drawing process; to be called when the window closes."""
        self.canvas.shut_down()

    # ---- what is shown -----------------------------------------------------------------------

    @property
    def place(self) -> Place | None:
        """What is shown."""
        return self.canvas.place

    def show_place(self, place: Place) -> None:
        """Show a cut. Where a swept room was shown of another cut, it is asked for anew."""
        is_other = self._cut is None or self._cut.key != place.key
        if not place.standpoints and is_other:
            return  # it follows a place that is gone
        self._cut, self._why = place, ""
        self._rooms.clear()  # of the scene before
        self._ask_for_room()
        if self.is_swept_wanted and is_other:
            self._swept = None
            self.swept_wanted.emit(True)
        if not self.is_swept_wanted or self._swept is None:
            self.canvas.show_place(place)
        self._show_words()

    def show_swept(self, place: Place) -> None:
        """Show the room that a swing sweeps, if it is still wanted."""
        if self.is_swept_wanted:
            self._swept, self._why = place, ""
            self.canvas.show_place(place)
            self._show_words()

    def show_room(self, key: tuple[str, str], name: str, told: Told | None) -> None:
        """The room that a body of a cut has; None if it is compared with nothing."""
        if self.place is not None and self.place.key == key:
            self._rooms[name] = told
            self._show_words()

    def show_nothing(self, why: str) -> None:
        """There is nothing to show, and why."""
        self._cut = self._swept = None
        self._why = why
        self.canvas.show_nothing()
        self._show_words()

    def mark_stale(self) -> None:
        """The numbers are of the scene before the last change."""
        self.canvas.mark_stale()
        self._show_words()

    def set_theme(self, theme: Theme) -> None:
        """Another look."""
        self.theme = theme
        for view, glyph, _ in VIEWS:
            self._dress(self.view_buttons[view], glyph)
        self._dress(self.swept_button, Glyph.SWEPT)
        palette = theme.palette
        _write_in(self.title, theme.type.text_bold, palette.ink)
        _write_in(self.about, theme.type.quiet, palette.quiet)
        _write_in(self.message, theme.type.text, palette.quiet)
        plate = f"background: {palette.card.name()}; border: 1px solid {palette.line.name()}; padding: 3px 6px;"
        _write_in(self.note, theme.type.quiet, palette.ink, plate)
        self.card.set_theme(theme)
        self.canvas.set_theme(theme)
        self._show_words()

    def _dress(self, button: QToolButton, glyph: Glyph) -> None:
        button.setIcon(glyph_icon(glyph, self.theme.palette))
        button.setIconSize(MARK.toSize())
        button.setText(f" {button.text().strip()}")  # so that word and glyph do not touch
        button.setToolButtonStyle(Qt.ToolButtonStyle.ToolButtonTextBesideIcon)

    def set_unit(self, unit: Unit) -> None:
        """Lengths in another unit."""
        self.unit = unit
        self.canvas.set_unit(unit)
        self._show_words()

    # ---- what can be done --------------------------------------------------------------------

    def look_from(self, view: View) -> None:
        """Gap, door or tool."""
        for other, button in self.view_buttons.items():
            button.setChecked(other is view)
        self.canvas.look_from(view)
        self._show_words()

    @Slot()
    def look_across_gap(self) -> None:
        self.look_from(View.ACROSS)

    @Slot()
    def look_through_door(self) -> None:
        self.look_from(View.DOOR)

    @Slot()
    def look_along_tool(self) -> None:
        self.look_from(View.AXIS)

    def fit(self) -> None:
        """The whole set-up."""
        self.canvas.fit()

    @Slot()
    def hide_picked(self) -> None:
        """Leave out what is picked."""
        body = self.canvas.picked_id
        if body:
            self.canvas.pick("")
            self._set_hidden(self.canvas.hidden | {body})

    def show_all(self) -> None:
        """Leave out nothing."""
        self._set_hidden(frozenset())

    @Slot()
    def hide_or_show(self) -> None:
        """Leave out what is picked; where nothing is picked, show all."""
        if self.canvas.picked_id:
            self.hide_picked()
        else:
            self.show_all()

    def _set_hidden(self, hidden: frozenset[str]) -> None:
        if hidden != self.canvas.hidden:
            self.canvas.set_hidden(hidden)
            self._show_words()
            self.hidden_changed.emit(tuple(sorted(hidden)))

    @Slot()
    def toggle_see_through(self) -> None:
        """See through the part, or not."""
        self.canvas.set_see_through(is_on=not self.canvas.is_see_through)
        self.through_button.setChecked(self.canvas.is_see_through)

    @property
    def is_swept_wanted(self) -> bool:
        return self._is_swept_wanted

    _is_swept_wanted = False

    @Slot()
    def toggle_swept(self) -> None:
        """Ask for the swept room of the next swing, or go back to the cut."""
        self._is_swept_wanted = not self._is_swept_wanted
        self.swept_button.setChecked(self._is_swept_wanted)
        self.swept_wanted.emit(self._is_swept_wanted)
        if not self._is_swept_wanted and self._swept is not None:
            self._swept = None
            if self._cut is not None:
                self.canvas.show_place(self._cut)
        self._show_words()

    @property
    def picked_body(self) -> str:
        """The name of the body that is picked; empty where none is."""
        place = self.canvas.place
        bodies = place.bodies if place is not None else ()
        return next((body.name for body in bodies if body.id == self.canvas.picked_id), "")

    def pick_body(self, name: str) -> None:
        """Pick a body by the name that reports use."""
        if self.place is not None:
            self.canvas.pick(next((b.id for b in self.place.bodies if b.name == name), ""))

    # ---- words -------------------------------------------------------------------------------

    @Slot(str)
    def _picked(self, body: str) -> None:
        self._show_words()
        place = self.place
        if place is not None and body:
            self.picked.emit(next(b.name for b in place.bodies if b.id == body))
            self._ask_for_room()

    def _ask_for_room(self) -> None:
        """Ask for the room of what is picked, where the place does not tell it; not while a number is turned."""
        place, body = self.place, self.canvas.picked_id
        if place is None or not body or body in place.rooms or place.shell is not None or not place.standpoints:
            return
        name = next(b.name for b in place.bodies if b.id == body)
        if name not in self._rooms:
            self.room_wanted.emit(name)

    @Slot(str)
    def _failed(self, why: str) -> None:
        self._why = why
        self._show_words()

    @Slot()
    def _show_words(self) -> None:
        place = self.place
        was = "was: " if self.canvas.is_stale and place is not None else ""
        self._title_text = f"{was}{place.title}" if place is not None else ""
        self._about_text = self.canvas.about.removeprefix("seen ")
        self.message.setText(self._why)
        self.message.setVisible(bool(self._why))
        self.hide_button.setText("Hide" if self.canvas.picked_id or not self.canvas.hidden else "Show all")
        self.hide_button.setEnabled(bool(self.canvas.picked_id or self.canvas.hidden))
        self._show_picked(place)
        self.note.setText(self._note(place))
        self.note.setVisible(bool(self.note.text()))
        self._fit_words()

    def _show_picked(self, place: Place | None) -> None:
        body = self.canvas.picked_id
        self.card.setVisible(bool(body))
        if place is None or not body:
            return
        shown = next(b for b in place.bodies if b.id == body)
        told = place.rooms.get(body) or self._rooms.get(shown.name)
        why_none = NOT_COMPARED if shown.name in self._rooms else NOT_NEAR
        lines = [why_none] if told is None else [told.pair]
        number = clearance_text(told, self.unit) if told is not None else ""
        if told is not None and told.spare is not None:
            lines.append(f"{spare_text(told.spare, told.keep_off, self.unit)} spare")
        if told is not None and told.why:
            lines.append(told.why)
        self.card.show_body(shown.name, number, tuple(lines), place.edits.get(body, ""), is_stale=self.canvas.is_stale)

    def _note(self, place: Place | None) -> str:
        """What comes next, or of what less is drawn than there is."""
        if place is None:
            return ""
        reduced = [b for b in place.bodies if b.off_by is not None]
        said = [f"{b.name} is drawn with fewer triangles, {b.off_by:.2f} mm off at most" for b in reduced]
        if place.next_told is not None:
            said.append(f"next: {short_text(place.next_told, self.unit)}")
        return "\n".join(said)

    def _fit_words(self) -> None:
        kind = self.theme.type
        words = ((self.title, self._title_text, kind.text_bold), (self.about, self._about_text, kind.quiet))
        self._bar.activate()
        room = float(self.title.width() + self.about.width())
        for_title = min(width_of(self._title_text, kind.text_bold) + GRID, room)
        if room - for_title < LEAST_ABOUT:
            for_title = room - 1.0
        for (label, text, font), width in zip(words, (for_title, room - for_title), strict=True):
            self._bar.setStretch(self._bar.indexOf(label), max(1, round(width)))
            label.setToolTip(text)
            label.setText(fitted(text, font, width - 2.0) if width >= LEAST_ABOUT else "")
        area = self.canvas.rect().adjusted(INSIDE, INSIDE, -INSIDE, -INSIDE)
        self.message.setGeometry(area)
        self.note.adjustSize()
        self.note.move(area.right() - self.note.width(), area.bottom() - self.note.height())
        self.card.adjustSize()
        self.card.move(area.left(), area.bottom() - self.card.height())
        self.canvas.set_reserved(tuple(w for w in (self.card, self.note) if not w.isHidden()))

    _title_text = _about_text = ""

    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        self._fit_words()


def _write_in(label: QLabel, font: QFont, colour: QColor, more: str = "background: transparent;") -> None:
    """A label's font and colour; the application's own sheet sets sizes, so they are said in a sheet too."""
    weight = 700 if font.bold() else 400
    label.setStyleSheet(f"color: {colour.name()}; font-size: {font.pixelSize()}px; font-weight: {weight}; {more}")


class PickedCard(QFrame):
    """What is said of the body that is picked."""

    edit_wanted = Signal(str)
    hide_wanted = Signal()

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.name, self.number, self.lines = QLabel(self), QLabel(self), QLabel(self)
        self.edit_button, self.hide_button = QToolButton(self), QToolButton(self)
        self.edit_button.setText("edit")
        self.hide_button.setText("hide")
        self._path = ""
        rows = QVBoxLayout(self)
        rows.setContentsMargins(INSIDE, GRID, INSIDE, INSIDE)
        rows.setSpacing(2)
        first = QHBoxLayout()
        first.setSpacing(INSIDE)
        first.addWidget(self.name, 1)
        first.addWidget(self.edit_button)
        first.addWidget(self.hide_button)
        rows.addLayout(first)
        rows.addWidget(self.number)
        rows.addWidget(self.lines)
        self.edit_button.clicked.connect(self._edit)
        self.hide_button.clicked.connect(self.hide_wanted)
        self.set_theme(theme)

    def set_theme(self, theme: Theme) -> None:
        """Another look."""
        palette = theme.palette
        self.setStyleSheet(
            f"PickedCard {{ background: {palette.card.name()}; border: 1px solid {palette.ink.name()}; }}"
        )
        _write_in(self.name, theme.type.text_bold, palette.ink)
        _write_in(self.number, theme.type.name, palette.ink)
        _write_in(self.lines, theme.type.quiet, palette.ink)
        for button in (self.edit_button, self.hide_button):
            button.setMinimumHeight(TARGET)

    def show_body(self, name: str, number: str, lines: tuple[str, ...], path: str, *, is_stale: bool) -> None:
        """Name, clearance, what else is known; whether its numbers can be edited."""
        self._path = path
        self.name.setText(name)
        self.number.setText(f"was {number}" if is_stale and number else number)
        self.number.setVisible(bool(number))
        self.lines.setText("\n".join(lines))
        self.edit_button.setVisible(bool(path))
        self.edit_button.setToolTip(f"its numbers: {path}/...")
        self.adjustSize()

    @Slot()
    def _edit(self) -> None:
        if self._path:
            self.edit_wanted.emit(self._path)
