"""Values between two processes: what goes in comes out, and a mesh travels once."""

from __future__ import annotations

import numpy as np

from app.view3d.display_meshes import DisplayMesh
from app.window import wire
from app.window.answers import Answer, Found, Stage
from app.window.wire import Receiver, Sender


def mesh(n: int, seed: int = 0) -> DisplayMesh:
    points = np.random.default_rng(seed).random((n, 3))
    return DisplayMesh(points, np.arange(3 * (n // 3), dtype=np.int32).reshape(-1, 3))


def sent(sender: Sender, receiver: Receiver, value: object) -> tuple[object, int]:
    """The value after its journey, and how many bytes went over."""
    data = sender.packed(value)
    receiver.feed(data)
    assert receiver.has_next()
    return receiver.next(), len(data)


def test_that_values_come_in_their_order_however_the_stream_is_cut() -> None:
    sender, receiver = Sender(), Receiver()
    stages = [Answer(n, Stage("x" * n)) for n in (0, 1, 500, 70_000)]
    stream = b"".join(sender.packed(stage) for stage in stages)
    found = []
    for at in range(0, len(stream), 977):
        receiver.feed(stream[at : at + 977])
        while receiver.has_next():
            found.append(receiver.next())
    assert found == stages


def test_that_a_mesh_travels_once_and_comes_out_as_the_same_object() -> None:
    sender, receiver = Sender(), Receiver()
    own, equal = mesh(3000), mesh(3000)
    first, n_first = sent(sender, receiver, Found("view", 1, [own]))
    again, n_again = sent(sender, receiver, Found("view", 2, [equal, own]))
    assert n_first > own.vertices.nbytes
    assert n_again < 500
    assert first.value[0] is again.value[0] is again.value[1]
    assert np.array_equal(first.value[0].vertices, own.vertices)
    assert np.array_equal(first.value[0].faces, own.faces)


def test_that_meshes_that_differ_only_in_what_is_left_out_are_different() -> None:
    sender, receiver = Sender(), Receiver()
    own = mesh(30)
    reduced = DisplayMesh(own.vertices, own.faces, off_by=0.5)
    found, _ = sent(sender, receiver, [own, reduced])
    assert [m.off_by for m in found] == [None, 0.5]


def test_that_both_ends_forget_the_same_meshes(monkeypatch) -> None:
    monkeypatch.setattr(wire, "MOST_MESHES", 5)
    sender, receiver = Sender(), Receiver()
    random = np.random.default_rng(3)
    for _ in range(200):  # any order of old and new ones
        wanted = [mesh(30, int(seed)) for seed in random.integers(0, 9, size=3)]
        found, _ = sent(sender, receiver, wanted)
        assert all(np.array_equal(a.vertices, b.vertices) for a, b in zip(found, wanted, strict=True))
    assert len(sender._meshes.by_name) == len(receiver._meshes.by_name) == 5
    assert list(sender._meshes.by_name) == list(receiver._meshes.by_name)
    assert len(sender._names) <= 5 + 3  # what is known by identity is kept alive, and let go with the mesh


def test_that_the_bytes_of_meshes_are_bounded(monkeypatch) -> None:
    monkeypatch.setattr(wire, "MOST_BYTES", 100_000)
    sender, receiver = Sender(), Receiver()
    for seed in range(20):
        sent(sender, receiver, mesh(3000, seed))
    assert sum(wire._size(m) for m in receiver._meshes.by_name.values()) <= 100_000 + wire._size(mesh(3000))
