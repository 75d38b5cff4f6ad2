"""A document with other numbers in it, made without parsing its text again.

1. Its tree shares with the tree that it came from all but the values that are set and what holds them.
2. Values keep the offsets that they were read with; `at` tells where those are in the new text.
3. The text is what an edit would have made of the old one, byte for byte.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Sequence
from itertools import accumulate
from typing import NamedTuple

from app.scenes.document import Document
from app.scenes.located import Entry, ListNode, MapNode, Node, ScalarNode, children


class Setting(NamedTuple):
    """A value without quotes, and the value that takes its place, at the same offsets."""

    old: ScalarNode
    new: ScalarNode


class SplicedDocument(Document):
    """A document with some of its values set anew. `base` has a tree, and nothing is wrong with its text."""

    __slots__ = ("_ends", "_shifts")

    def __init__(self, base: Document, settings: Iterable[Setting]) -> None:
        assert base.root is not None and not base.faults, "only a text that was understood can be spliced"
        ordered = sorted(settings, key=lambda setting: setting.old.start)
        self.file, self.kind, self.faults = base.file, base.kind, ()
        self.text = _spliced(base.text, ordered)
        self._lines = None
        self._ends = tuple(one.old.end for one in ordered)
        self._shifts = tuple(accumulate(len(one.new.text) - (one.old.end - one.old.start) for one in ordered))
        names = dict(base.names())
        self.root = _with(base.root, ordered, names)
        self._names = names

    def __getstate__(self) -> tuple[object, ...]:
        return (super().__getstate__(), self._ends, self._shifts)

    def __setstate__(self, state: tuple[object, ...]) -> None:
        own, self._ends, self._shifts = state  # type: ignore[assignment]  # as given by __getstate__
        super().__setstate__(own)  # type: ignore[arg-type]

    def at(self, offset: int) -> int:
        """Where an offset of the tree is in the text."""
        n_before = bisect_right(self._ends, offset)
        return offset + self._shifts[n_before - 1] if n_before else offset


def _spliced(text: str, settings: Sequence[Setting]) -> str:
    parts, done = [], 0
    for old, new in settings:
        assert not old.style and text[old.start : old.end] == old.text, "a value without quotes stands as it reads"
        parts += [text[done : old.start], new.text]
        done = old.end
    return "".join((*parts, text[done:]))


def _with(node: Node, settings: Sequence[Setting], names: dict[int, str]) -> Node:
    """The node with values set below it; a new node takes over the name of the old one."""
    if not settings:
        return node
    new: Node
    if isinstance(node, ScalarNode):
        assert len(settings) == 1 and settings[0].old is node, "a value to set is in the tree"
        new = settings[0].new
    else:
        below = {key: _within(child, settings) for key, child in children(node)}
        assert sum(map(len, below.values())) == len(settings), "a value to set stands in one place"
        if isinstance(node, MapNode):
            entries = (Entry(e.key, _with(e.value, below[e.key.text], names)) for e in node.entries)
            new = MapNode(tuple(entries), node.is_flow, node.start, node.end)
        else:
            items = (_with(item, below[index], names) for index, item in enumerate(node.items))
            new = ListNode(tuple(items), node.is_flow, node.start, node.end)
    if (name := names.pop(id(node), None)) is not None:
        names[id(new)] = name
    return new


def _within(node: Node, settings: Sequence[Setting]) -> Sequence[Setting]:
    return [one for one in settings if node.start <= one.old.start and one.old.end <= node.end]
