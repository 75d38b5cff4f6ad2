"""The map of a cut as a picture: rows upward, columns to the right, a colour for each verdict, lines at 0 and keep-off.

1. Colours, marks and type are those of the window in its light dress; by lightness alone the verdicts stay apart.
2. Lines run along the borders of cells: where between two cells the spare crosses is not known, so it is not drawn.
3. What this file does not know: geometry.
"""

from __future__ import annotations

import io
import math
from collections.abc import Callable, Iterator
from functools import cache
from importlib.resources import files

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from app.jobs.table_map import cell_now, counts, why
from app.jobs.words import CANNOT_REACH, MINUS, number, spare_text
from kinematics.answers.orientation_map import OrientationMap
from kinematics.verdict import Verdict

GROUND, CARD, INK, QUIET, LINE = "#E9ECEA", "#FBFCFB", "#15201D", "#51605B", "#7C8A85"
FILLS = {
    Verdict.HITS: "#7A1747",
    Verdict.CAN_HIT: "#DA7439",
    Verdict.NOT_CHECKED: "#BBA0EE",
    Verdict.TIGHT: "#FCCB32",
    Verdict.CLEAR: "#E0F0F0",
}
ON_FILLS = {Verdict.HITS: "#FFFFFF"}  # what is written on a plate; else ink
LONGEST = 1080  # pixels of the longer side of the map
LEAST_HIGH = 40  # pixels of a map with one row
LEFT, RIGHT, TOP, BOTTOM = 84, 28, 88, 152  # pixels around the map
MARK = (22, 14)  # pixels
HATCH = 8  # pixels between the lines over what cannot be reached
DOTS = 6  # pixels between the dots where the flute is too short
_Rectangle = tuple[float, float, float, float]


def map_png(found: OrientationMap, title: str) -> bytes:
    """The picture as the bytes of a PNG file; `title` is of the set-up."""
    plot = _Plot(found)
    image = Image.new("RGB", (LEFT + plot.width + RIGHT, TOP + plot.height + BOTTOM), GROUND)
    draw = ImageDraw.Draw(image)
    _head(draw, found, title, image.width - LEFT - RIGHT)
    image.paste(plot.cells(), (LEFT, TOP))
    for y_or_x in plot.borders(found.pair_severity > 0):
        plot.line(draw, y_or_x, width=1, casing=0, dash=4)
    for y_or_x in plot.borders(found.pair_severity >= Verdict.CAN_HIT.severity):
        plot.line(draw, y_or_x, width=2, casing=1, dash=0)
    _axes(draw, plot)
    _now(draw, plot)
    _legend(draw, found, TOP + plot.height + 62, image.width)
    data = io.BytesIO()
    image.save(data, format="PNG", optimize=True)
    return data.getvalue()


@cache
def _font(size: int, cut: str = "") -> ImageFont.FreeTypeFont:
    with files("shared.fonts").joinpath(f"DejaVuSansCondensed{cut}.ttf").open("rb") as stream:
        return ImageFont.truetype(io.BytesIO(stream.read()), size)


class _Plot:
    """Where angles stand in the picture."""

    def __init__(self, found: OrientationMap) -> None:
        self.found = found
        self.step_x, self.step_y = _step(found.columns_deg), _step(found.rows_deg)
        columns = len(found.columns_deg) * self.step_x
        rows = len(found.rows_deg) * self.step_y if found.row_axis is not None else 0.0
        self.scale = LONGEST / max(columns, rows)
        self.width = max(1, round(columns * self.scale))
        self.height = LEAST_HIGH if found.row_axis is None else max(1, round(rows * self.scale))
        self.left = float(found.columns_deg[0]) - self.step_x / 2
        self.low = float(found.rows_deg[0]) - self.step_y / 2

    def x(self, angle_deg: float) -> float:
        return LEFT + (angle_deg - self.left) * self.scale

    def y(self, angle_deg: float) -> float:
        if self.found.row_axis is None:
            return TOP + self.height / 2
        return TOP + self.height - (angle_deg - self.low) * self.scale

    def _edges(self) -> tuple[list[int], list[int]]:
        """Pixels at which columns and rows begin and end, rows from below."""
        n_rows, n_columns = self.found.shape
        xs = [round(self.width * j / n_columns) for j in range(n_columns + 1)]
        return xs, [self.height - round(self.height * i / n_rows) for i in range(n_rows + 1)]

    def cells(self) -> Image.Image:
        """The cells in their colours; what cannot be reached is hatched."""
        xs, ys = self._edges()
        colours = np.zeros((*self.found.shape, 3), dtype=np.uint8)
        for verdict, fill in FILLS.items():
            colours[self.found.severity == verdict.severity] = _rgb(fill)
        column_of = np.repeat(np.arange(len(xs) - 1), np.diff(xs))
        row_of = np.repeat(np.arange(len(ys) - 1), -np.diff(ys))[::-1]
        pixels = colours[row_of][:, column_of]
        y, x = np.mgrid[0 : self.height, 0 : self.width]
        is_hatched = ((x + y) % HATCH < 2) & self.found.out_of_travel[row_of][:, column_of]
        pixels[is_hatched] = _rgb(CARD)
        is_dotted = (x % DOTS < 2) & (y % DOTS < 2) & _flute_stops(self.found)[row_of][:, column_of]
        pixels[is_dotted] = _rgb(INK)
        return Image.fromarray(pixels)

    def borders(self, inside: NDArray[np.bool_]) -> Iterator[_Rectangle]:
        """Where cells that are inside meet cells that are not: lines as x0, y0, x1, y1."""
        xs, ys = self._edges()
        for i, j in np.argwhere(inside[:, 1:] != inside[:, :-1]).tolist():
            yield LEFT + xs[j + 1], TOP + ys[i + 1], LEFT + xs[j + 1], TOP + ys[i]
        for i, j in np.argwhere(inside[1:] != inside[:-1]).tolist():
            yield LEFT + xs[j], TOP + ys[i + 1], LEFT + xs[j + 1], TOP + ys[i + 1]

    def line(self, draw: ImageDraw.ImageDraw, ends: _Rectangle, *, width: int, casing: int, dash: int) -> None:
        x0, y0, x1, y1 = ends
        if casing:
            draw.line(ends, fill=CARD, width=width + 2 * casing)
        if not dash:
            draw.line(ends, fill=INK, width=width)
            return
        length = int(max(abs(x1 - x0), abs(y1 - y0)))
        start = int(x0 + y0) % dash  # dashes go on from one cell to the next
        for k in range(-start, length + 1, dash):
            a, b = max(k, 0) / max(length, 1), min(k + dash // 2, length) / max(length, 1)
            if b > a or length == 0:
                draw.line(
                    (x0 + a * (x1 - x0), y0 + a * (y1 - y0), x0 + b * (x1 - x0), y0 + b * (y1 - y0)), INK, width=width
                )


def _flute_stops(found: OrientationMap) -> NDArray[np.bool_]:
    """Where the flute alone is what can hit."""
    can_hit = Verdict.CAN_HIT.severity
    return np.asarray(found.too_deep & (found.severity == can_hit) & (found.pair_severity < can_hit))


def _step(angles: NDArray[np.float64]) -> float:
    return float(angles[1] - angles[0]) if len(angles) > 1 else 1.0


def _rgb(colour: str) -> tuple[int, int, int]:
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)


# ---- what is written -----------------------------------------------------------------------------------


def _head(draw: ImageDraw.ImageDraw, found: OrientationMap, title: str, width: int) -> None:
    head = f"{found.orientation} {found.cut}, {found.tool} in {found.holder}"
    draw.text((LEFT, 14), _elided(head, _font(18, "-Bold"), width), INK, _font(18, "-Bold"))
    step = number(_step(found.columns_deg), 2).rstrip("0").rstrip(".")
    about = (
        f"{title}. Tip kept, tool re-aimed; every {step}\u00b0, each cell for its own angles only. "
        f"The cut alone, no swings."
    )
    draw.text((LEFT, 42), _elided(about, _font(13), width), INK, _font(13))
    cell = cell_now(found)
    said = str(cell.verdict) if not cell.is_out_of_travel else CANNOT_REACH
    if cell.spare is not None:
        least = "at least " if cell.between is None else ""
        said += f", spare {least}{spare_text(cell.spare, found.keep_off)} mm"
    if cell.between is not None:
        said += f", {' to '.join(cell.between)}"
    said = "; ".join(part for part in (said, why(cell)) if part)
    draw.text((LEFT, 61), _elided(f"Nearest to now: {said}", _font(13), width), QUIET, _font(13))


def _elided(text: str, font: ImageFont.FreeTypeFont, width: float) -> str:
    """The text as far as there is room for it, what is left out in the middle."""
    if font.getlength(text) <= width:
        return text
    keep = len(text)
    while keep > 2 and font.getlength(f"{text[: keep // 2]}\u2026{text[-(keep // 2) :]}") > width:
        keep -= 1
    return f"{text[: keep // 2]}\u2026{text[-(keep // 2) :]}"


def _axes(draw: ImageDraw.ImageDraw, plot: _Plot) -> None:
    found, small = plot.found, _font(12)
    right, bottom = LEFT + plot.width, TOP + plot.height
    draw.rectangle((LEFT - 1, TOP - 1, right, bottom), outline=INK)
    for angle in _ticks(float(found.columns_deg[0]), float(found.columns_deg[-1]), 30 if plot.scale < 5 else 15):
        x = plot.x(angle)
        draw.line((x, bottom, x, bottom + 6), INK)
        draw.text((x, bottom + 9), _degrees(angle), INK, small, anchor="ma")
    draw.text(((LEFT + right) / 2, bottom + 28), f"{found.column_axis}, \u00b0", INK, _font(13), anchor="ma")
    if found.row_axis is None:
        return
    for angle in _ticks(float(found.rows_deg[0]), float(found.rows_deg[-1]), 15):
        y = plot.y(angle)
        draw.line((LEFT - 7, y, LEFT - 1, y), INK)
        draw.text((LEFT - 11, y), _degrees(angle), INK, small, anchor="rm")
    label = f"{found.row_axis}, \u00b0"
    font = _font(13)
    upright = Image.new("L", (math.ceil(font.getlength(label)) + 4, 20), 0)
    ImageDraw.Draw(upright).text((2, 2), label, 255, font)
    turned = upright.rotate(90, expand=True)
    draw.bitmap((14, TOP + (plot.height - turned.height) // 2), turned, fill=INK)


def _ticks(first: float, last: float, step: int) -> Iterator[float]:
    k = math.ceil(first / step - 1e-9)
    while k * step <= last + 1e-9:
        yield float(k * step)
        k += 1


def _degrees(angle: float) -> str:
    return f"{angle:g}".replace("-", MINUS)


def _now(draw: ImageDraw.ImageDraw, plot: _Plot) -> None:
    """Where the orientation stands: a ring and a cross with its angles on a plate."""
    found, now = plot.found, dict(plot.found.now)
    column = now.get(found.column_axis, 0.0)
    while column < plot.left:
        column += 360.0
    while column >= plot.left + 360.0:
        column -= 360.0
    row = now.get(found.row_axis, 0.0) if found.row_axis is not None else 0.0
    x, y = plot.x(column), plot.y(row)
    if not (LEFT - 1 <= x <= LEFT + plot.width and TOP - 1 <= y <= TOP + plot.height):
        return
    for colour, thick in ((CARD, 6), (INK, 2)):
        draw.ellipse((x - 10, y - 10, x + 10, y + 10), outline=colour, width=thick // 2 + 1)
        for dx, dy in ((1, 0), (-1, 0), (0, 1), (0, -1)):
            draw.line((x + 6 * dx, y + 6 * dy, x + 15 * dx, y + 15 * dy), colour, width=thick)
    angles = ", ".join(f"{name} {_degrees(angle)}" for name, angle in found.now)
    text, font = f"now: {angles}", _font(12, "-Bold")
    width = font.getlength(text) + 12
    is_left = x + 20 + width > LEFT + plot.width
    left, top = (x - 20 - width if is_left else x + 20), (y + 14 if y - 34 < TOP else y - 34)
    if plot.height <= LEAST_HIGH:
        top = y - 10
    draw.rectangle((left, top, left + width, top + 20), fill=CARD, outline=INK)
    draw.text((left + 6, top + 10), text, INK, font, anchor="lm")


# ---- legend ----------------------------------------------------------------------------------------------


def _legend(draw: ImageDraw.ImageDraw, found: OrientationMap, top: int, width: int) -> None:
    """A plate for each verdict with its share, and what the lines are."""
    total, bold, quiet = found.severity.size, _font(12, "-Bold"), _font(12)
    n_out, n_short = int(found.out_of_travel.sum()), int(_flute_stops(found).sum())
    x, y = float(LEFT), float(top)
    for verdict, n in counts(found).items():
        entries = [(str(verdict), n, "")]
        if verdict is Verdict.HITS:
            entries = [(str(verdict), n - n_out, ""), (CANNOT_REACH, n_out, "hatched")]
        if verdict is Verdict.CAN_HIT:
            entries = [(str(verdict), n - n_short, ""), ("flute too short", n_short, "dotted")]
        for word, count, pattern in entries:
            plate = 46 + bold.getlength(word.upper())
            draw.rectangle((x, y, x + plate, y + 26), fill=FILLS[verdict], outline=INK)
            on = ON_FILLS.get(verdict, INK)
            if pattern:
                _pattern(draw, x + 7, y + 5, pattern)
            else:
                MARKS[verdict](draw, x + 7, y + 6, on)
            draw.text((x + 36, y + 13), word.upper(), on, bold, anchor="lm")
            draw.text((x, y + 31), f"{100.0 * count / total:.1f} %", QUIET, quiet)
            x += plate + 12
    y += 60
    x = float(LEFT)
    draw.line((x, y, x + 30, y), CARD, width=4)
    draw.line((x, y, x + 30, y), INK, width=2)
    x = _beside(draw, x + 38, y, "spare 0")
    for k in range(0, 30, 4):
        draw.line((x + k, y, x + k + 2, y), INK)
    cutter, holder = found.keep_offs
    wanted = f"spare {number(cutter)}, the keep-off"
    if cutter != holder:
        wanted = f"the keep-off: {number(cutter)} of the cutter, {number(holder)} of all else"
    x = _beside(draw, x + 38, y, wanted)
    last = "A clear cell has its keep-off, proven; how much more is not told."
    draw.text((x, y), _elided(last, quiet, width - RIGHT - x), QUIET, quiet, anchor="lm")


def _pattern(draw: ImageDraw.ImageDraw, x: float, y: float, pattern: str) -> None:
    """A piece of what lies over cells, where a plate has its mark."""
    if pattern == "hatched":
        for k in range(0, 22, HATCH):
            draw.line((x + k, y + 16, x + min(k + 16, 22), y + max(16 - (22 - k), 0)), CARD, width=2)
        return
    for dx in range(0, 22, DOTS):
        for dy in range(0, 16, DOTS):
            draw.rectangle((x + dx, y + dy, x + dx + 1, y + dy + 1), fill=INK)


def _beside(draw: ImageDraw.ImageDraw, x: float, y: float, text: str) -> float:
    draw.text((x, y), text, INK, _font(12), anchor="lm")
    return x + _font(12).getlength(text) + 24


def _jaws(draw: ImageDraw.ImageDraw, x: float, y: float, colour: str, jaw: int) -> None:
    draw.rectangle((x, y, x + jaw - 1, y + MARK[1] - 1), fill=colour)
    draw.rectangle((x + MARK[0] - jaw, y, x + MARK[0] - 1, y + MARK[1] - 1), fill=colour)


def _hits(draw: ImageDraw.ImageDraw, x: float, y: float, colour: str) -> None:
    draw.rectangle((x, y, x + MARK[0] - 1, y + MARK[1] - 1), fill=colour)
    for ends in ((7, 3, 14, 10), (7, 10, 14, 3)):
        draw.line((x + ends[0], y + ends[1], x + ends[2], y + ends[3]), FILLS[Verdict.HITS], width=2)


def _can_hit(draw: ImageDraw.ImageDraw, x: float, y: float, colour: str) -> None:
    _jaws(draw, x, y, colour, 10)


def _not_checked(draw: ImageDraw.ImageDraw, x: float, y: float, colour: str) -> None:
    draw.rectangle((x, y, x + 5, y + MARK[1] - 1), fill=colour)
    draw.text((x + 11, y + 7), "?", colour, _font(12, "-Bold"), anchor="mm")
    for k in range(0, MARK[1], 4):
        draw.rectangle((x + 16, y + k, x + 21, y + k + 1), fill=colour)


def _tight(draw: ImageDraw.ImageDraw, x: float, y: float, colour: str) -> None:
    _jaws(draw, x, y, colour, 6)
    draw.line((x + 8, y + 7, x + 13, y + 7), colour, width=2)


def _clear(draw: ImageDraw.ImageDraw, x: float, y: float, colour: str) -> None:
    _jaws(draw, x, y, colour, 2)


MARKS: dict[Verdict, Callable[[ImageDraw.ImageDraw, float, float, str], None]] = {
    Verdict.HITS: _hits,
    Verdict.CAN_HIT: _can_hit,
    Verdict.NOT_CHECKED: _not_checked,
    Verdict.TIGHT: _tight,
    Verdict.CLEAR: _clear,
}
