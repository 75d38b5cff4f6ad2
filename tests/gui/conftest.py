"""Tests with real widgets: a screen of their own, one application, and nothing that outlives a test.

1. Each process of the test runner has its own virtual screen, so that windows never take the focus from each other,
   and none appears on the screen of whoever runs the tests. Where there is no Xvfb, the screen that is there is used.
2. A test fails if a slot raised, or if a top-level widget, thread, timer or process that it started outlives it.
"""

from __future__ import annotations

import gc
import os
import shutil
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from types import TracebackType

import psutil
import pytest
import shiboken6
from PySide6.QtCore import QCoreApplication, QDeadlineTimer, QEvent, QEventLoop, QSettings, QTimer
from PySide6.QtWidgets import QApplication

from app.window.fonts import load_fonts
from app.window.main_window import MainWindow
from app.window.theme import LIGHT, apply_to, theme_of

SCREEN = "3840x2160x24"
ENDING_SECONDS = 10.0  # a process that was ended may take so long to be gone on a busy machine
SAMPLES = Path(__file__).parents[2] / "sample_scenes"


@pytest.fixture(scope="session", autouse=True)
def screen() -> Iterator[None]:
    """A virtual screen for this process alone."""
    if not sys.platform.startswith("linux") or shutil.which("Xvfb") is None:
        yield
        return
    reading, writing = os.pipe()
    server = subprocess.Popen(
        ["Xvfb", "-displayfd", str(writing), "-screen", "0", SCREEN, "-nolisten", "tcp"],
        pass_fds=[writing],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    os.close(writing)
    with os.fdopen(reading) as answer:
        number = answer.readline().strip()
    assert number, "the virtual screen did not start"
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("DISPLAY", f":{number}")
        patch.setenv("QT_QPA_PLATFORM", "xcb")
        patch.delenv("WAYLAND_DISPLAY", raising=False)
        patch.delenv("XAUTHORITY", raising=False)
        yield
        application = QApplication.instance()
        if application is not None:
            application.shutdown()  # before the screen goes: the library ends the process otherwise
    server.terminate()
    server.wait()


@pytest.fixture(scope="session")
def application(screen: None) -> QApplication:  # noqa: ARG001 - the screen is there first
    """The one application, in the light look."""
    found = QApplication.instance()
    made = found if isinstance(found, QApplication) else QApplication(["tests"])
    made.setQuitOnLastWindowClosed(False)
    load_fonts()
    apply_to(made, theme_of(LIGHT))
    return made


@pytest.fixture(autouse=True)
def nothing_outlives_a_test() -> Iterator[None]:
    """Fails for a slot that raised, and for what the test leaves behind."""
    raised: list[BaseException] = []

    def note(_kind: type[BaseException], error: BaseException, _trace: TracebackType | None) -> None:
        raised.append(error)

    widgets, threads, processes = _widgets(), set(threading.enumerate()), _processes()
    before, sys.excepthook = sys.excepthook, note
    try:
        yield
    finally:
        sys.excepthook = before
    if raised:
        raise AssertionError("a slot raised") from raised[0]
    settle()
    left = _widgets() - widgets
    assert not left, f"widgets outlive the test: {sorted(left)}"
    assert not set(threading.enumerate()) - threads, "a thread outlives the test"
    until = time.monotonic() + ENDING_SECONDS
    while _processes() - processes and time.monotonic() < until:
        settle()
    assert not _processes() - processes, f"processes outlive the test: {_named(_processes() - processes)}"


def settle() -> None:
    """Deliver what is waiting, deletions too."""
    if QApplication.instance() is not None:
        QCoreApplication.processEvents()
        QCoreApplication.sendPostedEvents(None, QEvent.Type.DeferredDelete)
    gc.collect()


def _widgets() -> set[str]:
    """Top-level widgets by class and address; those that only wait for their deletion are gone after `settle`."""
    if not isinstance(QApplication.instance(), QApplication):
        return set()
    return {f"{type(w).__name__} at {id(w):#x}" for w in QApplication.topLevelWidgets() if type(w).__name__ != "QFrame"}


def _processes() -> set[int]:
    """Children of this process, and theirs."""
    return {child.pid for child in psutil.Process().children(recursive=True) if _is_alive(child)}


def _is_alive(process: psutil.Process) -> bool:
    try:
        return bool(process.status() != psutil.STATUS_ZOMBIE)
    except psutil.NoSuchProcess:
        return False


def _named(pids: set[int]) -> list[str]:
    found = []
    for pid in pids:
        try:
            found.append(" ".join(psutil.Process(pid).cmdline()))
        except psutil.NoSuchProcess:
            continue
    return found


Wait = Callable[..., None]


@pytest.fixture
def wait(application: QApplication) -> Wait:  # noqa: ARG001 - there is an event loop
    """Run the event loop until something is true: `wait(lambda: ..., "what")`. Woken by events, never by a sleep."""

    def until(is_so: Callable[[], bool], what: str, *, seconds: float = 60.0) -> None:
        deadline = QDeadlineTimer(int(seconds * 1000))
        alarm = QTimer()  # so that the loop turns at all
        alarm.start(20)
        while not is_so():
            if deadline.hasExpired():
                raise AssertionError(f"{what}: not so after {seconds:g} s")
            QCoreApplication.processEvents(QEventLoop.ProcessEventsFlag.WaitForMoreEvents)

    return until


@pytest.fixture
def settings(tmp_path: Path) -> QSettings:
    """Settings of the test's own."""
    return QSettings(str(tmp_path / "settings.ini"), QSettings.Format.IniFormat)


def sample(name: str) -> Path:
    """The file of a sample set-up."""
    return SAMPLES / name / f"{name}.scene.yaml"


class Opener:
    """Opens windows of a test, and closes them."""

    def __init__(self, settings: QSettings, wait: Wait) -> None:
        self._settings, self._wait = settings, wait
        self.windows: list[MainWindow] = []

    def __call__(self, path: Path | None = None, size: tuple[int, int] = (1280, 800)) -> MainWindow:
        """A window of a size, with a set-up if one is named."""
        theme = theme_of(LIGHT)
        application = QApplication.instance()
        assert isinstance(application, QApplication), "there is one"
        apply_to(application, theme)  # another test may have left it dark
        window = MainWindow(self._settings, theme)
        self.windows.append(window)
        window.resize(*size)
        window.show()
        window.activateWindow()
        if path is not None:
            window.files.open(path)
        return window

    def checked(self, path: Path, size: tuple[int, int] = (1280, 800)) -> MainWindow:
        """A window in which everything was checked, and the tightest place can be seen."""
        window = self(path, size)
        self.await_check(window)
        return window

    def await_check(self, window: MainWindow) -> None:
        """Wait until the check of a window is whole."""
        self._wait(lambda: is_checked(window), "the set-up is checked")

    def close(self) -> None:
        """Close them all, whatever is unsaved."""
        for window in filter(shiboken6.isValid, self.windows):  # one that was closed is gone
            window.session.document.stack.setClean()
            window.close()
        self.windows.clear()


def is_checked(window: MainWindow) -> bool:
    """Whether every number is of the present scene, the second opinion is there, and all panels show it."""
    now = window.session.snapshot
    if window.session.is_about_to_tell:
        return False
    return bool(now.failure) or (now.second_opinion is not None and now.is_fresh and bool(now.cuts))


@pytest.fixture
def opener(settings: QSettings, wait: Wait) -> Iterator[Opener]:
    """Windows with engines of their own."""
    made = Opener(settings, wait)
    yield made
    made.close()
    settle()
