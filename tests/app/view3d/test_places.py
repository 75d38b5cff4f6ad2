"""Places that the window shows: what the report says, where bodies stand, and that no engine is needed to look."""

from __future__ import annotations

import pickle
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from app.jobs.check import moves_of
from app.scenes.reader import read_scene
from app.view3d.cameras import View, camera
from app.view3d.pictures import Wanted, picture_order
from app.view3d.places import Place, card_place, following_place, place_of, room_of, swept_place
from app.view3d.scene_meshes import PAIR
from app.view3d.swept_room import _samples
from kinematics.prepared import Prepared
from kinematics.report import SwingReport
from tests.app.cli.checked_samples import SAMPLES, sample_file
from tests.app.view3d.sample_places import tightest_place


@pytest.mark.parametrize("name", SAMPLES)
def test_that_a_place_is_what_the_report_and_the_picture_say(name: str) -> None:
    prepared, orientation, cut, report = tightest_place(name)
    place = place_of(prepared, orientation, cut, report)
    assert report.worst is not None
    assert place.told is not None
    assert place.gap is not None
    assert (place.told.clearance, place.told.spare) == (report.worst.clearance, report.worst.spare)
    assert place.gap.ends_W == report.worst.points_W
    assert {b.mesh for b in place.bodies} <= place.meshes.keys()
    assert len({b.id for b in place.bodies}) == len(place.bodies)
    near = {b.name for b in place.bodies if b.role in PAIR}
    assert set(report.worst.between) <= near
    for view in View:
        order = picture_order(
            prepared, orientation, cut, report, Wanted(view=view, size=(1008, 424), with_caption=False)
        )
        standpoint = place.standpoints[view]
        assert standpoint.look == order.look
        assert standpoint.aim.camera((1008, 424)) == order.camera
        assert standpoint.aim.camera((300, 700)) == camera(view, order.scene, (300, 700))


@pytest.mark.parametrize("name", ["sampler_block_b", "lamp_bracket"])
def test_that_a_place_that_follows_stands_where_the_whole_one_does(name: str) -> None:
    where = tightest_place(name)
    whole, follower, card = place_of(*where), following_place(*where), card_place(*where)
    assert not follower.standpoints
    assert list(card.standpoints) == [View.ACROSS]
    assert card.standpoints[View.ACROSS].look == whole.standpoints[View.ACROSS].look
    for other in (follower, card):
        assert replace(other, standpoints=whole.standpoints, bodies=whole.bodies, meshes=whole.meshes, gap=whole.gap,
                       rooms=whole.rooms, edits=whole.edits).title == whole.title  # fmt: skip
        assert [b.id for b in other.bodies] == [b.id for b in whole.bodies]
        assert [b.mesh for b in other.bodies] == [b.mesh for b in whole.bodies]
        assert all((a.X_WG.p_AB == b.X_WG.p_AB).all() for a, b in zip(other.bodies, whole.bodies, strict=True))


def test_that_a_longer_stick_out_moves_holder_and_nut_and_makes_no_new_mesh_of_them() -> None:
    prepared, orientation, cut, report = tightest_place("sampler_block_b")
    scene = prepared.scene
    tools = tuple(replace(t, stick_out=t.stick_out + 1.5) if t.id == cut.tool else t for t in scene.tools)
    longer = Prepared(replace(scene, tools=tools), like=prepared)
    before = {b.id: b for b in following_place(prepared, orientation, cut, report).bodies}
    after = {b.id: b for b in following_place(longer, orientation, cut, report).bodies}
    for part in ("tool/nut", "tool/holder"):
        assert before[part].mesh == after[part].mesh
        assert after[part].X_WG.p_AB - before[part].X_WG.p_AB == pytest.approx((0.0, 0.0, 1.5))


def test_that_what_is_picked_leads_to_where_its_numbers_are() -> None:
    place = place_of(*tightest_place("sampler_block_b"))
    assert place.edits["tool/cutter"] == "T1"
    assert place.edits["tool/nut"] == "H16"
    assert place.edits["clamp screw L"] == "clamp screw L"
    assert "cradle casting" not in place.edits  # the machine's own
    assert place.workpieces >= {"stock"}


def test_that_the_next_pair_is_one_that_is_not_as_near_as_the_worst() -> None:
    """The worst of the demo is the cutter over both clamp screws; the design page has nut to stock, 3.50, next."""
    place = place_of(*tightest_place("sampler_block_b"))
    assert place.next_told is not None
    assert place.next_told.pair == "nut to stock"
    assert place.next_told.clearance is not None
    assert place.next_told.clearance.value == pytest.approx(3.5, abs=0.005)


def test_that_the_room_of_a_body_of_the_report_is_the_one_that_it_tells() -> None:
    prepared, orientation, cut, report = tightest_place("sampler_block_b")
    told = room_of(prepared, orientation, cut, "cutter")
    assert told is not None
    assert report.worst is not None
    assert told.clearance == report.worst.clearance
    assert room_of(prepared, orientation, cut, "nobody") is None


# ---- swings --------------------------------------------------------------------------------------


def off_mesh(place: Place, name: str, p_W: tuple[float, float, float]) -> float:
    """How far a point is from the nearest of many points on a body."""
    found = []
    for body in place.bodies:
        if body.name == name:
            points = body.X_WG.points(_samples(place.meshes[body.mesh], 1.0))
            found.append(float(np.linalg.norm(points - p_W, axis=1).min()))
    return min(found)


@pytest.mark.parametrize("name", ["sampler_block_b", "hinge_block_inclined", "latch_pair"])
def test_that_a_swing_is_shown_where_its_nearest_points_lie_on_both_bodies(name: str) -> None:
    scene_file = read_scene(sample_file(name))
    prepared = Prepared(scene_file.scene)
    swings = list(moves_of(scene_file, prepared, with_links=False))
    shown = 0
    for at, report in enumerate(swings):
        if not isinstance(report, SwingReport) or report.points_W is None or report.between is None or shown == 2:
            continue
        shown += 1
        place = swept_place(prepared, at, report)
        assert place.gap is not None
        assert place.shell is not None
        for body, point in zip(report.between, report.points_W, strict=True):
            assert off_mesh(place, body, point) < 1.5
        assert place.shell.turning & set(report.between)
        assert place.key == (report.start, report.end)
    assert shown


def test_that_a_place_is_looked_at_without_the_engine(tmp_path: Path) -> None:
    file = tmp_path / "place"
    file.write_bytes(pickle.dumps(place_of(*tightest_place("sampler_block_b"))))
    program = (
        "import pickle, sys; place = pickle.load(open(sys.argv[1], 'rb')); from app.view3d.cameras import View;"
        "print(place.title, place.standpoints[View.DOOR].aim.camera((900, 400)).angle_deg, 'numba' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", program, str(file)], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "V1 profile, T1 in H16 24.0 False"
