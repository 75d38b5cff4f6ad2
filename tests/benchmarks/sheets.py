"""How long a bench sheet takes: the demo with its pictures, and a set-up of 60 tools and 40 orientations.

`python -m tests.benchmarks.sheets` prints a table and ends with status 1 where a target is missed. Nothing here is a
test: times depend on the machine, pictures on what draws them (here software, where there is no graphics card).
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

from kinematics.engine.compiled import compile_all
from tests.benchmarks.__main__ import Result, measure
from tests.benchmarks.demo import DEMO

TARGET_SECONDS = 6.0  # of the demo, on two idle cores
N_TOOLS, N_ORIENTATIONS = 60, 40


def large_scene(folder: Path, n_tools: int = N_TOOLS, n_orientations: int = N_ORIENTATIONS) -> Path:
    """A scene with so many tools and orientations: holes round a bar, each orientation at an angle of its own."""
    text = DEMO.read_text(encoding="utf-8")
    head, rest = text.split("\ntools:\n")
    tools = [
        f"  - {{id: T{i}, kind: drill, d: {3 + i % 5}, flute: 24, shank: {3 + i % 5}, point_deg: 118, overall: 90, "
        f"stick_out: {30 + i % 7}, holder: {'H11' if i % 2 else 'H16'}}}"
        for i in range(1, n_tools + 1)
    ]
    per_orientation = -(-n_tools // n_orientations)
    orientations = []
    for i in range(n_orientations):
        orientations += [f"  - name: V{i + 1}", f"    tilt: {2 * i}", f"    rotary: {9 * i}", "    cuts:"]
        for k in range(per_orientation):
            tool = (i * per_orientation + k) % n_tools + 1
            orientations.append(
                f"      - {{name: hole {k + 1}, tool: T{tool}, state: raw, hole: {{at: [0, 0, -2], depth: 8}}}}"
            )
    tail = "\nretract: 60\norientations:\n" + "\n".join(orientations) + "\n"
    assert "retract: 60" in rest, "the demo has its retract after its tools"
    states = head.replace("      after: [V1/profile] ", "      # after none")
    file = folder / "large.scene.yaml"
    file.write_text(states + "\ntools:\n" + "\n".join(tools) + "\n" + tail, encoding="utf-8")
    return file


def results(folder: Path) -> list[Result]:
    out = str(folder / "sheet.pdf")
    sheet = ["-m", "app", "sheet"]
    return [
        measure(
            "the demo's sheet with its pictures",
            [*sheet, str(DEMO), "-o", out],
            runs=3,
            target_seconds=TARGET_SECONDS,
        ),
        measure("the same without pictures", [*sheet, str(DEMO), "-o", out, "--no-pictures"], runs=3),
        measure(f"{N_TOOLS} tools, {N_ORIENTATIONS} orientations", [*sheet, str(large_scene(folder)), "-o", out]),
    ]


def main() -> int:
    compile_all()
    with tempfile.TemporaryDirectory() as name:
        found = results(Path(name))
    for one in found:
        target = f"  (target {one.target_seconds:.0f} s)" if one.target_seconds else ""
        sys.stdout.write(f"{one.name:40} {one.seconds:6.2f} s  {one.mib:6.0f} MiB{target}\n")
    return 1 if any(one.is_missed for one in found) else 0


if __name__ == "__main__":
    sys.exit(main())
