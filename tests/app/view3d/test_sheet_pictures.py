"""Pictures for paper: what is labelled where, which way the operator stands, from where a hidden gap is seen."""

from __future__ import annotations

import io
import math

import numpy as np
import pytest
from PIL import Image

from app.view3d.picture_order import Picture
from app.view3d.pictures import draw_pictures
from app.view3d.scene_meshes import Role
from app.view3d.sheet_pictures import all_orders, pixels, set_up_order, watch_order
from tests.app.view3d.sample_places import tightest_place

SIZE = pixels((126.0, 80.0))


def test_that_the_set_up_is_labelled_with_what_holds_the_part() -> None:
    prepared, *_ = tightest_place("sampler_block_b")
    made = set_up_order(prepared, size=SIZE, named=["clamp screw L", "clamp screw R"])
    labels = {label.name: label for label in made.labels}
    assert set(labels) == {"clamp screw L", "clamp screw R", "stop pin", "riser screws (4)"}
    assert labels["clamp screw L"].is_hidden  # they stand behind the bar, 52 high
    assert labels["clamp screw R"].is_hidden
    assert not labels["stop pin"].is_hidden
    assert labels["clamp screw L"].at[0] < labels["clamp screw R"].at[0]  # L is left as the operator stands
    assert all(0.0 < v < 1.0 for label in labels.values() for v in label.at)


def test_that_the_tool_is_away_and_the_part_is_what_the_first_cut_finds() -> None:
    prepared, *_ = tightest_place("sampler_block_b")
    scene = set_up_order(prepared, size=SIZE).order.scene
    assert not scene.of(Role.TOOL, Role.NEAR_PART)
    assert [b.name for b in scene.of(Role.WORKPIECE)] == ["stock"]
    assert "spindle head" not in {b.name for b in scene.bodies}


@pytest.mark.parametrize("name", ["sampler_block_b", "lens_plate_vise", "gauge_cap_bc", "float_arm_rotary"])
def test_that_the_arrow_points_down_to_the_operator_and_the_camera_stands_there(name: str) -> None:
    prepared, *_ = tightest_place(name)
    made = set_up_order(prepared, size=SIZE)
    assert math.hypot(*made.to_operator) == pytest.approx(1.0)
    assert made.to_operator[1] < -0.5
    operator = np.asarray(prepared.scene.machine.operator)
    assert float(operator @ np.asarray(made.order.camera.towards)) > 0.6


@pytest.mark.parametrize("name", ["sampler_block_b", "sampler_block_d", "clamp_block_inch", "lamp_bracket"])
def test_that_from_where_it_is_said_to_be_seen_nothing_stands_before_the_gap(name: str) -> None:
    prepared, orientation, cut, report = tightest_place(name)
    made = watch_order(prepared, orientation, cut, report, size=SIZE, number="2.5 mm")
    assert made.across.label.number == made.door.label.number == "2.5 mm"
    assert made.across.label.lines == ()
    if report.is_hidden_from_operator and made.look is not None:
        assert made.look != "from the door"  # what is hidden from there is not to be looked at from there
    assert made.seen_from.startswith("from ")


@pytest.mark.slow
def test_that_all_pictures_come_back_in_their_order_black_on_white() -> None:
    prepared, orientation, cut, report = tightest_place("sampler_block_b")
    set_up = set_up_order(prepared, size=SIZE)
    watched = watch_order(prepared, orientation, cut, report, size=SIZE, number="2.5 mm")
    drawn = draw_pictures([*all_orders(set_up, [watched])])
    assert len(drawn) == 3
    for one in drawn:
        assert isinstance(one, Picture)
        image = np.asarray(Image.open(io.BytesIO(one.png)).convert("RGB")).astype(int)
        assert image.shape[1::-1] == SIZE
        assert np.ptp(image, axis=2).max() == 0
        assert image.min() < 40
        assert image.max() == 255
    assert isinstance(drawn[0], Picture)
    assert drawn[0].gap_px is None
    assert isinstance(drawn[1], Picture)
    assert drawn[1].gap_px is not None
