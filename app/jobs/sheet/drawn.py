"""What the sheet draws beside text: the verdict's mark, pictures, the labelled set-up, lines to write on. In points.

Everything is black on white; the less room, the more ink. What this file does not know: what the pictures show.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass

from reportlab.lib.colors import black, white
from reportlab.lib.utils import ImageReader
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable

from app.jobs.sheet.letters import BOLD, LEAST, REGULAR, SMALL, Cutter, width_of
from kinematics.verdict import Verdict

MARK = (22.0, 14.0)
_JAWS = {Verdict.CAN_HIT: 10.0, Verdict.TIGHT: 6.0, Verdict.CLEAR: 2.0}  # how wide each of the two jaws is
_ARROW = (14.0, 5.0)  # length and half width of its head
_LABEL_GAP = 10.5  # between two labels, from base to base
_FRAME = 0.5

Place = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Label:
    """A name at a place of a picture, in shares of its width and height from its lower left corner."""

    name: str
    at: Place
    is_hidden: bool


@dataclass(frozen=True, slots=True)
class SetUpPicture:
    """The set-up as PNG, with its labels, and the direction in it towards the operator, of length 1."""

    png: bytes
    labels: tuple[Label, ...]
    to_operator: Place


@dataclass(frozen=True, slots=True)
class WatchPictures:
    """One place across its gap and from the door, as PNG, and from where the first is seen."""

    across: bytes
    door: bytes
    seen_from: str


class Mark(Flowable):  # type: ignore[misc]  # the library has no types
    """The mark of a verdict: two jaws with the room between them."""

    def __init__(self, verdict: Verdict, scale: float = 1.0, ink: object = black, under: object = white) -> None:
        super().__init__()
        self.verdict, self.scale, self.ink, self.under = verdict, scale, ink, under

    def wrap(self, *_: float) -> tuple[float, float]:
        return MARK[0] * self.scale, MARK[1] * self.scale

    def draw(self) -> None:
        draw_mark(self.canv, self.verdict, 0.0, 0.0, self.scale, self.ink, self.under)


def draw_mark(
    canvas: Canvas, verdict: Verdict, x: float, y: float, scale: float = 1.0, ink: object = black, under: object = white
) -> None:
    """The mark with its lower left corner at x, y."""
    width, height = MARK
    canvas.saveState()
    canvas.translate(x, y)
    canvas.scale(scale, scale)
    canvas.setFillColor(ink)
    canvas.setStrokeColor(ink)
    match verdict:
        case Verdict.HITS:
            canvas.rect(0, 0, width, height, stroke=0, fill=1)
            canvas.setStrokeColor(under)
            canvas.setLineWidth(2.0)
            for sign in (1.0, -1.0):
                canvas.line(width / 2 - 4, height / 2 - 4 * sign, width / 2 + 4, height / 2 + 4 * sign)
        case Verdict.NOT_CHECKED:
            canvas.rect(0, 0, 3, height, stroke=0, fill=1)
            canvas.setLineWidth(1.6)
            path = canvas.beginPath()
            path.moveTo(7.5, 10.0)
            path.curveTo(7.5, 13.6, 14.5, 13.6, 14.5, 10.0)
            path.curveTo(14.5, 7.6, 11.0, 7.6, 11.0, 4.6)
            canvas.drawPath(path, stroke=1, fill=0)
            canvas.circle(11.0, 1.6, 1.1, stroke=0, fill=1)
            for i in range(3):
                canvas.rect(19, 1 + 5 * i, 3, 2.5, stroke=0, fill=1)
        case _:
            jaw = _JAWS[verdict]
            canvas.rect(0, 0, jaw, height, stroke=0, fill=1)
            canvas.rect(width - jaw, 0, jaw, height, stroke=0, fill=1)
            if verdict is Verdict.TIGHT:
                canvas.setLineWidth(2.0)
                canvas.line(9, height / 2, 13, height / 2)
    canvas.restoreState()


class Framed(Flowable):  # type: ignore[misc]  # the library has no types
    """A picture in a thin frame."""

    def __init__(self, png: bytes, width: float, height: float) -> None:
        super().__init__()
        self.image = ImageReader(io.BytesIO(png))
        self.width, self.height = width, height

    def wrap(self, *_: float) -> tuple[float, float]:
        return self.width, self.height

    def draw(self) -> None:
        self.canv.drawImage(self.image, 0, 0, self.width, self.height)
        self.canv.setLineWidth(_FRAME)
        self.canv.rect(0, 0, self.width, self.height)


class WriteOn(Flowable):  # type: ignore[misc]  # the library has no types
    """Words in one line, each with a line after it to write on; all lines are equally long."""

    def __init__(self, labels: Sequence[str], width: float) -> None:
        super().__init__()
        self.labels, self.width = labels, width

    def wrap(self, *_: float) -> tuple[float, float]:
        return self.width, SMALL + 4.0

    def draw(self) -> None:
        words = [width_of(label, SMALL) for label in self.labels]
        line = (self.width - sum(words)) / len(words) - 8.0
        x = 0.0
        self.canv.setFont(REGULAR, SMALL)
        self.canv.setLineWidth(_FRAME)
        for label, width in zip(self.labels, words, strict=True):
            self.canv.drawString(x, 3.0, label)
            self.canv.line(x + width + 3.0, 2.0, x + width + 3.0 + line, 2.0)
            x += width + line + 8.0


class LabelledSetUp(Flowable):  # type: ignore[misc]  # the library has no types
    """The set-up with names at its sides, led to what they name, and the arrow to the operator under it."""

    def __init__(self, picture: SetUpPicture, width: float, size: Place, cutter: Cutter) -> None:
        super().__init__()
        self.picture, self.width, self.size, self.cutter = picture, width, size, cutter
        self.image = ImageReader(io.BytesIO(picture.png))
        self.below = 16.0

    def wrap(self, *_: float) -> tuple[float, float]:
        return self.width, self.size[1] + self.below

    def draw(self) -> None:
        canvas = self.canv
        x0, y0 = (self.width - self.size[0]) / 2, self.below
        canvas.drawImage(self.image, x0, y0, *self.size)
        canvas.setLineWidth(_FRAME)
        canvas.rect(x0, y0, *self.size)
        left = [one for one in self.picture.labels if one.at[0] < 0.5]
        right = [one for one in self.picture.labels if one.at[0] >= 0.5]
        left, right = _balanced(left, right)
        self._side(left, x0, y0, is_left=True)
        self._side(right, x0, y0, is_left=False)
        self._arrow(x0 + self.size[0] / 2)

    def _side(self, labels: Sequence[Label], x0: float, y0: float, *, is_left: bool) -> None:
        """Names on one side, from the top down in the order of their places, so that no two leaders cross much."""
        canvas, room = self.canv, (self.width - self.size[0]) / 2 - 3.0
        ordered = sorted(labels, key=lambda one: -one.at[1])
        bases = _spread([y0 + one.at[1] * self.size[1] - 3.0 for one in ordered], y0 + self.size[1] - 8.0, y0 + 2.0)
        for one, base in zip(ordered, bases, strict=True):
            name = self.cutter.fitted(one.name, room, 1, LEAST)
            text_width = width_of(name, LEAST)
            x = x0 - 3.0 - text_width if is_left else x0 + self.size[0] + 3.0
            canvas.setFont(REGULAR, LEAST)
            canvas.setFillColor(black)
            canvas.drawString(x, base, name)
            start = (x0 - 1.5, base + 3.0) if is_left else (x0 + self.size[0] + 1.5, base + 3.0)
            end = (x0 + one.at[0] * self.size[0], y0 + one.at[1] * self.size[1])
            _leader(canvas, start, end, is_hidden=one.is_hidden)

    def _arrow(self, x: float) -> None:
        """TO YOU, with an arrow in the direction that leads to the operator."""
        canvas, (dx, dy) = self.canv, self.picture.to_operator
        canvas.setFont(BOLD, LEAST)
        canvas.setFillColor(black)
        text = "TO YOU"
        canvas.drawString(x + 12.0, 2.5, text)
        length, half = _ARROW
        tip = (x + dx * length / 2, 6.5 + dy * length / 2)
        base = (tip[0] - dx * length, tip[1] - dy * length)
        neck = (tip[0] - dx * 6.0, tip[1] - dy * 6.0)
        canvas.setLineWidth(2.0)
        canvas.line(*base, *neck)
        path = canvas.beginPath()
        path.moveTo(*tip)
        path.lineTo(neck[0] - dy * half, neck[1] + dx * half)
        path.lineTo(neck[0] + dy * half, neck[1] - dx * half)
        path.close()
        canvas.drawPath(path, stroke=0, fill=1)


def _balanced(left: list[Label], right: list[Label]) -> tuple[list[Label], list[Label]]:
    """Sides of about as many names: those nearest to the middle go over to the other."""
    while len(left) > len(right) + 2:
        mover = max(left, key=lambda one: one.at[0])
        left, right = [one for one in left if one is not mover], [*right, mover]
    while len(right) > len(left) + 2:
        mover = min(right, key=lambda one: one.at[0])
        right, left = [one for one in right if one is not mover], [*left, mover]
    return left, right


def _spread(wanted: Sequence[float], top: float, bottom: float) -> list[float]:
    """Bases of names from the top down, as near to what is wanted as the distance between them allows."""
    found: list[float] = []
    for base in wanted:
        limit = found[-1] - _LABEL_GAP if found else top
        found.append(min(base, limit))
    lowest = bottom
    for i in reversed(range(len(found))):
        found[i] = max(found[i], lowest)
        lowest = found[i] + _LABEL_GAP
    return found


def _leader(canvas: Canvas, start: Place, end: Place, *, is_hidden: bool) -> None:
    """A thin line with a dot at its end, cased in white so that it is seen on grey; dashed to what is hidden."""
    canvas.saveState()
    for colour, width in ((white, 2.0), (black, 0.6)):
        canvas.setStrokeColor(colour)
        canvas.setLineWidth(width)
        if is_hidden and colour is black:
            canvas.setDash(2.0, 1.5)
        canvas.line(*start, *end)
    canvas.setDash()
    canvas.setFillColor(white if is_hidden else black)
    canvas.setLineWidth(0.6)
    canvas.circle(*end, 1.6, stroke=1, fill=1)
    canvas.restoreState()
