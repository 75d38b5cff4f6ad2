"""The first run of all: it compiles the exact engine, and says what it is at."""

from __future__ import annotations

import sys

import pytest

from app.cli.running import prepare_engine
from kinematics.engine import compiled, kernel_cache


class Said:
    """A progress that keeps what it was told."""

    def __init__(self) -> None:
        self.lines: list[str] = []

    def at(self, text: str) -> None:
        self.lines.append(text)


@pytest.fixture
def made(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    calls: list[str] = []
    monkeypatch.setattr(compiled, "compile_all", lambda: calls.append("compiled"))
    return calls


def test_that_it_is_said_before_the_engine_is_compiled(made: list[str], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(kernel_cache, "is_ready", lambda: False)
    said = Said()
    prepare_engine(said)  # type: ignore[arg-type]
    assert said.lines == ["preparing the exact engine, once, about 25 s"]
    assert made == ["compiled"]


def test_that_nothing_is_said_and_no_compiler_imported_where_it_is_ready(
    made: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(kernel_cache, "is_ready", lambda: True)
    monkeypatch.setitem(sys.modules, "kinematics.engine.compiled", None)  # an import of it would fail
    said = Said()
    prepare_engine(said)  # type: ignore[arg-type]
    assert said.lines == [] and made == []
