"""Files that are no recording, or one in another wrapping: each is read or named, with what to do."""

from __future__ import annotations

import gzip
import zipfile
from datetime import datetime

import pytest
from link_ptys import wait_for

from fieldtune import InputError, load_robot
from fieldtune.errors import LinkError
from fieldtune.link import Monitor, decode, ports
from fieldtune.link.recordings.recording import session_recording
from fieldtune.link.recordings.recording_reader import MAGIC, RecordedLine


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


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (gzip.compress(lines().encode())[:-200], "has ended: recording cut off"),
        (MAGIC % 2 + b"robot: heron\n\n" + b"\0\0\0\x30" + bytes(40), "has ended: recording damaged"),
        (lines().encode(), "has ended"),
    ],
)
def test_a_console_is_told_why_a_recording_ended(tmp_path, content, words):
    (tmp_path / "a.rec").write_bytes(content)
    with Monitor(load_robot("heron"), f"replay://{tmp_path / 'a.rec'}?speed=0") as monitor:
        ended, _ = wait_for(monitor, lambda s: s.state == "ended", seconds=10)
    assert ended.words.endswith(words)


def test_a_recording_that_can_not_be_opened_is_named_once(tmp_path):
    turned = (MAGIC % 2 + b"robot: heron\n\n" + bytes(40)).replace(b"\n", b"\r\n")
    (tmp_path / "turned.rec").write_bytes(turned)
    (tmp_path / "round.rec").symlink_to(tmp_path / "round.rec")
    for name, words in (
        ("turned.rec", "line ends were changed on its way here; copy it as binary"),
        ("none.rec", "no such file"),
        ("round.rec", "is a link that leads to itself"),
    ):
        with pytest.raises(LinkError, match=words) as caught:
            ports.open_port(f"replay://{tmp_path / name}", 115200, load_robot("heron"))
        assert str(caught.value).count(name) == 1
    with pytest.raises(LinkError, match="is a link that leads to itself; name the device"):
        ports.open_port(str(tmp_path / "round.rec"), 115200, load_robot("heron"))
