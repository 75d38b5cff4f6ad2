"""start.py: what it promises before anything is installed."""

from __future__ import annotations

import ast
import importlib.util
import subprocess
import sys
import tomllib
from collections import namedtuple
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

ROOT = Path(__file__).parent.parent
SOURCE = (ROOT / "start.py").read_text(encoding="utf-8")


@pytest.fixture
def start(tmp_path: Path) -> ModuleType:
    """The script as a module of its own that works in an empty folder."""
    spec = importlib.util.spec_from_file_location("start", ROOT / "start.py")
    assert spec is not None
    assert spec.loader is not None
    module: Any = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    for name in ("pyproject.toml", "constraints.txt"):
        (tmp_path / name).write_bytes((ROOT / name).read_bytes())
    module.ROOT, module.VENV = tmp_path, tmp_path / ".venv"
    return module


@pytest.fixture
def calls(monkeypatch: pytest.MonkeyPatch) -> list[list[str]]:
    """The commands that would have been run."""
    made: list[list[str]] = []

    def call(command: list[str], **_: object) -> int:
        made.append([str(word) for word in command])
        return 0

    monkeypatch.setattr(subprocess, "call", call)
    return made


def test_that_it_is_short_needs_nothing_and_reads_in_an_older_python() -> None:
    assert SOURCE.count("\n") < 160
    tree = ast.parse(SOURCE, feature_version=(3, 7))
    names = {alias.name for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names}
    names |= {node.module or "" for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    assert {name.partition(".")[0] for name in names} <= sys.stdlib_module_names


def test_that_it_takes_the_pythons_of_the_project(start: ModuleType) -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    (low, high) = ("{}.{}".format(*version) for version in (start.LOWEST, start.BELOW))
    assert project["requires-python"] == f">={low},<{high}"


@pytest.mark.parametrize("version", [(3, 10), (3, 15)])
def test_that_another_python_is_told_so(
    version: tuple[int, int],
    start: ModuleType,
    calls: list[list[str]],
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    kind = namedtuple("kind", "major minor micro releaselevel serial")
    monkeypatch.setattr(sys, "version_info", kind(*version, 0, "final", 0))
    assert start.main([]) == 1
    assert capsys.readouterr().err.startswith(f"this is Python {version[0]}.{version[1]}; expected 3.11 to 3.14")
    assert calls == []


def test_that_other_words_are_a_usage_error(start: ModuleType, capsys: pytest.CaptureFixture[str]) -> None:
    assert start.main(["tests"]) == 2
    assert "usage" in capsys.readouterr().err


def test_that_it_installs_once_and_again_only_when_what_is_needed_has_changed(
    start: ModuleType, calls: list[list[str]]
) -> None:
    start.VENV.mkdir()
    start.python().parent.mkdir()
    start.python().touch()
    assert start.install("test") == 0
    assert [command[1:3] for command in calls] == [["-m", "venv"], ["-m", "pip"]]
    assert calls[1][-1] == f"{start.ROOT}[test]"
    calls.clear()
    assert start.install("test") == 0
    assert start.install("") == 0  # what the tests need holds what the program needs
    assert calls == []
    (start.ROOT / "constraints.txt").write_text("numpy==9.9\n", encoding="utf-8")
    assert start.install("") == 0
    assert len(calls) == 2


def test_that_a_failed_installation_is_tried_again_and_its_status_passed_on(
    start: ModuleType, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(subprocess, "call", lambda command, **_: 7 if "pip" in command else 0)
    assert start.install("") == 7
    assert "could not be installed" in capsys.readouterr().err
    assert list(start.ROOT.glob(".venv/installed*")) == []


def test_that_the_status_of_the_check_and_of_the_tests_passes_through(
    start: ModuleType, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(start, "settle_system", lambda _: None)
    monkeypatch.setattr(start, "install", lambda _: 0)
    monkeypatch.setattr(subprocess, "call", lambda command, **_: 40 if "check" in command else 5)
    assert start.main([]) == 40
    assert start.main(["test"]) == 5


def test_that_the_engine_is_compiled_before_the_tests_start(
    start: ModuleType, calls: list[list[str]], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(start, "settle_system", lambda _: None)
    monkeypatch.setattr(start, "install", lambda _: 0)
    assert start.main(["test"]) == 0
    assert calls[0] == [str(start.python()), "-m", "kinematics.engine.compiled"]
    assert [("pytest" in command) for command in calls] == [False, True]


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="system libraries are looked for on Linux only")
class TestOnLinux:
    def test_that_what_is_missing_is_named_with_its_package_where_it_cannot_be_installed(
        self,
        start: ModuleType,
        calls: list[list[str]],
        monkeypatch: pytest.MonkeyPatch,
        capsys: pytest.CaptureFixture[str],
    ) -> None:
        monkeypatch.setattr(start, "is_there", lambda name: name not in ("Xvfb", "xcb-cursor"))
        monkeypatch.setattr(start, "has_display", lambda: False)
        monkeypatch.setattr("os.geteuid", lambda: 1000)
        start.settle_system(is_test=True)
        said = capsys.readouterr().err
        assert "missing on this machine: Xvfb (Debian package xvfb)" in said
        assert "apt-get install -y --no-install-recommends libxcb-cursor0 xvfb" in said
        assert calls == []

    def test_that_root_on_debian_installs_what_is_missing(
        self, start: ModuleType, calls: list[list[str]], monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr(start, "is_there", lambda name: name != "xcb-icccm")
        monkeypatch.setattr("os.geteuid", lambda: 0)
        monkeypatch.setattr("shutil.which", lambda name: f"/usr/bin/{name}")
        start.settle_system(is_test=True)
        assert [command[:2] for command in calls] == [["apt-get", "update"], ["apt-get", "install"]]
        assert calls[1][-1] == "libxcb-icccm4"

    def test_that_the_demo_needs_no_screen_and_no_window(
        self, start: ModuleType, calls: list[list[str]], monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr(start, "is_there", lambda name: name in ("ensurepip", "stdc++"))
        start.settle_system(is_test=False)
        assert calls == []

    def test_that_the_tests_get_a_virtual_screen_only_where_there_is_none(
        self, start: ModuleType, calls: list[list[str]], monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr("shutil.which", lambda name: f"/usr/bin/{name}")
        monkeypatch.setattr(start, "has_display", lambda: False)
        start.run_tests()
        monkeypatch.setattr(start, "has_display", lambda: True)
        start.run_tests()
        assert [command[0] for command in calls] == ["xvfb-run", str(start.python())]
