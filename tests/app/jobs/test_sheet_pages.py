"""How sheets are laid out: nothing leaves its place, nothing is too small, no more than four pages, no lone heading."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from app.jobs.sheet.blocks import Pictures
from app.jobs.sheet.content import SheetContent, ZeroRow
from app.jobs.sheet.pages import MOST_PAGES, Paper, sheet_pdf
from app.jobs.sheet.printable import LETTERS_NOTE
from tests.app.jobs.sheet_contents import (
    ARABIC,
    CJK,
    CYRILLIC,
    GREEK,
    HEBREW,
    LONG,
    UNBROKEN,
    content,
    pictures,
    stopped,
)
from tests.app.jobs.sheet_reading import ReadPage, faults, grey_pages, plain, read_pages, text_of

HEADINGS = ("SET-UP", "PART ZERO", "TOOLS", "ORDER", "WATCH HERE", "NOT CHECKED", "NEAREST")
A4, LETTER = (595.28, 841.89), (612.0, 792.0)  # ISO 216; ANSI/ASME Y14.1 size A
EACH = tuple(ZeroRow(f"V{i} A {i}.25 C 90, left", f"{i}.00", "-99.00", "-318.00") for i in range(1, 41))
INCH = replace(
    content(),
    units="mm (inch)",
    tools=tuple(
        replace(t, set=f"{t.set} (12.34567)", not_under=f"{t.not_under} (1.234)", gauge_length="1107.125 (43.5876)")
        for t in content().tools
    ),
)

CASES: dict[str, SheetContent] = {
    "demo": content(),
    "one of each": content(1, 1, 1),
    "nothing to watch": replace(content(n_watch=0), watch=replace(content().watch, items=(), nearest="")),
    "three to watch": content(n_watch=3),
    "large": content(60, 40, 3),
    "large with long names": content(60, 40, 3, LONG),
    "names without a blank": content(6, 7, 2, UNBROKEN),
    "letters of other scripts": content(5, 7, 2, f"{CJK} {ARABIC} {HEBREW} {GREEK} {CYRILLIC}"),
    "large in another script": content(60, 40, 3, CJK * 4),
    "marks of markup": content(5, 7, 2, "<b>T&1</b> <font size=40> &amp; <para>"),
    "stopped": stopped(content()),
    "stopped, large, long names": stopped(content(60, 40, 3, LONG)),
    "set each": replace(content(), zero=replace(content().zero, how="SET EACH", rows=EACH, checking=())),
    "six zeros": replace(content(), zero=replace(content().zero, rows=EACH[:6], checking=())),
    "not checked": replace(content(), not_checked=tuple(f"V{i}/cut: {LONG}" for i in range(80))),
    "two units": INCH,
    **{f"not checked after {n}": replace(content(n), not_checked=(LONG, LONG)) for n in (9, 10, 11, 12)},
}
PAPERS: tuple[Paper, ...] = ("a4", "letter")
ON_LETTER = ("demo", "one of each", "large", "large with long names", "set each", "two units")
SHEETS = [(name, paper) for name in CASES for paper in PAPERS if paper == "a4" or name in ON_LETTER]
LARGE = ("large with long names", "large in another script", "stopped, large, long names")
each_sheet = pytest.mark.parametrize(
    ("name", "paper"), [pytest.param(*one, marks=pytest.mark.slow if one[0] in LARGE else ()) for one in SHEETS]
)


@cache
def made(name: str, paper: Paper = "a4") -> bytes:
    sheet = CASES[name]
    long_name = sheet.set_up.notes[0] if sheet.set_up.notes else ""
    return sheet_pdf(sheet, pictures(len(sheet.watch.items), long_name), paper=paper)


@each_sheet
def test_that_no_text_leaves_its_place(name: str, paper: Paper) -> None:
    found = [f"page {i}: {fault}" for i, page in enumerate(read_pages(made(name, paper)), 1) for fault in faults(page)]
    assert not found, "\n".join(found[:20])


@each_sheet
def test_that_a_sheet_has_four_pages_at_most_and_numbers_them(name: str, paper: Paper) -> None:
    pages = read_pages(made(name, paper))
    assert len(pages) <= MOST_PAGES
    for i, page in enumerate(pages, 1):
        assert f"page {i}/{len(pages)}" in page.text
        assert "inputs 7c1e 90ab" in page.text
        wide, high = A4 if paper == "a4" else LETTER
        assert (page.width, page.height) == pytest.approx((wide, high), abs=0.1)


@each_sheet
def test_that_no_letter_is_smaller_than_8_points(name: str, paper: Paper) -> None:
    sizes = {round(text.size, 2) for page in read_pages(made(name, paper)) for text in page.texts}
    assert min(sizes) >= 8.0
    assert max(sizes) in (16.0, 18.0)


@each_sheet
def test_that_no_heading_ends_a_page(name: str, paper: Paper) -> None:
    for page in read_pages(made(name, paper)):
        last = min((t for t in page.texts if t.y0 > 26.0), key=lambda t: t.y0)
        assert not last.text.startswith(HEADINGS) or last.text.strip() == "NOT CHECKED"  # nothing, in the same line


def test_that_the_demo_and_a_smaller_set_up_fit_on_one_page() -> None:
    assert len(read_pages(made("demo", "a4"))) == 1
    for paper in PAPERS:
        assert len(read_pages(made("one of each", paper))) == 1


def test_that_60_tools_and_40_orientations_are_all_there() -> None:
    for paper in PAPERS:
        text = text_of(made("large", paper))
        for i in range(1, 61):
            assert f" {20 + i}.0 {10 + i}.4 " in text, f"T{i}"
        for i in range(1, 41):
            assert f"V{i} A {i}.5 C -{i} " in text
        assert "NOT ON THIS SHEET" not in text


def test_that_a_table_that_goes_on_repeats_its_heads() -> None:
    pages = read_pages(made("large", "a4"))
    with_tools = [page for page in pages if re.search(r"\bT\d+ end mill 10", page.text)]
    assert len(with_tools) > 1
    for page in with_tools:
        assert "TOOLS , stick-out" in page.text or "TOOLS, stick-out" in page.text
        assert "NOT UNDER" in page.text


def test_that_a_set_up_that_is_too_large_says_on_its_first_page_that_the_sheet_is_not_complete() -> None:
    data = sheet_pdf(content(400, 120), Pictures())
    pages = read_pages(data)
    assert len(pages) <= MOST_PAGES
    assert "THIS SHEET IS NOT COMPLETE" in pages[0].text
    assert re.search(r"AND \d+ MORE TOOLS, NOT ON THIS SHEET", text_of(data))
    assert not [fault for page in pages for fault in faults(page)]


@pytest.mark.slow
def test_that_long_names_are_cut_in_the_middle_and_the_sheet_says_so() -> None:
    assert "in a name: cut for want of room" in text_of(made("large with long names", "a4"))
    assert "in a name: cut" not in text_of(made("demo", "a4"))


def test_that_letters_which_the_font_lacks_are_given_by_number_and_the_sheet_says_so() -> None:
    text = text_of(made("letters of other scripts", "a4"))
    assert plain(LETTERS_NOTE) in text
    assert "91CF 5177 593E 5177" in text
    assert GREEK in text
    assert CYRILLIC.upper() in text
    assert plain(LETTERS_NOTE) not in text_of(made("demo", "a4"))


def test_that_nothing_of_a_name_is_taken_for_markup() -> None:
    assert "<b>T&1</b> <font size=40>" in text_of(made("marks of markup", "a4"))


@pytest.mark.parametrize("name", [name for name in CASES if name not in LARGE])
def test_that_a_sheet_is_black_and_grey(name: str) -> None:
    for pixels in grey_pages(made(name, "a4")):
        assert int(np.ptp(pixels.astype(int), axis=2).max()) == 0


def test_that_a_sheet_that_must_not_be_run_has_a_black_bar_and_nothing_to_set() -> None:
    text = text_of(made("stopped", "a4"))
    assert "HITS: DO NOT RUN" in text
    assert "NOT UNDER" not in text
    assert " SET " not in text.replace("SET ONCE", "").replace("SET EACH", "")
    (pixels,) = grey_pages(made("stopped", "a4"), 72.0)
    bar = pixels[24:50, 30:560, 0]
    assert (bar < 40).mean() > 0.6


def test_that_the_same_content_gives_the_same_bytes() -> None:
    assert sheet_pdf(content(), pictures()) == sheet_pdf(content(), pictures())


def test_that_the_fonts_are_in_the_file() -> None:
    data = sheet_pdf(content(), Pictures())
    assert data.count(b"/FontFile2") == 2
    named = set(re.findall(rb"/BaseFont /([A-Za-z+\-]+)", data))
    assert {name.split(b"+")[-1] for name in named} <= {
        b"DejaVuSansCondensed",
        b"DejaVuSansCondensed-Bold",
        b"Helvetica",
    }


def test_that_a_sheet_without_pictures_says_why() -> None:
    text = text_of(sheet_pdf(content(), Pictures(why="no picture can be drawn here: no OpenGL")))
    assert "No picture of the set-up: no picture can be drawn here: no OpenGL" in text
    assert text.count("No picture:") == 2


def test_that_a_line_through_a_text_and_a_text_over_a_text_are_found() -> None:
    page = read_pages(sheet_pdf(content(), Pictures()))[0]
    text = page.texts[5]
    line = replace(text, text="", y0=(text.y0 + text.y1) / 2, y1=(text.y0 + text.y1) / 2 + 0.4)
    beside = replace(text, text="over it", x0=text.x0 + 2.0, y0=text.y0 + 2.0)
    wrong = ReadPage(page.width, page.height, (text, beside), (line,), (), "")
    said = [*faults(wrong)]
    assert any("crosses a line" in fault for fault in said)
    assert any("lies over" in fault for fault in said)
