"""One file that was read: its name, its text, its tree, and where each value stands in it."""

from __future__ import annotations

import difflib
from collections.abc import Iterable

from app.scenes.faults import MOST_FAULTS, Fault
from app.scenes.located import Lines, ListNode, MapNode, Node, ScalarNode, TextFault, children, decoded, read_tree
from app.scenes.paths import FEATURE_KEYS, SHAPE_KEYS, Kind, joined, named_nodes


class Document:
    """A file as text and tree. `root` is None where the text could not be understood.

    Parameters
    ----------
    file : the name to show in faults.
    kind : which names paths are made of.
    faults : what was wrong with the text itself.
    """

    __slots__ = ("_lines", "_names", "faults", "file", "kind", "root", "text")

    def __init__(self, file: str, text: str, kind: Kind) -> None:
        self.file = file
        self.text = text
        self.kind: Kind = kind
        self._lines: Lines | None = None
        self.root: Node | None = None
        self._names: dict[int, str] | None = None
        told: list[tuple[int, str]] = []

        def tell(offset: int, message: str) -> None:
            told.append((offset, message))
            if len(told) > MOST_FAULTS:
                raise TextFault(offset, "too many faults before this; the rest of the file was not read")

        try:
            self.root = read_tree(text, tell)
        except TextFault as fault:
            told.append((fault.offset, fault.message))
        self.faults: tuple[Fault, ...] = tuple(
            self.fault_at(offset, self._path_at(offset), message) for offset, message in told
        )

    @classmethod
    def of_bytes(cls, file: str, data: bytes, kind: Kind) -> Document:
        """Read a file's bytes; bytes that are no text make a document with a fault and no tree."""
        try:
            return cls(file, decoded(data), kind)
        except TextFault as fault:
            document = cls(file, "", kind)
            text = data.decode("utf-8", errors="replace") if fault.offset else ""
            line, column = Lines.of(text).position(fault.offset)
            document.faults = (Fault(file, line, column, "", fault.message),)
            return document

    def __getstate__(self) -> tuple[object, ...]:
        return (self.file, self.text, self.kind, self.root, self.faults)

    def __setstate__(self, state: tuple[object, ...]) -> None:
        self.file, self.text, self.kind, self.root, self.faults = state  # type: ignore[assignment]  # as given by __getstate__
        self._lines, self._names = None, None

    def at(self, offset: int) -> int:
        """Where an offset of the tree is in the text."""
        return offset

    def position(self, offset: int) -> tuple[int, int]:
        """Line and column, from 1, of an offset of the tree."""
        if self._lines is None:
            self._lines = Lines.of(self.text)
        return self._lines.position(self.at(offset))

    def written(self, node: Node) -> str:
        """A value as it stands in the text."""
        return self.text[self.at(node.start) : self.at(node.end)]

    def fault_at(self, offset: int, path: str, message: str) -> Fault:
        line, column = self.position(offset)
        return Fault(self.file, line, column, path, message)

    def fault(self, node: Node, message: str, *key: str) -> Fault:
        """A fault of a value, or of a key that is missing from it."""
        path = "/".join(part for part in (self.path_of(node), *key) if part)
        return self.fault_at(node.start, path, message)

    def path_of(self, node: Node) -> str:
        """The path of a value; empty for the whole file and for what has no name."""
        return self.names().get(id(node), "")

    def paths(self) -> dict[str, Node]:
        """Every path with its value, in file order; of values with the same path, the first."""
        found: dict[str, Node] = {}
        if self.root is not None:
            for steps, node in named_nodes(self.root, self.kind):
                found.setdefault(joined(steps), node)
        return found

    def replace_root(self, root: Node) -> None:
        """Put the tree of a newer format in the place of the one that was read; its values keep their places."""
        if root is not self.root:
            self.root, self._names = root, None

    def find(self, path: str) -> Node | None:
        """The value of a path, or None."""
        return self.paths().get(path)

    def names(self) -> dict[int, str]:
        """The path of every value by its identity; of several, the first."""
        if self._names is None:
            self._names = {}
            if self.root is not None:
                for steps, node in named_nodes(self.root, self.kind):
                    self._names.setdefault(id(node), joined(steps))
        return self._names

    def _path_at(self, offset: int) -> str:
        """The path of the innermost value that encloses an offset."""
        path, node = "", self.root
        while node is not None:
            path = self.path_of(node) or path
            node = next((child for _, child in children(node) if child.start <= offset <= child.end), None)
        return path


def child_of(node: Node, key: str) -> Node | None:
    """The value under a key or entry (counted from 1, or x, y, z), shape and feature keys left out."""
    if isinstance(node, MapNode):
        inside = (node.get(name) for name in (*SHAPE_KEYS, *FEATURE_KEYS))
        found = node.get(key)
        return found or next((hit for part in inside if part and (hit := child_of(part, key))), None)
    if isinstance(node, ListNode):
        index = "xyz".find(key) if key in ("x", "y", "z") else int(key) - 1 if key.isdecimal() else -1
        return node.items[index] if 0 <= index < len(node.items) else None
    return None


def nearest(word: str, known: Iterable[str]) -> str | None:
    """The known word that is most like a misspelt one, or None."""
    words = set(known)
    if len(words) > 2000 or len(word) > 200:  # a comparison with each would take longer than anybody waits
        return word if word in words else None
    lowered: dict[str, str] = {}
    for candidate in sorted(words):
        lowered.setdefault(_folded(candidate), candidate)
    if (same := lowered.get(_folded(word))) is not None:
        return same
    close: list[str] = difflib.get_close_matches(_folded(word), list(lowered), n=1, cutoff=0.6)
    return lowered[close[0]] if close else None


def _folded(word: str) -> str:
    return word.casefold().replace("-", "_").replace(" ", "_")


def text_of(node: Node | None) -> str | None:
    """The text of a single value, or None."""
    return node.text if isinstance(node, ScalarNode) and not node.is_broken and node.text else None
