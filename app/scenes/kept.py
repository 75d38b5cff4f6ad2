"""What the reading of a scene keeps for the next reading of the same tree with other numbers in it.

1. Only what was read without a fault is kept: every reading tells its own faults.
2. It is kept by the values of the tree that it was read from. A value that is set is another one, and so
   is all that holds it; nothing kept can be of an older value.
3. The first reading fills it and closes it. Then it is only read, by as many threads as there are.
4. What was found on disk is kept too: as long as it is used, files are not looked at again.
5. What this file does not know: how anything is read.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable
from dataclasses import dataclass, field
from typing import Any, TypeVar

from app.scenes.located import MapNode, ScalarNode

T = TypeVar("T")


@dataclass(slots=True, eq=False)
class Kept:
    """What was read without a fault.

    Parameters
    ----------
    numbers : by the identity of a value that a rule for numbers has read: the value, and its unit.
    is_open : whether more may be kept.
    """

    numbers: dict[int, tuple[ScalarNode, str]] = field(default_factory=dict)
    is_open: bool = True
    _models: dict[tuple[type, int], tuple[MapNode, object]] = field(default_factory=dict)
    _made: dict[Hashable, Any] = field(default_factory=dict)

    def close(self) -> None:
        """Keep nothing more."""
        self.is_open = False

    def keep_number(self, node: ScalarNode, unit: str) -> None:
        if self.is_open:
            self.numbers[id(node)] = (node, unit)

    def model_of(self, kind: type, node: MapNode) -> object | None:
        """The model that was read from a mapping, or None."""
        kept = self._models.get((kind, id(node)))
        return None if kept is None else kept[1]

    def keep_model(self, model: object, node: MapNode) -> None:
        if self.is_open:
            self._models[type(model), id(node)] = (node, model)

    def once(self, key: Hashable, make: Callable[[], T]) -> T:
        """What was made for a key; made now if it was not, and kept unless making it raises or gives None."""
        found: T | None = self._made.get(key)
        if found is None:
            found = make()
            if self.is_open and found is not None:
                self._made[key] = found
        return found

    def made(self, key: Hashable) -> Any | None:
        """What was kept for a key, or None."""
        return self._made.get(key)

    def keep(self, key: Hashable, value: object) -> None:
        if self.is_open:
            self._made[key] = value
