"""Files that are no recording, or one in another wrapping: each is read or named, with what to do."""

from __future__ import annotations

import zipfile
from datetime import datetime

import pytest

from fieldtune import InputError, load_robot
from fieldtune.link import decode
from fieldtune.link.recordings.recording import session_recording
from fieldtune.link.recordings.recording_reader import RecordedLine


def lines(count=400):
    return "".join(f"t_ms={10 * k},wheel_counts={int(25.2 * k)},battery_mv=9800\r\n" for k in range(count))


@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-be", "utf-8-sig"])
def test_a_capture_in_letters_of_two_bytes_is_read(tmp_path, encoding):
    """As a shell of Windows writes what is sent to a file (The Unicode Standard, 23.8: byte order mark)."""
    path = tmp_path / "capture.txt"
    mark = b"\xfe\xff" if encoding == "utf-16-be" else b""
    path.write_bytes(mark + lines().encode(encoding))
    decoded = decode(path, load_robot("heron"))
    assert decoded.live.health.good == 400
    assert decoded.live.wheel_rpm == pytest.approx(1500, rel=0.02)  # 25.2 counts in 10 ms, 100.8 a turn


def test_an_empty_file_and_an_archive_are_named(tmp_path):
    empty, archive = tmp_path / "empty.rec", tmp_path / "line.zip"
    empty.write_bytes(b"")
    with zipfile.ZipFile(archive, "w") as packed:
        packed.writestr("line.txt", lines())
    for path, words in ((empty, "is empty"), (archive, "is a zip archive; unpack it")):
        with pytest.raises(InputError, match=words) as caught:
            RecordedLine(path)
        assert str(path) in str(caught.value)


def test_a_recording_of_the_same_second_is_not_written_over(tmp_path):
    """By two consoles, or after the laptop's clock was set back."""
    begun = datetime(2026, 11, 29, 10, 0, 59)
    first = session_recording(tmp_path, "heron", begun)
    first.write_bytes(b"kept")
    then = session_recording(tmp_path, "heron", begun)
    assert (first.name, then.name) == ("heron-20261129-100059.rec", "heron-20261129-100100.rec")
