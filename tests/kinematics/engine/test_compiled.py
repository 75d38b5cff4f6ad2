"""Compiled kernels: never the code of another source, whatever is on the disk.

Each case is a small tree of its own with the product's decorator and cache, run in processes of its own.
"""

import os
import re
import shutil
import subprocess
import sys
import time
from pathlib import Path

import pytest

from kinematics.engine import kernel_cache

ROOT = Path(__file__).parents[3]
REAL = ("cache_files.py", "engine/__init__.py", "engine/compiled.py", "engine/kernel_cache.py")
NUMBER = "FACTOR = 2.0\n"
INNER = """
from kinematics.engine.compiled import kernel
from kinematics.number import FACTOR


@kernel
def inner(x: float) -> float:
    return FACTOR * x
"""
OUTER = """
from kinematics.engine.compiled import kernel
from kinematics.engine.inner import inner


@kernel
def outer(x: float) -> float:
    return inner(x) + 1.0
"""
WARM_UP = """
from kinematics.engine.outer import outer


def swings() -> None:
    pass


def cuts() -> None:
    outer(1.0)
"""
RUN = """
from kinematics.engine.outer import outer
{before}
print(outer(10.0), "kept" if outer.stats.cache_hits else "compiled")
"""


@pytest.fixture
def tree(tmp_path, monkeypatch):
    """A package with a kernel that calls a kernel of another file, which reads a number of a third."""
    package = tmp_path / "kinematics"
    (package / "engine").mkdir(parents=True)
    (package / "__init__.py").touch()
    for name in REAL:
        shutil.copy(ROOT / "kinematics" / name, package / name)
    (package / "number.py").write_text(NUMBER)
    (package / "warm_up.py").write_text(WARM_UP)
    (package / "engine" / "inner.py").write_text(INNER)
    (package / "engine" / "outer.py").write_text(OUTER)
    for name in ("NUMBA_CACHE_DIR", "TIGHTSIDE_CACHE", "NUMBA_DISABLE_JIT"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("TIGHTSIDE_CACHE", str(tmp_path / "cache"))
    monkeypatch.setenv("PYTHONDONTWRITEBYTECODE", "1")  # a source written within a second is another source
    return package


def started(tree, *arguments):
    return subprocess.Popen(
        [sys.executable, *arguments],
        cwd=tree.parent,
        env={**os.environ, "PYTHONPATH": str(tree.parent)},
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )


def said(tree, before=""):
    with started(tree, "-c", RUN.format(before=before)) as process:
        return process.communicate()[0].strip()


def entries(tree, name=""):
    return sorted((tree.parent / "cache" / "kernels").glob(f"*{name}-*.kernel"))


def change(file, old, new):
    text = file.read_text()
    assert old in text
    file.write_text(text.replace(old, new))


@pytest.mark.slow
def test_that_code_on_the_disk_is_that_of_the_sources_as_they_are(tree):
    assert said(tree) == "21.0 compiled"
    assert said(tree) == "21.0 kept"
    change(tree / "engine" / "inner.py", "FACTOR * x", "FACTOR * x * x")  # what the kernel calls, in another file
    assert said(tree) == "201.0 compiled"
    change(tree / "number.py", "2.0", "3.0")  # what that reads, in a third
    assert said(tree) == "301.0 compiled"
    change(tree / "engine" / "outer.py", "1.0", "5.0")
    assert said(tree) == "305.0 compiled"
    change(tree / "engine" / "outer.py", "5.0", "1.0")
    change(tree / "number.py", "3.0", "2.0")
    change(tree / "engine" / "inner.py", "FACTOR * x * x", "FACTOR * x")
    assert said(tree) == "21.0 kept"  # as in the beginning


@pytest.mark.slow
def test_that_what_no_kernel_reaches_keeps_the_code(tree):
    assert said(tree) == "21.0 compiled"
    (tree / "engine" / "other.py").write_text("A = 1\n")
    (tree / "other.py").write_text("from kinematics.engine.outer import outer\n")
    assert said(tree) == "21.0 kept"


@pytest.mark.slow
def test_that_sources_changed_while_the_program_runs_leave_nothing_on_the_disk(tree):
    later = f"""
from pathlib import Path
import time
file = Path({str(tree / "number.py")!r})
"""
    # read before it was changed, compiled after: FACTOR is 2 in this process and 3 in the file
    run = f"import kinematics.number, kinematics.engine.kernel_cache\n{later}\nfile.write_text('FACTOR = 3.0')\n"
    with started(tree, "-c", run + RUN.format(before="")) as process:
        assert process.communicate()[0].strip() == "21.0 compiled"
    assert entries(tree) == []
    assert said(tree) == "31.0 compiled"


@pytest.mark.slow
def test_that_damaged_code_is_never_run(tree):
    said(tree)
    (entry,) = entries(tree, "outer.outer")
    good = entry.read_bytes()
    flipped = bytearray(good)
    flipped[len(good) // 2] ^= 1
    for bad in (b"", good[:-1], bytes(flipped)):
        entry.write_bytes(bad)
        assert said(tree) == "21.0 compiled"
        assert kernel_cache.load(entry) is not None
    (inner,) = entries(tree, "inner.inner")
    entry.write_bytes(inner.read_bytes())  # sound, but of another kernel
    assert said(tree) == "21.0 compiled"


@pytest.mark.slow
def test_that_folders_that_cannot_be_used_change_nothing(tree, monkeypatch):
    (tree.parent / "cache").write_text("a file is in the way")
    assert said(tree) == "21.0 compiled"
    monkeypatch.setenv("TIGHTSIDE_CACHE", "off")
    monkeypatch.setenv("HOME", str(tree.parent / "cache"))
    monkeypatch.setenv("XDG_CACHE_HOME", "")
    assert said(tree) == "21.0 compiled"


@pytest.mark.slow
@pytest.mark.skipif(os.name != "posix", reason="elsewhere processes do not wait for each other")
def test_that_processes_that_start_together_compile_once(tree):
    assert not is_ready(tree)
    running = [started(tree, "-m", "kinematics.engine.compiled") for _ in range(3)]
    for one in running:
        with one:
            assert one.communicate(timeout=60)[0] == "" and one.returncode == 0
    assert is_ready(tree)
    assert said(tree) == "21.0 kept"
    names = [entry.name.rpartition("-")[0] for entry in entries(tree)]
    assert names == ["all", "kinematics.engine.inner.inner", "kinematics.engine.outer.outer"]
    dates = [entry.stat().st_ctime for entry in entries(tree, "inner")]
    time.sleep(0.01)
    change(tree / "number.py", "2.0", "3.0")
    assert not is_ready(tree)
    assert [entry.stat().st_ctime for entry in entries(tree, "inner")] == dates


@pytest.mark.slow
def test_that_processes_that_do_not_wait_for_each_other_agree(tree):
    running = [started(tree, "-c", RUN.format(before="")) for _ in range(3)]
    for one in running:
        with one:
            assert one.communicate(timeout=60)[0].strip() in ("21.0 compiled", "21.0 kept")
    assert said(tree) == "21.0 kept"
    assert len(entries(tree)) == 2 and not list((tree.parent / "cache" / "kernels").glob("*.part"))


def is_ready(tree):
    with started(tree, "-c", "from kinematics.engine import kernel_cache as c; print(c.is_ready())") as process:
        return process.communicate()[0] == "True\n"


def test_that_asking_whether_all_is_compiled_does_not_need_the_compiler(tree):
    run = "import sys\nfrom kinematics.engine import kernel_cache as c\nc.is_ready()\nprint('numba' in sys.modules)"
    with started(tree, "-c", run) as process:
        assert process.communicate()[0] == "False\n"


@pytest.mark.parametrize(
    ("variables", "expected"),
    [
        ({"XDG_CACHE_HOME": "/x"}, "/x/tightside/kernels"),
        ({"XDG_CACHE_HOME": "/x", "TIGHTSIDE_CACHE": "off"}, "/x/tightside/kernels"),
        ({"XDG_CACHE_HOME": "/x", "TIGHTSIDE_CACHE": "/own"}, "/own/kernels"),
        ({"TIGHTSIDE_CACHE": "/own", "NUMBA_CACHE_DIR": "/n"}, "/n"),
    ],
)
@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="the paths of the cases are those of Linux")
def test_where_compiled_kernels_are_kept(monkeypatch, variables, expected):
    for name in ("NUMBA_CACHE_DIR", "TIGHTSIDE_CACHE", "XDG_CACHE_HOME"):
        monkeypatch.delenv(name, raising=False)
    for name, value in variables.items():
        monkeypatch.setenv(name, value)
    assert kernel_cache.folder() == Path(expected)


def test_that_unused_code_goes_first(tmp_path, monkeypatch):
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(tmp_path))
    monkeypatch.setattr(kernel_cache, "SIZE_LIMIT", 3000)
    paths = [kernel_cache.path_of(f"k{n}", "stamp") for n in range(4)]
    for n, path in enumerate(paths[:3]):
        kernel_cache.store(path, bytes(900))
        os.utime(path, (n, n))
    assert kernel_cache.load(paths[0]) == bytes(900)  # used now
    kernel_cache.store(paths[3], bytes(900))
    assert [path.exists() for path in paths] == [True, False, True, True]


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ("import kinematics.pose", {"pose.py"}),
        ("from kinematics.pose import Array", {"pose.py"}),
        ("    from kinematics.engine.pair import (\n        Clear,\n    )", {"pair.py"}),
        ("from kinematics import pose, errors", {"__init__.py", "pose.py", "errors.py"}),
        ("from kinematics import (\n    pose,\n    errors as e,\n)", {"__init__.py", "pose.py", "errors.py"}),
        ("from numpy import linalg", set()),
    ],
)
def test_which_files_an_import_reaches(line, expected):
    assert {path.name for path in kernel_cache._imported(line)} == expected


@pytest.mark.parametrize("line", ["from kinematics import *", "from kinematics import (pose,  # (why)\n    errors)"])
def test_that_an_import_that_is_hard_to_read_reaches_the_whole_folder(line):
    assert set(kernel_cache._imported(line)) >= set(kernel_cache.PACKAGE.glob("*.py"))


def test_that_every_module_with_kernels_is_found():
    found = set(kernel_cache.kernel_modules())
    for file in (ROOT / "kinematics").rglob("*.py"):
        if re.search(r"^@kernel\b", file.read_text(encoding="utf-8"), re.MULTILINE):
            module = ".".join(file.relative_to(ROOT).with_suffix("").parts)
            assert module in found, f"{module}: write `from kinematics.engine.compiled import kernel`"


@pytest.mark.slow
def test_that_what_is_compiled_beforehand_is_all_that_the_commands_need(tmp_path):
    folder = tmp_path / "kernels"  # of its own, since other tests compile at the same time
    if kernel_cache.folder().exists():
        shutil.copytree(kernel_cache.folder(), folder, ignore=shutil.ignore_patterns("*.part", "all-*"))
    environment = {**os.environ, "NUMBA_CACHE_DIR": str(folder)}

    def run(*arguments):
        subprocess.run([sys.executable, "-m", *arguments], cwd=ROOT, env=environment, capture_output=True, check=False)

    run("kinematics.engine.compiled")
    before = {entry.name for entry in folder.glob("*.kernel")}
    assert any(name.startswith("all-") for name in before)
    for command in ("check", "swing"):
        for name in ("sampler_block_b", "gauge_cap_bc"):
            run("app", command, f"sample_scenes/{name}/{name}.scene.yaml")
    assert {entry.name for entry in folder.glob("*.kernel")} - before == set()
