"""The cache of meshes: the same mesh with it and without it, whatever happens to its folder."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from kinematics import mesh_cache, mesh_reading
from kinematics.meshes import load_mesh
from tests.kinematics.mesh_writers import CUBE_F, CUBE_V, binary_stl, check_fault, obj, text_stl, written

ROOT = Path(__file__).parents[2]


@pytest.fixture(autouse=True)
def folder(tmp_path, monkeypatch):
    """A cache folder of the test's own, used for the smallest files too."""
    monkeypatch.setenv("TIGHTSIDE_CACHE", str(tmp_path / "cache"))
    monkeypatch.setattr(mesh_cache, "WORTH_FROM", 0)
    return tmp_path / "cache"


@pytest.fixture
def reads(monkeypatch):
    """The names of files that were really read, as opposed to taken from the cache."""
    names = []
    read = mesh_reading._read

    def counted(source, *how):
        names.append(source)
        return read(source, *how)

    monkeypatch.setattr(mesh_reading, "_read", counted)
    return names


def entries(folder):
    return sorted(path for path in folder.iterdir() if path.suffix == mesh_cache.SUFFIX)


def check_same(mesh, other):
    assert (mesh.vertices == other.vertices).all() and (mesh.faces == other.faces).all()
    assert mesh.vertices.dtype == other.vertices.dtype and mesh.faces.dtype == other.faces.dtype
    assert (mesh.n_open_edges, mesh.chord_error, mesh.source, mesh.notes) == (
        other.n_open_edges,
        other.chord_error,
        other.source,
        other.notes,
    )
    assert not mesh.vertices.flags.writeable and not mesh.faces.flags.writeable


def part(tmp_path, name="part.stl"):
    return written(tmp_path, name, binary_stl(CUBE_V, CUBE_F[:11]))  # open, so that it has something to note


# --- finding entries ------------------------------------------------------------------------------


def test_that_the_second_reading_is_the_first(tmp_path, reads):
    first = load_mesh(part(tmp_path), units="mm")
    check_same(load_mesh(part(tmp_path), units="mm"), first)
    assert reads == ["part.stl"] and first.n_open_edges == 3


def test_that_a_copy_under_another_name_is_known_and_named_as_it_is(tmp_path, reads):
    load_mesh(part(tmp_path), units="mm")
    assert load_mesh(part(tmp_path, "copy.stl"), units="mm").source == "copy.stl"
    assert reads == ["part.stl"]


def test_that_what_changes_the_mesh_changes_the_entry(tmp_path, reads, folder):
    load_mesh(part(tmp_path), units="mm")
    assert load_mesh(part(tmp_path), units="inch").bounds[1][0] == pytest.approx(36 * 25.4)
    two = written(tmp_path, "two.stl", text_stl(CUBE_V, CUBE_F, "a") + text_stl(CUBE_V + 50, CUBE_F, "b"))
    for body in (None, "a", "b"):
        load_mesh(two, units="mm", body=body)
    written(tmp_path, "part.stl", binary_stl(CUBE_V * 2, CUBE_F))
    load_mesh(tmp_path / "part.stl", units="mm")
    for tolerance in (0.02, 0.03):
        load_mesh(tmp_path / "part.stl", units="mm", chord_tolerance=tolerance)
    assert len(reads) == 8 == len(entries(folder))


def test_that_a_step_file_is_read_once_however_small(monkeypatch, reads):
    monkeypatch.setattr(mesh_cache, "WORTH_FROM", 1 << 40)
    step = Path(__file__).parent / "step" / "torus.step"
    first = load_mesh(step, units=None, chord_tolerance=0.5)
    check_same(load_mesh(step, units=None, chord_tolerance=0.5), first)
    assert first.chord_error == 0.5 and reads == ["torus.step"]


def test_that_a_change_of_the_readers_makes_old_entries_unknown(tmp_path, reads, monkeypatch):
    load_mesh(part(tmp_path), units="mm")
    monkeypatch.setattr(mesh_cache, "_readers", lambda: "others")
    load_mesh(part(tmp_path), units="mm")
    assert reads == ["part.stl", "part.stl"]


def test_that_faults_are_not_kept(tmp_path, folder):
    path = written(tmp_path, "p.stl", b"solid nothing\nendsolid nothing\n")
    for _ in range(2):
        check_fault(path, "has no triangles")
    assert not folder.exists()


def test_that_small_files_are_not_worth_an_entry_and_off_is_off(tmp_path, monkeypatch, folder, reads):
    monkeypatch.setenv("TIGHTSIDE_CACHE", "off")
    load_mesh(part(tmp_path), units="mm")
    monkeypatch.setenv("TIGHTSIDE_CACHE", str(folder))
    monkeypatch.setattr(mesh_cache, "WORTH_FROM", 100_000)
    load_mesh(part(tmp_path), units="mm")
    assert len(reads) == 2 and not folder.exists()


@pytest.mark.parametrize(
    ("platform", "variables", "expected"),
    [
        ("linux", {"XDG_CACHE_HOME": "/x/cache"}, "/x/cache/tightside/meshes"),
        ("linux", {"XDG_CACHE_HOME": "relative", "HOME": "/h"}, "/h/.cache/tightside/meshes"),
        ("linux", {"HOME": "/h"}, "/h/.cache/tightside/meshes"),
        ("darwin", {"HOME": "/h"}, "/h/Library/Caches/tightside/meshes"),
        ("win32", {"LOCALAPPDATA": "/l"}, "/l/tightside/meshes"),
        ("win32", {}, None),
        ("linux", {"TIGHTSIDE_CACHE": "/own"}, "/own"),
        ("linux", {"TIGHTSIDE_CACHE": "off"}, None),
    ],
)
@pytest.mark.skipif(os.name != "posix", reason="the paths of the cases are written as on POSIX systems")
def test_that_the_folder_is_the_user_s_cache_folder(monkeypatch, platform, variables, expected):
    for name in ("TIGHTSIDE_CACHE", "XDG_CACHE_HOME", "LOCALAPPDATA", "HOME"):
        monkeypatch.delenv(name, raising=False)
    for name, value in variables.items():
        monkeypatch.setenv(name, value)
    monkeypatch.setattr(sys, "platform", platform)
    assert mesh_cache.cache_folder() == (None if expected is None else Path(expected))


# --- damage ---------------------------------------------------------------------------------------


def test_that_a_damaged_entry_is_made_anew_wherever_the_damage_is(tmp_path, folder, reads):
    path = part(tmp_path)
    first = load_mesh(path, units="mm")
    (entry,) = entries(folder)
    good = entry.read_bytes()
    rng = np.random.default_rng(0)
    damaged = [good[:n] for n in (0, 5, 40, 60, len(good) - 1)] + [good + b"\0", b"junk" * 50]
    for at in rng.integers(0, len(good), 40):
        flipped = bytearray(good)
        flipped[at] ^= 1 << int(rng.integers(8))
        damaged.append(bytes(flipped))
    for bad in damaged:
        entry.write_bytes(bad)
        check_same(load_mesh(path, units="mm"), first)
        assert entry.read_bytes() == good
    assert len(reads) == 1 + len(damaged)


def test_that_a_folder_that_cannot_be_used_changes_nothing(tmp_path, folder, monkeypatch):
    path = part(tmp_path)
    folder.write_bytes(b"a file is in the way")
    assert len(load_mesh(path, units="mm").faces) == 11
    monkeypatch.setenv("TIGHTSIDE_CACHE", str(folder / "below"))
    assert len(load_mesh(path, units="mm").faces) == 11


def test_that_readers_whose_source_cannot_be_seen_read_without_a_cache(tmp_path, folder, monkeypatch):
    def unseen():
        raise NotADirectoryError

    monkeypatch.setattr(mesh_cache, "_readers", unseen)
    assert len(load_mesh(part(tmp_path), units="mm").faces) == 11
    assert not folder.exists()


def test_that_a_full_disk_is_ignored_and_leaves_nothing(tmp_path, folder, monkeypatch):
    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(mesh_cache.os, "replace", full)
    assert len(load_mesh(part(tmp_path), units="mm").faces) == 11
    assert list(folder.iterdir()) == []


LOAD = """
import sys
{before}
from pathlib import Path
from kinematics import mesh_cache
from kinematics.meshes import load_mesh
mesh_cache.WORTH_FROM = 0
{after}
mesh = load_mesh(Path(sys.argv[1]), units="mm")
print(len(mesh.faces))
"""


def process(path, folder, before="", after=""):
    return subprocess.Popen(
        [sys.executable, "-c", LOAD.format(before=before, after=after), str(path)],
        cwd=ROOT,
        env={**os.environ, "TIGHTSIDE_CACHE": str(folder)},
        stdout=subprocess.PIPE,
        text=True,
    )


@pytest.mark.skipif(os.name != "posix", reason="limits on the size of a file are POSIX")
def test_that_a_system_that_stops_the_writing_is_ignored(tmp_path, folder):
    limit = "import resource, signal; signal.signal(signal.SIGXFSZ, signal.SIG_IGN)\n"
    limit += "resource.setrlimit(resource.RLIMIT_FSIZE, (200, 200))"
    with process(part(tmp_path), folder, before=limit) as limited:
        assert limited.communicate()[0] == "11\n"
    assert list(folder.iterdir()) == []


@pytest.mark.skipif(os.name != "posix", reason="SIGKILL is POSIX")
def test_that_a_process_killed_while_it_writes_leaves_no_entry(tmp_path, folder, reads):
    hang = "import os, time\nmesh_cache.os.replace = lambda *_: (print('written', flush=True), time.sleep(60))"
    path = part(tmp_path)
    with process(path, folder, after=hang) as killed:
        assert killed.stdout.readline() == "written\n"
        killed.send_signal(signal.SIGKILL)
    (left,) = folder.iterdir()
    assert left.suffix == ".part"
    load_mesh(path, units="mm")
    assert reads == ["part.stl"] and len(entries(folder)) == 1 and left.exists()
    os.utime(left, (0, 0))  # long ago
    load_mesh(written(tmp_path, "other.obj", obj(CUBE_V, CUBE_F)), units="mm")
    assert not left.exists() and len(entries(folder)) == 2


def test_that_several_processes_may_use_one_folder(tmp_path, folder):
    n = 60  # cubes, so that an entry takes a moment
    vertices = np.concatenate([CUBE_V + [50.0 * k, 0.0, 0.0] for k in range(n)])
    path = written(tmp_path, "p.stl", binary_stl(vertices, np.concatenate([CUBE_F + 8 * k for k in range(n)])))
    again = """
for k in range(30):
    load_mesh(Path(sys.argv[1]), units="mm")
    for entry in mesh_cache.cache_folder().glob("*.mesh") if k % 3 else ():
        entry.unlink(missing_ok=True)
"""
    running = [process(path, folder, after=again) for _ in range(3)]
    for one in running:
        with one:
            assert one.communicate(timeout=60)[0] == f"{12 * n}\n" and one.returncode == 0
    assert len(entries(folder)) == 1 and len(list(folder.iterdir())) == 1


# --- size -----------------------------------------------------------------------------------------


def test_that_what_was_not_used_for_longest_goes_first(tmp_path, folder, monkeypatch, reads):
    paths = [written(tmp_path, f"{k}.stl", binary_stl(CUBE_V + k, CUBE_F)) for k in range(5)]
    for path in paths[:4]:
        load_mesh(path, units="mm")
    size = entries(folder)[0].stat().st_size
    for k, entry in enumerate(sorted(entries(folder), key=lambda e: e.stat().st_mtime_ns)):
        os.utime(entry, (1000.0 + k, 1000.0 + k))
    load_mesh(paths[0], units="mm")  # used now
    monkeypatch.setattr(mesh_cache, "SIZE_LIMIT", 4 * size + 100)
    load_mesh(paths[4], units="mm")
    assert len(entries(folder)) == 4
    reads.clear()
    for k in (0, 2, 3, 4, 1):
        load_mesh(paths[k], units="mm")
    assert reads == ["1.stl"]


def test_that_an_entry_too_large_for_the_folder_is_not_kept(tmp_path, folder, monkeypatch):
    monkeypatch.setattr(mesh_cache, "SIZE_LIMIT", 1000)
    assert len(load_mesh(part(tmp_path), units="mm").faces) == 11
    assert not folder.exists()


@pytest.mark.slow
def test_that_a_million_triangles_load_in_time(tmp_path):
    n = 707
    u = np.linspace(0, 2 * np.pi, n, endpoint=False)
    U, V = np.meshgrid(u, u, indexing="ij")
    r = 60 + 20 * np.cos(V) + np.sin(9 * U)
    vertices = np.stack([r * np.cos(U), r * np.sin(U), 20 * np.sin(V)], -1).reshape(-1, 3)
    a = np.arange(n * n).reshape(n, n)
    b, c, d = np.roll(a, -1, 0), np.roll(np.roll(a, -1, 0), -1, 1), np.roll(a, -1, 1)
    faces = np.concatenate([np.stack(k, -1).reshape(-1, 3) for k in ((a, b, c), (a, c, d))])
    path = written(tmp_path, "million.stl", binary_stl(vertices, faces))
    times = []
    for _ in range(2):
        start = time.process_time()
        mesh = load_mesh(path, units="mm")
        times.append(time.process_time() - start)
        assert mesh.is_closed and len(mesh.faces) == 2 * n * n
    assert times[0] <= 4.0 and times[1] <= 1.5, times
