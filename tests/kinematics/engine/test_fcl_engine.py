"""The distance library: what we rely on, held against brute force; what we must not rely on is never called."""

import ast
from pathlib import Path

import numpy as np
import pytest

from kinematics.engine import fcl_engine, patches
from kinematics.engine.fcl_engine import MeshTree, surface_distance, surfaces_cross
from kinematics.errors import EngineError
from kinematics.pose import Pose
from kinematics.solids import Triangles
from tests.benchmarks.wavy_block import wavy_block
from tests.truth import brute_force
from tests.truth.supports import rotation

ROOT = Path(__file__).parents[3]
ENGINE = ROOT / "kinematics" / "engine" / "fcl_engine.py"

# The calls that were found right in aligned poses too: two meshes, a fresh request and result each time.
TRUSTED = {
    "BVHModel", "CollisionObject", "Transform", "distance", "DistanceRequest", "DistanceResult", "collide",
    "CollisionRequest", "CollisionResult",
}  # fmt: skip


@pytest.fixture(params=["whole", "in patches"])
def _size(request, monkeypatch):
    """Every mesh as one tree, and every mesh as a large one: in patches, of whose trees few are kept."""
    if request.param == "in patches":
        monkeypatch.setattr(fcl_engine, "WHOLE", 0)
        monkeypatch.setattr(patches, "PATCH", 3)
        monkeypatch.setattr(fcl_engine, "KEPT", 2)


def tree_of(mesh):
    return MeshTree(Triangles(mesh[0], mesh[1].astype(np.int32)))


def moved(mesh, R, p):
    return mesh[0] @ R.T + p, mesh[1]


def some_mesh(rng):
    """A box, a prism, a pyramid, or an L of two boxes: sizes in whole mm, so that aligned poses give flush faces."""
    size = rng.integers(1, 13, 3).astype(float)
    match rng.integers(4):
        case 0:
            return brute_force.box_mesh(size, -size / 2)
        case 1:
            return brute_force.prism_mesh(4 * int(rng.integers(1, 4)), size[0], size[1], size[2])
        case 2:
            return brute_force.prism_mesh(5, size[0], 0.0, size[2])
        case _:
            return brute_force.joined(
                brute_force.box_mesh(size), brute_force.box_mesh((2.0, 3.0, 8.0), (size[0], 0.0, 0.0))
            )


def check_against_brute_force(rng, kind, n):
    """Value within 1e-9, witness points on both surfaces, contact exactly where the surfaces cross or touch."""
    n_apart = 0
    for _ in range(n):
        first, second = some_mesh(rng), some_mesh(rng)
        R1, R2 = rotation(rng, kind), rotation(rng, kind)
        spread = rng.choice([6.0, 14.0, 60.0])
        offset = rng.uniform(-spread, spread, 3)
        if kind == "aligned":
            offset = offset.round()  # flush faces, shared edges and corners
        p1 = rng.integers(-20, 21, 3).astype(float)
        a, b = moved(first, R1, p1), moved(second, R2, p1 + offset)
        expected, _, _ = brute_force.surface_distance(a, b)
        posed_a, posed_b = (
            tree_of(first).posed(Pose("W", "G", R1, p1)),
            tree_of(second).posed(Pose("W", "G", R2, p1 + offset)),
        )
        found = surface_distance(posed_a, posed_b)
        assert found.distance == pytest.approx(expected, abs=1e-9)
        if expected > 1e-9:
            n_apart += 1
            for point, (vertices, faces) in ((found.p_a, a), (found.p_b, b)):
                corners = vertices[faces]
                on = brute_force.nearest_on_triangles(np.broadcast_to(point, (len(faces), 3)), *corners.swapaxes(0, 1))
                assert np.linalg.norm(on - point, axis=1).min() < 1e-9
            assert np.linalg.norm(found.p_a - found.p_b) == pytest.approx(expected, abs=1e-9)
            assert not surfaces_cross(posed_a, posed_b)
        elif expected == 0.0 and kind == "any":
            assert surfaces_cross(posed_a, posed_b)
    assert n_apart > n / 4, "most of these poses should be apart, or the test says little"


@pytest.mark.parametrize(("kind", "n"), [("any", 213), ("aligned", 214)])
@pytest.mark.usefixtures("_size")
def test_that_the_distance_of_two_meshes_is_that_of_brute_force(kind, n):
    check_against_brute_force(np.random.default_rng(427), kind, n)


@pytest.mark.slow
@pytest.mark.parametrize(("kind", "n"), [("any", 600), ("aligned", 1400)])
@pytest.mark.usefixtures("_size")
def test_that_the_distance_of_many_more_meshes_is_that_of_brute_force(kind, n):
    check_against_brute_force(np.random.default_rng(2800), kind, n)


@pytest.mark.parametrize("gap", [0.0, 1e-9, 1e-6, 1e-3, 1.0, 1e3])
@pytest.mark.parametrize("shift", [(0.0, 0.0), (5.0, 0.0), (10.0, 10.0), (3.0, -7.0)])
@pytest.mark.usefixtures("_size")
def test_that_flush_boxes_are_apart_by_the_gap_between_them(gap, shift):
    tree = tree_of(brute_force.box_mesh((10.0, 10.0, 10.0)))
    above = tree.posed(Pose("W", "G", np.eye(3), np.array([*shift, 10.0 + gap])))
    assert surface_distance(tree.at_origin(), above).distance == pytest.approx(gap, abs=1e-12 * max(1.0, gap))


def test_that_the_aligned_poses_which_fool_shapes_do_not_fool_meshes():
    """Two poses in which the library overestimates with a cone and a cylinder as shapes; as meshes they are right.

    The cone (r 12, h 40, its axis along -Y) ends in its tip 28.2843 from the box; the cylinder (r 12) is 13.0 off.
    """
    box = tree_of(brute_force.box_mesh((50.0, 40.0, 30.0), (-25.0, -20.0, -15.0))).at_origin()
    cone = brute_force.prism_mesh(400, 12.0, 0.0, 40.0, (0.0, 0.0, -20.0))
    R = np.array([[0.0, -1.0, 0.0], [0.0, 0.0, 1.0], [-1.0, 0.0, 0.0]])
    posed = tree_of(cone).posed(Pose("W", "G", R, np.array([45.0, -60.0, 0.0])))
    corners = cone[0] @ R.T + (45.0, -60.0, 0.0)
    expected, _, _ = brute_force.surface_distance(
        (corners, cone[1]), brute_force.box_mesh((50.0, 40.0, 30.0), (-25.0, -20.0, -15.0))
    )
    assert surface_distance(posed, box).distance == pytest.approx(expected, abs=1e-9)

    cylinder = tree_of(brute_force.prism_mesh(400, 12.0, 12.0, 40.0, (0.0, 0.0, -20.0)))
    posed = cylinder.posed(Pose("W", "G", np.eye(3), np.array([-50.0, 20.0, 25.0])))
    assert surface_distance(posed, box).distance == pytest.approx(13.0, abs=1e-9)


@pytest.mark.usefixtures("_size")
def test_that_a_degenerate_triangle_changes_no_distance():
    vertices, faces = brute_force.box_mesh((10.0, 10.0, 10.0))
    flat = np.vstack([faces, [(0, 0, 1), (2, 2, 2)]])
    other = tree_of(brute_force.box_mesh((4.0, 4.0, 4.0))).posed(Pose("W", "G", np.eye(3), np.array([3.0, 3.0, 12.5])))
    assert surface_distance(tree_of((vertices, flat)).at_origin(), other).distance == pytest.approx(2.5, abs=1e-12)


@pytest.mark.usefixtures("_size")
def test_that_an_answer_is_not_carried_over_from_the_one_before():
    tree = tree_of(brute_force.box_mesh((10.0, 10.0, 10.0)))
    near, far = (tree.posed(Pose("W", "G", np.eye(3), np.array([0.0, 0.0, z]))) for z in (11.0, 30.0))
    assert surface_distance(tree.at_origin(), near).distance == pytest.approx(1.0)
    assert surface_distance(tree.at_origin(), far).distance == pytest.approx(20.0)


def wavy(n):
    corners = wavy_block(n).astype(float)
    return Triangles(corners.reshape(-1, 3), np.arange(3 * len(corners), dtype=np.int32).reshape(-1, 3))


@pytest.mark.parametrize("seed", range(6))
def test_that_a_large_mesh_in_patches_is_as_far_as_in_one_tree(seed, monkeypatch):
    """60 000 triangles: a block with a wavy top, turned, beside a box and beside itself."""
    rng = np.random.default_rng(seed)
    triangles = wavy(60_000)
    in_patches = MeshTree(triangles)
    monkeypatch.setattr(fcl_engine, "WHOLE", len(triangles.faces))
    whole = MeshTree(triangles)
    box = tree_of(brute_force.box_mesh((20.0, 30.0, 8.0)))
    for kind in ("any", "aligned"):
        X_WG = Pose("W", "G", rotation(rng, kind), rng.uniform(-30, 30, 3))
        X_WB = Pose("W", "G", rotation(rng, kind), rng.uniform(-30, 30, 3) + (90.0, 40.0, 60.0))
        for other in (box, in_patches):
            found = surface_distance(in_patches.posed(X_WG), other.posed(X_WB))
            beside = whole if other is in_patches else box
            expected = surface_distance(whole.posed(X_WG), beside.posed(X_WB))
            assert found.distance == pytest.approx(expected.distance, abs=1e-9)
            assert surfaces_cross(in_patches.posed(X_WG), other.posed(X_WB)) == (expected.distance == 0.0)
        inside = Pose("W", "G", X_WG.R_AB, X_WG.p_AB + X_WG.R_AB @ (0.0, 0.0, 35.0))
        assert surfaces_cross(in_patches.posed(X_WG), box.posed(inside))
        assert surface_distance(box.posed(inside), in_patches.posed(X_WG)).distance == 0.0


def test_that_of_a_large_mesh_only_what_may_be_near_gets_trees(monkeypatch):
    built = []
    model = fcl_engine._model
    monkeypatch.setattr(
        fcl_engine, "_model", lambda vertices, faces: (built.append(len(faces)), model(vertices, faces))[1]
    )
    large = MeshTree(wavy(60_000)).at_origin()
    pin = tree_of(brute_force.box_mesh((1.0, 1.0, 5.0), (20.0, 20.0, 43.0))).at_origin()
    built.clear()
    first = surface_distance(pin, large).distance
    assert 0 < sum(built) < 60_000 / 5
    built.clear()
    assert surface_distance(pin, large).distance == first
    assert not built, "they are kept"


@pytest.mark.parametrize(
    ("vertices", "faces", "says"),
    [
        (np.zeros((0, 3)), np.zeros((0, 3)), "without triangles"),
        (np.eye(3), np.zeros((0, 3)), "without triangles"),
        (np.eye(3), np.array([[0, 1, 3]]), "missing corners"),
        (np.eye(3), np.array([[0, -1, 2]]), "missing corners"),
        (np.array([[0, 0, 0], [1, 0, 0], [0, np.nan, 0]], dtype=float), np.array([[0, 1, 2]]), "no numbers"),
        (np.array([[0, 0, 0], [1, 0, 0], [0, np.inf, 0]], dtype=float), np.array([[0, 1, 2]]), "no numbers"),
    ],
)
def test_that_a_mesh_which_would_crash_the_library_is_refused(vertices, faces, says):
    with pytest.raises(EngineError, match=says):
        MeshTree(Triangles(vertices, faces.astype(np.int32)))


def names_of_fcl(source):
    return {
        node.attr
        for node in ast.walk(ast.parse(source))
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name) and node.value.id == "fcl"
    }


def imports_fcl(source):
    for node in ast.walk(ast.parse(source)):
        names = [a.name for a in node.names] if isinstance(node, ast.Import) else []
        names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
        if any(name.partition(".")[0] == "fcl" for name in names):
            return True
    return False


def test_that_only_trusted_calls_of_the_distance_library_are_made():
    used = names_of_fcl(ENGINE.read_text())
    assert used - TRUSTED == set()
    assert {"distance", "collide"} <= used, "this test looks at the wrong file or at the wrong name"


def test_that_an_untrusted_call_would_be_found():
    assert names_of_fcl("import fcl\nfcl.distance(fcl.Cylinder(1, 2), x)") - TRUSTED == {"Cylinder"}


def test_that_one_file_alone_knows_the_distance_library():
    files = [f for p in ("kinematics", "app") for f in (ROOT / p).rglob("*.py") if imports_fcl(f.read_text())]
    assert files == [ENGINE]


def test_that_results_are_made_anew_for_every_call():
    """A result that is kept between calls keeps its old minimum: none may live outside a function."""
    tree = ast.parse(ENGINE.read_text())
    inside = {
        id(node) for function in ast.walk(tree) if isinstance(function, ast.FunctionDef) for node in ast.walk(function)
    }
    for node in ast.walk(tree):
        if isinstance(node, ast.Attribute) and node.attr in {"DistanceResult", "CollisionResult"}:
            assert id(node) in inside
