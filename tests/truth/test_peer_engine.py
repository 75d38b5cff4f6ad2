"""A second distance library (coal, test dependency only) as a peer: still tools against every shape, half the poses
aligned (quarter turns, whole millimetres: flush faces, shared edges).

coal's own values were found right to 1.1e-4 in 20 000 poses; PEER allows for that and no more. Where coal says that
the solids are apart, the proven bound may not be above its distance, nor the attained value below it.
"""

import sys

import numpy as np
import pytest

from kinematics.shapes import Box, MeshShape, cone, cylinder
from tests.kinematics.engine.pairs_by_hand import Clear, Contact, Positions, clearance, frusta, mesh_shape
from tests.truth import brute_force
from tests.truth.supports import rotation

if sys.platform == "win32":
    pytest.skip("coal has no wheel for Windows", allow_module_level=True)

import coal

PEER = 2e-4  # mm, what the peer may be off by
WIDTH = 0.01


def size(rng, pose, low, high):
    return float(rng.integers(int(low), int(high))) if pose == "aligned" else float(rng.uniform(low, high))


def tool(rng, pose):
    """A cylinder or a point, with coal's shape for it and the height of that shape's centre over the tip."""
    r, h = size(rng, pose, 1, 20), size(rng, pose, 2, 40)
    if rng.random() < 0.5:
        return frusta((r, r, 0.0, h)), coal.Cylinder(r, h), np.eye(3), h / 2
    # coal's cone has its tip up: turned over it stands on its tip, its centre at half its height
    return frusta((0.0, r, 0.0, h)), coal.Cone(r, h), np.diag([1.0, -1.0, -1.0]), h / 2


def obstacle(rng, pose):
    """A shape on its base, with coal's shape for it and the height of that one's centre over the base."""
    a, b, c = (size(rng, pose, 2, 40) for _ in range(3))
    match int(rng.integers(4)):
        case 0:
            return Box(a, b, c), coal.Box(a, b, c), c / 2
        case 1:
            return cylinder(a, c), coal.Cylinder(a / 2, c), c / 2
        case 2:
            return cone(a, 0.0, c), coal.Cone(a / 2, c), c / 2
        case _:
            vertices, faces = brute_force.prism_mesh(int(rng.integers(3, 13)), a / 2, b / 2, c)
            model = coal.BVHModelOBBRSS()
            model.beginModel(len(faces), len(vertices))
            model.addVertices(vertices)
            model.addTriangles(faces.astype(np.int32))
            model.endModel()
            return mesh_shape(vertices, faces), model, 0.0


def check_pose(rng, pose):
    """One pose; gives how far the two ends are from the peer's distance, or None on contact."""
    part, peer_tool, R_tool, middle = tool(rng, pose)
    shape, peer_obstacle, rise = obstacle(rng, pose)
    R = rotation(rng, pose)
    spread = float(rng.choice([15.0, 40.0, 120.0]))
    p = rng.uniform(-spread, spread, 3)
    if pose == "aligned":
        p = p.round()
    tip = rng.integers(-30, 31, 3).astype(float)
    answer = clearance(part, shape, R, p + tip, Positions(tip[None, :]))
    result = coal.DistanceResult()
    distance = coal.distance(
        peer_tool,
        coal.Transform3s(R_tool, tip + (0.0, 0.0, middle)),
        peer_obstacle,
        coal.Transform3s(R, p + tip + R @ (0.0, 0.0, rise)),
        coal.DistanceRequest(),
        result,
    )
    if distance > WIDTH:
        if isinstance(shape, MeshShape) and isinstance(answer, Contact) and answer.kind == "inside":
            return None  # the peer's meshes are hollow too
        assert isinstance(answer, Clear)
        assert answer.at_least <= distance + PEER
        assert answer.value >= distance - PEER
        assert answer.value - answer.at_least <= WIDTH
        return distance - answer.at_least, answer.value - distance
    if distance < -PEER:
        assert not isinstance(answer, Clear) or answer.at_least <= 0.0
        if isinstance(answer, Contact) and answer.depth is not None:
            assert answer.depth[0] <= -distance + 0.05 * abs(distance) + 0.01
    return None


def check_poses(rng, pose, n):
    apart = [found for _ in range(n) if (found := check_pose(rng, pose)) is not None]
    assert len(apart) > n / 3, "most of these poses should be apart"
    return np.max(apart, axis=0)


@pytest.mark.parametrize("pose", ["any", "aligned"])
def test_that_a_peer_finds_the_same_distances(pose):
    check_poses(np.random.default_rng(61), pose, 150)


@pytest.mark.slow
@pytest.mark.parametrize("pose", ["any", "aligned"])
@pytest.mark.parametrize("seed", range(4))
def test_that_a_peer_finds_the_same_distances_in_2000_poses(pose, seed):
    check_poses(np.random.default_rng(62 + seed), pose, 250)
