"""What is done to triangles, each on a solid small enough to count by hand."""

import numpy as np
import pytest

from kinematics.mesh_topology import WELD, count_open_edges, face_labels, first_and_inverse, tidy
from kinematics.meshes import Mesh
from kinematics.winding import Inside, is_inside
from tests.kinematics.mesh_writers import CUBE_F

UNIT_CUBE = np.array([[x, y, z] for x in (0.0, 1.0) for y in (0.0, 1.0) for z in (0.0, 1.0)])


def cube(side=10.0, at=(0.0, 0.0, 0.0)):
    return UNIT_CUBE * side + np.asarray(at), CUBE_F


def together(*parts):
    starts = np.cumsum([0, *(len(v) for v, _ in parts)])
    return np.concatenate([v for v, _ in parts]), np.concatenate(
        [f + at for (_, f), at in zip(parts, starts, strict=False)]
    )


def loose(vertices, faces):
    """Every triangle with corners of its own, as in STL."""
    return vertices[faces].reshape(-1, 3), np.arange(3 * len(faces)).reshape(-1, 3)


def volume_of(tidied):
    a, b, c = (tidied.vertices[tidied.faces[:, k]] for k in range(3))
    return float((a * np.cross(b, c)).sum() / 6.0)


def inside(tidied, point):
    return is_inside([point], Mesh(tidied.vertices, tidied.faces, tidied.n_open_edges, 0.0, "test"))[0]


# --- welding --------------------------------------------------------------------------------------


def test_that_loose_triangles_are_welded_and_it_is_told():
    tidied = tidy(*loose(*cube()))
    assert tidied.vertices.shape == (8, 3) and len(tidied.faces) == 12 and tidied.n_open_edges == 0
    assert tidied.notes == ("36 corners welded to 8 points",)
    assert volume_of(tidied) == pytest.approx(1000.0, rel=1e-15)


@pytest.mark.parametrize("seed", range(5))
def test_that_points_a_nanometre_apart_are_welded_wherever_the_grid_falls(seed):
    rng = np.random.default_rng(seed)
    vertices, faces = loose(*cube(at=rng.uniform(-50, 50, 3)))
    vertices = np.repeat(vertices[None], 40, axis=0) + 30.0 * np.arange(40)[:, None, None] * [1.0, 0.0, 0.0]
    vertices = vertices.reshape(-1, 3) + rng.uniform(-1e-9, 1e-9, (40 * 36, 3))
    faces = np.arange(40 * 36).reshape(-1, 3)
    tidied = tidy(vertices, faces)
    assert len(tidied.vertices) == 40 * 8 and tidied.n_open_edges == 0


@pytest.mark.parametrize("spread", [1e-8, 3e-7, 1e-6, 3e-6])
def test_that_welding_moves_no_corner_by_more_than_it_says(spread):
    rng = np.random.default_rng(2)
    vertices, faces = loose(*cube(at=(3.3, -7.1, 0.123456789)))
    vertices = vertices + rng.uniform(-spread, spread, vertices.shape)
    tidied = tidy(vertices, faces)
    assert len(tidied.faces) == 12
    moved = np.linalg.norm(tidied.vertices[tidied.faces].reshape(-1, 3) - vertices, axis=1)
    assert moved.max() <= WELD


def test_that_points_two_micrometres_apart_stay_apart():
    vertices, faces = together(cube(), cube(at=(10.002, 0.0, 0.0)))
    assert len(tidy(vertices, faces).vertices) == 16


def test_that_cubes_on_each_other_stay_two_solids_when_their_corners_are_welded():
    # 12 common edges' sides: each of the four corners' edges has two sides each way, so that nothing is open.
    tidied = tidy(*together(cube(), cube(at=(10.0, 0.0, 0.0))))
    assert len(tidied.vertices) == 12 and tidied.n_open_edges == 0
    assert volume_of(tidied) == pytest.approx(2000.0)
    assert inside(tidied, (5, 5, 5)) is Inside.YES and inside(tidied, (15, 5, 5)) is Inside.YES


def test_that_vertices_that_no_face_uses_are_left_out():
    vertices, faces = cube()
    tidied = tidy(np.vstack([[[99.0, 99.0, 99.0]], vertices]), faces + 1)
    assert tidied.vertices.max() == 10.0 and tidied.faces.max() == 7


@pytest.mark.parametrize("columns", [1, 3])
def test_that_kinds_of_rows_are_those_that_numpy_finds(columns):
    rng = np.random.default_rng(columns)
    keys = rng.integers(-3, 3, (500, columns)) * 2**40
    first, inverse = first_and_inverse(keys)
    _, expected_first = np.unique(keys, axis=0, return_index=True)
    assert first.tolist() == sorted(expected_first.tolist())
    assert (keys[first][inverse] == keys).all()


def test_that_rows_whose_mixtures_collide_are_still_told_apart():
    def half_mixed(value):
        value = value * 0x9E3779B97F4A7C15 % 2**64
        return value ^ value >> 29

    # Rows (1, 7) and (2, x), with x such that both give one number after their second value went in.
    x = half_mixed(1) ^ 7 ^ half_mixed(2)
    row = np.array([[2, x - 2**64 if x >= 2**63 else x]], dtype=np.int64)
    keys = np.vstack([[[1, 7]], row, [[1, 7]], [[5, 6]], row])
    first, inverse = first_and_inverse(keys)
    assert first.tolist() == [0, 1, 3] and inverse.tolist() == [0, 1, 0, 2, 1]


# --- dropping -------------------------------------------------------------------------------------


def test_that_a_triangle_given_twice_is_dropped_and_its_back_is_not():
    vertices, faces = cube()
    tidied = tidy(vertices, np.vstack([faces, np.roll(faces[4:6], 1, axis=1)]))
    assert len(tidied.faces) == 12 and tidied.n_open_edges == 0
    assert "2 triangles given twice dropped" in tidied.notes
    sheet = np.array([[0, 1, 7]])  # a membrane within, with its back
    tidied = tidy(vertices, np.vstack([faces, sheet, sheet[:, ::-1]]))
    assert len(tidied.faces) == 14


def test_that_a_body_written_with_both_sides_keeps_its_inside():
    # Each triangle twice, the second time the other way round: the sum of solid angles is zero everywhere.
    vertices, faces = cube()
    tidied = tidy(vertices, np.vstack([faces, faces[:, ::-1]]))
    assert len(tidied.faces) == 12 and tidied.n_open_edges == 0
    assert volume_of(tidied) == pytest.approx(1000.0)
    assert "12 triangles dropped that were the backs of others" in tidied.notes
    mixed = np.stack([faces, faces[:, ::-1]], axis=1)
    mixed[::2] = mixed[::2, ::-1]  # which of the two comes first changes from face to face
    tidied = tidy(vertices, mixed.reshape(-1, 3))
    assert tidied.n_open_edges == 0 and volume_of(tidied) == pytest.approx(1000.0)
    assert inside(tidied, (5, 5, 5)) is Inside.YES


def test_that_a_sheet_written_with_both_sides_is_not_closed():
    vertices, faces = cube()
    top = faces[:2]
    assert tidy(vertices, np.vstack([top, top[:, ::-1]])).n_open_edges == 4


def test_that_triangles_without_area_go_and_open_nothing():
    # A cap between a long edge and the two halves of it, as modellers write them: points 8 on edge 0-1.
    vertices, faces = cube()
    middle = (vertices[0] + vertices[1]) / 2
    split = np.array([[0, 8, 3], [8, 1, 3]])  # face 0-1-3 cut at the middle of its side
    vertices, faces = np.vstack([vertices, middle]), np.vstack([split, faces[1:], [[0, 1, 8]]])
    assert count_open_edges(faces, 9) == 0
    tidied = tidy(vertices, faces)
    assert len(tidied.faces) == 13 and tidied.n_open_edges == 0
    assert "1 triangle without area dropped" in tidied.notes
    assert volume_of(tidied) == pytest.approx(1000.0)


def test_that_triangles_that_collapse_by_welding_go():
    vertices, faces = loose(*cube())
    sliver = np.array([[0.0, 0.0, 0.0], [0.0, 0.0, 1e-7], [10.0, 0.0, 0.0]])
    tidied = tidy(np.vstack([vertices, sliver]), np.vstack([faces, [[36, 37, 38]]]))
    assert len(tidied.faces) == 12 and tidied.n_open_edges == 0


def test_that_only_flat_triangles_leave_nothing():
    line = np.array([[0.0, 0, 0], [1.0, 1, 1], [2.0, 2, 2]])
    assert len(tidy(line, np.array([[0, 1, 2]])).faces) == 0


# --- turning --------------------------------------------------------------------------------------


@pytest.mark.parametrize("wrong", [[0], [3, 4, 8], list(range(7)), list(range(11))])
def test_that_faces_that_run_the_wrong_way_are_turned_in_a_closed_body(wrong):
    vertices, faces = cube()
    faces = faces.copy()
    faces[wrong] = faces[wrong][:, ::-1]
    tidied = tidy(vertices, faces)
    assert tidied.n_open_edges == 0 and volume_of(tidied) == pytest.approx(1000.0)
    assert any("turned" in note for note in tidied.notes)


def test_that_a_body_that_is_inside_out_is_turned_and_told():
    vertices, faces = cube()
    tidied = tidy(vertices, faces[:, ::-1])
    assert volume_of(tidied) == pytest.approx(1000.0)
    assert tidied.notes == ("a closed body that was inside out (12 triangles) turned",)


def test_that_a_hollow_is_not_turned():
    outer, inner = cube(30.0), cube(10.0, at=(10.0, 10.0, 10.0))
    tidied = tidy(*together(outer, (inner[0], inner[1][:, ::-1])))
    assert volume_of(tidied) == pytest.approx(30**3 - 10**3) and tidied.notes == ()
    assert inside(tidied, (15, 15, 15)) is Inside.NO and inside(tidied, (5, 5, 5)) is Inside.YES


def test_that_a_hollow_body_written_inside_out_is_turned_with_its_hollow():
    outer, inner = cube(30.0), cube(10.0, at=(10.0, 10.0, 10.0))
    tidied = tidy(*together((outer[0], outer[1][:, ::-1]), inner))
    assert volume_of(tidied) == pytest.approx(30**3 - 10**3)
    assert inside(tidied, (15, 15, 15)) is Inside.NO and inside(tidied, (5, 5, 5)) is Inside.YES


def test_that_one_of_several_bodies_is_turned_alone():
    right = cube(10.0, at=(50.0, 0.0, 0.0))
    tidied = tidy(*together(cube(), (right[0], right[1][:, ::-1])))
    assert volume_of(tidied) == pytest.approx(2000.0)


def test_that_an_open_shell_is_left_as_it_runs():
    vertices, faces = cube()
    inverted = faces[:10, ::-1]
    tidied = tidy(vertices, inverted)
    assert tidied.n_open_edges == 4 and tidied.notes == ()
    assert sorted(map(sorted, tidied.faces.tolist())) == sorted(map(sorted, inverted.tolist()))
    assert volume_of(tidied) < 0.0


def test_that_a_moebius_strip_is_open_and_not_made_consistent():
    n = 12
    angle = np.arange(n) * 2 * np.pi / n
    across = np.stack([np.cos(angle / 2) * np.cos(angle), np.cos(angle / 2) * np.sin(angle), np.sin(angle / 2)], 1)
    ring = 10 * np.stack([np.cos(angle), np.sin(angle), 0 * angle], 1)
    vertices = np.concatenate([ring - across, ring + across])
    quads = [(k, k + 1, n + k + 1, n + k) for k in range(n - 1)] + [(n - 1, n, 0, 2 * n - 1)]
    faces = np.array([t for a, b, c, d in quads for t in ((a, b, c), (a, c, d))])
    tidied = tidy(vertices, faces)
    assert len(tidied.faces) == 2 * n and tidied.n_open_edges >= 2 * n


# --- edges and pieces -----------------------------------------------------------------------------


def test_that_edges_are_open_where_faces_do_not_cancel():
    _, faces = cube()
    assert count_open_edges(faces, 8) == 0
    assert count_open_edges(faces[:11], 8) == 3
    assert count_open_edges(faces[:1], 8) == 3
    flipped = faces.copy()
    flipped[0] = flipped[0][::-1]
    assert count_open_edges(flipped, 8) == 3
    assert count_open_edges(np.vstack([faces, [[0, 1, 7]]]), 8) == 3  # a sheet on two edges and within
    assert count_open_edges(np.zeros((0, 3), dtype=int), 0) == 0


def test_that_pieces_are_counted_by_edges_of_two_faces_and_labelled_by_points():
    vertices, faces = together(cube(), cube(at=(10.0, 10.0, 10.0)), cube(at=(50.0, 0.0, 0.0)))
    tidied = tidy(vertices, faces)
    assert tidied.n_pieces == 3
    count, labels = face_labels(tidied.faces, len(tidied.vertices))
    assert count == 2 and labels.tolist() == [0] * 24 + [1] * 12  # two cubes share a corner


@pytest.mark.parametrize("seed", range(20))
def test_that_any_triangles_come_through_and_are_counted_as_they_are(seed):
    rng = np.random.default_rng(seed)
    vertices = rng.integers(0, 3, (rng.integers(1, 12), 3)).astype(float)
    faces = rng.integers(0, len(vertices), (rng.integers(1, 40), 3))
    tidied = tidy(vertices, faces)
    if len(tidied.faces):
        assert tidied.faces.min() >= 0 and tidied.faces.max() < len(tidied.vertices)
        a, b, c = (tidied.vertices[tidied.faces[:, k]] for k in range(3))
        assert (np.linalg.norm(np.cross(b - a, c - a), axis=1) > 0.0).all()
        assert len({tuple(f) for f in tidied.faces.tolist()}) == len(tidied.faces)
