"""Whatever is in a file: a scene or its faults, never another exception, never for long.

The damage is what mail programs, editors, half-finished copies and typing errors do (common practice,
no source), and what someone does who wants to stop the program.
"""

from __future__ import annotations

import random
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from app.scenes.catalogues import Catalogues
from app.scenes.document import Document
from app.scenes.faults import SceneFileError
from app.scenes.located import ListNode, MapNode, Node
from app.scenes.reader import read_scene, read_scene_text

SAMPLES = sorted((Path(__file__).parents[3] / "sample_scenes").glob("*/*.scene.yaml"))
DEMO = next(file for file in SAMPLES if file.parent.name == "sampler_block_b")
LIMIT = 10.0  # s, whatever the file


@pytest.fixture(scope="module")
def catalogues(tmp_path_factory: pytest.TempPathFactory) -> Catalogues:
    return Catalogues(tmp_path_factory.mktemp("library"))


def read(data: bytes, beside: Path, catalogues: Catalogues) -> bool:
    """Whether the bytes are a scene; raises if they are neither a scene nor faults, or take too long."""
    started = time.perf_counter()
    damaged = beside.with_name("damaged.scene.yaml")
    try:
        document = Document.of_bytes(str(damaged), data, "scene")
        if document.root is None:
            assert document.faults
            return False
        read_scene_text(document.text, damaged, catalogues=catalogues)
    except SceneFileError:
        return False
    finally:
        assert time.perf_counter() - started < LIMIT
    return True


def test_that_the_demo_cut_short_is_a_fault_or_a_scene(catalogues: Catalogues):
    data = DEMO.read_bytes()
    whole = [read(data[:n], DEMO, catalogues) for n in range(0, len(data), 200)]
    assert not any(whole[:15])  # the orientations come last


def flipped(data: bytes, rng: random.Random) -> bytes:
    damaged = bytearray(data)
    for _ in range(rng.choice((1, 1, 1, 3))):
        damaged[rng.randrange(len(damaged))] ^= 1 << rng.randrange(8)
    return bytes(damaged)


@pytest.mark.parametrize("seed", range(2))
def test_that_flipped_bits_are_a_fault_or_a_scene(seed: int, catalogues: Catalogues):
    rng = random.Random(seed)
    for _ in range(20):
        read(flipped(DEMO.read_bytes(), rng), DEMO, catalogues)


@pytest.mark.slow
@pytest.mark.parametrize("sample", SAMPLES, ids=lambda file: file.parent.name)
def test_that_every_sample_cut_and_flipped_is_a_fault_or_a_scene(sample: Path, catalogues: Catalogues):
    data, rng = sample.read_bytes(), random.Random(1)
    for n in range(0, len(data), 50):
        read(data[:n], sample, catalogues)
    for _ in range(500):
        read(flipped(data, rng), sample, catalogues)


def spans(node: Node) -> Iterator[tuple[int, int]]:
    yield node.start, node.end
    if isinstance(node, MapNode):
        for entry in node.entries:
            yield entry.key.start, entry.key.end
            yield from spans(entry.value)
    elif isinstance(node, ListNode):
        for item in node.items:
            yield from spans(item)


ODD_VALUES = (
    "[]", "{}", "null", "", "true", ".nan", "-1", "1e5", '""', '" "', '"/"', "[[]]", "[{}]", "[null]", "[1, 2, 3]",
    "{a: 1}", "{name: q}", "P", "table", "V1/profile", "top", "{to: [1, 2, 3]}", '{file: "\\0"}', "{file: .}",
    "{points: []}", "x" * 300, "? ", "- - -", "0o7", "0xff", "é", '"\\UFFFFFFFF"', "!x y", "&a b", "*a",
)  # fmt: skip


def check_swapped_values(text: str, beside: Path, n: int, rng: random.Random, catalogues: Catalogues) -> None:
    root = Document("x", text, "scene").root
    assert root is not None
    places = list(spans(root))
    for _ in range(n):
        start, end = rng.choice(places)
        other = rng.choice(places)
        value = text[slice(*other)] if rng.random() < 0.4 else rng.choice(ODD_VALUES)
        read((text[:start] + value + text[end:]).encode(), beside, catalogues)


def test_that_values_in_wrong_places_are_a_fault_or_a_scene(small_scene: str, tmp_path: Path, catalogues: Catalogues):
    check_swapped_values(small_scene, tmp_path / "small.scene.yaml", 120, random.Random(0), catalogues)


@pytest.mark.slow
@pytest.mark.parametrize("sample", SAMPLES, ids=lambda file: file.parent.name)
def test_that_values_in_wrong_places_of_every_sample_are_a_fault_or_a_scene(sample: Path, catalogues: Catalogues):
    check_swapped_values(sample.read_text(encoding="utf-8"), sample, 100, random.Random(0), catalogues)


def test_that_an_alias_bomb_is_told_before_it_is_expanded(small_scene: str, tmp_path: Path, catalogues: Catalogues):
    levels = ["l0: &l0 [x, x]"] + [f"l{n}: &l{n} [{', '.join([f'*l{n - 1}'] * 9)}]" for n in range(1, 60)]
    bomb = small_scene + "\n".join(levels) + "\n"
    started = time.perf_counter()
    with pytest.raises(SceneFileError) as caught:
        read_scene_text(bomb, tmp_path / "bomb.scene.yaml", catalogues=catalogues)
    assert any("alias '*l0' is not allowed" in fault.message for fault in caught.value.faults)
    assert time.perf_counter() - started < 2.0


@pytest.mark.parametrize("bracket", ["[", "{", "- ", "{a: "])
def test_that_nesting_without_end_is_a_fault(bracket: str, small_scene: str, tmp_path: Path, catalogues: Catalogues):
    with pytest.raises(SceneFileError) as caught:
        read_scene_text(f"{small_scene}notes: {bracket * 20_000}", tmp_path / "deep.scene.yaml", catalogues=catalogues)
    assert len(caught.value.faults) == 1


FLOODS = {
    "bodies without support": lambda n: (
        "bodies:\n" + "".join(f"  - {{name: b{i}, box: [1, 2, 3]}}\n" for i in range(n // 30))
    ),
    "bodies on unknown bodies": lambda n: (
        "bodies:\n" + "".join(f"  - {{name: b{i}, rides_on: c{i}, box: [1, 2, 3]}}\n" for i in range(n // 45))
    ),
    "a tower of bodies": lambda n: (
        "bodies:\n" + "".join(f"  - {{name: b{i}, rides_on: b{i - 1}, box: [1, 2, 3]}}\n" for i in range(n // 45))
    ),
    "keys that stand twice": lambda n: "k:\n" * (n // 3),
    "aliases": lambda n: "notes: [" + "*a, " * (n // 4),
    "digits": lambda n: "notes: " + "1" * n,
    "a key as long as the file": lambda n: "? " + "k" * n + "\n: 1\n",
    "empty lines": lambda n: "\n" * n,
    "empty entries": lambda n: "notes:\n" + "- \n" * (n // 3),
}


@pytest.mark.parametrize("flood", FLOODS)
def test_that_a_flood_is_read_or_refused_in_time(flood: str, small_scene: str, tmp_path: Path, catalogues: Catalogues):
    head = small_scene.split("bodies:")[0]
    read((head + FLOODS[flood](20_000)).encode(), tmp_path / "flood.scene.yaml", catalogues)


@pytest.mark.parametrize(
    "data", [b"\x00" * 50, b"\xff" * 50, b"\x1f\x8b\x08" * 20, b"PK\x03\x04" * 20, b"%PDF-1.7\n%\xe2\xe3"]
)
def test_that_a_file_of_another_kind_is_one_fault(data: bytes, tmp_path: Path, catalogues: Catalogues):
    file = tmp_path / "other.scene.yaml"
    file.write_bytes(data)
    with pytest.raises(SceneFileError) as caught:
        read_scene(file, catalogues=catalogues)
    assert len(caught.value.faults) == 1


def test_that_a_file_larger_than_any_scene_is_refused_unread(tmp_path: Path, catalogues: Catalogues):
    file = tmp_path / "large.scene.yaml"
    file.write_bytes(b"# \n" * 400_000)
    with pytest.raises(SceneFileError, match="larger than"):
        read_scene(file, catalogues=catalogues)


@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-le", "utf-16-be", "utf-32", "cp1252"])
def test_that_another_encoding_is_a_fault_that_names_utf_8(
    encoding: str, small_scene: str, tmp_path: Path, catalogues: Catalogues
):
    file = tmp_path / "other.scene.yaml"
    file.write_bytes(small_scene.replace("Small", "Prüfstück").encode(encoding))
    with pytest.raises(SceneFileError, match="UTF-8"):
        read_scene(file, catalogues=catalogues)


@pytest.mark.parametrize("ending", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
def test_that_line_ends_and_byte_order_mark_do_not_move_faults(
    ending: str, mark: str, small_scene: str, tmp_path: Path, catalogues: Catalogues
):
    text = mark + small_scene.replace("depth: 10", "depth: ten").replace("\n", ending)
    with pytest.raises(SceneFileError) as caught:
        read_scene_text(text, tmp_path / "ends.scene.yaml", catalogues=catalogues)
    (fault,) = caught.value.faults
    line = small_scene.splitlines()[fault.line - 1]
    assert line[fault.column - 1 :].startswith("10}")
    first = mark + small_scene.replace("format: 1", "format: one").replace("\n", ending)
    with pytest.raises(SceneFileError) as caught:
        read_scene_text(first, tmp_path / "ends.scene.yaml", catalogues=catalogues)
    assert (caught.value.faults[0].line, caught.value.faults[0].column) == (1, 9)
