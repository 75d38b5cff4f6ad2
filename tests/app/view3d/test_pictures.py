"""Pictures as they come out: facts about their pixels, and what happens where none can be drawn."""

from __future__ import annotations

import io
import math
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from app.jobs.results import UncheckedCut
from app.scenes.reader import read_scene
from app.view3d import pictures
from app.view3d.cameras import View, camera
from app.view3d.caption import STRIP
from app.view3d.display_meshes import MOST_TRIANGLES, reduced
from app.view3d.gap_mark import GapLabel
from app.view3d.looks import Look
from app.view3d.picture_order import PictureOrder
from app.view3d.pictures import CARD, NoPicture, Picture, Style, Wanted, draw_pictures, length_text, picture_order
from app.view3d.scene_meshes import DisplayScene, Role
from app.view3d.styles import PALETTES
from kinematics.clearance import check_cut
from kinematics.prepared import Prepared
from kinematics.verdict import Verdict
from tests.app.cli.checked_samples import SAMPLES
from tests.app.cli.small_scenes import write_scene
from tests.app.view3d.placed_boxes import a_body, a_box, a_scene, two_blocks
from tests.app.view3d.sample_places import tightest_place

SIZE = (600, 450)


def block_order(style: Style = Style.LIGHT, view: View = View.ACROSS, **changed: object) -> PictureOrder:
    scene = a_scene(*two_blocks())
    label = GapLabel("2.00 mm", ("1.31 spare",), Verdict.TIGHT)
    order = PictureOrder(scene, camera(view, scene, SIZE), SIZE, style, 0.8, label)
    return replace(order, **changed)


def post_order(folder: Path, wanted: Wanted, gap: float = 1.5) -> PictureOrder:
    prepared = Prepared(read_scene(write_scene(folder, gap=gap)).scene)
    orientation, cut = prepared.scene.cuts()[0]
    report = check_cut(prepared, orientation, cut, frozenset())
    return picture_order(prepared, orientation, cut, report, wanted)


def pixels_of(picture: Picture | NoPicture) -> np.ndarray:
    """(height, width, 3), the uppermost row first."""
    assert isinstance(picture, Picture), picture
    return np.asarray(Image.open(io.BytesIO(picture.png)).convert("RGB")).astype(int)


def rgb(colour: str) -> np.ndarray:
    return np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)])


def share_near(pixels: np.ndarray, colour: str, within: int = 14) -> float:
    """How much of the picture has a colour."""
    return float((np.abs(pixels - rgb(colour)).max(axis=-1) <= within).mean())


@pytest.fixture(scope="module")
def drawn() -> dict[tuple[Style, View], Picture | NoPicture]:
    keys = [(style, view) for style in Style for view in View]
    return dict(zip(keys, draw_pictures([block_order(*key) for key in keys]), strict=True))


@pytest.mark.parametrize("style", Style)
@pytest.mark.parametrize("view", View)
def test_that_a_picture_shows_the_pair_and_leaves_ground(
    drawn: dict[tuple[Style, View], Picture | NoPicture], style: Style, view: View
) -> None:
    pixels, palette = pixels_of(drawn[style, view]), PALETTES[style]
    assert pixels.shape == (450, 600, 3)
    lit, unlit = rgb(palette.near_part.lit), rgb(palette.near_part.unlit)
    inside = (pixels >= np.minimum(lit, unlit) - 2) & (pixels <= np.maximum(lit, unlit) + 2)
    assert inside.all(axis=-1).mean() > 0.01
    assert share_near(pixels, palette.near_body.lit, 40) > 0.005
    assert 0.2 < share_near(pixels, palette.ground, 2) < 0.97


def test_that_the_gap_has_the_colour_of_its_verdict_where_it_is() -> None:
    near = block_order().camera.zoomed(3.0, (0.0, 0.0, 0.0))  # so that the gap needs no glass
    orders = [block_order(style, camera=near) for style in Style]
    for order, picture in zip(orders, draw_pictures(orders), strict=True):
        assert isinstance(picture, Picture)
        assert picture.gap_px is not None
        assert math.dist(*picture.gap_px) == pytest.approx(2.0 * 450 / near.height)
        x, y = np.mean(picture.gap_px, axis=0)
        at = pixels_of(picture)[450 - round(y) - 2 : 450 - round(y) + 2, round(x) - 1 : round(x) + 2]
        palette = PALETTES[order.style]
        expected = rgb(palette.jaws or palette.verdicts[Verdict.TIGHT].fill)
        assert np.abs(at - expected).max(axis=-1).min() <= 3


def test_that_a_print_has_no_colour(drawn: dict[tuple[Style, View], Picture | NoPicture]) -> None:
    for view in View:
        pixels = pixels_of(drawn[Style.PRINT, view])
        assert np.ptp(pixels, axis=-1).max() == 0


def test_that_bodies_have_no_colour_that_says_room(drawn: dict[tuple[Style, View], Picture | NoPicture]) -> None:
    """All that is far from grey is the gap: a few hundred pixels."""
    pixels = pixels_of(drawn[Style.LIGHT, View.ACROSS])
    assert 50 < (np.ptp(pixels, axis=-1) > 60).sum() < 0.01 * 450 * 600


def test_that_the_label_is_there_and_the_strip_under_it(tmp_path: Path) -> None:
    wanted = Wanted(size=SIZE, scale=0.8)
    with_label, bare = draw_pictures(
        [post_order(tmp_path, wanted), post_order(tmp_path, replace(wanted, with_caption=False))]
    )
    paper = PALETTES[Style.LIGHT].paper
    strip = round(STRIP * 0.8)
    assert share_near(pixels_of(with_label)[-strip + 2 :], paper, 2) > 0.7
    assert share_near(pixels_of(bare)[-strip + 2 :], paper, 2) < 0.3


def test_that_a_card_is_drawn_at_its_size(tmp_path: Path) -> None:
    (picture,) = draw_pictures([post_order(tmp_path, CARD)])
    assert pixels_of(picture).shape == (74, 120, 3)
    assert np.ptp(pixels_of(picture), axis=-1).max() > 60  # the jaws


def walled() -> DisplayScene:
    """The two blocks with a wall between them and the camera."""
    return a_scene(*two_blocks(), a_box("wall", Role.FIXTURE, (-40.0, -60.0, -60.0), (40.0, -40.0, 80.0)))


def test_that_what_stands_before_the_gap_is_drawn_as_its_edges() -> None:
    hidden, seen = draw_pictures(
        [block_order(scene=walled(), look=Look(outlined=frozenset(o))) for o in ((), ("wall",))]
    )
    palette = PALETTES[Style.LIGHT]
    for picture, share in ((hidden, 0.0), (seen, 0.02)):
        dark = (pixels_of(picture) <= rgb(palette.near_part.lit) + 2).all(axis=-1).mean()
        assert dark >= share
    assert (pixels_of(hidden) <= rgb(palette.near_part.lit) + 2).all(axis=-1).mean() < 0.02


def test_that_a_gap_is_marked_over_what_hides_it() -> None:
    (picture,) = draw_pictures([block_order(scene=walled(), look=Look(is_gap_hidden=True))])
    assert (np.ptp(pixels_of(picture), axis=-1) > 60).sum() > 50


# --- where none can be drawn --------------------------------------------------------------------


@pytest.mark.parametrize(
    ("program", "said"),
    [
        ("import os, signal; os.kill(os.getpid(), signal.SIGSEGV)", "the graphics library ended the drawing process"),
        ("import sys; sys.exit('no OpenGL')", "the drawing process ended with status 1 (no OpenGL)"),
        ("print('not a picture')", "the drawing process ended with status 0"),
    ],
)
@pytest.mark.skipif(sys.platform == "win32", reason="processes end by signals only elsewhere")
def test_that_a_drawing_process_that_dies_is_told_and_borne(
    program: str, said: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(pictures, "DRAWING", ("-c", program))
    found = draw_pictures([block_order(), block_order()])
    assert len(found) == 2
    for answer in found:
        assert isinstance(answer, NoPicture)
        assert answer.why.startswith(f"no picture can be drawn here: {said}")


def test_that_pictures_drawn_before_it_died_are_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    program = (
        "import pickle, sys, os; from app.view3d.picture_order import Picture;"
        "out = sys.stdout.buffer; pickle.dump(Picture(b'png', (1, 1), None), out);"
        "out.write(b'\\x80\\x04half'); out.flush(); os._exit(3)"
    )
    monkeypatch.setattr(pictures, "DRAWING", ("-c", program))
    first, second = draw_pictures([block_order(), block_order()])
    assert isinstance(first, Picture)
    assert isinstance(second, NoPicture)


def test_that_a_drawing_process_that_never_ends_is_stopped(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pictures, "DRAWING", ("-c", "import time; time.sleep(60)"))
    monkeypatch.setattr(pictures, "START_SECONDS", 0.2)
    monkeypatch.setattr(pictures, "PICTURE_SECONDS", 0.2)
    (answer,) = draw_pictures([block_order()])
    assert answer == NoPicture("no picture can be drawn here: drawing took more than 0 s")


def test_that_no_order_starts_no_process(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pictures, "DRAWING", ("-c", "raise SystemExit(1)"))
    assert draw_pictures([]) == ()


def test_that_asking_for_pictures_loads_no_graphics_library() -> None:
    program = "import sys, app.view3d.pictures; print([m for m in sys.modules if m.startswith('vtk')])"
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


# --- what is written ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("value", "units", "said"),
    [
        (2.236, "mm", "2.23 mm"),
        (25.4, "inch", "1.0000 in"),
        (-2.2627, "mm", "\u22122.27 mm"),
        (1.35, "inch", "0.0531 in"),
    ],
)
def test_that_a_length_has_its_unit(value: float, units: pictures.Units, said: str) -> None:
    assert length_text(value, units) == said


def test_that_the_label_says_clearance_spare_and_pair(tmp_path: Path) -> None:
    label = post_order(tmp_path, Wanted(), gap=1.5).label
    assert label == GapLabel("1.50 mm", ("1.50 spare", "nut to post"), Verdict.TIGHT)


def test_that_the_label_of_an_overlap_says_so(tmp_path: Path) -> None:
    label = post_order(tmp_path, Wanted(), gap=-1.0).label
    assert label.number == "overlap 1.00 mm"
    assert label.verdict is Verdict.HITS


def test_that_the_label_says_what_hides_the_gap_from_the_door(tmp_path: Path) -> None:
    """The post stands behind the tool: from the door the nut is before the gap."""
    assert post_order(tmp_path, Wanted(View.DOOR)).label.lines[-1] == "hidden from the door by nut"


def test_that_a_cut_without_a_place_says_why_under_its_picture(tmp_path: Path) -> None:
    prepared = Prepared(read_scene(write_scene(tmp_path, gap=1.5)).scene)
    orientation, cut = prepared.scene.cuts()[0]
    result = UncheckedCut("top", "hole", None, "T1", "H", (), "stopped before it was checked")
    order = picture_order(prepared, orientation, cut, result, Wanted(size=SIZE, scale=0.8))
    assert order.caption is not None
    assert order.caption.word == "not checked"
    assert order.caption.text.startswith("Stopped before it was checked. Seen across the gap, from the door")
    (picture,) = draw_pictures([order])
    assert isinstance(picture, Picture)
    assert picture.gap_px is None
    assert len(np.unique(pixels_of(picture).reshape(-1, 3), axis=0)) > 40


# --- much of it ---------------------------------------------------------------------------------


@pytest.mark.slow
def test_that_a_part_of_a_million_triangles_is_drawn() -> None:
    n = 720
    lat, lon = np.meshgrid(np.linspace(0, np.pi, n), np.linspace(0, 2 * np.pi, n), indexing="ij")
    r = 9.0 + 0.2 * np.sin(12 * lon) * np.sin(9 * lat)
    points = np.stack([r * np.sin(lat) * np.cos(lon) + 11, r * np.sin(lat) * np.sin(lon), r * np.cos(lat)], axis=-1)
    at = np.arange(n * n).reshape(n, n)
    a, b, c, d = at[:-1, :-1].ravel(), at[1:, :-1].ravel(), at[1:, 1:].ravel(), at[:-1, 1:].ravel()
    faces = np.concatenate([np.column_stack([a, b, c]), np.column_stack([a, c, d])]).astype(np.int32)
    assert len(faces) > 1_000_000
    mesh = reduced(points.reshape(-1, 3), faces)
    assert len(mesh.faces) <= MOST_TRIANGLES
    scene = a_scene(two_blocks()[0], a_body("part", Role.NEAR_BODY, mesh))
    assert [b.name for b in scene.reduced] == ["part"]
    (picture,) = draw_pictures([block_order(scene=scene)])
    assert share_near(pixels_of(picture), PALETTES[Style.LIGHT].near_body.lit, 40) > 0.05


@pytest.mark.slow
@pytest.mark.parametrize("first", range(3))
def test_that_every_sample_is_drawn_in_every_view_and_the_styles_in_turn(first: int) -> None:
    orders, names = [], []
    for i, name in enumerate(SAMPLES):
        place = tightest_place(name)
        view, style = list(View)[(first + i) % 3], list(Style)[(first + i // 3) % 3]
        orders.append(picture_order(*place, Wanted(view, (320, 240), style, scale=0.5)))
        names.append(f"{name} {view} {style}")
    for name, order, picture in zip(names, orders, draw_pictures(orders), strict=True):
        pixels, palette = pixels_of(picture)[: -round(STRIP * 0.5)], PALETTES[order.style]
        n_colours = len(np.unique(pixels.reshape(-1, 3), axis=0))
        assert n_colours > 40, f"{name}: {n_colours} colours"
        if palette.jaws is None and order.label.verdict is not Verdict.CLEAR:
            n_coloured = (np.abs(pixels - rgb(palette.verdicts[order.label.verdict].fill)).max(axis=-1) <= 60).sum()
            assert n_coloured >= 4, f"{name}: no gap is marked"
