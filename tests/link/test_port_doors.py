"""Ways into a serial port: silent ones beside it, names that change, speeds that are not the robot's, boot text."""

from __future__ import annotations

import errno
import os
import time
from dataclasses import dataclass

import pytest
from link_ptys import Cable, Talker, wait_for
from uart import Board, heard_at

from fieldtune import load_robot
from fieldtune.errors import LinkError
from fieldtune.link import Monitor, monitor, port_search, ports
from fieldtune.link.port_faults import explained
from fieldtune.link.troubleshooting.remedies import remedies
from fieldtune.port_names import port_problem


@pytest.fixture(scope="module")
def heron():
    return load_robot("heron")


@pytest.fixture
def quick(monkeypatch):
    """Looks at each port and speed for a shorter time."""
    monkeypatch.setattr(port_search, "_SILENT_S", 0.25)
    monkeypatch.setattr(port_search, "_LISTEN_S", 0.15)
    monkeypatch.setattr(monitor, "_UNPROVEN_S", 0.3)


@dataclass
class Listed:
    """A port as the operating system lists it."""

    device: str
    vid: int | None = 1
    pid: int | None = 2
    serial_number: str | None = None
    hwid: str = "USB"
    description: str = ""


def live(snapshot):
    return snapshot.state == "live"


def test_a_robot_plugged_in_beside_a_silent_built_in_port_is_found(heron, tmp_path, monkeypatch, quick):
    built_in, robot = Cable(tmp_path / "ttyS0"), Cable(tmp_path / "ttyUSB0")
    listed = [Listed(built_in.name, None, None, hwid="PNP0501")]
    monkeypatch.setattr(ports.list_ports, "comports", lambda: list(listed))
    talker = Talker(robot)
    with Monitor(heron, "auto") as line:
        wait_for(line, lambda s: "open but silent" in s.words)
        listed.append(Listed(robot.name))
        seen, _ = wait_for(line, live, meanwhile=lambda: talker.talk(0.05))
        assert seen.port == robot.name
    built_in.close()
    robot.close()


@pytest.mark.parametrize(("serial_number", "followed"), [("X1", True), (None, False)])
def test_a_named_device_is_known_again_under_another_name(heron, tmp_path, monkeypatch, serial_number, followed):
    """By its serial number; without one it may as well be another robot's adapter, and is only named."""
    before, after = Cable(tmp_path / "ttyUSB0"), Cable(tmp_path / "ttyUSB1")
    listed = [Listed(before.name, serial_number=serial_number)]
    monkeypatch.setattr(ports.list_ports, "comports", lambda: list(listed))
    talker = Talker(before)
    with Monitor(heron, before.name) as line:
        wait_for(line, live, meanwhile=lambda: talker.talk(0.05))
        before.pull()
        listed[:] = [Listed(after.name, serial_number=serial_number)]
        talker.cable = after
        words = f"reading {after.name}" if followed else f"name another port: there is {after.name}"
        wait_for(line, lambda s: words in s.words, meanwhile=lambda: talker.talk(0.05))
    after.close()


def test_boot_text_at_another_speed_is_passed_over_without_opening_the_port_again(heron, quick):
    """To open it again would start the controller anew, so that it were for ever booting while it is listened to."""
    boot, wheel = b"boot: partition table, 3 entries, factory app at 00010000\r\n", Talker(None)
    with Board(57600, wheel.line, boot, 115200, boot_s=0.3) as board, Monitor(heron, board.device) as line:
        seen, took = wait_for(line, live, 5.0)
        assert seen.words.startswith(f"reading {board.device} at 57600 baud")
        assert took < 2.0
        assert board.starts == 1


def test_noise_while_it_boots_is_passed_over_without_opening_the_port_again(heron, monkeypatch, quick):
    monkeypatch.setattr(ports, "BAUDS", (115200, 9600))
    monkeypatch.setattr(ports, "RARE_BAUDS", ())
    wheel = Talker(None)
    with (
        Board(115200, wheel.line, b"rst cause:2, boot mode:(3,6)\r\n", 74880, 0.5) as board,
        Monitor(heron, board.device) as line,
    ):
        wait_for(line, live, 5.0)
        assert board.starts == 1


def test_unusual_speeds_are_tried_where_the_usual_ones_bring_no_text(heron, monkeypatch, quick):
    monkeypatch.setattr(ports, "BAUDS", (115200, 9600))
    monkeypatch.setattr(ports, "RARE_BAUDS", (38400, 4800))
    with Board(4800, Talker(None).line, hz=40) as board, Monitor(heron, board.device) as line:
        seen, _ = wait_for(line, live, 5.0)
        assert seen.words.endswith("at 4800 baud")


@pytest.mark.parametrize(("sent", "read"), [(9600, 115200), (115200, 9600), (115200, 57600), (57600, 115200)])
def test_a_wrong_speed_that_was_asked_for_is_said(heron, sent, read):
    """And not that its lines never end, though they don't at that speed."""
    with Board(sent, Talker(None).line) as board, Monitor(heron, board.device, baud=read) as line:
        seen, _ = wait_for(line, lambda s: "no text comes" in s.words and s.health.dropped, 2.0)
        assert seen.words.endswith(
            f"at {read} baud: no text comes; leave --baud (or [link] baud) away, and its baud is found"
        )
        told = remedies(seen.health, line.recent_lines(60), read, heron)
        assert told[0].startswith(f"What comes is no text: {read} baud is not the robot's speed.")


def test_a_silent_port_at_a_speed_that_was_asked_for_is_said(heron, tmp_path, monkeypatch):
    monkeypatch.setattr("fieldtune.link.waiting_words.SILENT_S", 0.3)
    cable = Cable(tmp_path / "tty")
    with Monitor(heron, cable.name, baud=9600) as line:
        seen, _ = wait_for(line, lambda s: "but silent" in s.words)
        assert seen.words.endswith("does the robot program run? Is that its baud?")
    cable.close()


def test_bytes_at_another_speed_are_others():
    """By hand: NUL at a twelfth of the reader's speed is one low level without a stop bit; of 0xFE at half of it, three
    more bits are low behind the start bit."""
    assert heard_at(b"\x00", 9600, 115200) == b"\x00"
    assert heard_at(b"\xfe", 57600, 115200) == bytes([0b11111000])
    assert heard_at(b"rpm", 9600, 9600) == b"rpm"


def test_a_plain_file_a_folder_and_no_device_are_told_apart(heron, tmp_path):
    plain = tmp_path / "run.log"
    plain.write_text("wheel_rpm=1500\n")
    for port, words in (
        (str(plain), f"is no serial device, but a file: file://{plain} follows what is added to it"),
        (str(tmp_path), "is a folder"),
        (os.devnull, "is no serial device; name another port"),
    ):
        with pytest.raises(LinkError) as caught:
            ports.open_port(port, 115200, heron)
        assert words in str(caught.value)
        assert "Errno" not in str(caught.value)


def test_what_is_there_instead_is_named():
    gone = FileNotFoundError(errno.ENOENT, "No such file")
    assert explained("/dev/ttyUSB0", gone, ["/dev/ttyACM0"]).endswith("name another port: there is /dev/ttyACM0")
    assert explained("null", gone) == "null is not there; write /dev/null"
    assert "name of Windows" in explained("COM3", gone)


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("udp:9000", "udp://:PORT"),
        ("file:/tmp/run.log", "file://FILE"),
        ("192.0.2.7:9000", "socket://192.0.2.7:9000"),
        ("robot.example:9000", "socket://robot.example:9000"),
    ],
)
def test_a_url_half_written_is_told_how(name, words):
    """Addresses and names for examples: RFC 5737 and RFC 2606."""
    assert words in port_problem(name)


@pytest.mark.parametrize(
    "name", ["/dev/ttyUSB0", "COM3", "/dev/serial/by-id/usb-a:b-if00", "udp://:9000", "file://a:b"]
)
def test_true_names_are_left_alone(name):
    assert port_problem(name) is None


def test_what_came_before_the_end_is_read(heron, tmp_path):
    """The cable is pulled behind a line: that line counts, then the port is lost."""
    cable = Cable(tmp_path / "tty")
    port = ports.open_port(cable.name, 115200, heron)

    class Pulled:
        in_waiting = property(lambda self: (_ for _ in ()).throw(OSError(errno.EIO, "Input/output error")))

        def read(self, size):
            return port.read(size)

    cable.write(b"x")
    time.sleep(0.05)
    assert ports.read_chunk(Pulled())[0] == b"x"
    cable.pull()
    with pytest.raises(ports.Lost, match="the connection is gone"):
        ports.read_chunk(port)
    port.close()


def test_a_line_that_breaks_again_and_again_is_told(heron, tmp_path):
    cable = Cable(tmp_path / "tty")
    talker = Talker(cable)
    with Monitor(heron, cable.name, baud=115200) as line:
        for times in range(1, 6):
            wait_for(line, live, meanwhile=lambda: talker.talk(0.03))
            assert not any("again and again" in said for said in remedies(line.snapshot().health, (), None, heron))
            cable.pull()
            cable.plug()
            wait_for(
                line, lambda s, n=times: s.health.notices.get("reconnected") == n, meanwhile=lambda: talker.talk(0.03)
            )
        told = remedies(line.snapshot().health, (), None, heron)
    assert told[0].startswith("The connection breaks again and again: a loose plug")
    cable.close()
