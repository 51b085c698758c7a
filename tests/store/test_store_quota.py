"""A full quota, as ``ulimit -f`` sets one: said as such, nothing confirmed is lost, and after it all goes on."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from fieldtune import FieldtuneError, Session, load_robot

resource = pytest.importorskip("resource")


@contextmanager
def quota(size: int) -> Iterator[None]:
    """No file of this process may become longer (setrlimit, POSIX); Python ignores the signal that comes with it."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


@pytest.mark.parametrize("share", [0.0, 0.5, 1.0])
def test_a_full_quota_is_said_and_nothing_confirmed_is_lost(tmp_path: Path, share: float) -> None:
    path = tmp_path / "heron.db"
    with Session(load_robot("heron"), store=path) as session:
        confirmed = [session.confirm(2.0, 1500, result="in") for _ in range(3)]

        def shoot_on() -> None:
            for _ in range(100):
                confirmed.append(session.confirm(2.0, 1500, result="short"))

        with quota(int(share * path.stat().st_size)), pytest.raises(FieldtuneError) as caught:
            shoot_on()
        kept = len(confirmed)
        said = str(caught.value)
        assert said.startswith(f"{path}: disk or quota full")
        assert "make room" in said
        assert "not a readable" not in said
        assert len(session.log.shots()) == kept
        session.confirm(2.0, 1500, result="in")
    with Session(load_robot("heron"), store=path) as session:
        assert len(session.log.shots()) == kept + 1


def test_a_first_shot_under_a_full_quota_leaves_no_broken_log(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "fieldtune", "--profiles", str(tmp_path), "shot", "heron"]
    (tmp_path / "heron.toml").write_bytes(Path(str(load_robot("heron").path)).read_bytes())
    command += ["--distance", "2 m", "--setpoint", "1500", "--result", "in"]
    refused = subprocess.run(
        ["/bin/sh", "-c", 'ulimit -f 1; exec "$@"', "sh", *command], capture_output=True, text=True, check=False
    )
    assert refused.returncode == 1
    assert "quota" in refused.stderr
    assert refused.stderr.count("\n") == 1
    with Session(load_robot("heron"), store=tmp_path / "heron.db") as session:
        session.confirm(2.0, 1500, result="in")
        assert len(session.log.shots()) == 1


def test_a_console_reads_its_log_under_a_full_quota(tmp_path: Path) -> None:
    path = tmp_path / "heron.db"
    with Session(load_robot("heron"), store=path) as session:
        session.confirm(2.0, 1500, result="in")
    with Session(load_robot("heron"), store=path) as session:
        with quota(0):
            session.log.open_console("a console")
            assert len(session.log.shots()) == 1
            assert session.aim(2.0).shots_used == 1
        assert "quota full" in (session.log.file.said or "")
        session.confirm(2.0, 1500, result="in")
        assert session.undo() is not None
        session.log.close_console()
