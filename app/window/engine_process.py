"""The engine in a process of its own: questions come in on standard input, results go out one by one.

1. Between two results it looks whether something newer was asked, or whether to stop; then it gives up what it is at.
2. It keeps the scene that was read, what was prepared of it and the meshes drawn, so that a turned number costs only
   what it changes.
3. When whoever asks is gone, it ends, with all that it started.
4. Standard output belongs to the answers: what libraries print goes to standard error.
"""

from __future__ import annotations

import contextlib
import os
import queue
import signal
import sys
import threading
from collections.abc import Iterator
from typing import TYPE_CHECKING, BinaryIO

from app.window.answers import (
    Answer,
    Ask,
    Body,
    Failed,
    Look,
    Question,
    Stage,
    Stop,
    Stopped,
)
from app.window.wire import Receiver, Sender

if TYPE_CHECKING:
    from app.window.desk import Desk

CHUNK = 1 << 16


class Inbox:
    """Questions as they come, read by a thread; the newest is what counts."""

    def __init__(self, stream: BinaryIO) -> None:
        self._stream = stream
        self._waiting: queue.Queue[Question] = queue.Queue()
        self._looks: queue.Queue[Look] = queue.Queue()
        self._newest = 0
        threading.Thread(target=self._read, name="questions", daemon=True).start()

    def next(self) -> Ask | Stop | None:
        """The next question, waited for; None where only looks have come. What is no longer wanted is left out."""
        question = self._waiting.get()
        while question.generation < self._newest:
            question = self._waiting.get()
        return None if isinstance(question, Look) else question

    def is_given_up(self, question: Question) -> bool:
        """Whether something newer was asked since."""
        return self._newest > question.generation

    def looks(self) -> Iterator[Look]:
        """What is to be looked at of the newest question, without waiting."""
        while True:
            try:
                look = self._looks.get_nowait()
            except queue.Empty:
                return
            if not self.is_given_up(look):
                yield look

    def _read(self) -> None:
        receiver = Receiver()
        while True:
            data = os.read(self._stream.fileno(), CHUNK)
            if not data:
                end_with_all()
            receiver.feed(data)
            while receiver.has_next():
                question: Question = receiver.next()
                self._newest = max(self._newest, question.generation)
                if isinstance(question, Look):
                    self._looks.put(question)
                self._waiting.put(question)


def end_with_all() -> None:
    """End this process and those that it started."""
    if hasattr(os, "killpg") and os.getpgid(0) == os.getpid():
        os.killpg(0, signal.SIGKILL)
    os._exit(0)


def serve(inbox: Inbox, out: BinaryIO) -> None:
    """Answer questions for ever."""
    sender = Sender()

    def tell(generation: int, body: Body) -> None:
        out.write(sender.packed(Answer(generation, body)))
        out.flush()

    tell(0, Stage("starting the engine"))
    from app.window.desk import Desk  # slow to load: the first words are out before

    desk = Desk()
    while True:
        question = inbox.next()
        if isinstance(question, Stop):
            tell(question.generation, Stopped())
            continue
        try:
            for generation, body in answers_to(question, inbox, desk):
                tell(generation, body)
        except Exception as error:  # noqa: BLE001 - the front door of this process: a bug gets a line
            tell(question.generation if question else 0, Failed(_line_of(error)))


def answers_to(question: Ask | None, inbox: Inbox, desk: Desk) -> Iterator[tuple[int, Body]]:
    """The results of a question until something newer is asked; what is looked at meanwhile goes before."""
    if question is not None:
        yield from _followed(question, desk.check(question), inbox, desk)
    for look in inbox.looks():
        yield from _followed(look, desk.look(look), inbox, desk)


def _followed(question: Ask | Look, results: Iterator[Body], inbox: Inbox, desk: Desk) -> Iterator[tuple[int, Body]]:
    for body in results:
        if inbox.is_given_up(question):
            return
        yield question.generation, body
        for look in inbox.looks():
            yield from _followed(look, desk.look(look), inbox, desk)


def _line_of(error: Exception) -> str:
    trace = error.__traceback__
    while trace is not None and trace.tb_next is not None:
        trace = trace.tb_next
    place = f" at {os.path.basename(trace.tb_frame.f_code.co_filename)}:{trace.tb_lineno}" if trace else ""
    words = " ".join(str(error).split()) or "no further words"
    return f"internal error, {type(error).__name__}{place}: {words}"


def main() -> None:
    """Set up the streams and serve."""
    if hasattr(os, "setpgid"):
        with contextlib.suppress(OSError):
            os.setpgid(0, 0)
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the terminal's Ctrl+C is for the window
    out = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    serve(Inbox(sys.stdin.buffer), out)


if __name__ == "__main__":
    main()
