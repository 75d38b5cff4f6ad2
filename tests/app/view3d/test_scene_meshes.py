"""What is drawn stands where the report says: a set-up worked out by hand, and the sample set-ups."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from app.scenes.reader import read_scene
from app.view3d.cameras import View, camera, in_the_way
from app.view3d.pictures import Wanted, picture_order
from app.view3d.scene_meshes import PAIR, DisplayScene, MeshCache, Role, display_scene
from kinematics.clearance import check_cut
from kinematics.prepared import Prepared
from kinematics.report import CutReport
from tests.app.cli.checked_samples import SAMPLES
from tests.app.cli.small_scenes import NUT_RADIUS, write_scene
from tests.app.view3d.sample_places import tightest_place


def post_scene(folder: Path, gap: float) -> tuple[DisplayScene, CutReport]:
    prepared = Prepared(read_scene(write_scene(folder, gap=gap)).scene)
    orientation, cut = prepared.scene.cuts()[0]
    report = check_cut(prepared, orientation, cut, frozenset())
    return display_scene(prepared, orientation, cut, report), report


def test_that_the_pair_stands_as_far_apart_as_it_is(tmp_path: Path) -> None:
    scene, _ = post_scene(tmp_path, gap=3.5)
    (nut,), (post,) = scene.of(Role.NEAR_PART), scene.of(Role.NEAR_BODY)
    assert (nut.name, post.name) == ("nut", "post")
    assert nut.vertices_W[:, 1].max() == pytest.approx(NUT_RADIUS)
    assert post.vertices_W[:, 1].min() == pytest.approx(NUT_RADIUS + 3.5)
    assert scene.tip_W[2] == 10.0  # 10 deep in a plate 20 high
    assert nut.vertices_W[:, 2].min() == pytest.approx(10.0 + 40.0)
    assert scene.gap is not None
    assert not scene.gap.is_overlap
    assert scene.gap.direction_W == pytest.approx((0.0, 1.0, 0.0), abs=1e-6)


def test_that_an_overlap_is_one(tmp_path: Path) -> None:
    scene, report = post_scene(tmp_path, gap=-1.0)
    assert report.verdict == "hits"
    assert scene.gap is not None
    assert scene.gap.is_overlap


def test_that_every_body_has_a_role_and_a_name(tmp_path: Path) -> None:
    scene, _ = post_scene(tmp_path, gap=3.5)
    assert {b.name: b.role for b in scene.bodies} == {
        "cutter": Role.TOOL,
        "shank": Role.TOOL,
        "nut": Role.NEAR_PART,
        "holder": Role.TOOL,
        "spindle nose": Role.MACHINE,
        "plate": Role.WORKPIECE,
        "post": Role.NEAR_BODY,
    }


def test_that_meshes_are_made_once(tmp_path: Path) -> None:
    prepared = Prepared(read_scene(write_scene(tmp_path, gap=3.5)).scene)
    orientation, cut = prepared.scene.cuts()[0]
    meshes = MeshCache()
    first, again = (display_scene(prepared, orientation, cut, None, meshes) for _ in range(2))
    assert first.of(Role.FIXTURE)[0].mesh is again.of(Role.FIXTURE)[0].mesh


def test_that_without_a_report_the_tip_stands_where_the_feature_is(tmp_path: Path) -> None:
    prepared = Prepared(read_scene(write_scene(tmp_path, gap=3.5)).scene)
    scene = display_scene(prepared, *prepared.scene.cuts()[0], None)
    assert scene.tip_W == pytest.approx((0.0, 0.0, 10.0))
    assert scene.gap is None
    assert scene.of(*PAIR) == ()
    assert camera(View.ACROSS, scene, (600, 450)).focus == scene.tip_W


@pytest.mark.parametrize("name", SAMPLES)
@pytest.mark.parametrize("view", View)
def test_that_the_gap_of_a_sample_is_in_the_picture_and_nothing_solid_hides_it(name: str, view: View) -> None:
    place = tightest_place(name)
    order = picture_order(*place, Wanted(view, with_caption=False))
    scene = order.scene
    assert scene.gap is not None
    pixels = order.camera.pixels(np.array(scene.gap.ends_W), order.size)
    assert (pixels > 0.0).all()
    assert (pixels < np.array(order.size)).all()
    seen_through = (
        order.look.outlined
        | order.look.ghosts
        | (frozenset(b.name for b in scene.of(*PAIR)) if scene.gap.is_overlap else frozenset())
    )
    if view is View.DOOR:
        assert order.look.is_gap_hidden == (
            place[3].is_hidden_from_operator and bool(set(in_the_way(scene, order.camera)) - order.look.outlined)
        )
    else:
        assert set(in_the_way(scene, order.camera)) <= seen_through
    assert not order.look.outlined & {b.name for b in scene.of(*PAIR)}


@pytest.mark.parametrize("name", SAMPLES)
def test_that_the_ends_of_a_samples_gap_touch_what_is_drawn(name: str) -> None:
    """Within the sides of a drawn circle: radius (1 - cos(pi / 96)), 0.03 mm at radius 50."""
    place = tightest_place(name)
    scene = display_scene(*place)
    assert scene.gap is not None
    for end, role in zip(scene.gap.ends_W, (Role.NEAR_PART, Role.NEAR_BODY), strict=True):
        far = [distance_to(b.vertices_W[b.mesh.faces], np.array(end)) for b in scene.of(role)]
        assert min(far) < 0.05


def distance_to(triangles: np.ndarray, p: np.ndarray) -> float:
    """From a point to triangles (m, 3, 3), by a dense net of barycentric points; good to a tenth of a percent."""
    n = 60
    u, v = np.meshgrid(np.linspace(0, 1, n), np.linspace(0, 1, n))
    keep = u + v <= 1.0 + 1e-12
    weights = np.column_stack([u[keep], v[keep], 1.0 - u[keep] - v[keep]])
    best = np.inf
    a, e1, e2 = triangles[:, 0], triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0]
    normal = np.cross(e1, e2)
    area = np.linalg.norm(normal, axis=1)
    unit = normal / area[:, None]
    height = ((p - a) * unit).sum(axis=1)
    foot = p - height[:, None] * unit
    w1 = (np.cross(foot - a, e2) * unit).sum(axis=1) / area
    w2 = (np.cross(e1, foot - a) * unit).sum(axis=1) / area
    over = (w1 >= -1e-9) & (w2 >= -1e-9) & (w1 + w2 <= 1.0 + 1e-9)
    if over.any():
        best = float(np.abs(height[over]).min())
    edges = weights[(weights == 0.0).any(axis=1)]
    for start in range(0, len(triangles), 5000):
        points = np.einsum("kw,mwx->mkx", edges, triangles[start : start + 5000])
        best = min(best, float(np.linalg.norm(points - p, axis=2).min()))
    return best
