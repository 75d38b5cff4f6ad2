"""The tree over a body's triangles: whole, tight and shallow for any triangles, checked against all of them."""

import numpy as np
import pytest

from kinematics.engine import triangle_tree as module
from kinematics.engine.triangle_tree import LEAF, MOST_DEPTH, triangle_tree
from kinematics.solids import Triangles
from tests.truth import brute_force


def soup(rng, n, kind):
    """Corners (n, 3, 3) of triangles."""
    match kind:
        case "any":
            return rng.uniform(-100, 100, (n, 1, 3)) + rng.normal(size=(n, 3, 3))
        case "grid":
            return rng.integers(-5, 6, (n, 3, 3)).astype(float)
        case "one place":
            return np.tile(rng.normal(size=(1, 3, 3)), (n, 1, 1))
        case "one middle":  # boxes of every size about one point
            return np.array([[(-s, -s, -s), (s, s, s), (0, s, -s)] for s in rng.uniform(1, 50, n)])
        case "points":
            return np.repeat(rng.uniform(-9, 9, (n, 1, 3)), 3, axis=1)
        case "on a line":
            return rng.uniform(-9, 9, (n, 3, 1)) * np.array([3.0, 4.0, 5.0])
        case "level":
            return rng.uniform(-9, 9, (n, 3, 3)) * (1.0, 1.0, 0.0)
        case "ever smaller":  # each half of the way to 0: every cut leaves one triangle on one side
            return 2.0 ** -np.arange(n)[:, None, None] * (1e4 + rng.uniform(0, 1e-3, (n, 3, 3)))
        case "hair apart":
            return 1e4 + rng.integers(0, 4, (n, 3, 3)) * 2e-12
        case "subnormal":
            return rng.integers(-3, 4, (n, 3, 3)) * 5e-324
        case "beyond reason":
            return rng.uniform(-1, 1, (n, 3, 3)) * 1e308
        case "long and short":
            return rng.uniform(-1, 1, (n, 3, 3)) * 10.0 ** rng.uniform(-9, 4, (n, 1, 1))
        case _:  # far away
            return 1e4 + rng.uniform(-1, 1, (n, 3, 3))


KINDS = (
    "any", "grid", "one place", "one middle", "points", "on a line", "level", "ever smaller", "hair apart", "subnormal",
    "long and short", "far away", "beyond reason",
)  # fmt: skip


def tree_of(corners):
    vertices, index = np.unique(corners.reshape(-1, 3), axis=0, return_inverse=True)
    faces = index.reshape(-1, 3)
    return triangle_tree(Triangles(vertices, faces)), vertices, faces


def nodes_with_depth(tree):
    """Every node that can be reached from the root, once, with its level."""
    found, waiting = [], [(0, 0)]
    while waiting:
        node, level = waiting.pop()
        found.append((node, level))
        assert len(found) <= len(tree.count), "a node with two parents"
        if tree.count[node] == 0:
            waiting += [(int(tree.first[node]), level + 1), (int(tree.first[node]) + 1, level + 1)]
    return found


def triangles_below(tree, node):
    if tree.count[node] > 0:
        return list(range(tree.first[node], tree.first[node] + tree.count[node]))
    return triangles_below(tree, tree.first[node]) + triangles_below(tree, tree.first[node] + 1)


def check_whole(tree, vertices, faces):
    """Each triangle is in one leaf; each box is exactly the box of what is below it; no walk needs too deep a stack."""
    np.testing.assert_array_equal(tree.vertices, vertices)
    np.testing.assert_array_equal(np.sort(tree.order), np.arange(len(faces)))
    np.testing.assert_array_equal(tree.faces, faces[tree.order])
    nodes = nodes_with_depth(tree)
    assert len(nodes) == len(tree.boxes) == len(tree.first) == len(tree.count)
    assert max(level for _, level in nodes) <= MOST_DEPTH
    corners = vertices[tree.faces]
    in_leaves = []
    for node, _ in nodes:
        below = triangles_below(tree, node)
        assert below
        assert tree.count[node] <= LEAF
        if tree.count[node] > 0:
            in_leaves += below
        np.testing.assert_array_equal(tree.boxes[node, :3], corners[below].min((0, 1)))
        np.testing.assert_array_equal(tree.boxes[node, 3:], corners[below].max((0, 1)))
    assert sorted(in_leaves) == list(range(len(faces)))


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("n", [1, 2, 4, 5, 17, 300])
def test_that_a_tree_holds_every_triangle_once(kind, n):
    check_whole(*tree_of(soup(np.random.default_rng(n), n, kind)))


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.filterwarnings("ignore:overflow")  # of numbers beyond reason; machine code says nothing
def test_that_no_index_leaves_its_array(kind, monkeypatch):
    """The same as plain Python, which looks at every index and refuses numbers that are no integer."""
    monkeypatch.setattr(module, "_halve", module._halve.py_func)
    monkeypatch.setattr(module, "_build", module._build.py_func)
    check_whole(*tree_of(soup(np.random.default_rng(9), 60, kind)))


def test_that_a_tree_keeps_what_it_was_given():
    vertices, faces = brute_force.prism_mesh(40, 8.0, 3.0, 20.0)
    before = vertices.copy(), faces.copy()
    check_whole(triangle_tree(Triangles(vertices, faces)), vertices, faces)
    np.testing.assert_array_equal(vertices, before[0])
    np.testing.assert_array_equal(faces, before[1])


def found_by_walk(tree, low, high):
    """Numbers of the body's triangles whose boxes meet a box, by the tree; and how many nodes were looked at."""
    found, waiting, n = [], [0], 0
    while waiting:
        node = waiting.pop()
        n += 1
        assert len(waiting) <= MOST_DEPTH + 1, "the stack that the kernels have"
        box = tree.boxes[node]
        if (box[:3] > high).any() or (box[3:] < low).any():
            continue
        if tree.count[node] == 0:
            waiting += [tree.first[node], tree.first[node] + 1]
            continue
        for i in range(tree.first[node], tree.first[node] + tree.count[node]):
            corners = tree.vertices[tree.faces[i]]
            if (corners.min(0) <= high).all() and (corners.max(0) >= low).all():
                found.append(int(tree.order[i]))
    return sorted(found), n


@pytest.mark.parametrize("kind", KINDS)
def test_that_a_search_by_the_tree_finds_what_a_search_of_all_finds(kind):
    rng = np.random.default_rng(7)
    corners = soup(rng, 200, kind)
    tree, vertices, _ = tree_of(corners)
    for _ in range(40):
        at = vertices[rng.integers(len(vertices))] + rng.normal(size=3) * rng.choice([0.0, 1e-9, 1.0, 30.0])
        size = rng.choice([0.0, 0.5, 20.0])
        meets = (corners.min(1) <= at + size).all(1) & (corners.max(1) >= at - size).all(1)
        assert found_by_walk(tree, at - size, at + size)[0] == np.flatnonzero(meets).tolist()


def test_that_a_search_of_a_large_body_looks_at_few_nodes():
    rng = np.random.default_rng(8)
    corners = soup(rng, 20_000, "any")
    tree, vertices, _ = tree_of(corners)
    looked_at = [found_by_walk(tree, p - 0.5, p + 0.5)[1] for p in vertices[rng.integers(len(vertices), size=50)]]
    assert np.mean(looked_at) < 200


def test_that_a_body_without_triangles_has_no_tree():
    with pytest.raises(AssertionError, match="surface"):
        triangle_tree(Triangles(np.zeros((0, 3)), np.zeros((0, 3), dtype=np.int64)))
