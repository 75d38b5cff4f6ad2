"""Text -> a tree of values that know where they stand.

1. ruamel.yaml scans and parses YAML 1.2; it never builds a Python object and never dumps.
2. The tree is made from events, without recursion: an alias is a fault before anything is expanded.
3. Offsets count characters of the text as it was read, byte order mark and CR included, so that an
   edit can be spliced in. Lines and columns count from 1; the byte order mark has no column.
4. What this file does not know: which keys exist and what they mean.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from ruamel.yaml import YAML
from ruamel.yaml.error import MarkedYAMLError, YAMLError
from ruamel.yaml.events import (
    AliasEvent,
    DocumentStartEvent,
    MappingEndEvent,
    MappingStartEvent,
    ScalarEvent,
    SequenceEndEvent,
    SequenceStartEvent,
)
from ruamel.yaml.reader import ReaderError

from app.scenes.scalars import core_value
from app.scenes.yaml_words import syntax_fault

MAX_BYTES = 512 << 10  # a scene of a hundred cuts has 20 kB; parsing 512 KiB takes some 4 s
MAX_DEPTH = 40  # levels of nesting; the deepest sample has 6
BYTE_ORDER_MARK = "\ufeff"


@dataclass(frozen=True, slots=True, eq=False)
class ScalarNode:
    """A single value. `text` is what stands there without quotes, `value` what YAML 1.2 makes of it.

    `style` is "" for a value without quotes, else its quote or block sign. `is_broken`: a fault has
    been told about this value already, it stands for nothing.
    """

    text: str
    value: str | float | bool | None
    style: str
    start: int
    end: int
    is_broken: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class ListNode:
    """A sequence. `start` and `end` enclose it; `is_flow` is true for the form in brackets."""

    items: tuple[Node, ...]
    is_flow: bool
    start: int
    end: int


@dataclass(frozen=True, slots=True, eq=False)
class Entry:
    """A key and its value."""

    key: ScalarNode
    value: Node


@dataclass(frozen=True, slots=True, eq=False)
class MapNode:
    """A mapping in the order of the file, every key once."""

    entries: tuple[Entry, ...]
    is_flow: bool
    start: int
    end: int

    def get(self, key: str) -> Node | None:
        entry = self.entry(key)
        return entry.value if entry else None

    def entry(self, key: str) -> Entry | None:
        return next((entry for entry in self.entries if entry.key.text == key), None)


Node = ScalarNode | ListNode | MapNode
Tell = Callable[[int, str], None]


class TextFault(Exception):
    """The text cannot be read on from here. `offset` counts characters from the start of the text."""

    def __init__(self, offset: int, message: str) -> None:
        super().__init__(message)
        self.offset = offset
        self.message = message


@dataclass(frozen=True, slots=True)
class Lines:
    """Where the lines of a text start: turns offsets into lines and columns."""

    starts: tuple[int, ...]
    has_byte_order_mark: bool

    @classmethod
    def of(cls, text: str) -> Lines:
        starts = [0]
        at = 0
        while (at := _next_line(text, at)) > 0:
            starts.append(at)
        return cls(tuple(starts), text.startswith(BYTE_ORDER_MARK))

    def position(self, offset: int) -> tuple[int, int]:
        """Line and column, from 1."""
        line = bisect_right(self.starts, offset)
        column = offset - self.starts[line - 1] + 1
        return line, max(1, column - (1 if line == 1 and self.has_byte_order_mark else 0))


def _next_line(text: str, at: int) -> int:
    """The offset after the next line break (LF, CRLF or CR), or 0 if there is none."""
    lf, cr = text.find("\n", at), text.find("\r", at)
    if cr >= 0 and (lf < 0 or cr < lf):
        return cr + 2 if lf == cr + 1 else cr + 1
    return lf + 1


def decoded(data: bytes) -> str:
    """The text of a file. Raises TextFault if it is too large, or no UTF-8."""
    if len(data) > MAX_BYTES:
        raise TextFault(0, f"the file is larger than {MAX_BYTES >> 10} KiB; expected a text of keys and values")
    if data.startswith((b"\xff\xfe", b"\xfe\xff")) or (len(data) > 1 and 0 in data[:2] and data[0] != data[1]):
        raise TextFault(0, "the file is written in UTF-16; expected UTF-8: save it with that encoding")
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as error:
        before = data[: error.start].decode("utf-8")
        byte = data[error.start]
        likely = bytes([byte]).decode("cp1252", errors="replace")
        guess = f" (in Windows-1252 it is {likely!r})" if likely.isprintable() and likely != "\ufffd" else ""
        raise TextFault(
            len(before), f"the byte {byte:#04x} is no UTF-8{guess}; expected UTF-8: save the file with that encoding"
        ) from error


def read_tree(text: str, tell: Tell) -> Node:
    """The tree of a text. Tells what can be read over (aliases, anchors, tags, keys that stand twice).

    Raises TextFault where it cannot be read on: syntax, a second document, nesting, nothing at all.
    """
    skipped = 1 if text.startswith(BYTE_ORDER_MARK) else 0
    builder = _Builder(text, skipped, tell)
    try:
        for event in YAML(typ="safe", pure=True).parse(text[skipped:]):
            builder.take(event)
    except MarkedYAMLError as error:
        offset, message = syntax_fault(error, text, skipped)
        raise TextFault(offset, message) from error
    except ReaderError as error:
        offset = error.position + skipped
        raise TextFault(offset, f"the character {error.character:#04x} cannot stand in a text file") from error
    except (YAMLError, ValueError, IndexError, AttributeError, TypeError, OverflowError) as error:
        # The parser lets a few odd inputs escape as these (an escape beyond Unicode, a broken directive).
        raise TextFault(builder.reached, "from here the text cannot be understood; expected YAML 1.2") from error
    if builder.root is None:
        raise TextFault(0, "the file is empty; expected 'format: 1', 'units: mm' and so on")
    return builder.root


@dataclass(slots=True)
class _Frame:
    """A collection that is still open."""

    is_map: bool
    is_flow: bool
    start: int
    items: list[Node]
    entries: list[Entry]
    keys: dict[str, ScalarNode]
    key: ScalarNode | None = None


class _Builder:
    """Takes events and keeps the open collections in a stack."""

    def __init__(self, text: str, skipped: int, tell: Tell) -> None:
        self.text = text
        self.skipped = skipped
        self.tell = tell
        self.stack: list[_Frame] = []
        self.root: Node | None = None
        self.reached = 0
        self.n_documents = 0

    def take(self, event: object) -> None:
        start = event.start_mark.index + self.skipped  # type: ignore[attr-defined]  # every event has marks
        end = event.end_mark.index + self.skipped  # type: ignore[attr-defined]
        self.reached = max(self.reached, start)
        match event:
            case ScalarEvent():
                self._tell_extras(event, start)
                self._add(self._scalar(event, start, end))
            case AliasEvent():
                self.tell(start, f"the alias '*{event.anchor}' is not allowed; expected the value itself")
                self._add(ScalarNode("", None, "", start, end, is_broken=True))
            case MappingStartEvent() | SequenceStartEvent():
                self._tell_extras(event, start)
                is_map = isinstance(event, MappingStartEvent)
                if len(self.stack) >= MAX_DEPTH:
                    raise TextFault(start, f"nested more than {MAX_DEPTH} levels deep; expected a flatter file")
                self.stack.append(_Frame(is_map, bool(event.flow_style), start, [], [], {}))
            case MappingEndEvent() | SequenceEndEvent():
                self._close(end)
            case DocumentStartEvent():
                self._document(event, start)
            case _:
                pass

    def _document(self, event: DocumentStartEvent, start: int) -> None:
        self.n_documents += 1
        if self.n_documents > 1:
            raise TextFault(start, "a second document starts here ('---'); expected one document per file")
        version = getattr(event, "version", None)
        if version is not None and tuple(version) != (1, 2):
            start = max(self.text.find("%YAML"), 0)
            self.tell(start, f"YAML {version[0]}.{version[1]}; expected YAML 1.2: take the %YAML line out")
        if getattr(event, "tags", None):
            self.tell(start, "a %TAG line is not allowed; expected plain values")

    def _tell_extras(self, event: ScalarEvent | MappingStartEvent | SequenceStartEvent, start: int) -> None:
        if event.anchor is not None:
            self.tell(start, f"the anchor '&{event.anchor}' is not allowed; expected the value itself")
        if event.ctag is not None:
            tag = str(event.ctag).replace("tag:yaml.org,2002:", "!!")
            self.tell(start, f"the tag '{tag}' is not allowed; expected the value alone")

    def _scalar(self, event: ScalarEvent, start: int, end: int) -> ScalarNode:
        style = event.style or ""
        if style:
            return ScalarNode(event.value, event.value, style, start, end)
        if not event.value:  # the parser marks an empty value at the next token: put it after its colon
            frame = self.stack[-1] if self.stack else None
            if frame is not None and frame.key is not None:
                start = self._after_colon(frame.key.end)
            return ScalarNode("", None, "", start, start)
        return ScalarNode(event.value, core_value(event.value), "", start, end)

    def _after_colon(self, key_end: int) -> int:
        colon = key_end
        while colon < len(self.text) and self.text[colon] in " \t":
            colon += 1
        return colon + 1 if self.text[colon : colon + 1] == ":" else key_end

    def _close(self, end: int) -> None:
        frame = self.stack.pop()
        node: Node
        if frame.is_map:
            if not frame.is_flow and frame.entries:
                end = frame.entries[-1].value.end
            node = MapNode(tuple(frame.entries), frame.is_flow, frame.start, end)
        else:
            if not frame.is_flow and frame.items:
                end = frame.items[-1].end
            node = ListNode(tuple(frame.items), frame.is_flow, frame.start, end)
        self._add(node)

    def _add(self, node: Node) -> None:
        if not self.stack:
            self.root = node
            return
        frame = self.stack[-1]
        if not frame.is_map:
            frame.items.append(node)
        elif frame.key is None:
            if not isinstance(node, ScalarNode):
                self.tell(node.start, "a list or mapping stands where a key should be; expected a name and ': '")
                node = ScalarNode("", None, "", node.start, node.end, is_broken=True)
            frame.key = node
        else:
            key, frame.key = frame.key, None
            self._add_entry(frame, key, node)

    def _add_entry(self, frame: _Frame, key: ScalarNode, value: Node) -> None:
        if key.is_broken:
            return
        before = frame.entries[-1] if frame.entries else None
        if frame.is_flow and before is not None and isinstance(value, ScalarNode) and is_empty(value):
            joined = self._joined_by_comma(before.value, key)
            if joined is not None:
                frame.entries[-1] = Entry(before.key, joined)
                return
        first = frame.keys.setdefault(key.text, key)
        if first is not key:
            line, _ = Lines.of(self.text[: first.start + 1]).position(first.start)
            self.tell(key.start, f"'{short(key.text)}' stands twice here, first in line {line}; expected it once")
            return
        frame.entries.append(Entry(key, value))

    def _joined_by_comma(self, value: Node, key: ScalarNode) -> Node | None:
        """What a comma has torn apart, put together again: ``{d: 10,5}``, ``{title: nut, full size}``.

        Returns None where the key can have been meant as a key without a value.
        """
        if not isinstance(value, ScalarNode) or value.style or key.style or value.is_broken or is_empty(value):
            return None
        whole = self.text[value.start : key.end]
        if isinstance(value.value, float) and key.text.isdigit():
            number = f"{value.text}.{key.text}"
            self.tell(value.start, f"'{whole}' has a decimal comma; expected a decimal point: {number}")
            return ScalarNode(number, core_value(number), "", value.start, key.end, is_broken=True)
        if isinstance(value.value, str) and not _looks_like_key(key.text):
            self.tell(value.start, f'the comma ends a text that is not in quotes; expected quotes: "{whole}"')
            return ScalarNode(whole, whole, "", value.start, key.end, is_broken=True)
        return None


def short(text: str) -> str:
    """A text for a fault, cut if it is long."""
    return text if len(text) <= 60 else text[:57] + "..."


def is_empty(node: ScalarNode) -> bool:
    """Whether nothing at all stands there (not even null)."""
    return node.start == node.end and not node.style


def _looks_like_key(text: str) -> bool:
    return text.isascii() and text.replace("_", "").isalnum() and text.islower() and "_" in text


def children(node: Node) -> Iterator[tuple[str | int, Node]]:
    """The values below a node, each with its key or its index from 0."""
    if isinstance(node, MapNode):
        for entry in node.entries:
            yield entry.key.text, entry.value
    elif isinstance(node, ListNode):
        yield from enumerate(node.items)
