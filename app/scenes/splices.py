"""Whole entries put into a text, or taken out of it, in the layout of their neighbours.

Everything outside of what is put in or taken out stays as it is, byte for byte: comments, blanks, line
ends. A splice is a stretch of the old text and what stands there instead.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import NamedTuple

from app.scenes.located import Entry, ListNode, MapNode, Node
from app.scenes.yaml_text import Plain, rendered, text_text

_LINE_END = re.compile(r"\r\n|\r|\n")
_DASH = re.compile(r"[\r\n] *-(?=[ \t\r\n]|$)")


class Splice(NamedTuple):
    """text[start:end] becomes `new`."""

    start: int
    end: int
    new: str


def inserted_key(text: str, into: MapNode, key: str, value: Plain) -> Splice:
    """A new last key of a mapping."""
    pair = f"{text_text(key)}: {rendered(value)}"
    if into.is_flow:
        return _into_flow(text, into, [entry.value for entry in into.entries], _starts(into), pair, len(into.entries))
    last = into.entries[-1]
    indent = _column(text, into.entries[0].key.start) * " "
    return _after_line(text, _end_of(last.value, last.key), f"{indent}{pair}")


def inserted_item(text: str, into: ListNode, index: int, value: Plain) -> Splice:
    """A new entry of a list, so that it stands at `index` (from 0; at most the length of the list)."""
    if into.is_flow:
        starts = [item.start for item in into.items]
        return _into_flow(text, into, list(into.items), starts, rendered(value), index)
    neighbour = max(index - 1, 0)
    like, dash = into.items[neighbour], _dash(text, into, neighbour)
    indent = _column(text, dash)
    gap = text[dash + 1 : like.start]
    gap = gap if gap and not gap.strip(" ") else " "
    body = _in_layout_of(text, like, value, indent + 1 + len(gap), _newline(text, dash))
    if index > 0:
        return _after_line(text, _end_of(like), f"{' ' * indent}-{gap}{body}")
    # before the first entry, which may share its line with an outer dash
    return Splice(dash, dash, f"-{gap}{body}{_newline(text, dash)}{' ' * indent}")


def removed_key(text: str, of: MapNode, entry: Entry) -> Splice:
    """A key with its value."""
    index = of.entries.index(entry)
    if of.is_flow:
        return _out_of_flow(of, _starts(of), [e.value.end for e in of.entries], index)
    line_start = _line_start(text, entry.key.start)
    if text[line_start : entry.key.start].strip(" ") != "" and index + 1 < len(of.entries):
        return Splice(entry.key.start, of.entries[index + 1].key.start, "")  # it shares its line with a dash
    return Splice(line_start, _next_line(text, _end_of(entry.value, entry.key)), "")


def removed_item(text: str, of: ListNode, index: int, key: Node | None) -> Splice:
    """An entry of a list. `key`: the key of the list, which is left with [] when its last entry goes."""
    if of.is_flow:
        return _out_of_flow(of, [item.start for item in of.items], [item.end for item in of.items], index)
    dash = _dash(text, of, index)
    end = _next_line(text, _end_of(of.items[index]))
    line_start = _line_start(text, dash)
    is_alone_on_line = not text[line_start:dash].strip(" ")
    if len(of.items) == 1 and key is not None and is_alone_on_line:
        colon = text.index(":", key.end) + 1
        return Splice(colon, end, " []" + text[colon:line_start])
    if len(of.items) == 1:
        return Splice(dash, of.end, "[]")
    if is_alone_on_line:
        return Splice(line_start, end, "")
    return Splice(dash, _dash(text, of, 1), "")  # it shares its line with an outer dash


def _into_flow(
    text: str, into: ListNode | MapNode, values: list[Node], starts: list[int], new: str, index: int
) -> Splice:
    if not values:
        return Splice(into.start + 1, into.start + 1, new)
    gap = ", "
    if len(values) > 1:
        at = min(max(index, 1), len(values) - 1)
        between = text[values[at - 1].end : starts[at]]
        if between.strip(" \r\n") == "," and ("\n" in between or "\r" in between):
            gap = between
    if index == 0:
        return Splice(starts[0], starts[0], new + gap)
    end = values[index - 1].end
    return Splice(end, end, gap + new)


def _out_of_flow(of: ListNode | MapNode, starts: list[int], ends: list[int], index: int) -> Splice:
    if index + 1 < len(starts):
        return Splice(starts[index], starts[index + 1], "")
    if index > 0:
        return Splice(ends[index - 1], ends[index], "")
    return Splice(of.start + 1, of.end - 1, "")


def _in_layout_of(text: str, like: Node, value: Plain, indent: int, newline: str) -> str:
    """A value laid out as its neighbour is: a key a line, or all in one line. Its first line is not indented."""
    if not isinstance(value, Mapping) or not value or not isinstance(like, MapNode) or like.is_flow:
        return rendered(value, like)
    lines: list[str] = []
    for key, item in value.items():
        below = like.get(key)
        if isinstance(below, ListNode) and not below.is_flow and isinstance(item, list | tuple) and item:
            inner = indent + _column(text, below.start) - _column(text, like.entries[0].key.start)
            lines.append(f"{' ' * indent}{text_text(key)}:")
            for one in item:
                entry = _in_layout_of(text, below.items[0], one, inner + 2, newline)
                lines.append(f"{' ' * inner}- {entry}")
        else:
            lines.append(f"{' ' * indent}{text_text(key)}: {rendered(item, below)}")
    return newline.join(lines)[indent:]


def _starts(of: MapNode) -> list[int]:
    return [entry.key.start for entry in of.entries]


def _end_of(node: Node, key: Node | None = None) -> int:
    """Where an entry ends; a value that is not there ends with its key's colon."""
    return max(node.end, key.end if key is not None else 0)


def _dash(text: str, of: ListNode, index: int) -> int:
    """The dash of an entry of a block list."""
    if index == 0:
        return of.start
    before = _end_of(of.items[index - 1])
    before -= 1 if text[before - 1 : before] in ("\r", "\n") else 0
    found = _DASH.search(text, before)
    assert found is not None, "an entry of a block list begins with a dash"
    return found.end() - 1


def _after_line(text: str, end: int, line: str) -> Splice:
    """A new line after the one in which something ends, its comment included."""
    at = _next_line(text, end)
    newline = _newline(text, end)
    if at > 0 and text[at - 1] in "\r\n":
        return Splice(at, at, line + newline)
    return Splice(at, at, newline + line)


def _next_line(text: str, at: int) -> int:
    """The start of the next line; `at` itself if it is the start of a line already (block scalars end there)."""
    if at > 0 and text[at - 1] in "\r\n":
        return at
    found = _LINE_END.search(text, at)
    return found.end() if found else len(text)


def _line_start(text: str, at: int) -> int:
    return max(text.rfind("\n", 0, at), text.rfind("\r", 0, at)) + 1


def _column(text: str, at: int) -> int:
    """Characters before `at` in its line, the byte order mark not counted."""
    line = text[_line_start(text, at) : at]
    return len(line.removeprefix("\ufeff"))


def _newline(text: str, at: int) -> str:
    """The line end that the text uses there."""
    found = _LINE_END.search(text, at) or _LINE_END.search(text)
    return found[0] if found else "\n"
