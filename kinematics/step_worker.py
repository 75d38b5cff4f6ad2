"""Reads one STEP file in a process of its own: ``python -m kinematics.step_worker FILE FOLDER TOLERANCE``.

1. The geometry kernel behind STEP crashes on some files, takes hours on others, and prints as it
   likes; all of that stays in this process, which has limits of time and memory.
2. The answer is a file in FOLDER: bodies.npz with bodies.json, or fault.json with one sentence.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kinematics.errors import MeshFileError
from kinematics.mesh_topology import tidy
from kinematics.step_text import MM_PER_METRE, count_shells, data_section, length_units

ANGLE_STEP_RAD = 0.5  # coarsest turn from one facet to the next; the chord tolerance decides above it
MEMORY_AT_LEAST = 3 << 29  # bytes of address space, of which the kernel takes 0.6 GB before it reads
MEMORY_PER_BYTE = 100  # of the file

Body = tuple[str, NDArray[np.float64], NDArray[np.int64]]


def tessellate(data: bytes, tolerance: float) -> list[Body]:
    """Name, vertices (n, 3) in mm and faces (m, 3) of each body, where it stands in the assembly."""
    import io

    import cascadio
    import trimesh

    glb = cascadio.load(data, file_type="step", tol_linear=tolerance, tol_angular=ANGLE_STEP_RAD)
    if not glb:
        raise MeshFileError("the geometry kernel cannot read it; expected a STEP file with solids")
    scene = trimesh.load_scene(io.BytesIO(glb), file_type="glb", process=False)
    bodies: list[Body] = []
    for node in scene.graph.nodes_geometry:
        X_node, shape = scene.graph[node]
        mesh = scene.geometry[shape]
        if isinstance(mesh, trimesh.Trimesh) and len(mesh.faces):
            vertices = trimesh.transform_points(mesh.vertices, X_node) * MM_PER_METRE
            bodies.append((str(node), vertices, np.asarray(mesh.faces, dtype=np.int64)))
    if not bodies:
        raise MeshFileError("holds no solid and no face; expected a STEP file with a solid")
    return sorted(bodies, key=lambda body: body[0])


def limit_memory(n_bytes: int) -> None:
    """For this process, where the system knows such a limit."""
    try:
        import resource
    except ImportError:  # Windows
        return
    for what, limit in ((resource.RLIMIT_AS, n_bytes), (resource.RLIMIT_CORE, 0)):
        _, hard = resource.getrlimit(what)
        if hard == resource.RLIM_INFINITY or limit < hard:
            resource.setrlimit(what, (limit, hard))


def main(step: Path, folder: Path, tolerance: float) -> None:
    """Writes the answer into `folder`."""
    try:
        data = step.read_bytes()
        limit_memory(MEMORY_AT_LEAST + MEMORY_PER_BYTE * len(data))
        entities = data_section(data)
        units, n_shells = length_units(entities), count_shells(entities)
        del entities
        bodies = tessellate(data, tolerance)
        n_pieces = sum(tidy(vertices, faces).n_pieces for _, vertices, faces in bodies)
        if n_pieces < n_shells:
            raise MeshFileError(
                f"holds {n_shells} closed shells, of which {n_pieces} could be read; expected all of them"
            )
    except MeshFileError as fault:
        _write(folder / "fault.json", fault.message)
    except MemoryError:
        _write(folder / "fault.json", "takes more memory than allowed; expected a simpler STEP file")
    else:
        arrays: dict[str, Any] = {f"v{i}": vertices for i, (_, vertices, _) in enumerate(bodies)}
        arrays |= {f"f{i}": faces for i, (_, _, faces) in enumerate(bodies)}
        with (folder / "bodies.npz").open("wb") as file:
            np.savez(file, **arrays)
        _write(folder / "bodies.json", {"units": units, "names": [name for name, _, _ in bodies]})


def _write(path: Path, answer: object) -> None:
    path.write_text(json.dumps(answer), encoding="utf-8")


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]), float(sys.argv[3]))
