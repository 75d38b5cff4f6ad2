"""A line on standard error that says what a long job is at; nothing for jobs under a second."""

from __future__ import annotations

import sys
import threading
import time
from types import TracebackType

QUIET_SECONDS = 1.0  # shorter work says nothing
TERMINAL_SECONDS = 0.2  # how often the line on a terminal is written anew
LOG_SECONDS = 10.0  # how often a line is added where standard error is no terminal


class Progress:
    """Says what was last told to `at`, from a thread of its own, until the block is left."""

    def __init__(self) -> None:
        self._text = ""
        self._done = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._is_terminal = sys.stderr.isatty()

    def __enter__(self) -> Progress:
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._done.set()
        self._thread.join()

    def at(self, text: str) -> None:
        """What the job is at now."""
        self._text = text

    def clear(self) -> None:
        """Take the line off a terminal, before something is printed."""
        if self._is_terminal:
            sys.stderr.write("\r\x1b[K")
            sys.stderr.flush()

    def _run(self) -> None:
        began = time.monotonic()
        wait, has_said = QUIET_SECONDS, False
        while not self._done.wait(wait):
            seconds = f"{time.monotonic() - began:.0f} s"
            if self._is_terminal:
                sys.stderr.write(f"\r\x1b[K{self._text} ... {seconds}")
            else:
                sys.stderr.write(f"{self._text} ... {seconds}\n")
            sys.stderr.flush()
            has_said = True
            wait = TERMINAL_SECONDS if self._is_terminal else LOG_SECONDS
        if has_said and self._is_terminal:
            sys.stderr.write("\r\x1b[K")
            sys.stderr.flush()
