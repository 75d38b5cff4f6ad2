"""Block 1 of a new set-up at work: the part file, where the set-up is to stand, and copies where it goes elsewhere.

A file that can't be read leaves the part that there was.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from PySide6.QtCore import QObject, Slot
from PySide6.QtWidgets import QFileDialog

from app.jobs.new_setup.part_files import UnitQuestion, copied_beside
from app.jobs.new_setup.typed import Typed
from app.scenes.side_files import reason_of
from app.window.part_answers import FEATURE, PART, FeatureWanted, PartShown, PartWanted
from kinematics.pose import Vector

if TYPE_CHECKING:
    from app.window.new_setup import NewSetup

PARTS = "Part files (*.step *.stp *.stl *.obj *.ply *.3mf);;All files (*)"
UP = "+Z"


class NewSetupPart(QObject):
    """What is said by the part's block. `path`: of the set-up; `is_name_free`: it is the usual one, or was chosen."""

    def __init__(self, core: NewSetup) -> None:
        super().__init__(core)
        self._core, self._block = core, core.page.part
        self._asked: PartWanted | None = None
        self._wanted: PartWanted | None = None  # of the part that is there
        self.shown: PartShown | None = None
        self.path: Path | None = None
        self.is_name_free = True
        self.ask_file: Callable[[], Path | None] = self._dialog
        self._block.file_asked.connect(self._file_asked)
        self._block.file_dropped.connect(self.read)
        self._block.unit_chosen.connect(self._unit_chosen)
        self._block.up_chosen.connect(self._up_chosen)

    def forget(self) -> None:
        """There is no part yet."""
        self._asked = self._wanted = self.shown = self.path = None
        self.is_name_free = True

    @property
    def folder(self) -> Path:
        """Where the set-up is to stand: beside its part."""
        return self.path.parent if self.path is not None else Path()

    # ---- reading ----

    @Slot()
    def _file_asked(self) -> None:
        path = self.ask_file()
        if path is not None:
            self.read(str(path))

    @Slot(str)
    def read(self, path: str) -> None:
        """Read a part file."""
        file = Path(path).absolute()
        if self._core.is_begun and file.parent != self.folder.absolute():
            self._say(f"{file.name} is in another folder than this set-up; expected one in {self.folder}")
            return
        if self.shown is None:
            self._block.show_reading(file.name)
        self._want(PartWanted(str(file), None, UP))

    @Slot(str)
    def _unit_chosen(self, unit: str) -> None:
        if self._asked is not None:
            self._want(replace(self._asked, units=unit))

    @Slot(str)
    def _up_chosen(self, up: str) -> None:
        if self._wanted is not None and up != self._wanted.up:
            self._want(replace(self._wanted, up=up))

    def _want(self, wanted: PartWanted) -> None:
        self._asked = wanted
        self._core.questions.drop(PART)
        self._core.questions.ask(PART, wanted)

    def came(self, value: object) -> None:
        """What the engine has found about the file."""
        match value:
            case PartShown() as shown:
                self._take(shown)
            case UnitQuestion() as question:
                self._block.show_question(question)
            case str(why):
                self._say(why)

    def _take(self, shown: PartShown) -> None:
        assert self._asked is not None, "a part was asked for"
        if not self._core.is_begun:
            self._choose_path(Path(self._asked.path))
        self._wanted, self.shown = self._asked, shown
        self._core.page.orientations.show_part(shown)
        self._core.take_part(shown.answer)

    def _choose_path(self, part: Path) -> None:
        """The part's name; where that is taken, the next that is free, and a name is asked for in the end."""
        self.path = part.with_name(f"{part.stem}.scene.yaml")
        self.is_name_free = not self.path.exists()
        number = 2
        while self.path.exists():
            self.path, number = part.with_name(f"{part.stem}_{number}.scene.yaml"), number + 1

    def _say(self, why: str) -> None:
        part = self._core.typed.part
        if part is None:
            self._block.show_nothing(why)
        else:
            self._block.show_part(part, self.shown)
            self._block.trouble.say(why)

    def restore(self, typed: Typed) -> None:
        """An undo has brought another part back: it is drawn again."""
        part, now = typed.part, self._wanted
        if part is None or now is None:
            return
        wanted = PartWanted(str(self.folder.absolute() / part.file), part.units, part.up)
        if (Path(now.path).name, now.up) != (part.file, part.up):
            self._want(wanted)

    def ask_feature(self, point: Vector, normal: Vector) -> None:
        """What stands at a point of the part."""
        if self._wanted is not None:
            self._core.questions.ask(FEATURE, FeatureWanted(self._wanted, point, normal))

    # ---- saving ----

    def saved_as(self, saved: Path) -> str:
        """Saved in another folder, the set-up takes its part and machine along; what went wrong, in words."""
        self.is_name_free = True
        typed, old = self._core.typed, self.folder
        if self.path is None or saved.parent.absolute() == old.absolute():
            return ""
        names = [name for name in (typed.part.file if typed.part else "", typed.machine) if name]
        beside = [old / name for name in names if (old / name).is_file()]
        try:
            copied_beside(beside, saved.parent)
        except OSError as error:
            return f"{saved.parent}: {', '.join(f.name for f in beside)} could not be copied ({reason_of(error)})"
        self.path = saved
        return ""

    def _dialog(self) -> Path | None:
        name, _ = QFileDialog.getOpenFileName(self._core.page.window(), "Your part", "", PARTS)
        return Path(name) if name else None
