"""Which model reads which mapping of a file: edits may only add keys that the format knows."""

from __future__ import annotations

import types
from collections.abc import Iterator
from typing import Annotated, Any, Union, get_args, get_origin

from app.scenes.document import Document
from app.scenes.hardware_model import Hardware
from app.scenes.located import ListNode, MapNode, Node
from app.scenes.machine_model import Machine
from app.scenes.paths import Kind
from app.scenes.reading import Located
from app.scenes.scene_model import Scene
from app.scenes.tool_model import HolderFile

ROOTS: dict[Kind, type[Located]] = {"scene": Scene, "machine": Machine, "holder": HolderFile, "hardware": Hardware}


def models_of(document: Document) -> dict[int, type[Located]]:
    """The model of every mapping that has one, by the identity of its node."""
    found: dict[int, type[Located]] = {}
    if document.root is not None:
        _walk(ROOTS[document.kind], document.root, found)
    return found


def knows(model: type[Located], keys: list[str]) -> bool:
    """Whether the format knows a key in such an object, and the keys below it."""
    field = model.known_keys().get(keys[0])
    if field is None or len(keys) == 1:
        return field is not None
    return any(knows(below, keys[1:]) for below in _forms(field.annotation) if _is_model(below))


def _walk(annotation: Any, node: Node, found: dict[int, type[Located]]) -> None:
    for form in _forms(annotation):
        if isinstance(node, MapNode) and _is_model(form):
            found[id(node)] = form
            keys = form.known_keys()
            for entry in node.entries:
                if entry.key.text in keys:
                    _walk(keys[entry.key.text].annotation, entry.value, found)
        elif isinstance(node, MapNode) and get_origin(form) is dict:
            for entry in node.entries:
                _walk(get_args(form)[1], entry.value, found)
        elif isinstance(node, ListNode) and get_origin(form) is tuple:
            for item in node.items:
                _walk(get_args(form)[0], item, found)


def _forms(annotation: Any) -> Iterator[Any]:
    """The forms that a value may have: unions and annotations taken apart."""
    origin = get_origin(annotation)
    if origin is Annotated:
        yield from _forms(get_args(annotation)[0])
    elif origin is Union or origin is types.UnionType:
        for part in get_args(annotation):
            yield from _forms(part)
    else:
        yield annotation


def _is_model(form: Any) -> bool:
    return isinstance(form, type) and issubclass(form, Located)
