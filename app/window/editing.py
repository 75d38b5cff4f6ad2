"""Editing beside the view: the editor's wishes become edits of the document, and the document's text its forms.

1. Every wish is one step of the undo stack; a wish that can't be met changes nothing and says why at its field.
2. Forms are made anew at most once per turn of the event loop, and only while the editor is open.
3. Taking something out asks only where something refers to it.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from PySide6.QtCore import QObject, QTimer, Slot
from PySide6.QtWidgets import QFileDialog

from app.jobs.new_setup.answers import ToolAnswer, Units
from app.jobs.new_setup.scene_text import tool_entry
from app.scenes.catalogue_holders import catalogue_holders
from app.scenes.catalogues import Catalogues
from app.scenes.document import Document as SceneText
from app.scenes.document import text_of
from app.scenes.edits import EditError, insert_entry, remove_entry, set_text, set_value, value_at
from app.scenes.faults import SceneFileError
from app.scenes.forms import Names, Thing, form_of, names_in, things_of, units_of
from app.scenes.located import MapNode, ScalarNode
from app.scenes.things import (
    STARTS,
    Put,
    body_put,
    cut_put,
    free_name,
    holder_put,
    orientation_put,
    removed,
    renamed,
    riders_of,
    tool_put,
)
from app.scenes.traps import number_words
from app.scenes.yaml_text import Plain, plain_value
from app.window.panels.editor import Editor
from app.window.panels.tool_card import ToolCard
from app.window.session import Session
from kinematics.errors import TightsideError

if TYPE_CHECKING:
    from app.window.main_window import MainWindow

MESHES = "Mesh files (*.stl *.obj *.ply *.3mf *.step *.stp);;All files (*)"


class Editing(QObject):
    """What the editor shows and does."""

    def __init__(self, window: MainWindow, session: Session, editor: Editor) -> None:
        super().__init__(window)
        self._window, self._session, self.editor = window, session, editor
        self._path = ""
        self._catalogues = Catalogues()
        self._names: tuple[str | None, Names] = (None, Names())
        self._soon = QTimer(self, singleShot=True, interval=0)
        self._soon.timeout.connect(self.refresh)
        self.ask_mesh: Callable[[], Path | None] = self._dialog_for_mesh
        session.document.text_changed.connect(self._text_changed)
        editor.set_asked.connect(self._set)
        editor.rename_asked.connect(self._rename)
        editor.remove_asked.connect(self._remove)
        editor.add_asked.connect(self._add)
        editor.thing_picked.connect(self.show)
        editor.shut_asked.connect(self.shut)
        editor.repeat_asked.connect(self._repeat)
        editor.drop_asked.connect(self._drop)

    @property
    def is_open(self) -> bool:
        return not self.editor.isHidden()

    @Slot(str)
    def open(self, path: str) -> None:
        """Open the editor at a thing or a value of it; an empty path is the set-up itself."""
        self.editor.show()
        self.show(path)
        self.editor.focus_field(path)

    @Slot()
    def shut(self) -> None:
        """Close the editor."""
        self.editor.hide()

    @Slot(str)
    def show(self, path: str) -> None:
        """The form of a thing, or of the one that a value belongs to."""
        self._path = path
        self.refresh()

    # ---- from the text to the form ----

    @Slot(str, str)
    def _text_changed(self, _before: str, _after: str) -> None:
        if self.is_open:
            self._soon.start()

    @Slot()
    def refresh(self) -> None:
        """Make the form anew from the text as it is."""
        read = self._read()
        if read is None:
            self.editor.show_trouble("", "The text of this set-up can't be read: mend the faults above first.")
            return
        things = things_of(read)
        thing = _nearest(things, self._path)
        if thing is None:
            return
        self._path = thing.path
        self.editor.show_things(things)
        self.editor.show_form(form_of(read, thing, self._names_of(read)))

    def _read(self) -> SceneText | None:
        read = SceneText("", self._session.document.text, "scene")
        return None if read.root is None else read

    def _names_of(self, read: SceneText) -> Names:
        machine = text_of(read.root.get("machine")) if isinstance(read.root, MapNode) else None
        if machine != self._names[0]:
            self._names = (machine, names_in(self._catalogues, machine))
        return self._names[1]

    # ---- from the editor to the text ----

    @Slot(str, str, str)
    def _set(self, path: str, typed: str, kind: str) -> None:
        text = self._session.document.text
        words = kind in ("text", "choice")
        if kind == "number" and not isinstance(plain_value(typed), float):
            self.editor.show_trouble(path, f"{path}: {number_words(typed, 'a number', self._unit())}")
            return
        self._do(f"Set {path}", path, lambda: set_value(text, path, typed) if words else set_text(text, path, typed))

    def _unit(self) -> str:
        read = self._read()
        return units_of(read) if read is not None else "mm"

    @Slot(str, str)
    def _rename(self, path: str, name: str) -> None:
        self._put(f"Call {path} {name}", path, lambda: renamed(self._session.document.text, path, name))

    @Slot(str)
    def _remove(self, path: str) -> None:
        text = self._session.document.text
        try:
            riders = riders_of(text, path)
        except TightsideError as error:
            self.editor.show_trouble("", _told(error))
            return
        if riders and not self.editor.is_removal_asked:
            self.editor.ask_removal(f"{path} is needed by {', '.join(riders)}.")
            return
        if self._do(f"Take out {path}", "", lambda: removed(text, path)):
            self.editor.show_trouble("", "")
            self.show(path.rpartition("/")[0])

    @Slot(str)
    def _repeat(self, path: str) -> None:
        """Another entry like this, below it."""
        text = self._session.document.text

        def made() -> str:
            entry = value_at(text, path)
            if entry is None:
                raise EditError(f"{path} has no value; expected one, to make another like it")
            return insert_entry(text, path, entry)

        self._do(f"Repeat {path}", "", made)

    @Slot(str)
    def _drop(self, path: str) -> None:
        """A list without this entry."""
        text = self._session.document.text
        self._do(f"Take out {path}", "", lambda: remove_entry(text, path))

    @Slot(str)
    def _add(self, kind: str) -> None:
        text = self._session.document.text
        if kind in STARTS:
            self._put(f"Add a {kind}", "", lambda: body_put(text, kind, on=self._support()))
        elif kind == "mesh":
            file = self.ask_mesh()
            if file is not None:
                self._put("Add a mesh", "", lambda: self._mesh_put(text, file))
        elif kind == "holder":
            self._put("Add a holder", "", lambda: holder_put(text))
        elif kind == "tool":
            self._ask_tool()
        elif kind == "orientation":
            self._put("Add an orientation", "", lambda: self._orientation_put(text))
        elif kind == "cut":
            self._put("Add a cut", "", lambda: self._cut_put(text))
        else:
            self._window.add_by(kind)

    def _ask_tool(self) -> None:
        """A card for one line; what is agreed to becomes a tool."""
        outline = self._session.snapshot.outline
        found, _ = catalogue_holders(self._catalogues)
        holders = {holder.name: holder for holder in found}
        for name in outline.holders if outline is not None else ():
            holders.setdefault(name, next(iter(found)))  # its name is all that is asked of it here
        taken = [tool.id for tool in outline.tools] if outline is not None else []
        units: Units = "inch" if self._unit() == "inch" else "mm"
        card = ToolCard(self._window.theme, holders, taken, units, self._window)
        card.agreed.connect(self._tool_agreed)
        self._window.lay_over(card)

    @Slot(object)
    def _tool_agreed(self, tool: ToolAnswer) -> None:
        text = self._session.document.text
        units: Units = "inch" if self._unit() == "inch" else "mm"
        self._put(f"Add {tool.id}", "", lambda: tool_put(text, tool_entry(tool, units)))

    def put(self, words: str, make: Callable[[], Put]) -> bool:
        """A new thing by somebody else's making: one step, and its form."""
        return self._put(words, "", make)

    def _put(self, words: str, path: str, make: Callable[[], Put]) -> bool:
        try:
            made = make()
        except (TightsideError, SceneFileError) as error:
            self.editor.show_trouble(path, _told(error))
            return False
        self._session.document.replace(words, made.text)
        self.editor.show_trouble("", "")
        self.show(made.path)
        return True

    def _do(self, words: str, path: str, make: Callable[[], str]) -> bool:
        try:
            text = make()
        except (TightsideError, SceneFileError) as error:
            self.editor.show_trouble(path, _told(error))
            return False
        self._session.document.replace(words, text)
        return True

    def _support(self) -> str:
        """What a new body stands on: the one that is shown, else what the last table axis carries."""
        form = self.editor.form
        read = self._read()
        if form is not None and form.thing.kind == "body" and form.thing.what != "group":
            return form.thing.path
        return self._names_of(read).carriers[-1] if read is not None else "table"

    def _mesh_put(self, text: str, file: Path) -> Put:
        scene = self._session.document.path
        shown = Path(os.path.relpath(file, scene.absolute().parent)) if scene is not None else file
        units = "" if file.suffix.lower() in (".step", ".stp", ".3mf") else "mm"
        return body_put(text, "mesh", on=self._support(), mesh=shown.as_posix(), mesh_units=units)

    def _orientation_put(self, text: str) -> Put:
        outline = self._session.snapshot.outline
        focus = self._session.focus
        read = self._read()
        assert read is not None, "a text with a form can be read"
        own = read.find(focus[0]) if focus is not None else None
        angles: dict[str, float] = {}
        for entry in own.entries if isinstance(own, MapNode) else ():
            value = entry.value.value if isinstance(entry.value, ScalarNode) else None
            if entry.key.text not in ("name", "cuts") and isinstance(value, float):
                angles[entry.key.text] = value
        number = len(outline.orientations) + 1 if outline is not None else 1
        return orientation_put(text, free_name(text, f"V{number}"), angles)

    def _cut_put(self, text: str) -> Put:
        read = self._read()
        assert read is not None, "a text with a form can be read"
        things = things_of(read)
        here = _nearest(things, self._path)
        shown = here.inside or here.path if here is not None and here.kind in ("orientation", "cut") else ""
        focus = self._session.focus
        known = [t.path for t in things if t.kind == "orientation"]
        if not known:
            raise EditError("there is no orientation yet; expected one, to make the cut at")
        orientation = shown or (focus[0] if focus is not None else known[-1])
        tool = next((t.path for t in things if t.kind == "tool"), "")
        states = read.find("workpiece/states")
        state = states.entries[0].key.text if isinstance(states, MapNode) and states.entries else ""
        n = 1 + sum(t.kind == "cut" and t.inside == orientation for t in things)
        hole: dict[str, Plain] = {"at": [0.0, 0.0, 0.0], "depth": 5.0}
        return cut_put(text, orientation, {"name": f"cut {n}", "tool": tool, "state": state, "hole": hole})

    def _dialog_for_mesh(self) -> Path | None:
        scene = self._session.document.path
        folder = str(scene.parent) if scene is not None else ""
        name, _ = QFileDialog.getOpenFileName(self._window, "Add a mesh file", folder, MESHES)
        return Path(name) if name else None


def _nearest(things: tuple[Thing, ...], path: str) -> Thing | None:
    """The thing of that path, or the one that the value of that path stands in; else the set-up itself."""
    inside = [t for t in things if t.path and (path == t.path or path.startswith(f"{t.path}/"))]
    return max(inside, key=lambda t: len(t.path)) if inside else next(iter(things), None)


def _told(error: TightsideError) -> str:
    if isinstance(error, SceneFileError) and error.faults:
        return error.faults[0].message
    return error.message
