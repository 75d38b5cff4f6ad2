"""How long the event loop is away: a timer beats every few milliseconds, and each beat tells by how much it is late.

`own` is by how much it is late, less the time in which the thread was ready to run and had no processor, which Linux
tells (`/proc/thread-self/schedstat`, documented in the kernel's Documentation/scheduler/sched-stats.rst). It holds
what the window does and what it waits for, and leaves out what other processes of a busy machine take. Elsewhere
nothing is taken off.
"""

from __future__ import annotations

import time
from dataclasses import dataclass
from pathlib import Path

from PySide6.QtCore import QObject, Qt, QTimer, Slot

SCHEDSTAT = Path("/proc/thread-self/schedstat")
NANO = 1e-9
BEAT_MS = 5


@dataclass(frozen=True)
class Beat:
    """One beat, in seconds: when, how late, how much processor time was used since the last, how late of its own."""

    at: float
    late: float
    cpu: float
    own: float


class Heartbeat(QObject):
    """Measures every beat between `start` and `stop`."""

    def __init__(self) -> None:
        super().__init__()
        self.beats: list[Beat] = []
        self._began = 0.0
        self._last = (0.0, 0.0, 0.0)
        self._timer = QTimer(self, interval=BEAT_MS, timerType=Qt.TimerType.PreciseTimer)
        self._timer.timeout.connect(self._beat)

    def start(self) -> None:
        """Measure from now on."""
        self._last = _now()
        self._began = self._last[0]
        self._timer.start()

    def stop(self) -> None:
        """Measure no more."""
        self._beat()
        self._timer.stop()

    def worst(self) -> Beat:
        """The beat that was the latest of its own."""
        return max(self.beats, key=lambda beat: beat.own)

    @Slot()
    def _beat(self) -> None:
        now = _now()
        wall, cpu, waited = (after - before for after, before in zip(now, self._last, strict=True))
        self._last = now
        late = max(0.0, wall - BEAT_MS / 1000.0)
        self.beats.append(Beat(now[0] - self._began, late, cpu, max(0.0, late - waited)))


def _now() -> tuple[float, float, float]:
    """Wall time, processor time of this thread, time for which it waited for a processor."""
    waited = int(SCHEDSTAT.read_text().split()[1]) * NANO if SCHEDSTAT.exists() else 0.0
    return time.perf_counter(), time.thread_time(), waited
