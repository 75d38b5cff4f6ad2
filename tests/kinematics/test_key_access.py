"""The room of keys over screw heads, against the scenario's own numbers and by hand."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from app.scenes.reader import read_scene
from kinematics.key_access import KeyAccess, key_access
from kinematics.prepared import Prepared
from kinematics.scene import Body, Scene
from kinematics.shapes import KeySpace, Screw

DEMO = Path(__file__).parents[2] / "sample_scenes" / "sampler_block_b" / "sampler_block_b.scene.yaml"


Home = tuple[tuple[str, float], ...]
TURNED: Home = (("tilt", 90.0), ("rotary", 30.0))


def access_of(d: float, h: float, home: Home = ()) -> KeyAccess:
    """Of the key over clamp screw L of the demo, whose axis is 25 - 17 = 8 from the stock."""
    scene = read_scene(DEMO).scene
    bodies = tuple(_with_key(b, KeySpace(d, h)) if b.name == "clamp screw L" else b for b in scene.bodies)
    changed: Scene = replace(scene, bodies=bodies)
    if home:
        changed = replace(changed, machine=replace(changed.machine, home_deg=home))
    (found,) = key_access(Prepared(changed))
    return found


def _with_key(body: Body, key: KeySpace) -> Body:
    assert isinstance(body.shape, Screw)
    return replace(body, shape=replace(body.shape, key=key))


@pytest.mark.parametrize("home", [(), TURNED])
def test_that_a_hex_key_leaves_what_is_between_screw_and_stock(home: Home) -> None:
    found = access_of(7.0, 60.0, home)  # 8 - 3.5 = 4.5: as the scenario says
    assert found.is_free
    assert found.room == pytest.approx(4.5, abs=0.001)
    assert (found.nearest, found.state) == ("stock", "raw")


def test_that_a_ratchet_that_overlaps_the_stock_does_not_fit() -> None:
    found = access_of(25.0, 60.0)  # radius 12.5: it overlaps the stock by 4.5, as the scenario says
    assert not found.is_free
    assert found.nearest == "stock"


def test_that_a_key_is_told_free_down_to_a_little_room() -> None:
    found = access_of(15.0, 60.0)  # 8 - 7.5 = 0.5 to the stock; the screw beside it is 20 away, no higher than the key
    assert found.is_free
    assert found.room == pytest.approx(0.5, abs=0.001)


def test_that_a_scene_without_keys_has_no_answers() -> None:
    assert key_access(Prepared(read_scene(DEMO).scene)) == ()
