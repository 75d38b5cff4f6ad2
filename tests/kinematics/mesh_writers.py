"""Small mesh files written by hand, and what their readers are held against."""

import io
import struct
import zipfile

import numpy as np
import pytest

from kinematics import mesh_3mf
from kinematics.errors import MeshFileError
from kinematics.meshes import load_mesh

CUBE_V = np.array([[x, y, z] for x in (0.0, 36.0) for y in (0.0, 30.0) for z in (0.0, 41.5)])
CUBE_F = np.array(
    [[0, 1, 3], [0, 3, 2], [4, 6, 7], [4, 7, 5], [0, 4, 5], [0, 5, 1], [2, 3, 7], [2, 7, 6], [0, 2, 6], [0, 6, 4],
     [1, 5, 7], [1, 7, 3]]
)  # fmt: skip


def volume(mesh):
    """By the divergence theorem, mm3: a third of the flux of x through the surface."""
    a, b, c = (mesh.vertices[mesh.faces[:, k]] for k in range(3))
    return float((np.cross(b - a, c - a) * (a + b + c)).sum() / 18.0)


def size(mesh):
    lo, hi = mesh.bounds
    return tuple(h - low for low, h in zip(lo, hi, strict=True))


def binary_stl(vertices, faces, header=b"", count=None):
    records = np.zeros(len(faces), dtype=[("n", "<f4", 3), ("v", "<f4", (3, 3)), ("a", "<u2")])
    records["v"] = np.asarray(vertices)[np.asarray(faces, dtype=int).reshape(-1, 3)]
    return header.ljust(80, b"\0") + struct.pack("<I", len(faces) if count is None else count) + records.tobytes()


def text_stl(vertices, faces, name="part"):
    lines = [f"solid {name}"]
    for face in faces:
        lines += [" facet normal 0 0 0", "  outer loop"]
        lines += [f"   vertex {x!r} {y!r} {z!r}" for x, y, z in np.asarray(vertices)[face].tolist()]
        lines += ["  endloop", " endfacet"]
    return "\n".join([*lines, f"endsolid {name}", ""]).encode()


def obj(vertices, faces, name=None):
    lines = [f"o {name}"] if name else []
    lines += ["v {} {} {}".format(*v) for v in np.asarray(vertices).tolist()]
    lines += ["f " + " ".join(str(k + 1) for k in face) for face in faces]
    return "\n".join([*lines, ""]).encode()


def ply(vertices, faces):
    head = f"ply\nformat ascii 1.0\nelement vertex {len(vertices)}\nproperty double x\nproperty double y\n"
    head += f"property double z\nelement face {len(faces)}\nproperty list uchar int vertex_indices\nend_header\n"
    rows = [" ".join(map(repr, v)) for v in np.asarray(vertices).tolist()]
    rows += [f"{len(face)} " + " ".join(map(str, face)) for face in faces]
    return (head + "\n".join(rows) + "\n").encode()


def model_3mf(objects, build, unit="millimeter", more=""):
    """`objects`: (id, attributes, inner XML); `build`: XML of items."""
    inner = "".join(f'<object id="{k}" {a}>{x}</object>' for k, a, x in objects)
    return (
        f'<?xml version="1.0"?><model unit="{unit}" xmlns="{mesh_3mf.CORE}" xmlns:p="{mesh_3mf.PRODUCTION}" {more}>'
        f"<resources>{inner}</resources><build>{build}</build></model>"
    )


def mesh_xml(vertices, faces):
    v = "".join('<vertex x="{}" y="{}" z="{}"/>'.format(*p) for p in np.asarray(vertices).tolist())
    t = "".join('<triangle v1="{}" v2="{}" v3="{}"/>'.format(*f) for f in np.asarray(faces).tolist())
    return f"<mesh><vertices>{v}</vertices><triangles>{t}</triangles></mesh>"


def archive_3mf(model, compression=zipfile.ZIP_DEFLATED, **parts):
    relation = f'<Relationship Id="r" Type="{mesh_3mf.MODEL_RELATION}" Target="/3D/3dmodel.model"/>'
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", compression) as archive:
        archive.writestr("_rels/.rels", f'<Relationships xmlns="{mesh_3mf.RELATIONS}">{relation}</Relationships>')
        archive.writestr("3D/3dmodel.model", model)
        for name, text in parts.items():
            archive.writestr(f"3D/{name}.model", text)
    return stream.getvalue()


def item(number, transform):
    return f'<item objectid="{number}" transform="{transform}"/>'


ITEM = '<item objectid="1"/>'


CUBE_3MF = model_3mf([(1, 'name="cube"', mesh_xml(CUBE_V, CUBE_F))], ITEM)


def written(folder, name, data):
    path = folder / name
    path.write_bytes(data)
    return path


def check_fault(path, *words, units="mm", body=None, key=None):
    """Reading the file is a fault that begins with its name, is in the house form, and has these words."""
    with pytest.raises(MeshFileError) as caught:
        load_mesh(path, units=units, body=body, origin="here")
    message = caught.value.message
    assert message.startswith(f"{path.name}: ") and not message.endswith(".") and "invalid" not in message
    assert caught.value.origin == "here"
    if key:
        assert caught.value.key == (key,)
    for word in words:
        assert word in message, message
    return message
