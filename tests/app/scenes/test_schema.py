"""The JSON Schema, against the files of the project, by a general validator (jsonschema, draft 2020-12)."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from app.scenes.document import Document
from app.scenes.models import ROOTS
from app.scenes.paths import Kind
from app.scenes.schema import schema
from app.scenes.yaml_text import unlocated

ROOT = Path(__file__).parents[3]
FAULTY = ROOT / "tests" / "data" / "faulty"
FILES: dict[Kind, list[Path]] = {
    "scene": sorted(ROOT.glob("sample_scenes/*/*.scene.yaml")),
    "machine": sorted(ROOT.glob("shared/machines/*.yaml")),
    "holder": sorted(ROOT.glob("shared/holders/*.yaml")),
    "hardware": sorted(ROOT.glob("shared/hardware/*.yaml")),
}
ALL_FILES = [(kind, file) for kind, files in FILES.items() for file in files]


def plain(text: str, kind: Kind = "scene") -> Any:
    document = Document("x", text, kind)
    assert document.root is not None
    return unlocated(document.root)


def errors(data: Any, kind: Kind = "scene") -> list[str]:
    return [f"{error.json_path}: {error.message}" for error in Draft202012Validator(schema(kind)).iter_errors(data)]


@pytest.mark.parametrize("kind", ROOTS)
def test_that_a_schema_is_one(kind: Kind):
    Draft202012Validator.check_schema(schema(kind))
    json.dumps(schema(kind))


@pytest.mark.parametrize(("kind", "file"), ALL_FILES, ids=[file.name for _, file in ALL_FILES])
def test_that_the_projects_own_files_fit_their_schema(kind: Kind, file: Path):
    assert errors(plain(file.read_text(encoding="utf-8"), kind), kind) == []


# Faults that a schema can see: keys and kinds of values. The reader's own tests have the same files.
VISIBLE = [
    "unknown_key", "misspelt_and_needed", "missing_sections", "body_without_a_shape", "body_with_two_shapes",
    "misspelt_shape", "cut_without_a_feature", "cut_with_two_features", "workpiece_and_workpieces",
    "mapping_for_a_list", "profile_without_a_contour", "side_of_no_kind", "leave_sideways", "lift_unknown",
    "fraction", "unit_in_a_number", "number_in_quotes", "true_for_a_number", "list_for_a_number", "point_too_short",
    "point_no_list", "flag_in_words", "face_unknown", "kind_unknown", "outline_part_unknown", "holder_step_too_long",
    "holder_without_profile", "units_unknown", "units_missing", "format_missing", "format_zero", "notes_no_list",
    "keep_off_split_by_half", "size_below_zero", "control_faulty", "machine_without_spindle", "many_at_once",
]  # fmt: skip


@pytest.mark.parametrize("name", VISIBLE)
def test_that_a_schema_sees_faulty_keys_and_kinds_of_values(name: str):
    assert errors(plain((FAULTY / f"{name}.scene.yaml").read_text(encoding="utf-8")))


def objects(node: Any, path: str = "") -> Iterator[tuple[str, dict[str, Any]]]:
    if isinstance(node, dict):
        yield path, node
        for key, item in node.items():
            yield from objects(item, f"{path}/{key}")
    elif isinstance(node, list):
        for index, item in enumerate(node):
            yield from objects(item, f"{path}/{index}")


@pytest.mark.parametrize("kind", ROOTS)
def test_that_every_key_has_a_text_to_show(kind: Kind):
    for path, node in objects(schema(kind)):
        for key, field in node.get("properties", {}).items() if isinstance(node.get("properties"), dict) else ():
            assert field.get("description"), f"{path}: {key}"


@pytest.mark.parametrize("kind", ROOTS)
def test_that_unknown_keys_are_refused_everywhere_and_null_is_no_value(kind: Kind):
    for path, node in objects(schema(kind)):
        if "properties" in node and node.get("type") == "object":
            assert "additionalProperties" in node, path
        assert node.get("type") != "null", path
