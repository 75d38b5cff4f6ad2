"""From old formats to the present one: pure functions on the located tree, one per step.

A step n takes the tree of format n and returns that of format n + 1; values that it moves keep their
place in the file, so that faults still point at the line that a person wrote. Old files stay readable
for ever: each format has its stored files in `tests/data/formats`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

from app.scenes.located import Entry, MapNode, ScalarNode

Migration = Callable[[MapNode], MapNode]

FIRST_FORMAT = 1
MIGRATIONS: Mapping[int, Migration] = {}  # format 1 is the first and the present one
FORMAT = FIRST_FORMAT + len(MIGRATIONS)


def migrated(root: MapNode, number: int, migrations: Mapping[int, Migration] = MIGRATIONS) -> MapNode:
    """The tree of a file of format `number` as the newest format would write it."""
    if number not in migrations:
        return root
    while number in migrations:
        root = migrations[number](root)
        number += 1
    entries = [_numbered(entry, number) if entry.key.text == "format" else entry for entry in root.entries]
    return replace(root, entries=tuple(entries))


def _numbered(entry: Entry, number: int) -> Entry:
    """The format's own entry, with the number that the tree has now."""
    assert isinstance(entry.value, ScalarNode), "a format that is no number is a fault before this"
    return replace(entry, value=replace(entry.value, text=str(number), value=float(number)))
