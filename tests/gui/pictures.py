"""Pictures of the window in every state: `python -m tests.gui.pictures OUT [STATE ...]`. For eyes; nothing is tested.

Each state is a process of its own on a virtual screen of its own, so that one that fails leaves the others alone.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from tests.gui import scenes_for_pictures as scenes
from tests.gui.conftest import sample

ROOT = Path(__file__).parents[2]
SMALL, NORMAL, WIDE, HUGE = (1024, 680), (1280, 800), (1920, 1080), (3840, 2160)
RECENT = ("sampler_block_a", "sampler_block_b", "sampler_block_c")
SECONDS = 300


@dataclass(frozen=True)
class State:
    """One picture. `scene`: made in a folder, or None for no set-up; `then`: what is done before it is taken."""

    name: str
    size: tuple[int, int]
    scene: Callable[[Path], Path] | None
    then: Callable[..., None] | None = None
    is_dark: bool = False
    scale: str = "1"
    until: str = "pictures"  # what is waited for: all (dials too), pictures, checked, nothing


def named(name: str) -> Callable[[Path], Path]:
    return lambda _folder: sample(name)


def _trigger(*keys: str) -> Callable[..., None]:
    def do(window, wait) -> None:
        for key in keys:
            window.trigger(key)
        wait(1.5)

    return do


def _computing(window, wait) -> None:
    """Four cuts are there; the rest is held back."""
    window.session.worker.answered.disconnect(window.session._answered)
    given: list[int] = []

    def few(bodies) -> None:
        for body in bodies:
            if type(body).__name__ == "CutDone":
                given.append(1)
            if len(given) <= 4:
                window.session._answered((body,))

    window.session.worker.answered.connect(few)
    window.files.open(sample("sampler_block_b"))
    wait(lambda: len(given) > 4)
    wait(0.3)


def _stale(window, wait) -> None:
    """An edit whose results do not come."""
    window.session.worker.answered.disconnect(window.session._answered)
    window.session.document.edit("riser", "riser/h", 44)
    wait(0.5)


def _part_stale(window, wait) -> None:
    window.session.document.edit("riser", "riser/h", 44)
    wait(lambda: window.session.snapshot.is_stale)
    wait(lambda: 2 <= window.session.snapshot.n_fresh < 9)
    wait(0.05)


def _stopped(window, wait) -> None:
    """Stopped after a few cuts of a heavy part."""
    wait(lambda: window.session.snapshot.n_fresh >= 3)
    window.trigger("edit.stop")
    wait(lambda: not window.session.snapshot.doing)
    wait(0.5)


def _dead(window, wait) -> None:
    """The engine dies, and no other can be started."""
    window.session.worker._deaths = [1e12] * 3
    window.session.document.edit("riser", "riser/h", 44)
    os.kill(window.session.worker.process_id, 9)
    wait(lambda: bool(window.session.snapshot.failure))
    wait(0.5)


def _changed(window, wait) -> None:
    path = window.session.document.path
    path.write_text(path.read_text().replace("stick_out: 18", "stick_out: 19"))
    wait(lambda: window.session.document.is_changed_on_disk)
    wait(0.3)


def _unsaved(window, wait) -> None:
    window.session.document.edit("T4 out", "T4/stick_out", 21)
    window.close()
    wait(lambda: not window.session.snapshot.doing)
    wait(0.5)


def _faults(window, wait) -> None:
    """A good set-up, then faults: the last good results stay, hollow."""
    window.session.document.edit("wrong", "T4/flute", -3)
    wait(lambda: bool(window.session.snapshot.faults))
    wait(0.5)


def _await_faults(window, wait) -> None:
    wait(lambda: bool(window.session.snapshot.faults))


def _swept(window, wait) -> None:
    window.trigger("view.swept")
    wait(lambda: window.view.place is not None and window.view.place.shell is not None)
    wait(2.0)


def _held(window, wait) -> None:
    """A dial is held."""
    window.wiring.pick(("V6", "drain spot"))
    wait(lambda: "T4/stick_out" in window.dials.rows and window.dials.rows["T4/stick_out"].face.face is not None)
    window.dials.turned.emit("T4/stick_out", 21.2)
    wait(lambda: bool(window.session.held) and not window.session.snapshot.doing)
    wait(1.0)


def _finder(window, wait) -> None:
    window.trigger("window.find")
    window.overlay.field.setText("clamp")
    wait(0.3)


def _pick(*key: str) -> Callable[..., None]:
    def do(window, wait) -> None:
        window.wiring.pick(key)
        wait(lambda: window.view.place is not None and window.view.place.key == key)
        wait(1.5)

    return do


STATES = (
    State("demo_b_1280", NORMAL, named("sampler_block_b")),
    State("demo_b_1920", WIDE, named("sampler_block_b"), until="all"),
    State("demo_b_3840", HUGE, named("sampler_block_b"), until="all"),
    State("demo_b_3840_at_200", WIDE, named("sampler_block_b"), scale="2"),
    State("demo_b_small", SMALL, named("sampler_block_b")),
    State("demo_b_v6", WIDE, named("sampler_block_b"), _pick("V6", "drain spot"), until="all"),
    State("demo_a_hits", NORMAL, named("sampler_block_a")),
    State("demo_a_hits_1920", WIDE, named("sampler_block_a")),
    State("demo_c_clear", WIDE, named("sampler_block_c")),
    State("dark", WIDE, named("sampler_block_b"), is_dark=True),
    State("dark_hits", NORMAL, named("sampler_block_a"), is_dark=True),
    State("inch", WIDE, named("sampler_block_b"), _trigger("window.unit")),
    State("inch_file", WIDE, named("clamp_block_inch")),
    State("machining", WIDE, named("sampler_block_b"), _trigger("board.order")),
    State("machining_tight_swings", WIDE, named("hinge_block_inclined"), _trigger("board.order")),
    State("can_hit", WIDE, named("latch_pair")),
    State("step_part", WIDE, named("lamp_bracket")),
    State("not_checked", WIDE, scenes.not_checked),
    State("not_checked_dark", NORMAL, scenes.not_checked, is_dark=True),
    State("computing", WIDE, None, _computing, until="nothing"),
    State("stale", WIDE, named("sampler_block_b"), _stale),
    State("part_stale_1m", WIDE, scenes.with_large_part, _part_stale, until="checked"),
    State("part_1m", WIDE, scenes.with_large_part, _pick("V6", "drain spot")),
    State("stopped", WIDE, scenes.with_large_part, _stopped, until="nothing"),
    State("engine_gone", WIDE, named("sampler_block_b"), _dead, until="checked"),
    State("faults", WIDE, scenes.demo, _faults, until="checked"),
    State("faults_at_opening", NORMAL, scenes.with_faults, _await_faults, until="nothing"),
    State("changed_on_disk", NORMAL, scenes.demo, _changed, until="checked"),
    State("unsaved", NORMAL, scenes.demo, _unsaved, until="checked"),
    State("held", WIDE, named("sampler_block_b"), _held),
    State("empty", NORMAL, None, until="nothing"),
    State("empty_dark", NORMAL, None, is_dark=True, until="nothing"),
    State("door", WIDE, named("sampler_block_b"), _trigger("view.door")),
    State("tool", WIDE, named("sampler_block_b"), _trigger("view.tool")),
    State("swept", WIDE, named("sampler_block_b"), _swept),
    State("see_through", WIDE, named("sampler_block_b"), _trigger("view.through")),
    State("keys", NORMAL, named("sampler_block_b"), _trigger("window.keys"), until="checked"),
    State("keys_1920", WIDE, named("sampler_block_b"), _trigger("window.keys"), until="checked"),
    State("about", NORMAL, named("sampler_block_b"), _trigger("window.about"), until="checked"),
    State("finder", NORMAL, named("sampler_block_b"), _finder, until="checked"),
)


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.gui.pictures", description=__doc__.splitlines()[0])
    parser.add_argument("out", type=Path, help="the folder to write to")
    parser.add_argument("states", nargs="*", help="only these; all if none is named")
    parser.add_argument("--here", action="store_true", help=argparse.SUPPRESS)  # draw one state in this process
    asked = parser.parse_args()
    asked.out.mkdir(parents=True, exist_ok=True)
    known = {state.name: state for state in STATES}
    unknown = [name for name in asked.states if name not in known]
    if unknown:
        parser.error(f"no state {unknown[0]}; states: {', '.join(known)}")
    chosen = [known[name] for name in asked.states] or list(STATES)
    if asked.here:
        draw(chosen[0], asked.out)
        return 0
    failed = [state.name for state in chosen if not drawn_apart(state, asked.out)]
    if failed:
        sys.stderr.write(f"no picture of: {', '.join(failed)}\n")
    return 1 if failed else 0


def drawn_apart(state: State, out: Path) -> bool:
    """Draw a state in a process of its own; whether there is a picture."""
    width, height = (max(n * int(state.scale), 400) for n in state.size)
    screen = ["xvfb-run", "-a", "-s", f"-screen 0 {width}x{height}x24"]
    command = [*screen, sys.executable, "-m", "tests.gui.pictures", str(out), state.name, "--here"]
    with tempfile.TemporaryDirectory() as folder:  # what other windows have left is no state of this one
        environment = {
            **os.environ, "QT_SCALE_FACTOR": state.scale, "QT_QPA_PLATFORM": "xcb", "TIGHTSIDE_STATE": folder,
        }  # fmt: skip
        try:
            done = subprocess.run(command, cwd=ROOT, env=environment, timeout=SECONDS, check=False)
        except subprocess.TimeoutExpired:
            return False
    sys.stdout.write(f"{state.name}: {'drawn' if done.returncode == 0 else 'failed'}\n")
    sys.stdout.flush()
    return done.returncode == 0


def draw(state: State, out: Path) -> None:
    """Draw a state in this process."""
    import time

    from PySide6.QtCore import QCoreApplication, QSettings, QTimer
    from PySide6.QtWidgets import QApplication

    from app.window.fonts import load_fonts
    from app.window.main_window import MainWindow
    from app.window.theme import DARK, LIGHT, apply_to, theme_of
    from tests.gui.conftest import is_checked

    application = QApplication(["pictures"])
    load_fonts()
    theme = theme_of(DARK if state.is_dark else LIGHT)
    apply_to(application, theme)
    began = time.monotonic()

    def wait(for_what) -> None:
        alarm = QTimer()
        alarm.start(5)
        until = time.monotonic() + for_what if isinstance(for_what, float) else None
        while not (time.monotonic() >= until if until else for_what()):
            assert time.monotonic() - began < SECONDS, f"{state.name}: waited too long"
            QCoreApplication.processEvents()
            time.sleep(0.002)

    with tempfile.TemporaryDirectory(prefix="tightside-pictures-") as name:
        folder = Path(name)
        settings = QSettings(str(folder / "settings.ini"), QSettings.Format.IniFormat)
        if state.name.startswith("empty"):
            settings.setValue("recent", [str(sample(name)) for name in RECENT])
        window = MainWindow(settings, theme)
        window.resize(*state.size)
        window.show()
        if state.scene is not None:
            window.files.open(state.scene(folder))
        if state.until == "checked":
            wait(lambda: is_checked(window))
        elif state.until == "pictures":
            wait(lambda: is_checked(window) and all(card.has_picture for card in window.board.cards))
        elif state.until == "all":
            wait(lambda: is_checked(window) and not window.session.snapshot.doing)
        wait(1.0)
        if state.then is not None:
            state.then(window, wait)
        wait(0.3)
        assert window.grab().save(str(out / f"{state.name}.png")), "the picture could not be written"
        window.session.document.stack.setClean()
        window.close()
        application.processEvents()
    application.shutdown()


if __name__ == "__main__":
    sys.exit(main())
