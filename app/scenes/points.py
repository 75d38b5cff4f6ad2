"""Text files of tool positions: one point per line."""

from __future__ import annotations

import math
import re

from app.scenes.faults import Fault
from app.scenes.located import Lines
from app.scenes.reading import Reading
from app.scenes.traps import number_words

MAX_POINTS_BYTES = 64 << 20  # a path of a million positions has some 25 MiB
LARGEST_COORDINATE = 10_000.0  # mm
MAX_FAULTS = 20  # a file of the wrong kind need not be told line by line


def read_points(data: bytes, file: str, reading: Reading, path: str) -> tuple[tuple[float, float, float], ...] | None:
    """The points of a text file, one ``x y z`` per line in the scene's units, as mm in P.

    Empty lines and what follows a # are skipped; numbers may be parted by blanks, tabs or semicolons.
    Faults are told at their own line; the result is None if there is any. `path`: the path of the cut.
    """
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        number, _ = Lines.of(data[: error.start].decode("utf-8") + "x").position(error.start)
        reading.faults.append(
            Fault(file, number, 1, path, "the line is no UTF-8 text; expected 'x y z' in plain digits")
        )
        return None
    points: list[tuple[float, float, float]] = []
    n_faults = 0
    for number, line in enumerate(re.split(r"\r\n|\r|\n", text), start=1):
        words = line.split("#", 1)[0].replace(";", " ").split()
        if not words:
            continue
        message = _point_fault(words, reading)
        if message is None:
            x, y, z = (reading.in_mm(float(word)) for word in words)
            points.append((x, y, z))
            continue
        n_faults += 1
        if n_faults <= MAX_FAULTS:
            column = len(line) - len(line.lstrip()) + 1
            reading.faults.append(Fault(file, number, column, path, message))
    if not points and not n_faults:
        reading.faults.append(Fault(file, 1, 1, path, "the file has no points; expected one 'x y z' per line"))
    return tuple(points) if points and not n_faults else None


def _point_fault(words: list[str], reading: Reading) -> str | None:
    if len(words) != 3:
        return f"{len(words)} {'entry' if len(words) == 1 else 'entries'}; expected three numbers x y z"
    for word in words:
        try:
            value = float(word)
        except ValueError:
            return number_words(word, f"a coordinate in {reading.units}", reading.units)
        if "_" in word or not math.isfinite(value):
            return f"'{word}' is no number that can be measured; expected a coordinate in {reading.units}"
        if abs(value * reading.scale) > LARGEST_COORDINATE:
            most = LARGEST_COORDINATE / reading.scale
            return f"{word} {reading.units} is out of reason; expected a coordinate up to {most:.6g} {reading.units}"
    return None
