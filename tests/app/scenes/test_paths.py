"""One way to name a number. Expected paths are those that the format's description gives as examples."""

from __future__ import annotations

from pathlib import Path

import pytest

from app.scenes.document import Document
from app.scenes.located import ScalarNode
from app.scenes.paths import Kind

DEMO = Path(__file__).parents[3] / "sample_scenes" / "sampler_block_b" / "sampler_block_b.scene.yaml"


@pytest.fixture(scope="module")
def demo() -> Document:
    return Document("demo", DEMO.read_text(encoding="utf-8"), "scene")


# path, and what stands there in the demo's file
EXAMPLES = [
    ("riser/h", "40"),
    ("T4/stick_out", "18"),
    ("V6/tilt", "105"),
    ("V6/drain spot/depth", "2.6"),
    ("T1/neck/d", "9.7"),
    ("stop pin/at/x", "-22"),
    ("H16/profile/1/2", "22"),
    ("keep_off/cut", "2.0"),
    ("clamp screw L/size", "M6"),
    ("dovetail fixture/turn", "0"),
    ("dovetail body/3", "22"),
    ("setup_errors/arm", "101.5"),
    ("workpiece/zero/at/z", "52"),
    ("workpiece/profiled/after/1", "V1/profile"),
    ("part/at/z", "-43.5"),
    ("V2/+Y pocket/size/2", "12"),
    ("V2/+Y pocket/along/x", "1"),
    ("V1/profile/rectangle/1", "36"),
    ("retract", "60"),
]


@pytest.mark.parametrize(("path", "text"), EXAMPLES)
def test_that_a_path_names_the_number(path: str, text: str, demo: Document):
    node = demo.find(path)
    assert isinstance(node, ScalarNode)
    assert node.text == text


@pytest.mark.parametrize("path", [path for path, _ in EXAMPLES])
def test_that_the_number_gives_its_path(path: str, demo: Document):
    node = demo.find(path)
    assert node is not None
    assert demo.path_of(node) == path


def test_that_every_single_value_of_the_demo_has_a_path_of_its_own(demo: Document):
    named = [node for node in demo.paths().values() if isinstance(node, ScalarNode)]
    assert len({id(node) for node in named}) == len(named)
    assert len(named) > 300


def numbers(text: str, kind: Kind) -> dict[str, str]:
    return {path: n.text for path, n in Document("x", text, kind).paths().items() if isinstance(n, ScalarNode)}


def test_that_machine_files_start_with_their_own_keys():
    text = (
        "control: {zero: [1, 2, 3]}\ntable_axes:\n  - {name: tilt, limits: [-15, 115]}\n"
        "linear_axes: {x: {limits: [4, 5]}}\n"
    )
    found = numbers(text, "machine")
    assert found["control/zero/y"] == "2"
    assert found["tilt/limits/2"] == "115"
    assert found["linear_axes/x/limits/1"] == "4"


def test_that_points_of_paths_and_outlines_are_named_by_their_axes():
    text = (
        "orientations:\n  - name: V\n    cuts:\n"
        "      - {name: a, path: {points: [[1, 2, 3], [4, 5, 6]]}}\n"
        "      - {name: b, profile: {outline: [[7, 8], [9, 10]]}}\n"
        "tools:\n  - {id: T, outline: [[11, 12, cutter]]}\n"
    )
    found = {
        path: node.text for path, node in Document("s", text, "scene").paths().items() if isinstance(node, ScalarNode)
    }
    assert found["V/a/points/2/z"] == "6"
    assert found["V/b/outline/2/y"] == "10"
    assert found["T/outline/1/2"] == "12"


def test_that_several_workpieces_start_the_path_by_their_names():
    text = "workpieces:\n  - {name: left, zero: {at: [1, 2, 3]}, states: {raw: [{name: left bar, box: [4, 5, 6]}]}}\n"
    found = {
        path: node.text for path, node in Document("s", text, "scene").paths().items() if isinstance(node, ScalarNode)
    }
    assert found["left/zero/at/y"] == "2"
    assert found["left bar/3"] == "6"
