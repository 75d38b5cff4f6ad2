"""Old files stay readable: stored files of each format, and steps that keep every value's place."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from app.scenes.document import Document
from app.scenes.located import Entry, MapNode, ScalarNode
from app.scenes.migrations import FIRST_FORMAT, FORMAT, MIGRATIONS, migrated
from app.scenes.models import ROOTS
from app.scenes.prelude import opened
from app.scenes.reader import read_scene
from app.scenes.reading import read_model

FORMATS = Path(__file__).parents[2] / "data" / "formats"


@pytest.mark.parametrize("number", range(FIRST_FORMAT, FORMAT + 1))
def test_that_a_stored_scene_of_each_format_is_read(number: int):
    scene_file = read_scene(FORMATS / f"format_{number}.scene.yaml")
    assert len(scene_file.scene.cuts()) == 9
    assert {file.name for file in scene_file.files} >= {f"format_{number}.machine.yaml", f"format_{number}.holder.yaml"}


@pytest.mark.parametrize("number", range(FIRST_FORMAT, FORMAT + 1))
def test_that_a_stored_table_of_each_format_is_read(number: int):
    file = FORMATS / f"format_{number}.hardware.yaml"
    document = Document(str(file), file.read_text(encoding="utf-8"), "hardware")
    faults: list = []
    reading = opened(document, faults, [])
    assert reading is not None
    assert document.root is not None
    assert read_model(ROOTS["hardware"], document.root, reading) is not None
    assert not faults


def test_that_there_is_a_step_from_every_old_format():
    assert sorted(MIGRATIONS) == list(range(FIRST_FORMAT, FORMAT))


def rename_colour(root: MapNode) -> MapNode:
    """A step as one would write it: the key colour becomes color."""
    entries = [
        Entry(replace(entry.key, text="color"), entry.value) if entry.key.text == "colour" else entry
        for entry in root.entries
    ]
    return replace(root, entries=tuple(entries))


def drop_shade(root: MapNode) -> MapNode:
    return replace(root, entries=tuple(entry for entry in root.entries if entry.key.text != "shade"))


def test_that_steps_follow_each_other_and_values_keep_their_places():
    root = Document("old", "format: 1\ncolour: red\nshade: dark\n", "scene").root
    assert isinstance(root, MapNode)
    new = migrated(root, 1, {1: rename_colour, 2: drop_shade})
    assert [entry.key.text for entry in new.entries] == ["format", "color"]
    number, colour = new.get("format"), new.get("color")
    assert isinstance(number, ScalarNode)
    assert (number.text, number.start, number.end) == ("3", 8, 9)
    assert colour is root.get("colour")


def test_that_a_migrated_tree_is_not_migrated_again():
    root = Document("old", "format: 1\ncolour: red\n", "scene").root
    assert isinstance(root, MapNode)
    new = migrated(root, 1, {1: rename_colour})
    assert migrated(new, 2, {1: rename_colour}) is new


def test_that_a_tree_of_the_present_format_is_left_alone():
    root = Document("new", "format: 1\n", "scene").root
    assert isinstance(root, MapNode)
    assert migrated(root, FORMAT) is root
