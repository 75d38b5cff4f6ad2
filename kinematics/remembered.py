"""Things that are costly to make, kept by key from one scene to the next that is like it.

1. What one generation asked for is at hand in those that follow it, whichever thread asks; several generations
   may follow the same one.
2. What GENERATIONS in a row have not asked for is forgotten. Generations that asked for nothing do not count:
   they were given up before they began.
3. Nothing is ever taken out of a generation, so that threads need no lock: at worst two of them make the same
   thing, and one of them is kept.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable
from typing import Generic, TypeVar

V = TypeVar("V")

GENERATIONS = 4  # a dial that goes to and fro finds again what it had a moment ago


class Remembered(Generic[V]):
    """Values by key, of this generation and of the few before it."""

    def __init__(self, older: tuple[dict[Hashable, tuple[V]], ...] = ()) -> None:
        self._own: dict[Hashable, tuple[V]] = {}
        self._older = older

    def following(self) -> Remembered[V]:
        """The next generation. What this one still makes is at hand there too."""
        older = [kept for kept in self._older if kept]
        return Remembered((self._own, *older[: GENERATIONS - bool(self._own)]))

    def get(self, key: Hashable, make: Callable[[], V]) -> V:
        """The value of a key, made if no generation has it."""
        found = self._found(key)
        if found is None:
            found = self._own.setdefault(key, (make(),))
        return found[0]

    def take_over(self, keys: Iterable[Hashable]) -> list[V]:
        """The values that there are of some keys, which then count as asked for."""
        found = (self._found(key) for key in keys)
        return [one[0] for one in found if one is not None]

    def keys(self) -> set[Hashable]:
        """The keys of all values that are kept."""
        return set(self._own).union(*self._older)

    def _found(self, key: Hashable) -> tuple[V] | None:
        found = self._own.get(key)
        if found is None:
            found = next((kept for older in self._older if (kept := older.get(key)) is not None), None)
            if found is not None:
                found = self._own.setdefault(key, found)
        return found
