"""Set-ups for tests and pictures of the window, made from the demo: a cut out of order, a large part, faults."""

from __future__ import annotations

from pathlib import Path

from tests.benchmarks.demo import DEMO, demo_with_mesh


def demo(folder: Path) -> Path:
    """A copy of the demo that may be written over."""
    file = folder / "demo.scene.yaml"
    file.write_bytes(DEMO.read_bytes())
    return file


def not_checked(folder: Path) -> Path:
    """The demo with two orientations changed over: the pocket is cut before the state that it names is made."""
    text = DEMO.read_text(encoding="utf-8")
    first, second, third = (text.index(f"  - name: V{n}\n") for n in (1, 2, 3))
    file = folder / "not_checked.scene.yaml"
    file.write_text(text[:first] + text[second:third] + text[first:second] + text[third:], encoding="utf-8")
    return file


def with_faults(folder: Path) -> Path:
    """The demo with three things wrong."""
    text = DEMO.read_text(encoding="utf-8")
    wrong = (("flute: 4, ", "flute: -3, "), ("size: M6, plain", "size: M65, plain"), ("T2, state", "T9, state"))
    for before, after in wrong:
        assert before in text, f"the demo has no '{before}' any more"
        text = text.replace(before, after, 1)
    file = folder / "faults.scene.yaml"
    file.write_text(text, encoding="utf-8")
    return file


def with_large_part(folder: Path, n_triangles: int = 1_000_000) -> Path:
    """The demo with a part of so many triangles."""
    return demo_with_mesh(folder, n_triangles)
