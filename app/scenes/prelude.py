"""The first keys of every file: which format it is, and in which units."""

from __future__ import annotations

from app.scenes.document import Document, nearest, text_of
from app.scenes.faults import Fault
from app.scenes.kept import Kept
from app.scenes.located import MapNode, Node, ScalarNode, is_empty, short
from app.scenes.migrations import FIRST_FORMAT, FORMAT, migrated
from app.scenes.reading import SCALES, Reading


def opened(document: Document, faults: list[Fault], assumed: list[str], kept: Kept | None = None) -> Reading | None:
    """A reading of a document with its units, or None where nothing more can be read from it.

    A file without units, or with faulty ones, is read on in mm: its other faults are still worth telling.
    """
    faults.extend(document.faults)
    root = document.root
    if root is None:
        return None
    if not isinstance(root, MapNode):
        what = "a list" if not isinstance(root, ScalarNode) else "a text"
        faults.append(document.fault(root, f"the file is {what}; expected keys and values, 'format: 1' first"))
        return None
    reading = Reading(document, "mm", faults, assumed)
    if not _tell_format(root, reading):
        return None
    number = int(text) if (text := text_of(root.get("format")) or "").isdecimal() else FORMAT
    document.replace_root(migrated(root, number))
    units = _units(root, reading)
    return Reading(document, units, faults, assumed, kept)


def inline(document: Document, node: MapNode, outer: Reading) -> Reading:
    """A reading of a mapping inside another file, which may have units of its own."""
    if node.get("format") is not None:
        _tell_format(node, outer)
    if node.get("units") is None:
        return Reading(document, outer.units, outer.faults, outer.assumed, outer.kept)
    return Reading(document, _units(node, outer), outer.faults, outer.assumed, outer.kept)


def _tell_format(root: MapNode, reading: Reading) -> bool:
    """Tells a missing or unknown format; false where the file is of another time and cannot be read."""
    node = root.get("format")
    if node is None:
        near = nearest("format", [entry.key.text for entry in root.entries])
        hint = f"; is it '{near}'?" if near else ""
        reading.tell(root, f"is missing; expected 'format: {FORMAT}'{hint}", "format")
        return True
    if isinstance(node, ScalarNode) and not node.style and node.text in map(str, range(FIRST_FORMAT, FORMAT + 1)):
        return True
    if isinstance(node, ScalarNode) and not node.style and node.text.isascii() and node.text.isdecimal():
        later = int(node.text[:9]) > FORMAT
        why = "is of a later program than this one" if later else "has never been written"
        reading.tell(node, f"format {node.text} {why}; expected {FORMAT}")
        return False
    what = "has no value" if isinstance(node, ScalarNode) and is_empty(node) else _shown(node)
    if isinstance(node, ScalarNode) and node.style:
        what += " is in quotes and so a text"
    reading.tell(node, f"{what}; expected {FORMAT}")
    return True


def _units(root: MapNode, reading: Reading) -> str:
    node = root.get("units")
    if node is None:
        reading.tell(root, "is missing; expected 'units: mm' or 'units: inch'", "units")
        return "mm"
    if isinstance(node, ScalarNode) and node.text in SCALES:
        return node.text
    words = {"in": "inch", "inches": "inch", '"': "inch", "millimetre": "mm", "millimeter": "mm", "millimetres": "mm"}
    text = node.text if isinstance(node, ScalarNode) else ""
    near = words.get(text.lower()) or nearest(text, SCALES)
    what = "has no value" if isinstance(node, ScalarNode) and is_empty(node) else _shown(node)
    reading.tell(node, f"{what}; expected mm or inch" + (f"; nearest: {near}" if near else ""))
    return "mm"


def _shown(node: Node) -> str:
    return f"'{short(node.text)}'" if isinstance(node, ScalarNode) else "is no single value"
