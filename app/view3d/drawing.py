"""Draws the pictures that it is handed: ``python -m app.view3d.drawing`` reads orders and answers with pictures.

1. Runs in a process of its own: where the machine has no OpenGL the libraries below end the process.
2. Orders come pickled on standard input; each picture goes out pickled on standard output as soon as it is
   drawn. What libraries print goes to standard error.
3. A picture is drawn FINER times as large and reduced: smoothing by the graphics library is wrong on some
   software drivers, this is not.
4. Each body is faces and edges. Edges are those with a fold and the outline as the camera sees it.
5. What this file does not know: set-ups, reports, where to look from.
"""

from __future__ import annotations

import os
import pickle
import sys
from collections.abc import Callable, Sequence
from importlib import import_module
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from vtkmodules.util.numpy_support import numpy_to_vtk, numpy_to_vtkIdTypeArray, vtk_to_numpy
from vtkmodules.vtkCommonCore import vtkPoints
from vtkmodules.vtkCommonDataModel import vtkCellArray, vtkImageData, vtkPolyData
from vtkmodules.vtkFiltersCore import vtkCleanPolyData, vtkPolyDataNormals
from vtkmodules.vtkFiltersHybrid import vtkPolyDataSilhouette
from vtkmodules.vtkIOImage import vtkPNGWriter
from vtkmodules.vtkRenderingCore import (
    vtkActor,
    vtkActor2D,
    vtkLight,
    vtkMapper,
    vtkPolyDataMapper,
    vtkPolyDataMapper2D,
    vtkRenderer,
    vtkRenderWindow,
    vtkTextActor,
    vtkTextProperty,
    vtkTextRenderer,
    vtkTexture,
    vtkTexturedActor2D,
    vtkWindowToImageFilter,
)

from app.view3d.cameras import Camera
from app.view3d.caption import STRIP, caption_items
from app.view3d.gap_mark import Area, Canvas, Cover, Glass, Item, Point, Rect, Stroke, Words, gap_mark
from app.view3d.picture_order import Picture, PictureOrder
from app.view3d.scene_meshes import PAIR, DisplayBody, Role
from app.view3d.styles import EDGE_ELSE, PALETTES, Palette, Surface

# what draws windows and letters; the names above find it once it is loaded
for _module in ("vtkmodules.vtkRenderingOpenGL2", "vtkmodules.vtkRenderingFreeType"):
    import_module(_module)

Pixels = NDArray[np.uint8]
# the library has no types for these
_to_vtk: Callable[..., Any] = numpy_to_vtk
_to_ids: Callable[..., Any] = numpy_to_vtkIdTypeArray
_to_numpy: Callable[..., Any] = vtk_to_numpy


FINER = 2  # how many times as large a picture is drawn, each way
NEAREST = 0.2  # of the way from the eye to the focus: what is nearer is not drawn
COARSER = 4  # how many times smaller a picture is drawn to see where there is room for a label
PALE = 0.35  # how much of a body's colour is left in a body that is to recede further
GHOST = 0.5  # opacity of a body of the pair that stands before the gap
FOLD_DEG = 30.0  # two triangles that meet at more than this meet at an edge
FONTS = Path(__file__).parents[2] / "shared" / "fonts"
REGULAR, BOLD = FONTS / "DejaVuSansCondensed.ttf", FONTS / "DejaVuSansCondensed-Bold.ttf"
_IS_PAIR, _IS_TOOL, _IS_REST = (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)
DESCENT = 0.236  # of the font: how far its letters reach below their base, for each pixel of size


def main() -> None:
    """Answer the orders on standard input, one after the other."""
    with os.fdopen(os.dup(1), "wb") as answers:
        os.dup2(2, 1)  # what a library prints must not get between the answers
        orders: Sequence[PictureOrder] = pickle.load(sys.stdin.buffer)  # from the process that started this one
        for order in orders:
            pickle.dump(draw(order), answers)
            answers.flush()


def draw(order: PictureOrder) -> Picture:
    """One picture."""
    return _Drawing(order).picture()


class _Drawing:
    """A render window with the bodies of one order. Lives for one picture."""

    def __init__(self, order: PictureOrder) -> None:
        self.order = order
        self.palette = PALETTES[order.style]
        width, height = (FINER * n for n in order.size)
        self.scale = FINER * order.scale
        self.strip = round(STRIP * self.scale) if order.caption else 0
        self.size = (width, height - self.strip)  # of the part that shows bodies
        self.window = vtkRenderWindow()
        self.window.SetOffScreenRendering(1)
        self.window.SetSize(width, height)
        self.window.SetMultiSamples(0)
        self.window.SetDPI(72)  # so that a letter's size is in pixels
        self.renderer = vtkRenderer()
        self.window.AddRenderer(self.renderer)
        self._show_in(0, self.strip, width, height)
        self.renderer.SetBackground(*_rgb(self.palette.ground))
        vtkMapper.SetResolveCoincidentTopologyToPolygonOffset()
        self.through = vtkRenderer()  # the pair's edges where bodies hide the gap: over everything, same camera
        self.through.SetLayer(1)
        self.through.SetViewport(0.0, self.strip / height, 1.0, 1.0)
        self.through.SetActiveCamera(self.renderer.GetActiveCamera())
        self.faces: list[tuple[DisplayBody, vtkActor]] = []
        self.edges: list[vtkActor] = []
        self._light()
        self._aim(order.camera)
        for body in order.scene.bodies:
            self._add(body)

    # ---- bodies ------------------------------------------------------------------------------

    def _light(self) -> None:
        """One light over the viewer's left shoulder, one from the eye."""
        for x, y, strength in ((-0.6, 0.9, 0.65), (0.0, 0.0, 0.35)):
            light = vtkLight()
            light.SetLightTypeToCameraLight()
            light.SetPosition(x, y, 1.0)
            light.SetFocalPoint(0.0, 0.0, 0.0)
            light.SetIntensity(strength)
            self.renderer.AddLight(light)

    def _show_in(self, x0: int, y0: int, x1: int, y1: int) -> None:
        """Show the bodies in this part of the window."""
        width, height = (FINER * n for n in self.order.size)
        self.renderer.SetViewport(x0 / width, y0 / height, x1 / width, y1 / height)

    def _aim(self, camera: Camera) -> None:
        seen = self.renderer.GetActiveCamera()
        seen.SetFocalPoint(*camera.focus)
        seen.SetPosition(*camera.eye)
        seen.SetViewUp(*camera.up)
        if camera.angle_deg is None:
            seen.ParallelProjectionOn()
            seen.SetParallelScale(camera.height / 2.0)
        else:
            seen.ParallelProjectionOff()
            seen.SetViewAngle(camera.angle_deg)

    def _add(self, body: DisplayBody) -> None:
        look, edge_width = _surface(body, self.order, self.palette)
        surface = _clean(_poly_data(body))
        if body.name not in self.order.outlined:
            actor = vtkActor()
            actor.SetMapper(_mapper(_smooth(surface)))
            shown = actor.GetProperty()
            shown.SetAmbientColor(*_rgb(look.unlit))
            shown.SetDiffuseColor(*(max(0.0, b - a) for a, b in zip(_rgb(look.unlit), _rgb(look.lit), strict=True)))
            shown.SetAmbient(1.0)
            shown.SetDiffuse(1.0)
            shown.SetSpecular(0.0)
            if body.name in self.order.ghosts:
                shown.SetOpacity(GHOST)
                shown.BackfaceCullingOn()
            self.renderer.AddActor(actor)
            self.faces.append((body, actor))
        outline = vtkPolyDataSilhouette()
        outline.SetInputData(surface)
        outline.SetCamera(self.renderer.GetActiveCamera())
        outline.SetEnableFeatureAngle(1)
        outline.SetFeatureAngle(FOLD_DEG)
        mapper = vtkPolyDataMapper()
        mapper.SetInputConnection(outline.GetOutputPort())
        # where two bodies share an edge, that of the pair is seen
        mapper.SetRelativeCoincidentTopologyLineOffsetParameters(0.0, -6.0 if body.role in PAIR else -2.0)
        lines = vtkActor()
        lines.SetMapper(mapper)
        lines.GetProperty().SetColor(*_rgb(look.edge))
        lines.GetProperty().LightingOff()
        lines.GetProperty().SetLineWidth(edge_width * self.scale)
        self.renderer.AddActor(lines)
        self.edges.append(lines)
        if self.order.is_gap_hidden and body.role in PAIR:
            self.through.AddActor(self._see_through(outline))

    def _see_through(self, outline: vtkPolyDataSilhouette) -> vtkActor:
        mapper = vtkPolyDataMapper()
        mapper.SetInputConnection(outline.GetOutputPort())
        lines = vtkActor()
        lines.SetMapper(mapper)
        lines.GetProperty().SetColor(*_rgb(self.palette.ink))
        lines.GetProperty().LightingOff()
        lines.GetProperty().SetLineWidth(0.7 * self.scale)
        return lines

    # ---- the picture -------------------------------------------------------------------------

    def picture(self) -> Picture:
        order = self.order
        taken = self._taken()
        overlay = vtkRenderer()
        overlay.SetLayer(2)
        overlay.InteractiveOff()
        self.window.SetNumberOfLayers(3)
        items: list[Item] = []
        ends = self._gap_px()
        if ends is not None:
            canvas = Canvas(self.size[0], self.size[1], self.scale, _measured, taken)
            items += gap_mark(
                ends,
                self._true_length_px(),
                order.label,
                canvas,
                is_overlap=order.scene.gap is not None and order.scene.gap.is_overlap,
                with_glass=not order.is_gap_hidden,
            )
        glasses = {item: self._through(item) for item in items if isinstance(item, Glass)}
        self.window.AddRenderer(self.through)
        self.window.AddRenderer(overlay)
        for item in items:
            self._paint(overlay, item, glasses, float(self.strip))
        if order.caption:
            for item in caption_items(order.caption, float(self.size[0]), self.scale, _measured):
                self._paint(overlay, item, {}, 0.0)
        pixels = _reduced(self._rendered())
        self.window.Finalize()
        if ends is not None:
            a, b = ((p[0] / FINER, (p[1] + self.strip) / FINER) for p in ends)
            return Picture(_png(pixels), order.size, (a, b))
        return Picture(_png(pixels), order.size, None)

    def _gap_px(self) -> tuple[Point, Point] | None:
        gap = self.order.scene.gap
        if gap is None:
            return None
        a, b = self.order.camera.pixels(np.array(gap.ends_W), self.size)
        return (float(a[0]), float(a[1])), (float(b[0]), float(b[1]))

    def _true_length_px(self) -> float:
        """How long the gap would be in the picture if it were seen square."""
        gap = self.order.scene.gap
        assert gap is not None, "asked for where there is a gap"
        return float(np.linalg.norm(np.subtract(*gap.ends_W))) * self.size[1] / self.order.camera.height

    def _rendered(self) -> Pixels:
        """The window's pixels (height, width, 3), the lowest row first."""
        self.renderer.ResetCameraClippingRange()
        camera = self.renderer.GetActiveCamera()
        near, far = camera.GetClippingRange()
        if not camera.GetParallelProjection():  # a body beside the eye would leave too few steps of depth for the rest
            camera.SetClippingRange(max(near, NEAREST * camera.GetDistance()), far)
        self.window.Render()
        grab = vtkWindowToImageFilter()
        grab.SetInput(self.window)
        grab.SetInputBufferTypeToRGB()
        grab.ReadFrontBufferOff()
        grab.ShouldRerenderOff()
        grab.Update()
        image: vtkImageData = grab.GetOutput()
        width, height, _ = image.GetDimensions()
        return np.asarray(_to_numpy(image.GetPointData().GetScalars())).reshape(height, width, 3).copy()

    def _taken(self) -> Cover:
        """A function that says how much of a rectangle the pair covers, and, counting less, other bodies."""
        kept = [(actor, actor.GetProperty()) for _, actor in self.faces]
        for line in self.edges:
            line.VisibilityOff()
        for body, actor in self.faces:
            flat = vtkActor().GetProperty()
            flat.LightingOff()
            flat.SetColor(*(_IS_PAIR if body.role in PAIR else _IS_TOOL if body.role is Role.TOOL else _IS_REST))
            actor.SetProperty(flat)
        ground = self.renderer.GetBackground()
        self.renderer.SetBackground(0.0, 0.0, 0.0)
        width, height = (max(1, n // COARSER) for n in self.size)
        self._show_in(0, 0, width, height)
        pixels = self._rendered()[:height, :width]
        self._show_in(0, self.strip, self.size[0], self.strip + self.size[1])
        self.renderer.SetBackground(*ground)
        for actor, shown in kept:
            actor.SetProperty(shown)
        for line in self.edges:
            line.VisibilityOn()
        weight = (pixels[..., 0] > 127) * 1.0 + (pixels[..., 1] > 127) * 0.5 + (pixels[..., 2] > 127) * 0.1
        summed = np.zeros((weight.shape[0] + 1, weight.shape[1] + 1))
        summed[1:, 1:] = weight.cumsum(axis=0).cumsum(axis=1)

        def taken(rect: Rect) -> float:
            x0, x1 = (int(np.clip(v / COARSER, 0, weight.shape[1])) for v in (rect.x0, rect.x1))
            y0, y1 = (int(np.clip(v / COARSER, 0, weight.shape[0])) for v in (rect.y0, rect.y1))
            area = max((x1 - x0) * (y1 - y0), 1)
            return float(summed[y1, x1] - summed[y0, x1] - summed[y1, x0] + summed[y0, x0]) / area

        return taken

    def _through(self, glass: Glass) -> Pixels:
        """The square of pixels that a glass shows, the lowest row first."""
        gap = self.order.scene.gap
        assert gap is not None, "a glass shows a gap"
        camera, side = self.order.camera, 2 * round(glass.radius)
        part = camera.zoomed(glass.zoom * self.size[1] / side, gap.middle_W)
        self._aim(part)
        self._show_in(0, 0, side, side)
        pixels = self._rendered()[:side, :side]
        self._show_in(0, self.strip, self.size[0], self.strip + self.size[1])
        self._aim(camera)
        return np.ascontiguousarray(pixels)

    # ---- what lies over it -------------------------------------------------------------------

    def _colour(self, paint: str) -> str:
        plate = self.palette.verdicts[self.order.label.verdict]
        named = {
            "jaws": self.palette.jaws or plate.fill,
            "gap": plate.fill,
            "on gap": plate.text,
            "ink": self.palette.ink,
            "paper": self.palette.paper,
        }
        return (named | {"quiet": self.palette.quiet, "line": self.palette.line})[paint]

    def _paint(self, renderer: vtkRenderer, item: Item, glasses: dict[Glass, Pixels], up: float) -> None:
        match item:
            case Stroke(points, width, paint):
                thick = [polygon + (0.0, up) for polygon in _thick(np.array(points), width)]
                renderer.AddViewProp(_flat(thick, self._colour(paint)))
            case Area(points, paint):
                renderer.AddViewProp(_flat([np.array(points) + (0.0, up)], self._colour(paint)))
            case Words():
                renderer.AddViewProp(_text(item, up, self._colour(item.paint)))
            case Glass(centre, radius, _, _):
                renderer.AddViewProp(_disc((centre[0], centre[1] + up), radius, glasses[item]))


# --- looks --------------------------------------------------------------------------------------


def _surface(body: DisplayBody, order: PictureOrder, p: Palette) -> tuple[Surface, float]:
    """How a body is painted, and how wide its edges are in pixels of the design."""
    by_role = {
        Role.NEAR_PART: p.near_part,
        Role.NEAR_BODY: p.near_body,
        Role.TOOL: p.tool,
        Role.WORKPIECE: p.workpiece,
        Role.FIXTURE: p.fixture,
        Role.MACHINE: p.machine,
    }
    surface = by_role[body.role]
    if body.name in order.pale - order.outlined:
        surface = Surface(*(_mixed(c, p.ground, 1.0 - PALE) for c in (surface.lit, surface.unlit, surface.edge)))
    if body.name in order.outlined:
        surface = Surface(surface.lit, surface.unlit, _mixed(surface.edge, p.ground, 0.5))
    width = p.edge_width * (1.0 if body.role is Role.NEAR_BODY else EDGE_ELSE)
    return surface, width


def _rgb(colour: str) -> tuple[float, float, float]:
    """#RRGGBB as three numbers from 0 to 1."""
    r, g, b = (int(colour[i : i + 2], 16) / 255.0 for i in (1, 3, 5))
    return r, g, b


def _mixed(a: str, b: str, share: float) -> str:
    """Colour a with a share of colour b."""
    both = zip(_rgb(a), _rgb(b), strict=True)
    return "#" + "".join(f"{round(255 * (x + (y - x) * share)):02X}" for x, y in both)


# --- from our values to those of the library ----------------------------------------------------


def _poly_data(body: DisplayBody) -> vtkPolyData:
    points = vtkPoints()
    points.SetData(_to_vtk(np.ascontiguousarray(body.vertices_W), deep=1))
    cells = vtkCellArray()
    n = len(body.mesh.faces)
    offsets = np.arange(0, 3 * n + 1, 3, dtype=np.int64)
    corners = body.mesh.faces.astype(np.int64).ravel()
    cells.SetData(_ids(offsets), _ids(corners))
    data = vtkPolyData()
    data.SetPoints(points)
    data.SetPolys(cells)
    return data


def _ids(values: NDArray[np.int64]) -> Any:
    return _to_ids(values, deep=1)


def _clean(data: vtkPolyData) -> vtkPolyData:
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


def _mapper(data: vtkPolyData) -> vtkPolyDataMapper:
    mapper = vtkPolyDataMapper()
    mapper.SetInputData(data)
    mapper.SetRelativeCoincidentTopologyPolygonOffsetParameters(1.0, 2.0)
    return mapper


def _thick(points: NDArray[np.float64], width: float) -> list[NDArray[np.float64]]:
    """A line as rectangles, one for each stretch, a little longer than it so that corners close."""
    found = []
    for a, b in pairwise(points):
        length = float(np.linalg.norm(b - a))
        along = (b - a) / length if length > 1e-9 else np.array([1.0, 0.0])
        side, end = width / 2 * np.array([-along[1], along[0]]), width / 2 * along
        found.append(np.array([a - end - side, b + end - side, b + end + side, a - end + side]))
    return found


def _polygons(polygons: Sequence[NDArray[np.float64]]) -> vtkPolyData:
    """Convex polygons in the plane of the picture."""
    points, cells = vtkPoints(), vtkCellArray()
    for corners in polygons:
        cells.InsertNextCell(len(corners))
        for x, y in corners:
            cells.InsertCellPoint(points.InsertNextPoint(float(x), float(y), 0.0))
    data = vtkPolyData()
    data.SetPoints(points)
    data.SetPolys(cells)
    return data


def _flat(polygons: Sequence[NDArray[np.float64]], colour: str) -> vtkActor2D:
    mapper = vtkPolyDataMapper2D()
    mapper.SetInputData(_polygons(polygons))
    actor = vtkActor2D()
    actor.SetMapper(mapper)
    actor.GetProperty().SetColor(*_rgb(colour))
    return actor


def _disc(centre: Point, radius: float, pixels: Pixels) -> vtkTexturedActor2D:
    """A round piece of a picture."""
    angles = 2 * np.pi * np.arange(72) / 72
    unit = np.column_stack([np.cos(angles), np.sin(angles)])
    data = _polygons([np.array(centre) + radius * unit])
    places = _to_vtk(np.ascontiguousarray(0.5 + 0.5 * unit), deep=1)
    places.SetName("places")
    data.GetPointData().SetTCoords(places)
    image = vtkImageData()
    image.SetDimensions(pixels.shape[1], pixels.shape[0], 1)
    image.GetPointData().SetScalars(_to_vtk(pixels.reshape(-1, 3), deep=1))
    texture = vtkTexture()
    texture.SetInputData(image)
    texture.InterpolateOn()
    texture.SetColorModeToDirectScalars()
    mapper = vtkPolyDataMapper2D()
    mapper.SetInputData(data)
    actor = vtkTexturedActor2D()
    actor.SetMapper(mapper)
    actor.SetTexture(texture)
    return actor


def _letters(size: float, *, is_bold: bool) -> vtkTextProperty:
    letters = vtkTextProperty()
    letters.SetFontFamily(4)  # VTK_FONT_FILE
    letters.SetFontFile(str(BOLD if is_bold else REGULAR))
    letters.SetFontSize(max(1, round(size)))
    letters.SetJustificationToLeft()
    letters.SetVerticalJustificationToBottom()
    return letters


def _text(words: Words, up: float, colour: str) -> vtkTextActor:
    letters = _letters(words.size, is_bold=words.is_bold)
    letters.SetColor(*_rgb(colour))
    actor = vtkTextActor()
    actor.SetTextProperty(letters)
    actor.SetInput(words.text)
    actor.SetPosition(words.at[0], words.at[1] + up - DESCENT * words.size)
    return actor


def _measured(words: Words) -> Point:
    box = [0, 0, 0, 0]
    letters = _letters(words.size, is_bold=words.is_bold)
    vtkTextRenderer.GetInstance().GetBoundingBox(letters, words.text, box, 72)
    return float(box[1] - box[0] + 1), float(box[3] - box[2] + 1)


def _reduced(pixels: Pixels) -> Pixels:
    """The picture FINER times smaller each way, every pixel the mean of those it stands for."""
    height, width, n = pixels.shape
    total = np.zeros((height // FINER, width // FINER, n), dtype=np.uint16)
    for row in range(FINER):
        for column in range(FINER):
            total += pixels[row::FINER, column::FINER]
    return ((total + FINER * FINER // 2) // (FINER * FINER)).astype(np.uint8)


def _png(pixels: Pixels) -> bytes:
    image = vtkImageData()
    image.SetDimensions(pixels.shape[1], pixels.shape[0], 1)
    image.GetPointData().SetScalars(_to_vtk(np.ascontiguousarray(pixels.reshape(-1, 3)), deep=1))
    writer = vtkPNGWriter()
    writer.WriteToMemoryOn()
    writer.SetInputData(image)
    writer.Write()
    return bytes(_to_numpy(writer.GetResult()))


if __name__ == "__main__":
    main()
