"""Wrong input gets exit code 2 and one line that names place and remedy."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Fails = Callable[..., str]
SHOT = ("shot", "heron", "--distance", "1.8 m", "--setpoint", "1440")


@pytest.mark.parametrize(
    ("argv", "words"),
    [
        (("ami", "heron"), "did you mean aim"),
        (("aim",), "ROBOT"),
        (("aim", "heron"), "--distance --spot"),
        (("aim", "heron", "--distance", "3.2"), 'write "3.2 m"'),
        (("aim", "heron", "--distance=-1"), 'write "-1 m"'),
        (("aim", "heron", "--distance", "-1 m"), "at least 1 mm"),
        (("aim", "heron", "--distance", "3.2 kg"), "a mass"),
        (("aim", "heron", "--distance", "near"), "--distance"),
        (("aim", "heron", "--distance", "nan m"), "--distance"),
        (("aim", "heron", "--distance", ""), "--distance"),
        (("aim", "heron", "--distance", "5 km"), "at most 100 m"),
        (("aim", "heron", "--distance", "2 m", "--spot", "near line"), "not allowed with"),
        (("aim", "heron", "--spot", "moon"), "no spot of that name"),
        (("aim", "heron", "--distance", "2 m", "--battery", "9.9"), 'write "9.9 V"'),
        (("aim", "heron", "--distance", "2 m", "--battery", "0 V"), "at least 0.1 V"),
        (("aim", "heron", "--distance", "2 m", "--target", "roof"), "no target 'roof'; its one target has no name"),
        (("aim", "crane", "--distance", "2 m", "--target", "roof"), "no target 'roof'; it has: lower, upper"),
        (("aim", "herron", "--distance", "2 m"), "heron"),
        (("aim", "9" * 400, "--distance", "2 m"), "no robot"),
        (("aim", "gone/heron.toml", "--distance", "2 m"), "no such file"),
        (("aim", "heron", "--dist", "2 m"), "unknown option --dist; did you mean --distance?"),
        (("--profile", "here", "robots"), "did you mean --profiles?"),
        (("heron",), "fieldtune console heron"),
        (("stand", "heron"), "--setpoint"),
        (("stand", "heron", "--setpoint", "fast"), "heron takes 600 to 2500 rpm"),
        (("stand", "heron", "--setpoint", "58 mm"), "takes 600 to 2500 rpm"),
        (("stand", "heron", "--setpoint", "-5"), "heron takes"),
        (("stand", "heron", "--setpoint", "nan"), "heron takes"),
        (SHOT, "how did the shot end"),
        ((*SHOT, "--result", "lon"), "did you mean long"),
        ((*SHOT, "--result", "in", "--speed", "1431 kg"), "at release, in rpm"),
        ((*SHOT, "--result", "in", "--miss", "-12"), 'write "-12 m"'),
        (("exclude", "heron", "--shot", "1", "--reason", "why"), "no shot 1"),
        (("exclude", "heron", "--shot", "one", "--reason", "why"), "--shot"),
        (("exclude", "heron", "--shot", "9" * 30, "--reason", "why"), "a shot's number"),
        (("swap", "heron", "--label", "two\nlines"), "one line of plain text"),
        (("check", "gone.toml"), "no such file"),
        (("check", "herron"), "heron"),
        (("new", "Bad Name", "--kind", "arm"), "Bad Name"),
        (("new", "../up", "--kind", "arm"), "../up"),
        (("new", "skua", "--kind", "catapult"), "flywheel, striker, arm"),
        (("shots", "heron", "extra"), "extra"),
    ],
)
def test_wrong_input_is_told_in_one_line(fails: Fails, argv: tuple[str, ...], words: str) -> None:
    assert words in fails(*argv)


def test_a_setpoint_that_scores_nowhere_is_told_apart(run: Callable[..., Any]) -> None:
    assert "outside what heron takes (600 to 2500 rpm)" in run("stand", "heron", "--setpoint", "7000").out
    assert "try a higher setpoint" in run("stand", "heron", "--setpoint", "620").out


def test_nothing_is_made_by_a_mistake(fails: Fails, home: Path) -> None:
    fails(*SHOT)
    assert not home.exists()


def test_a_damaged_log_is_named_and_kept(fails: Fails, home: Path) -> None:
    home.mkdir()
    log = home / "heron.db"
    log.write_bytes(b"scribble" * 1000)
    assert str(log) in fails("shots", "heron", code=1)
    assert log.read_bytes() == b"scribble" * 1000


def test_a_home_that_is_a_file_is_named(fails: Fails, home: Path) -> None:
    home.write_text("not a folder")
    assert str(home) in fails(*SHOT, "--result", "in")
    assert f"{home}: is a file" in fails("robots")


def test_profiles_may_stand_before_or_behind_the_command(run: Callable[..., object], tmp_path: Path) -> None:
    before, behind = tmp_path / "before", tmp_path / "behind"
    run("--profiles", str(before), "swap", "heron")
    run("swap", "heron", "--profiles", str(behind))
    assert (before / "heron.db").exists()
    assert (behind / "heron.db").exists()
