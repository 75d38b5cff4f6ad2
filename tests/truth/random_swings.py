"""Random swings, each as a scene of the product and as solids of the reference: one set of numbers, two readers.

Machines with one or two axes in any direction, endless or with limits, turning any way round; bodies on table,
bed, cradle, platter and head: boxes, cylinders, cones, meshes with notches; tools of several steps; the tool waits
at a point, on a line or over an area. Angles, sizes and places are aligned in a part of the cases.
"""

import math
from dataclasses import dataclass, replace

import numpy as np

from kinematics.machine import LinearAxis, Machine, SpindleStep, TableAxis
from kinematics.meshes import Mesh
from kinematics.pose import frozen
from kinematics.scene import (
    Body,
    Cut,
    Holder,
    HolderStep,
    Hole,
    KeepOff,
    Lift,
    Orientation,
    OutlineStep,
    Placement,
    Pocket,
    Scene,
    SetupErrors,
    State,
    Tool,
    Workpiece,
)
from kinematics.shapes import Box, MeshShape, Revolve, Step
from tests.truth import turning_reference as ref

FAR = 2000.0  # mm; linear travel on either side
CUTTER_D = 6.0


@dataclass(frozen=True, eq=False)
class RandomBody:
    """A body by numbers. `kind`: box, turned or mesh."""

    name: str
    frame: str
    at: tuple
    turn_deg: float
    axis: tuple
    kind: str
    numbers: tuple
    is_machine: bool


@dataclass(frozen=True, eq=False)
class RandomSwing:
    """All numbers of one case."""

    axes: tuple  # (origin, direction, limits or None, way)
    start: tuple
    end: tuple
    bodies: tuple
    outline: tuple  # (d1, d2, l, part)
    holder: tuple  # (d1, d2, l)
    nose: tuple  # (d, l)
    area: tuple  # ((x, y), (sx, sy)) of a pocket, or ((x, y), None) of a hole: where the first cut ends
    point: tuple  # (x, y): where the second begins
    gauge_z: float
    errors: SetupErrors
    moves: str  # linear axes that move the table


# ---- numbers ---------------------------------------------------------------------------------------


def random_swing(rng):
    n_axes = int(rng.choice([1, 2, 2]))
    is_aligned = rng.random() < 0.4
    axes = _axes(rng, n_axes, is_aligned=is_aligned)
    start, end = _angles(rng, axes, is_aligned=is_aligned)
    bodies = _bodies(rng, n_axes, is_aligned=is_aligned)
    outline = (
        (0.0 if rng.random() < 0.2 else CUTTER_D, CUTTER_D, 4.0, "cutter"),
        (CUTTER_D, CUTTER_D, 10.0, "cutter"),
        (5.0, 5.0, 30.0, "shank"),
    )
    holder = tuple(
        (float(d), float(d + rng.choice([0.0, 6.0])), float(length))
        for d, length in ((rng.uniform(12, 24), 12.0), (rng.uniform(20, 46), 25.0))
    )
    xy = tuple(float(v) for v in rng.integers(-30, 31, 2))
    size = None if rng.random() < 0.5 else tuple(float(v) for v in rng.choice([CUTTER_D, 20.0, 34.0], 2))
    point = xy if rng.random() < 0.4 else tuple(float(v) for v in rng.integers(-30, 31, 2))
    zero = SetupErrors(0.0, 0.0, 0.0, 0.0, 0.0)
    errors = zero if rng.random() < 0.5 else SetupErrors(0.15, 0.3, 0.2, 0.5, 0.02, float(rng.uniform(20, 120)))
    moves = str(rng.choice(["", "", "", "x", "y", "xy"]))
    case = RandomSwing(axes, start, end, bodies, outline, holder, (40.0, 20.0), (xy, size), point, 0.0, errors, moves)
    length = sum(s[2] for s in outline) + sum(s[2] for s in holder)
    return replace(case, gauge_z=round(_highest(case) + length + float(rng.uniform(-8.0, 16.0)), 2))


def _highest(case):
    """How high what the axes carry comes near the tool, by a few samples: the lift is set around it."""
    axes = [ref.Axis(origin, direction) for origin, direction, _, _ in case.axes]
    heights = [-100.0]
    for box in boxes_of(case):
        frames = ref.poses(axes, ref.grid(box, 150)[0])
        for b in case.bodies:
            level = _level(case).get(b.frame, 0)
            if level:
                R, t = ref.on_base(b.at, b.turn_deg, b.axis)
                p = np.concatenate(list(_points(b))) @ R.T + t
                p = np.einsum("nij,kj->nki", frames[level][0], p) + frames[level][1][:, None, :]
                near = np.abs(p[..., :2]).max(axis=-1) < 50.0
                heights.append(float(p[near][:, 2].max()) if near.any() else -100.0)
    return max(heights)


def _direction(rng, *, is_aligned):
    if is_aligned:
        return tuple(float(v) for v in np.eye(3)[rng.integers(3)] * rng.choice([-1.0, 1.0]))
    if rng.random() < 0.4:  # an inclined table
        s = math.sqrt(0.5)
        return [(0.0, s, s), (s, 0.0, -s), (0.0, -s, s)][rng.integers(3)]
    v = rng.normal(size=3)
    return tuple(float(x) for x in v / np.linalg.norm(v))


def _axes(rng, n_axes, *, is_aligned):
    found = []
    for i in range(n_axes):
        origin = tuple(float(v) for v in rng.integers(-12, 13, 3))
        direction = _direction(rng, is_aligned=is_aligned)
        if i == 1 and rng.random() < 0.6:
            direction = (0.0, 0.0, 1.0)
        is_endless = rng.random() < (0.7 if i == n_axes - 1 else 0.3)
        way = str(rng.choice(["shortest", "up", "down", "either"]))
        found.append((origin, direction, None if is_endless else (-175.0, 175.0), way))
    return tuple(found)


def _angles(rng, axes, *, is_aligned):
    start, end = [], []
    for _, _, limits, _ in axes:
        if is_aligned:
            a, b = (float(rng.integers(-1, 2) * 90) for _ in range(2))
        else:
            a = float(rng.uniform(-170.0, 170.0))
            b = a if rng.random() < 0.15 else float(np.clip(a + rng.uniform(-140, 140), -175, 175))
        if limits is None and rng.random() < 0.3:
            b += 360.0  # the same orientation, counted on
        start.append(a)
        end.append(b)
    if all(abs(math.remainder(b - a, 360.0)) < 1.0 for a, b in zip(start, end, strict=True)):
        end[-1] += 60.0 if end[-1] <= 90.0 else -60.0
    return tuple(start), tuple(end)


def _bodies(rng, n_axes, *, is_aligned):
    found = []
    carried = ["platter"] if n_axes == 1 else ["cradle", "platter"]

    def add(frame, at, sizes, *, coaxial=False, is_machine=False):
        kind = str(rng.choice(["box", "turned", "turned", "mesh"]))
        axis = (0.0, 0.0, 1.0)
        turn = float(rng.choice([0.0, 90.0])) if is_aligned else float(rng.uniform(0, 360))
        if coaxial:
            kind, at = "turned", (0.0, 0.0, at[2])
        elif rng.random() < 0.4:
            axis = _direction(rng, is_aligned=is_aligned)
        numbers = _numbers(rng, kind, sizes)
        found.append(RandomBody(f"{frame} {len(found)}", frame, at, turn, axis, kind, numbers, is_machine))

    def around(radius, low, high):
        a, r = rng.uniform(0, 2 * math.pi), rng.uniform(0, radius)
        at = (r * math.cos(a), r * math.sin(a), rng.uniform(low, high))
        return tuple(float(round(v)) if is_aligned else float(v) for v in at)

    for _ in range(rng.integers(1, 4)):
        add("platter", around(45, -10, 25), (8.0, 34.0), coaxial=rng.random() < 0.25)
    if "cradle" in carried:
        for _ in range(rng.integers(0, 3)):
            add("cradle", around(60, -110, -80), (15.0, 40.0), is_machine=rng.random() < 0.3)
    for _ in range(rng.integers(0, 3)):
        a = rng.uniform(0, 2 * math.pi)
        r = rng.uniform(95, 160)
        at = tuple(float(round(v)) for v in (r * math.cos(a), r * math.sin(a), rng.uniform(-60, 30)))
        add("table", at, (20.0, 60.0), is_machine=rng.random() < 0.3)
    if rng.random() < 0.4:
        add("bed", (float(rng.integers(130, 170)), float(rng.integers(-60, 60)), -20.0), (20.0, 60.0))
    if rng.random() < 0.5:
        at = (float(rng.integers(-20, 20)), float(rng.integers(10, 50)), 15.0)
        found.append(RandomBody("head 0", "head", at, 0.0, (0.0, 0.0, 1.0), "box", (70.0, 80.0, 60.0), True))
    return tuple(found)


def _numbers(rng, kind, sizes):
    low, high = sizes
    a, b, c = (float(v) for v in rng.uniform(low, high, 3).round(1))
    if kind == "box":
        return (a, b, c)
    if kind == "turned":
        steps = [(a, a if rng.random() < 0.6 else b, c)]
        if rng.random() < 0.4:
            steps.append((b, 0.0 if rng.random() < 0.2 else b, round(c / 2, 1)))
        return tuple(steps)
    n = int(rng.integers(6, 11))
    return (tuple(float(v) for v in rng.uniform(0.35 * a, a, n).round(2)), c)


# ---- as a scene of the product ---------------------------------------------------------------------

ORIGIN = (0.0, 0.0, 0.0)
NAMES = ("tilt", "rotary")


def scene_of(case):
    """The product's scene: the first swing of it, after home, is the one from V1 to V2."""
    frames = _frames(case)
    axes = tuple(
        TableAxis(name, name[0].upper(), frame, origin, direction, limits, way)
        for name, frame, (origin, direction, limits, way) in zip(NAMES, frames, case.axes, strict=False)
    )
    x, y, z = (LinearAxis(n, (-FAR, FAR), "table" if n in case.moves else "head") for n in "xyz")
    start, end = (tuple(zip(NAMES, angles, strict=False)) for angles in (case.start, case.end))
    machine = Machine("m", "random", (x, y, z), axes, (0.0, -1.0, 0.0), start, None,
                      (SpindleStep(case.nose[0], case.nose[0], case.nose[1]),),
                      tuple(_body(b) for b in case.bodies if b.is_machine))  # fmt: skip
    holder = Holder("H", tuple(HolderStep(*step) for step in case.holder))
    tool = Tool("T", "end mill", sum(s[2] for s in case.outline), holder,
                outline=tuple(OutlineStep(*s) for s in case.outline))  # fmt: skip
    (ax, ay), size = case.area
    far_down = -FAR  # the part stands on the table, far below everything: it only says where the tool waits
    first = (
        Hole((ax, ay, far_down), 1.0)
        if size is None
        # deeper than a point is long: the widest part of the cutter meets the wall
        else Pocket((ax, ay, far_down), (size[0] + CUTTER_D, size[1] + CUTTER_D), (1.0, 0.0, 0.0), 5.0)
    )
    second = Hole((*case.point, far_down), 1.0)
    part = Body("part", Placement("P", (0.0, 0.0, far_down - 10.0)), Box(1.0, 1.0, 1.0))
    cuts = [Cut(f"cut {i}", "T", "raw", f, 1.0) for i, f in enumerate((first, second), start=1)]
    return Scene(
        title="random",
        machine=machine,
        workpieces=(Workpiece(None, Placement("table"), (State("raw", (part,)),)),),
        bodies=tuple(_body(b) for b in case.bodies if not b.is_machine),
        holders=(holder,),
        tools=(tool,),
        orientations=(Orientation("V1", start, (cuts[0],)), Orientation("V2", end, (cuts[1],))),
        keep_off=KeepOff(),
        setup_errors=case.errors,
        lift=Lift("gauge_z", case.gauge_z),
    )


def _frames(case):
    return ("platter",) if len(case.axes) == 1 else ("cradle", "platter")


def _level(case):
    """How many axes carry what rides on a frame."""
    return {"table": 0, "bed": 0, **{f: i + 1 for i, f in enumerate(_frames(case))}}


def _body(b):
    if b.kind == "box":
        shape = Box(*b.numbers)
    elif b.kind == "turned":
        shape = Revolve(tuple(Step(*s) for s in b.numbers))
    else:
        vertices, faces = notched_prism(*b.numbers)
        shape = MeshShape(Mesh(frozen(vertices), faces.astype(np.int32), 0, 0.0, b.name))
    return Body(b.name, Placement(b.frame, b.at, b.turn_deg, b.axis), shape)


def notched_prism(radii, height):
    """A prism over a star-shaped polygon with corners at the radii given: closed, as a rule not convex."""
    n = len(radii)
    t = 2 * np.pi * np.arange(n) / n
    xy = np.column_stack([np.cos(t), np.sin(t)]) * np.asarray(radii)[:, None]
    vertices = np.vstack([
        np.column_stack([xy, np.zeros(n)]), np.column_stack([xy, np.full(n, height)]), [ORIGIN], [(0.0, 0.0, height)]
    ])  # fmt: skip
    faces = []
    for i in range(n):
        j = (i + 1) % n
        faces += [(2 * n, j, i), (2 * n + 1, n + i, n + j), (i, j, n + j), (i, n + j, n + i)]
    return vertices, np.array(faces)


# ---- as solids of the reference --------------------------------------------------------------------


def boxes_of(case):
    """The stretches that each axis may turn through, in every combination."""
    ways = []
    for (_, _, limits, way), a, b in zip(case.axes, case.start, case.end, strict=True):
        if limits is not None:
            ways.append([(min(a, b), max(a, b))])
            continue
        up = math.fmod(b - a, 360.0) % 360.0
        if up < 1e-9 or up > 360.0 - 1e-9:
            ways.append([(a, a)])
            continue
        is_shorter_up = up < 180.0 or math.isclose(up, 180.0)
        is_shorter_down = up > 180.0 or math.isclose(up, 180.0)
        stretches = []
        if way in ("up", "either") or (way == "shortest" and is_shorter_up):
            stretches.append((a, a + up))
        if way in ("down", "either") or (way == "shortest" and is_shorter_down):
            stretches.append((a + up - 360.0, a))
        ways.append(stretches)
    if len(ways) == 1:
        return [(w,) for w in ways[0]]
    return [(u, v) for u in ways[0] for v in ways[1]]


def pieces_of(b, n_axes, R=None, t=None, *, positions=None):
    """The convex solids of a body (or its mesh), on the frame n_axes; swept over positions (k, 3) if given."""
    R0, t0 = ref.on_base(b.at, b.turn_deg, b.axis)
    R, t = (R0, t0) if R is None else (R @ R0, R @ t0 + t)
    if positions is not None:
        return [ref.solid(b.name, n_axes, ref.swept(points @ R.T + t, positions)) for points in _points(b)]
    if b.kind == "box":
        dx, dy, dz = b.numbers
        return [ref.solid(b.name, n_axes, ref.coal.Box(dx, dy, dz), *ref.raised(R, t, dz))]
    if b.kind == "mesh":
        return [ref.solid(b.name, n_axes, ref.mesh(*notched_prism(*b.numbers)), R, t)]
    found, z = [], 0.0
    for d1, d2, h in b.numbers:
        base = t + R @ np.array([0.0, 0.0, z])
        if d1 == d2:
            found.append(ref.solid(b.name, n_axes, ref.coal.Cylinder(d1 / 2, h), *ref.raised(R, base, h)))
        else:
            found.append(ref.solid(b.name, n_axes, ref.convex(ref.frustum_points(d1 / 2, d2 / 2, 0, h)), R, base))
        z += h
    return found


def _points(b):
    if b.kind == "box":
        dx, dy, dz = b.numbers
        yield np.array([(x, y, z) for x in (-dx / 2, dx / 2) for y in (-dy / 2, dy / 2) for z in (0.0, dz)])
    elif b.kind == "mesh":
        yield notched_prism(*b.numbers)[0]
    else:
        z = 0.0
        for d1, d2, h in b.numbers:
            yield ref.frustum_points(d1 / 2, d2 / 2, z, z + h)
            z += h


def waiting_places(case):
    """X, Y (k, 2) of the corners of where the tool may wait."""
    (ax, ay), size = case.area
    sx, sy = (0.0, 0.0) if size is None else (size[0] / 2, size[1] / 2)
    corners = [(ax + i * sx, ay + j * sy) for i in (-1, 1) for j in (-1, 1)] + [case.point]
    return np.unique(np.array(corners), axis=0)


def tool_solids(case, places, *, longer=0.0, up=0.0):
    """The tool's steps and the head's bodies over places (k, 2), the stick-out up to so much longer, lifted by `up`."""
    length = sum(s[2] for s in case.outline) + sum(s[2] for s in case.holder)
    tip = np.column_stack([places, np.full(len(places), case.gauge_z - length)])
    positions = np.vstack([tip - (0.0, 0.0, longer), tip + (0.0, 0.0, up)]) if longer or up else tip
    found, z = [], 0.0
    holder = [(*step, "holder") for step in case.holder]
    nose = [(case.nose[0], case.nose[0], case.nose[1], "spindle nose")]
    for d1, d2, h, name in (*case.outline, *holder, *nose):
        points = ref.frustum_points(d1 / 2, d2 / 2, z, z + h)
        found.append(ref.solid(name, 0, ref.swept(points, positions)))
        z += h
    gauge = positions + (0.0, 0.0, length)
    for b in case.bodies:
        if b.frame == "head":
            found += pieces_of(b, 0, positions=gauge)
    return found


def standing_solids(case, b):
    """A body on the table, or on the bed over all places where the bed may be."""
    if b.frame == "table" or not case.moves:
        return pieces_of(b, 0)
    places = np.unique(waiting_places(case) * _moving(case), axis=0)
    moves = np.column_stack([places, np.zeros(len(places))])
    if len(moves) == 1:
        return pieces_of(b, 0, np.eye(3), moves[0])
    return pieces_of(b, 0, positions=moves)  # a mesh is taken as its hull while it moves


def _moving(case):
    """1 for x and y where that axis moves the table, else 0."""
    return np.array([1.0 if n in case.moves else 0.0 for n in "xy"])


def is_round_about_rotary(case, b):
    """Whether a body on the last axis is round about that axis."""
    is_on_axis = b.at[:2] == (0.0, 0.0) and b.axis == (0.0, 0.0, 1.0)
    return b.kind == "turned" and is_on_axis and case.axes[-1][1][:2] == (0.0, 0.0)


def pairs_of(case, *, with_errors, up=0.0):
    """(solid, solid, subtract) for every pair that a swing must compare, by the rules of the design.

    `up`: the tool is anywhere from the lift to so much higher.
    """
    e = case.errors
    frames = _frames(case)
    level = _level(case)
    longer = e.stick_out if with_errors else 0.0
    places = waiting_places(case)
    tool = tool_solids(case, places, longer=longer, up=up)
    tool_on_bed = tool_solids(case, places * (1.0 - _moving(case)), longer=longer, up=up) if case.moves else tool

    def errors(b, *, leans=True):
        is_carried = level[b.frame] > 0
        is_placed = not b.is_machine or b.frame == frames[-1]
        lean = (e.arm or 0.0) * math.radians(e.tilt_deg) if is_carried and leans else 0.0
        return (e.location if is_placed else 0.0) + e.body_model + e.diameters + lean

    def own(b):
        return e.location if not b.is_machine else 0.0

    others = [b for b in case.bodies if b.frame != "head"]
    solids = {b.name: pieces_of(b, level[b.frame]) for b in others}
    standing = {b.name: standing_solids(case, b) for b in others if not level[b.frame]}
    found = []
    for b in others:
        if level[b.frame]:
            found += [(t, s, errors(b)) for t in tool for s in solids[b.name]]
        else:  # what stands, against the tool that waits
            seen = tool_on_bed if b.frame == "bed" else tool
            found += [(t, s, errors(b)) for t in seen for s in solids[b.name]]
        if b.frame == "table" and case.moves:
            found += [
                (s, t, errors(b)) for c in others if c.frame == "bed" for s in standing[c.name] for t in solids[b.name]
            ]
    for b in others:
        for c in others:
            if level[b.frame] and not level[c.frame] and not (b.is_machine and c.is_machine):
                subtract = errors(b) + own(c)
                found += [(s, t, subtract) for s in solids[b.name] for t in standing[c.name]]
            is_still = is_round_about_rotary(case, b)  # then nothing moves between the two
            if level[b.frame] == 2 and level[c.frame] == 1 and not (b.is_machine and c.is_machine) and not is_still:
                subtract = errors(b, leans=False) + own(c)
                found += [(s, t, subtract) for s in solids[b.name] for t in solids[c.name]]
    return [(a, b, s if with_errors else 0.0) for a, b, s in found]
