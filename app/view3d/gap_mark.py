"""The gap as it is drawn: caliper jaws with a label, a ring and a glass where it is small. Pure geometry.

1. The mark lies over the picture and is never hidden behind a body.
2. The line is cased and has the colour of the verdict; its jaws are square to it. The label stands on a plate
   in a place that is free, never over an end of the gap, and is led to it by a thin line.
3. A gap shorter than SHORT is shown in a round glass as well, GLASS_ZOOM times as large.
4. Pixels are counted from the lower left corner of the picture, x to the right, y up. `scale` is how many
   pixels of the picture stand for one of the design.
5. What this file does not know: cameras, bodies, what draws. How wide a text is, its caller measures.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from kinematics.pose import Array
from kinematics.verdict import Verdict

Point = tuple[float, float]
Paint = Literal["jaws", "gap", "ink", "paper", "quiet", "line", "on gap"]
Cover = Callable[["Rect"], float]  # how much of a rectangle is taken: 0 free, 1 wholly by the pair

LINE = 3.0
CASING = 1.5  # round the line
JAW = 11.0  # half length of a jaw
SHORT = 24.0  # a gap of fewer pixels gets a glass
GLASS_ZOOM, GLASS_MOST = 4.0, 16.0
ON_END = 0.35  # of its true length: a gap that looks shorter is seen on end
GLASS_RADIUS = 0.155  # of the picture's shorter side, at least
GLASS_LARGEST = 150.0  # unless the jaws need more
ROUND_JAWS = 16.0
RING = 15.0  # round the gap that the glass shows
LEAST_LABEL = 260.0  # a picture less wide than this has no label: it stands beside it
NUMBER_SIZE, TEXT_SIZE = 26.0, 15.0
INSIDE, EDGE = 8.0, 16.0  # within a plate, and from the picture's edge
KEEP_BONUS = 0.6  # for a label that stays where it is, in the same measure
TAKEN_COST = 4.0  # of covering what matters, against being a whole picture's height away


@dataclass(frozen=True, slots=True)
class Rect:
    """A rectangle by its lower left and upper right corner."""

    x0: float
    y0: float
    x1: float
    y1: float

    @property
    def centre(self) -> Point:
        return (self.x0 + self.x1) / 2, (self.y0 + self.y1) / 2

    def holds(self, p: Point, margin: float = 0.0) -> bool:
        return self.x0 - margin <= p[0] <= self.x1 + margin and self.y0 - margin <= p[1] <= self.y1 + margin

    def meets(self, other: Rect, margin: float = 0.0) -> bool:
        across = self.x0 < other.x1 + margin and other.x0 < self.x1 + margin
        return across and self.y0 < other.y1 + margin and other.y0 < self.y1 + margin


@dataclass(frozen=True, slots=True)
class Stroke:
    """A line through points, `width` wide; closed where it comes back to its first point."""

    points: tuple[Point, ...]
    width: float
    paint: Paint


@dataclass(frozen=True, slots=True)
class Area:
    """A filled convex polygon."""

    points: tuple[Point, ...]
    paint: Paint


@dataclass(frozen=True, slots=True)
class Words:
    """A line of text; `at` is the left end of its base."""

    text: str
    at: Point
    size: float
    is_bold: bool
    paint: Paint


@dataclass(frozen=True, slots=True)
class Glass:
    """A round window onto the same scene round `shows`, `zoom` times as large."""

    centre: Point
    radius: float
    shows: Point
    zoom: float


Item = Stroke | Area | Words | Glass
Measure = Callable[[Words], Point]  # width and height of a line of text, in pixels


@dataclass(frozen=True, slots=True)
class GapLabel:
    """What is written beside the gap: its number with the unit, and lines under it."""

    number: str
    lines: tuple[str, ...]
    verdict: Verdict


@dataclass(frozen=True, slots=True)
class Canvas:
    """The picture to lay things out in. `taken` says how much of a rectangle is covered by what matters.

    `reserved` : where something else lies over the picture.
    `keep` : the middle of the label's plate in the picture before; it stays there unless another place is much better.
    """

    width: float
    height: float
    scale: float
    measure: Measure
    taken: Cover
    keep: Point | None = None
    reserved: tuple[Rect, ...] = ()


def cover_of(weights: NDArray[np.float64], pixel: float) -> Cover:
    """Says how much of a rectangle is taken, from what each spot of the picture weighs (rows, columns; lowest first).

    `pixel` : how many pixels of the picture one spot stands for, each way.
    """
    rows, columns = weights.shape
    summed = np.zeros((rows + 1, columns + 1))
    summed[1:, 1:] = weights.cumsum(axis=0).cumsum(axis=1)

    def taken(rect: Rect) -> float:
        x0, x1 = (min(max(int(v / pixel), 0), columns) for v in (rect.x0, rect.x1))
        y0, y1 = (min(max(int(v / pixel), 0), rows) for v in (rect.y0, rect.y1))
        covered = float(summed[y1, x1]) - float(summed[y0, x1]) - float(summed[y1, x0]) + float(summed[y0, x0])
        return covered / float(max((x1 - x0) * (y1 - y0), 1))

    return taken


def corners(r: Rect) -> tuple[Point, Point, Point, Point]:
    """The corners of a rectangle, the way round of a polygon."""
    return (r.x0, r.y0), (r.x1, r.y0), (r.x1, r.y1), (r.x0, r.y1)


def gap_mark(
    ends: tuple[Point, Point],
    true_length: float,
    label: GapLabel,
    canvas: Canvas,
    *,
    is_overlap: bool,
    with_glass: bool,
) -> tuple[Item, ...]:
    """The mark from back to front.

    Parameters
    ----------
    ends : of the gap in pixels, on the tool side first.
    true_length : how long the gap would be if it were seen square. One that is seen on end has no length to
        show: it is a dot in a ring.
    """
    k = canvas.scale
    length = math.dist(*ends)
    middle = ((ends[0][0] + ends[1][0]) / 2, (ends[0][1] + ends[1][1]) / 2)
    is_labelled = canvas.width >= LEAST_LABEL * k
    is_short = length < SHORT * k
    if not is_labelled:
        return tuple(jaws(ends, k, is_overlap=is_overlap))
    is_on_end = length < ON_END * true_length
    if is_short and with_glass and not is_on_end:
        glass = _place_glass(middle, length, canvas)
        mark = [*_glass(glass, ends, canvas, is_overlap=is_overlap)]
        mark += _zoom_text(glass, canvas) if label.lines else ()  # where only the number has room, on paper say
        ring = _ring_radius(glass, k)
        busy = [_box_round([middle], ring), _box_round([glass.centre], glass.radius)]
        for share in np.arange(1, 8) / 8:  # between the lines that lead from the ring to the glass
            radius = ring + (glass.radius - ring) * share
            busy.append(_box_round([_between(middle, glass.centre, share)], radius))
        target, radius = glass.centre, glass.radius
    else:
        mark = [*_dot(middle, k)] if is_on_end else [*jaws(ends, k, is_overlap=is_overlap)]
        radius = RING * 1.4 * k
        if is_short:
            mark = [*_ring(middle, radius, k), *mark]
        busy = [_box_round(ends, max((JAW + LINE) * k, radius))]
        target, radius = middle, radius if is_short else (LINE / 2 + 3 * CASING) * k
    return (*_label(target, radius, middle, label, canvas, busy), *mark)


def jaws(ends: tuple[Point, Point], scale: float, *, is_overlap: bool) -> Iterator[Item]:
    """The cased line between the ends, with a jaw square to it at each; an x over the line of an overlap."""
    a, b = np.asarray(ends[0]), np.asarray(ends[1])
    length = float(np.linalg.norm(b - a))
    along = (b - a) / length if length > 1e-9 else np.array([1.0, 0.0])
    square = np.array([-along[1], along[0]])
    half = JAW * scale * square
    # the jaws stand outside the gap, as those of a caliper: between them is what is measured
    out = along * (LINE / 2 + CASING) * scale * (-1.0 if is_overlap else 1.0)
    lines = [(a, b), (a - out - half, a - out + half), (b + out - half, b + out + half)]
    if is_overlap:
        arm = 0.6 * JAW * scale
        m = (a + b) / 2
        lines += [(m - arm * (along + square), m + arm * (along + square))]
        lines += [(m - arm * (along - square), m + arm * (along - square))]
    coats: tuple[tuple[float, Paint], ...] = (
        (LINE + 4 * CASING, "paper"),  # so that it stands out from ink as well
        (LINE + 2 * CASING, "ink"),
        (LINE, "jaws"),
    )
    for width, paint in coats:
        for p, q in lines:
            yield Stroke((_point(p), _point(q)), width * scale, paint)


def _point(p: Array) -> Point:
    return float(p[0]), float(p[1])


def _box_round(points: Sequence[Point], margin: float) -> Rect:
    xs, ys = [p[0] for p in points], [p[1] for p in points]
    return Rect(min(xs) - margin, min(ys) - margin, max(xs) + margin, max(ys) + margin)


def _circle(centre: Point, radius: float) -> tuple[Point, ...]:
    angles = [2 * math.pi * i / 72 for i in range(73)]
    return tuple((centre[0] + radius * math.cos(a), centre[1] + radius * math.sin(a)) for a in angles)


def _dot(centre: Point, k: float) -> Iterator[Item]:
    coats: tuple[tuple[float, Paint], ...] = ((4.0 + 2 * CASING, "paper"), (4.0 + CASING, "ink"), (4.0, "jaws"))
    for radius, paint in coats:
        yield Area(_circle(centre, radius * k)[:-1], paint)


def _ring(centre: Point, radius: float, k: float) -> Iterator[Item]:
    yield Stroke(_circle(centre, radius), 4.5 * k, "paper")
    yield Stroke(_circle(centre, radius), 1.5 * k, "ink")


def plate_of(items: Sequence[Item]) -> Rect | None:
    """The plate of the label among the items of a mark; None where it has none."""
    for item in items:
        if isinstance(item, Area) and item.paint == "paper" and len(item.points) == 4:
            return Rect(*item.points[0], *item.points[2])
    return None


# --- the glass ----------------------------------------------------------------------------------


def _place_glass(middle: Point, length: float, canvas: Canvas) -> Glass:
    zoom = GLASS_ZOOM
    while zoom * length < SHORT * canvas.scale and zoom < GLASS_MOST:  # a hair's breadth needs a stronger glass
        zoom *= 2.0
    room = zoom * length / 2 + (LINE / 2 + 2 * CASING + ROUND_JAWS) * canvas.scale  # both jaws, and what is round them
    usual = min(GLASS_RADIUS * min(canvas.width, canvas.height), GLASS_LARGEST * canvas.scale)
    radius = max(usual, room)
    around = _box_round([middle], max(2.0 * RING * canvas.scale, radius / zoom))
    box = _free_place((2 * radius, 2 * radius), middle, middle, canvas, [around, *canvas.reserved])
    return Glass(box.centre, radius, middle, zoom)


def _ring_radius(glass: Glass, k: float) -> float:
    return max(RING * k, glass.radius / glass.zoom)


def _between(a: Point, b: Point, share: float) -> Point:
    return a[0] + (b[0] - a[0]) * share, a[1] + (b[1] - a[1]) * share


def _glass(glass: Glass, ends: tuple[Point, Point], canvas: Canvas, *, is_overlap: bool) -> Iterator[Item]:
    """The ring in the picture, the two lines that lead from it to the glass, the glass, and the jaws in it."""
    k, ring = canvas.scale, _ring_radius(glass, canvas.scale)
    yield from _ring(glass.shows, ring, k)
    for line in _tangents(glass.shows, ring, glass.centre, glass.radius):
        yield Stroke(line, 3.0 * k, "paper")
        yield Stroke(line, 1.0 * k, "ink")
    yield glass
    yield from _ring(glass.centre, glass.radius, k)
    c, m = glass.centre, glass.shows
    a, b = ((c[0] + (p[0] - m[0]) * glass.zoom, c[1] + (p[1] - m[1]) * glass.zoom) for p in ends)
    yield from jaws((a, b), k, is_overlap=is_overlap)


def _zoom_text(glass: Glass, canvas: Canvas) -> Iterator[Item]:
    """How strong the glass is, on its rim, where no jaw comes."""
    k, c = canvas.scale, glass.centre
    text, size = f"{glass.zoom:.0f}\u00d7", TEXT_SIZE * k
    width, height = canvas.measure(Words(text, c, size, False, "quiet"))
    low = c[1] - glass.radius - height / 2
    plate = Rect(c[0] - width / 2 - 4 * k, low - 4 * k, c[0] + width / 2 + 4 * k, low + height + 4 * k)
    yield Area(corners(plate), "paper")
    yield Words(text, (c[0] - width / 2, low), size, False, "quiet")


def _tangents(a: Point, ra: float, b: Point, rb: float) -> tuple[tuple[Point, Point], ...]:
    """The two outer tangents of two circles, from the first to the second."""
    dx, dy = b[0] - a[0], b[1] - a[1]
    d = math.hypot(dx, dy)
    if d <= abs(rb - ra) + 1e-9:
        return ()
    base, lean = math.atan2(dy, dx), math.acos((ra - rb) / d)
    found = []
    for angle in (base + lean, base - lean):
        u = (math.cos(angle), math.sin(angle))
        found.append(((a[0] + ra * u[0], a[1] + ra * u[1]), (b[0] + rb * u[0], b[1] + rb * u[1])))
    return tuple(found)


# --- the label ----------------------------------------------------------------------------------


def _label(
    target: Point, radius: float, gap: Point, label: GapLabel, canvas: Canvas, busy: Sequence[Rect]
) -> Iterator[Item]:
    """The plate with its words, and the thin line that leads from it to a circle round the target."""
    k, inside = canvas.scale, INSIDE * canvas.scale
    rows = [Words(label.number, target, NUMBER_SIZE * k, True, "ink")]
    rows += [Words(line, target, TEXT_SIZE * k, False, "ink") for line in label.lines]
    width = max(canvas.measure(row)[0] for row in rows) + 2 * inside
    height = sum(row.size for row in rows) + 0.35 * TEXT_SIZE * k * len(label.lines) + 2 * inside
    plate = _free_place((width, height), target, gap, canvas, [*busy, *canvas.reserved], canvas.keep)
    away = math.dist(plate.centre, target)
    line = (_edge_towards(plate, target), _between(target, plate.centre, min(1.0, radius / away) if away else 0.0))
    yield Stroke(line, 3.5 * k, "paper")
    yield Stroke(line, 1.0 * k, "ink")
    yield Area(corners(plate), "paper")
    yield Stroke((*corners(plate), corners(plate)[0]), 1.0 * k, "ink")
    y = plate.y1 - inside
    for row in rows:
        y -= row.size
        yield replace(row, at=(plate.x0 + inside, y + 0.18 * row.size))
        y -= 0.35 * TEXT_SIZE * k


def _edge_towards(rect: Rect, p: Point) -> Point:
    """Where the line from the middle of a rectangle to p leaves it."""
    c = rect.centre
    dx, dy = p[0] - c[0], p[1] - c[1]
    across, up = (rect.x1 - rect.x0) / 2, (rect.y1 - rect.y0) / 2
    share = min(across / abs(dx) if dx else math.inf, up / abs(dy) if dy else math.inf, 1.0)
    return c[0] + share * dx, c[1] + share * dy


def _free_place(
    size: Point, near: Point, gap: Point, canvas: Canvas, busy: Sequence[Rect], keep: Point | None = None
) -> Rect:
    """The place for a rectangle: off what is busy, where little is covered, not far from what it belongs to.

    The straight way to what it belongs to should not lead over the gap.
    """
    edge, half = EDGE * canvas.scale, (size[0] / 2, size[1] / 2)
    best, least = None, math.inf
    places = [
        (float(x), float(y))
        for x in np.linspace(edge + half[0], canvas.width - edge - half[0], 17)
        for y in np.linspace(edge + half[1], canvas.height - edge - half[1], 17)
    ]
    if keep is not None:
        low, high = (edge + half[0], edge + half[1]), (canvas.width - edge - half[0], canvas.height - edge - half[1])
        places.append((max(low[0], min(high[0], keep[0])), max(low[1], min(high[1], keep[1]))))
    for i, (x, y) in enumerate(places):
        rect = Rect(x - half[0], y - half[1], x + half[0], y + half[1])
        if any(rect.meets(b, edge / 2) for b in busy):
            continue
        cost = TAKEN_COST * canvas.taken(rect) + math.dist((x, y), near) / canvas.height
        if near != gap and _from_line(gap, (x, y), near) < 2.5 * RING * canvas.scale:
            cost += TAKEN_COST
        if i == 17 * 17:
            cost -= KEEP_BONUS
        if cost < least:
            best, least = rect, cost
    if best is None:  # no room beside the gap: the corner that is farthest from it
        x = edge + half[0] if gap[0] > canvas.width / 2 else canvas.width - edge - half[0]
        y = edge + half[1] if gap[1] > canvas.height / 2 else canvas.height - edge - half[1]
        best = Rect(x - half[0], y - half[1], x + half[0], y + half[1])
    return best


def _from_line(p: Point, a: Point, b: Point) -> float:
    """How far a point is from the stretch between two others."""
    dx, dy = b[0] - a[0], b[1] - a[1]
    length = dx * dx + dy * dy
    share = 0.0 if length == 0.0 else ((p[0] - a[0]) * dx + (p[1] - a[1]) * dy) / length
    return math.dist(p, _between(a, b, min(1.0, max(0.0, share))))
