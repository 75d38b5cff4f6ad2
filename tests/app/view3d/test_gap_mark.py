"""The jaws, the glass and the label, laid out with letters of a fixed width."""

from __future__ import annotations

import math

import pytest

from app.view3d.caption import MARK, Caption, caption_items, verdict_mark
from app.view3d.gap_mark import (
    JAW,
    LEAST_LABEL,
    SHORT,
    Area,
    Canvas,
    GapLabel,
    Glass,
    Item,
    Point,
    Rect,
    Stroke,
    Words,
    gap_mark,
    jaws,
)
from kinematics.verdict import Verdict

LABEL = GapLabel("2.50 mm", ("1.31 spare", "cutter to clamp screws L and R"), Verdict.TIGHT)


def measured(words: Words) -> Point:
    return 0.5 * words.size * len(words.text), words.size


def canvas(width: float = 1200.0, height: float = 842.0, scale: float = 1.0) -> Canvas:
    return Canvas(width, height, scale, measured, lambda _: 0.0)


def mark(ends: tuple[Point, Point], place: Canvas, *, true_length: float | None = None) -> tuple[Item, ...]:
    length = math.dist(*ends) if true_length is None else true_length
    return gap_mark(ends, length, LABEL, place, is_overlap=False, with_glass=True)


def plate_of(items: tuple[Item, ...]) -> Rect:
    """The plate of the label: the area under the words in bold."""
    bold = next(i for i in items if isinstance(i, Words) and i.is_bold)
    plates = [i for i in items if isinstance(i, Area) and len(i.points) == 4]
    boxes = [Rect(*p.points[0], *p.points[2]) for p in plates]
    return next(box for box in boxes if box.holds(bold.at))


@pytest.mark.parametrize("angle_deg", [0, 30, 90, 135, 270])
def test_that_jaws_are_square_to_the_gap_and_stand_outside_it(angle_deg: int) -> None:
    u = (math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg)))
    b = (100 + 60 * u[0], 100 + 60 * u[1])
    line, *bars = [i for i in jaws(((100, 100), b), 1.0, is_overlap=False) if i.paint == "jaws"]
    assert line.points == ((100, 100), pytest.approx(b))
    for bar in bars:
        (x0, y0), (x1, y1) = bar.points
        assert (x1 - x0) * u[0] + (y1 - y0) * u[1] == pytest.approx(0.0, abs=1e-9)
        assert math.dist(*bar.points) == pytest.approx(2 * JAW)
        along = ((x0 + x1) / 2 - 100) * u[0] + ((y0 + y1) / 2 - 100) * u[1]
        assert along < 0.0 or along > 60.0


def test_that_every_stroke_of_the_jaws_is_cased() -> None:
    strokes = list(jaws(((0, 0), (40, 0)), 1.0, is_overlap=False))
    assert [s.paint for s in strokes] == ["paper"] * 3 + ["ink"] * 3 + ["jaws"] * 3
    widths = {s.paint: s.width for s in strokes}
    assert widths == {"jaws": 3.0, "ink": 6.0, "paper": 9.0}  # 3 wide, cased 1.5 all round


def test_that_an_overlap_has_an_x_over_its_line() -> None:
    assert sum(1 for s in jaws(((0, 0), (40, 0)), 1.0, is_overlap=True) if s.paint == "jaws") == 5


@pytest.mark.parametrize("x", [30, 300, 600, 1170])
@pytest.mark.parametrize("y", [30, 421, 800])
@pytest.mark.parametrize("length", [4, 20, 60, 300])
def test_that_the_label_lies_in_the_picture_and_over_no_end(x: float, y: float, length: float) -> None:
    ends = ((x, y), (x + length if x < 600 else x - length, y))
    plate = plate_of(mark(ends, canvas()))
    assert plate.x0 >= 0.0
    assert plate.y0 >= 0.0
    assert plate.x1 <= 1200.0
    assert plate.y1 <= 842.0
    assert not any(plate.holds(end, JAW) for end in ends)


def test_that_words_fit_their_plate() -> None:
    items = mark(((500.0, 400.0), (560.0, 400.0)), canvas())
    plate = plate_of(items)
    for words in (i for i in items if isinstance(i, Words)):
        assert plate.holds(words.at)
        assert plate.holds((words.at[0] + measured(words)[0], words.at[1] + words.size * 0.8))


@pytest.mark.parametrize(("length", "zoom"), [(SHORT + 1, None), (SHORT - 1, 4.0), (6.5, 4.0), (4.0, 8.0), (0.5, 16.0)])
def test_that_a_short_gap_gets_a_glass(length: float, zoom: float | None) -> None:
    ends = ((600.0, 421.0), (600.0 + length, 421.0))
    items = mark(ends, canvas())
    glasses = [i for i in items if isinstance(i, Glass)]
    assert [g.zoom for g in glasses] == ([] if zoom is None else [zoom])
    if glasses:
        assert glasses[0].shows == (600.0 + length / 2, 421.0)
        assert math.dist(glasses[0].centre, glasses[0].shows) > glasses[0].radius
        drawn = [s for s in items if isinstance(s, Stroke) and s.paint == "jaws"]
        assert math.dist(*drawn[0].points) == pytest.approx(glasses[0].zoom * length)
        plate = plate_of(items)
        assert not plate.holds(glasses[0].centre, glasses[0].radius)


def test_that_a_gap_that_is_seen_on_end_is_a_dot_and_not_a_length() -> None:
    items = mark(((600.0, 421.0), (600.5, 421.0)), canvas(), true_length=60.0)
    assert [i for i in items if isinstance(i, Glass)] == []
    assert [i for i in items if isinstance(i, Stroke) and i.paint == "jaws"] == []
    assert len([i for i in items if isinstance(i, Area) and i.paint == "jaws"]) == 1


def test_that_a_small_picture_has_jaws_and_no_label() -> None:
    items = mark(((60.0, 37.0), (64.0, 37.0)), canvas(LEAST_LABEL - 1, 74))
    assert {type(i) for i in items} == {Stroke}


def test_that_the_label_goes_where_nothing_is() -> None:
    covered = Canvas(1200.0, 842.0, 1.0, measured, lambda rect: 1.0 if rect.x1 > 400.0 else 0.0)
    assert plate_of(mark(((600.0, 421.0), (660.0, 421.0)), covered)).x1 <= 400.0


def test_that_a_picture_too_small_for_a_free_place_still_has_its_label() -> None:
    assert plate_of(mark(((140.0, 70.0), (200.0, 70.0)), canvas(270.0, 140.0))) is not None


@pytest.mark.parametrize("verdict", Verdict)
def test_that_the_ink_of_a_mark_grows_with_the_severity(verdict: Verdict) -> None:
    def ink(v: Verdict) -> float:
        bars = [i for i in verdict_mark(v, (0.0, 0.0), 1.0, "ink", "paper") if isinstance(i, Area)]
        boxes = [Rect(*b.points[0], *b.points[2]) for b in bars]
        assert all(0.0 <= b.x0 <= b.x1 <= MARK[0] and 0.0 <= b.y0 <= b.y1 <= MARK[1] for b in boxes)
        return sum((b.x1 - b.x0) * (b.y1 - b.y0) for b in boxes)

    ladder = [Verdict.CLEAR, Verdict.TIGHT, Verdict.CAN_HIT, Verdict.HITS]
    if verdict in ladder:
        assert all(ink(v) < ink(verdict) for v in ladder[: ladder.index(verdict)])
    else:
        assert any(isinstance(i, Words) for i in verdict_mark(verdict, (0.0, 0.0), 1.0, "ink", "paper"))


def test_that_a_long_caption_is_set_smaller_and_not_cut() -> None:
    items = caption_items(Caption(Verdict.TIGHT, "tight", "V1 profile", "word " * 80), 900.0, 1.0, measured)
    for words in (i for i in items if isinstance(i, Words)):
        assert words.at[0] + measured(words)[0] <= 900.0
