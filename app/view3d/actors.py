"""Bodies as things that the graphics library draws: one pair of faces and edges for each body id.

1. A pose that changes sets a matrix; a paint that changes sets a property; a mesh that changes makes its body anew.
2. Edges are those with a fold and the outline as the camera sees it, so they follow the camera.
3. What is made of a mesh is kept by its key: bodies of the same mesh share it.
4. What this file does not know: windows, cameras beyond where their eye is, labels.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray
from vtkmodules.util.numpy_support import numpy_to_vtk, numpy_to_vtkIdTypeArray
from vtkmodules.vtkCommonCore import vtkPoints
from vtkmodules.vtkCommonDataModel import vtkCellArray, vtkImageData, vtkPlane, vtkPolyData
from vtkmodules.vtkCommonMath import vtkMatrix4x4
from vtkmodules.vtkFiltersCore import (
    vtkCleanPolyData,
    vtkCutter,
    vtkFlyingEdges3D,
    vtkPolyDataConnectivityFilter,
    vtkPolyDataNormals,
    vtkWindowedSincPolyDataFilter,
)
from vtkmodules.vtkFiltersHybrid import vtkPolyDataSilhouette
from vtkmodules.vtkRenderingCore import vtkActor, vtkPolyDataMapper, vtkProperty, vtkRenderer

from app.view3d.cameras import Camera
from app.view3d.display_meshes import DisplayMesh
from app.view3d.drawn import DrawnBody, Shell, ShellPaint
from app.view3d.looks import rgb
from app.view3d.styles import Surface
from kinematics.pose import Pose, Vector

# the library has no types for these
to_vtk: Callable[..., Any] = numpy_to_vtk
_to_ids: Callable[..., Any] = numpy_to_vtkIdTypeArray

FOLD_DEG = 30.0  # two triangles that meet at more than this meet at an edge
OVER_WIDTH = 0.7  # of edges that are drawn over what hides them, in pixels of the design
PICKED_WIDTH = 3.0
HATCH_STEP = 7.0  # mm between the lines of a hatched shell
HATCH_WIDTH = 1.0
HATCH_NORMAL = (0.5, 0.35, 0.79)  # no face of a usual set-up is parallel to it
SHELL_OPACITY = 0.14
N_SMOOTH = 20  # rounds of smoothing of a shell, whose grid is coarse


class Meshes:
    """What is made of meshes, by key: corners joined, and normals for smooth faces."""

    def __init__(self) -> None:
        self._made: dict[str, tuple[vtkPolyData, vtkPolyData]] = {}

    def add(self, meshes: Mapping[str, DisplayMesh]) -> None:
        for key, mesh in meshes.items():
            if key not in self._made:
                joined = _joined(_poly_data(mesh))
                self._made[key] = joined, _smooth(joined)

    def forget(self, keys: frozenset[str]) -> None:
        for key in keys:
            self._made.pop(key, None)

    def __getitem__(self, key: str) -> tuple[vtkPolyData, vtkPolyData]:
        return self._made[key]

    def __len__(self) -> int:
        return len(self._made)


class Actors:
    """The actors of a scene in a renderer, and in one for edges that go over everything."""

    def __init__(self, renderer: vtkRenderer, over: vtkRenderer, scale: float) -> None:
        self.meshes = Meshes()
        self.scale = scale
        self.made = 0  # bodies that were made, for tests
        self._renderer, self._over = renderer, over
        self._by_id: dict[str, _BodyActors] = {}
        self._shell: _ShellActors | None = None

    def show(self, bodies: Sequence[DrawnBody]) -> None:
        """Show these bodies and no others: only what is different changes. Their meshes are known."""
        wanted = {body.id: body for body in bodies}
        for gone in self._by_id.keys() - wanted.keys():
            self._by_id.pop(gone).leave(self._renderer, self._over)
        for body in bodies:
            kept = self._by_id.get(body.id)
            if kept is not None and kept.mesh != body.mesh:
                kept.leave(self._renderer, self._over)
                kept = None
            if kept is None:
                kept = self._by_id[body.id] = _BodyActors(body.mesh, self.meshes[body.mesh])
                kept.enter(self._renderer)
                self.made += 1
            kept.show(body, self.scale, self._over)

    def show_shell(self, shell: Shell | None, paint: ShellPaint) -> None:
        """Show a swept room, or none."""
        if self._shell is not None and (shell is None or shell.key != self._shell.key):
            self._shell.leave(self._renderer)
            self._shell = None
        if shell is not None:
            if self._shell is None:
                self._shell = _ShellActors(shell)
                self._shell.enter(self._renderer)
            self._shell.paint(paint, self.scale)

    def set_scale(self, scale: float) -> None:
        """Draw lines so many pixels wide for one of the design."""
        for actor in self._lines():
            shown = actor.GetProperty()
            shown.SetLineWidth(shown.GetLineWidth() * scale / self.scale)
        self.scale = scale

    def _lines(self) -> Iterator[vtkActor]:
        for body in self._by_id.values():
            yield body.edges
            if body.through is not None:
                yield body.through
        if self._shell is not None:
            yield self._shell.hatch
            yield self._shell.rim

    def aim(self, camera: Camera) -> None:
        """Find the outlines as a camera sees them."""
        for body in self._by_id.values():
            body.aim(camera)
        if self._shell is not None:
            self._shell.aim(camera)

    @property
    def ids(self) -> tuple[str, ...]:
        return tuple(self._by_id)

    def flat(self) -> _Flat:
        """While this is entered, faces are drawn in flat colours that tell their body: its place in `ids` plus 1."""
        return _Flat(self)

    def each(self) -> Iterator[_BodyActors]:
        yield from self._by_id.values()

    @property
    def shell(self) -> _ShellActors | None:
        return self._shell


class _Flat:
    def __init__(self, actors: Actors) -> None:
        self._actors = actors

    def __enter__(self) -> None:
        for i, body in enumerate(self._actors.each(), start=1):
            body.be_flat((i & 255, i >> 8, 0))
        if self._actors.shell is not None:
            self._actors.shell.set_visible(visible=False)

    def __exit__(self, *_: object) -> None:
        for body in self._actors.each():
            body.be_shown()
        if self._actors.shell is not None:
            self._actors.shell.set_visible(visible=True)


class _BodyActors:
    """Faces and edges of one body."""

    def __init__(self, mesh: str, data: tuple[vtkPolyData, vtkPolyData]) -> None:
        self.mesh = mesh
        self._matrix = vtkMatrix4x4()
        self._pose: Pose | None = None
        self._surface: Surface | None = None
        self.faces = vtkActor()
        mapper = vtkPolyDataMapper()
        mapper.SetInputData(data[1])
        mapper.SetRelativeCoincidentTopologyPolygonOffsetParameters(1.0, 2.0)
        self.faces.SetMapper(mapper)
        self._outline = outline_of(data[0])
        self.edges = self._lines()
        self.through: vtkActor | None = None
        self._shown = self.faces.GetProperty()
        self._flat = flat_property()

    def _lines(self) -> vtkActor:
        mapper = vtkPolyDataMapper()
        mapper.SetInputConnection(self._outline.GetOutputPort())
        lines = vtkActor()
        lines.SetMapper(mapper)
        lines.SetUserMatrix(self._matrix)
        lines.GetProperty().LightingOff()
        lines.PickableOff()
        return lines

    def enter(self, renderer: vtkRenderer) -> None:
        self.faces.SetUserMatrix(self._matrix)
        renderer.AddActor(self.faces)
        renderer.AddActor(self.edges)

    def leave(self, renderer: vtkRenderer, over: vtkRenderer) -> None:
        renderer.RemoveActor(self.faces)
        renderer.RemoveActor(self.edges)
        if self.through is not None:
            over.RemoveActor(self.through)

    def show(self, body: DrawnBody, scale: float, over: vtkRenderer) -> None:
        if self._pose is None or body.X_WG is not self._pose:
            _set_matrix(self._matrix, body.X_WG)
            self._pose = body.X_WG
        if self._surface != body.surface:
            _paint_faces(self._shown, body.surface)
            self.edges.GetProperty().SetColor(*rgb(body.surface.edge))
            self._surface = body.surface
        self._shown.SetOpacity(body.opacity or 1.0)
        self._shown.SetBackfaceCulling(body.opacity < 1.0)
        self.faces.SetVisibility(body.opacity > 0.0)
        # where two bodies share an edge, that of the pair is seen
        nearer = -6.0 if body.is_pair else -2.0
        self.edges.GetMapper().SetRelativeCoincidentTopologyLineOffsetParameters(0.0, nearer)
        width = max(body.edge_width, PICKED_WIDTH) if body.is_picked else body.edge_width
        self.edges.GetProperty().SetLineWidth(width * scale)
        if body.is_over and self.through is None:
            self.through = self._lines()
            over.AddActor(self.through)
        if self.through is not None:
            self.through.SetVisibility(body.is_over)
            self.through.GetProperty().SetLineWidth(OVER_WIDTH * scale)

    def paint_over(self, colour: str) -> None:
        """The colour of edges that go over everything."""
        if self.through is not None:
            self.through.GetProperty().SetColor(*rgb(colour))

    def aim(self, camera: Camera) -> None:
        assert self._pose is not None, "a body is shown before it is looked at"
        aim_outline(self._outline, camera, self._pose)

    def be_flat(self, colour: tuple[int, int, int]) -> None:
        self._flat.SetColor(*(c / 255.0 for c in colour))
        self.faces.SetProperty(self._flat)
        self.edges.VisibilityOff()

    def be_shown(self) -> None:
        self.faces.SetProperty(self._shown)
        self.edges.VisibilityOn()


class _ShellActors:
    """Swept room: a skin that one sees through, lines of equal distance along a slant, and its outline."""

    def __init__(self, shell: Shell) -> None:
        self.key = shell.key
        data = _skin(shell)
        self._outline = outline_of(data, fold_deg=80.0)
        cut = vtkCutter()
        plane = vtkPlane()
        plane.SetNormal(*HATCH_NORMAL)
        cut.SetCutFunction(plane)
        cut.SetInputData(data)
        corners = np.array(shell.origin) + shell.step * np.array(
            [[i * shell.taken.shape[0], j * shell.taken.shape[1], k * shell.taken.shape[2]] for i in (0, 1)
             for j in (0, 1) for k in (0, 1)]
        )  # fmt: skip
        heights = corners @ np.array(HATCH_NORMAL) / np.linalg.norm(HATCH_NORMAL)
        low, high = float(heights.min()), float(heights.max())
        cut.GenerateValues(max(2, round((high - low) / HATCH_STEP)), low, high)
        self.skin, self.hatch, self.rim = vtkActor(), vtkActor(), vtkActor()
        for actor, source in ((self.hatch, cut), (self.rim, self._outline)):
            mapper = vtkPolyDataMapper()
            mapper.SetInputConnection(source.GetOutputPort())
            mapper.ScalarVisibilityOff()
            mapper.SetRelativeCoincidentTopologyLineOffsetParameters(0.0, -2.0)
            actor.SetMapper(mapper)
            actor.GetProperty().LightingOff()
        mapper = vtkPolyDataMapper()
        mapper.SetInputData(data)
        mapper.ScalarVisibilityOff()
        self.skin.SetMapper(mapper)
        self.skin.GetProperty().SetOpacity(SHELL_OPACITY)
        self.skin.GetProperty().SetBackfaceCulling(True)
        self.skin.GetProperty().LightingOff()

    def enter(self, renderer: vtkRenderer) -> None:
        for actor in (self.skin, self.hatch, self.rim):
            renderer.AddActor(actor)

    def leave(self, renderer: vtkRenderer) -> None:
        for actor in (self.skin, self.hatch, self.rim):
            renderer.RemoveActor(actor)

    def set_visible(self, *, visible: bool) -> None:
        for actor in (self.skin, self.hatch, self.rim):
            actor.SetVisibility(visible)

    def paint(self, paint: ShellPaint, scale: float) -> None:
        self.skin.GetProperty().SetColor(*rgb(paint.skin))
        for actor, width in ((self.hatch, HATCH_WIDTH), (self.rim, 1.5 * HATCH_WIDTH)):
            actor.GetProperty().SetColor(*rgb(paint.hatch))
            actor.GetProperty().SetLineWidth(width * scale)

    def aim(self, camera: Camera) -> None:
        _aim(self._outline, camera, camera.eye, camera.towards)


# --- properties and outlines --------------------------------------------------------------------


def flat_property() -> vtkProperty:
    """Without light, all of it to be seen."""
    flat: vtkProperty = vtkActor().GetProperty()
    flat.LightingOff()
    return flat


def _paint_faces(shown: vtkProperty, surface: Surface) -> None:
    """From `unlit` where a face turns away from the light to `lit` where it faces it."""
    unlit, lit = rgb(surface.unlit), rgb(surface.lit)
    shown.SetAmbientColor(*unlit)
    shown.SetDiffuseColor(*(max(0.0, b - a) for a, b in zip(unlit, lit, strict=True)))
    shown.SetAmbient(1.0)
    shown.SetDiffuse(1.0)
    shown.SetSpecular(0.0)


def outline_of(data: vtkPolyData, *, fold_deg: float = FOLD_DEG) -> vtkPolyDataSilhouette:
    """The edges of a mesh with a fold, and its outline."""
    outline = vtkPolyDataSilhouette()
    outline.SetInputData(data)
    outline.SetEnableFeatureAngle(1)
    outline.SetFeatureAngle(fold_deg)
    return outline


def aim_outline(outline: vtkPolyDataSilhouette, camera: Camera, X_WG: Pose) -> None:
    """Take the outline of a mesh in its frame G as a camera in W sees it."""
    X_GW = X_WG.inverse()
    eye = X_GW.points(camera.eye)
    _aim(outline, camera, (float(eye[0]), float(eye[1]), float(eye[2])), X_GW.direction(camera.towards))


def _aim(outline: vtkPolyDataSilhouette, camera: Camera, eye: Vector, towards: Vector) -> None:
    if camera.angle_deg is None:
        outline.SetDirectionToSpecifiedVector()
        outline.SetVector(*(-v for v in towards))
    else:
        outline.SetDirectionToSpecifiedOrigin()
        outline.SetOrigin(*eye)


def _set_matrix(matrix: vtkMatrix4x4, X_WG: Pose) -> None:
    rows = np.column_stack([X_WG.R_AB, X_WG.p_AB])
    matrix.DeepCopy((*rows.ravel().tolist(), 0.0, 0.0, 0.0, 1.0))


# --- from our values to those of the library ----------------------------------------------------


def _poly_data(mesh: DisplayMesh) -> vtkPolyData:
    points = vtkPoints()
    points.SetData(to_vtk(np.ascontiguousarray(mesh.vertices), deep=1))
    cells = vtkCellArray()
    n = len(mesh.faces)
    offsets = np.arange(0, 3 * n + 1, 3, dtype=np.int64)
    cells.SetData(_ids(offsets), _ids(mesh.faces.astype(np.int64).ravel()))
    data = vtkPolyData()
    data.SetPoints(points)
    data.SetPolys(cells)
    return data


def _ids(values: NDArray[np.int64]) -> Any:
    return _to_ids(values, deep=1)


def _joined(data: vtkPolyData) -> vtkPolyData:
    """Corners at one place made one, so that faces know their neighbours."""
    clean = vtkCleanPolyData()
    clean.SetInputData(data)
    clean.SetTolerance(0.0)
    clean.Update()
    made: vtkPolyData = clean.GetOutput()
    return made


def _smooth(data: vtkPolyData) -> vtkPolyData:
    normals = vtkPolyDataNormals()
    normals.SetInputData(data)
    normals.SetFeatureAngle(FOLD_DEG)
    normals.SplittingOn()
    normals.ConsistencyOff()
    normals.Update()
    made: vtkPolyData = normals.GetOutput()
    return made


def _skin(shell: Shell) -> vtkPolyData:
    """The outer skin of swept room, smoothed over the steps of its grid."""
    image = vtkImageData()
    image.SetDimensions(*shell.taken.shape)
    image.SetOrigin(*shell.origin)
    image.SetSpacing(shell.step, shell.step, shell.step)
    image.GetPointData().SetScalars(to_vtk(np.ascontiguousarray(shell.taken.transpose(2, 1, 0)).ravel(), deep=1))
    edges = vtkFlyingEdges3D()
    edges.SetInputData(image)
    edges.SetValue(0, 127.5)
    edges.ComputeNormalsOff()
    edges.ComputeScalarsOff()
    largest = vtkPolyDataConnectivityFilter()
    largest.SetInputConnection(edges.GetOutputPort())
    largest.SetExtractionModeToLargestRegion()
    smooth = vtkWindowedSincPolyDataFilter()
    smooth.SetInputConnection(largest.GetOutputPort())
    smooth.SetNumberOfIterations(N_SMOOTH)
    smooth.SetPassBand(0.05)
    smooth.Update()
    made: vtkPolyData = smooth.GetOutput()
    return made
