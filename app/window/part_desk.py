"""Answers of the engine's process about parts and changes: files measured, features fitted, alternatives tried.

Parts that were read last are kept, so that clicks on them are answered at once.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from app.jobs.alternatives import alternatives, ranked
from app.jobs.new_setup.part_files import UPS, UnitQuestion, part_answer
from app.jobs.proposals import Proposal
from app.jobs.whatif_dials import Bench
from app.view3d.display_meshes import DisplayMesh, reduced
from app.window.answers import Body, CutKey, Found, Look
from app.window.part_answers import (
    ALTERNATIVES,
    FEATURE,
    MEASURED,
    PART,
    POSITIONS,
    WORKPIECE,
    AlternativesShown,
    FeatureShown,
    FeatureWanted,
    MeasuredShown,
    MeasureWanted,
    PartShown,
    PartWanted,
    Position,
    PositionsShown,
    WorkpieceShown,
)
from kinematics.answers.table_solutions import AimedAt, aimed_at
from kinematics.answers.worst_room import room_of
from kinematics.errors import MeshFileError, TightsideError
from kinematics.measured.found import Declined
from kinematics.measured.pointed import feature_at
from kinematics.measured.surface import Surface
from kinematics.meshes import Mesh, Up, load_mesh, placed_mesh
from kinematics.pose import Array, Vector, angle_difference_deg
from kinematics.prepared import Prepared
from kinematics.shapes import MeshShape
from kinematics.verdict import Verdict

MOST_PARTS = 2
SAME_DEG = 0.01  # an orientation this near to a direction aims along it
MOST_TO_PICK = 20_000  # triangles that are painted one by one


class PartDesk:
    """Parts and changes."""

    def __init__(self) -> None:
        self._meshes: dict[PartWanted, Mesh] = {}
        self._surfaces: dict[PartWanted, Surface] = {}
        self._surface: tuple[object, Mesh, Surface] | None = None  # of the workpiece that was measured last

    def look(self, look: Look, bench: Bench | None) -> Iterator[Body]:
        """Answers to a Look of one of `part_answers.PANELS`."""
        match look.panel, look.about:
            case panel, PartWanted() as wanted if panel == PART:
                yield Found(PART, wanted, self._part(wanted))
            case panel, FeatureWanted() as wanted if panel == FEATURE:
                yield Found(FEATURE, wanted, self._feature(wanted))
            case panel, str() as orientation if panel == ALTERNATIVES:
                yield from _alternatives(orientation, bench)
            case panel, (str(orientation), str(cut)) if panel == WORKPIECE and bench is not None:
                yield Found(WORKPIECE, (orientation, cut), _workpiece((orientation, cut), bench))
            case panel, MeasureWanted() as asked if panel == MEASURED and bench is not None:
                yield Found(MEASURED, asked, self._measured(asked, bench))
            case panel, str() as orientation if panel == POSITIONS and bench is not None:
                yield Found(POSITIONS, orientation, PositionsShown(orientation, _positions(orientation, bench)))

    def _measured(self, wanted: MeasureWanted, bench: Bench) -> MeasuredShown:
        mesh, name, vertices = _mesh_in_P(wanted.cut, bench)
        if mesh is None:
            return MeasuredShown(wanted.point, Declined(name))
        key = id(mesh), vertices.tobytes()[:256]
        if self._surface is None or self._surface[0] != key:
            self._surface = key, mesh, Surface(vertices, mesh.faces)
        surface = self._surface[2]
        found = feature_at(surface, _face_at(surface, np.array(wanted.point), np.array(wanted.normal)))
        if isinstance(found, Declined):
            return MeasuredShown(wanted.point, found)
        return MeasuredShown(wanted.point, found, *_aimed_along(found.direction, wanted.cut, bench))

    def _part(self, wanted: PartWanted) -> PartShown | UnitQuestion | str:
        path = Path(wanted.path)
        try:
            answer = part_answer(path, units=wanted.units, up=_up(wanted))
            if isinstance(answer, UnitQuestion):
                return answer
            mesh = self._mesh(wanted)
        except MeshFileError as error:
            return error.message
        shown = reduced(mesh.vertices, mesh.faces, MOST_TO_PICK)
        return PartShown(answer, DisplayMesh(_from_top(mesh, shown.vertices), shown.faces, shown.off_by))

    def _mesh(self, wanted: PartWanted) -> Mesh:
        """The part on the middle of its base, its +Z up. Raises MeshFileError."""
        if wanted not in self._meshes:
            read = load_mesh(Path(wanted.path), units=wanted.units)
            while len(self._meshes) >= MOST_PARTS:
                oldest = next(iter(self._meshes))
                del self._meshes[oldest]
                self._surfaces.pop(oldest, None)
            self._meshes[wanted] = placed_mesh(read, from_="base_centre", up=_up(wanted))
        return self._meshes[wanted]

    def _feature(self, wanted: FeatureWanted) -> FeatureShown | str:
        try:
            mesh = self._mesh(wanted.part)
        except MeshFileError as error:
            return error.message
        if wanted.part not in self._surfaces:
            self._surfaces[wanted.part] = Surface(_from_top(mesh, mesh.vertices), mesh.faces)
        surface = self._surfaces[wanted.part]
        face = _face_at(surface, np.array(wanted.point), np.array(wanted.normal))
        return FeatureShown(wanted.point, feature_at(surface, face))


def _up(wanted: PartWanted) -> Up:
    return next(up for up in UPS if up == wanted.up)


def _from_top(mesh: Mesh, vertices: Array) -> Array:
    """Points of a part on its base, seen from the middle of its top."""
    moved: Array = vertices - np.array([0.0, 0.0, mesh.bounds[1][2]])
    return moved


def _face_at(surface: Surface, point: Array, normal: Array) -> int:
    """The facet that a point of the display mesh was meant on: near it, and looking the same way."""
    corners = surface.vertices[surface.faces]
    nearest = _distances(corners, point)
    looks = surface.normals @ normal
    return int(np.argmin(nearest + np.where(looks > 0.7, 0.0, 5.0 * (1.0 - looks))))


def _distances(corners: Array, point: Array) -> Array:
    """From a point to triangles (n, 3, 3), mm; Ericson, Real-Time Collision Detection, 5.1.5, from memory."""
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    ab, ac, ap = b - a, c - a, point - a
    d1, d2 = (ab * ap).sum(1), (ac * ap).sum(1)
    bp = point - b
    d3, d4 = (ab * bp).sum(1), (ac * bp).sum(1)
    cp = point - c
    d5, d6 = (ab * cp).sum(1), (ac * cp).sum(1)
    va, vb, vc = d3 * d6 - d5 * d4, d5 * d2 - d1 * d6, d1 * d4 - d3 * d2
    total = va + vb + vc
    safe = np.where(np.abs(total) > 1e-30, total, 1.0)
    inside = a + ab * (vb / safe)[:, None] + ac * (vc / safe)[:, None]
    is_in = (va >= 0.0) & (vb >= 0.0) & (vc >= 0.0) & (np.abs(total) > 1e-30)
    on_plane = np.linalg.norm(inside - point, axis=1)
    on_edges = np.minimum(np.minimum(_to_edge(a, b, point), _to_edge(b, c, point)), _to_edge(c, a, point))
    found: Array = np.where(is_in, on_plane, on_edges)
    return found


def _to_edge(p: Array, q: Array, point: Array) -> Array:
    along = q - p
    length = (along * along).sum(1)
    t = np.clip(((point - p) * along).sum(1) / np.where(length > 0.0, length, 1.0), 0.0, 1.0)
    found: Array = np.linalg.norm(p + along * t[:, None] - point, axis=1)
    return found


def _alternatives(orientation: str, bench: Bench | None) -> Iterator[Body]:
    found: list[Proposal] = []
    if bench is None:
        yield Found(ALTERNATIVES, orientation, AlternativesShown(orientation, (), True, "there is no set-up to change"))
        return
    try:
        for one in alternatives(bench, orientation):
            found.append(one)
            yield Found(ALTERNATIVES, orientation, AlternativesShown(orientation, ranked(found), False))
    except TightsideError as error:
        yield Found(ALTERNATIVES, orientation, AlternativesShown(orientation, ranked(found), True, error.message))
        return
    why = "" if found else "nothing that was tried leaves more room"
    yield Found(ALTERNATIVES, orientation, AlternativesShown(orientation, ranked(found), True, why))


def _mesh_in_P(cut: CutKey, bench: Bench) -> tuple[Mesh | None, str, Array]:
    """The mesh of the workpiece that a cut begins with and its name, vertices in P; None with the reason."""
    prepared = Prepared(bench.scene)
    asked = next((c for o, c in bench.scene.cuts() if (o.name, c.name) == cut), None)
    if asked is None:
        return None, "there is no such cut", np.zeros((0, 3))
    workpiece = bench.scene.workpiece_of(asked)
    state = next((s for s in workpiece.states if s.name == asked.state), None)
    zero = prepared.placed.zero_of(bench.scene, workpiece)
    for body in prepared.state_bodies(workpiece, state) if state is not None else ():
        if isinstance(body.shape, MeshShape):
            X_PG = zero.X_CP.inverse() @ body.X_CG
            return body.shape.mesh, body.name, X_PG.points(body.shape.mesh.vertices)
    return None, f"the workpiece of {asked.state} has no mesh: only a part file can be measured", np.zeros((0, 3))


def _workpiece(cut: CutKey, bench: Bench) -> WorkpieceShown:
    try:
        mesh, name, vertices = _mesh_in_P(cut, bench)
    except TightsideError as error:
        return WorkpieceShown(cut, "", None, error.message)
    if mesh is None:
        return WorkpieceShown(cut, "", None, name)
    return WorkpieceShown(cut, name, reduced(vertices, mesh.faces, MOST_TO_PICK))


def _aimed_along(
    direction_P: Vector, cut: CutKey, bench: Bench
) -> tuple[tuple[str, ...], tuple[tuple[tuple[str, float], ...], ...]]:
    """Orientations of the scene that aim along a direction, and positions of the table that do."""
    prepared = Prepared(bench.scene)
    orientation, asked = next((o, c) for o, c in bench.scene.cuts() if (o.name, c.name) == cut)
    places = aimed_at(prepared, orientation, asked, direction_P)
    names = []
    for place in places:
        at = dict(place.angles_deg)
        for other in bench.scene.orientations:
            turned = [
                angle_difference_deg(angle, at[axis]) for axis, angle in other.angles_deg if axis not in place.free
            ]
            if all(abs(turn) < SAME_DEG for turn in turned) and other.name not in names:
                names.append(other.name)
    free = tuple(tuple((a, round(v, 6) + 0.0) for a, v in p.angles_deg) for p in places if not p.outside)
    return tuple(names), free


def _positions(name: str, bench: Bench) -> tuple[Position, ...]:
    """Positions that all cuts of an orientation have in common: they aim alike."""
    prepared = Prepared(bench.scene)
    orientation = next((o for o in bench.scene.orientations if o.name == name), None)
    if orientation is None or not orientation.cuts:
        return ()
    try:
        by_cut = [aimed_at(prepared, orientation, cut) for cut in orientation.cuts]
    except TightsideError:
        return ()
    made = [_position(name, at, dict(orientation.angles_deg)) for at in zip(*by_cut, strict=False)]
    return tuple(sorted(made, key=lambda p: not p.is_now))


def _position(name: str, at: tuple[AimedAt, ...], now: dict[str, float]) -> Position:
    room = room_of([one.room for one in at])
    travel = room.travel
    first = at[0]
    edits = tuple((f"{name}/{axis}", round(angle, 9)) for axis, angle in first.angles_deg if angle != now[axis])
    return Position(
        angles_deg=first.angles_deg,
        edits=edits,
        is_now=first.is_now,
        verdict=Verdict.HITS if first.outside else room.verdict,
        spare=room.pair.spare if room.pair is not None else None,
        keep_off=room.pair.keep_off if room.pair is not None else 0.0,
        travel_left=travel.least_left if travel is not None else None,
        outside=first.outside,
        why=room.why or (f"{first.outside[0]} is outside its limits" if first.outside else ""),
    )
