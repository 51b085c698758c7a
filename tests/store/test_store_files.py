"""Files that are old, new, damaged, foreign or read-only; several processes; a process that is killed."""

from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from fieldtune.errors import FieldtuneError, StoreError
from fieldtune.store import Store, row_checks, rows
from fieldtune.store.open_file import blank


def test_an_older_log_is_brought_up_and_keeps_its_shots(tmp_path: Path) -> None:
    path = tmp_path / "heron.db"
    db = sqlite3.connect(path, isolation_level=None)
    rows.migrate(db, upto=1)
    db.execute("INSERT INTO epochs (uid, time) VALUES ('e', '2026-01-01T00:00:00.000Z')")
    db.execute(
        "INSERT INTO shots (uid, time, distance_m, setpoint, result, epoch)"
        " VALUES ('s', '2026-01-01T00:00:00.000Z', 1.8, 2450, 'in', 1)"
    )
    db.close()
    store = Store(path)
    assert [shot.uid for shot in store.shots()] == ["s"]
    store.add_battery("A", 0.09)
    store.close()
    assert rows.version_of(sqlite3.connect(path)) == rows.VERSION


def test_a_failed_step_leaves_the_older_log_as_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "heron.db"
    db = sqlite3.connect(path, isolation_level=None)
    rows.migrate(db, upto=1)
    monkeypatch.setattr(rows, "STEPS", (rows.STEPS[0], "CREATE TABLE more (a);\nCREATE TABLE shots (a);\n"))
    with pytest.raises(sqlite3.OperationalError, match="already exists"):
        rows.migrate(db)
    assert rows.version_of(db) == 1
    assert db.execute("SELECT count(*) FROM sqlite_master WHERE name = 'more'").fetchone()[0] == 0


def test_a_newer_log_is_refused_in_one_line(tmp_path: Path) -> None:
    path = tmp_path / "heron.db"
    Store(path).add(1.0, 2000.0, "in")
    with sqlite3.connect(path) as db:
        db.execute("PRAGMA user_version = 99")
    _refused(path, "newer fieldtune")


@pytest.mark.parametrize("content", [b"not a database, but long enough to be looked at" * 40, b"SQLite format 3\0junk"])
def test_a_damaged_log_is_refused_and_left_untouched(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "heron.db"
    path.write_bytes(content)
    _refused(path, "left untouched")
    assert path.read_bytes() == content


def test_a_log_damaged_inside_is_found(tmp_path: Path) -> None:
    path = tmp_path / "heron.db"
    store = Store(path)
    for number in range(300):
        store.add(1.0 + number / 100, 2000.0, "in")
    store.close()
    content = bytearray(path.read_bytes())
    page = 4096
    content[page : len(content) - page] = os.urandom(len(content) - 2 * page)
    path.write_bytes(content)
    _refused(path, "left untouched")
    assert path.read_bytes() == bytes(content)


def test_another_programs_database_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "heron.db"
    with sqlite3.connect(path) as db:
        db.execute("CREATE TABLE recipes (name)")
    before = path.read_bytes()
    _refused(path, "some other program")
    assert path.read_bytes() == before


def test_a_folder_that_is_not_there_is_named(tmp_path: Path) -> None:
    store = Store(tmp_path / "gone" / "heron.db")
    with pytest.raises(StoreError, match=r"gone.*exists and can be written"):
        store.add(1.0, 2000.0, "in")


def test_a_directory_in_its_place_is_refused(tmp_path: Path) -> None:
    (tmp_path / "heron.db").mkdir()
    _refused(tmp_path / "heron.db", "a folder stands")


@pytest.mark.parametrize("version", range(1, rows.VERSION + 1))
def test_a_read_only_log_can_still_be_read(open_folder: Path, version: int) -> None:
    path = open_folder / "heron.db"
    db = sqlite3.connect(path, isolation_level=None)
    row_checks.add_function(db)
    rows.migrate(db, upto=version)
    db.close()
    path.chmod(0o444)
    open_folder.chmod(0o555)
    code = (
        "import os, sys\nfrom fieldtune.errors import StoreError\nfrom fieldtune.store import Store\n"
        "import hashlib, json, tempfile, uuid\n"  # Python itself may lie in the superuser's folder
        "if os.geteuid() == 0:\n    os.setuid(65534)\n"  # the superuser may write anywhere
        "store = Store(sys.argv[1])\nprint(store.shots(), store.batteries())\n"
        "try:\n    store.add(1.0, 2000.0, 'in')\nexcept StoreError as error:\n    print(error)\n"
    )
    done = subprocess.run([sys.executable, "-c", code, str(path)], capture_output=True, text=True)
    assert done.stderr == ""
    empty, refused = done.stdout.splitlines()
    assert empty == "() ()"
    assert str(path) in refused
    assert "can't be written" in refused


@pytest.fixture
def open_folder() -> Iterator[Path]:
    """A folder that other users can reach, which pytest's own isn't."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        folder.chmod(0o755)
        yield folder
        folder.chmod(0o755)


def test_several_processes_lose_nothing(tmp_path: Path) -> None:
    path = tmp_path / "heron.db"  # not there yet: they also race to make it
    code = (
        "import sys\nfrom fieldtune.store import Store\nstore = Store(sys.argv[1])\n"
        "for i in range(15):\n    store.add(1.0 + i, 2000.0, 'in')\n    store.swap(sys.argv[2])\n"
    )
    writers = [subprocess.Popen([sys.executable, "-c", code, str(path), name]) for name in "AB"]
    assert [writer.wait(60) for writer in writers] == [0, 0]
    store = Store(path)
    assert [shot.shot for shot in store.shots()] == list(range(1, 31))
    assert sorted(shot.distance_m for shot in store.shots()) == sorted([1.0 + i for i in range(15)] * 2)
    assert store.epoch == len(store.epochs()) == 31


def test_a_shot_outlives_the_process_that_was_killed(tmp_path: Path) -> None:
    path = tmp_path / "heron.db"
    code = (
        "import os, signal, sys\nfrom fieldtune.store import Store\n"
        "Store(sys.argv[1]).add(1.8, 2450.0, 'in')\nos.kill(os.getpid(), signal.SIGKILL)\n"
    )
    assert subprocess.run([sys.executable, "-c", code, str(path)]).returncode == -signal.SIGKILL
    assert [shot.distance_m for shot in Store(path).shots()] == [1.8]


def test_a_process_killed_amid_a_write_leaves_the_log_whole(tmp_path: Path) -> None:
    path = tmp_path / "heron.db"
    Store(path).add(1.0, 2000.0, "in")
    code = (
        "import os, signal, sys\nfrom fieldtune.store import Store\nstore = Store(sys.argv[1])\n"
        "with store._writing() as db:\n"
        "    db.execute('PRAGMA cache_size = 1')\n"
        "    for i in range(400):\n"
        "        db.execute(\"INSERT INTO epochs (uid, time, label) VALUES (?, '', ?)\", (str(i), 'x' * 500))\n"
        "    os.kill(os.getpid(), signal.SIGKILL)\n"
    )
    assert subprocess.run([sys.executable, "-c", code, str(path)]).returncode == -signal.SIGKILL
    assert len(Store(path).epochs()) == 1
    assert Store(path).add(2.0, 2000.0, "in").shot == 2


def test_a_held_lock_is_told_in_one_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "heron.db"
    Store(path).add(1.0, 2000.0, "in")
    monkeypatch.setattr("fieldtune.store.open_file._WAIT_S", 0.05)
    store = Store(path)
    holder = sqlite3.connect(path, isolation_level=None)
    holder.execute("BEGIN IMMEDIATE")
    with pytest.raises(StoreError, match="locked"):
        store.add(2.0, 2000.0, "in")
    holder.execute("ROLLBACK")
    assert store.add(2.0, 2000.0, "in").shot == 2


def test_a_full_disk_keeps_what_was_kept_and_says_so(tmp_path: Path) -> None:
    """SQLite's own limit on the file's pages gives the error that a full disk gives."""
    path = tmp_path / "heron.db"
    store = Store(path)
    store.add(1.0, 2000.0, "in")
    with store._reading() as db:
        db.execute(f"PRAGMA max_page_count = {db.execute('PRAGMA page_count').fetchone()[0]}")
    with pytest.raises(StoreError, match="the disk is full, so this was not kept"):
        store.swap("a long label " * 2000)
    kept = Store(path)
    assert len(kept.shots()) == 1
    assert kept.epochs() == store.epochs()


def _refused(path: Path, words: str) -> None:
    with pytest.raises(FieldtuneError) as caught:
        Store(path)
    message = str(caught.value)
    assert str(path) in message
    assert words in message
    assert "\n" not in message


def test_the_digest_of_the_schema_is_that_of_a_new_log() -> None:
    """With another one logs are only opened more slowly; after a new step of ``rows.STEPS`` it has to be put there."""
    with closing(blank()) as db:
        assert row_checks.schema_digest(db) == rows.SCHEMA
        db.execute("DROP TRIGGER shots_keep")
        assert row_checks.schema_digest(db) != rows.SCHEMA
