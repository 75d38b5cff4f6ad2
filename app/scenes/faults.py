"""What is wrong with a file, and where: the one value that the command line prints and the window lists."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from kinematics.errors import TightsideError

MOST_FAULTS = 500  # nobody reads more; a file of the wrong kind can have a fault in every value


@dataclass(frozen=True, slots=True, order=True)
class Fault:
    """One thing that is wrong. Sorts by file and position.

    Parameters
    ----------
    file : the file as the reader was told to open it.
    line, column : counted from 1, in characters.
    path : the number or object at fault, as design section 6 names it; empty for the whole file.
    message : what is wrong, with the value; what was expected; the nearest right thing.
    """

    file: str
    line: int
    column: int
    path: str
    message: str

    def __str__(self) -> str:
        where = f"{self.file}:{self.line}:{self.column}"
        return f"{where}: {self.path}: {self.message}" if self.path else f"{where}: {self.message}"


class SceneFileError(TightsideError):
    """A file could not be read; `faults` holds everything that is wrong, sorted by position."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        found = sorted(set(faults))
        if len(found) > MOST_FAULTS:
            last = found[MOST_FAULTS - 1]
            more = f"{len(found) - MOST_FAULTS} more faults follow; these come first"
            found = [*found[:MOST_FAULTS], Fault(last.file, last.line, last.column, "", more)]
        self.faults: tuple[Fault, ...] = tuple(found)
        super().__init__("\n".join(map(str, self.faults)))

    def __reduce__(self) -> tuple[type[SceneFileError], tuple[tuple[Fault, ...]]]:
        return (type(self), (self.faults,))
