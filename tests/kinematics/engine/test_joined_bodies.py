"""Bodies joined to one set of arrays: every body's triangles are found again at its place, whatever came and went."""

import gc
import threading

import numpy as np
import pytest

from kinematics.engine.exact_pair import body_tree
from kinematics.engine.joined_bodies import JoinedBodies
from kinematics.shapes import Box, cylinder
from kinematics.solids import pieces
from tests.one_swing import block, mesh_of


def boxes(*sizes):
    return [body_tree(pieces(Box(s, s, s))) for s in sizes]


def corners_at(joined, place):
    """Corners (n, 3, 3) of a body's faces as the arrays have them."""
    return joined.vertices[joined.faces[place.face : place.face + place.n_faces]]


def check(joined, places, bodies):
    for body, place in zip(bodies, places, strict=True):
        tree = body.tree
        assert (corners_at(joined, place) == tree.vertices[tree.faces]).all()
        rows = slice(place.root, place.root + len(tree.boxes))
        assert (joined.boxes[rows] == tree.boxes).all()
        assert (joined.counts[rows] == tree.count).all()
        is_leaf = tree.count > 0
        assert (joined.first[rows][is_leaf] == tree.first[is_leaf] + place.face).all()
        assert (joined.first[rows][~is_leaf] == tree.first[~is_leaf] + place.root).all()


def test_that_bodies_put_in_one_after_another_are_all_found():
    kept, bodies = JoinedBodies(), [*boxes(1, 2, 3), body_tree(pieces(cylinder(5, 9)))]
    for k in range(1, len(bodies) + 1):
        check(*kept.of(bodies[:k]), bodies[:k])
    check(*kept.of(bodies[::-1]), bodies[::-1])


def test_that_a_body_asked_for_again_has_the_same_rows():
    kept, bodies = JoinedBodies(), boxes(1, 2, 3)
    before, places = kept.of(bodies)
    after, again = kept.of([bodies[2]])
    assert again == [places[2]]
    assert np.shares_memory(before.vertices, after.vertices)


def test_that_arrays_that_were_handed_out_do_not_change():
    kept, first = JoinedBodies(), boxes(1, 2)
    joined, places = kept.of(first)
    before = [array.copy() for array in joined]
    for size in range(3, 40):
        kept.of(boxes(size))
    assert all((a == b).all() for a, b in zip(joined, before, strict=True))
    check(joined, places, first)


def test_that_bodies_that_are_gone_make_room():
    """A hundred blocks that nobody holds on to, one after another: never more than a few of them are kept."""
    kept, stays = JoinedBodies(), boxes(1)
    for size in range(2, 102):
        joined, _ = kept.of([*stays, *boxes(size)])
        assert len(joined.faces) <= 4 * 12
    gc.collect()
    check(*kept.of(stays), stays)


def test_that_a_body_that_takes_the_identity_of_one_that_is_gone_is_put_in_anew():
    kept = JoinedBodies()
    for size in range(1, 60):
        bodies = boxes(size)
        check(*kept.of(bodies), bodies)


def test_that_vertices_within_stand_row_for_row_behind_those_around():
    body = body_tree(pieces(cylinder(10, 20)))
    joined, (place,) = JoinedBodies().of([body])
    inside = np.concatenate([piece.inner.vertices for piece in body.pieces])
    faces = joined.faces[place.face : place.face + place.n_faces] + place.to_inner
    assert place.to_inner > 0
    assert (joined.vertices[faces] == inside[body.tree.faces]).all()


def test_that_a_mesh_is_its_own_inside():
    _, (place,) = JoinedBodies().of([body_tree(pieces(mesh_of(*block((4, 5, 6), (0, 0, 0)))))])
    assert place.to_inner == 0


@pytest.mark.parametrize("n_threads", [4])
def test_that_threads_share_it(n_threads):
    kept, failed = JoinedBodies(), []

    def ask(offset):
        try:
            for size in range(1, 40):
                bodies = boxes(size + offset, size)
                check(*kept.of(bodies), bodies)
        except AssertionError as error:
            failed.append(error)

    threads = [threading.Thread(target=ask, args=(k,)) for k in range(n_threads)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert not failed
