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

    def __post_init__(self) -> None:
        """A fault is one line, whatever stood in the file."""
        object.__setattr__(self, "path", one_line(self.path))
        object.__setattr__(self, "message", one_line(self.message))

    def __str__(self) -> str:
        where = f"{self.file}:{self.line}:{self.column}"
        return f"{where}: {self.path}: {self.message}" if self.path else f"{where}: {self.message}"


def one_line(text: str) -> str:
    """A text with line ends and other characters that cannot be seen written as escapes."""
    if text.isprintable():
        return text
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode("ascii") for c in text)


class SceneFileError(TightsideError):
    """A file could not be read; `faults` holds everything that is wrong, sorted by position.

    Faults of the file `first` come before those of the files that it names.
    """

    def __init__(self, faults: Iterable[Fault], first: str = "") -> None:
        found = sorted(set(faults), key=lambda fault: (fault.file != first, fault))
        self.first = first
        if len(found) > MOST_FAULTS:
            last = found[MOST_FAULTS - 1]
            more = f"{len(found) - MOST_FAULTS} more faults follow; these come first"
            found = [*found[:MOST_FAULTS], Fault(last.file, last.line, last.column, "", more)]
        self.faults: tuple[Fault, ...] = tuple(found)
        super().__init__("\n".join(map(str, self.faults)))

    def __reduce__(self) -> tuple[type[SceneFileError], tuple[tuple[Fault, ...], str]]:
        return (type(self), (self.faults, self.first))
