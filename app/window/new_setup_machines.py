"""Block 2 of a new set-up at work: which machine, which way it turns, and files of machines of one's own.

A machine's file is never written over: each change of it is another file, so that an undo finds the one before. Files
that the set-up does not name in the end are taken away.
"""

from __future__ import annotations

import contextlib
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from PySide6.QtCore import QObject, Slot

from app.jobs.new_setup.own_machine import free_machine_file, machine_text, own_machine, sign_remedies
from app.scenes.faults import SceneFileError
from app.scenes.saving import DiskState, SaveError, save
from app.scenes.side_files import SideFileFault
from kinematics.errors import TightsideError

if TYPE_CHECKING:
    from app.window.new_setup import NewSetup

LONGEST_STEM = 40
OWN = ", my own"


class NewSetupMachines(QObject):
    """What is said by the machine's block."""

    def __init__(self, core: NewSetup) -> None:
        super().__init__(core)
        self._core = core
        self._own_files: list[Path] = []
        block = core.page.machine
        block.machine_chosen.connect(self._machine_chosen)
        block.seen.connect(self._seen)
        block.remedy_taken.connect(self._remedy_taken)
        block.own_asked.connect(self._own_asked)

    @Slot(str)
    def _machine_chosen(self, name: str) -> None:
        self._core.change(f"machine {name}", replace(self._core.typed, machine=name))

    @Slot(str, str)
    def _seen(self, axis: str, seen: str) -> None:
        kept = tuple(s for s in self._core.typed.signs if s[:2] != (self._core.typed.machine, axis))
        self._core.change(
            f"{axis} looked at", replace(self._core.typed, signs=(*kept, (self._core.typed.machine, axis, seen)))
        )
        machine = self._core.now.machine if self._core.now is not None else None
        if machine is not None and all(self._core.typed.sign(a.name) for a in machine.table_axes):
            self._core.page.machine.on.setFocus()
            self._core.unfold_quietly(3)

    @Slot(str, int)
    def _remedy_taken(self, axis: str, number: int) -> None:
        if self._core.now is not None and self._core.now.machine is not None:
            machine = self._core.now.machine
            self._keep_machine(dict(sign_remedies(machine, axis)[number].values), _own_title(machine.title))

    @Slot(object, str)
    def _own_asked(self, values: dict[str, float], title: str) -> None:
        self._keep_machine(values, title)

    def _keep_machine(self, values: dict[str, float], title: str) -> None:
        """A file of one's own machine, beside the set-up."""
        folder, before = self._core.folder, self._core.typed.machine
        stem = (
            "_".join("".join(c if c.isalnum() else " " for c in title.lower()).split())[:LONGEST_STEM] or "my_machine"
        )
        file = free_machine_file(folder, stem)
        try:
            made = own_machine(machine_text(before, folder, self._core.catalogues), values, title)
            save(file, made, was=DiskState(None))
        except SideFileFault as error:
            self._core.page.machine.own.trouble.say(str(error))
            return
        except SceneFileError as error:
            self._core.page.machine.own.trouble.say(error.faults[0].message if error.faults else error.message)
            return
        except (TightsideError, SaveError) as error:
            self._core.page.machine.own.trouble.say(error.message)
            return
        self._own_files.append(file)
        taken_over = tuple((file.name, axis, seen) for name, axis, seen in self._core.typed.signs if name == before)
        typed = replace(self._core.typed, machine=file.name, signs=(*self._core.typed.signs, *taken_over))
        self._core.change(f"machine {title}", typed)
        if self._core.now is not None and "machine" not in self._core.now.faults:
            self._core.page.machine.other.setChecked(False)

    def remove_unused(self, text: str) -> None:
        """Take away machine files that were written on the way and that the text of the set-up does not name."""
        for file in self._own_files:
            if file.name not in text:
                with contextlib.suppress(OSError):
                    file.unlink(missing_ok=True)
        self._own_files.clear()


def _own_title(title: str) -> str:
    """The title of a machine of one's own; it stays where it is one already."""
    return title if title.endswith(OWN) else f"{title}{OWN}"
