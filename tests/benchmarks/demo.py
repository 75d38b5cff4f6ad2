"""The demo set-up, and the same with a generated mesh where its part is a block."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from tests.benchmarks.wavy_block import HEIGHT, SIDE, WAVE, wavy_block, write_stl

DEMO = Path(__file__).resolve().parents[2] / "sample_scenes" / "sampler_block_b" / "sampler_block_b.scene.yaml"
BLOCK = "{name: part, box: [36, 30, 41.5], at: [0, 0, -43.5]}"
SIZE = (36.0, 30.0, 41.5)


def demo_with_mesh(folder: Path, n_triangles: int) -> Path:
    """The demo with a part of the same size that has about so many triangles; 12 or fewer leave it a plain block."""
    file = folder / f"demo-{n_triangles}.scene.yaml"
    if not file.exists():
        triangles = block(n_triangles)
        write_stl(folder / f"part-{n_triangles}.stl", triangles)
        mesh = f"mesh: {{file: part-{n_triangles}.stl, units: mm, from: base_centre}}"
        text = DEMO.read_text(encoding="utf-8")
        assert text.count(BLOCK) == 1, "the demo's part is written otherwise than here"
        file.write_text(text.replace(BLOCK, f"{{name: part, {mesh}, at: [0, 0, -43.5]}}"), encoding="utf-8")
    return file


def block(n_triangles: int) -> np.ndarray:
    """A wavy block of SIZE; its highest waves are as high as the block."""
    triangles = wavy_block(n_triangles).astype(np.float64)
    if n_triangles <= 12:
        triangles[triangles[:, :, 2] > 0.0, 2] = HEIGHT + WAVE
    return triangles * (SIZE[0] / SIDE, SIZE[1] / SIDE, SIZE[2] / (HEIGHT + WAVE))
