"""What every test finds: this folder's modules, a home of its own, and the command run in this process."""

from __future__ import annotations

import json
import os
import shutil
import signal
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import count
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings

from fieldtune import person_units
from fieldtune.cli import main
from fieldtune.robot import find_profile

# The same examples on every run, so that a check of a change tells of that change; FIELDTUNE_EXAMPLES=new tries others.
settings.register_profile("same", derandomize=True)
if os.environ.get("FIELDTUNE_EXAMPLES") != "new":
    settings.load_profile("same")
_NUMBERS = count()


@dataclass(frozen=True)
class Ran:
    """What a command printed, what it complained of, and its exit code."""

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


@pytest.fixture(autouse=True)
def _metric() -> Iterator[None]:
    """No test's choice of units holds for the next."""
    person_units.use("metric")
    yield
    person_units.use("metric")


@pytest.fixture(autouse=True, scope="session")
def _kept(tmp_path_factory: pytest.TempPathFactory) -> None:
    """No test begins with what the real program kept for its next start, or changes what a person chose there."""
    os.environ["XDG_CACHE_HOME"] = str(tmp_path_factory.mktemp("cache"))
    os.environ["XDG_CONFIG_HOME"] = str(tmp_path_factory.mktemp("settings"))


@pytest.fixture(autouse=True)
def _settings(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nor what another test chose."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path_factory.getbasetemp() / f"settings {next(_NUMBERS)}"))


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty folder for profiles and logs, so that the demonstration robots serve."""
    folder = tmp_path / "home"
    monkeypatch.setenv("FIELDTUNE_PROFILES", str(folder))
    return folder


@pytest.fixture
def heron_home(tmp_path: Path) -> Path:
    """A folder of profiles in which one robot is."""
    home = tmp_path / "profiles"
    home.mkdir()
    shutil.copy(find_profile("heron"), home / "heron.toml")
    return home


@pytest.fixture
def run(home: Path, capsys: pytest.CaptureFixture[str]) -> Run:
    """Runs a command, given as words and paths."""

    def call(*argv: object) -> Ran:
        code = main([str(word) for word in argv])
        captured = capsys.readouterr()
        return Ran(code, captured.out, captured.err)

    return call


@pytest.fixture
def fails(run: Run) -> Callable[..., str]:
    """Runs a command that has to fail with this exit code, in one line; returns the line."""

    def call(*argv: object, code: int = 2) -> str:
        ran = run(*argv)
        assert ran.code == code, ran
        assert ran.out == ""
        assert ran.err.startswith("fieldtune: ")
        assert ran.err.count("\n") == 1
        assert "Traceback" not in ran.err
        assert "fault of the program" not in ran.err
        return ran.err

    return call


@pytest.fixture(scope="session")
def waiting_table(request: pytest.FixtureRequest) -> Iterator[Any]:
    """The one table that a run of the bench ends with."""
    from bench_table import Table  # beside the bench that asks for it

    table = Table()
    yield table
    capture = request.config.pluginmanager.getplugin("capturemanager")
    with capture.global_and_fixture_disabled():
        print(f"\n\nWhat people wait for\n{table.text()}\n")
