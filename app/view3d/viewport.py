"""The window that bodies are drawn in, off the screen: it owns the render window and hands out pixels.

1. Draws when it is asked, never by itself. One viewport in a process; `close` lets go of the render window.
2. No smoothing by the graphics library: it is wrong on some software drivers. A picture is drawn FINER times as
   large and reduced instead.
3. What each pixel shows, and how far away it is, comes from a drawing of its own in flat colours, COARSER times
   smaller: for labels that look for a free place, for picking, for shade where bodies meet.
4. Rows of pixels are counted from below, as points of a picture are.
5. What this file does not know: set-ups, reports, labels.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from importlib import import_module
from typing import Any

import numpy as np
from numpy.typing import NDArray
from vtkmodules.util.numpy_support import vtk_to_numpy
from vtkmodules.vtkCommonCore import vtkFloatArray, vtkUnsignedCharArray
from vtkmodules.vtkRenderingCore import vtkLight, vtkMapper, vtkRenderer, vtkRenderWindow

from app.view3d.actors import Actors
from app.view3d.cameras import Camera, Size
from app.view3d.contact_shade import contact_shade
from app.view3d.hatching import hatched
from app.view3d.looks import rgb

# what draws windows and letters; the names above find it once it is loaded
for _module in ("vtkmodules.vtkRenderingOpenGL2", "vtkmodules.vtkRenderingFreeType"):
    import_module(_module)

Pixels = NDArray[np.uint8]
_to_numpy: Callable[..., Any] = vtk_to_numpy  # the library has no types for it

FINER = 2  # how many times as large a picture is drawn, each way
COARSER = 2  # how many times smaller than the picture the drawing in flat colours is
NEAREST = 0.2  # of the way from the eye to the focus: what is nearer is not drawn


@dataclass(frozen=True, slots=True, eq=False)
class Cover:
    """What the pixels of a picture show, COARSER times smaller each way, the lowest row first.

    Parameters
    ----------
    body : (rows, columns) place of the body in the actors' `ids` plus 1; 0 for the ground.
    depth : (rows, columns) how far each lies before the focus, mm; NaN for the ground.
    """

    body: NDArray[np.uint16]
    depth: NDArray[np.float32]


class Viewport:
    """Bodies on a flat ground. Raises nothing; without OpenGL the library ends the process."""

    def __init__(self, *, ground: str, over: str, scale: float) -> None:
        self.window = vtkRenderWindow()
        self.window.SetOffScreenRendering(1)
        self.window.SetMultiSamples(0)
        self.window.SetDPI(72)  # so that a letter's size is in pixels
        self.renderer = vtkRenderer()
        self.window.SetNumberOfLayers(2)
        self.window.AddRenderer(self.renderer)
        vtkMapper.SetResolveCoincidentTopologyToPolygonOffset()
        self.over = vtkRenderer()  # edges where bodies hide the gap: over everything, same camera
        self.over.SetLayer(1)
        self.over.SetActiveCamera(self.renderer.GetActiveCamera())
        self.over.InteractiveOff()
        self.window.AddRenderer(self.over)
        self.actors = Actors(self.renderer, self.over, scale)
        self.camera: Camera | None = None
        self.paint(ground, over)
        self._light()

    def close(self) -> None:
        self.window.Finalize()

    def paint(self, ground: str, over: str) -> None:
        """The colours of the ground and of edges that go over everything."""
        self.renderer.SetBackground(*rgb(ground))
        for body in self.actors.each():
            body.paint_over(over)
        self._over_colour = over

    def resize(self, size: Size) -> None:
        if tuple(self.window.GetSize()) != size:
            self.window.SetSize(*size)

    def _light(self) -> None:
        """One light over the viewer's left shoulder, one from the eye."""
        for x, y, strength in ((-0.6, 0.9, 0.65), (0.0, 0.0, 0.35)):
            light = vtkLight()
            light.SetLightTypeToCameraLight()
            light.SetPosition(x, y, 1.0)
            light.SetFocalPoint(0.0, 0.0, 0.0)
            light.SetIntensity(strength)
            self.renderer.AddLight(light)

    def show_in(self, x0: int, y0: int, x1: int, y1: int) -> None:
        """Show the bodies in this part of the window."""
        width, height = self.window.GetSize()
        for renderer in (self.renderer, self.over):
            renderer.SetViewport(x0 / width, y0 / height, x1 / width, y1 / height)

    def aim(self, camera: Camera) -> None:
        """Look through a camera from now on."""
        self.camera = camera
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

    def pixels(self, size: Size) -> Pixels:
        """The pixels (height, width, 4) of the part of the window from its lower left corner, the lowest row first."""
        assert self.camera is not None, "a viewport is aimed before it draws"
        self.actors.aim(self.camera)
        for body in self.actors.each():
            body.paint_over(self._over_colour)
        self._render()
        taken = vtkUnsignedCharArray()
        self.window.GetRGBACharPixelData(0, 0, size[0] - 1, size[1] - 1, 0, taken, 0)
        return np.asarray(_to_numpy(taken)).reshape(size[1], size[0], 4)

    def drawn(self, size: Size) -> Pixels:
        """A picture of a size as it is, without any smoothing."""
        self.resize(size)
        self.show_in(0, 0, *size)
        return self._hatched(self.pixels(size), size)

    def drawn_smooth(self, size: Size) -> Pixels:
        """A picture of a size, drawn larger and reduced."""
        finer = (FINER * size[0], FINER * size[1])
        scale = self.actors.scale
        self.actors.set_scale(FINER * scale)
        self.resize(finer)
        self.show_in(0, 0, *finer)
        picture = reduced(self._hatched(self.pixels(finer), finer))
        self.actors.set_scale(scale)
        return picture

    def _hatched(self, pixels: Pixels, size: Size) -> Pixels:
        """The picture with the shell hatched over what it surrounds, where nothing stands before it."""
        shell = self.actors.shell
        if shell is None:
            return pixels
        seen = vtkUnsignedCharArray()
        with self._on_black(), self.actors.only_shell():
            self._render()
            self.window.GetRGBACharPixelData(0, 0, size[0] - 1, size[1] - 1, 0, seen, 0)
        is_shell = np.asarray(_to_numpy(seen)).reshape(size[1], size[0], 4)[..., 0] > 127
        return hatched(pixels, is_shell, shell.colours, self.actors.scale)

    def drawn_fine(self, size: Size) -> tuple[Pixels, Cover]:
        """A picture of a size, smooth, with shade where bodies meet; and what its pixels show."""
        cover = self.cover(size)
        picture = self.drawn_smooth(size)
        shade = contact_shade(cover.depth, cover.body > 0, self.mm_per_pixel(size) * COARSER)
        return shaded(picture, shade), cover

    def mm_per_pixel(self, size: Size) -> float:
        """How much one pixel of a picture shows at the focus, mm."""
        assert self.camera is not None, "a viewport is aimed before it draws"
        return self.camera.height / size[1]

    def cover(self, size: Size) -> Cover:
        """What the pixels of a picture of a size show."""
        assert self.camera is not None, "a viewport is aimed before it draws"
        small = (max(1, size[0] // COARSER), max(1, size[1] // COARSER))
        self.resize(small)
        self.show_in(0, 0, *small)
        colours, depths = vtkUnsignedCharArray(), vtkFloatArray()
        with self._on_black(), self.actors.flat():
            self._render()
            self.window.GetRGBACharPixelData(0, 0, small[0] - 1, small[1] - 1, 0, colours, 0)
            self.window.GetZbufferData(0, 0, small[0] - 1, small[1] - 1, depths)
        flat = np.asarray(_to_numpy(colours)).reshape(small[1], small[0], 4)
        body = flat[..., 0].astype(np.uint16) + 256 * flat[..., 1].astype(np.uint16)
        z = np.asarray(_to_numpy(depths)).reshape(small[1], small[0])
        return Cover(body, np.where(body > 0, self._towards_eye(z), np.nan).astype(np.float32))

    @contextmanager
    def _on_black(self) -> Iterator[None]:
        """Black behind everything, and nothing over it."""
        ground = self.renderer.GetBackground()
        self.renderer.SetBackground(0.0, 0.0, 0.0)
        self.over.DrawOff()
        yield
        self.over.DrawOn()
        self.renderer.SetBackground(*ground)

    def _towards_eye(self, z: NDArray[np.float32]) -> NDArray[np.float64]:
        """How far before the focus a depth of the graphics library lies, mm."""
        assert self.camera is not None, "a viewport is aimed before it draws"
        near, far = self.renderer.GetActiveCamera().GetClippingRange()
        deep = z.astype(np.float64)
        if self.camera.angle_deg is None:
            from_eye = near + deep * (far - near)
        else:
            from_eye = near * far / (far - deep * (far - near))
        return np.asarray(self.camera.distance - from_eye)

    def _render(self) -> None:
        self.renderer.ResetCameraClippingRange()
        camera = self.renderer.GetActiveCamera()
        near, far = camera.GetClippingRange()
        if not camera.GetParallelProjection():  # a body beside the eye would leave too few steps of depth for the rest
            camera.SetClippingRange(max(near, NEAREST * camera.GetDistance()), far)
        self.window.Render()


def reduced(pixels: Pixels) -> Pixels:
    """The picture FINER times smaller each way, every pixel the mean of those it stands for."""
    height, width, n = pixels.shape
    total = np.zeros((height // FINER, width // FINER, n), dtype=np.uint16)
    for row in range(FINER):
        for column in range(FINER):
            total += pixels[row::FINER, column::FINER]
    return ((total + FINER * FINER // 2) // (FINER * FINER)).astype(np.uint8)


def shaded(pixels: Pixels, shade: NDArray[np.float32]) -> Pixels:
    """A picture with its colours darkened by a shade (0 none, 1 black) that is COARSER times smaller."""
    height, width, _ = pixels.shape
    fine = shade.repeat(COARSER, axis=0).repeat(COARSER, axis=1)
    fine = np.pad(fine, ((0, max(0, height - fine.shape[0])), (0, max(0, width - fine.shape[1]))), mode="edge")
    found = pixels.copy()
    left = (256.0 * (1.0 - fine[:height, :width])).astype(np.uint16)
    found[..., :3] = (pixels[..., :3] * left[..., None]) >> 8
    return found
