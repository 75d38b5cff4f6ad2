"""What the sheet says of fixture, stock and part zero. In words.

1. A coordinate of the control is rounded to the nearest 0.01 mm (0.0001 inch): it is compared, not bounded.
2. Who carries the work offset round with the table, the control or the operator, only the machine file can say;
   where it does not, the sheet asks.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import product

import numpy as np

from app.jobs.sheet.content import PartZero, SetUp, ZeroRow
from app.jobs.sheet.facts import Facts
from app.jobs.sheet.lengths import NBSP, Lengths, signed
from app.jobs.words import MINUS, together
from kinematics.placement import PlacedBody
from kinematics.pose import Pose
from kinematics.prepared import Prepared
from kinematics.scene import Scene, State, Workpiece
from kinematics.shapes import Screw, bounds
from kinematics.work_offset import WorkOffset

EDGE = 1e-4  # mm; part zero this near to a side of the stock lies on it
SAME = 5e-5  # mm; coordinates that differ by less are the same place
Box = tuple[np.ndarray, np.ndarray]


def degrees(angle: float) -> str:
    """An angle with as many decimals as it needs, three at most."""
    return signed(f"{angle:.3f}").rstrip("0").rstrip(".")


def angles(pairs: Iterable[tuple[str, float]]) -> str:
    """A 105  C 0, as the control counts."""
    return " ".join(f"{letter}{NBSP}{degrees(angle)}" for letter, angle in pairs)


# --- what stands there --------------------------------------------------------------------------


def set_up(facts: Facts, prepared: Prepared, L: Lengths) -> SetUp:
    scene = facts.scene
    return SetUp(
        turns=tuple(_turns(scene)),
        screws=tuple(_screws(scene)),
        stock=tuple(_stock(scene, prepared, L)),
        keys=tuple(_keys(facts, L)),
        notes=scene.notes,
    )


def _turns(scene: Scene) -> Iterable[str]:
    """Every body or group that stands on the machine itself, with its turn; those that stand alike in one."""
    own = {b.name for b in scene.bodies}
    alike: dict[tuple[float, str], list[str]] = {}
    for body in scene.bodies:
        on = body.placement.rides_on
        if body.group is None and on not in own:
            alike.setdefault((body.placement.turn_deg, on), []).append(body.name)
    for (turn, on), names in alike.items():
        yield f"{together(names)}: turned {degrees(turn)}\u00b0 on the {on}"


def _screws(scene: Scene) -> Iterable[str]:
    """Screws of one kind and torque in one line, in file order."""
    kinds: dict[tuple[str, str, str | None], list[str]] = {}
    for body in scene.bodies:
        if isinstance(body.shape, Screw):
            kinds.setdefault((body.shape.size, body.shape.standard, body.shape.torque), []).append(body.name)
    for (size, standard, torque), names in kinds.items():
        by_head: dict[str, list[str]] = {}
        for name in names:
            by_head.setdefault(name.rpartition(" ")[0], []).append(name)
        said = ", ".join(together(own) for own in by_head.values())
        text = f"{said}: {size} {standard.replace(' ', NBSP)}"
        if torque:
            yield f"{text}, torque {torque.replace(' ', NBSP)}"
        elif size.startswith("M") and not all("washer" in name.lower() for name in names):  # what has a thread
            yield f"{text}, torque not given:{NBSP}______"
        else:
            yield text


def _stock(scene: Scene, prepared: Prepared, L: Lengths) -> Iterable[str]:
    for workpiece in scene.workpieces:
        state = first_state(scene, workpiece)
        low, high = box_in_P(prepared, workpiece, state)
        names = together([b.name for b in state.bodies if b.shape is not None])
        of = f"{workpiece.name}: " if workpiece.name else ""
        size = " x ".join(L.split(L.near(v))[0] for v in high - low)
        inch = " x ".join(L.split(L.near(v))[1] for v in high - low)
        yield f"{of}{names} {size}" + (f" ({inch})" if L.units == "both" else "")


def first_state(scene: Scene, workpiece: Workpiece) -> State:
    """What the workpiece is when its first cut begins."""
    used = [cut.state for _, cut in scene.cuts() if scene.workpiece_of(cut) is workpiece]
    name = used[0] if used else workpiece.states[0].name
    return next(s for s in workpiece.states if s.name == name)


def box_in_P(prepared: Prepared, workpiece: Workpiece, state: State) -> Box:
    """The box round a state of a workpiece in P, along its axes."""
    X_PC = prepared.placed.zero_of(prepared.scene, workpiece).X_CP.inverse()
    corners = [_corners(X_PC, body) for body in prepared.state_bodies(workpiece, state)]
    points = np.concatenate(corners)
    return points.min(axis=0), points.max(axis=0)


def _corners(X_PC: Pose, body: PlacedBody) -> np.ndarray:
    low, high = bounds(body.shape)
    X_PG = X_PC @ body.X_CG
    return np.asarray(X_PG.points(np.array(list(product(*zip(low, high, strict=True))))))


def _keys(facts: Facts, L: Lengths) -> Iterable[str]:
    for key in facts.keys.found:
        size = f"key {L.given(key.key.d)} over {key.screw}"
        if not key.is_free:
            when = f" ({key.state})" if key.state else ""
            yield f"{size}: DOES NOT FIT, {key.nearest}{when} is in the way"
        elif key.room is None or key.nearest is None:
            yield f"{size}: free"
        else:
            yield f"{size}: {L.down(key.room)} room, {key.nearest}"
    if facts.keys.why:
        yield f"keys: not checked, {facts.keys.why}"


# --- part zero ----------------------------------------------------------------------------------


def part_zero(facts: Facts, prepared: Prepared, L: Lengths) -> PartZero:
    scene, offsets = facts.scene, facts.check.work_offsets
    where = tuple(_where(scene, prepared, w, L) for w in scene.workpieces)
    control = scene.machine.control
    counted = "in the control, spindle at the gauge line" if control else "from the centre of the table"
    if not offsets:
        return PartZero(where, "no orientation", counted, (), ())
    if control is None:
        how = "ONCE OR EACH? The machine file does not say whether the control carries the offset round: ask, then set"
        return PartZero(where, how, counted, tuple(_row(o, L) for o in offsets), ())
    if control.work_offset == "each":
        how = "SET EACH: one work offset for each orientation" if len(offsets) > 1 else "SET, one work offset"
        return PartZero(where, how, counted, tuple(_row(o, L) for o in offsets), ())
    base = _base(offsets)
    at = angles(base[0].angles_control)
    rows = tuple(ZeroRow(o.workpiece or "", *_coordinates(o, L)) for o in base)
    how = f"SET ONCE at {at}" if at else "SET ONCE"
    return PartZero(where, how, counted, rows, tuple(_checking(offsets, base, L)))


def _where(scene: Scene, prepared: Prepared, workpiece: Workpiece, L: Lengths) -> str:
    """Where part zero lies on the stock: in the middle, on a side, or so far from one."""
    low, high = box_in_P(prepared, workpiece, first_state(scene, workpiece))
    said = [_along(axis, float(low[i]), float(high[i]), L) for i, axis in enumerate("XYZ")]
    state = first_state(scene, workpiece)
    stock = together([b.name for b in state.bodies if b.shape is not None])
    of = f"{workpiece.name}: " if workpiece.name else ""
    if said[0] == "X middle" and said[1] == "Y middle":
        return f"{of}middle of {stock} in X and Y, {said[2]}"
    return f"{of}{stock}: {', '.join(said)}"


def _along(axis: str, low: float, high: float, L: Lengths) -> str:
    if abs(low + high) <= EDGE:
        return f"{axis} middle"
    if abs(high) <= EDGE:
        return "top face" if axis == "Z" else f"+{axis} side"
    if abs(low) <= EDGE:
        return "bottom face" if axis == "Z" else f"{MINUS}{axis} side"
    if high < 0.0:
        return f"{L.given(-high)} beyond the +{axis} side"
    if low > 0.0:
        return f"{L.given(low)} beyond the {MINUS}{axis} side"
    return f"{L.given(-low)} from the {MINUS}{axis} side"


def _base(offsets: Sequence[WorkOffset]) -> list[WorkOffset]:
    """Part zero of each workpiece at one orientation: with every angle 0 where there is one, else the first."""
    upright = [o for o in offsets if all(angle == 0.0 for _, angle in o.angles_control)]
    chosen = (upright or list(offsets))[0].orientation
    found = [o for o in offsets if o.orientation == chosen]
    names = {o.workpiece for o in found}
    for offset in offsets:  # a part that is not cut there is set where it is cut first
        if offset.workpiece not in names:
            names.add(offset.workpiece)
            found.append(offset)
    return found


def _checking(offsets: Sequence[WorkOffset], base: Sequence[WorkOffset], L: Lengths) -> Iterable[str]:
    """The other orientations, those with the same coordinates in one; what does not differ is left out."""
    of = {o.workpiece: _point(o) for o in base}
    groups: dict[tuple[str | None, tuple[int, ...]], list[WorkOffset]] = {}
    for offset in offsets:
        if offset not in base:
            key = tuple(round(v / SAME) for v in _point(offset))
            groups.setdefault((offset.workpiece, key), []).append(offset)
    for (workpiece, _), members in groups.items():
        values = zip("XYZ", _point(members[0]), of[workpiece], strict=True)
        said = [f"{axis}{NBSP}{L.fine(v)}" for axis, v, first in values if abs(v - first) > SAME]
        name = f"{workpiece} " if workpiece else ""
        yield f"{name}{', '.join(o.orientation for o in members)}: {' '.join(said) or 'the same'}"


def _row(offset: WorkOffset, L: Lengths) -> ZeroRow:
    name = f"{offset.orientation} {angles(offset.angles_control)}" + (
        f", {offset.workpiece}" if offset.workpiece else ""
    )
    return ZeroRow(name.strip(), *_coordinates(offset, L))


def _coordinates(offset: WorkOffset, L: Lengths) -> tuple[str, str, str]:
    x, y, z = (L.fine(v) for v in _point(offset))
    return x, y, z


def _point(offset: WorkOffset) -> tuple[float, float, float]:
    return offset.control if offset.control is not None else offset.w
