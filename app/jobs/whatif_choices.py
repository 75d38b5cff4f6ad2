"""Dials that have single values: another word, screw, holder, table solution, order of orientations.

What this file does not know: clearances, verdicts, what a dial was asked by.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from app.jobs.whatif_dials import AS_IT_IS, Bench, Dial, DialFault, Numbers, Setting, Value, hint
from app.scenes.document import nearest, text_of
from app.scenes.located import MapNode, ScalarNode
from kinematics.answers.re_aimed import other_solutions
from kinematics.scene import Orientation

SINGLE = "it has single values only"


@dataclass(frozen=True, slots=True)
class WordDial(Dial):
    """A word of the scene by its path, which is its name, as T4/holder."""

    def setting(self, _bench: Bench, value: Value, /) -> Setting:
        return Setting(words=((self.name, str(value)),))


def word_dial(bench: Bench, path: str) -> WordDial:
    """The dial of a word that the file gives. Raises DialFault."""
    if (now := word_at(bench, path)) is None:
        words = [p for p in bench.document.paths() if word_at(bench, p) is not None]
        near = nearest(path, [*words, *bench.numbers])
        more = f"nearest: {near}" if near else "expected a path, as riser/h or T4/holder"
        raise DialFault(f"nothing is called '{path}'; {more}")
    return WordDial(path, "", now, SINGLE)


def word_at(bench: Bench, path: str) -> str | None:
    """The text that stands at a path; None for numbers and for what has none."""
    node = bench.document.find(path)
    return node.text if isinstance(node, ScalarNode) and not isinstance(node.value, float) else None


def holder_dial(bench: Bench, tool: str) -> WordDial:
    """The holder of a tool. Raises DialFault."""
    known = [t.id for t in bench.scene.tools]
    if tool not in known:
        raise DialFault(f"no tool '{tool}' in this scene; {hint(tool, known, 'tools')}")
    return WordDial(f"{tool}/holder", "", bench.scene.tool(tool).holder.name, SINGLE)


def known_holders(bench: Bench, names: Sequence[str]) -> tuple[str, ...]:
    """The holders that are named, of the scene or the library; of none the scene's. Raises DialFault."""
    own = [h.name for h in bench.scene.holders]
    for name in names:
        if name not in own and bench.catalogues.find("holder", name) is None:
            raise DialFault(f"no holder '{name}' in this scene or in the library; {hint(name, own, 'holders')}")
    return tuple(dict.fromkeys(names)) or tuple(own)


# ---- screws ----------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class ScrewSwap(Dial):
    """Screws of another standard, size, or both."""

    screws: tuple[str, ...]

    def setting(self, bench: Bench, value: Value, /) -> Setting:
        kind = str(value).strip()
        return Setting() if kind == AS_IT_IS else Setting(words=tuple(_screw_words(bench, self.screws, kind)))


def screw_swap(bench: Bench, names: Sequence[str] = ()) -> ScrewSwap:
    """The dial of the screws that are named, of none of all. Raises DialFault."""
    known = _screw_names(bench)
    if not known:
        raise DialFault("there is no screw in this scene")
    for name in names:
        if name not in known:
            raise DialFault(f"no screw '{name}' in this scene; {hint(name, known, 'screws')}")
    which = tuple(name for name in known if name in names) if names else known
    return ScrewSwap("screws" if which == known else f"screws {', '.join(which)}", "", AS_IT_IS, SINGLE, which)


def screw_standards(bench: Bench) -> tuple[str, ...]:
    """The standards of screws that the catalogues have."""
    return tuple(n for n in bench.catalogues.names("hardware") if _hardware(bench, n)[0] == "screw")


def _screw_names(bench: Bench) -> tuple[str, ...]:
    """The bodies that are screws; pins and washers are not."""
    found = []
    for path, node in bench.document.paths().items():
        body, _, key = path.rpartition("/")
        if key == "standard" and isinstance(node, ScalarNode) and _hardware(bench, node.text)[0] == "screw":
            found.append(body)
    return tuple(found)


def _screw_words(bench: Bench, which: Sequence[str], kind: str) -> Iterator[tuple[str, str]]:
    """What to set for a standard, a size, or a standard and a size."""
    standard, size = _standard_and_size(bench, which, kind)
    for body in which:
        own = word_at(bench, f"{body}/standard") or "", word_at(bench, f"{body}/size") or ""
        sizes = _hardware(bench, standard or own[0])[1]
        wanted = size or own[1]
        if wanted not in sizes:
            near = nearest(wanted, sizes)
            more = f"nearest: {near}" if near else f"sizes: {', '.join(sizes)}"
            raise DialFault(f"{body}: no size '{wanted}' in {standard or own[0]}; {more}")
        if standard:
            yield f"{body}/standard", standard
        if size:
            yield f"{body}/size", size


def _standard_and_size(bench: Bench, which: Sequence[str], kind: str) -> tuple[str | None, str | None]:
    """What is meant by DIN 7984, M5 or DIN 7984 M5. Raises DialFault."""
    sort = _hardware(bench, kind)[0]
    if sort == "screw":
        return kind, None
    before, _, last = kind.rpartition(" ")
    if sort is None and before and _hardware(bench, before)[0] == "screw":
        return before, last
    own = {word_at(bench, f"{body}/standard") or "" for body in which}
    if sort is None and kind and any(kind in _hardware(bench, s)[1] for s in own):
        return None, kind
    known = screw_standards(bench)
    sizes = [size for s in own for size in _hardware(bench, s)[1]]
    near = nearest(kind, known) or nearest(before, known) or nearest(kind, sizes)
    more = f"nearest: {near}" if near else f"known: {', '.join(known)}"
    raise DialFault(f"'{kind}' is no screw; expected a standard, a size, or both; {more}")


def _hardware(bench: Bench, standard: str) -> tuple[str | None, tuple[str, ...]]:
    """The kind of a standard (screw, pin, washer) and its sizes; None if it is not known."""
    found = bench.catalogues.find("hardware", standard) if standard else None
    if found is None:
        return None, ()
    root = bench.catalogues.document(found)[0].root
    if not isinstance(root, MapNode):
        return None, ()
    sizes = root.get("sizes")
    names = tuple(entry.key.text for entry in sizes.entries) if isinstance(sizes, MapNode) else ()
    return text_of(root.get("kind")), names


# ---- the other solution of the table, other orders -------------------------------------------------


@dataclass(frozen=True, slots=True)
class OtherSolution(Dial):
    """Each orientation at the other position of the table that aims the tool alike, one at a time."""

    orientations: tuple[str, ...]

    def setting(self, bench: Bench, value: Value, /) -> Setting:
        found = self.solutions(bench)
        if value not in found:
            raise DialFault(f"no other solution '{value}'; {hint(str(value), found, 'solutions')}")
        return Setting(found[str(value)])

    def solutions(self, bench: Bench) -> dict[str, Numbers]:
        """The numbers to set, by what each is called; the one that stands in the file first."""
        found: dict[str, Numbers] = {AS_IT_IS: {}}
        by_name = {o.name: o for o in bench.scene.orientations}
        for orientation in (by_name[name] for name in self.orientations):
            found |= _others(bench, orientation)
        return found


def _others(bench: Bench, orientation: Orientation) -> dict[str, Numbers]:
    found = {}
    for other in other_solutions(bench.scene.machine, orientation):
        rounded = [(axis, round(angle, 9) + 0.0) for axis, angle in other.angles_deg]
        words = ", ".join(f"{axis} {angle:.6g}" for axis, angle in rounded)
        found[f"{orientation.name}: {words}"] = {f"{orientation.name}/{axis}": angle for axis, angle in rounded}
    return found


def other_solution(bench: Bench, names: Sequence[str] = ()) -> OtherSolution:
    """The dial of the orientations that are named, of none of all. Raises DialFault."""
    which = tuple(names) or tuple(o.name for o in bench.scene.orientations)
    dial = OtherSolution("other solution", "", AS_IT_IS, SINGLE, which)
    _check_orientations(bench, dial.orientations)
    if len(dial.solutions(bench)) == 1:
        raise DialFault("no other position of the table within its travel aims the tool alike")
    return dial


@dataclass(frozen=True, slots=True)
class OrderDial(Dial):
    """The orientations in another order; a value is V1,V3,V2."""

    def setting(self, bench: Bench, value: Value, /) -> Setting:
        if value == AS_IT_IS:
            return Setting()
        names = tuple(name.strip() for name in str(value).split(","))
        known = [o.name for o in bench.scene.orientations]
        _check_orientations(bench, names)
        if sorted(names) != sorted(known):
            raise DialFault(f"order {value}: expected each of {', '.join(known)} once")
        return Setting(order=names)


def order_dial() -> OrderDial:
    """The dial of the order of the orientations."""
    return OrderDial("order", "", AS_IT_IS, SINGLE)


def _check_orientations(bench: Bench, names: Sequence[str]) -> None:
    known = [o.name for o in bench.scene.orientations]
    for name in names:
        if name not in known:
            raise DialFault(f"no orientation '{name}' in this scene; {hint(name, known, 'orientations')}")
