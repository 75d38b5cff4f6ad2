"""Reading a scene: from the demo file to the core's values."""

from __future__ import annotations

from pathlib import Path

import pytest

from app.scenes.faults import SceneFileError
from app.scenes.reader import read_scene

SAMPLES = Path(__file__).parents[3] / "sample_scenes"
DEMO = SAMPLES / "sampler_block_b" / "sampler_block_b.scene.yaml"


def test_that_the_demo_is_read_as_its_file_says():
    scene = read_scene(DEMO).scene
    assert scene.title == "Sampler block, op 2, set-up B"
    assert scene.machine.name == "compact_ac"
    assert [o.name for o in scene.orientations] == ["V1", "V2", "V3", "V4", "V5", "V6", "V7"]
    assert scene.tool("T1").neck == (9.7, 60.0)
    assert [body.name for body in scene.bodies][:2] == ["dovetail fixture", "riser"]


def test_that_a_missing_file_is_one_fault():
    with pytest.raises(SceneFileError) as caught:
        read_scene(SAMPLES / "nothing.scene.yaml")
    assert len(caught.value.faults) == 1
