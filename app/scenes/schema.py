"""The JSON Schema of scene, machine, holder and hardware files, made from the models that read them.

A schema says which keys there are, what kind of value each takes, and, for the hover text of an
editor, what it means. Limits of lengths depend on the units of the file and references on other
names: these only the reader can judge.
"""

from __future__ import annotations

from typing import Any

from app.scenes.models import ROOTS
from app.scenes.paths import FEATURE_KEYS, SHAPE_KEYS, Kind
from app.scenes.values import one_of

DIALECT = "https://json-schema.org/draft/2020-12/schema"
_TITLES: dict[Kind, str] = {
    "scene": "Scene file",
    "machine": "Machine file",
    "holder": "Holder file",
    "hardware": "Table of screws, washers or pins",
}


def schema(kind: Kind) -> dict[str, Any]:
    """The JSON Schema (draft 2020-12) of one kind of file."""
    root = ROOTS[kind]
    made = root.model_json_schema(mode="validation")
    tidied: dict[str, Any] = _tidied(made)
    definitions = tidied.pop("$defs", {})
    if "$ref" in tidied:  # a model that holds itself is a definition of its own
        tidied = definitions[tidied["$ref"].rsplit("/", 1)[1]]
    for name, definition in definitions.items():
        _add_rules(name, definition)
    required = ["format", "units", *tidied.get("required", []), *root.required]
    tidied["required"] = list(dict.fromkeys(required))
    if kind == "scene":
        tidied["oneOf"] = [{"required": ["workpiece"]}, {"required": ["workpieces"]}]
    head: dict[str, Any] = {"$schema": DIALECT, "title": _TITLES[kind]}
    return {**head, **tidied, **({"$defs": definitions} if definitions else {})}


def _add_rules(name: str, definition: dict[str, Any]) -> None:
    """What a model checks as a whole: exactly one shape, one feature, one contour; angles under any name."""
    if name == "Body":
        definition["oneOf"] = [{"required": [key]} for key in (*SHAPE_KEYS, "bodies")]
        definition["description"] = f"A body: a name, what it stands on, and {one_of((*SHAPE_KEYS, 'bodies'))}."
    elif name == "Cut":
        definition["oneOf"] = [{"required": [key]} for key in FEATURE_KEYS]
        definition["description"] = f"A cut: a name, a tool, a state, and {one_of(FEATURE_KEYS)}."
    elif name == "Profile":
        definition["oneOf"] = [{"required": ["rectangle"]}, {"required": ["outline"]}]
    elif name == "Path":
        definition["oneOf"] = [{"required": ["points"]}, {"required": ["file"]}]
    elif name == "Orientation":
        definition["additionalProperties"] = {"type": "number", "description": "the angle of a table axis, in degrees"}
    elif name == "Machine":
        definition["required"] = [*definition.get("required", []), "title", "linear_axes", "spindle"]


def _tidied(value: Any) -> Any:
    """Without made-up titles and without null: a key without a value is a fault, not a default."""
    if isinstance(value, list):
        return [_tidied(item) for item in value]
    if not isinstance(value, dict):
        return value
    kept: dict[str, Any] = {}
    for key, item in value.items():
        if key == "properties":
            kept[key] = {name: _tidied(field) for name, field in item.items()}
        elif not (key == "title" and isinstance(item, str)) and not (key == "default" and item is None):
            kept[key] = _tidied(item)
    forms = [form for form in kept.get("anyOf", ()) if form != {"type": "null"}]
    if "anyOf" in kept and len(forms) < len(kept["anyOf"]):
        del kept["anyOf"]
        if len(forms) > 1:
            kept["anyOf"] = forms
        else:
            kept = {**forms[0], **kept}
    return kept
