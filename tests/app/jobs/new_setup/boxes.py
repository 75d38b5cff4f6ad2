"""Part files for tests of new set-ups: a box as a text STL, which has no unit."""

from __future__ import annotations

from pathlib import Path

QUADS = ((0, 3, 2, 1), (4, 5, 6, 7), (0, 1, 5, 4), (2, 3, 7, 6), (1, 2, 6, 5), (3, 0, 4, 7))  # seen from outside


def write_box(file: Path, x: float, y: float, z: float) -> Path:
    """A box with its lower corner at the origin."""
    corners = [(0, 0, 0), (x, 0, 0), (x, y, 0), (0, y, 0), (0, 0, z), (x, 0, z), (x, y, z), (0, y, z)]
    lines = ["solid box"]
    for a, b, c, d in QUADS:
        for triangle in ((a, b, c), (a, c, d)):
            points = "".join("vertex {} {} {}\n".format(*corners[i]) for i in triangle)
            lines.append(f"facet normal 0 0 0\nouter loop\n{points}endloop\nendfacet")
    file.write_text("\n".join([*lines, "endsolid box", ""]), encoding="ascii")
    return file
