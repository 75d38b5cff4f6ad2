"""Whether two trees say the same, but for one change: what makes an edit safe to hand out."""

from __future__ import annotations

from dataclasses import dataclass

from app.scenes.located import Entry, ListNode, MapNode, Node, ScalarNode
from app.scenes.yaml_text import Plain, unlocated


@dataclass(frozen=True, slots=True)
class Change:
    """What is meant to differ from the tree `root`.

    Parameters
    ----------
    at : the value that is set, or the list or mapping that gets or loses an entry.
    n_before : how many entries stand before the one that comes or goes; None where `at` itself is set.
    key : the key that comes, in a mapping.
    value : the new value; None where an entry goes.
    """

    root: Node
    at: Node
    n_before: int | None = None
    key: str = ""
    value: Plain | None = None


def is_same_but(change: Change, after: Node) -> bool:
    """Whether `after` is the tree with the change made and nothing else."""
    return _same(change.root, after, change)


def _same(before: Node, after: Node, change: Change) -> bool:
    if before is change.at and change.n_before is None:
        assert change.value is not None, "a value that is set has a value"
        return says(unlocated(after), change.value)
    if isinstance(before, ScalarNode):
        return isinstance(after, ScalarNode) and before.text == after.text and type(before.value) is type(after.value)
    old, new = list(_entries(before)), list(_entries(after))
    if before is change.at:
        assert change.n_before is not None, "told apart above"
        if change.value is None:
            del old[change.n_before]
            if not old and not new:
                return True
        else:
            if len(new) <= change.n_before:
                return False
            key, value = new.pop(change.n_before)
            if key != change.key or not says(unlocated(value), change.value):
                return False
    if type(before) is not type(after) or len(old) != len(new):
        return False
    return all(a == b and _same(x, y, change) for (a, x), (b, y) in zip(old, new, strict=True))


def _entries(node: Node) -> list[tuple[str, Node]]:
    if isinstance(node, MapNode):
        return [_pair(entry) for entry in node.entries]
    return [("", item) for item in node.items] if isinstance(node, ListNode) else []


def _pair(entry: Entry) -> tuple[str, Node]:
    return entry.key.text, entry.value


def says(found: Plain | None, wanted: Plain) -> bool:
    """Whether a value that was read is the one that was written; numbers to the last digit that is written."""
    if isinstance(wanted, bool) or isinstance(found, bool):
        return found is wanted
    if isinstance(wanted, int | float) and isinstance(found, int | float):
        return abs(found - wanted) <= 1e-12 * max(1.0, abs(wanted))
    if isinstance(wanted, list | tuple) and isinstance(found, list):
        return len(found) == len(wanted) and all(says(f, w) for f, w in zip(found, wanted, strict=True))
    if isinstance(wanted, dict) and isinstance(found, dict):
        return list(found) == list(wanted) and all(says(found[key], wanted[key]) for key in wanted)
    return found == wanted
