"""Runs the command in this process on a home of its own."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from fieldtune.cli import main


@dataclass(frozen=True)
class Ran:
    code: int
    out: str
    err: str

    @property
    def json(self) -> Any:
        return json.loads(self.out)


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty folder for profiles and logs, so that the demonstration robots serve."""
    folder = tmp_path / "home"
    monkeypatch.setenv("FIELDTUNE_PROFILES", str(folder))
    return folder


@pytest.fixture
def run(home: Path, capsys: pytest.CaptureFixture[str]) -> Callable[..., Ran]:
    def call(*argv: object) -> Ran:
        code = main([str(word) for word in argv])
        captured = capsys.readouterr()
        return Ran(code, captured.out, captured.err)

    return call


@pytest.fixture
def fails(run: Callable[..., Ran]) -> Callable[..., str]:
    """Runs a command that has to fail for wrong input, in one line; returns the line."""

    def call(*argv: object) -> str:
        ran = run(*argv)
        assert ran.code == 2, ran
        assert ran.out == ""
        assert ran.err.startswith("fieldtune: ")
        assert ran.err.count("\n") == 1
        assert "fault of the program" not in ran.err
        return ran.err

    return call
