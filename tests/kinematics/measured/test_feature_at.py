"""Features measured on meshes whose features are known because the test made them, as STEP and as STL.

The STEP text comes from tests/truth/step_plate.py and is triangulated by OpenCASCADE (through cascadio); the STL
solids are made by manifold3d's booleans. The sizes of featuretype.STEP are those of its own STEP text.
"""

from __future__ import annotations

import os
import re
from pathlib import Path

import manifold3d
import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from kinematics.measured.found import Declined, FoundHole, FoundPocket, FoundSlot
from kinematics.measured.pointed import feature_at
from kinematics.measured.surface import Surface
from kinematics.meshes import load_mesh
from tests.truth.step_plate import circle, rectangle, step_plate

WITHIN = 0.02  # mm
HEIGHT = 20.0


def solid(*cutters):
    """A block 100 x 60 x 20 on the origin without the cutters."""
    block = manifold3d.Manifold.cube((100.0, 60.0, HEIGHT))
    for cutter in cutters:
        block = block - cutter
    assert block.status() == manifold3d.Error.NoError
    return block


def mesh_of(block, turn=None, shift=(0.0, 0.0, 0.0)):
    made = block.to_mesh64()
    vertices = np.array(made.vert_properties)[:, :3]
    turn = turn or Rotation.identity()
    return Surface(turn.apply(vertices) + shift, np.array(made.tri_verts))


def turned_hole(rows, at, n=64):
    """A cutter turned from (r, height above the block's top) rows, its axis through `at`."""
    ring = manifold3d.CrossSection([[*map(tuple, rows)]]).revolve(n)
    return ring.translate((*at, HEIGHT))


def plain_hole(at, d, depth, n=64):
    return manifold3d.Manifold.cylinder(depth + 5.0, d / 2, d / 2, n).translate((*at, HEIGHT - depth))


def pocket(at, size, depth, corner, n=64):
    inner = manifold3d.CrossSection.square((size[0] - 2 * corner, size[1] - 2 * corner), True)
    if corner:
        inner = inner.offset(corner, manifold3d.JoinType.Round, circular_segments=n)
    return inner.extrude(depth + 5.0).translate((*at, HEIGHT - depth))


def face_at(surface, point):
    """The facet whose centre is nearest to a point on its plane."""
    centres = surface.vertices[surface.faces].mean(axis=1)
    return int(np.argmin(np.linalg.norm(centres - point, axis=1)))


def walls_of(surface, at, turn=None):
    """Facets whose corners are all near a round wall of any size about `at`."""
    return face_at(surface, at if turn is None else turn.apply(at))


def check_hole(found, *, at, direction, d, depth, bottom):
    assert isinstance(found, FoundHole), found
    assert found.at == pytest.approx(at, abs=WITHIN)
    assert found.direction == pytest.approx(direction, abs=1e-4)
    assert found.diameter == pytest.approx(d, abs=WITHIN)
    assert found.depth == pytest.approx(depth, abs=WITHIN)
    assert found.bottom == bottom


POSES = [
    Rotation.identity(),
    Rotation.from_euler("x", 90, degrees=True),
    Rotation.from_euler("zyx", (33, -71, 12), True),
]


@pytest.mark.parametrize("turn", POSES)
@pytest.mark.parametrize("n", [16, 64, 200])
@pytest.mark.parametrize(("d", "depth"), [(6.0, 12.5), (1.0, 4.0), (33.0, 3.0)])
def test_that_a_flat_hole_is_measured_from_any_facet_of_its_wall_and_floor(turn, n, d, depth):
    surface = mesh_of(solid(plain_hole((40.0, 25.0), d, depth, n)), turn, (3.0, -4.0, 5.0))
    p = (turn.inv().apply(surface.vertices - (3.0, -4.0, 5.0)))[surface.faces]
    radii = np.hypot(p[:, :, 0] - 40.0, p[:, :, 1] - 25.0)
    in_hole = np.flatnonzero((radii < d / 2 + 1e-6).all(axis=1))
    assert len(in_hole) >= 3 * n - 4
    for face in np.random.default_rng(n).choice(in_hole, 8, replace=False):
        check_hole(
            feature_at(surface, int(face)),
            at=turn.apply((40.0, 25.0, HEIGHT)) + (3.0, -4.0, 5.0),
            direction=turn.apply((0.0, 0.0, 1.0)),
            d=d,
            depth=depth,
            bottom="flat",
        )


@pytest.mark.parametrize("turn", POSES)
def test_that_a_drilled_hole_is_deep_to_the_tip_of_its_point(turn):
    r, half = 3.0, np.tan(np.radians(59.0))
    tip = -10.0 - r / half
    surface = mesh_of(solid(turned_hole([(0, tip), (r, -10.0), (r, 5.0), (0, 5.0)], (50.0, 30.0))), turn)
    found = feature_at(surface, walls_of(surface, (50.0 + r, 30.0, HEIGHT - 5.0), turn))
    top = turn.apply((50.0, 30.0, HEIGHT))
    check_hole(found, at=top, direction=turn.apply((0, 0, 1)), d=6.0, depth=-tip, bottom="point")
    assert found.point_deg == pytest.approx(118.0, abs=0.1)


def test_that_a_chamfered_hole_is_entered_at_the_chamfers_outer_rim():
    surface = mesh_of(solid(turned_hole([(0, -9), (3, -9), (3, -1), (5, 1), (0, 1)], (50.0, 30.0))))
    found = feature_at(surface, face_at(surface, (53.0, 30.0, HEIGHT - 6.0)))
    check_hole(found, at=(50.0, 30.0, HEIGHT), direction=(0, 0, 1), d=6.0, depth=9.0, bottom="flat")
    assert found.notes == ("chamfered to 8.00",)


def test_that_a_hole_through_is_as_deep_as_the_plate_is_thick():
    surface = mesh_of(solid(plain_hole((30.0, 30.0), 8.0, HEIGHT + 2.0)))
    found = feature_at(surface, face_at(surface, (34.0, 30.0, 10.0)))
    check_hole(found, at=(30.0, 30.0, HEIGHT), direction=(0, 0, 1), d=8.0, depth=HEIGHT, bottom="through")


def test_that_a_counterbore_ends_at_its_step():
    surface = mesh_of(solid(plain_hole((30.0, 30.0), 11.0, 6.0), plain_hole((30.0, 30.0), 6.6, HEIGHT + 2.0)))
    wide = feature_at(surface, face_at(surface, (35.5, 30.0, HEIGHT - 3.0)))
    narrow = feature_at(surface, face_at(surface, (33.3, 30.0, 7.0)))
    check_hole(wide, at=(30.0, 30.0, HEIGHT), direction=(0, 0, 1), d=11.0, depth=6.0, bottom="step")
    check_hole(narrow, at=(30.0, 30.0, HEIGHT - 6.0), direction=(0, 0, 1), d=6.6, depth=HEIGHT - 6.0, bottom="through")


def test_that_a_ball_ended_hole_is_deep_to_its_lowest_point():
    arc = [(4 * np.sin(a), -8 - 4 * np.cos(a)) for a in np.linspace(0, np.pi / 2, 40)]
    surface = mesh_of(solid(turned_hole([*arc, (4, 5), (0, 5)], (50.0, 30.0), 96)))
    found = feature_at(surface, face_at(surface, (54.0, 30.0, HEIGHT - 4.0)))
    check_hole(found, at=(50.0, 30.0, HEIGHT), direction=(0, 0, 1), d=8.0, depth=12.0, bottom="round")


@pytest.mark.parametrize("turn", POSES)
@pytest.mark.parametrize(("size", "corner"), [((40.0, 22.0), 3.0), ((12.0, 12.0), 0.0), ((30.0, 9.0), 4.0)])
def test_that_a_pocket_is_measured_from_floor_and_walls(turn, size, corner):
    surface = mesh_of(solid(pocket((48.0, 31.0), size, 7.5, corner)), turn)
    for at in (
        (48.0, 31.0, HEIGHT - 7.5),
        (48.0, 31.0 + size[1] / 2, HEIGHT - 3.0),
        (48.0 - size[0] / 2, 31.0, HEIGHT - 3.0),
    ):
        found = feature_at(surface, face_at(surface, turn.apply(at)))
        assert isinstance(found, FoundPocket), found
        assert found.at == pytest.approx(turn.apply((48.0, 31.0, HEIGHT)), abs=WITHIN)
        assert found.direction == pytest.approx(turn.apply((0, 0, 1)), abs=1e-4)
        assert sorted(found.size) == pytest.approx(sorted(size), abs=WITHIN)
        if size[0] != size[1]:
            assert abs(float(np.dot(found.along, turn.apply((1, 0, 0))))) == pytest.approx(1.0, abs=1e-6)
        assert found.depth == pytest.approx(7.5, abs=WITHIN)
        assert found.corner_radius == pytest.approx(corner, abs=WITHIN)
        assert not found.is_through


def test_that_a_pocket_with_half_round_ends_is_a_slot():
    surface = mesh_of(solid(pocket((48.0, 31.0), (30.0, 8.0), 5.0, 4.0 - 1e-9)))
    found = feature_at(surface, face_at(surface, (48.0, 35.0, HEIGHT - 2.0)))
    assert isinstance(found, FoundSlot), found
    assert found.width == pytest.approx(8.0, abs=WITHIN)
    assert found.depth == pytest.approx(5.0, abs=WITHIN)
    ends = sorted((found.start, found.end))
    assert ends[0] == pytest.approx((37.0, 31.0, HEIGHT), abs=WITHIN)
    assert ends[1] == pytest.approx((59.0, 31.0, HEIGHT), abs=WITHIN)


def test_that_a_pocket_through_says_so():
    surface = mesh_of(solid(pocket((48.0, 31.0), (40.0, 22.0), HEIGHT + 2.0, 3.0)))
    found = feature_at(surface, face_at(surface, (48.0, 42.0, 10.0)))
    assert isinstance(found, FoundPocket)
    assert found.is_through
    assert found.depth == pytest.approx(HEIGHT, abs=WITHIN)


BOSS = manifold3d.Manifold.cylinder(10.0, 8.0, 8.0, 64).translate((50.0, 30.0, HEIGHT - 10.0))
DECLINED = {
    "the outside of a block": (solid(), (50.0, 0.0, 10.0), "no wall stands around it"),
    "a boss": (solid(pocket((50.0, 30.0), (90.0, 50.0), 10.0, 0.0) - BOSS), (58.0, 30.0, 15.0), "no rectangle"),
    "a hexagon": (solid(plain_hole((50.0, 30.0), 10.0, 8.0, 6)), (54.3, 30.0, 16.0), "askew"),
    "an oval": (
        solid(plain_hole((0.0, 0.0), 10.0, 8.0).scale((1.3, 1.0, 1.0)).translate((50.0, 30.0, 0.0))),
        (56.5, 30.0, 16.0),
        "from",
    ),
    "a step": (
        solid(manifold3d.Manifold.cube((50.0, 70.0, 10.0)).translate((60.0, -5.0, 12.0))),
        (80.0, 30.0, 12.0),
        "open on a side",
    ),
    "a tapered pocket": (
        solid(
            manifold3d.CrossSection.square((30.0, 20.0), True)
            .extrude(8.0, scale_top=(1.2, 1.2))
            .translate((50, 30, 12.0))
        ),
        (50.0, 30.0, 12.0),
        "no wall stands around it",
    ),
}


@pytest.mark.parametrize("name", DECLINED)
def test_that_what_fits_nothing_is_declined_with_its_reason(name):
    block, point, reason = DECLINED[name]
    surface = mesh_of(block)
    found = feature_at(surface, face_at(surface, point))
    assert isinstance(found, Declined), found
    assert reason in found.why


@pytest.fixture(scope="module")
def plate(tmp_path_factory):
    """A hole d7 x 11 and a pocket 34 x 18 x 6 with corners of 4, in a STEP file."""
    openings = [(circle((20.0, 30.0), 3.5), 11.0), (rectangle((65.0, 30.0), (34.0, 18.0), 4.0), 6.0)]
    path = tmp_path_factory.mktemp("step") / "plate.step"
    path.write_text(step_plate((100.0, 60.0, HEIGHT), openings))
    mesh = load_mesh(path, units=None)
    assert mesh.is_closed
    return Surface(mesh.vertices, mesh.faces)


def test_that_a_hole_of_a_step_file_is_measured(plate):
    found = feature_at(plate, face_at(plate, (23.5, 30.0, 14.0)))
    check_hole(found, at=(20.0, 30.0, HEIGHT), direction=(0, 0, 1), d=7.0, depth=11.0, bottom="flat")


def test_that_a_pocket_of_a_step_file_is_measured(plate):
    found = feature_at(plate, face_at(plate, (65.0, 30.0, 14.0)))
    assert isinstance(found, FoundPocket), found
    assert found.at == pytest.approx((65.0, 30.0, HEIGHT), abs=WITHIN)
    assert found.size == pytest.approx((34.0, 18.0), abs=WITHIN)
    assert (found.depth, found.corner_radius) == pytest.approx((6.0, 4.0), abs=WITHIN)


@pytest.mark.parametrize("suffix", ["STEP", "STL"])
def test_that_the_holes_of_a_real_part_have_radii_that_its_step_text_gives(suffix):
    parts = Path(os.environ["TIGHTSIDE_PARTS"])
    text = (parts / "featuretype.STEP").read_text()
    radii = {
        float(r) for r in re.findall(r"CYLINDRICAL_SURFACE\s*\(\s*'[^']*'\s*,\s*#\d+\s*,\s*([\d.E+-]+)\s*\)", text)
    }
    scale = 25.4 if "INCH" in text else 1.0
    given = np.array(sorted(radii)) * scale
    mesh = load_mesh(parts / f"featuretype.{suffix}", units=None if suffix == "STEP" else "inch")
    surface = Surface(mesh.vertices, mesh.faces)
    found = [feature_at(surface, f) for f in range(0, len(mesh.faces), max(1, len(mesh.faces) // 300))]
    holes = [hole for hole in found if isinstance(hole, FoundHole)]
    assert len({tuple(np.round(h.at, 1)) for h in holes}) >= 8
    for hole in holes:
        assert np.abs(given - hole.diameter / 2).min() < WITHIN / 2
