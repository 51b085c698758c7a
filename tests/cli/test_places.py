"""Odd places and streams: long paths, umlauts, line ends and code pages of other systems, files held open."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from thorough import thorough

from fieldtune.robot import load_profile
from fieldtune.robot.home import demo_home

Run = Callable[..., Any]
FOLDERS = ["two words", "Übergröße ß", "größe 机器人", "%20 & 'quoted'", "#hash ?query=1", "a" * 200]
STREAMS = ("cp1252", "cp437", "ascii")
OFTEN = [
    ("aim heron --distance 2.1m", "cp1252"),
    ("check otter", "cp437"),
    ("size crane", "ascii"),
    ("table heron --from 2m --to 3m", "cp1252"),
]


@pytest.mark.parametrize("name", FOLDERS, ids=range(len(FOLDERS)))
def test_a_folder_of_any_name_serves(name: str, run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    home = tmp_path / name
    monkeypatch.setenv("FIELDTUNE_PROFILES", str(home))
    assert run("shot", "heron", "--distance", "2 m", "--setpoint", "1300", "--result", "in").code == 0
    assert (home / "heron.db").is_file()
    packed, sheet = home / f"{name[:40]}.json", home / f"{name[:40]}.html"
    for words in (("pack", "heron", packed), ("sheet", "heron", "--out", sheet)):
        ran = run(*words)
        assert ran.code == 0, ran
    monkeypatch.setenv("FIELDTUNE_PROFILES", str(tmp_path / f"other {name}"[:200]))
    assert run("merge", packed).code == 0
    assert run("shots", "heron", "--json").json["shots"][0]["setpoint"] == 1300


@pytest.mark.parametrize(
    ("words", "stream"),
    [
        *(("nonsense ä→", stream) for stream in STREAMS),
        *OFTEN,
        *thorough(*((words, stream) for words, _ in OFTEN for stream in STREAMS if (words, stream) not in OFTEN)),
    ],
)
def test_a_stream_that_lacks_letters_gets_others_instead(words: str, stream: str, home: Path) -> None:
    """Code pages of a Windows console."""
    done = subprocess.run(
        [sys.executable, "-m", "fieldtune", *words.split()],
        env={**os.environ, "PYTHONIOENCODING": stream, "PYTHONUTF8": "0"},
        capture_output=True,
        timeout=60,
    )
    said = (done.stdout + done.stderr).decode(stream)
    assert done.returncode == (2 if "nonsense" in words else 0), said
    assert "Traceback" not in said
    assert "fault of the program" not in said
    assert "UnicodeEncodeError" not in said


def test_a_profile_with_the_line_ends_and_mark_of_windows(tmp_path: Path) -> None:
    text = (demo_home() / "heron.toml").read_text(encoding="utf-8")
    path = tmp_path / "heron.toml"
    path.write_bytes(b"\xef\xbb\xbf" + text.replace("\n", "\r\n").encode())
    assert replace(load_profile(path), path=None) == replace(load_profile(demo_home() / "heron.toml"), path=None)


def test_a_file_that_another_program_holds_open(fails: Run, home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Windows refuses to replace it."""

    def held(*_: object) -> None:
        raise PermissionError(13, "The process cannot access the file because it is being used by another process")

    out = home.parent / "pit.html"
    out.write_text("before", encoding="utf-8")
    monkeypatch.setattr(os, "replace", held)
    said = fails("sheet", "heron", "--out", out, "--force")
    assert "being used by another process" in said
    assert out.read_text(encoding="utf-8") == "before"
    assert not list(home.parent.glob(".fieldtune-*"))
