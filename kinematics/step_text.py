"""What the text of a STEP file says before a geometry kernel reads it: is it whole, which unit, how many shells?

A kernel reads what it can and leaves the rest out without a word, and a body that is left out reads as
room that is not there. So the text is held against the grammar of ISO 10303-21, every reference must
lead somewhere, and the shells that the text names are counted, to compare with what was read.
What this file does not know: geometry.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable

from kinematics.errors import MeshFileError

MM_PER_METRE = 1000.0
MAX_OCCURRENCES = 100_000  # of all parts in an assembly

# --- grammar --------------------------------------------------------------------------------------

_STRING_OR_COMMENT = re.compile(rb"'(?:[^']|'')*'|/\*.*?\*/", re.DOTALL)
_SPACE = re.compile(rb"\s*([(),;=])\s*")
_FOREIGN = re.compile(rb"[^!-~]")  # outside strings all is printable, and blanks stand beside punctuation only
_DATA = re.compile(rb"(?<=;)DATA(?:\([^;]*\))?;(.*?)ENDSEC;", re.DOTALL)
_KEYWORD = re.compile(rb"!?[A-Z][A-Z0-9_]*\(")
_LEAF = re.compile(rb"#\d+|[-+]?(?:\d+\.?\d*|\.\d+)(?:[Ee][-+]?\d+)?|\.[A-Z][A-Z0-9_]*\.|\$|\*|''|\"[0-9A-F]*\"")
# From here on 1 stands for a value, 2 for a record, which is a value too, and 3 for a keyword with its bracket.
_LIST = re.compile(rb"\((?:[\x01\x02](?:,[\x01\x02])*)?\)")
_RECORD = re.compile(rb"\x03(?:[\x01\x02](?:,[\x01\x02])*)?\)")
_COMPLEX = re.compile(rb"(?<==)\(\x02+\)")
_STATEMENTS = re.compile(rb"(?:\x01=\x02;)*")
_DEFINED = re.compile(rb"#(\d+)=")
_NAMED = re.compile(rb"#(\d+)")


def data_section(data: bytes) -> bytes:
    """The entities of a STEP file, without blanks and comments, each string emptied.

    Raises MeshFileError where the file is cut short, does not follow the grammar, or names an entity
    that it does not hold.
    """
    if not data[:4096].lstrip(b"\xef\xbb\xbf \t\r\n").startswith(b"ISO-10303-21"):
        raise MeshFileError("does not begin with ISO-10303-21; expected a STEP file")
    if b"END-ISO-10303-21" not in data[-4096:]:
        raise MeshFileError("was cut short; expected END-ISO-10303-21 at its end")
    text = _STRING_OR_COMMENT.sub(lambda found: b"''" if found[0][:1] == b"'" else b" ", data)
    text = _SPACE.sub(rb"\1", text)
    entities = b"".join(_DATA.findall(text))
    _check_grammar(entities)
    defined = _DEFINED.findall(entities)
    known = set(defined)
    if len(known) < len(defined):
        raise MeshFileError(
            f"holds {len(defined) - len(known)} entities under a number that is taken; expected one each"
        )
    missing = set(_NAMED.findall(entities)) - known
    if missing:
        first = min(int(number) for number in missing)
        raise MeshFileError(f"names entity #{first}, which it does not hold; expected a complete STEP file")
    return entities


def _check_grammar(entities: bytes) -> None:
    """Puts one sign for each value and each record, from the inside out, until each entity is ``value=record;``."""
    foreign = _FOREIGN.search(entities)
    at = entities.count(b";", 0, foreign.start()) if foreign else -1
    rest = _LEAF.sub(b"\x01", _KEYWORD.sub(b"\x03", entities)) if foreign is None else b""
    before = None
    while rest != before:
        before = rest
        rest = _LIST.sub(b"\x01", _COMPLEX.sub(b"\x02", _RECORD.sub(b"\x02", rest)))
    whole = _STATEMENTS.match(rest)
    if foreign is None and whole is not None and whole.end() < len(rest):
        at = rest.count(b";", 0, whole.end())
    if at >= 0:
        statement = entities.split(b";", at + 1)[at][:60].decode("ascii", "replace")
        raise MeshFileError(f"cannot be read at {statement!r}; expected an entity as in ISO 10303-21")


# --- units ----------------------------------------------------------------------------------------

_UNITS = re.compile(rb"GLOBAL_UNIT_ASSIGNED_CONTEXT\(\(([^)]*)\)")
_CONVERTED = re.compile(rb"CONVERSION_BASED_UNIT\([^#]*#(\d+)")
_MEASURE = re.compile(rb"MEASURE_WITH_UNIT\((?:\w+\()?([-+.\dEe]+)\)?,#(\d+)")
_PREFIX = {
    b"EXA": 1e18, b"PETA": 1e15, b"TERA": 1e12, b"GIGA": 1e9, b"MEGA": 1e6, b"KILO": 1e3, b"HECTO": 1e2, b"DECA": 1e1,
    b"": 1.0, b"DECI": 1e-1, b"CENTI": 1e-2, b"MILLI": 1e-3, b"MICRO": 1e-6, b"NANO": 1e-9, b"PICO": 1e-12,
    b"FEMTO": 1e-15, b"ATTO": 1e-18,
}  # ISO 10303-41, si_prefix  # fmt: skip
_SI_METRE = re.compile(rb"SI_UNIT\((?:\$|\.(%s)\.),\.METRE\.\)" % b"|".join(filter(None, _PREFIX)))


def length_units(entities: bytes) -> tuple[float, ...]:
    """The length units of all geometric contexts, in mm, each once; empty where none is given.

    Follows GLOBAL_UNIT_ASSIGNED_CONTEXT to LENGTH_UNIT, as in ISO 10303-41. Raises MeshFileError for a
    length unit that does not lead to the metre.
    """
    found: set[float] = set()
    for group in set(_UNITS.findall(entities)):
        for number in _NAMED.findall(group):
            entity = _entity(entities, number)
            if b"LENGTH_UNIT(" in entity:
                found.add(float(f"{_mm_of_unit(entities, entity, depth=0):.9g}"))
    return tuple(sorted(found))


def _entity(entities: bytes, number: bytes) -> bytes:
    match = re.search(rb"#%s=([^;]*);" % number, entities)
    return match.group(1) if match else b""


def _mm_of_unit(entities: bytes, entity: bytes, depth: int) -> float:
    if si := _SI_METRE.search(entity):
        return MM_PER_METRE * _PREFIX[si.group(1) or b""]
    converted = _CONVERTED.search(entity)
    measure = _MEASURE.search(_entity(entities, converted.group(1))) if converted and depth < 4 else None
    if measure is None:
        raise MeshFileError("states a length unit that cannot be understood; expected mm, inch or another by the metre")
    try:
        factor = float(measure.group(1))
    except ValueError as error:
        raise MeshFileError(f"states a length unit of {measure.group(1).decode()}; expected a number") from error
    if factor <= 0.0:
        raise MeshFileError(f"states a length unit of {factor:g}; expected a number above 0")
    return factor * _mm_of_unit(entities, _entity(entities, measure.group(2)), depth + 1)


# --- shells ---------------------------------------------------------------------------------------

_STRUCTURE = re.compile(
    rb"#(\d+)=(NEXT_ASSEMBLY_USAGE_OCCURRENCE|PRODUCT_DEFINITION_SHAPE|SHAPE_DEFINITION_REPRESENTATION"
    rb"|SHAPE_REPRESENTATION_RELATIONSHIP|[A-Z_]*SHAPE_REPRESENTATION|MANIFOLD_SOLID_BREP|FACETED_BREP"
    rb"|BREP_WITH_VOIDS|CONTEXT_DEPENDENT_SHAPE_REPRESENTATION)\(([^;]*)\);"
)
_ONE_SHELL = (b"MANIFOLD_SOLID_BREP", b"FACETED_BREP")


def count_shells(entities: bytes) -> int:
    """The least number of closed shells that the file describes, each part as often as it is used.

    Counts all closed shells once, and those of the parts of the assembly as often as they occur in it;
    where a file says it in another way than is followed here, the count is too low.
    """
    rows: defaultdict[bytes, dict[bytes, list[bytes]]] = defaultdict(dict)
    for number, keyword, body in _STRUCTURE.findall(entities):
        rows[keyword][number] = _NAMED.findall(body)
    occurrences, placed = rows[b"NEXT_ASSEMBLY_USAGE_OCCURRENCE"], rows[b"CONTEXT_DEPENDENT_SHAPE_REPRESENTATION"]
    if occurrences and placed and len(occurrences) != len(placed):
        raise MeshFileError(f"places {len(placed)} of its {len(occurrences)} parts; expected a complete STEP file")
    shells = {number: 1 for keyword in _ONE_SHELL for number in rows[keyword]}
    shells |= {number: len(refs) for number, refs in rows[b"BREP_WITH_VOIDS"].items()}
    in_assembly = _shells_in_assembly(rows, shells)
    return max(entities.count(b"=CLOSED_SHELL("), in_assembly)


def _shells_in_assembly(rows: dict[bytes, dict[bytes, list[bytes]]], shells: dict[bytes, int]) -> int:
    of_representation = {
        number: sum(shells.get(ref, 0) for ref in refs)
        for keyword in rows
        if keyword.endswith(b"SHAPE_REPRESENTATION") and not keyword.startswith(b"CONTEXT_DEPENDENT")
        for number, refs in rows[keyword].items()
    }
    linked: defaultdict[bytes, set[bytes]] = defaultdict(set)
    for refs in rows[b"SHAPE_REPRESENTATION_RELATIONSHIP"].values():
        for a, b in (refs[:2], refs[1::-1]) if len(refs) == 2 else ():
            linked[a].add(b)
    part_of_shape = {number: refs[-1] for number, refs in rows[b"PRODUCT_DEFINITION_SHAPE"].items() if refs}
    in_part: defaultdict[bytes, int] = defaultdict(int)
    for refs in rows[b"SHAPE_DEFINITION_REPRESENTATION"].values():
        if len(refs) == 2 and refs[0] in part_of_shape:
            most = max(of_representation.get(number, 0) for number in (refs[1], *linked[refs[1]]))
            part = part_of_shape[refs[0]]
            in_part[part] = max(in_part[part], most)
    children: defaultdict[bytes, list[bytes]] = defaultdict(list)
    for refs in rows[b"NEXT_ASSEMBLY_USAGE_OCCURRENCE"].values():
        if len(refs) >= 2:
            children[refs[0]].append(refs[1])
    used = {child for group in children.values() for child in group}
    return _walk((part for part in {*in_part, *children} if part not in used), children, in_part)


def _walk(roots: Iterable[bytes], children: dict[bytes, list[bytes]], in_part: dict[bytes, int]) -> int:
    todo = list(roots)
    total = steps = 0
    while todo:
        part = todo.pop()
        total += in_part.get(part, 0)
        todo.extend(children.get(part, ()))
        steps += 1
        if steps > MAX_OCCURRENCES:  # also where an assembly holds itself
            raise MeshFileError(f"uses its parts over {MAX_OCCURRENCES} times; expected fewer")
    return total
