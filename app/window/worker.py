"""The engine's process, seen from the window: questions out, results in, its death noticed. The only file that knows
processes.

1. Nothing here waits: Qt reads and writes the pipes. Results reach the window at most 60 times a second, and reading
   them gives way to the window after a few milliseconds.
2. Results of an older question are dropped here; nobody else need compare generations.
3. Who does not stop in time is replaced by a new process; so is one that died, unless it keeps dying.
"""

from __future__ import annotations

import contextlib
import os
import signal
import sys
import time
from pathlib import Path

from PySide6.QtCore import QElapsedTimer, QObject, QProcess, QProcessEnvironment, QTimer, Signal, Slot

from app.window.answers import Answer, Ask, Body, Look, Question, Stop, Stopped
from app.window.wire import Receiver, Sender

ROOT = Path(__file__).parents[2]
COMMAND = ("-m", "app.window.engine_process")
TOGETHER_MS = 16  # results that come within this go to the widgets at once
READ_MS = 8  # of reading at a stretch
STOP_SECONDS = 2.0
CLOSE_MS = 2000
MOST_DEATHS, DEATHS_WITHIN = 3, 20.0  # a process that dies so often in so many seconds is not started again
SAID_BYTES = 4000  # of what the process said at last


class Worker(QObject):
    """The engine's process. `close` ends it; nothing of it outlives that.

    `answered` hands out a tuple of results, all of the newest question. `died` says why the process is gone; it has
    then been replaced, unless `is_running` is false.
    """

    answered = Signal(object)
    stopped = Signal()
    died = Signal(str)

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._generation = 0
        self._waiting: list[Body] = []
        self._deaths: list[float] = []
        self._said = b""
        self._is_closed = False
        self._is_stopping = False
        self._since_told = QElapsedTimer()
        self._since_told.start()
        self._tell = QTimer(self, singleShot=True)
        self._tell.timeout.connect(self._hand_out)
        self._more = QTimer(self, singleShot=True, interval=0)
        self._more.timeout.connect(self._read)
        self._late = QTimer(self, singleShot=True, interval=int(STOP_SECONDS * 1000))
        self._late.timeout.connect(self._replace)
        self._process: QProcess | None = None
        self._sender, self._receiver = Sender(), Receiver()
        self._start()

    @property
    def is_running(self) -> bool:
        return self._process is not None

    @property
    def process_id(self) -> int:
        """Of the engine's process; 0 where there is none."""
        return int(self._process.processId()) if self._process else 0

    @property
    def generation(self) -> int:
        """Of the newest question."""
        return self._generation

    def next_generation(self) -> int:
        """A number for the next question; from now on older results are dropped."""
        self._generation += 1
        self._waiting.clear()
        return self._generation

    def ask(self, question: Ask | Look) -> None:
        """Send a question; starts a process where there is none."""
        self._is_stopping = False
        self._late.stop()
        if self._process is None:
            self._deaths.clear()
            self._start()
        self._send(question)

    def stop(self) -> None:
        """Stop what is being computed; `stopped` tells when. A process that goes on is replaced."""
        self._is_stopping = True
        self._send(Stop(self.next_generation()))
        self._late.start()

    @Slot()
    def close(self) -> None:
        """End the process and wait until it is gone."""
        self._is_closed = True
        for timer in (self._tell, self._more, self._late):
            timer.stop()
        self._end()

    # ---- the process ----

    def _start(self) -> None:
        process = QProcess(self)
        environment = QProcessEnvironment.systemEnvironment()
        paths = [str(ROOT), *filter(None, [environment.value("PYTHONPATH")])]
        environment.insert("PYTHONPATH", os.pathsep.join(paths))
        process.setProcessEnvironment(environment)
        process.setProgram(sys.executable)
        process.setArguments(list(COMMAND))
        process.readyReadStandardOutput.connect(self._read)
        process.readyReadStandardError.connect(self._listen)
        process.finished.connect(self._ended)
        process.errorOccurred.connect(self._failed)
        self._sender, self._receiver, self._said = Sender(), Receiver(), b""
        self._process = process
        process.start()

    def _end(self) -> None:
        """Kill the process and all that it started."""
        process, self._process = self._process, None
        if process is None:
            return
        _let_go(process)
        process_id = process.processId()
        if process_id and hasattr(os, "killpg"):
            with contextlib.suppress(ProcessLookupError, PermissionError):
                os.killpg(process_id, signal.SIGKILL)
        process.kill()
        process.waitForFinished(CLOSE_MS)
        process.deleteLater()

    def _send(self, question: Question) -> None:
        if self._process is not None:
            self._process.write(self._sender.packed(question))

    @Slot()
    def _replace(self) -> None:
        """It did not stop in time."""
        self._end()
        self._start()
        self._is_stopping = False
        self.stopped.emit()

    @Slot()
    def _ended(self) -> None:
        """It died by itself."""
        if self._is_closed or self._process is None:
            return
        process, self._process = self._process, None
        self._listen_to(process)
        why = _why(process, self._said)
        _let_go(process)
        process.deleteLater()
        self._waiting.clear()
        now = time.monotonic()
        self._deaths = [t for t in self._deaths if now - t < DEATHS_WITHIN] + [now]
        if len(self._deaths) < MOST_DEATHS:
            self._start()
        if self._is_stopping:
            self._is_stopping = False
            self._late.stop()
            self.stopped.emit()
        else:
            self.died.emit(why)

    @Slot(QProcess.ProcessError)
    def _failed(self, error: QProcess.ProcessError) -> None:
        if error is QProcess.ProcessError.FailedToStart:
            self._deaths = [time.monotonic()] * MOST_DEATHS
            self._ended()

    @Slot()
    def _listen(self) -> None:
        if self._process is not None:
            self._listen_to(self._process)

    def _listen_to(self, process: QProcess) -> None:
        self._said = (self._said + bytes(process.readAllStandardError().data()))[-SAID_BYTES:]

    # ---- results ----

    @Slot()
    def _read(self) -> None:
        if self._process is None:
            return
        self._receiver.feed(bytes(self._process.readAllStandardOutput().data()))
        clock = QElapsedTimer()
        clock.start()
        while self._receiver.has_next():
            self._take(self._receiver.next())
            if clock.elapsed() >= READ_MS:
                self._more.start()
                break
        if self._waiting and not self._tell.isActive():
            self._tell.start(max(0, TOGETHER_MS - int(self._since_told.elapsed())))

    def _take(self, answer: Answer) -> None:
        if answer.generation not in (0, self._generation):
            return
        if isinstance(answer.body, Stopped):
            self._is_stopping = False
            self._late.stop()
            self.stopped.emit()
        elif not self._is_stopping:
            self._waiting.append(answer.body)

    @Slot()
    def _hand_out(self) -> None:
        self._since_told.restart()
        told, self._waiting = tuple(self._waiting), []
        if told:
            self.answered.emit(told)


def _let_go(process: QProcess) -> None:
    """Hear nothing more of a process."""
    for signal_ in (
        process.readyReadStandardOutput,
        process.readyReadStandardError,
        process.finished,
        process.errorOccurred,
    ):
        signal_.disconnect()


def _why(process: QProcess, said: bytes) -> str:
    """Why the process is gone, in a few words."""
    if process.error() is QProcess.ProcessError.FailedToStart:
        return "the engine's process could not be started"
    lines = [line.strip() for line in said.decode("utf-8", "replace").splitlines() if line.strip()]
    last = f" ({lines[-1][:160]})" if lines else ""
    if process.exitStatus() is QProcess.ExitStatus.CrashExit:
        return f"the engine's process was ended by the system{last}"
    return f"the engine's process ended with status {process.exitCode()}{last}"
