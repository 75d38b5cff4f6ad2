"""What is printed for letters that the sheet's font does not have."""

from __future__ import annotations

import pytest

from app.jobs.sheet.letters import glyphs
from app.jobs.sheet.printable import printable
from tests.app.jobs.sheet_contents import ARABIC, CJK, CYRILLIC, GREEK, HEBREW


@pytest.mark.parametrize(
    "text",
    [
        "clamp screw L",
        "Fräser Ø10",
        "\u03b1\u03c0\u03cc",
        GREEK,
        CYRILLIC,
        "5\u00a0mm \u00b10.5 \u2212X 2 \u00d7 45\u00b0",
    ],
)
def test_that_letters_of_the_font_stay_what_they_are(text: str) -> None:
    assert printable(text, glyphs()) == text


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        (CJK, "\u203991CF 5177 593E 5177\u203a"),
        (f"T1 {CJK[:1]} 5", "T1 \u203991CF\u203a 5"),
        ("\U0001f527", "\u20391F527\u203a"),  # outside the plane that the font covers
        ("a\u200bb", "a\u2039200B\u203ab"),  # a blank that nobody sees would make two names look the same
        (HEBREW, "\u20395DE 5E7 5D3 5D7\u203a"),  # the font has the letters; they would stand in the wrong order
        (ARABIC, "\u2039645 62B 642 628\u203a"),  # and these unjoined
        ("a\nb\tc", "a b c"),
        ("e\u0301", "\u00e9"),  # a letter and its accent are one letter
    ],
)
def test_that_letters_without_a_form_are_told_by_number(text: str, shown: str) -> None:
    assert printable(text, glyphs()) == shown


def test_that_names_that_differ_still_differ() -> None:
    names = [CJK, CJK[::-1], CJK[:3], ARABIC, HEBREW, f"{CJK} ", "\u91cf"]
    assert len({printable(name, glyphs()) for name in names}) == len(names)
