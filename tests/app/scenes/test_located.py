"""The located tree: what stands where, by positions counted by hand."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.scenes.document import Document
from app.scenes.located import Lines, ListNode, MapNode, Node, ScalarNode, children, read_tree


def tree(text: str) -> Node:
    told: list[tuple[int, str]] = []
    root = read_tree(text, lambda offset, message: told.append((offset, message)))
    assert not told
    return root


def all_nodes(node: Node) -> list[Node]:
    return [node, *(below for _, child in children(node) for below in all_nodes(child))]


def test_that_spans_enclose_what_stands_there():
    text = 'a: {d: 10, name: "two words"}   # 10\nb:\n  - [1, 2.50]\n  - plain text here # no\n'
    root = tree(text)
    shown = [text[node.start : node.end] for node in all_nodes(root) if isinstance(node, ScalarNode)]
    assert shown == ["10", '"two words"', "1", "2.50", "plain text here"]
    flow = root.get("a")
    assert text[flow.start : flow.end] == '{d: 10, name: "two words"}'
    block = root.get("b")
    assert isinstance(block, ListNode)
    assert text[block.start : block.end] == "- [1, 2.50]\n  - plain text here"


def test_that_an_empty_value_stands_after_its_colon():
    text = "a:\nb: 1\nc: {d: , e}\n"
    root = tree(text)
    assert root.get("a").start == root.get("a").end == 2
    inner = root.get("c")
    assert text[: inner.get("d").start] == "a:\nb: 1\nc: {d:"
    assert inner.get("e").value is None


def test_that_keys_keep_their_own_place():
    root = tree("a: 1\nlong key: 2\n")
    assert [(entry.key.text, entry.key.start, entry.key.end) for entry in root.entries] == [
        ("a", 0, 1),
        ("long key", 5, 13),
    ]


def test_that_comments_between_empty_sections_do_no_harm():
    # A parser that keeps comments stumbles over this legal text.
    root = tree("a:\n  b:   # one\n\n\n  c: 1\nd:  # two\n\n\ne: 2\n")
    assert [entry.key.text for entry in root.entries] == ["a", "d", "e"]


@pytest.mark.parametrize(
    ("text", "offset", "line", "column"),
    [
        ("ab\ncd", 3, 2, 1),
        ("ab\r\ncd", 4, 2, 1),
        ("ab\rcd", 3, 2, 1),
        ("ab\n\ncd", 4, 3, 1),
        ("ab", 1, 1, 2),
        ("\ufeffab", 1, 1, 1),
    ],
)
def test_that_lines_and_columns_count_from_one(text: str, offset: int, line: int, column: int):
    assert Lines.of(text).position(offset) == (line, column)


@given(st.text(alphabet="ab\r\n", max_size=40))
def test_that_lines_are_split_as_python_splits_them(text: str):
    # Python's universal newlines are the reference: LF, CRLF and CR each end a line.
    normal = text.replace("\r\n", "\n").replace("\r", "\n")
    assert len(Lines.of(text).starts) == normal.count("\n") + 1


@given(st.text(max_size=60))
def test_that_any_text_gives_a_tree_or_a_fault(text: str):
    document = Document("x", text, "scene")
    n_lines = len(Lines.of(text).starts)
    assert document.root is not None or document.faults
    assert all(1 <= fault.line <= n_lines for fault in document.faults)


@given(st.binary(max_size=60))
def test_that_any_bytes_give_a_tree_or_a_fault(data: bytes):
    document = Document.of_bytes("x", data, "scene")
    assert document.root is not None or document.faults


def test_that_a_decimal_comma_in_a_flow_mapping_is_put_together_again():
    told: list[str] = []
    root = read_tree("{d: 10,5, h: 2}", lambda offset, message: told.append(f"{offset} {message}"))
    assert told == ["4 '10,5' has a decimal comma; expected a decimal point: 10.5"]
    assert isinstance(root, MapNode)
    assert [entry.key.text for entry in root.entries] == ["d", "h"]


def test_that_a_key_without_a_value_is_no_torn_text():
    told: list[str] = []
    root = read_tree("{kind: drill, stick_out}", lambda _, message: told.append(message))
    assert not told
    assert root.get("stick_out").value is None
