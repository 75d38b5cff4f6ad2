"""Frames of the drawing process: facts about their pixels, what is made anew, what becomes of one that dies."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PySide6.QtCore import QCoreApplication, QEventLoop
from PySide6.QtGui import QImage

from app.view3d import frame_process
from app.view3d.cameras import View, camera
from app.view3d.drawn import DrawnBody, Shell, ShellPaint, drawn_bodies, mesh_key, shown_bodies
from app.view3d.frame_order import Finish
from app.view3d.frame_process import Asked, Frame, FrameProcess, Shown
from app.view3d.looks import PLAIN
from app.view3d.scene_meshes import DisplayBody, DisplayScene, Role
from app.view3d.styles import PALETTES, Style
from app.view3d.viewport import COARSER
from kinematics.pose import shift
from tests.app.view3d.placed_boxes import a_box, a_scene, two_blocks

SIZE = (320, 240)
LIGHT = PALETTES[Style.LIGHT]


pytestmark = pytest.mark.usefixtures("application")  # an event loop


class Drawing:
    """A drawing process with what came of it."""

    def __init__(self) -> None:
        self.process = FrameProcess()
        self.frames: list[Frame] = []
        self.failures: list[str] = []
        self.process.drawn.connect(self.frames.append)
        self.process.failed.connect(self.failures.append)

    def await_(self, is_so: Callable[[], bool]) -> None:
        until = time.monotonic() + 60.0
        while not is_so():
            assert time.monotonic() < until, "the drawing process does not answer"
            QCoreApplication.processEvents(QEventLoop.ProcessEventsFlag.AllEvents, 20)

    def show(
        self, bodies: tuple[DisplayBody, ...], drawn: tuple[DrawnBody, ...] | None = None, **changed: object
    ) -> None:
        self.process.add({mesh_key(b.mesh): b.mesh for b in bodies})
        drawn = drawn_bodies(shown_bodies(bodies), PLAIN, LIGHT) if drawn is None else drawn
        paint = ShellPaint(LIGHT.ink, LIGHT.quiet)
        self.process.show(replace(Shown(drawn, LIGHT.ground, LIGHT.ink, 1.0, None, paint), **changed))

    def frame(self, scene: DisplayScene, finish: Finish = Finish.FINE, view: View = View.ACROSS) -> Frame:
        n = len(self.frames)
        self.process.ask(Asked("view", camera(view, scene, SIZE), SIZE, finish))
        self.await_(lambda: len(self.frames) > n or bool(self.failures))
        assert not self.failures, self.failures
        return self.frames[-1]


@pytest.fixture
def drawing() -> Iterator[Drawing]:
    made = Drawing()
    yield made
    made.process.close()
    made.process.deleteLater()


def pixels_of(frame: Frame) -> np.ndarray:
    """(height, width, 3), the uppermost row first."""
    image = frame.image.convertToFormat(QImage.Format.Format_RGBX8888)
    rows = np.frombuffer(image.constBits(), dtype=np.uint8).reshape(image.height(), image.bytesPerLine() // 4, 4)
    return rows[:, : image.width(), :3].astype(int)


def rgb(colour: str) -> np.ndarray:
    return np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)])


def pixel_at(frame: Frame, p_W: tuple[float, float, float]) -> np.ndarray:
    x, y = frame.asked.camera.pixels(p_W, SIZE)
    return pixels_of(frame)[SIZE[1] - 1 - int(y), int(x)]


@pytest.mark.parametrize("finish", Finish)
def test_that_a_frame_shows_bodies_on_the_ground_the_right_way_up(drawing: Drawing, finish: Finish) -> None:
    scene = a_scene(*two_blocks())
    drawing.show(scene.bodies)
    frame = drawing.frame(scene, finish)
    pixels = pixels_of(frame)
    assert (pixels[2, 2] == rgb(LIGHT.ground)).all()
    part = pixel_at(frame, (-11.0, -10.0, 20.0))
    assert (part <= rgb(LIGHT.near_part.lit) + 2).all()
    assert np.abs(pixel_at(frame, (6.0, -5.0, -10.0)) - rgb(LIGHT.near_body.lit)).max() < 45
    assert (pixel_at(frame, (-11.0, -10.0, -12.0)) == rgb(LIGHT.ground)).all()  # below the part, which is above


def test_that_a_fine_frame_says_which_body_each_pixel_shows(drawing: Drawing) -> None:
    scene = a_scene(*two_blocks())
    drawing.show(scene.bodies)
    frame = drawing.frame(scene)
    assert frame.body is not None
    assert frame.body.shape == (SIZE[1] // COARSER, SIZE[0] // COARSER)
    for p, expected in (((-11.0, -10.0, 10.0), "tool/nut"), ((6.0, -5.0, -6.0), "screw")):
        x, y = frame.asked.camera.pixels(p, SIZE) / COARSER
        assert frame.ids[frame.body[int(y), int(x)] - 1] == expected
    assert frame.body[1, 1] == 0
    assert drawing.frame(scene, Finish.QUICK).body is None


def test_that_a_pose_that_changes_makes_no_body_anew(drawing: Drawing) -> None:
    scene = a_scene(*two_blocks())
    drawing.show(scene.bodies)
    first = drawing.frame(scene)
    assert (first.n_made, first.ids) == (2, ("tool/nut", "screw"))
    nut, screw = scene.bodies
    lifted = replace(nut, X_WG=shift("W", "G", (-11.0, 0.0, 25.0)))
    drawing.show((lifted, screw))
    second = drawing.frame(scene)
    assert second.n_made == 2
    assert (pixel_at(second, (-11.0, -10.0, 5.0)) == rgb(LIGHT.ground)).all()
    assert (pixel_at(second, (-11.0, -10.0, 30.0)) <= rgb(LIGHT.near_part.lit) + 2).all()


def test_that_a_scene_that_changes_makes_only_what_is_new(drawing: Drawing) -> None:
    scene = a_scene(*two_blocks())
    drawing.show(scene.bodies)
    drawing.frame(scene)
    post = a_box("post", Role.FIXTURE, (30.0, -5.0, -20.0), (40.0, 5.0, 20.0))
    drawing.show((*scene.bodies, post))
    assert (drawing.frame(scene).n_made, drawing.frames[-1].ids) == (3, ("tool/nut", "screw", "post"))
    drawing.show((scene.bodies[0], post))
    assert (drawing.frame(scene).n_made, drawing.frames[-1].ids) == (3, ("tool/nut", "post"))
    larger = a_box("post", Role.FIXTURE, (30.0, -5.0, -20.0), (44.0, 5.0, 20.0))
    drawing.show((scene.bodies[0], larger))
    assert (drawing.frame(scene).n_made, drawing.frames[-1].ids) == (4, ("tool/nut", "post"))


def test_that_a_mesh_is_sent_once(drawing: Drawing, monkeypatch: pytest.MonkeyPatch) -> None:
    sent: list[frozenset[str]] = []
    whole = FrameProcess._scene_order

    def noted(process: FrameProcess, shown: Shown) -> object:
        order = whole(process, shown)
        sent.append(frozenset(order.meshes))
        return order

    monkeypatch.setattr(FrameProcess, "_scene_order", noted)
    scene = a_scene(*two_blocks())
    for _ in range(3):
        drawing.show(scene.bodies)
        drawing.frame(scene, Finish.QUICK)
    assert [len(keys) for keys in sent] == [2, 0, 0]


def test_that_one_sees_through_a_part_and_what_is_left_out_is_not_there(drawing: Drawing) -> None:
    scene = a_scene(*two_blocks(), a_box("wall", Role.WORKPIECE, (-40.0, -60.0, -60.0), (40.0, -40.0, 80.0)))
    shown = shown_bodies(scene.bodies)
    at = (-11.0, -40.0, 10.0)
    found = {}
    for name, kinds in (("solid", {}), ("through", {"through": {"wall"}}), ("hidden", {"hidden": {"wall"}})):
        drawn = drawn_bodies(shown, PLAIN, LIGHT, **{k: frozenset(v) for k, v in kinds.items()})
        drawing.show(scene.bodies, drawn)
        found[name] = pixel_at(drawing.frame(a_scene(*two_blocks()), Finish.SMOOTH), at).mean()
    assert found["hidden"] < found["through"] < found["solid"]


def test_that_a_picked_body_has_a_stronger_outline(drawing: Drawing) -> None:
    scene = a_scene(a_box("post", Role.FIXTURE, (-20.0, -5.0, -20.0), (20.0, 5.0, 20.0)))
    dark = []
    for picked in (None, "post"):
        drawing.show(scene.bodies, drawn_bodies(shown_bodies(scene.bodies), PLAIN, LIGHT, picked=picked))
        near = np.abs(pixels_of(drawing.frame(scene, Finish.SMOOTH)) - rgb(LIGHT.fixture.edge)).max(axis=-1) < 30
        dark.append(near.sum())
    assert dark[1] > 2 * dark[0]


def test_that_swept_room_is_hatched_but_not_before_what_stands_in_front(drawing: Drawing) -> None:
    scene = a_scene(a_box("post", Role.MACHINE, (-40.0, -60.0, -60.0), (-10.0, -40.0, 60.0)))
    taken = np.zeros((20, 20, 20), dtype=np.uint8)
    taken[3:17, 3:17, 3:17] = 255
    shell = Shell("a", (-30.0, -30.0, -30.0), 3.0, taken, frozenset())
    found = {}
    for name, of in (("without", None), ("with", shell)):
        drawing.show(scene.bodies, shell=of)
        found[name] = pixels_of(drawing.frame(a_scene(*two_blocks()), Finish.SMOOTH))
    changed = np.abs(found["with"] - found["without"]).max(axis=-1) > 8
    assert 0.02 < changed.mean() < 0.6
    x, y = drawing.frames[-1].asked.camera.pixels((-20.0, -60.0, 0.0), SIZE)  # on the post, which is before the shell
    row, column = SIZE[1] - 1 - int(y), int(x)
    assert not changed[row - 8 : row + 8, column - 8 : column + 8].any()


def test_that_only_the_last_of_what_was_asked_for_meanwhile_is_drawn(drawing: Drawing) -> None:
    scene = a_scene(*two_blocks())
    drawing.show(scene.bodies)
    seen = camera(View.ACROSS, scene, SIZE)
    for by in (1.0, 1.1, 1.2, 1.3, 1.4):
        drawing.process.ask(Asked("view", seen.zoomed(by, seen.focus), SIZE, Finish.QUICK))
    drawing.await_(lambda: drawing.process.is_idle)
    assert [f.asked.camera.height for f in drawing.frames] == pytest.approx([seen.height, seen.height / 1.4])


# --- ends ---------------------------------------------------------------------------------------


def test_that_closing_ends_the_process_and_leaves_no_file(drawing: Drawing) -> None:
    scene = a_scene(*two_blocks())
    drawing.show(scene.bodies)
    drawing.frame(scene)
    file, own = drawing.process._file, drawing.process.process_id
    assert file is not None
    assert file[0].exists() == (os.name == "nt")  # elsewhere it has no name once both have it
    assert Path(f"/proc/{own}").exists() or os.name == "nt"
    drawing.process.close()
    assert not file[0].exists()
    assert not Path(f"/proc/{own}").exists()
    drawing.process.ask(Asked("view", camera(View.ACROSS, scene, SIZE), SIZE, Finish.QUICK))
    assert drawing.process.is_idle or drawing.process.process_id == 0


@pytest.mark.parametrize(
    ("program", "said"),
    [
        ("import os, signal; os.kill(os.getpid(), signal.SIGSEGV)", "the graphics library ended the drawing process"),
        ("import sys; sys.exit('no OpenGL')", "the drawing process ended with status 1 (no OpenGL)"),
    ],
)
@pytest.mark.skipif(os.name == "nt", reason="processes end by signals only elsewhere")
def test_that_a_process_that_cannot_draw_is_told_once(
    drawing: Drawing, program: str, said: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(frame_process, "SERVER", ("-c", program))
    scene = a_scene(*two_blocks())
    drawing.show(scene.bodies)
    seen = camera(View.ACROSS, scene, SIZE)
    drawing.process.ask(Asked("view", seen, SIZE, Finish.QUICK))
    drawing.await_(lambda: bool(drawing.failures))
    drawing.process.ask(Asked("view", seen, SIZE, Finish.QUICK))
    QCoreApplication.processEvents()
    assert len(drawing.failures) == 1
    assert drawing.failures[0].startswith(f"no picture can be drawn here: {said}")


def test_that_a_process_that_dies_after_it_drew_is_started_again_with_everything(drawing: Drawing) -> None:
    scene = a_scene(*two_blocks())
    drawing.show(scene.bodies)
    drawing.frame(scene)
    first = drawing.process.process_id
    assert drawing.process._process is not None
    drawing.process._process.kill()
    drawing.await_(lambda: drawing.process.process_id != first)
    frame = drawing.frame(scene)
    assert frame.n_made == 2
    assert (pixel_at(frame, (-11.0, -10.0, 20.0)) <= rgb(LIGHT.near_part.lit) + 2).all()
