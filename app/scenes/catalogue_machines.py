"""A machine by itself, before there is a scene that names it."""

from __future__ import annotations

from pathlib import Path

from app.scenes import machine_model
from app.scenes.build_bodies import BodyBuilder
from app.scenes.build_machine import build_machine
from app.scenes.catalogues import Catalogues
from app.scenes.document import Document, nearest
from app.scenes.faults import Fault, SceneFileError
from app.scenes.located import MapNode
from app.scenes.names import name_faults, names_in
from app.scenes.prelude import opened
from app.scenes.reading import read_model
from app.scenes.side_files import SideFileFault, text_file
from app.scenes.sources import Sources
from kinematics.machine import Machine

SUFFIX = ".machine.yaml"


def machine_called(name: str, folder: Path, catalogues: Catalogues) -> Machine:
    """The machine that a scene in `folder` would mean by `name`: of the library, or a file by its path.

    Raises
    ------
    SceneFileError : there is none, or everything that is wrong with its file.
    """
    stem, document = _document(name, folder, catalogues)
    faults: list[Fault] = []
    reading = opened(document, faults, [])
    root = document.root
    machine = None
    if reading is not None and isinstance(root, MapNode):
        faults += name_faults([*names_in(document)])
        model = read_model(machine_model.Machine, root, reading)
        file = Path(document.file)
        allowed = (folder, file.parent, catalogues.library)
        builder = BodyBuilder(reading, catalogues, Sources(), file.parent, allowed, [], {})
        machine = None if model is None else build_machine(model, stem, root, builder)
    if faults or machine is None:
        raise SceneFileError(faults, document.file)
    return machine


def _document(name: str, folder: Path, catalogues: Catalogues) -> tuple[str, Document]:
    try:
        if name.endswith((".yaml", ".yml")) or "/" in name:
            file, data = text_file(name, folder)
            return file.name.removesuffix(SUFFIX), Document.of_bytes(str(file), data, "machine")
        found = catalogues.find("machine", name)
        if found is not None:
            return name, catalogues.document(found)[0]
    except SideFileFault as fault:
        raise SceneFileError([Fault(name, 1, 1, "", str(fault))]) from fault
    known = catalogues.names("machine")
    near = nearest(name, known)
    hint = f"nearest: {near}" if near else f"machines: {', '.join(known) or 'none'}"
    raise SceneFileError([Fault(name, 1, 1, "", f"no machine '{name}' in the library; {hint}")])
