"""The strip under a picture: the verdict by mark and word, then what is shown. Pure geometry, as in `gap_mark.py`.

The five marks are two jaws with the room between them: the less room, the more ink.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from app.view3d.gap_mark import Area, Item, Measure, Paint, Rect, Stroke, Words, corners
from kinematics.verdict import Verdict

MARK = (22.0, 14.0)
_JAWS = {Verdict.CAN_HIT: 10.0, Verdict.TIGHT: 6.0, Verdict.CLEAR: 2.0}  # how wide each of the two jaws is
WORD_SIZE, LINE_SIZE = 13.0, 15.0
PLATE_HEIGHT = 26.0
STRIP, EDGE, INSIDE = 58.0, 16.0, 6.0  # height of the strip, from its edges, within the plate


@dataclass(frozen=True, slots=True)
class Caption:
    """What stands under a picture: the verdict with its word, what it is about, and from where it is seen."""

    verdict: Verdict
    word: str
    title: str
    text: str


def caption_items(caption: Caption, width: float, scale: float, measure: Measure) -> tuple[Item, ...]:
    """The strip, `width` by STRIP in pixels of the design times `scale`, at the lower left corner."""
    k = scale
    strip = Rect(0.0, 0.0, width, STRIP * k)
    items: list[Item] = [Area(corners(strip), "paper"), Stroke(((0.0, STRIP * k), (width, STRIP * k)), 1.0 * k, "line")]
    word = caption.word.upper()
    said = Words(word, (0.0, 0.0), WORD_SIZE * k, True, "on gap")
    word_width = measure(said)[0]
    y0 = (STRIP - PLATE_HEIGHT) / 2 * k
    plate = Rect(EDGE * k, y0, (EDGE + 3 * INSIDE + MARK[0]) * k + word_width, y0 + PLATE_HEIGHT * k)
    items += [Area(corners(plate), "gap"), Stroke((*corners(plate), corners(plate)[0]), 1.0 * k, "ink")]
    mark_at = (plate.x0 + INSIDE * k, y0 + (PLATE_HEIGHT - MARK[1]) / 2 * k)
    items += [*verdict_mark(caption.verdict, mark_at, k, "on gap", "gap")]
    items.append(replace(said, at=(mark_at[0] + (MARK[0] + INSIDE) * k, y0 + 8.5 * k)))
    x = plate.x1 + EDGE * k
    room = width - x - EDGE * k
    for text, y, is_bold in ((caption.title, 34.0, True), (caption.text, 13.0, False)):
        line = Words(text, (x, y * k), LINE_SIZE * k, is_bold, "ink" if is_bold else "quiet")
        long = measure(line)[0] / room
        items.append(replace(line, size=line.size / long) if long > 1.0 else line)
    return tuple(items)


def verdict_mark(verdict: Verdict, at: tuple[float, float], scale: float, ink: Paint, under: Paint) -> Iterator[Item]:
    """The mark of a verdict, 22 by 14, with its lower left corner at `at`; `under` is what it stands on."""
    k, (x, y) = scale, at
    width, height = MARK

    def bar(x0: float, x1: float) -> Area:
        return Area(corners(Rect(x + x0 * k, y, x + x1 * k, y + height * k)), ink)

    match verdict:
        case Verdict.HITS:
            yield bar(0.0, width)
            for sign in (1.0, -1.0):
                a = (x + (width / 2 - 4) * k, y + (height / 2 - 4 * sign) * k)
                b = (x + (width / 2 + 4) * k, y + (height / 2 + 4 * sign) * k)
                yield Stroke((a, b), 2.0 * k, under)
        case Verdict.NOT_CHECKED:
            yield bar(0.0, 3.0)
            yield Words("?", (x + 7.0 * k, y + 1.5 * k), 14.0 * k, True, ink)
            for i in range(3):
                dot = Rect(x + 19.0 * k, y + (1.0 + 5.0 * i) * k, x + 22.0 * k, y + (3.5 + 5.0 * i) * k)
                yield Area(corners(dot), ink)
        case _:
            jaw = _JAWS[verdict]
            yield bar(0.0, jaw)
            yield bar(width - jaw, width)
            if verdict is Verdict.TIGHT:
                mid = y + height / 2 * k
                yield Stroke(((x + 9.0 * k, mid), (x + 13.0 * k, mid)), 2.0 * k, ink)
