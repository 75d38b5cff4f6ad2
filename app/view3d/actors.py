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
from vtkmodules.util.numpy_support import numpy_to_vtk
from vtkmodules.vtkCommonDataModel import vtkPolyData
from vtkmodules.vtkCommonMath import vtkMatrix4x4
from vtkmodules.vtkFiltersHybrid import vtkPolyDataSilhouette
from vtkmodules.vtkRenderingCore import vtkActor, vtkPolyDataMapper, vtkProperty, vtkRenderer

from app.view3d.cameras import Camera
from app.view3d.display_meshes import DisplayMesh
from app.view3d.drawn import DrawnBody, Shell, ShellPaint
from app.view3d.looks import rgb
from app.view3d.poly_data import joined, skin, smooth
from app.view3d.styles import Surface
from kinematics.pose import Pose

# the library has no types for these
to_vtk: Callable[..., Any] = numpy_to_vtk

FOLD_DEG = 30.0  # two triangles that meet at more than this meet at an edge
REDUCED_FOLD_DEG = 55.0  # the same in a mesh that was reduced, whose faces are less even
OVER_WIDTH = 0.7  # of edges that are drawn over what hides them, in pixels of the design
PICKED_WIDTH = 3.0


class Meshes:
    """What is made of meshes, by key: corners joined, and normals for smooth faces."""

    def __init__(self) -> None:
        self._made: dict[str, tuple[vtkPolyData, vtkPolyData, float]] = {}

    def add(self, meshes: Mapping[str, DisplayMesh]) -> None:
        for key, mesh in meshes.items():
            if key not in self._made:
                whole = joined(mesh)
                fold_deg = FOLD_DEG if mesh.off_by is None else REDUCED_FOLD_DEG
                self._made[key] = whole, smooth(whole, fold_deg), fold_deg

    def forget(self, keys: frozenset[str]) -> None:
        for key in keys:
            self._made.pop(key, None)

    def __getitem__(self, key: str) -> tuple[vtkPolyData, vtkPolyData, float]:
        """Corners joined, with normals, and at what angle two triangles meet at an edge."""
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
            self._shell.colours = paint

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

    def aim(self, camera: Camera) -> None:
        """Find the outlines as a camera sees them."""
        for body in self._by_id.values():
            body.aim(camera)

    @property
    def ids(self) -> tuple[str, ...]:
        return tuple(self._by_id)

    def flat(self) -> _Flat:
        """While this is entered, faces are drawn in flat colours that tell their body: its place in `ids` plus 1."""
        return _Flat(self)

    def only_shell(self) -> _OnlyShell:
        """While this is entered, the shell is white and all else black."""
        return _OnlyShell(self)

    def each(self) -> Iterator[_BodyActors]:
        yield from self._by_id.values()

    def items(self) -> Iterator[tuple[str, _BodyActors]]:
        yield from self._by_id.items()

    @property
    def shell(self) -> _ShellActors | None:
        return self._shell


class _Flat:
    def __init__(self, actors: Actors) -> None:
        self._actors = actors

    def __enter__(self) -> None:
        for i, body in enumerate(self._actors.each(), start=1):
            body.be_flat((i & 255, i >> 8, 0))

    def __exit__(self, *_: object) -> None:
        for body in self._actors.each():
            body.be_shown()


class _OnlyShell:
    def __init__(self, actors: Actors) -> None:
        self._actors = actors

    def __enter__(self) -> None:
        assert self._actors.shell is not None, "there is a shell"
        for name, body in self._actors.items():
            body.be_flat((0, 0, 0))
            if name in self._actors.shell.turning:  # it is within the room that it sweeps
                body.faces.VisibilityOff()
        self._actors.shell.skin.VisibilityOn()

    def __exit__(self, *_: object) -> None:
        assert self._actors.shell is not None, "there is a shell"
        for body in self._actors.each():
            body.be_shown()
        self._actors.shell.skin.VisibilityOff()


class _BodyActors:
    """Faces and edges of one body."""

    def __init__(self, mesh: str, data: tuple[vtkPolyData, vtkPolyData, float]) -> None:
        self.mesh = mesh
        self._matrix = vtkMatrix4x4()
        self._pose: Pose | None = None
        self._surface: Surface | None = None
        self.faces = vtkActor()
        mapper = vtkPolyDataMapper()
        mapper.SetInputData(data[1])
        mapper.SetRelativeCoincidentTopologyPolygonOffsetParameters(1.0, 2.0)
        self.faces.SetMapper(mapper)
        self._outline = outline_of(data[0], data[2])
        self.edges = self._lines()
        self.through: vtkActor | None = None
        self._shown = self.faces.GetProperty()
        self._has_faces = True
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
        self._has_faces = body.opacity > 0.0
        self.faces.SetVisibility(self._has_faces)
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
        self.faces.SetVisibility(self._has_faces)
        self.edges.VisibilityOn()


class _ShellActors:
    """Swept room: a skin that is drawn by itself, to be hatched."""

    def __init__(self, shell: Shell) -> None:
        self.key = shell.key
        self.turning = shell.turning
        self.colours = ShellPaint("#000000", "#000000")
        mapper = vtkPolyDataMapper()
        mapper.SetInputData(skin(shell))
        mapper.ScalarVisibilityOff()
        self.skin = vtkActor()
        self.skin.SetMapper(mapper)
        self.skin.SetProperty(flat_property())
        self.skin.GetProperty().SetColor(1.0, 1.0, 1.0)
        self.skin.VisibilityOff()

    def enter(self, renderer: vtkRenderer) -> None:
        renderer.AddActor(self.skin)

    def leave(self, renderer: vtkRenderer) -> None:
        renderer.RemoveActor(self.skin)


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


def outline_of(data: vtkPolyData, fold_deg: float) -> vtkPolyDataSilhouette:
    """The edges of a mesh with a fold, and its outline."""
    outline = vtkPolyDataSilhouette()
    outline.SetInputData(data)
    outline.SetEnableFeatureAngle(1)
    outline.SetFeatureAngle(fold_deg)
    return outline


def aim_outline(outline: vtkPolyDataSilhouette, camera: Camera, X_WG: Pose) -> None:
    """Take the outline of a mesh in its frame G as a camera in W sees it."""
    X_GW = X_WG.inverse()
    if camera.angle_deg is None:
        outline.SetDirectionToSpecifiedVector()
        outline.SetVector(*(-v for v in X_GW.direction(camera.towards)))
    else:
        outline.SetDirectionToSpecifiedOrigin()
        outline.SetOrigin(*X_GW.points(camera.eye).tolist())


def _set_matrix(matrix: vtkMatrix4x4, X_WG: Pose) -> None:
    rows = np.column_stack([X_WG.R_AB, X_WG.p_AB])
    matrix.DeepCopy((*rows.ravel().tolist(), 0.0, 0.0, 0.0, 1.0))
