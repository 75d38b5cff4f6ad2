"""Body models -> bodies of the core: shapes with the numbers of their standards, meshes, groups."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from app.scenes import body_model as model
from app.scenes.catalogues import Catalogues
from app.scenes.document import nearest
from app.scenes.faults import Fault
from app.scenes.hardware_model import Hardware, HardwareSize
from app.scenes.origins import Mark, fault_of
from app.scenes.prelude import opened
from app.scenes.reading import Reading, read_model
from app.scenes.scalars import core_value
from app.scenes.scene_model import Zero
from app.scenes.side_files import SideFileFault, side_file
from app.scenes.sources import Sources
from kinematics import shapes
from kinematics.errors import MeshFileError, ShapeError
from kinematics.meshes import Mesh
from kinematics.scene import UP, ZERO, Body, BodyErrors, Placement

MESH_LEAST, MESH_MOST = 1.0, 1000.0  # mm; a part outside this is more likely in other units
CHORD_TOLERANCE = 0.01  # mm, where the file does not say it
_LIKELY_UNITS = {"mm": 1.0, "inch": 25.4, "m": 1000.0}


@dataclass(slots=True)
class BodyBuilder:
    """Builds the bodies of one file.

    Parameters
    ----------
    folder, allowed : where mesh files are looked for, and the folders they may lie in.
    noted : gets what is worth knowing about meshes at a place of the file, and is no fault.
    """

    reading: Reading
    catalogues: Catalogues
    sources: Sources
    folder: Path
    allowed: tuple[Path, ...]
    noted: list[Fault]
    hardware: dict[str, Hardware | None]

    def bodies(self, models: tuple[model.Body, ...], default: str | None) -> tuple[Body, ...]:
        """Bodies in file order, each group before its members.

        `default` is what a body stands on that does not say it; None makes that a fault.
        """
        found: list[Body] = []
        for body in models:
            found.extend(self._body(body, default, group=None))
        return tuple(found)

    def placement(self, stands: model.Body | Zero, default: str | None) -> Placement | None:
        """Where a body or part zero stands; tells a missing support and returns None."""
        support = stands.rides_on
        if support is None and default is None:
            words = "is missing; expected a frame (bed, table, head, ...) or a body"
            self.reading.tell(stands.node, words, "rides_on")
            return None
        face = support.face if isinstance(support, model.FaceSupport) else "+Z"
        name = support.body if isinstance(support, model.FaceSupport) else support or default or ""
        return Placement(name, stands.at or ZERO, stands.turn or 0.0, stands.axis or UP, face)

    def _body(self, body: model.Body, default: str | None, group: str | None) -> list[Body]:
        placement = self.placement(body, default)
        mark = Mark(self.reading.document, body.node)
        shape: shapes.Shape | None = None
        if body.bodies is None:
            try:
                shape = self._shape(body, mark)
            except ShapeError as error:
                self.reading.tell(body.node, error.message)
            except MeshFileError as error:
                error.origin = error.origin or mark
                self.reading.faults.append(fault_of(error))
        members = [one for member in body.bodies or () for one in self._body(member, body.name, body.name)]
        if placement is None or (shape is None and body.bodies is None):
            return members
        own = body.errors
        errors = BodyErrors(own.location, own.body_model, own.tilt_deg) if own else BodyErrors()
        return [Body(body.name, placement, shape, errors, group, mark), *members]

    def _shape(self, body: model.Body, mark: Mark) -> shapes.Shape | None:
        if body.box is not None:
            return shapes.Box(*body.box)
        if body.cylinder is not None:
            return shapes.cylinder(body.cylinder.d, body.cylinder.h)
        if body.cone is not None:
            return shapes.cone(body.cone.d1, body.cone.d2, body.cone.h)
        if body.revolve is not None:
            return shapes.Revolve(tuple(shapes.Step(row.d1, row.d2, row.length) for row in body.revolve))
        if body.screw is not None:
            return self._screw(body, body.screw)
        return self._mesh(body.mesh, mark) if body.mesh is not None else None

    # --- screws, washers, pins ---

    def _screw(self, body: model.Body, screw: model.Screw) -> shapes.Screw | None:
        table = self._hardware(screw)
        if table is None:
            return None
        size = _size_called(screw.size, table)
        if size is None:
            near = nearest(screw.size, table.sizes)
            hint = f"nearest: {near}" if near else f"sizes: {', '.join(table.sizes)}"
            node = screw.node.get("size")
            assert node is not None, "a screw without a size is a fault of its model"
            self.reading.tell(node, f"no size '{screw.size}' in {screw.standard}; {hint}")
            return None
        key = shapes.KeySpace(screw.key.d, screw.key.h) if screw.key else None
        if table.kind == "pin":
            if screw.length is None:
                self.reading.tell(screw.node, "is missing; expected how far the pin stands out", "length")
                return None
            return shapes.Screw(screw.standard, screw.size, size.head_d, screw.length, key=key, torque=screw.torque)
        assert size.head_h is not None, "told when the table was read"
        if screw.length is not None and size.shank_d is None:
            node = screw.node.get("length") or screw.node
            self.reading.tell(node, f"a {table.kind} by {screw.standard} has no length; expected it left out")
            return None
        return shapes.Screw(
            screw.standard,
            screw.size,
            self._head_d(body, screw, size),
            size.head_h,
            size.shank_d if screw.length is not None and size.shank_d else 0.0,
            screw.length,
            key,
            screw.torque,
        )

    def _head_d(self, body: model.Body, screw: model.Screw, size: HardwareSize) -> float:
        if size.head_d_knurled is None or screw.plain_head:
            return size.head_d
        if screw.plain_head is None:
            self.reading.assume(f"{body.name}: knurled head {size.head_d_knurled:g} (default)")
        return size.head_d_knurled

    def _hardware(self, screw: model.Screw) -> Hardware | None:
        kept = self.reading.kept
        found = kept.once(("hardware", screw.standard), lambda: self.catalogues.find("hardware", screw.standard))
        if found is None:
            known = self.catalogues.names("hardware")
            near = nearest(screw.standard, known)
            node = screw.node.get("standard")
            assert node is not None, "a screw without a standard is a fault of its model"
            hint = f"nearest: {near}" if near else f"known: {', '.join(known)}"
            self.reading.tell(node, f"no standard '{screw.standard}' in the library; {hint}")
            return None
        if found.file not in self.hardware:
            self.hardware[found.file] = None
            try:
                document, data = kept.once(("document", found.file), lambda: self.catalogues.document(found))
            except SideFileFault as fault:
                self.reading.tell(screw.node, str(fault), "standard")
                return None
            self.sources.add("hardware", found.name, data, found.file)
            reading = opened(document, self.reading.faults, self.reading.assumed, kept)
            if reading is not None and document.root is not None:
                table = read_model(Hardware, document.root, reading)
                self.hardware[found.file] = _whole_table(table, reading) if table else None
        return self.hardware[found.file]

    # --- meshes ---

    def _mesh(self, mesh: model.Mesh, mark: Mark) -> shapes.MeshShape | None:
        try:
            path, loaded, digest = self._loaded(mesh, mark)
        except SideFileFault as fault:
            self.reading.tell(mesh.node.get("file") or mesh.node, str(fault))
            return None
        self.sources.add_digest("mesh", mesh.file, digest, str(path))
        lo, hi = loaded.bounds
        question = self._size_question([high - low for low, high in zip(lo, hi, strict=True)], mesh)
        if question is not None:
            self.reading.tell(mesh.node.get("units") or mesh.node, question)
            return None
        for words in loaded.notes:
            self._note(mesh, words)
        if not loaded.is_closed:
            self._note(mesh, f"{mesh.file} is open at {loaded.n_open_edges} edges")
        return self.catalogues.meshes.placed(loaded, start=mesh.start or "origin", up=mesh.up or "+Z")

    def _loaded(self, mesh: model.Mesh, mark: Mark) -> tuple[Path, Mesh, str]:
        """The file, its mesh and the SHA-256 of its bytes."""
        tolerance = mesh.tol or CHORD_TOLERANCE

        def load() -> tuple[Path, Mesh, str]:
            path = side_file(mesh.file, self.folder, self.allowed)
            shelf = self.catalogues.meshes
            found = shelf.load(path, units=mesh.units, body=mesh.body, chord_tolerance=tolerance, origin=mark)
            return path, *found

        return self.reading.kept.once(("mesh", self.folder, mesh.file, mesh.units, mesh.body, tolerance), load)

    def _size_question(self, size: list[float], mesh: model.Mesh) -> str | None:
        """A fault that asks where other units are likelier; else a note about an odd size."""
        if MESH_LEAST <= max(size) <= MESH_MOST:
            return None
        shown = " x ".join(f"{side:.4g}" for side in size)
        if mesh.units in _LIKELY_UNITS:
            per_unit = _LIKELY_UNITS[mesh.units]
            likely = [
                (unit, [side / per_unit * scale for side in size])
                for unit, scale in _LIKELY_UNITS.items()
                if MESH_LEAST <= max(size) / per_unit * scale <= MESH_MOST
            ]
            if likely:
                other = "; ".join(
                    f"units: {unit} makes it {' x '.join(f'{s:.4g}' for s in sides)} mm" for unit, sides in likely
                )
                return f"{mesh.file} is {shown} mm with units: {mesh.units}; is that meant? {other}"
        self._note(mesh, f"{mesh.file} is {shown} mm, an odd size for a part on this table")
        return None

    def _note(self, mesh: model.Mesh, words: str) -> None:
        note = self.reading.document.fault(mesh.node, words)
        if note not in self.noted:
            self.noted.append(note)


def _size_called(name: str, table: Hardware) -> HardwareSize | None:
    """The size of that name; a diameter is found however many digits it is written with."""
    if (size := table.sizes.get(name.strip())) is not None:
        return size
    written = core_value(name.strip())
    return next(
        (s for key, s in table.sizes.items() if isinstance(written, float) and core_value(key) == written), None
    )


def _whole_table(table: Hardware, reading: Reading) -> Hardware | None:
    """The table, if all its sizes have the height that their kind needs."""
    lacking = [size for size in table.sizes.values() if size.head_h is None and table.kind != "pin"]
    for size in lacking:
        reading.tell(size.node, "is missing; expected the height of the head", "head_h")
    return None if lacking else table
