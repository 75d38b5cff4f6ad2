"""Answers of the engine's process about a new set-up: what the table's positions leave, how it looks without a tool."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

from app.jobs.new_setup.rooms import Room, rooms
from app.jobs.new_setup.scene_text import scene_text
from app.scenes.catalogues import Catalogues
from app.scenes.faults import SceneFileError
from app.scenes.reader import read_scene_text
from app.view3d.bare_place import bare_place
from app.view3d.scene_meshes import MeshCache
from app.window.answers import Body, Found, Look
from app.window.new_setup_wanted import BARE, ROOMS, BareValue, BareWanted, RoomsShown, RoomsWanted
from kinematics.errors import TightsideError
from kinematics.prepared import Prepared

TITLE = "as it stands, without a tool"


class NewSetupDesk:
    """Part files that were read stay in its catalogues."""

    def __init__(self) -> None:
        self._catalogues = Catalogues()
        self._meshes = MeshCache()

    def look(self, look: Look) -> Iterator[Body]:
        """Answers to a Look of one of DRAFT_PANELS."""
        match look.panel, look.about:
            case panel, RoomsWanted() as wanted if panel == ROOMS:
                yield from self._rooms(wanted)
            case panel, BareWanted() as wanted if panel == BARE:
                yield Found(BARE, wanted, self._bare(wanted))

    def _rooms(self, wanted: RoomsWanted) -> Iterator[Body]:
        found: list[Room] = []
        try:
            for room in rooms(wanted.answers, wanted.solutions, Path(wanted.path), self._catalogues):
                result = None if room.result is None else replace(room.result, origin=None)
                found.append(Room(room.solution, result))
                is_done = len(found) == len(wanted.solutions)
                yield Found(ROOMS, wanted, RoomsShown(tuple(found), is_done))
        except TightsideError as error:
            yield Found(ROOMS, wanted, RoomsShown(tuple(found), True, _words(error)))

    def _bare(self, wanted: BareWanted) -> BareValue:
        try:
            read = read_scene_text(scene_text(wanted.answers), Path(wanted.path), catalogues=self._catalogues)
            return bare_place(Prepared(read.scene), *read.scene.cuts()[0], TITLE, meshes=self._meshes)
        except TightsideError as error:
            return _words(error)


def _words(error: TightsideError) -> str:
    if isinstance(error, SceneFileError) and error.faults:
        return f"{error.faults[0].path}: {error.faults[0].message}".removeprefix(": ")
    return error.message
