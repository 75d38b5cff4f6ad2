"""The window's drawing process: ``python -m app.view3d.frame_server`` keeps a scene and draws it when it is asked.

1. Runs in a process of its own: drawing can't hold the window up, and where there is no OpenGL it is this process
   that the graphics library ends.
2. Ends when its standard input does. What libraries print goes to standard error.
3. What this file does not know: set-ups, reports, labels, windows.
"""

from __future__ import annotations

import mmap
import os
import pickle
import sys
from typing import BinaryIO

import numpy as np

from app.view3d.frame_order import LENGTH, Finish, FrameDone, FrameOrder, SceneOrder, packed
from app.view3d.viewport import Cover, Viewport


def main() -> None:
    """Answer orders until there are no more."""
    with os.fdopen(os.dup(1), "wb") as answers:
        os.dup2(2, 1)  # what a library prints must not get between the answers
        server = FrameServer()
        while (order := _next(sys.stdin.buffer)) is not None:
            match order:
                case SceneOrder():
                    server.show(order)
                case FrameOrder():
                    answers.write(packed(server.draw(order)))
                    answers.flush()
        server.close()


def _next(orders: BinaryIO) -> object | None:
    head = orders.read(LENGTH.size)
    if len(head) < LENGTH.size:
        return None
    (length,) = LENGTH.unpack(head)
    body = orders.read(length)
    return pickle.loads(body) if len(body) == length else None  # from the process that started this one


class FrameServer:
    """A viewport that follows orders."""

    def __init__(self) -> None:
        self.viewport: Viewport | None = None
        self._file: tuple[str, mmap.mmap] | None = None

    def show(self, order: SceneOrder) -> None:
        """Show other bodies; what is the same stays."""
        if self.viewport is None:
            self.viewport = Viewport(ground=order.ground, over=order.over, scale=order.scale)
        actors = self.viewport.actors
        actors.meshes.add(order.meshes)
        actors.scale = order.scale
        actors.show(order.bodies)
        actors.show_shell(order.shell, order.shell_paint)
        actors.meshes.forget(order.forget)
        self.viewport.paint(order.ground, order.over)

    def draw(self, order: FrameOrder) -> FrameDone:
        """Draw a frame into the file of the order."""
        assert self.viewport is not None, "a scene is shown before it is drawn"
        self.viewport.aim(order.camera)
        cover: Cover | None = None
        match order.finish:
            case Finish.QUICK:
                pixels = self.viewport.drawn(order.size)
            case Finish.SMOOTH:
                pixels = self.viewport.drawn_smooth(order.size)
            case Finish.FINE:
                pixels, cover = self.viewport.drawn_fine(order.size)
        target = self._mapped(order.path)
        width, height = order.size
        n = width * height * 4
        np.frombuffer(target, dtype=np.uint8, count=n).reshape(height, width, 4)[...] = pixels[::-1]
        size = None
        if cover is not None:
            rows, columns = cover.body.shape
            np.frombuffer(target, dtype=np.uint16, count=rows * columns, offset=n).reshape(rows, columns)[...] = (
                cover.body
            )
            size = (columns, rows)
        return FrameDone(order.number, size, self.viewport.actors.ids, self.viewport.actors.made)

    def close(self) -> None:
        if self.viewport is not None:
            self.viewport.close()
        if self._file is not None:
            self._file[1].close()

    def _mapped(self, path: str) -> mmap.mmap:
        if self._file is None or self._file[0] != path:
            if self._file is not None:
                self._file[1].close()
            with open(path, "r+b") as file:
                self._file = path, mmap.mmap(file.fileno(), 0)
        return self._file[1]


if __name__ == "__main__":
    main()
