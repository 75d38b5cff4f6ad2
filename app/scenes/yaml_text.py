"""Values as YAML text: numbers as people write them, texts in quotes only where they must be."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from decimal import Decimal
from functools import lru_cache

from app.scenes.located import ListNode, MapNode, Node, ScalarNode, TextFault, read_tree

Plain = str | float | bool | Sequence["Plain"] | Mapping[str, "Plain"]


def rendered(value: Plain, like: Node | None = None) -> str:
    """A value in one line (flow style). `like`: a text takes over the quotes of the value it replaces."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return number_text(value)
    if isinstance(value, str):
        return text_text(value, like.style if isinstance(like, ScalarNode) else "")
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{text_text(key)}: {rendered(item)}" for key, item in value.items()) + "}"
    return "[" + ", ".join(rendered(item) for item in value) + "]"


def number_text(value: float) -> str:
    """A number with as many digits as it needs, never with an exponent."""
    assert math.isfinite(value), "what cannot be measured cannot be written"
    if float(value).is_integer() and abs(value) < 1e15:
        return str(int(value))
    return format(Decimal(repr(float(value))), "f")


def text_text(value: str, style: str = "") -> str:
    """A text: without quotes where it then reads back as itself in any place, else in quotes.

    `style` is the quote sign to keep, if there is one.
    """
    if style == "'" and value.isprintable():
        return "'" + value.replace("'", "''") + "'"
    if style != '"' and value.isprintable() and _reads_back(value):
        return value
    return '"' + "".join(map(_escaped, value)) + '"'


def _escaped(character: str) -> str:
    """A character inside double quotes, by YAML 1.2, section 5.7."""
    if character in '\\"':
        return "\\" + character
    if character.isprintable():
        return character
    code = ord(character)
    return f"\\x{code:02x}" if code < 0x100 else f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}"


@lru_cache(maxsize=4096)  # keys and names come again and again
def _reads_back(value: str) -> bool:
    """Whether a text without quotes is itself again in a list, in a mapping, and as a key."""
    if not value or value != value.strip() or any(sign in value for sign in ",[]{}#"):
        return False
    found = plain_value(f"{{{value}: {value}}}")
    return found == {value: value}


def plain_value(text: str) -> Plain | None:
    """What a text of one value means, or None if it is not one value."""
    faults: list[str] = []
    try:
        node = read_tree(text, lambda _, message: faults.append(message))
        return None if faults else unlocated(node)
    except TextFault:
        return None


def unlocated(node: Node) -> Plain | None:
    """A node as plain Python values; None where something has no value."""
    if isinstance(node, MapNode):
        pairs = {entry.key.text: unlocated(entry.value) for entry in node.entries}
        return None if None in pairs.values() else {key: v for key, v in pairs.items() if v is not None}
    if isinstance(node, ListNode):
        items = [unlocated(item) for item in node.items]
        return None if None in items else [item for item in items if item is not None]
    return node.value
