"""What a prepared scene takes over from one like it: only what is equal by value, and not for ever."""

from __future__ import annotations

import dataclasses
import gc
import weakref
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest

from kinematics import clearance
from kinematics.clearance import check_cuts
from kinematics.machine import HEAD
from kinematics.meshes import Mesh
from kinematics.prepared import Prepared
from kinematics.remembered import GENERATIONS, Remembered
from kinematics.scene import Hole, KeepOff, Lift, Scene, SetupErrors
from kinematics.shapes import Box, MeshShape, Screw, cylinder
from tests.kinematics.mesh_writers import CUBE_F, CUBE_V
from tests.one_cut import body, end_mill, one_cut, plain_machine

MESH = MeshShape(Mesh(CUBE_V, CUBE_F.astype(np.int32), 0, 0.0, "cube"))
SCREW = Screw("ISO 4762", "M6", 10.0, 6.0)


def scene(
    *, height: float = 30.0, x: float = 40.0, stick_out: float = 40.0, depth: float = 5.0, mesh: MeshShape = MESH
) -> Scene:
    """A hole beside a box, a screw and a mesh, under a head with a box beside the spindle."""
    head = body("lamp", Box(30.0, 30.0, 20.0), (80.0, 0.0, 10.0), on=HEAD)
    part = (body("part", Box(30.0, 30.0, 20.0), (0.0, 0.0, -20.0), on="P"),)
    around = (
        body("wall", Box(10.0, 40.0, height), (x, 0.0, -20.0)),
        body("screw", SCREW, (-30.0, 0.0, 0.0)),
        body("cube", mesh, (-20.0, 30.0, -40.0)),
    )
    tool = end_mill(10.0, stick_out=stick_out)
    return one_cut(Hole((0.0, 0.0, 0.0), depth), tool, *around, part=part, machine=plain_machine(bodies=(head,)))


def told(prepared: Prepared) -> list[object]:
    """What a check says, in plain values."""
    return [plain(report) for report in check_cuts(prepared.scene, prepared)]


def plain(value: object) -> object:
    if isinstance(value, np.ndarray):
        return value.tolist()
    if isinstance(value, tuple | list):
        return [plain(item) for item in value]
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {field.name: plain(getattr(value, field.name)) for field in dataclasses.fields(value)}
    return value


def copied(shape: MeshShape) -> MeshShape:
    return MeshShape(dataclasses.replace(shape.mesh, vertices=shape.mesh.vertices.copy()))


def some_turns() -> list[Scene]:
    return [
        scene(),
        scene(height=35.0),
        scene(height=35.0, stick_out=42.0),
        scene(x=12.0),
        scene(),
        scene(depth=9.0),
        scene(mesh=copied(MESH)),
        scene(x=11.0, stick_out=30.0),
    ]


def test_that_a_check_says_the_same_whatever_was_taken_over():
    prepared = None
    for one in some_turns():
        prepared = Prepared(one, like=prepared)
        assert told(prepared) == told(Prepared(one))


@pytest.mark.parametrize(
    "change",
    [
        {"setup_errors": SetupErrors(location=0.4)},
        {"setup_errors": SetupErrors(stick_out=0.1)},
        {"keep_off": KeepOff(cutter=7.0)},
        {"lift": Lift("gauge_z", 900.0)},  # beyond the travel of Z
    ],
)
def test_that_no_report_is_taken_over_into_other_surroundings(change: dict[str, object]):
    base = scene()  # one machine and equal bodies throughout: only what is named differs
    old = Prepared(base)
    before = told(old)
    other = dataclasses.replace(base, **change)
    assert told(Prepared(other, like=old)) == told(Prepared(other)) != before
    assert told(Prepared(base, like=old)) == before


def test_that_an_equal_question_is_answered_once(monkeypatch: pytest.MonkeyPatch):
    base = scene()
    old = Prepared(base)
    told(old)
    monkeypatch.setattr(clearance, "_CutCheck", None)  # nobody is asked again
    assert told(Prepared(dataclasses.replace(base, title="other"), like=old)) == told(old)


def test_that_equal_shapes_share_what_was_made_of_them():
    old = Prepared(scene())
    early, new = Prepared(scene(height=35.0), like=old), None
    for shape, equal in ((SCREW, Screw("ISO 4762", "M6", 10.0, 6.0)), (MESH, MeshShape(MESH.mesh))):
        made = old.pieces_of(shape), old.tree_of(shape)
        new = Prepared(scene(height=35.0), like=old)
        for later in (early, new):  # also where the old one made it after the later one was there
            assert later.pieces_of(equal) is made[0]
            assert later.tree_of(equal) is made[1]
    assert new is not None
    assert new.pieces_of(Box(10.0, 40.0, 35.0)) is not old.pieces_of(Box(10.0, 40.0, 30.0))
    assert new.pieces_of(copied(MESH)) is not old.pieces_of(MESH)
    assert new.pieces_of(Screw("ISO 4762", "M6", 10.0, 6.5))[0] is not old.pieces_of(SCREW)[0]
    made_first = old.trees.of(old.pieces_of(MESH)[0].outer)
    assert new.trees.of(new.pieces_of(MESH)[0].outer) is made_first


def test_that_parts_are_taken_over_only_under_the_same_tool_and_head():
    old = Prepared(scene())
    (tool,) = old.scene.tools
    parts = old.parts(old.assembly_of(tool))
    same = Prepared(scene(height=35.0), like=old)
    assert same.parts(same.assembly_of(same.scene.tools[0])) is parts
    longer = Prepared(scene(stick_out=41.0), like=old)
    assert longer.parts(longer.assembly_of(longer.scene.tools[0])) is not parts

    head = body("lamp", Box(30.0, 30.0, 20.0), (81.0, 0.0, 10.0), on=HEAD)
    moved = Prepared(dataclasses.replace(old.scene, machine=plain_machine(bodies=(head,))), like=old)
    (lamp,) = [part for part in moved.parts(moved.assembly_of(tool)) if part.name == "lamp"]
    (before,) = [part for part in parts if part.name == "lamp"]
    assert lamp.outer[0][0].outer.vertices[:, 0].max() == before.outer[0][0].outer.vertices[:, 0].max() + 1.0  # type: ignore[union-attr]


def test_that_nothing_left_of_a_shape_is_taken_over_too():
    old = Prepared(scene())
    assert old.rests_of(MESH, "all", tuple) is None
    new = Prepared(scene(), like=old)
    assert new.rests_of(MESH, "all", lambda: pytest.fail("made twice")) is None  # type: ignore[arg-type, return-value]
    assert new.rests_of(copied(MESH), "all", lambda: old.pieces_of(MESH)) is not None


def test_that_a_mesh_stays_prepared_while_the_scene_has_it_though_nobody_asks():
    prepared = Prepared(scene())
    tree, made = prepared.tree_of(MESH), prepared.trees.of(prepared.pieces_of(MESH)[0].outer)
    for height in range(3 * GENERATIONS):
        prepared = Prepared(scene(height=30.0 + height), like=prepared)
    assert prepared.tree_of(MESH) is tree
    assert prepared.trees.of(prepared.pieces_of(MESH)[0].outer) is made


def test_that_what_no_scene_uses_is_let_go_after_a_few():
    def with_another_mesh() -> tuple[Prepared, weakref.ref[object]]:
        mesh = copied(MESH)
        prepared = Prepared(scene(mesh=mesh))
        told(prepared)
        prepared.rests_of(mesh, "some", lambda: prepared.pieces_of(mesh))
        return prepared, weakref.ref(mesh.mesh.vertices)

    prepared, gone = with_another_mesh()
    sizes = []
    for k in range(4 * GENERATIONS):
        prepared = Prepared(scene(height=30.0 + k / 8), like=prepared)
        told(prepared)
        prepared.rests_of(MESH, k, lambda p=prepared: p.pieces_of(MESH))  # type: ignore[misc]
        sizes.append(len(prepared.made.pieces.keys()) + len(prepared.made.body_trees.keys()))
        sizes[-1] += len(prepared.made.rests.keys())
    gc.collect()
    assert gone() is None
    assert max(sizes[2 * GENERATIONS :]) == sizes[2 * GENERATIONS]


def test_that_threads_may_prepare_from_one_scene_together():
    old = Prepared(scene())
    turned = [scene(height=30.0 + k, x=12.0 + k) for k in range(4)] * 2
    with ThreadPoolExecutor(4) as pool:
        together = list(pool.map(lambda one: told(Prepared(one, like=old)), turned))
    assert together == [told(Prepared(one)) for one in turned]


# --- generations ---


def test_that_a_generation_finds_what_the_last_few_have_asked_for():
    first: Remembered[str] = Remembered()
    first.get("a", lambda: "made once")
    later = first
    for k in range(GENERATIONS - 1):
        later = later.following()
        later.get(k, lambda: "else")
    later = later.following()
    assert later.get("a", lambda: "made again") == "made once"
    for k in range(GENERATIONS + 1):
        later = later.following()
        later.get(k, lambda: "else")
    assert not later.keys() & {"a"}
    assert later.get("a", lambda: "made again") == "made again"


def test_that_generations_which_asked_for_nothing_do_not_count():
    later: Remembered[int] = Remembered()
    later.get("a", lambda: 1)
    for _ in range(3 * GENERATIONS):
        later = later.following()
    assert later.get("a", lambda: 2) == 1


def test_that_a_generation_never_changes_one_before_it():
    first: Remembered[int] = Remembered()
    first.get("a", lambda: 1)
    one, other = first.following(), first.following()
    assert one.get("b", lambda: 2) == 2
    assert other.get("b", lambda: 3) == 3
    assert first.keys() == {"a"}


def test_that_what_cannot_be_made_is_not_remembered():
    kept: Remembered[float] = Remembered()
    with pytest.raises(ZeroDivisionError):
        kept.get("a", lambda: 1 / 0)
    assert kept.get("a", lambda: 1.0) == 1.0
    assert cylinder(1.0, 2.0) == cylinder(1.0, 2.0)  # what stands for a shape is its numbers
