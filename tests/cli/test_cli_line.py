"""Commands at the line: a real pseudo-terminal, the simulated robot, recordings."""

from __future__ import annotations

import os
import pty
import signal
import struct
import subprocess
import sys
import tty
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from printing_robot import PrintingRobot

Run = Callable[..., Any]
Fails = Callable[..., str]
KEYS = {"lines", "good", "dropped", "rate_hz", "wheel_rpm", "battery_v", "shots_seen"}


@pytest.fixture
def simulated(tmp_path: Path) -> Iterator[str]:
    """``fieldtune simulate`` as a process; its device."""
    process = subprocess.Popen(
        [sys.executable, "-m", "fieldtune", "simulate", "heron", "--seed", "3", "--distance", "2 m"],
        stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        env={**os.environ, "FIELDTUNE_PROFILES": str(tmp_path / "home")},
    )  # fmt: skip
    assert process.stdout is not None
    try:
        yield process.stdout.readline().strip()
    finally:
        process.send_signal(signal.SIGINT)
        _, complaint = process.communicate(timeout=10)
    assert complaint == ""


def test_listening_to_the_simulated_robot_on_its_terminal(run: Run, simulated: str, tmp_path: Path) -> None:
    recording = tmp_path / "line.rec"
    argv = ("listen", "heron", "--port", simulated, "--baud", "115200", "--seconds", "1.2")
    found = run(*argv, "--record", str(recording), "--json").json
    assert found.keys() >= KEYS
    assert found["good"] >= 50
    assert found["dropped"] == {} or sum(found["dropped"].values()) <= 1  # the first line may be a half one
    assert found["rate_hz"] == pytest.approx(100, rel=0.2)
    assert found["distance_m"] == pytest.approx(2.0, abs=0.15)
    assert found["battery_v"] > 5
    again = run("replay", str(recording), "--json").json
    assert (again["robot"], again["good"], again["lines"]) == ("heron", found["good"], found["lines"])


def test_shots_on_the_line_are_counted(run: Run) -> None:
    found = run("listen", "heron", "--port", "sim://heron?auto=0.3&speed=4", "--seconds", "1.5", "--json").json
    assert found["shots_seen"] >= 3
    assert found["shots"][0]["speed_rpm"] > 500
    said = run("listen", "heron", "--port", "sim://heron", "--seconds", "0.5").out
    assert "of which" in said
    assert "last lines" in said


def test_a_replayed_capture_reports_what_was_dropped(run: Run, tmp_path: Path) -> None:
    lines = [f"t_ms={1000 + 10 * i},wheel_rpm={2000 + i},battery_mv=12345" for i in range(200)]
    lines[50] = "t_ms=1500,wheel_rpm=nan,battery_mv=12345"
    lines[60] = "$t_ms=1600,wheel_rpm=2060*00"
    lines[70] = "\x1b[2Jrubbish" * 3
    capture = tmp_path / "capture.txt"
    capture.write_text("\n".join(lines) + "\n")
    found = run("replay", str(capture), "heron", "--json").json
    assert found.keys() >= KEYS
    assert found["lines"] == 200
    assert 190 <= found["good"] <= 198
    assert sum(found["dropped"].values()) >= 2
    assert found["dropped"]["checksum"] == 1
    assert found["wheel_rpm"] == pytest.approx(2199, abs=5)
    assert found["battery_v"] == pytest.approx(12.345)
    assert "\x1b" not in run("replay", str(capture), "heron").out


def test_a_silent_terminal_is_told(fails: Fails) -> None:
    master, slave = pty.openpty()
    tty.setraw(slave)
    try:
        line = fails("listen", "heron", "--port", os.ttyname(slave), "--baud", "9600", "--seconds", "0.4", code=1)
    finally:
        os.close(master)
        os.close(slave)
    assert "nothing heard" in line


def test_bytes_that_are_no_text_are_something_heard(fails: Fails) -> None:
    """Binary numbers, 50 times a second: no speed makes them text."""
    with PrintingRobot(lambda i: struct.pack("<HIiH", 0xA55A, 20 * i, 50 * i, 10_300) * 4, 0.02) as robot:
        said = fails("listen", "heron", "--port", robot.device, "--seconds", "2.5", code=1)
    assert "nothing heard" not in said
    assert "no text" in said
    assert "--seconds 30" in said


@pytest.mark.parametrize(
    ("port", "words"),
    [
        ("/dev/no-such-port", "/dev/no-such-port is not there"),
        ("sim://nobody", "nobody"),
        ("replay://gone.rec", "gone.rec"),
    ],
)
def test_a_port_that_cannot_be_opened_is_named(fails: Fails, port: str, words: str) -> None:
    assert words in fails("listen", "heron", "--port", port, "--seconds", "0.4", code=1)


@pytest.mark.parametrize(
    ("argv", "words"),
    [
        (("listen", "heron", "--seconds", "0"), "above zero"),
        (("listen", "heron", "--seconds", "soon"), "above zero"),
        (("listen", "heron", "--baud", "fast"), "115200"),
        (("replay", "gone.rec", "heron"), "gone.rec"),
        (("replay",), "FILE"),
        (("simulate",), "ROBOT"),
        (("simulate", "heron", "--seed", "x"), "whole number"),
        (("simulate", "heron", "--rate", "1e6"), "lines a second"),
        (("simulate", "heron", "--distance", "2"), 'write "2 m"'),
        (("simulate", "heron", "--target", "roof"), "no target 'roof'"),
        (("console", "nobody"), "needs a terminal"),
    ],
)
def test_wrong_input_at_the_line_is_told(fails: Fails, argv: tuple[str, ...], words: str) -> None:
    assert words in fails(*argv, code=1 if argv[0] == "console" else 2)


def test_a_recording_is_not_written_over(fails: Fails, tmp_path: Path) -> None:
    kept = tmp_path / "line.rec"
    kept.write_text("mine")
    argv = ("listen", "heron", "--port", "sim://heron", "--seconds", "0.2", "--record", str(kept))
    assert "--force" in fails(*argv)
    assert kept.read_text() == "mine"


def test_the_console_without_a_terminal_says_so(fails: Fails) -> None:
    assert "needs a terminal" in fails(code=1)


@pytest.mark.parametrize(
    ("line", "says"),
    [("speed={},volts=12.3", "[link.fields]"), ("{},12.3", "[link.columns]"), ("$wheel_rpm={}*00", "XOR of the bytes")],
)
def test_a_line_of_which_nothing_can_be_used_gets_a_remedy(run: Run, tmp_path: Path, line: str, says: str) -> None:
    path = tmp_path / "line.txt"
    path.write_text("".join(line.format(1400 + number) + "\n" for number in range(40)))
    ran = run("replay", str(path), "heron")
    assert "40, of which 0 good" in ran.out
    assert says in ran.out
    path.write_text("".join(f"wheel_rpm={1400 + number}\n" for number in range(40)))
    assert says not in run("replay", str(path), "heron").out


def test_a_folder_is_no_recording(fails: Fails, tmp_path: Path) -> None:
    assert "is a folder" in fails("listen", "heron", "--port", "sim://heron", "--record", str(tmp_path))
