"""Runs the command in this process: what it printed, what it complained of, and its exit code."""

from __future__ import annotations

import json
import signal
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


Run = Callable[..., Ran]


@pytest.fixture(scope="session", autouse=True)
def _interrupts_arrive() -> None:
    """A shell starts what runs in its background deaf to interrupts, and the processes of these tests inherit that."""
    if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
        signal.signal(signal.SIGINT, signal.default_int_handler)


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty folder for profiles and logs, so that the demonstration robots serve."""
    folder = tmp_path / "home"
    monkeypatch.setenv("FIELDTUNE_PROFILES", str(folder))
    return folder


@pytest.fixture
def run(home: Path, capsys: pytest.CaptureFixture[str]) -> Run:
    def call(*argv: str) -> Ran:
        code = main(argv)
        captured = capsys.readouterr()
        return Ran(code, captured.out, captured.err)

    return call


@pytest.fixture
def fails(run: Run) -> Callable[..., str]:
    """Runs a command that has to fail in one line; returns the line."""

    def call(code: int, *argv: str) -> str:
        ran = run(*argv)
        assert ran.code == code, ran
        assert ran.out == ""
        assert ran.err.startswith("fieldtune: ")
        assert ran.err.count("\n") == 1
        assert "Traceback" not in ran.err
        assert "fault of the program" not in ran.err
        return ran.err

    return call
