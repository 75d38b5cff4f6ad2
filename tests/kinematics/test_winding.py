"""Winding numbers against closed forms: solids of which everybody knows what is inside."""

import math

import numpy as np
import pytest

from kinematics.mesh_topology import count_open_edges
from kinematics.meshes import Mesh
from kinematics.winding import Inside, components, is_inside, winding_numbers

YES, NO, UNDECIDED = Inside.YES, Inside.NO, Inside.UNDECIDED

CUBE_CORNERS = np.array([[x, y, z] for x in (-1.0, 1.0) for y in (-1.0, 1.0) for z in (-1.0, 1.0)])
CUBE_FACES = np.array(
    [[0, 1, 3], [0, 3, 2], [4, 6, 7], [4, 7, 5], [0, 4, 5], [0, 5, 1], [2, 3, 7], [2, 7, 6], [0, 2, 6], [0, 6, 4],
     [1, 5, 7], [1, 7, 3]]
)  # fmt: skip


def mesh_of(*parts):
    """One mesh of several (vertices, faces), not welded to each other."""
    starts = np.cumsum([0, *(len(v) for v, _ in parts)])
    vertices = np.concatenate([v for v, _ in parts])
    faces = np.concatenate([f + at for (_, f), at in zip(parts, starts, strict=False)]).astype(np.int32)
    return Mesh(vertices, faces, count_open_edges(faces, len(vertices)), 0.0, "test")


def cube(half=1.0, at=(0.0, 0.0, 0.0)):
    return half * CUBE_CORNERS + np.asarray(at), CUBE_FACES


def inside_out(part):
    return part[0], part[1][:, ::-1]


def grid_surface(point, n):
    """Triangles of a surface that is periodic in both parameters, `point(u, v)` with u, v in [0, 2 pi)."""
    u = np.linspace(0.0, 2.0 * math.pi, n, endpoint=False)
    vertices = np.stack(point(*np.meshgrid(u, u, indexing="ij")), axis=-1).reshape(-1, 3)
    a = np.arange(n * n).reshape(n, n)
    b, c, d = np.roll(a, -1, 0), np.roll(np.roll(a, -1, 0), -1, 1), np.roll(a, -1, 1)
    return vertices, np.concatenate([np.stack(k, axis=-1).reshape(-1, 3) for k in ((a, b, c), (a, c, d))])


def torus(ring=3.0, tube=1.0, n=96):
    return grid_surface(
        lambda u, v: (
            (ring + tube * np.cos(v)) * np.cos(u),
            (ring + tube * np.cos(v)) * np.sin(u),
            tube * np.sin(v),
        ),
        n,
    )


def sphere(radius=1.0, levels=5):
    """A cube whose faces were split and whose corners were moved out to the sphere."""
    vertices, faces = cube()
    for _ in range(levels):
        a, b, c = (vertices[faces[:, k]] for k in range(3))
        corners = np.stack(
            [
                a,
                (a + b) / 2,
                (c + a) / 2,
                b,
                (b + c) / 2,
                (a + b) / 2,
                c,
                (c + a) / 2,
                (b + c) / 2,
            ],
            1,
        )
        middle = np.stack([(a + b) / 2, (b + c) / 2, (c + a) / 2], 1)
        flat = np.concatenate([corners.reshape(-1, 3), middle.reshape(-1, 3)])
        vertices, inverse = np.unique(flat.round(9), axis=0, return_inverse=True)
        faces = inverse.reshape(-1, 3)
    return radius * vertices / np.linalg.norm(vertices, axis=1)[:, None], faces


def check(mesh, points, expected):
    """That these points of the mesh are answered like this."""
    assert is_inside(points, mesh) == expected


def test_that_a_cube_has_an_inside_up_to_its_faces():
    check(
        mesh_of(cube()),
        [
            (0, 0, 0),
            (0.999, 0.999, -0.999),
            (1.001, 0, 0),
            (0, 0, -1.001),
            (1.001, 1.001, 1.001),
            (50, 2, 1),
        ],
        [YES, YES, NO, NO, NO, NO],
    )


def test_that_a_point_on_a_face_cannot_be_decided():
    vertices, faces = cube()
    check(mesh_of(cube()), [(1, 0.2, 0.1), (1, 1, 0.5), (1, 1, 1)], [UNDECIDED] * 3)
    # A face, an edge and a corner of a cube see half, a quarter and an eighth of all directions inside.
    np.testing.assert_allclose(
        winding_numbers([(1, 0.2, 0.1), (1, 1, 0.5), (1, 1, 1)], vertices, faces),
        [1 / 2, 1 / 4, 1 / 8],
        atol=1e-12,
    )


def test_that_one_face_of_a_cube_fills_a_sixth_of_what_its_centre_sees():
    vertices, faces = cube()
    np.testing.assert_allclose(winding_numbers([(0, 0, 0)], vertices, faces[:2]), 1 / 6, atol=1e-12)


@pytest.mark.parametrize("side", [1e-6, 1.0, 1e4])
def test_that_a_disc_fills_the_solid_angle_of_its_cone(side):
    # The solid angle of a cone of half angle t is 2 pi (1 - cos t); a polygon of n sides is a little less.
    n = 4096
    angle = np.linspace(0.0, 2.0 * math.pi, n, endpoint=False)
    vertices = np.vstack([[0.0, 0.0, 1.0], np.stack([np.cos(angle), np.sin(angle), np.ones(n)], 1)]) * side
    ring = np.arange(n)
    faces = np.stack([np.zeros(n, int), ring + 1, (ring + 1) % n + 1], 1)
    np.testing.assert_allclose(
        winding_numbers([(0, 0, 0)], vertices, faces),
        (1 - math.cos(math.pi / 4)) / 2,
        atol=1e-6,
    )


@pytest.mark.parametrize("seed", range(3))
def test_that_random_points_of_a_sphere_are_told_by_their_radius(seed):
    points = np.random.default_rng(seed).uniform(-1.3, 1.3, (500, 3))
    radii = np.linalg.norm(points, axis=1)
    points = points[(radii < 0.99) | (radii > 1.0)]  # facets lie a little under the sphere
    expected = [YES if r < 0.995 else NO for r in np.linalg.norm(points, axis=1)]
    check(mesh_of(sphere()), points, expected)


def test_that_random_points_of_a_torus_are_told_by_their_distance_from_the_ring():
    points = np.random.default_rng(7).uniform((-4.2, -4.2, -1.2), (4.2, 4.2, 1.2), (800, 3))
    d = np.hypot(np.hypot(points[:, 0], points[:, 1]) - 3.0, points[:, 2])
    points, d = points[(d < 0.98) | (d > 1.0)], d[(d < 0.98) | (d > 1.0)]
    check(mesh_of(torus()), points, [YES if r < 0.99 else NO for r in d])
    check(mesh_of(torus()), [(0, 0, 0)], [NO])  # the hole of the ring


def test_that_a_hollow_is_outside():
    hollow = mesh_of(cube(2.0), inside_out(cube(1.0)))
    assert hollow.is_closed
    check(
        hollow,
        [(0, 0, 0), (1.5, 0, 0), (0, -1.5, 1.9), (2.5, 0, 0)],
        [NO, YES, YES, NO],
    )


def test_that_bodies_that_overlap_or_nest_are_inside_once_or_twice():
    check(
        mesh_of(cube(1.0), cube(1.0, at=(1.0, 0.3, 0.2))),
        [(0.5, 0, 0), (-0.5, 0, 0), (1.5, 0, 0)],
        [YES, YES, YES],
    )
    check(
        mesh_of(cube(2.0), cube(1.0)),
        [(0, 0, 0), (1.5, 0, 0), (3, 0, 0)],
        [YES, YES, NO],
    )


def test_that_an_inside_out_body_is_not_called_clear():
    check(mesh_of(inside_out(cube())), [(0, 0, 0), (2, 0, 0)], [UNDECIDED, NO])


def test_that_an_open_cube_is_undecided_near_its_opening_only():
    # What the missing face would have added is its solid angle.
    vertices, faces = cube(10.0)
    open_cube = mesh_of((vertices, faces[:10]))  # the +Z face is missing
    assert open_cube.n_open_edges == 4
    # A square of side 2a seen from h above its middle: 4 asin(a^2 / (a^2 + h^2)), from memory, a handbook formula.
    for z in (-9.0, 0.0, 9.0, 12.0, 60.0):
        h = 10.0 - z
        missing = math.copysign(4 * math.asin(100 / (100 + h * h)), h) / (4 * math.pi) if h else 0.5
        expected = (1.0 if z < 10.0 else 0.0) - missing
        found = winding_numbers([(0, 0, z)], open_cube.vertices, open_cube.faces)[0]
        assert found == pytest.approx(expected, abs=1e-12)
    check(
        open_cube,
        [(0, 0, 9), (0, 0, 10), (0, 0, 12), (0, 0, 60), (40, 0, -5)],
        [UNDECIDED] * 3 + [NO, NO],
    )
    check(open_cube, [(0, 0, -9.9)], [YES])


def test_that_turning_and_shifting_changes_no_winding_number():
    rng = np.random.default_rng(3)
    vertices, faces = torus(n=24)
    points = rng.uniform(-4, 4, (40, 3))
    before = winding_numbers(points, vertices, faces)
    for c, s in ((0.0, 1.0), (-1.0, 0.0), (math.cos(0.3), math.sin(0.3))):
        R = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
        t = rng.uniform(-50, 50, 3)
        np.testing.assert_allclose(
            winding_numbers(points @ R.T + t, vertices @ R.T + t, faces),
            before,
            atol=1e-9,
        )


def test_that_chunks_add_up():
    vertices, faces = sphere(levels=4)
    points = np.random.default_rng(1).uniform(-1.2, 1.2, (700, 3))  # over three million pairs
    one_by_one = [winding_numbers(p[None], vertices, faces)[0] for p in points[::50]]
    np.testing.assert_allclose(winding_numbers(points, vertices, faces)[::50], one_by_one, atol=1e-12)


def test_that_no_points_and_no_faces_give_empty_and_zero():
    vertices, faces = cube()
    assert winding_numbers(np.zeros((0, 3)), vertices, faces).shape == (0,)
    assert winding_numbers([(0, 0, 0)], vertices, faces[:0]).tolist() == [0.0]


def test_that_pieces_are_found_in_the_order_of_their_first_face():
    mesh = mesh_of(cube(), sphere(0.3, levels=1), cube(1.0, at=(5, 0, 0)))
    pieces = components(mesh)
    assert [len(p) for p in pieces] == [12, 48, 12]
    assert [int(p[0]) for p in pieces] == [0, 12, 60]
    assert sorted(np.concatenate(pieces).tolist()) == list(range(72))


def test_that_cubes_that_share_a_corner_are_one_piece():
    vertices = np.concatenate([cube()[0], cube(1.0, at=(2, 2, 2))[0]])
    welded, inverse = np.unique(vertices, axis=0, return_inverse=True)
    faces = inverse[np.concatenate([CUBE_FACES, CUBE_FACES + 8])].astype(np.int32)
    assert len(welded) == 15
    assert len(components(Mesh(welded, faces, 0, 0.0, "test"))) == 1
