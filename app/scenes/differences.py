"""Two files of one kind, value by value: what differs, each thing by its path.

1. What has a name is found by its path, wherever it stands in its file; everything else by its keys and places.
2. Comments, blanks, quotes and the way a number is written are no difference: 6 is 6.0.
3. Lengths are compared in mm. A file in inches that says the same as one in mm differs in its `units` only.
4. What is new or gone is told once, as a whole, at the outermost thing that is.
5. What this file does not know: what a value does to a clearance.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from enum import StrEnum

from app.scenes.document import Document, text_of
from app.scenes.kept import Kept
from app.scenes.located import ListNode, MapNode, Node, ScalarNode
from app.scenes.models import ROOTS
from app.scenes.paths import FEATURE_KEYS, SHAPE_KEYS
from app.scenes.prelude import inline, opened
from app.scenes.reading import SCALES, read_model

Value = float | str | bool | None
_FORMS = (*SHAPE_KEYS, *FEATURE_KEYS)


class DifferenceKind(StrEnum):
    """What happened to a thing between two files."""

    VALUE = "value"
    NEW = "new"
    GONE = "gone"
    MOVED = "moved"
    ORDER = "order"


@dataclass(frozen=True, slots=True)
class Difference:
    """One thing that differs.

    Parameters
    ----------
    path : as design section 6 names it.
    before, after : as the files write it (a list or mapping in one line); None where it is not given. Of what was
        moved, in which list it stands; of an order, the names.
    before_value, after_value : a single value; lengths in mm, angles in degrees.
    """

    path: str
    kind: DifferenceKind
    before: str | None
    after: str | None
    before_value: Value = None
    after_value: Value = None


def differences(before: Document, after: Document) -> tuple[Difference, ...]:
    """What differs between two documents of one kind, in the order of the first, new things last.

    A document that could not be read has no values.
    """
    return tuple(_Comparison(_Side.of(before), _Side.of(after)).all())


@dataclass(frozen=True, slots=True)
class _Object:
    """A mapping that is an entry of a list: where it stands, and the object that the list belongs to."""

    node: MapNode
    stands_in: str
    owner: str


@dataclass(frozen=True, slots=True)
class _Side:
    """One of the two documents. `lengths`: which numbers are lengths, by identity, where that matters."""

    document: Document
    scale: float
    lengths: frozenset[int]
    objects: dict[str, _Object] = field(default_factory=dict)

    @classmethod
    def of(cls, document: Document) -> _Side:
        root = document.root
        units = text_of(root.get("units")) if isinstance(root, MapNode) else None
        scale = SCALES.get(units or "mm", 1.0)
        side = cls(document, scale, _lengths(document) if scale != 1.0 else frozenset())
        if root is not None:
            side.objects.update(_objects(document, root))
        return side

    def value(self, node: Node) -> Value:
        if not isinstance(node, ScalarNode):
            return None
        if isinstance(node.value, float) and id(node) in self.lengths:
            return round(node.value * self.scale, 9)
        return node.value

    def path(self, node: Node) -> str:
        return self.document.path_of(node)


def _lengths(document: Document) -> frozenset[int]:
    """The numbers of a document that its reader takes for lengths; it tells its faults to nobody."""
    kept = Kept()
    reading = opened(document, [], [], kept)
    root = document.root
    if reading is None or not isinstance(root, MapNode):
        return frozenset()
    machine = root.get("machine")
    if document.kind == "scene" and isinstance(machine, MapNode):
        read_model(ROOTS["machine"], machine, inline(document, machine, reading))
    read_model(ROOTS[document.kind], root, reading)
    return frozenset(number for number, (_, unit) in kept.numbers.items() if unit in SCALES)


def _objects(document: Document, root: Node) -> Iterator[tuple[str, _Object]]:
    """Every object of a list by its path, owners before what they own."""
    stack: list[tuple[Node, str, str]] = [(root, "", "")]
    while stack:
        node, place, owner = stack.pop(0)
        if isinstance(node, MapNode):
            stack += [(e.value, f"{place}/{e.key.text}".removeprefix("/"), owner) for e in node.entries]
        elif isinstance(node, ListNode) and _is_of_objects(node):
            for item in node.items:
                path = document.path_of(item)
                if isinstance(item, MapNode):
                    yield path, _Object(item, place, owner)
                    stack.append((item, path, path))


def _is_of_objects(node: ListNode) -> bool:
    return any(isinstance(item, MapNode) for item in node.items)


@dataclass(frozen=True, slots=True)
class _Comparison:
    """The two sides, and what differs between them."""

    a: _Side
    b: _Side

    def all(self) -> Iterator[Difference]:
        root_a, root_b = self.a.document.root, self.b.document.root
        if root_a is not None and root_b is not None:
            yield from self.between(root_a, root_b)
        for path, old in self.a.objects.items():
            new = self.b.objects.get(path)
            if new is None:
                if not old.owner or old.owner in self.b.objects:
                    yield self.gone(path, old.node)
                continue
            if old.stands_in != new.stands_in:
                yield Difference(path, DifferenceKind.MOVED, old.stands_in, new.stands_in)
            yield from self.between(old.node, new.node)
        for path, new in self.b.objects.items():
            if path not in self.a.objects and (not new.owner or new.owner in self.a.objects):
                yield self.new(path, new.node)

    def between(self, a: Node, b: Node) -> Iterator[Difference]:
        """What differs in one value; objects of lists are compared by themselves."""
        if isinstance(a, MapNode) and isinstance(b, MapNode):
            yield from self._maps(a, b)
        elif isinstance(a, ListNode) and isinstance(b, ListNode):
            yield from self._lists(a, b)
        elif not (isinstance(a, ScalarNode) and isinstance(b, ScalarNode) and self.a.value(a) == self.b.value(b)):
            yield self.changed(a, b)

    def _maps(self, a: MapNode, b: MapNode) -> Iterator[Difference]:
        form_a, form_b = _form(a), _form(b)
        other_form = form_a is not None and form_b is not None and form_a != form_b
        if other_form and form_a and form_b:
            texts = [f"{form}: {one_line(node.get(form))}" for form, node in ((form_a, a), (form_b, b))]
            yield Difference(self.b.path(b), DifferenceKind.VALUE, *texts)
        keys = dict.fromkeys(entry.key.text for entry in (*a.entries, *b.entries))
        for key in keys:
            old, new = a.get(key), b.get(key)
            if other_form and key in (form_a, form_b):
                continue
            if old is not None and new is not None:
                yield from self.between(old, new)
            elif old is not None and not _holds_objects(old):
                yield self.gone(self.a.path(old), old)
            elif new is not None and not _holds_objects(new):
                yield self.new(self.b.path(new), new)

    def _lists(self, a: ListNode, b: ListNode) -> Iterator[Difference]:
        if _is_of_objects(a) or _is_of_objects(b):
            old, new = ([side.path(item) for item in node.items] for side, node in ((self.a, a), (self.b, b)))
            if [p for p in old if p in new] != [p for p in new if p in old]:
                names = [", ".join(path.rpartition("/")[2] for path in paths) for paths in (old, new)]
                yield Difference(self.b.path(b), DifferenceKind.ORDER, *names)
        elif len(a.items) == len(b.items):
            for old_item, new_item in zip(a.items, b.items, strict=True):
                yield from self.between(old_item, new_item)
        else:
            yield self.changed(a, b)

    def changed(self, a: Node, b: Node) -> Difference:
        values = self.a.value(a), self.b.value(b)
        return Difference(self.b.path(b), DifferenceKind.VALUE, one_line(a), one_line(b), *values)

    def gone(self, path: str, node: Node) -> Difference:
        return Difference(path, DifferenceKind.GONE, one_line(node), None, self.a.value(node), None)

    def new(self, path: str, node: Node) -> Difference:
        return Difference(path, DifferenceKind.NEW, None, one_line(node), None, self.b.value(node))


def _form(node: MapNode) -> str | None:
    """The shape of a body or the feature of a cut: its key."""
    return next((entry.key.text for entry in node.entries if entry.key.text in _FORMS), None)


def _holds_objects(node: Node) -> bool:
    """Whether nothing but objects of lists stands there: they are told by themselves."""
    if isinstance(node, MapNode):
        return bool(node.entries) and all(_holds_objects(entry.value) for entry in node.entries)
    return isinstance(node, ListNode) and _is_of_objects(node)


def one_line(node: Node | None) -> str:
    """A value in one line, its words and digits as they are written, without comments."""
    if isinstance(node, MapNode):
        return "{" + ", ".join(f"{e.key.text}: {one_line(e.value)}" for e in node.entries) + "}"
    if isinstance(node, ListNode):
        return "[" + ", ".join(map(one_line, node.items)) + "]"
    return "" if node is None else node.text
