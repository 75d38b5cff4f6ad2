"""Draws the pictures that it is handed: ``python -m app.view3d.drawing`` reads orders and answers with pictures.

1. Runs in a process of its own: where the machine has no OpenGL the libraries below end the process.
2. Orders come pickled on standard input; each picture goes out pickled on standard output as soon as it is
   drawn. What libraries print goes to standard error.
3. Bodies are drawn by `viewport.py`, which the window uses too, FINER times as large; what lies over them is
   drawn by the graphics library as well, so that a picture needs no window system.
4. What this file does not know: set-ups, reports, where to look from.
"""

from __future__ import annotations

import os
import pickle
import sys
from collections.abc import Callable, Sequence
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from vtkmodules.util.numpy_support import vtk_to_numpy
from vtkmodules.vtkCommonCore import vtkPoints
from vtkmodules.vtkCommonDataModel import vtkCellArray, vtkImageData, vtkPolyData
from vtkmodules.vtkIOImage import vtkPNGWriter
from vtkmodules.vtkRenderingCore import (
    vtkActor2D,
    vtkPolyDataMapper2D,
    vtkRenderer,
    vtkTextActor,
    vtkTextProperty,
    vtkTextRenderer,
    vtkTexture,
    vtkTexturedActor2D,
)

from app.view3d.actors import to_vtk
from app.view3d.caption import STRIP, caption_items
from app.view3d.contact_shade import contact_shade
from app.view3d.drawn import body_id, drawn_bodies, mesh_key, shown_bodies, weight_of
from app.view3d.gap_mark import Area, Canvas, Glass, Item, Point, Stroke, Words, cover_of, gap_mark
from app.view3d.looks import rgb
from app.view3d.picture_order import Picture, PictureOrder
from app.view3d.styles import PALETTES
from app.view3d.viewport import COARSER, FINER, Pixels, Viewport, reduced

_to_numpy: Callable[..., Any] = vtk_to_numpy  # the library has no types for it
FONTS = Path(__file__).parents[2] / "shared" / "fonts"
REGULAR, BOLD = FONTS / "DejaVuSansCondensed.ttf", FONTS / "DejaVuSansCondensed-Bold.ttf"
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
    """A viewport with the bodies of one order, and its strip of text below. Lives for one picture."""

    def __init__(self, order: PictureOrder) -> None:
        self.order = order
        self.palette = PALETTES[order.style]
        self.whole = (FINER * order.size[0], FINER * order.size[1])
        self.scale = FINER * order.scale
        self.strip = round(STRIP * self.scale) if order.caption else 0
        self.size = (self.whole[0], self.whole[1] - self.strip)  # of the part that shows bodies
        self.viewport = Viewport(ground=self.palette.ground, over=self.palette.ink, scale=self.scale)
        bodies = drawn_bodies(shown_bodies(order.scene.bodies), order.look, self.palette)
        self.viewport.actors.meshes.add({mesh_key(b.mesh): b.mesh for b in order.scene.bodies})
        self.viewport.actors.show(bodies)
        self.roles = {body_id(b): b.role for b in order.scene.bodies}
        self.viewport.aim(order.camera)

    # ---- the picture -------------------------------------------------------------------------

    def picture(self) -> Picture:
        order, window = self.order, self.viewport.window
        cover = self.viewport.cover(self.size)
        shade = contact_shade(cover.depth, cover.body > 0, COARSER * self.viewport.mm_per_pixel(self.size))
        self.viewport.resize(self.whole)
        overlay = vtkRenderer()
        overlay.SetLayer(2)
        overlay.InteractiveOff()
        items: list[Item] = []
        ends = self._gap_px()
        if ends is not None:
            weights = np.array([0.0, *(weight_of(self.roles[i]) for i in self.viewport.actors.ids)])
            taken = cover_of(weights[cover.body], COARSER)
            items += gap_mark(
                ends,
                self._true_length_px(),
                order.label,
                Canvas(self.size[0], self.size[1], self.scale, _measured, taken),
                is_overlap=order.scene.gap is not None and order.scene.gap.is_overlap,
                with_glass=not order.look.is_gap_hidden,
            )
        glasses = {item: self._through(item) for item in items if isinstance(item, Glass)}
        window.SetNumberOfLayers(3)
        window.AddRenderer(overlay)
        overlay.AddViewProp(_shade(shade, self.size, float(self.strip)))
        for item in items:
            self._paint(overlay, item, glasses, float(self.strip))
        if order.caption:
            for item in caption_items(order.caption, float(self.size[0]), self.scale, _measured):
                self._paint(overlay, item, {}, 0.0)
        self.viewport.show_in(0, self.strip, *self.whole)
        pixels = reduced(self.viewport.pixels(self.whole)[..., :3])
        self.viewport.close()
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
        return float(np.linalg.norm(np.subtract(*gap.ends_W))) / self.viewport.mm_per_pixel(self.size)

    def _through(self, glass: Glass) -> Pixels:
        """The square of pixels that a glass shows, the lowest row first."""
        gap = self.order.scene.gap
        assert gap is not None, "a glass shows a gap"
        camera, side = self.order.camera, 2 * round(glass.radius)
        self.viewport.aim(camera.zoomed(glass.zoom * self.size[1] / side, gap.middle_W))
        self.viewport.show_in(0, 0, side, side)
        pixels = self.viewport.pixels((side, side))[..., :3]
        self.viewport.aim(camera)
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


# --- from our values to those of the library ----------------------------------------------------


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
    actor.GetProperty().SetColor(*rgb(colour))
    return actor


def _disc(centre: Point, radius: float, pixels: Pixels) -> vtkTexturedActor2D:
    """A round piece of a picture."""
    angles = 2 * np.pi * np.arange(72) / 72
    unit = np.column_stack([np.cos(angles), np.sin(angles)])
    return _textured(np.array(centre) + radius * unit, 0.5 + 0.5 * unit, pixels)


def _textured(corners: NDArray[np.float64], at: NDArray[np.float64], pixels: Pixels) -> vtkTexturedActor2D:
    """A convex polygon that shows a picture; `at` says where in it each corner lies, 0 to 1."""
    data = _polygons([corners])
    places = to_vtk(np.ascontiguousarray(at), deep=1)
    places.SetName("places")
    data.GetPointData().SetTCoords(places)
    image = vtkImageData()
    image.SetDimensions(pixels.shape[1], pixels.shape[0], 1)
    image.GetPointData().SetScalars(to_vtk(pixels.reshape(-1, pixels.shape[2]), deep=1))
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


def _shade(shade: NDArray[np.float32], size: tuple[int, int], up: float) -> vtkTexturedActor2D:
    """Black that lets through what a shade leaves, over the picture."""
    pixels = np.zeros((*shade.shape, 4), dtype=np.uint8)
    pixels[..., 3] = np.round(255.0 * shade)
    corners = np.array([(0.0, up), (size[0], up), (size[0], up + size[1]), (0.0, up + size[1])])
    return _textured(corners, np.array([(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)]), pixels)


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
    letters.SetColor(*rgb(colour))
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


def _png(pixels: Pixels) -> bytes:
    image = vtkImageData()
    image.SetDimensions(pixels.shape[1], pixels.shape[0], 1)
    image.GetPointData().SetScalars(to_vtk(np.ascontiguousarray(pixels.reshape(-1, 3)), deep=1))
    writer = vtkPNGWriter()
    writer.WriteToMemoryOn()
    writer.SetInputData(image)
    writer.Write()
    return bytes(_to_numpy(writer.GetResult()))


if __name__ == "__main__":
    main()
