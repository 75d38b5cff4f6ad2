"""The window's side of its drawing process: sends scenes and cameras, hands out frames as images.

1. Nothing here waits: orders are written and answers read by the event loop. At most one frame is under way, and
   what was asked for meanwhile is asked for once, as it is then.
2. A mesh is sent once; who makes places asks `known`, so that it need not travel to here twice either.
3. Where the process ends by itself it is started again a few times if it had drawn before; else `failed` says why.
4. `close` ends the process and deletes its file. What is asked for after that is ignored.
"""

from __future__ import annotations

import mmap
import os
import pickle
import sys
import tempfile
import time
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QByteArray, QObject, QProcess, QProcessEnvironment, Signal, Slot
from PySide6.QtGui import QImage

from app.view3d.cameras import Camera, Size
from app.view3d.display_meshes import DisplayMesh
from app.view3d.drawn import DrawnBody, Shell, ShellPaint
from app.view3d.frame_order import LENGTH, Finish, FrameDone, FrameOrder, SceneOrder, packed, room_for
from app.view3d.pictures import CAN_NOT, drawing_environment, reason_of

IN_MEMORY = Path("/dev/shm")  # where there is one, a file in it never reaches a disk
SERVER = ("-m", "app.view3d.frame_server")
MOST_MESHES = 64  # that are kept without being shown
MOST_STARTS = 3
ENDING_MS = 1500
SLOW_SECONDS = 0.06  # a quick frame that took longer is followed by a coarser one
FAST_SECONDS = 0.02
COARSEST = 4  # times smaller each way


@dataclass(frozen=True, slots=True, eq=False)
class Shown:
    """Bodies as the drawing process is to show them; see SceneOrder."""

    bodies: tuple[DrawnBody, ...]
    ground: str
    over: str
    scale: float
    shell: Shell | None
    shell_paint: ShellPaint


@dataclass(frozen=True, slots=True, eq=False)
class Asked:
    """A frame that is wanted. `purpose` tells frames apart; a new one replaces an old one of the same purpose."""

    purpose: str
    camera: Camera
    size: Size
    finish: Finish


@dataclass(frozen=True, slots=True, eq=False)
class Frame:
    """A frame. `body`: places in `ids` plus 1, COARSER times smaller, the lowest row first; None where not asked."""

    asked: Asked
    shown: Shown
    image: QImage
    body: NDArray[np.uint16] | None
    ids: tuple[str, ...]
    n_made: int


class FrameProcess(QObject):
    """Draws what it is told to show."""

    drawn = Signal(object)
    failed = Signal(str)

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._meshes: dict[str, DisplayMesh] = {}
        self._sent: dict[str, None] = {}
        self._shown: Shown | None = None
        self._is_shown = False  # whether the process has been told
        self._wanted: dict[str, Asked] = {}
        self._under_way: tuple[Asked, Shown, int, float] | None = None
        self._number = 0
        self._answers = bytearray()
        self._process: QProcess | None = None
        self._file: tuple[Path, mmap.mmap] | None = None
        self._starts = 0
        self._has_drawn = False
        self._is_closed = False
        self._coarse = 1

    # ---- asking ------------------------------------------------------------------------------

    def known(self) -> frozenset[str]:
        """Keys of the meshes that are here."""
        return frozenset(self._meshes)

    def add(self, meshes: Mapping[str, DisplayMesh]) -> None:
        """Keep meshes; they are sent when they are shown."""
        for key, mesh in meshes.items():
            self._meshes.setdefault(key, mesh)

    def show(self, shown: Shown) -> None:
        """Show these bodies in frames from now on. Their meshes are here."""
        self._shown, self._is_shown = shown, False

    def ask(self, asked: Asked) -> None:
        """Ask for a frame of what is shown now, or will be shown when its turn comes."""
        self._wanted[asked.purpose] = asked
        self._go_on()

    def drop(self, purpose: str) -> None:
        """Ask no more for what has not been begun."""
        self._wanted.pop(purpose, None)

    def awaits(self, purpose: str) -> bool:
        """Whether a frame of a purpose is wanted or under way."""
        return purpose in self._wanted or (self._under_way is not None and self._under_way[0].purpose == purpose)

    @property
    def is_idle(self) -> bool:
        return not self._wanted and self._under_way is None

    @property
    def process_id(self) -> int:
        """Of the drawing process; 0 where there is none."""
        return self._process.processId() if self._process is not None else 0

    def close(self) -> None:
        """End the process."""
        self._is_closed = True
        self._wanted.clear()
        self._end()
        self._drop_file()

    # ---- the process -------------------------------------------------------------------------

    def _go_on(self) -> None:
        if self._is_closed or self._under_way is not None or not self._wanted or self._shown is None:
            return
        if self._process is None:
            if self._starts >= MOST_STARTS:
                return
            self._start()
        process = self._process
        assert process is not None, "it has been started"
        if not self._is_shown:
            process.write(QByteArray(packed(self._scene_order(self._shown))))
            self._is_shown = True
        asked = self._wanted.pop(next(iter(self._wanted)))
        size = asked.size
        if asked.finish is Finish.QUICK and self._coarse > 1:
            size = (max(1, size[0] // self._coarse), max(1, size[1] // self._coarse))
        self._number += 1
        path = self._room(asked.size)
        process.write(QByteArray(packed(FrameOrder(self._number, asked.camera, size, asked.finish, str(path)))))
        self._under_way = (replace(asked, size=size), self._shown, self._number, time.perf_counter())

    def _scene_order(self, shown: Shown) -> SceneOrder:
        used = dict.fromkeys(body.mesh for body in shown.bodies)
        new = {key: self._meshes[key] for key in used if key not in self._sent}
        for key in used:  # last used, last forgotten; the same here and there
            self._sent.pop(key, None)
            self._sent[key] = None
        spare = [key for key in self._sent if key not in used]
        forget = frozenset(spare[: max(0, len(spare) - MOST_MESHES)])
        for key in forget:
            del self._sent[key]
            self._meshes.pop(key, None)
        return SceneOrder(
            shown.bodies, new, forget, shown.ground, shown.over, shown.scale, shown.shell, shown.shell_paint
        )

    def _start(self) -> None:
        self._starts += 1
        self._drop_file()
        self._sent.clear()
        self._is_shown = False
        self._answers.clear()
        process = self._process = QProcess(self)
        environment = QProcessEnvironment()
        for name, value in drawing_environment().items():
            environment.insert(name, value)
        process.setProcessEnvironment(environment)
        process.readyReadStandardOutput.connect(self._read)
        process.finished.connect(self._ended)
        process.errorOccurred.connect(self._not_started)
        process.start(sys.executable, [*SERVER])

    def _end(self) -> None:
        process, self._process = self._process, None
        self._under_way = None
        if process is None:
            return
        process.readyReadStandardOutput.disconnect(self._read)
        process.finished.disconnect(self._ended)
        process.errorOccurred.disconnect(self._not_started)
        if process.state() != QProcess.ProcessState.NotRunning:
            process.closeWriteChannel()
            if not process.waitForFinished(ENDING_MS):
                process.kill()
                process.waitForFinished(ENDING_MS)
        process.deleteLater()

    @Slot()
    def _ended(self) -> None:
        process = self._process
        if process is None:
            return
        is_crash = process.exitStatus() is QProcess.ExitStatus.CrashExit
        why = reason_of(-1 if is_crash else process.exitCode(), bytes(process.readAllStandardError().data()))
        if self._under_way is not None:  # it is asked for again
            self._wanted.setdefault(self._under_way[0].purpose, self._under_way[0])
        self._end()
        if self._has_drawn and self._starts < MOST_STARTS:
            self._go_on()
        else:
            self._starts = MOST_STARTS
            self.failed.emit(f"{CAN_NOT}: {why}")

    @Slot(QProcess.ProcessError)
    def _not_started(self, error: QProcess.ProcessError) -> None:
        if error is QProcess.ProcessError.FailedToStart and self._process is not None:
            why = self._process.errorString()
            self._end()
            self._starts = MOST_STARTS
            self.failed.emit(f"{CAN_NOT}: the drawing process could not be started ({why})")

    @Slot()
    def _read(self) -> None:
        if self._process is None:
            return
        self._answers += bytes(self._process.readAllStandardOutput().data())
        while len(self._answers) >= LENGTH.size:
            (length,) = LENGTH.unpack_from(self._answers)
            end = LENGTH.size + length
            if len(self._answers) < end:
                return
            done = pickle.loads(bytes(self._answers[LENGTH.size : end]))  # from the process that this one started
            del self._answers[:end]
            assert isinstance(done, FrameDone), "frames are all that is answered"
            self._take(done)

    def _take(self, done: FrameDone) -> None:
        assert self._under_way is not None and done.number == self._under_way[2], "frames come one by one"
        asked, shown, _, began = self._under_way
        self._under_way = None
        self._has_drawn = True
        if os.name == "posix" and self._file is not None:  # both have it: nothing is left even if both are killed
            self._file[0].unlink(missing_ok=True)
        seconds = time.perf_counter() - began
        if asked.finish is Finish.QUICK:
            if seconds > SLOW_SECONDS:
                self._coarse = min(COARSEST, self._coarse + 1)
            elif seconds < FAST_SECONDS:
                self._coarse = max(1, self._coarse - 1)
        frame = self._frame(asked, shown, done)
        self._go_on()  # the next is drawn while this one is painted
        self.drawn.emit(frame)

    def _frame(self, asked: Asked, shown: Shown, done: FrameDone) -> Frame:
        assert self._file is not None, "a frame is drawn into a file"
        mapped = self._file[1]
        width, height = asked.size
        n = width * height * 4
        image = QImage(mapped[:n], width, height, 4 * width, QImage.Format.Format_RGBX8888).copy()
        body = None
        if done.cover is not None:
            columns, rows = done.cover
            body = np.frombuffer(mapped[n : n + 2 * rows * columns], dtype=np.uint16).reshape(rows, columns)
        return Frame(asked, shown, image, body, done.ids, done.n_made)

    def _room(self, size: Size) -> Path:
        """The file for a frame of a size; a larger one takes the place of one that is too small."""
        needed = room_for(size)
        if self._file is not None and len(self._file[1]) < needed:
            self._drop_file()
        if self._file is None:
            folder = IN_MEMORY if IN_MEMORY.is_dir() and os.access(IN_MEMORY, os.W_OK) else None
            handle, name = tempfile.mkstemp(prefix="tightside-frame-", dir=folder)
            with os.fdopen(handle, "r+b") as file:
                file.truncate(needed)
                self._file = Path(name), mmap.mmap(file.fileno(), needed)
        return self._file[0]

    def _drop_file(self) -> None:
        if self._file is not None:
            path, mapped = self._file
            self._file = None
            mapped.close()
            path.unlink(missing_ok=True)
