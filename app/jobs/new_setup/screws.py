"""Screws that a fixture may be held by, as somebody would name them."""

from __future__ import annotations

from app.scenes.catalogues import Catalogues
from app.scenes.document import text_of
from app.scenes.located import MapNode


def screw_names(catalogues: Catalogues) -> tuple[str, ...]:
    """Every screw of the library, by standard and size: ISO 4762 M6."""
    found: list[str] = []
    for file in catalogues.listing("hardware"):
        root = catalogues.document(file)[0].root
        if not isinstance(root, MapNode) or text_of(root.get("kind")) != "screw":
            continue
        sizes = root.get("sizes")
        if isinstance(sizes, MapNode):
            found += [f"{file.name} {entry.key.text}" for entry in sizes.entries]
    return tuple(found)
