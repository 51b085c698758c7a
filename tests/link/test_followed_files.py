"""A log file that another program writes: replaced, begun anew, in letters of two bytes; old content is no news."""

from __future__ import annotations

import os
import threading
import time

import pytest
from link_ptys import Talker, wait_for

from fieldtune import load_robot
from fieldtune.link import Monitor
from fieldtune.link.urls import open_url


@pytest.fixture(scope="module")
def heron():
    return load_robot("heron")


@pytest.fixture
def followed(tmp_path):
    """A file with some lines in it, and the port that follows it from its end."""
    path = tmp_path / "run.log"
    wheel = Talker(None)
    path.write_bytes(b"".join(wheel.line() for _ in range(100)))
    port = open_url(f"file://{path}", timeout=0.05)
    yield path, wheel, port
    port.close()


def replace(path, content):
    new = path.with_name("new")
    new.write_bytes(content)
    os.replace(new, path)


def all_of(port):
    got, last = b"", b"?"
    while last:
        last = port.read(1)
        got += last
    return got


def test_a_longer_copy_of_the_same_goes_on_where_it_was(followed):
    """As rsync or an editor write: read from its start again, the wheel would seem to turn backwards in time."""
    path, wheel, port = followed
    more = b"".join(wheel.line() for _ in range(5))
    replace(path, path.read_bytes() + more)
    assert all_of(port) == more
    assert port.interrupted == ""


def test_a_file_begun_anew_is_read_from_its_start(followed):
    path, wheel, port = followed
    more = b"".join(wheel.line() for _ in range(5))
    replace(path, more)
    assert all_of(port).lstrip(b"\n") == more
    assert port.interrupted == "reconnected"


def test_what_was_written_before_it_took_the_name_is_no_news(followed):
    """Yesterday's file, moved there: its shots were not fired now."""
    path, wheel, port = followed
    replace(path, b"".join(wheel.line() for _ in range(2000)))
    assert all_of(port).strip() == b""
    with path.open("ab") as log:
        log.write(line := wheel.line())
    assert all_of(port) == line


@pytest.mark.parametrize("end", ["\n", ""])
def test_a_file_that_only_holds_the_newest_line_is_followed(heron, tmp_path, end):
    path, wheel = tmp_path / "now.txt", Talker(None)
    replace(path, b"")
    with Monitor(heron, f"file://{path}") as line:

        def say():
            replace(path, wheel.line().rstrip() + end.encode())
            time.sleep(0.01)

        seen, _ = wait_for(line, lambda s: s.health.good > 20, meanwhile=say)
        assert "reconnected" not in seen.health.notices


@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-be", "utf-8-sig"])
@pytest.mark.parametrize("begun", [False, True])
def test_letters_of_two_bytes_are_read(heron, tmp_path, encoding, begun):
    """As a shell of Windows writes what is sent to a file (The Unicode Standard, 23.8: byte order mark)."""
    path, wheel = tmp_path / "run.log", Talker(None)
    mark = b"\xfe\xff" if encoding == "utf-16-be" else b""
    with path.open("wb", buffering=0) as log:
        if begun:
            log.write(mark + "started\n".encode(encoding))
        with Monitor(heron, f"file://{path}") as line:
            wait_for(line, lambda s: "listening" in s.words)
            if not begun:
                log.write(mark + "started\n".encode(encoding))
            plain = {"utf-16": "utf-16-le", "utf-8-sig": "utf-8"}.get(encoding, encoding)

            def say():
                log.write(wheel.line().decode().encode(plain))
                time.sleep(0.01)

            seen, _ = wait_for(line, lambda s: s.health.good > 20 and s.wheel_rpm is not None, meanwhile=say)
            assert seen.wheel_rpm == pytest.approx(1500, rel=0.05)


def test_what_is_no_file_is_refused_at_once_and_stopping_is_quick(heron, tmp_path):
    os.mkfifo(tmp_path / "pipe")
    for path, words in (
        (tmp_path / "pipe", "is no file on the disk"),
        ("/dev/zero", "is no file"),
        (tmp_path, "folder"),
    ):
        line = Monitor(heron, f"file://{path}")
        line.start()
        seen, _ = wait_for(line, lambda s, words=words: words in s.words, 1.0)
        began = time.monotonic()
        line.stop()
        assert time.monotonic() - began < 0.6
        assert "Errno" not in seen.words
    assert not [thread for thread in threading.enumerate() if thread.name == "fieldtune-link"]
