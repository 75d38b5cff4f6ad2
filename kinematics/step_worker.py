"""Reads one STEP file in a process of its own: ``python -m kinematics.step_worker FILE FOLDER TOLERANCE``.

1. The geometry kernel behind STEP crashes on some files, takes hours on others, and prints as it
   likes; all of that stays in this process, which has limits of time and memory.
2. The answer is a file in FOLDER: bodies.npz with bodies.json, or fault.json with one sentence.
3. The kernel reads what it can and leaves the rest out without a word. So the text is checked first:
   it must reach its end, and every entity that it names must be there.
"""

from __future__ import annotations

import json
import re
import sys
from pathlib import Path

from kinematics.errors import MeshFileError

MEMORY_LIMIT = 6 << 30  # bytes of address space, of which a 100 MB file takes about half
ANGLE_STEP_RAD = 0.5  # coarsest turn from one facet to the next; the chord tolerance decides above it
MM_PER_METRE = 1000.0

_STRING = re.compile(rb"'(?:[^']|'')*'")
_COMMENT = re.compile(rb"/\*.*?\*/", re.DOTALL)
_DEFINED = re.compile(rb"#(\d+)\s*=")
_NAMED = re.compile(rb"#(\d+)")
_ENTITY = rb"#%d\s*=([^;]*);"
_CONVERTED = re.compile(rb"CONVERSION_BASED_UNIT\s*\([^#]*#(\d+)")
_MEASURE = re.compile(rb"MEASURE_WITH_UNIT\s*\(\s*(?:\w+\s*\(\s*)?([-+.\dEe]+)\s*\)?\s*,\s*#(\d+)")
_PREFIX = {
    b"EXA": 1e18, b"PETA": 1e15, b"TERA": 1e12, b"GIGA": 1e9, b"MEGA": 1e6, b"KILO": 1e3, b"HECTO": 1e2, b"DECA": 1e1,
    b"": 1.0, b"DECI": 1e-1, b"CENTI": 1e-2, b"MILLI": 1e-3, b"MICRO": 1e-6, b"NANO": 1e-9, b"PICO": 1e-12,
    b"FEMTO": 1e-15, b"ATTO": 1e-18,
}  # ISO 10303-41, si_prefix  # fmt: skip
_SI_METRE = re.compile(rb"SI_UNIT\s*\(\s*(?:\$|\.(%s)\.)\s*,\s*\.METRE\.\s*\)" % b"|".join(filter(None, _PREFIX)))


def check_text(data: bytes) -> bytes:
    """The file without its strings and comments; raises MeshFileError where something is missing."""
    if b"ISO-10303-21" not in data[:4096]:
        raise MeshFileError("does not begin with ISO-10303-21; expected a STEP file")
    if b"END-ISO-10303-21" not in data[-4096:]:
        raise MeshFileError("was cut short; expected END-ISO-10303-21 at its end")
    text = _COMMENT.sub(b"", _STRING.sub(b"''", data))
    defined = set(_DEFINED.findall(text))
    missing = set(_NAMED.findall(text)) - defined
    if missing:
        first = min(int(number) for number in missing)
        raise MeshFileError(f"names entity #{first}, which it does not hold; expected a complete STEP file")
    return text


def length_units(text: bytes) -> tuple[float, ...]:
    """The length units of all geometric contexts, in mm, each once; empty where none is given.

    Follows GLOBAL_UNIT_ASSIGNED_CONTEXT to LENGTH_UNIT, as in ISO 10303-41. Raises MeshFileError for a
    length unit that does not lead to the metre.
    """
    found: set[float] = set()
    for group in set(re.findall(rb"GLOBAL_UNIT_ASSIGNED_CONTEXT\s*\(\s*\(([^)]*)\)", text)):
        for number in _NAMED.findall(group):
            entity = _entity(text, int(number))
            if re.search(rb"\bLENGTH_UNIT\b", entity):
                found.add(float(f"{_mm_of_unit(text, entity, depth=0):.9g}"))
    return tuple(sorted(found))


def _entity(text: bytes, number: int) -> bytes:
    match = re.search(_ENTITY % number, text)
    return match.group(1) if match else b""


def _mm_of_unit(text: bytes, entity: bytes, depth: int) -> float:
    if si := _SI_METRE.search(entity):
        return MM_PER_METRE * _PREFIX[si.group(1) or b""]
    converted = _CONVERTED.search(entity)
    measure = _MEASURE.search(_entity(text, int(converted.group(1)))) if converted and depth < 4 else None
    if measure is None:
        raise MeshFileError("states a length unit that cannot be understood; expected mm, inch or another by the metre")
    try:
        return float(measure.group(1)) * _mm_of_unit(text, _entity(text, int(measure.group(2))), depth + 1)
    except ValueError as error:
        raise MeshFileError(f"states a length unit of {measure.group(1)!r}; expected a number") from error


def tessellate(data: bytes, tolerance: float) -> list[tuple[str, object, object]]:
    """Name, vertices (n, 3) in mm and faces (m, 3) of each body, as it stands in the assembly."""
    import io

    import cascadio
    import trimesh

    glb = cascadio.load(data, file_type="step", tol_linear=tolerance, tol_angular=ANGLE_STEP_RAD)
    if not glb:
        raise MeshFileError("the geometry kernel cannot read it; expected a STEP file with solids")
    scene = trimesh.load_scene(io.BytesIO(glb), file_type="glb", process=False)
    bodies: list[tuple[str, object, object]] = []
    for node in scene.graph.nodes_geometry:
        X_node, shape = scene.graph[node]
        mesh = scene.geometry[shape]
        if isinstance(mesh, trimesh.Trimesh) and len(mesh.faces):
            vertices = trimesh.transform_points(mesh.vertices, X_node) * MM_PER_METRE
            bodies.append((str(node), vertices, mesh.faces))
    if not bodies:
        raise MeshFileError("holds no solid and no face; expected a STEP file with a solid")
    return bodies


def _limit_memory() -> None:
    try:
        import resource
    except ImportError:  # Windows has no such limit
        return
    for what, limit in ((resource.RLIMIT_AS, MEMORY_LIMIT), (resource.RLIMIT_CORE, 0)):
        _, hard = resource.getrlimit(what)
        if hard == resource.RLIM_INFINITY or limit < hard:
            resource.setrlimit(what, (limit, hard))


def main(step: Path, folder: Path, tolerance: float) -> None:
    """Writes the answer into `folder`."""
    import numpy as np

    _limit_memory()
    try:
        data = step.read_bytes()
        text = check_text(data)
        units = length_units(text)
        bodies = tessellate(data, tolerance)
    except MeshFileError as fault:
        (folder / "fault.json").write_text(json.dumps(fault.message), encoding="utf-8")
        return
    except MemoryError:
        (folder / "fault.json").write_text(json.dumps("takes more memory than allowed"), encoding="utf-8")
        return
    arrays = {}
    for i, (_, vertices, faces) in enumerate(bodies):
        arrays[f"v{i}"], arrays[f"f{i}"] = (
            np.asarray(vertices, np.float64),
            np.asarray(faces, np.int64),
        )
    np.savez(folder / "bodies.npz", **arrays)
    answer = {"names": [name for name, _, _ in bodies], "units": units}
    (folder / "bodies.json").write_text(json.dumps(answer), encoding="utf-8")


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]), float(sys.argv[3]))
