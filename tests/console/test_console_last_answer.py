"""The answer of the last start in the first frame: the words of the full answer, and for other evidence never."""

from __future__ import annotations

import json
import os
import re
import shutil
import sqlite3
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from console_driver import ScriptedLine, drive, until
from terminal import Terminal
from textual.pilot import Pilot

from fieldtune import person_units
from fieldtune.aim.results import Aim
from fieldtune.caution import CAUTION_KEY
from fieldtune.console import ConsoleApp, UnopenedLine, last_answer
from fieldtune.console.last_answer import LastAnswer, keep
from fieldtune.learn.measured import Evidence
from fieldtune.port_names import LAST_PORT
from fieldtune.records import UnansweredShot
from fieldtune.robot import find_profile, load_robot
from fieldtune.session import Session


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Path, dict[Path, bytes]]]:
    """A robot of one's own with shots, a battery and the answer kept: its folder, and what is in it."""
    home = tmp_path_factory.mktemp("home")
    with pytest.MonkeyPatch.context() as settings:
        settings.setenv("XDG_CACHE_HOME", str(home / "cache"))
        _make(home)
        yield home, {path: path.read_bytes() for path in home.rglob("*") if path.is_file()}


def _make(home: Path) -> None:
    shutil.copy(find_profile("heron"), home)
    with opened(home) as session:
        session.swap("A")
        session.log.add_battery("A", 0.1, 10.4)
        for miss in (-0.1, 0.02, 0.05):
            session.confirm(1.5, 1380.0, miss_m=miss)
        kept_now(session)


@pytest.fixture
def home(made: tuple[Path, dict[Path, bytes]]) -> Path:
    """That folder as it was made."""
    folder, files = made
    for path in folder.iterdir():
        if path.is_dir() and not path.is_symlink():
            shutil.rmtree(path)
        else:
            path.unlink()
    for path, content in files.items():
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    return folder


def kept_file(home: Path) -> Path:
    """Where the answer for the next start is kept."""
    with opened(home) as session:
        path = LastAnswer(session).path
    assert path is not None
    return path


def kept_now(session: Session) -> None:
    """Keeps the answer as the console does."""
    answer = LastAnswer(session).made()
    assert answer is not None
    keep(*answer)


def opened(home: Path) -> Session:
    """A session as a new process opens it."""
    return Session.beside_profile(load_robot(home / "heron.toml"), home)


def recalled(home: Path) -> Aim | None:
    """What a new start begins with."""
    with opened(home) as session:
        return LastAnswer(session).recall()


def test_it_is_the_answer_in_full(home: Path) -> None:
    with opened(home) as session:
        assert recalled(home) == session.aim(1.5, unread=True)
        assert LastAnswer(session).made() is not None  # it knows of none
        again = LastAnswer(session)
        assert again.recall() is not None
        assert again.made() is None  # it is kept already


def _rewritten(home: Path, old: str, new: str) -> None:
    profile = home / "heron.toml"
    text = profile.read_text()
    assert old in text
    profile.write_text(text.replace(old, new))


def _other_program(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("fieldtune.__version__", "9.9.9")


def _other_files(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    package = home / "fieldtune"
    (package / "aim").mkdir(parents=True)
    for name in ("__init__.py", "aim/hit_chance.py"):
        (package / name).write_text("")
    monkeypatch.setattr("fieldtune.__file__", str(package / "__init__.py"))


def _damaged_row(home: Path, _: pytest.MonkeyPatch) -> None:
    with opened(home) as session:
        session.confirm(1.5, 1390.0, "in")
        kept_now(session)
    db = sqlite3.connect(home / "heron.db")
    db.execute("DROP TRIGGER shots_keep")
    db.execute("UPDATE shots SET setpoint = 1391 WHERE shot = 4")
    db.execute(
        "CREATE TRIGGER shots_keep BEFORE UPDATE ON shots BEGIN SELECT RAISE(ABORT, 'shots are only ever added'); END"
    )
    db.commit()
    db.close()


Change = Callable[[Session], object]
IN_THE_LOG: dict[str, Change] = {
    "a shot": lambda s: s.confirm(1.5, 1400.0, "in"),
    "a shot elsewhere": lambda s: s.confirm(3.0, 1900.0, "short"),
    "a correction": lambda s: s.correct(2, miss_m=0.3),
    "an undone shot": lambda s: s.undo(),
    "a shot undone and done again": lambda s: (s.undo(), s.redo()),
    "a shot left out": lambda s: s.exclude(1, "slipped"),
    "another battery period": lambda s: s.swap("B"),
    "the battery's name": lambda s: s.log.label_battery("C"),
    "the battery's resistance": lambda s: s.log.add_battery("A", 0.2, 10.0),
    "a measured exit angle": lambda s: s.measure(Evidence("exit_angle", 49.0, 1.0)),
    "what an encoder's check found": lambda s: s.log.remember("encoder check", "[]"),
    "a small thing that nobody knows yet": lambda s: s.log.remember("whatever comes", "1"),
}
ELSEWHERE: dict[str, Callable[[Path, pytest.MonkeyPatch], object]] = {
    "a profile's figure": lambda home, _: _rewritten(home, 'grip = "5 %"', 'grip = "6 %"'),
    "the first spot": lambda home, _: _rewritten(home, 'distance = "1.5 m"', 'distance = "1.6 m"'),
    "the target": lambda home, _: _rewritten(home, 'opening = "36 cm"', 'opening = "35 cm"'),
    "the setpoint's unit": lambda home, _: _rewritten(home, 'step = "10 rpm"', 'step = "20 rpm"'),
    "another version": _other_program,
    "files of another version": _other_files,
    "units": lambda _, monkeypatch: monkeypatch.setattr(person_units, "us", lambda: True),
    "a damaged row": _damaged_row,
    "the log of another robot": lambda home, _: (home / "heron.db").unlink(),
    "shots waiting beside the log": lambda home, _: (home / "heron-waiting-1-1.db").touch(),
    "a rescue file": lambda home, _: (home / "heron-rescue.db").touch(),
}


@pytest.mark.parametrize("change", IN_THE_LOG)
def test_other_evidence_in_the_log_has_no_kept_answer(home: Path, change: str) -> None:
    assert recalled(home) is not None
    with opened(home) as other:
        IN_THE_LOG[change](other)
    assert recalled(home) is None


@pytest.mark.parametrize("change", ELSEWHERE)
def test_other_robots_and_programs_have_no_kept_answer(
    home: Path, change: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert recalled(home) is not None
    ELSEWHERE[change](home, monkeypatch)
    assert recalled(home) is None


def test_what_no_answer_rests_on_changes_nothing(home: Path) -> None:
    with opened(home) as other:
        other.log.open_console("someone")
        other.log.remember(CAUTION_KEY, "yes")
        other.log.remember(LAST_PORT, "{}")
        other.log.keep_unanswered(
            UnansweredShot("u", "2026-11-28T10:00:00.000Z", 1.5, "spot", 1400.0, None, None, None)
        )
        other.log.close_console()
    assert recalled(home) is not None


def test_a_shot_written_meanwhile_by_another_program_is_seen(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with opened(home) as session, opened(home) as other:
        answer = session.aim

        def slow(*args: Any, **more: Any) -> Aim:
            found = answer(*args, **more)
            other.confirm(1.5, 1400.0, "in")
            return found

        monkeypatch.setattr(session, "aim", slow)
        assert LastAnswer(session).made() is None


def test_a_locked_log_is_not_waited_for(home: Path) -> None:
    with opened(home) as session:
        db = sqlite3.connect(home / "heron.db", isolation_level=None)
        db.execute("BEGIN EXCLUSIVE")
        assert LastAnswer(session).recall() is None
        db.close()


def test_a_damaged_file_is_no_answer(home: Path) -> None:
    path, right = kept_file(home), recalled(home)
    whole = path.read_bytes()
    with opened(home) as session:
        for at in range(0, len(whole), 9):
            for content in (whole[:at], whole[:at] + bytes([whole[at] ^ 1]) + whole[at + 1 :]):
                path.write_bytes(content)
                assert LastAnswer(session).recall() in (None, right), content


def _forged(home: Path, **changes: object) -> None:
    """The file with an answer that someone else wrote, its sum made to fit."""
    path = kept_file(home)
    found = json.loads(path.read_text())
    found["aim"].update(changes)
    found["sum"] = last_answer._digest(found["key"], found["aim"])
    path.write_text(json.dumps(found))


FORGED: dict[str, dict[str, object]] = {
    "an escape": {"cautions": ["\x1b[2J all is safe"]},
    "too many words": {"cautions": ["x"] * 1000},
    "a book": {"cautions": ["x" * 5000]},
    "a setpoint that the robot doesn't take": {
        "setpoint": {"value": 9e9, "unit": "rpm", "low": 1.0, "high": 2.0}
    },
    "another unit": {"setpoint": {"value": 1400.0, "unit": "%", "low": 1390.0, "high": 1410.0}},
    "a chance above one": {"hit_probability": 1.5},
    "no number": {"hit_probability": float("nan")},
    "a number nobody can hold": {"hit_probability": 10**400},
    "a word for a number": {"apex_m": "high"},
    "a number for a truth": {"reachable": 1},
    "another robot": {"robot": "otter"},
    "another distance": {"distance_m": 3.0},
    "a battery": {"battery_v": 9.0},
    "another field": {"more": 1},
}  # fmt: skip


@pytest.mark.parametrize("what", FORGED)
def test_what_cannot_be_an_answer_is_none(home: Path, what: str) -> None:
    _forged(home)
    assert recalled(home) is not None
    _forged(home, **FORGED[what])
    assert recalled(home) is None


@pytest.mark.skipif(os.name != "posix", reason="owners, links and pipes as POSIX has them")
def test_a_file_that_is_not_ones_own_is_no_answer(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path, other = kept_file(home), home / "other.json"
    content = path.read_bytes()
    path.rename(other)
    path.symlink_to(other)
    assert recalled(home) is None
    path.unlink()
    os.mkfifo(path)
    assert recalled(home) is None
    path.unlink()
    path.mkdir()
    assert recalled(home) is None
    keep(path, content)  # in vain
    assert path.is_dir()
    path.rmdir()
    for text in (b"", b"[]", b"3", b"{}", b"[" * 15_000, b'{"key": [], "sum": {}, "aim": 1}', content + b" " * 30_000):
        path.write_bytes(text)
        assert recalled(home) is None
    path.write_bytes(content)
    assert recalled(home) is not None
    monkeypatch.setattr(os, "getuid", lambda: path.stat().st_uid + 1)
    assert recalled(home) is None


def test_before_the_first_shot_an_answer_is_kept_but_no_log_made(tmp_path: Path) -> None:
    demo = tmp_path / "nothing here yet"
    with Session.beside_profile(load_robot(find_profile("heron")), demo) as session:
        assert LastAnswer(session).recall() is None
        kept_now(session)
        assert LastAnswer(session).recall() == session.aim(1.5, unread=True)
        assert not demo.exists()
        session.confirm(1.5, 1400.0, "in")
        assert LastAnswer(session).recall() is None


def test_without_a_log_or_a_spot_none_is_kept(tmp_path: Path) -> None:
    with Session(load_robot("heron")) as memory:
        assert LastAnswer(memory).made() is None
    profile = find_profile("heron").read_text()
    (tmp_path / "heron.toml").write_text(profile[: profile.index("[[spots]]")])
    with opened(tmp_path) as session:
        session.confirm(1.5, 1400.0, "in")
        assert LastAnswer(session).made() is None
        assert LastAnswer(session).recall() is None


def test_for_another_place_or_target_it_is_not_shown(home: Path) -> None:
    session, go, line = opened(home), threading.Event(), ScriptedLine(setpoint=None, distance_m=None)
    session.log.remember(CAUTION_KEY, "yes")

    def open_line() -> ScriptedLine:
        assert go.wait(30)
        return line

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        text = await until(app, pilot, "From 1.50 m")
        assert "Chance" in text
        await pilot.press("2")
        text = await until(app, pilot, "From 2.00 m")
        assert "Chance" not in text
        assert "rpm" not in text
        await pilot.press("1")
        await until(app, pilot, "From 1.50 m")
        go.set()
        await until(app, pilot, "wheel above by")
        assert app.controller.shooting.aim is not app.controller.advisor._recalled

    drive(ConsoleApp(session.robot, session, UnopenedLine(open_line)), script)


def watched(home: Path, columns: int, rows: int, kept: Path) -> tuple[list[str], str]:
    """The screens before the line is open, and the one with the full answer; quits once an answer is ``kept``."""
    screens: list[str] = []
    with Terminal("console", "heron", profiles=home, columns=columns, rows=rows, watch=screens.append) as running:
        running.wait("Ready|, shoot once")
        early = [text for text in screens if "Opening the line" in text]
        most = max(map(said, early), key=len, default=[])
        full = running.wait(lambda text: kept.exists() and all(words in text for words in most))
        running.press("q")
        running.process.wait(20)
    return early, full


def said(text: str) -> list[str]:
    """What a first frame says of the setpoint: good range, chance, what it rests on, cautions."""
    return [line.strip() for line in text.split("\n") if re.match(" (Good|Chance|from|!) ", line)]


@pytest.mark.parametrize(("columns", "rows"), [(120, 40), (80, 24)])
def test_the_first_frame_says_what_the_full_answer_says(home: Path, columns: int, rows: int) -> None:
    """On a real terminal, with no line, so that the full answer is for the same question."""
    _rewritten(home, 'port = "auto"', 'port = "none"')
    with opened(home) as session:
        session.log.remember(CAUTION_KEY, "yes")
    kept = kept_file(home)
    kept.unlink()
    early, _ = watched(home, columns, rows, kept)
    assert not early or "Chance" not in early[0]
    whole: list[str] = []
    for _ in range(4):  # on a busy machine the line may be open before anything is painted
        early, full = watched(home, columns, rows, kept)
        heads = [[words.split()[0] for words in said(text)] for text in early]
        whole = [text for text, head in zip(early, heads, strict=True) if head == ["Good", "Chance", "from", "!"]]
        whole = [text for text in whole if "From 1.50 m  quay edge" in text]
        if whole:
            break
    first = whole[0]
    value = re.search(r"Set the wheel to (\d{4} rpm)", first)
    assert value is not None
    assert f"Set the wheel to {value[1]}, shoot" in full
    assert all(words in full for words in said(first))
