"""Three consoles, two who type commands and a merge on one log at once; and a disk on which nothing can be locked."""

from __future__ import annotations

import os
import shutil
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

import pytest

from fieldtune.store import Store

pytestmark = pytest.mark.torture
HERE = Path(__file__).parent
ACTS = int(os.environ.get("FIELDTUNE_ACTS", "5000"))


def test_thousands_of_acts_of_six_at_one_log(tmp_path: Path) -> None:
    path = tmp_path / "heron.db"
    Store(path).add(1.0, 1400.0, "in")
    kinds = ["console"] * 3 + ["command"] * 2 + ["merge"]
    env = {**os.environ, "OPENBLAS_NUM_THREADS": "1"}
    running = [
        subprocess.Popen(
            [sys.executable, HERE / "several_driver.py", kind, path, str(ACTS // len(kinds)), str(seed)],
            env=env, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        )
        for seed, kind in enumerate(kinds)
    ]  # fmt: skip
    for process in running:
        assert process.stdout is not None
        assert process.stdout.readline() == "ready\n", process.communicate()[1]
    start = time.monotonic()
    said: list[list[str]] = []
    for process in running:
        assert process.stdin is not None
        process.stdin.write("go\n")
        process.stdin.flush()
    for process in running:
        assert process.stdout is not None
        lines: list[str] = []
        while not lines or not lines[-1].startswith("busy"):
            line = process.stdout.readline()
            assert line, process.communicate()[1]
            lines.append(line.rstrip("\n"))
        said.append(lines)
    took = time.monotonic() - start
    for process in running:
        process.communicate()
        assert process.returncode == 0
    confirmed = [line for lines in said for line in lines[:-1]]
    busy = sum(int(lines[-1].removeprefix("busy ")) for lines in said)
    with Store(path)._reading() as db:
        there = [row["uid"] for row in db.execute("SELECT uid FROM shots ORDER BY shot")][1:]
        assert db.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
        turns = db.execute(
            "SELECT turn.kind, turn.author AS who, done.author AS whose FROM acts turn JOIN marks m ON m.uid = turn.uid"
            " JOIN acts done ON done.uid = m.subject WHERE turn.kind IN ('undo', 'redo') AND done.act > 1"
        ).fetchall()
        count = db.execute("SELECT count(*) FROM acts").fetchone()[0]
    others = sum(row["who"] != row["whose"] for row in turns)
    lost, doubled = len(set(confirmed) - set(there)), len(there) - len(set(there))
    print(f"\n{len(kinds)} at one log: {ACTS} acts, {count} of them in the order of undo, in {took:.0f} s")
    print(f"told {busy} times that another program has the log locked")
    print(f"{len(confirmed)} shots confirmed: {lost} lost, {doubled} doubled, {len(there) - len(confirmed)} nobody's")
    print(f"{len(turns)} undone or done again: {others} of them somebody else's")
    assert sorted(confirmed) == sorted(there)
    assert not others
    assert not Store(path).damaged()


@pytest.fixture
def no_locks(tmp_path: Path) -> dict[str, str]:
    compiler = shutil.which("gcc") or shutil.which("cc")
    if compiler is None or sys.platform != "linux":
        pytest.skip("needs Linux and a C compiler")
    shim = tmp_path / "no_locks.so"
    subprocess.run([compiler, "-shared", "-fPIC", "-O1", "-o", shim, HERE / "no_locks.c", "-ldl"], check=True)
    return {**os.environ, "LD_PRELOAD": str(shim), "OPENBLAS_NUM_THREADS": "1", "FIELDTUNE_PROFILES": str(tmp_path)}


@pytest.mark.parametrize("command", ["shot", "shots", "undo", "swap", "aim", "robots"])
def test_a_disk_without_locks_is_named_as_such(no_locks: dict[str, str], tmp_path: Path, command: str) -> None:
    path = tmp_path / "heron.db"
    shot = ["--distance", "2 m", "--setpoint", "1400", "--result", "in"]
    plain = {key: value for key, value in no_locks.items() if key != "LD_PRELOAD"}
    start = [sys.executable, "-m", "fieldtune"]
    subprocess.run([*start, "shot", "heron", *shot], env=plain, check=True, capture_output=True)
    before = path.read_bytes()
    more = {"shot": ["heron", *shot], "aim": ["heron", "--distance", "2 m"], "robots": []}.get(command, ["heron"])
    said = subprocess.run([*start, command, *more], env=no_locks, capture_output=True, text=True, check=False)
    told = said.stdout + said.stderr
    assert "can't be locked" in told, told
    assert "Traceback" not in told
    assert said.returncode == (0 if command == "robots" else 1)
    assert path.read_bytes() == before
    assert sqlite3.connect(path).execute("SELECT count(*) FROM shots").fetchone() == (1,)
