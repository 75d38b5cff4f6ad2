"""OBJ, PLY and 3MF: what is read of them, and that each fault is told in words."""

import math
import struct
import time

import numpy as np
import pytest

from kinematics import mesh_3mf
from kinematics.meshes import load_mesh
from tests.kinematics.mesh_writers import (
    CUBE_3MF,
    CUBE_F,
    CUBE_V,
    ITEM,
    archive_3mf,
    check_fault,
    item,
    mesh_xml,
    model_3mf,
    obj,
    ply,
    size,
    volume,
    written,
)


@pytest.fixture(autouse=True)
def no_cache(monkeypatch):
    monkeypatch.setenv("TIGHTSIDE_CACHE", "off")


# --- OBJ and PLY ----------------------------------------------------------------------------------

CUBE_QUADS = [[0, 1, 3, 2], [4, 6, 7, 5], [0, 4, 5, 1], [2, 3, 7, 6], [0, 2, 6, 4], [1, 5, 7, 3]]
# An L, looked at from above, as one polygon of six corners: concave at its fourth.
L_OUTLINE = np.array([[0, 0], [30, 0], [30, 10], [10, 10], [10, 40], [0, 40]], dtype=float)


def prism(outline, height):
    n = len(outline)
    vertices = np.concatenate([np.column_stack([outline, np.full(n, z)]) for z in (0.0, height)])
    sides = [[k, (k + 1) % n, n + (k + 1) % n, n + k] for k in range(n)]
    return vertices, [list(range(n))[::-1], list(range(n, 2 * n)), *sides]


@pytest.mark.parametrize("start", range(6))
@pytest.mark.parametrize("write", [obj, ply])
def test_that_a_concave_face_keeps_its_area(tmp_path, write, start):
    vertices, faces = prism(np.roll(L_OUTLINE, start, axis=0), 5.0)
    mesh = load_mesh(written(tmp_path, f"p.{write.__name__}", write(vertices, faces)), units="mm")
    assert mesh.is_closed and volume(mesh) == pytest.approx((30 * 10 + 10 * 30) * 5.0)
    a, b, c = (mesh.vertices[mesh.faces[:, k]] for k in range(3))
    area = np.linalg.norm(np.cross(b - a, c - a), axis=1).sum() / 2
    assert area == pytest.approx(2 * 600 + 5 * 140)  # a fan would cover more


@pytest.mark.parametrize("turn", [0, 1, 2])
def test_that_quadrangles_in_any_plane_become_two_triangles(tmp_path, turn):
    mesh = load_mesh(written(tmp_path, "p.obj", obj(np.roll(CUBE_V, turn, axis=1), CUBE_QUADS)), units="mm")
    assert len(mesh.faces) == 12 and mesh.is_closed and volume(mesh) == pytest.approx(36 * 30 * 41.5)
    assert mesh.notes == ()


def test_that_a_face_that_is_not_flat_is_told(tmp_path):
    vertices = CUBE_V.copy()
    vertices[0, 2] -= 0.4
    mesh = load_mesh(written(tmp_path, "p.obj", obj(vertices, CUBE_QUADS)), units="mm")
    assert any("not flat, by up to " in note for note in mesh.notes)


def test_that_a_star_stays_closed_though_it_crosses_itself(tmp_path):
    angle = np.arange(5) * 4 * math.pi / 5
    vertices, faces = prism(np.stack([10 * np.cos(angle), 10 * np.sin(angle)], 1), 3.0)
    assert load_mesh(written(tmp_path, "p.obj", obj(vertices, faces)), units="mm").is_closed


def test_that_obj_faces_may_count_backwards_and_carry_texture(tmp_path):
    text = "# made by hand\nmtllib none.mtl\no cube\n" + "".join("v {} {} {} 1.0\n".format(*v) for v in CUBE_V)
    text += "vt 0 0\nvn 0 0 1\ng sides\nusemtl grey\ns off\n"
    text += "".join("f {}/1/1 {}//1 \\\n {}/1 # tail\n".format(*(f - 8)) for f in CUBE_F)
    mesh = load_mesh(written(tmp_path, "p.obj", text.encode()), units="mm", body="cube")
    assert mesh.is_closed and volume(mesh) == pytest.approx(36 * 30 * 41.5)


def test_that_objects_of_an_obj_are_bodies(tmp_path):
    second = obj(CUBE_V + [50.0, 0.0, 0.0], CUBE_F + 8, "right")
    path = written(tmp_path, "p.obj", obj(CUBE_V, CUBE_F, "left") + second)
    assert load_mesh(path, units="mm", body="right").bounds == ((50.0, 0.0, 0.0), (86.0, 30.0, 41.5))
    assert len(load_mesh(path, units="mm").faces) == 24


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (b"v 0 0 0\nv 1 0\n", "line 2: a vertex that is no three numbers"),
        (b"v 0 0 0\nv 1 0 zero\n", "line 2: a vertex that is no three numbers"),
        (b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2\n", "line 4: a face of 2 corners"),
        (b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 0\n", "line 4: a face names vertex 0; expected 1 to 3"),
        (b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 -4\n", "line 4: a face names vertex -4"),
        (b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 x/1\n", "line 4: a corner 'x'"),
        (b"v 0 0 0\ncurv 0 1 1 2\n", "line 2: 'curv' is not read"),
        (b"o only a name\n", "has no triangles"),
    ],
)
def test_that_each_bad_line_of_an_obj_is_named(tmp_path, text, words):
    check_fault(written(tmp_path, "p.obj", text), words)


@pytest.mark.parametrize("order", ["<", ">"])
@pytest.mark.parametrize("faces", [CUBE_F.tolist(), CUBE_QUADS, [*CUBE_QUADS[:3], *CUBE_F[6:].tolist()]])
def test_that_binary_ply_is_read_in_both_byte_orders_with_faces_of_any_size(tmp_path, order, faces):
    name = {"<": "little", ">": "big"}[order]
    head = f"ply\nformat binary_{name}_endian 1.0\ncomment by hand\nelement vertex 8\nproperty float x\n"
    head += "property uchar red\nproperty float y\nproperty float z\n"
    head += f"element face {len(faces)}\nproperty list uchar float texcoord\nproperty list uchar uint vertex_index\n"
    body = b"".join(struct.pack(order + "fBff", v[0], 7, v[1], v[2]) for v in CUBE_V)
    body += b"".join(struct.pack(f"{order}Bff B{len(f)}I".replace(" ", ""), 2, 0.5, 0.25, len(f), *f) for f in faces)
    path = written(tmp_path, "p.ply", (head + "end_header\n").encode() + body)
    mesh = load_mesh(path, units="mm")
    assert mesh.is_closed and volume(mesh) == pytest.approx(36 * 30 * 41.5) and len(mesh.faces) == 12
    check_fault(written(tmp_path, "long.ply", path.read_bytes() + b"\0"), "1 bytes more than its header promises")
    check_fault(written(tmp_path, "short.ply", path.read_bytes()[:-3]), "expected")


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ((b"element vertex 8", b"element vertex 800000000"), "its header promises 800000000 of vertex"),
        ((b"element face 12", b"element face 11"), "values more than its header promises"),
        ((b"element face 12", b"element face 13"), "ends among its 13 of face"),
        ((b"property double x", b"property double u"), "has no vertices with x, y and z"),
        ((b"uchar int", b"uchar float"), "expected a type of whole numbers"),
        ((b"format ascii 1.0", b"format ascii 2.0"), "header line 'format ascii 2.0'"),
        ((b"property double y", b"property double x"), "gives vertex the property x twice"),
        ((b"end_header", b"end header"), "is no PLY, or was cut short"),
        ((b"element face 12", b"element edge 12"), "has no faces"),
        ((b"3 0 1 3", b"3 0 1 x"), "among the values of face is one that is no number"),
        ((b"3 0 1 3", b"2 0 1 3"), "expected"),
    ],
)
def test_that_each_fault_of_a_ply_is_told(tmp_path, change, words):
    check_fault(written(tmp_path, "p.ply", ply(CUBE_V, CUBE_F).replace(*change, 1)), words)


# --- 3MF ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("unit", "factor"), [("millimeter", 1.0), ("inch", 25.4), ("micron", 0.001), ("foot", 304.8)])
def test_that_a_3mf_has_its_own_unit(tmp_path, unit, factor):
    path = written(tmp_path, "p.3mf", archive_3mf(CUBE_3MF.replace('unit="millimeter"', f'unit="{unit}"')))
    assert size(load_mesh(path, units=None)) == pytest.approx([36 * factor, 30 * factor, 41.5 * factor])


def test_that_the_unit_of_the_file_goes_before_the_one_that_is_asked(tmp_path):
    path = written(tmp_path, "p.3mf", archive_3mf(CUBE_3MF))
    assert load_mesh(path, units="mm").notes == load_mesh(path, units=None).notes
    asked = load_mesh(path, units="inch")
    assert size(asked) == pytest.approx([36, 30, 41.5])
    assert "is in mm by its own word, which goes before units: inch" in asked.notes
    unknown = archive_3mf(CUBE_3MF.replace('unit="millimeter"', 'unit="furlong"'))
    check_fault(written(tmp_path, "q.3mf", unknown), "its unit is 'furlong'", units=None)


def test_that_3mf_without_a_unit_is_in_millimetres(tmp_path):
    # 3MF Core Specification 1.3, section 3.4: the default of the attribute is millimeter.
    path = written(tmp_path, "p.3mf", archive_3mf(CUBE_3MF.replace('unit="millimeter"', "")))
    assert size(load_mesh(path, units=None)) == pytest.approx([36, 30, 41.5])


def test_that_components_are_placed_by_their_transforms(tmp_path):
    # Points are rows: the first three of the four rows turn, the last shifts. A quarter turn about Z, then a mirror.
    parts = '<component objectid="1"/><component objectid="1" transform="0 1 0 -1 0 0 0 0 1 100 0 0"/>'
    both = model_3mf(
        [(1, 'name="block"', mesh_xml(CUBE_V, CUBE_F)), (2, "", f"<components>{parts}</components>")],
        item(2, "1 0 0 0 1 0 0 0 1 0 0 5") + item(1, "-1 0 0 0 1 0 0 0 1 0 90 0"),
    )
    mesh = load_mesh(written(tmp_path, "p.3mf", archive_3mf(both)), units=None)
    assert len(mesh.faces) == 36 and mesh.is_closed
    assert volume(mesh) == pytest.approx(3 * 36 * 30 * 41.5)  # the mirrored one too is the right way out
    lows = [tuple(mesh.vertices[mesh.faces[k : k + 12].reshape(-1)].min(axis=0)) for k in (0, 12, 24)]
    assert sorted(lows) == [(-36.0, 90.0, 0.0), (0.0, 0.0, 5.0), (70.0, 0.0, 5.0)]


def test_that_objects_of_a_3mf_are_bodies_and_other_parts_are_followed(tmp_path):
    other = model_3mf([(7, 'name="far"', mesh_xml(CUBE_V + [0.0, 0.0, 60.0], CUBE_F))], "")
    link = '<components><component objectid="7" p:path="/3D/other.model"/></components>'
    root = model_3mf(
        [(1, 'name="near"', mesh_xml(CUBE_V, CUBE_F)), (2, "", link)],
        '<item objectid="1"/><item objectid="2"/>',
        more='requiredextensions="p"',
    )
    path = written(tmp_path, "p.3mf", archive_3mf(root, other=other))
    assert load_mesh(path, units=None, body="far").bounds[0] == (0.0, 0.0, 60.0)
    check_fault(path, "expected one of near, far; nearest: near", units=None, body="neer", key="body")


def test_that_zip_bombs_are_refused_before_they_are_unpacked(tmp_path):
    start = time.perf_counter()
    blanks = CUBE_3MF.replace("<build>", " " * 40_000_000 + "<build>")
    check_fault(written(tmp_path, "ratio.3mf", archive_3mf(blanks)), "times its size; expected at most 200", units=None)
    honest = bytearray(archive_3mf(CUBE_3MF))
    at = honest.rindex(b"PK\x01\x02")  # the last entry of the directory; its real size is at 24
    honest[at + 24 : at + 28] = struct.pack("<I", 3_000_000_000)
    check_fault(written(tmp_path, "declared.3mf", bytes(honest)), "unpacks to 3000 MB; expected at most", units=None)
    assert time.perf_counter() - start < 2.0


def test_that_what_is_really_unpacked_is_limited_too(tmp_path, monkeypatch):
    link = '<components><component objectid="1" p:path="/3D/other.model"/></components>'
    data = archive_3mf(model_3mf([(1, "", link)], ITEM), other=CUBE_3MF)
    assert load_mesh(written(tmp_path, "p.3mf", data), units=None).is_closed
    monkeypatch.setattr(mesh_3mf._Archive, "__init__", _as_if_less_were_declared)
    check_fault(written(tmp_path, "q.3mf", data), "unpacks to over ", units=None)


def _as_if_less_were_declared(self, archive):
    self.archive = archive
    self.entries = {"/" + entry.filename.lower(): entry for entry in archive.infolist()}
    self.n_left = 1500
    assert sum(entry.file_size for entry in archive.infolist()) > 1500


@pytest.mark.parametrize(
    ("model", "words"),
    [
        (CUBE_3MF.replace("<?xml", '<!DOCTYPE a [<!ENTITY b "b">]><?xml'), "expected"),
        (CUBE_3MF.replace('<?xml version="1.0"?>', '<!DOCTYPE a [<!ENTITY b "b">]>'), "declares a document type"),
        (CUBE_3MF.replace('objectid="1"', 'objectid="9"'), "places an object 9 that it does not hold"),
        (CUBE_3MF.replace('v3="3"', 'v3="three"', 1), "a triangle with the corner 'three'"),
        (CUBE_3MF.replace('v3="3"', "", 1), "without v3"),
        (CUBE_3MF.replace('x="36.0"', 'x="36,0"', 1), "'36,0' among coordinates"),
        (CUBE_3MF[:900], "expected XML"),
        (CUBE_3MF.replace(ITEM, item(1, "1 0 0")), "a transform of 3 numbers"),
        (CUBE_3MF.replace(ITEM, item(1, "1 0 0 0 1 0 0 0 0 0 0 0")), "flattens"),
        (CUBE_3MF.replace(ITEM, ""), "has no triangles"),
        (model_3mf([], "", more='xmlns:b="http://x/lattice" requiredextensions="b"'), "needs the extension"),
        (model_3mf([(1, "", '<components><component objectid="1"/></components>')], ITEM), "themselves"),
        ("<svg/>", "is no 3MF model"),
    ],
)  # fmt: skip
def test_that_each_fault_of_a_3mf_is_told(tmp_path, model, words):
    check_fault(written(tmp_path, "p.3mf", archive_3mf(model)), words, units=None)


def test_that_components_that_double_at_each_level_are_stopped(tmp_path):
    levels = [
        (k, "", f'<components><component objectid="{k - 1}"/><component objectid="{k - 1}"/></components>')
        for k in range(2, 60)
    ]
    bomb = model_3mf([(1, "", mesh_xml(CUBE_V, CUBE_F)), *levels], '<item objectid="59"/>')
    check_fault(written(tmp_path, "p.3mf", archive_3mf(bomb)), "expected fewer", units=None)
