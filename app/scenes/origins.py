"""The marks that domain objects carry: from an error in geometry back to a line in a file."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from app.scenes.document import Document, child_of
from app.scenes.faults import Fault
from app.scenes.located import Node
from kinematics.errors import TightsideError


@dataclass(frozen=True, slots=True, eq=False)
class Mark:
    """Where an object stands. Opaque to the core, which only hands it back."""

    document: Document
    node: Node

    def __repr__(self) -> str:
        line, column = self.document.position(self.node.start)
        return f"Mark({self.document.file}:{line}:{column})"


class Place(NamedTuple):
    """A place in a file: line and column from 1, and the path of the number or object."""

    file: str
    line: int
    column: int
    path: str


def locate(origin: object, key: tuple[str, ...] = ()) -> Place | None:
    """The place of an object, or of a key below it; None for an origin that no reader made.

    A key that the file does not give (it came from a default) is placed at the object. In lists an
    entry is x, y, z, or counted from 1.
    """
    if not isinstance(origin, Mark):
        return None
    node, rest = origin.node, list(key)
    while rest and (below := child_of(node, rest[0])) is not None:
        node = below
        rest.pop(0)
    document = origin.document
    line, column = document.position(node.start)
    path = "/".join(part for part in (document.path_of(node), *rest) if part)
    return Place(document.file, line, column, path)


def fault_of(error: TightsideError, *, file: str = "") -> Fault:
    """An error of the core as a fault; `file` names the file where the error has no origin."""
    place = locate(error.origin, error.key) or Place(file, 1, 1, "")
    return Fault(place.file, place.line, place.column, place.path, error.message)
