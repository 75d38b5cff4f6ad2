"""Round the tool: the spare of the part of the tool at one height, direction by direction, over the whole cut.

1. Proven, sector by sector (`kinematics/engine/polar.py`), with set-up errors taken off and the stick-out swept, as a
   check does.
2. The part that stands at the height is cut to a slice there; it is compared with what a check compares it with.
3. Bodies of the head are not round and have no place in the plot.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from app.jobs.plots import RoundTool, Sector, TightWay
from app.jobs.profile_plot import clock_deg
from kinematics.assembly import Slice, ToolAssembly
from kinematics.cut_pairs import TIE, Group, Target
from kinematics.engine.envelope import NearBody
from kinematics.engine.polar import PolarRoom, polar_room
from kinematics.engine.sweep import RoundPiece
from kinematics.placed_cut import PlacedCut
from kinematics.report import CutReport
from kinematics.verdict import Verdict, verdict_of

N_SECTORS = 72
MOST = 20.0  # mm; more room than this is not told
BAND = 0.5  # mm, above and below the height that is looked at
TOLERANCE = 0.0005  # mm; so that its digits are those of a check
MOST_WAYS = 4
_FLAT = 1e-9  # mm; a slice that is no thicker is none


@dataclass(frozen=True, slots=True)
class _Direction:
    """What was found in one sector; `clock_deg` of the nearest point, None where there is nothing."""

    at_least: float
    value: float | None
    body: str
    clock_deg: float | None


def round_the_tool(placed: PlacedCut, report: CutReport | None, height: float | None = None) -> Iterator[RoundTool]:
    """The plot at a height over the tip, mm; None: at the tightest place. Raises TightsideError."""
    assembly = placed.assembly
    tightest = _tightest(report, assembly)
    at = min(max((tightest or 0.0) if height is None else height, 0.0), assembly.gauge_length)
    part, band = _slice_at(assembly, at, report if height is None else None)
    pairs = placed.pairs
    keep_off = next((pairs.keep_off_of(p) for p in pairs.parts if p.name == part), 0.0)
    operator = placed.prepared.scene.machine.operator
    directions = [_Direction(MOST, None, "", None)] * N_SECTORS
    for group in pairs.groups:
        room = _room(group, part, band)
        if room is not None:
            directions = [_nearer(a, b) for a, b in zip(directions, _directions(*room, operator), strict=True)]
    first = clock_deg((1.0, 0.0), operator)  # where the sectors begin; they go on against the clock
    sectors = tuple(Sector(d.at_least, d.value, d.body) for d in reversed(directions))
    turned = round((360.0 - first) / 360.0 * N_SECTORS) % N_SECTORS
    yield RoundTool(
        title=f"{placed.orientation.name} {placed.cut.name}, {placed.tool.id} in {placed.tool.holder.name}",
        height=at,
        heights=(0.0, assembly.gauge_length),
        tightest=tightest,
        part=part,
        keep_off=keep_off,
        sectors=sectors[turned:] + sectors[:turned],
        first_deg=(first + turned * 360.0 / N_SECTORS + 180.0) % 360.0 - 180.0,
        tight=_tight_ways(directions, keep_off, _hit_by(report, part)),
    )


def _tightest(report: CutReport | None, assembly: ToolAssembly) -> float | None:
    """How high over the tip the tool is nearest to something."""
    pair = report.worst if report else None
    if pair is None or pair.points_W is None or pair.tip_W is None:
        return None
    return min(max(pair.points_W[0][2] - pair.tip_W[2], 0.0), assembly.gauge_length)


def _slice_at(assembly: ToolAssembly, height: float, report: CutReport | None) -> tuple[str, list[RoundPiece]]:
    """The part at a height, and its slice there; where two meet, the one of the tightest pair, else the upper."""
    pair = report.worst if report else None
    slices = [s for s in assembly.outer if s.z1 - _FLAT <= height <= s.z2 + _FLAT]
    assert slices, "a tool has a part at every height up to its gauge line"
    named = [s.part for s in slices if pair is not None and s.part == pair.between[0]]
    part = named[0] if named else slices[-1].part
    band = [_clipped(s, height - BAND, height + BAND) for s in assembly.outer if s.part == part]
    return part, [piece for piece in band if piece is not None]


def _clipped(s: Slice, low: float, high: float) -> RoundPiece | None:
    z1, z2 = max(s.z1, low), min(s.z2, high)
    if z2 - z1 <= _FLAT:
        return None

    def radius(z: float) -> float:
        return s.r1 + (s.r2 - s.r1) * (z - s.z1) / (s.z2 - s.z1)

    return RoundPiece(s.part, radius(z1), radius(z2), z1, z2)


def _room(group: Group, part: str, band: list[RoundPiece]) -> tuple[PolarRoom, list[NearBody]] | None:
    """The room of the slice among the bodies of a group that it is compared with."""
    own = [i for i, p in enumerate(group.parts) if p.name == part and p.round is not None]
    if not own or not band:
        return None
    bodies = [
        NearBody(t.name, t.tree.tree, t.X_WG, t.errors.total, t.tree.chord_error, is_solid=_is_closed(t))
        for t, is_compared in zip(group.targets, group.is_compared[own[0]], strict=True)
        if is_compared
    ]
    if not bodies:
        return None
    farthest = MOST + max(b.subtract for b in bodies)
    sets = group.moves.arrays.sets
    return polar_room(
        band, bodies, sets, n_sectors=N_SECTORS, down=group.moves.down, tolerance=TOLERANCE, cap=farthest
    ), bodies


def _is_closed(target: Target) -> bool:
    return all(p.mesh is None or not p.mesh.n_open_edges for p in target.pieces)


def _directions(room: PolarRoom, bodies: list[NearBody], operator: tuple[float, float, float]) -> list[_Direction]:
    found = []
    for k in range(N_SECTORS):
        lo, hi, body = float(room.lo[k]), float(room.hi[k]), int(room.body[k])
        if body < 0 or lo >= MOST:
            found.append(_Direction(MOST, None, "", None))
            continue
        x, y = float(room.at[k, 0]), float(room.at[k, 1])
        middle = 2.0 * math.pi * (k + 0.5) / N_SECTORS
        way = (x, y) if math.hypot(x, y) > _FLAT else (math.cos(middle), math.sin(middle))
        found.append(_Direction(lo, hi, bodies[body].name, clock_deg(way, operator)))
    return found


def _nearer(a: _Direction, b: _Direction) -> _Direction:
    return b if b.at_least < a.at_least else a


def _tight_ways(directions: list[_Direction], keep_off: float, hit: frozenset[str]) -> tuple[TightWay, ...]:
    """The least of each body over each run of directions in which it leaves too little; else the least of all."""
    runs: list[list[_Direction]] = []
    for k, d in enumerate(directions):
        is_tight = d.clock_deg is not None and d.at_least < keep_off
        if is_tight and k and runs and directions[k - 1] is runs[-1][-1] and runs[-1][-1].body == d.body:
            runs[-1].append(d)
        elif is_tight:
            runs.append([d])
    meet = len(runs) > 1 and runs[0][0] is directions[0] and runs[-1][-1] is directions[-1]
    if meet and runs[0][0].body == runs[-1][-1].body:
        runs[0] = runs.pop() + runs[0]
    least = [min(run, key=lambda d: d.at_least) for run in runs]
    known = [d for d in directions if d.clock_deg is not None]
    if not least and known:
        first = min(d.at_least for d in known)
        ties = [d for d in known if d.at_least <= first + TIE]
        least = [next(d for d in ties if d.body == body) for body in dict.fromkeys(d.body for d in ties)]
    ways = [
        TightWay(d.clock_deg, d.at_least, d.body, _verdict(d, keep_off, hit))
        for d in sorted(least, key=lambda d: d.at_least)
        if d.clock_deg is not None
    ]
    return tuple(ways[:MOST_WAYS])


def _hit_by(report: CutReport | None, part: str) -> frozenset[str]:
    """The bodies that a check proves to be in contact with a part."""
    if report is None or report.worst is None:
        return frozenset()
    pairs = [p for p in (report.worst, *report.next) if p.verdict is Verdict.HITS and p.between[0] == part]
    ties = [b for a, b in report.ties if a == part] if report.worst in pairs else []
    return frozenset([*(p.between[1] for p in pairs), *ties])


def _verdict(d: _Direction, keep_off: float, hit: frozenset[str]) -> Verdict:
    """What a direction alone would say; contact of what the plot draws from outside proves nothing by itself."""
    if d.at_least == -math.inf:
        return Verdict.HITS if d.body in hit else Verdict.CAN_HIT
    return verdict_of(d.at_least, keep_off)
