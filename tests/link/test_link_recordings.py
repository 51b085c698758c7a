"""Recordings: read back as they came, replayed to the bit, rotated, and each file here with its decoding beside it."""

from __future__ import annotations

import contextlib
import gzip
import json
import struct
import tracemalloc
import zlib
from dataclasses import astuple
from pathlib import Path

import numpy as np
import pytest
from link_ptys import wait_for
from link_recordings import HOME, robot_of, summary

from fieldtune import load_robot
from fieldtune.errors import InputError
from fieldtune.link import Monitor, RecordedLine, Recorder, decode
from fieldtune.link.recordings import recording
from fieldtune.link.recordings.recording_reader import CUT_OFF, DAMAGED, MAGIC
from fieldtune.link.troubleshooting.remedies import remedies
from fieldtune.port_names import has_speed

FILES = sorted(p for p in HOME.iterdir() if p.suffix in (".rec", ".txt"))


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.name)
def test_recording_decodes_as_written_beside_it(path):
    expected = json.loads(path.with_suffix(".json").read_text())
    assert json.loads(json.dumps(summary(path))) == expected


def test_no_file_stands_without_its_other_half():
    for path in HOME.iterdir():
        if path.suffix == ".json":
            assert path.with_suffix(".rec") in FILES or path.with_suffix(".txt") in FILES, f"{path.name}: an orphan"
        elif path.is_file():
            assert path in FILES, f"{path.name}: neither a recording nor a decoding"
            assert path.with_suffix(".json").exists(), f"{path.name}: no decoding beside it"
            header = RecordedLine(path).header()
            assert "Invented" in header["about"], f"{path.name}: says not what it is"
            assert (HOME / "robots" / f"{header['robot']}.toml").exists()


def test_what_is_written_is_read(tmp_path):
    rng = np.random.default_rng(3)
    written, now = [], 0
    recorder = Recorder(tmp_path / "a.rec", {"about": "random\nbytes", "robot": "heron"})
    for _ in range(2000):
        now += int(rng.integers(0, 40_000))
        data = rng.integers(0, 256, int(rng.integers(0, 300)), dtype=np.uint8).tobytes()
        recorder.write(now, data)
        written.append((now, data))
    recorder.close()
    assert [(c.arrival_us, c.data) for c in RecordedLine(tmp_path / "a.rec").chunks()] == written
    assert RecordedLine(tmp_path / "a.rec").header() == {"about": "random bytes", "robot": "heron"}


def test_files_are_rotated_by_size_and_the_oldest_go(tmp_path):
    rng = np.random.default_rng(4)
    recorder = Recorder(tmp_path / "a.rec", {}, largest=40_000, keep=3)
    for i in range(400):
        recorder.write(i * 100_000, rng.integers(0, 256, 1000, dtype=np.uint8).tobytes())
    recorder.close()
    left = sorted(tmp_path.iterdir(), key=lambda p: p.stat().st_mtime_ns)
    assert len(left) == 3
    assert all(p.stat().st_size < 80_000 for p in left)
    assert sum(1 for p in left for _ in RecordedLine(p).chunks()) > 60


def test_nothing_heard_leaves_no_file(tmp_path):
    """Forty silent starts of the console must not push the recordings of a match out."""
    recorder = Recorder(tmp_path / "a.rec", {})
    recorder.write(1_000, b"")  # a cable that was plugged in again
    recorder.close()
    assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no /dev/full")
def test_a_disk_that_fills_up_ends_the_recording_and_not_the_reading(tmp_path):
    (tmp_path / "a.rec").symlink_to("/dev/full")
    with Monitor(load_robot("heron"), "sim://heron?seed=5&speed=8", record_to=tmp_path / "a.rec") as monitor:
        told, _ = wait_for(monitor, lambda s: any("recording ended" in words for words in s.health.notices))
        assert "No space left" in " ".join(told.health.notices)
        wait_for(monitor, lambda s: s.health.good > told.health.good + 100)


def test_a_recording_leaves_the_last_of_the_disk_to_the_shots(tmp_path, monkeypatch):
    monkeypatch.setattr(recording, "ROOM_FOR_SHOTS", 10**18)
    recorder = Recorder(tmp_path / "a.rec", {})
    recorder.write(1_000, b"wheel_rpm=1400\n")
    recorder.flush()
    assert "what is left is for the shots" in recorder.failed


def _recorded(path, seconds=20):
    """A recording of lines that say which they are, 50 a second."""
    recorder = Recorder(path, {"about": "numbered lines", "robot": "heron"})
    for i in range(50 * seconds):
        recorder.write(20_000 * i, b"t_ms=%d,wheel_rpm=%d\n" % (20 * i, 2000 + i % 7))
    recorder.close()
    return path.read_bytes()


def _read(path, content):
    path.write_bytes(content)
    return list(RecordedLine(path).chunks())


def test_a_damaged_place_costs_what_stood_in_it_and_is_told(tmp_path):
    """Any one byte hurt: never an error, at most one block of a second lost, all the rest at its own time."""
    content, path = _recorded(tmp_path / "whole.rec"), tmp_path / "hurt.rec"
    whole = _read(path, content)
    assert len(whole) == 1000
    assert all(chunk.data for chunk in whole)
    everything = set(whole)
    for at in range(0, len(content), 37):
        for bit in (0, 7):
            hurt = bytearray(content)
            hurt[at] ^= 1 << bit
            found = _read(path, bytes(hurt))
            samples = [chunk for chunk in found if chunk.data]
            assert set(samples) <= everything, at
            assert len(samples) >= 1000 - 53, at
            if len(samples) < 1000:
                assert [c.why for c in found if not c.data], f"nothing said of the damage at {at}"


def test_damage_in_several_places_is_passed_over(tmp_path):
    content = bytearray(_recorded(tmp_path / "a.rec"))
    content[len(content) // 4] ^= 4
    del content[len(content) // 2 : len(content) // 2 + 30]
    found = _read(tmp_path / "a.rec", bytes(content))
    assert [c.why for c in found if not c.data] == [DAMAGED, DAMAGED]
    assert sum(1 for c in found if c.data) >= 1000 - 3 * 53
    assert decode(tmp_path / "a.rec", load_robot("heron")).live.health.notices[DAMAGED] == 2


def test_a_recording_cut_off_reads_up_to_there_and_says_so(tmp_path):
    content = _recorded(tmp_path / "a.rec")
    whole = _read(tmp_path / "a.rec", content)
    start = content.index(b"\n\n") + 2
    for length in range(start, len(content), 41):
        found = _read(tmp_path / "a.rec", content[:length])
        samples = [c for c in found if c.data]
        assert samples == whole[: len(samples)]
        assert [c.why for c in found if not c.data] == [CUT_OFF]
    assert len(samples) > 900
    old = (HOME / "heron-noisy.rec").read_bytes()
    assert old.startswith(MAGIC % 1)
    assert _read(tmp_path / "old.rec", old[:-100])[-1].why == CUT_OFF


def test_a_damaged_recording_is_replayed_once(tmp_path):
    content = bytearray(_recorded(tmp_path / "a.rec"))
    content[len(content) // 2] ^= 1
    (tmp_path / "a.rec").write_bytes(content)
    with Monitor(load_robot("heron"), f"replay://{tmp_path / 'a.rec'}?speed=0") as monitor:
        ended, _ = wait_for(monitor, lambda s: s.state == "ended", seconds=10)
    assert 940 <= ended.health.lines <= 1000
    assert ended.health.notices[DAMAGED] == 1


@pytest.mark.parametrize("name", ["match#3.csv", "was that it?.csv", "50%.csv", "a=b&c.csv"])
def test_any_name_of_a_file_is_replayed(tmp_path, name):
    (tmp_path / name).write_bytes(b"".join(b"t_ms=%d,wheel_rpm=1500\n" % (20 * i) for i in range(20)))
    for options in ("", "?speed=0"):
        with Monitor(load_robot("heron"), f"replay://{tmp_path / name}{options}") as monitor:
            ended, _ = wait_for(monitor, lambda s: s.state == "ended", seconds=10)
        assert ended.health.good == 20


def test_a_small_file_does_not_unpack_into_gigabytes(tmp_path):
    line = b"\x10\x7f" + b"0" * 127
    for times, message in ((1_500, "unpacks to more"), (300_000, None)):
        piece = zlib.compress(b"\0" + line * times, 9)
        tracemalloc.start()
        with contextlib.suppress(InputError) if message is None else pytest.raises(InputError, match=message):
            _read(tmp_path / "bomb.rec", MAGIC % 2 + b"\n" + 100 * (struct.pack(">I", len(piece)) + piece))
        assert tracemalloc.get_traced_memory()[1] < 60_000_000
        tracemalloc.stop()


def test_captured_text_may_be_packed_with_gzip(tmp_path):
    text = b"".join(b"t_ms=%d,wheel_counts=%d\n" % (10 * i, 14 * i) for i in range(2000))
    whole, cut, hurt = gzip.compress(text), gzip.compress(text)[:-900], bytearray(gzip.compress(text))
    hurt[-2000:-1990] = bytes(10)
    parts = gzip.compress(text[: len(text) // 2]) + gzip.compress(text[len(text) // 2 :])
    for content, least, lost in (
        (whole, 2000, ""),
        (parts, 2000, ""),
        (whole + b"behind the end" * 500, 2000, ""),
        (cut, 1000, "cut off"),
        (hurt, 500, "damaged"),
    ):
        path = tmp_path / "captured.txt.gz"
        path.write_bytes(content)
        recording = RecordedLine(path)
        assert recording.is_plain
        read = b"".join(chunk.data for chunk in recording.chunks())
        assert text.startswith(read[:10_000])
        assert read.count(b"\n") >= least
        assert [chunk.why for chunk in recording.chunks() if not chunk.data] == ([f"recording {lost}"] if lost else [])
        notices = decode(path, load_robot("heron")).live.health.notices
        assert any(lost in notice for notice in notices) if lost else not any("recording" in one for one in notices)
    path.write_bytes(gzip.compress(bytes(300_000_000), 9))
    assert sum(len(chunk.data) for chunk in RecordedLine(path).chunks()) < 200_000_000


def test_what_cannot_be_read_is_one_clear_line(tmp_path):
    with pytest.raises(InputError, match="no such file"):
        decode(tmp_path / "none.rec", load_robot("heron"))
    (tmp_path / "short.rec").write_bytes(MAGIC % 2)
    with pytest.raises(InputError, match="header"):
        decode(tmp_path / "short.rec", load_robot("heron"))
    (tmp_path / "new.rec").write_bytes(MAGIC % 12 + b"\n")
    with pytest.raises(InputError, match="version 12, and this fieldtune reads up to 2"):
        decode(tmp_path / "new.rec", load_robot("heron"))


def _plain(samples):
    return [astuple(s) for s in samples]


def test_a_live_session_decodes_again_to_the_bit(tmp_path):
    """What a monitor saw live, its recording decoded at once, and the same replayed as a port: bit for bit."""
    robot, path = load_robot("heron"), tmp_path / "live.rec"
    with Monitor(robot, "sim://heron?seed=5&speed=8&auto=2", record_to=path) as monitor:
        wait_for(monitor, lambda s: len(s.shots) >= 3)
    live, samples = monitor.snapshot(), monitor.drain()
    assert path.stat().st_size / max(live.health.lines, 1) < 40  # bytes a line on disk; about 95 on the wire
    decoded = decode(path, robot)
    assert _plain(decoded.samples) == _plain(samples)
    assert decoded.live.shots == live.shots
    assert decoded.live.health == live.health
    for speed in (0, 40):
        with Monitor(robot, f"replay://{path}?speed={speed}") as again:
            ended, _ = wait_for(again, lambda s: s.state == "ended", seconds=10)
        assert _plain(again.drain()) == _plain(samples)
        assert ended.shots == live.shots


def test_a_replay_with_an_interruption_tells_of_it():
    path = HOME / "heron-restart.rec"
    robot = robot_of(path)
    with Monitor(robot, f"replay://{path}?speed=0") as monitor:
        ended, _ = wait_for(monitor, lambda s: s.state == "ended", seconds=10)
    assert ended.health == decode(path, robot).live.health
    assert ended.health.notices == {"restart": 1, "reconnected": 1}


def test_replay_keeps_the_recordings_pace():
    path = HOME / "heron-three-shots.rec"
    with Monitor(robot_of(path), f"replay://{path}?speed=10") as monitor:
        _, took = wait_for(monitor, lambda s: s.state == "ended", seconds=10)
    assert 0.5 < took < 6.0  # seven seconds at ten times; a machine that is busy with others is late


def test_a_picture_is_no_wrong_baud(tmp_path):
    """A file has no speed that could be wrong; what to name instead is said."""
    path = tmp_path / "picture.png"
    path.write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 40)
    decoded = decode(path, load_robot("heron"))
    told = remedies(decoded.live.health, decoded.raw, None, load_robot("heron"), has_speed=False)
    assert "recording" in told[0]
    assert "baud" not in " ".join(told)
    assert all(has_speed(port) for port in ("/dev/ttyACM0", "COM3", "rfc2217://pit:2217", None))
    assert not any(has_speed(port) for port in ("file://a.log", "udp://:9000", "replay://a.rec"))
