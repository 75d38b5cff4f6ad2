"""Which dials a scene has at a cut: its tool's stick-out and holder, angles, riser, fixture, screws, part, any number.

1. A dial is offered only where turning it is possible: a holder that grips the shank, screws whose size a standard
   has, a fixture whose turn leaves the part upright.
2. What a value means in the file travels with the offer, so that whoever turns it needs no scene.
3. What this file does not know: clearances, verdicts.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from app.jobs.dial_faces import Choice, DialKind, DialOffer, KeptZero, NumberRule, TurnRule, edits
from app.jobs.dials import FIXTURE_TURN, SCREW_HEADS
from app.jobs.whatif_choices import screw_standards, screw_swap, word_at
from app.jobs.whatif_dials import Bench, DialFault, FixtureTurn, fixture_turn, number_dial
from app.scenes.located import MapNode, ScalarNode
from kinematics.answers.changed_scenes import chain_under
from kinematics.answers.stick_out import grips_shank, tool_bounds
from kinematics.answers.worst_room import CutName
from kinematics.errors import TightsideError
from kinematics.scene import Cut, Orientation, Tool, Workpiece

PART_REACH = 5.0  # mm, to either side
RISER_REACH = 40.0  # mm
MOST_HEADS = 4
LEAST_SIZE = 0.1  # mm, of a number that is a size
_SAME = 1e-6


def dial_offers(bench: Bench, focus: CutName, paths: tuple[str, ...] = ()) -> tuple[DialOffer, ...]:
    """The dials at a cut, those for the numbers at `paths` last; one for what is no number can't be turned."""
    orientation, cut = next((o, c) for o, c in bench.scene.cuts() if (o.name, c.name) == focus)
    tool, workpiece = bench.scene.tool(cut.tool), bench.scene.workpiece_of(cut)
    offers = [
        *_stick_out(bench, tool),
        *_holder(bench, tool),
        *_angles(bench, orientation),
        *_riser(bench, workpiece),
        *_fixture(bench),
        *_heads(bench),
        *_part(bench, workpiece, cut),
    ]
    known = {offer.key for offer in offers}
    offers += [_offer_or_none(bench, path) for path in dict.fromkeys(paths) if path not in known]
    return tuple(offers)


def _offer_or_none(bench: Bench, path: str) -> DialOffer:
    """The dial of a number, or one without a rule, whose face will say what is wrong with the path."""
    try:
        return offer_for(bench, path)
    except DialFault:
        return DialOffer(path, _short(path), DialKind.PLAIN, 0.0, 0.0, 1.0)


def offer_for(bench: Bench, path: str) -> DialOffer:
    """The dial of any number, by its path. Raises DialFault."""
    dial = number_dial(bench, path)
    if dial.unit == "deg":
        now = float(dial.now or 0.0)
        return DialOffer(path, _short(path), DialKind.ANGLE, now, now - 45.0, now + 45.0, NumberRule(path))
    is_length = dial.unit in ("mm", "inch")
    per_unit = bench.per_mm if is_length else 1.0
    now = float(dial.now or 0.0) / per_unit
    reach = max(0.5 * abs(now), 5.0 if is_length else 1.0)
    least = LEAST_SIZE if now > 0.0 and "/at" not in path else now - reach
    kind = DialKind.LENGTH if is_length else DialKind.PLAIN
    return DialOffer(path, _short(path), kind, now, max(now - reach, least), now + reach, NumberRule(path, per_unit))


def _short(path: str) -> str:
    """The last two names of a path."""
    return " ".join(path.split("/")[-2:])


def _stick_out(bench: Bench, tool: Tool) -> Iterator[DialOffer]:
    bounds = tool_bounds(tool)
    path = f"{tool.id}/stick_out"
    if isinstance(bounds, str) or path not in bench.numbers:
        return
    low, high = min(bounds.low, tool.stick_out), max(bounds.high, tool.stick_out)
    rule = NumberRule(path, bench.per_mm)
    yield DialOffer(path, f"{tool.id} out", DialKind.LENGTH, tool.stick_out, low, high, rule, tool=tool.id)


def _holder(bench: Bench, tool: Tool) -> Iterator[DialOffer]:
    path = f"{tool.id}/holder"
    names = [h.name for h in bench.scene.holders if grips_shank(h, tool)]
    if word_at(bench, path) is None or len(names) < 2 or tool.holder.name not in names:
        return
    choices = tuple(Choice(name, ((path, name),)) for name in names)
    yield DialOffer(
        path, f"{tool.id} holder", DialKind.CHOICE, tool.holder.name, choices=choices, tool=tool.id
    )  # fmt: skip


def _angles(bench: Bench, orientation: Orientation) -> Iterator[DialOffer]:
    for axis, now in orientation.angles_deg:
        path = f"{orientation.name}/{axis}"
        if path not in bench.numbers:
            continue
        limits = next(a.limits for a in bench.scene.machine.table_axes if a.name == axis)
        low, high = limits or (now - 180.0, now + 180.0)
        name = f"{orientation.name} {axis}"
        yield DialOffer(
            path, name, DialKind.ANGLE, now, min(low, now), max(high, now), NumberRule(path),
            orientation=orientation.name,
        )  # fmt: skip


def _riser(bench: Bench, workpiece: Workpiece) -> Iterator[DialOffer]:
    """The height of what the part stands on: of the body called a riser, else of the lowest that has one."""
    machine = {b.name for b in bench.scene.machine.bodies}
    chain = [name for name in chain_under(bench.scene, workpiece) if name not in machine]
    members = [b.name for b in bench.scene.bodies if b.group in chain or b.name in chain]
    named = [name for name in members if "riser" in name.casefold()]
    for name in (*named, *reversed(chain)):
        for key in ("h", "3"):
            number = bench.numbers.get(f"{name}/{key}")
            if number is not None:
                now = number.value / bench.per_mm
                low, high = max(1.0, now - RISER_REACH), now + RISER_REACH
                label = "riser h" if name in named else f"{name} h"
                rule = NumberRule(number.path, bench.per_mm)
                yield DialOffer(number.path, label, DialKind.LENGTH, now, low, high, rule)
                return


def _fixture(bench: Bench) -> Iterator[DialOffer]:
    """The outermost group under a part, if turning it leaves the parts upright in what they stand on."""
    try:
        dial = fixture_turn(bench)
        group = next(b for b in bench.scene.bodies if b.name == dial.group)
        now = group.placement.turn_deg
        offer = DialOffer(
            FIXTURE_TURN, "fixture turn", DialKind.ANGLE, now, now - 180.0, now + 180.0, _turn_rule(bench, dial, now)
        )
        if any(not _agree(offer, now + by, dial.setting(bench, by).numbers) for by in (37.0, 90.0, -120.0)):
            return  # a rule that leaves anything out is not offered
    except TightsideError:
        return
    yield offer


def _turn_rule(bench: Bench, dial: FixtureTurn, now: float) -> TurnRule:
    """The rule of a turn, from where the zeros are at no turn and at half a turn."""
    half = dial.setting(bench, 180.0).numbers
    kept = []
    for workpiece in bench.scene.workpieces:
        path = f"{workpiece.name or 'workpiece'}/zero"
        if not any(key.startswith(f"{path}/") for key in half):
            continue
        zero = workpiece.zero
        x, y = zero.at[0] * bench.per_mm, zero.at[1] * bench.per_mm
        centre = (x + half.get(f"{path}/at/x", x)) / 2.0, (y + half.get(f"{path}/at/y", y)) / 2.0
        kept.append(KeptZero(f"{path}/at/x", f"{path}/at/y", f"{path}/turn", x, y, zero.turn_deg, centre))
    return TurnRule(f"{dial.group}/turn", now, tuple(kept))


def _agree(offer: DialOffer, value: float, wanted: Mapping[str, float]) -> bool:
    """Whether an offer sets at a value what it has to; a number that it does not set stays as it is."""
    assert isinstance(offer.rule, TurnRule), "a fixture turns by its rule"
    said = {z.x_path: z.x for z in offer.rule.kept} | {z.y_path: z.y for z in offer.rule.kept}
    said |= {z.turn_path: z.turn_deg for z in offer.rule.kept}
    said |= {path: number for path, number in edits(offer, value) if isinstance(number, float)}
    return all(path in said and _is_same(path, said[path], number) for path, number in wanted.items())


def _is_same(path: str, one: float, other: float) -> bool:
    """Whether two numbers say the same; turns count modulo a full one."""
    off = abs(one - other)
    return min(off, abs(off - 360.0)) <= _SAME if path.endswith("/turn") else off <= _SAME


def _heads(bench: Bench) -> Iterator[DialOffer]:
    """The standards that have all sizes of the screws, the lowest heads first after what stands there."""
    try:
        dial = screw_swap(bench)
    except DialFault:
        return
    own = {word_at(bench, f"{body}/standard") or "" for body in dial.screws}
    if len(own) != 1:
        return
    now = own.pop()
    found: list[tuple[float, Choice]] = []
    for standard in screw_standards(bench):
        if standard == now:
            continue
        try:
            words = tuple((path, str(word)) for path, word in dial.setting(bench, standard).words)
            found.append((_head_height(bench, dial.screws, standard), Choice(standard, words)))
        except TightsideError:
            continue
    found.sort(key=lambda item: item[0])
    choices = (Choice(now, tuple((f"{body}/standard", now) for body in dial.screws)), *(c for _, c in found))
    if len(choices) > 1:
        yield DialOffer(SCREW_HEADS, SCREW_HEADS, DialKind.CHOICE, now, choices=choices[:MOST_HEADS])


def _head_height(bench: Bench, screws: Sequence[str], standard: str) -> float:
    """The heights of the heads that a standard gives the screws, together, in its own unit."""
    found = bench.catalogues.find("hardware", standard)
    root = bench.catalogues.document(found)[0].root if found is not None else None
    sizes = root.get("sizes") if isinstance(root, MapNode) else None
    total = 0.0
    for screw in screws:
        size = sizes.get(word_at(bench, f"{screw}/size") or "") if isinstance(sizes, MapNode) else None
        height = size.get("head_h") if isinstance(size, MapNode) else None
        if isinstance(height, ScalarNode) and isinstance(height.value, float):
            total += height.value
    return total


def _part(bench: Bench, workpiece: Workpiece, cut: Cut) -> Iterator[DialOffer]:
    path = f"{workpiece.name or 'workpiece'}/zero/at"
    label = "part" if workpiece.name is None else cut.workpiece or workpiece.name
    for k, axis in enumerate("xyz"):
        now = workpiece.zero.at[k]
        rule = NumberRule(f"{path}/{axis}", bench.per_mm)
        yield DialOffer(
            f"{path}/{axis}", f"{label} {axis}", DialKind.LENGTH, now, now - PART_REACH, now + PART_REACH, rule,
            group="part",
        )  # fmt: skip
