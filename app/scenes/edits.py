"""Edits of a file's text: a path and a value, spliced in at the value's span; nothing else changes.

1. ruamel parses, it never dumps: comments, blanks, order and line ends stay byte for byte.
2. Every edit is read back before it is handed out: it says what was asked, or it is refused.
3. Numbers are in the units of the file, as its reader sees them there.
4. Undo is the text before; an edit keeps no state.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import lru_cache

from app.scenes.document import Document, nearest
from app.scenes.faults import SceneFileError
from app.scenes.located import Entry, ListNode, MapNode, Node, ScalarNode
from app.scenes.models import knows, models_of
from app.scenes.paths import FEATURE_KEYS, SHAPE_KEYS, Kind
from app.scenes.same_but import Change, is_same_but
from app.scenes.splices import Splice, inserted_item, inserted_key, removed_item, removed_key
from app.scenes.yaml_text import Plain, plain_value, rendered, unlocated
from kinematics.errors import TightsideError


class EditError(TightsideError):
    """An edit cannot be made: there is nothing of that name, or the text would not mean what was asked."""


def edited(text: str, changes: Iterable[tuple[str, Plain]], *, kind: Kind = "scene") -> str:
    """The text after all changes, one after the other. Raises EditError; SceneFileError if it is no YAML."""
    changes = list(changes)
    at_once = _with_scalars(text, changes, kind)
    if at_once is not None:
        return at_once
    for path, value in changes:
        text = set_value(text, path, value, kind=kind)
    return text


def set_value(text: str, path: str, value: Plain, *, kind: Kind = "scene") -> str:
    """The text with a value set by its path.

    A key that the format knows but the file does not give is put in last in its object, and an object
    that is missing with it (``setup_errors/location``).

    Raises
    ------
    EditError : nothing is called that.
    SceneFileError : the text is no YAML.
    """
    document = _opened(text, kind)
    node = document.find(path)
    if node is not None:
        return _checked(text, _replacement(text, node, value), Change(_root(document), node, value=value), kind)
    owner, rest = _owner(document, path)
    inner: Plain = value
    for key in reversed(rest[1:]):
        inner = {key: inner}
    change = Change(_root(document), owner, n_before=len(owner.entries), key=rest[0], value=inner)
    return _checked(text, inserted_key(text, owner, rest[0], inner), change, kind)


def set_text(text: str, path: str, written: str, *, kind: Kind = "scene") -> str:
    """The text with a value set as somebody wrote it, digits and all: ``30.50`` stays 30.50."""
    value = plain_value(written)
    is_bare_mapping = isinstance(value, dict) and not written.lstrip().startswith("{")
    if value is None or is_bare_mapping or "\n" in written or "\r" in written:
        raise EditError(f"{path}: '{written}' is not one value; expected a number, a text, true or false, or a list")
    document = _opened(text, kind)
    node = document.find(path)
    if isinstance(node, ScalarNode):
        splice = Splice(node.start, node.end, _spaced(text, node, written))
        try:
            return _checked(text, splice, Change(_root(document), node, value=value), kind)
        except EditError:  # it reads otherwise in its place, as a text with a comma does inside braces
            return set_value(text, path, value, kind=kind)
    return set_value(text, path, value, kind=kind)


def value_text(text: str, path: str, *, kind: Kind = "scene") -> str:
    """What stands in the text for a value, as written."""
    document = _opened(text, kind)
    node = document.find(path)
    if node is None:
        raise EditError(_unknown(document, path))
    return text[node.start : node.end]


def value_at(text: str, path: str, *, kind: Kind = "scene") -> Plain | None:
    """The value of a path, in the units of the file; None if it has none."""
    document = _opened(text, kind)
    node = document.find(path)
    if node is None:
        raise EditError(_unknown(document, path))
    return unlocated(node)


def insert_entry(text: str, after: str, entry: Plain, *, kind: Kind = "scene") -> str:
    """The text with a new entry right after another, in its layout.

    Parameters
    ----------
    after : the path of an entry (``clamp screw L``, ``V6/drain spot``, ``H16/profile/1``), or of a list,
        which then gets the entry last.
    """
    document = _opened(text, kind)
    node = document.find(after)
    if node is None:
        raise EditError(_unknown(document, after))
    if isinstance(node, ListNode) and not isinstance(_parent(document, node)[0], ListNode):
        into, index = node, len(node.items)
    else:
        parent, at = _parent(document, node)
        if not isinstance(parent, ListNode) or not isinstance(at, int):
            raise EditError(f"{after} is no entry of a list; expected one, to put the new one after it")
        into, index = parent, at + 1
    if not into.items and not into.is_flow:
        raise EditError(f"{after} is empty; expected []")
    change = Change(_root(document), into, n_before=index, value=entry)
    return _checked(text, inserted_item(text, into, index, entry), change, kind)


def insert_holder(text: str, name: str, holder: Plain) -> str:
    """The text of a scene with a new holder, as `set_value` would put a key into `holders`."""
    document = _opened(text, "scene")
    holders = document.find("holders")
    if not isinstance(holders, MapNode):
        return set_value(text, "holders", {name: holder})
    if holders.get(name) is not None:
        raise EditError(f"there is a holder {name} already; expected another name")
    change = Change(_root(document), holders, n_before=len(holders.entries), key=name, value=holder)
    return _checked(text, inserted_key(text, holders, name, holder), change, "scene")


def remove_entry(text: str, path: str, *, kind: Kind = "scene") -> str:
    """The text without an entry of a list, or without a key and its value."""
    document = _opened(text, kind)
    node = document.find(path)
    if node is None:
        raise EditError(_unknown(document, path))
    parent, at = _parent(document, node)
    if isinstance(parent, ListNode) and isinstance(at, int):
        outer, entry = _parent(document, parent)
        key = entry.key if isinstance(outer, MapNode) and isinstance(entry, Entry) else None
        return _checked(text, removed_item(text, parent, at, key), Change(_root(document), parent, n_before=at), kind)
    if isinstance(parent, MapNode) and isinstance(at, Entry):
        if len(parent.entries) == 1 and not parent.is_flow:
            raise EditError(f"{path} is the only key there; expected its object to be removed instead")
        change = Change(_root(document), parent, n_before=parent.entries.index(at))
        return _checked(text, removed_key(text, parent, at), change, kind)
    raise EditError("the whole file cannot be removed by an edit")


# --- below the surface ---


@lru_cache(maxsize=4)
def _parsed(text: str, kind: Kind) -> Document:
    """A text with its tree, which nobody changes; the text after an edit is the one before the next."""
    return Document("", text, kind)


def _with_scalars(text: str, changes: Sequence[tuple[str, Plain]], kind: Kind) -> str | None:
    """The text with several values set that stand there, each once; None where it takes more than that."""
    if len(changes) < 2 or len({path for path, _ in changes}) < len(changes):
        return None
    document = _opened(text, kind)
    nodes = [document.find(path) for path, _ in changes]
    splices = []
    for node, (_, value) in zip(nodes, changes, strict=True):
        if not isinstance(node, ScalarNode) or node.style in ("|", ">") or not isinstance(value, int | float | str):
            return None
        splices.append(_replacement(text, node, value))
    after = text
    for splice in sorted(splices, key=lambda one: one.start, reverse=True):
        after = after[: splice.start] + splice.new + after[splice.end :]
    new = _parsed(after, kind)
    if new.root is None or new.faults:
        return None
    wanted = {**_scalars(document), **{path: _as_read(value) for path, value in changes}}
    return after if wanted == _scalars(new) else None


def _as_read(value: Plain) -> object:
    """A value as a reader sees it once it is written."""
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else value


def _scalars(document: Document) -> dict[str, object]:
    """Every scalar of a document by its path."""
    return {path: node.value for path, node in document.paths().items() if isinstance(node, ScalarNode)}


def _opened(text: str, kind: Kind) -> Document:
    document = _parsed(text, kind)
    if document.root is None or document.faults:
        raise SceneFileError(document.faults)
    return document


def _root(document: Document) -> Node:
    assert document.root is not None, "a document without a tree is refused when it is opened"
    return document.root


def _replacement(text: str, node: Node, value: Plain) -> Splice:
    new = rendered(value, node)
    if isinstance(node, ScalarNode) and node.style in ("|", ">"):
        new += "\n" if text[node.start : node.end].endswith("\n") else ""
    if isinstance(node, ListNode | MapNode) and not node.is_flow:
        raise EditError("a block of several lines cannot be set as one value; expected its entries one by one")
    return Splice(node.start, node.end, _spaced(text, node, new))


def _spaced(text: str, node: Node, new: str) -> str:
    """A value put where nothing stood needs a blank after its colon."""
    if node.start != node.end or text[node.start : node.end]:
        return new
    return f" {new}" if text[node.start - 1 : node.start] in (":", "-") else f": {new}"


def _checked(text: str, splice: Splice, change: Change, kind: Kind) -> str:
    """The spliced text, if it then says what was asked and nothing else has changed."""
    after = text[: splice.start] + splice.new + text[splice.end :]
    document = _parsed(after, kind)
    if document.root is None or document.faults or not is_same_but(change, document.root):
        raise EditError(f"'{splice.new.strip()}' cannot stand there: the file would no longer say what it says")
    return after


def _parent(document: Document, node: Node) -> tuple[Node | None, int | Entry | None]:
    """What holds a node, and where in it."""
    waiting = [document.root]
    while waiting:
        holder = waiting.pop()
        if isinstance(holder, MapNode):
            for entry in holder.entries:
                if entry.value is node:
                    return holder, entry
                waiting.append(entry.value)
        elif isinstance(holder, ListNode):
            for index, item in enumerate(holder.items):
                if item is node:
                    return holder, index
                waiting.append(item)
    return None, None


def _owner(document: Document, path: str) -> tuple[MapNode, list[str]]:
    """The mapping that a new key belongs in, and the keys from there on; raises EditError for unknown names."""
    steps = path.split("/")
    models = models_of(document)
    for n in range(len(steps) - 1, -1, -1):
        node = document.find("/".join(steps[:n])) if n else document.root
        if isinstance(node, MapNode):
            parts = [part for key in (*SHAPE_KEYS, *FEATURE_KEYS) if isinstance(part := node.get(key), MapNode)]
            for holder in (node, *parts):
                if (model := models.get(id(holder))) is not None and knows(model, steps[n:]):
                    return holder, steps[n:]
            break
    raise EditError(_unknown(document, path))


def _unknown(document: Document, path: str) -> str:
    near = nearest(path, document.paths())
    return f"nothing is called '{path}'" + (f"; nearest: {near}" if near else "; expected a path like T4/stick_out")
