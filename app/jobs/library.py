"""What a scene may name: machines, holders and hardware, from the user's library and the program."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from app.scenes.catalogues import CatalogueKind, Catalogues, Where, library_folder


@dataclass(frozen=True, slots=True)
class Listed:
    """One catalogue file: what it is called in a scene, its title, and where it was found."""

    kind: CatalogueKind
    name: str
    title: str
    where: Where
    file: str
    hides: str | None


@dataclass(frozen=True, slots=True)
class Listing:
    """Everything that is found; `library` is the user's own folder, there or not."""

    library: str
    found: tuple[Listed, ...]


def library_listing(catalogues: Catalogues | None = None) -> Listing:
    """Machines, holders and hardware, each in the order of their names."""
    catalogues = catalogues or Catalogues()
    kinds: tuple[CatalogueKind, ...] = ("machine", "holder", "hardware")
    found = [
        Listed(kind, item.name, catalogues.title(item), item.where, item.file, item.hides)
        for kind in kinds
        for item in catalogues.listing(kind)
    ]
    return Listing(str(library_folder()), tuple(found))


def library_json(listing: Listing) -> dict[str, Any]:
    """The listing for programs."""
    items = [
        {"kind": i.kind, "name": i.name, "title": i.title, "where": i.where, "file": i.file, "hides": i.hides}
        for i in listing.found
    ]
    return {"format": 1, "library": listing.library, "found": items}
