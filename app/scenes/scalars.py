"""What YAML 1.2 makes of a value without quotes: the core schema.

Source: YAML 1.2.2, section 10.3.2 "Tag Resolution". `yes`, `no`, `on`, `off`, `1_000` and `12:30`,
which YAML 1.1 turned into something else, are texts.
"""

from __future__ import annotations

import re

_NULL = frozenset({"", "~", "null", "Null", "NULL"})
_TRUE = frozenset({"true", "True", "TRUE"})
_FALSE = frozenset({"false", "False", "FALSE"})
_DECIMAL = re.compile(r"[-+]?(\.[0-9]+|[0-9]+(\.[0-9]*)?)([eE][-+]?[0-9]+)?", re.ASCII)
_OCTAL = re.compile(r"0o[0-7]+", re.ASCII)
_HEXADECIMAL = re.compile(r"0x[0-9a-fA-F]+", re.ASCII)
_INFINITY = re.compile(r"[-+]?\.(inf|Inf|INF)", re.ASCII)
_NOT_A_NUMBER = frozenset({".nan", ".NaN", ".NAN"})


def core_value(text: str) -> str | float | bool | None:
    """The value of a plain scalar. Every number is a float; a text stays as it is."""
    if len(text) > 400:  # no number is that long, and reading its digits takes a while
        return text
    if text in _NULL:
        return None
    if text in _TRUE:
        return True
    if text in _FALSE:
        return False
    if _DECIMAL.fullmatch(text):
        return float(text)
    if _INFINITY.fullmatch(text):
        return float("-inf") if text.startswith("-") else float("inf")
    if text in _NOT_A_NUMBER:
        return float("nan")
    if _OCTAL.fullmatch(text):
        return _whole(text[2:], 8)
    if _HEXADECIMAL.fullmatch(text):
        return _whole(text[2:], 16)
    return text


def _whole(digits: str, base: int) -> float:
    value = 0.0
    for digit in digits:
        value = value * base + int(digit, base)
    return value
