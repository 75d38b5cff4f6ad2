"""What the sheet's font can show, and what is printed for letters that it can't: their numbers, never nothing.

1. A letter that the font lacks, or that would have to be joined or turned (Arabic, Hebrew), is given by its Unicode
   number between angle quotes, so that two names that differ still differ on paper.
2. Line ends and tabs in a name are blanks.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Container
from dataclasses import fields, is_dataclass, replace
from typing import Any, TypeVar

T = TypeVar("T")
OPEN, CLOSE = "\u2039", "\u203a"
LETTERS_NOTE = (
    f"Letters that this sheet's font can't print stand as their Unicode numbers, {OPEN}\u2026{CLOSE}: compare them "
    "with the scene file."
)
_RIGHT_TO_LEFT = ("R", "AL", "AN", "RLE", "RLO", "RLI")
_JOINED = ("Mn", "Mc", "Me", "Cf", "Cc", "Cs", "Co", "Cn")  # marks over letters, controls, what is no letter


def printable(text: str, glyphs: Container[int]) -> str:
    """The text as it can be printed."""
    made: list[str] = []
    missing: list[str] = []

    def close() -> None:
        if missing:
            made.append(f"{OPEN}{' '.join(missing)}{CLOSE}")
            missing.clear()

    for letter in unicodedata.normalize("NFC", " ".join(text.split(" ")).replace("\n", " ").replace("\t", " ")):
        if _is_shown(letter, glyphs):
            close()
            made.append(letter)
        else:
            missing.append(f"{ord(letter):X}")
    close()
    return "".join(made)


def _is_shown(letter: str, glyphs: Container[int]) -> bool:
    if ord(letter) not in glyphs:
        return False
    return unicodedata.bidirectional(letter) not in _RIGHT_TO_LEFT and unicodedata.category(letter) not in _JOINED


def printable_all(value: T, glyphs: Container[int]) -> T:
    """A frozen value with every text in it made printable."""
    return _mapped(value, glyphs)  # type: ignore[no-any-return]  # the same type as it came


def _mapped(value: Any, glyphs: Container[int]) -> Any:
    if type(value) is str:  # a verdict is a string too, and stays what it is
        return printable(value, glyphs)
    if isinstance(value, tuple):
        return tuple(_mapped(one, glyphs) for one in value)
    if is_dataclass(value) and not isinstance(value, type):
        return replace(value, **{f.name: _mapped(getattr(value, f.name), glyphs) for f in fields(value)})
    return value
