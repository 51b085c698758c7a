"""A recording that takes long to read: how far it is, is said on standard error, and only then."""

from __future__ import annotations

import gzip
import re
import tracemalloc
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from fieldtune.link.recordings.recording import Recorder
from fieldtune.link.recordings.recording_reader import RecordedLine

Run = Callable[..., Any]


def capture(path: Path, count: int) -> Path:
    lines = (b"wheel_rpm=%d,battery_mv=9800\n" % (1500 + i % 7) for i in range(count))
    with gzip.open(path, "wb") as packed:
        packed.writelines(lines)
    return path


def test_a_long_capture_says_how_far_it_is(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = capture(tmp_path / "run.gz", 400)
    quiet = run("replay", str(path), "heron")
    assert quiet.err == ""
    monkeypatch.setattr("fieldtune.commands.printing._SILENT_S", 0.0)
    monkeypatch.setattr("fieldtune.commands.printing._SAID_AGAIN_S", 0.001)
    said = run("replay", str(path), "heron")
    assert said.out == quiet.out
    shares = [
        int(n) for n in re.findall(rf"^fieldtune: reading {re.escape(str(path))}: (\d+) % so far$", said.err, re.M)
    ]
    assert len(shares) >= 3
    assert shares == sorted(shares)
    assert shares[0] < 50 < shares[-1]
    assert len(shares) == said.err.count("\n")


def test_of_a_recording_of_ours_its_minutes_are_said(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "line.rec"
    recorder = Recorder(path, {"robot": "heron"})
    for i in range(300):
        recorder.write(i * 1_000_000, b"wheel_rpm=1500,battery_mv=9800\n")
    recorder.close()
    monkeypatch.setattr("fieldtune.commands.printing._SILENT_S", 0.0)
    monkeypatch.setattr("fieldtune.commands.printing._SAID_AGAIN_S", 0.001)
    assert re.search(r"line\.rec: [1-5] min of it so far\n", run("replay", str(path), "heron").err)


def test_lines_of_a_large_capture_are_taken_a_piece_at_a_time(tmp_path: Path) -> None:
    path = tmp_path / "run.txt"
    path.write_bytes(b"rpm=1500\n" * 600_000)
    chunks = RecordedLine(path).chunks()
    tracemalloc.start()
    next(chunks)
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert most < 3 * path.stat().st_size
    assert sum(1 for _ in chunks) == 599_999
