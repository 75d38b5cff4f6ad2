"""The page for a tablet: it carries everything in itself, says what a check says, and escapes what people write."""

from __future__ import annotations

import base64
import json
import math
import re
from dataclasses import replace
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from functools import cache

import pytest

from app.jobs.sheet.content import SheetContent
from app.jobs.sheet.facts import facts_of, gather
from app.jobs.sheet.lengths import Lengths
from app.jobs.sheet.made import sheet_content
from app.jobs.tablet_page import NotDrawn, PageLabel, PagePicture, PagePictures, tablet_page
from app.jobs.tablet_style import PLATES, SURFACES, mark, style
from app.jobs.words import MINUS
from app.scenes.reader import read_scene
from kinematics.prepared import Prepared
from kinematics.verdict import Verdict
from tests.app.cli.checked_samples import json_of, sample_file
from tests.app.jobs.page_reading import Page, read_page

SAMPLES = ("sampler_block_a", "sampler_block_b", "sampler_block_c")


@cache
def content_of(name: str) -> SheetContent:
    scene_file = read_scene(sample_file(name))
    prepared = Prepared(scene_file.scene)
    facts = facts_of(scene_file, list(gather(scene_file, prepared)))
    return sheet_content(facts, prepared, Lengths("mm"), date="2 Jan 2030 10:42")


def page_of(content: SheetContent, pictures: PagePictures | None = None) -> Page:
    return read_page(tablet_page(content, pictures or PagePictures()))


JSON_STEP = 1.02e-4  # the JSON has its bounds rounded down to 1e-4, after 2e-6 was taken off


def down(value: float) -> str:
    """One decimal, rounded to what is not more than there is."""
    return str(Decimal(value + JSON_STEP).quantize(Decimal("0.1"), ROUND_FLOOR)).replace("-", MINUS)


def up(value: float) -> str:
    return str(Decimal(value - JSON_STEP).quantize(Decimal("0.1"), ROUND_CEILING))


TAGS = frozenset(
    {"html", "head", "meta", "title", "style", "body", "header", "section", "article", "footer", "div", "span"}
    | {"p", "h1", "h2", "h3", "ul", "ol", "li", "dl", "dt", "dd", "b", "i", "figure", "figcaption", "picture"}
    | {"source", "img", "svg", "path", "table", "thead", "tbody", "tr", "th", "td"}
)


# --- one file, nothing else ------------------------------------------------------------------------


PICTURES = PagePictures(
    set_up=PagePicture(
        b"\x89PNG light", b"\x89PNG dark", (80, 60), "the set-up", (PageLabel("stop pin", 0.2, 0.3),), (0, 1)
    ),
    of_cuts={("V1", "profile"): (PagePicture(b"\x89PNG a", None, (80, 60), "across"), NotDrawn("door", "no GL"))},
)  # fmt: skip


@pytest.mark.parametrize("name", SAMPLES)
def test_that_a_page_loads_nothing_and_runs_nothing(name: str) -> None:
    page = page_of(content_of(name), PICTURES)
    assert not page.faults
    assert {tag for tag, _ in page.tags} <= TAGS
    for tag, attributes in page.tags:
        assert not [key for key in attributes if key.startswith("on") or key in ("href", "action", "background")]
        for key in ("src", "srcset"):
            assert attributes.get(key, "data:image/png;base64,").startswith("data:image/png;base64,"), tag  # type: ignore[union-attr]
    assert not re.search(r"url\(|@import|https?:", "".join(page.styles))
    (policy,) = (a["content"] for t, a in page.tags if t == "meta" and "Content-Security-Policy" in a.values())
    assert policy == "default-src 'none'; img-src data:; style-src 'unsafe-inline'"


def test_that_pictures_stand_in_the_page_byte_for_byte() -> None:
    page = page_of(content_of("sampler_block_b"), PICTURES)
    found = [a.get("src") or a["srcset"] for t, a in page.tags if t in ("img", "source")]
    assert [base64.b64decode((data or "").partition(",")[2]) for data in found] == [
        b"\x89PNG dark",
        b"\x89PNG light",
        b"\x89PNG a",
    ]
    (dark,) = (a for t, a in page.tags if t == "source")
    assert dark["media"] == "screen and (prefers-color-scheme: dark)"
    assert "1 stop pin" in page.text
    assert "TO YOU" in page.text


def test_that_a_picture_that_could_not_be_drawn_says_why_in_its_place() -> None:
    text = page_of(content_of("sampler_block_b"), PICTURES).text
    assert "No picture: no GL door" in text
    why = "no picture can be drawn here: no OpenGL"
    assert (
        "No picture can be drawn here: no OpenGL"
        in page_of(content_of("sampler_block_b"), PagePictures(NotDrawn("the set-up", why))).text
    )


# --- the same numbers as a check -------------------------------------------------------------------


@pytest.mark.parametrize("name", SAMPLES)
def test_that_the_gap_of_every_orientation_is_that_of_check_json_rounded_to_the_safe_side(name: str) -> None:
    page, check = page_of(content_of(name)), json.loads(json_of(name))
    severity = {"hits": 4, "can hit": 3, "not checked": 2, "tight": 1, "clear": 0}
    by_orientation: dict[str, list[dict]] = {}
    for cut in check["cuts"]:
        by_orientation.setdefault(cut["orientation"], []).append(cut)
    assert by_orientation.keys() == {"V1", "V2", "V3", "V4", "V5", "V6", "V7"}
    for orientation, cuts in by_orientation.items():
        worst = min(cuts, key=lambda c: (-severity[c["verdict"]], c["spare"] - c["keep_off"]))
        row, room = page.row(orientation), worst["clearance"]
        overlap = room["value"] < 0.0
        assert row["gap"] == (f"overlap {up(-room['value'])}" if overlap else down(room["at_least"]))
        assert row["verdict"] == worst["verdict"].upper()
        assert worst["between"][0] in row["tightest"]


def test_that_gap_and_stop_of_the_watch_list_come_from_clearance_and_spare() -> None:
    text, check = page_of(content_of("sampler_block_b")).text, json.loads(json_of("sampler_block_b"))
    tight = [c for c in check["cuts"] if c["verdict"] == "tight"]
    assert [c["cut"] for c in tight] == ["profile", "drain spot"]
    for cut in tight:
        room, used = cut["clearance"]["at_least"], cut["clearance"]["at_least"] - cut["spare"]
        name = f"{cut['orientation']} {cut['cut']}, {cut['tool']} in {cut['holder']} TIGHT"
        after = text[text.index(name) : text.index(name) + 400]
        assert f"gap {down(room)} mm STOP under {up(used)} mm" in after
        pin = float(re.search(r"([\d.]+) mm pin must pass", after)[1])  # type: ignore[index]
        assert used < pin < room
        assert math.isclose(pin * 2, round(pin * 2))


def test_that_stick_outs_and_part_zero_are_those_of_the_scene_and_the_check() -> None:
    page, check = page_of(content_of("sampler_block_b")), json.loads(json_of("sampler_block_b"))
    scene = sample_file("sampler_block_b").read_text(encoding="utf-8")
    for tool in ("T1", "T2", "T4", "T5", "T6"):
        line = next(line for line in scene.splitlines() if f"id: {tool}," in line)
        assert float(page.row(tool)["SET"]) == float(re.search(r"stick_out: ([\d.]+)", line)[1])  # type: ignore[index]
    zero = next(row for row in map(dict, page.rows) if "X" in row)
    first = check["work_offsets"][0]["control"]
    assert [float(zero[axis].replace(MINUS, "-")) for axis in "XYZ"] == pytest.approx(first, abs=0.005)


def test_that_a_set_up_that_hits_has_nothing_to_set_and_shows_what_hits_first() -> None:
    page = page_of(content_of("sampler_block_a"))
    assert "HITS: DO NOT RUN" in page.text
    assert "SET" not in {label for row in page.rows for label, _ in row}
    assert page.text.index("WHAT HITS") < page.text.index("PART ZERO")


def test_that_what_was_not_checked_stands_right_under_the_verdict() -> None:
    content = replace(content_of("sampler_block_b"), not_checked=("V4: the mesh is open",), verdict=Verdict.NOT_CHECKED)
    text = page_of(content).text
    assert text.index("V4: the mesh is open") < text.index("SET-UP")
    assert text.count("V4: the mesh is open") == 2


@pytest.mark.parametrize("name", SAMPLES)
def test_that_no_text_of_the_sheet_is_missing(name: str) -> None:
    content, text = content_of(name), page_of(content_of(name)).text
    wanted = [content.title, content.machine, content.action, content.not_modelled, content.before, *content.sentences]
    wanted += [*content.turns, *content.tool_notes, *content.assumed, *content.sign, *content.zero.checking]
    wanted += [*content.set_up.turns, *content.set_up.screws, *content.set_up.stock, *content.watch.more]
    wanted += [content.watch.nearest, content.zero.how, *content.made.split("   ")]
    wanted += [
        part for item in content.watch.items for part in (item.name, item.place, item.where, item.seen, item.pin)
    ]
    wanted += [part for tool in content.tools for part in (tool.tool, tool.holder_title, tool.guards, tool.slenderness)]
    for piece in wanted:
        assert " ".join(piece.split()) in text, piece


# --- what people write -----------------------------------------------------------------------------


NASTY = '<script>alert("1")</script> & \' </style></title> Prüfling \u8a66\u9a13 \u0645\u062b\u0627\u0644'


def test_that_whatever_people_write_stays_text() -> None:
    whole = content_of("sampler_block_b")

    def spoilt(value: object) -> object:
        """Every text in the content with something nasty behind it."""
        if isinstance(value, Verdict):
            return value
        if isinstance(value, str):
            return f"{value} {NASTY}"
        if isinstance(value, tuple):
            return tuple(map(spoilt, value))
        if hasattr(value, "__dataclass_fields__"):
            changed = {name: spoilt(getattr(value, name)) for name in value.__dataclass_fields__}
            if "cut" in changed:
                changed["cut"] = getattr(value, "cut", None)
            return type(value)(**changed)
        return value

    content = spoilt(whole)
    assert isinstance(content, SheetContent)
    picture = PagePicture(b"", None, (1, 1), NASTY, (PageLabel(NASTY, 0.5, 0.5),))
    page = page_of(content, PagePictures(picture, {("V1", "profile"): (NotDrawn(NASTY, NASTY),)}))
    assert not page.faults
    assert "script" not in {tag for tag, _ in page.tags}
    assert page.text.count(" ".join(NASTY.split())) > 50
    (title,) = (i for i, (tag, _) in enumerate(page.tags) if tag == "title")
    assert page.tags[title + 1][0] == "style"


# --- how it looks ----------------------------------------------------------------------------------


def luminance(colour: str) -> float:
    """Relative luminance by WCAG 2.1."""
    shares = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    r, g, b = (c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in shares)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def contrast(one: str, other: str) -> float:
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_that_every_text_can_be_read_in_light_and_in_dark() -> None:
    for plates in PLATES.values():
        for fill, text in plates:
            assert contrast(fill, text) >= 4.5
    for scheme in (0, 1):
        for ground in ("ground", "card"):
            assert contrast(SURFACES["ink"][scheme], SURFACES[ground][scheme]) >= 4.5
            assert contrast(SURFACES["quiet"][scheme], SURFACES[ground][scheme]) >= 4.5
        assert contrast(SURFACES["line"][scheme], SURFACES["card"][scheme]) >= 3.0


def test_that_every_verdict_has_a_mark_of_its_own() -> None:
    assert len({mark(v) for v in Verdict}) == len(Verdict)


def test_that_dark_is_for_screens_only_and_paper_is_white() -> None:
    text = style()
    assert text.index("@media screen and (prefers-color-scheme:dark)") > text.index(":root{")
    assert "#fff;color:#000" in text[text.index("@media print") :]
