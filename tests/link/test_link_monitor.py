"""The monitor on real pseudo-terminals and sockets: found, followed, lost, found again; never written to."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import termios
import threading
import time
from argparse import Namespace
from dataclasses import dataclass, replace
from itertools import pairwise

import pytest
import serial
from link_ptys import Cable, Talker, wait_for

from fieldtune import load_robot
from fieldtune.commands.console import _session_recording
from fieldtune.errors import LinkError, OutputError
from fieldtune.link import Monitor, health_words, ports
from fieldtune.link.ports import Lost, read_chunk
from fieldtune.link.sim.terminal import PtyRobot
from fieldtune.link.text.checksums import framed
from fieldtune.link.urls import open_url


@pytest.fixture(scope="module")
def heron():
    return load_robot("heron")


@pytest.fixture
def cable(tmp_path):
    made = Cable(tmp_path / "robot")
    yield made
    made.close()


def live(snapshot):
    return snapshot.state == "live"


def test_a_simulated_robot_on_a_pseudo_terminal_is_read(heron):
    with PtyRobot(heron, seed=3) as robot, Monitor(heron, robot.path) as monitor:
        wait_for(monitor, lambda s: s.wheel_rpm is not None and s.wheel_rpm > 500)
        robot.tell("fire")
        seen, _ = wait_for(monitor, lambda s: s.shots)
        assert seen.shots[0].by == "fired"
        assert seen.health.rate_hz == pytest.approx(100, rel=0.1)
        assert seen.battery_v == pytest.approx(10.4, abs=1.2)
        assert seen.distance_m == pytest.approx(robot.simulated.distance_m, abs=0.05)
        with pytest.raises(LinkError, match="simulated"):
            monitor.tell("fire")
    assert monitor.snapshot().state == "off"


def test_drained_samples_come_once_and_in_order(heron):
    with Monitor(heron, "sim://heron?seed=1") as monitor:
        wait_for(monitor, lambda s: s.health.good > 30)
        first, second = monitor.drain(), monitor.drain()
        assert len(first) >= 30
        assert len(second) <= 5
        assert all(a.time_s <= b.time_s for a, b in pairwise(first))
        monitor.tell("setpoint=900")
        wait_for(monitor, lambda s: s.setpoint == 900)


def test_pulled_and_plugged_again_it_is_live_within_two_seconds(heron, cable):
    talker = Talker(cable)
    with Monitor(heron, cable.name) as monitor:
        wait_for(monitor, live, meanwhile=lambda: talker.talk(0.1))
        talker.talk(0.5)
        points = len(monitor.snapshot().history_s)
        cable.pull()
        gone, _ = wait_for(monitor, lambda s: s.state == "lost")
        assert cable.name in gone.words
        time.sleep(0.7)
        assert monitor.snapshot().state == "lost"
        cable.plug()
        _, took = wait_for(monitor, live, meanwhile=lambda: talker.talk(0.05))
        assert took < 2.0
        talker.talk(0.3)
        again = monitor.snapshot()
        assert again.health.notices["reconnected"] == 1
        assert len(again.history_s) > points  # what was before is kept, with a gap between
        assert again.history_rpm[-1] == pytest.approx(1500, rel=0.02)


def test_a_reboot_in_mid_line_is_followed(heron, cable):
    talker = Talker(cable)
    with Monitor(heron, cable.name) as monitor:
        wait_for(monitor, live, meanwhile=lambda: talker.talk(0.1))
        cable.write(talker.line()[:17])
        cable.write(b"\r\nbooting...\r\n")
        talker.clock, talker.counts = 40, 0
        talker.talk(0.6)
        seen = monitor.snapshot()
        assert seen.health.notices == {"restart": 1}
        assert seen.wheel_rpm == pytest.approx(1500, rel=0.02)
        assert set(seen.health.dropped) <= {"unchecked", "checksum", "undecodable"}


def test_silence_is_a_stall_and_it_goes_on_afterwards(heron, cable):
    talker = Talker(cable)
    with Monitor(heron, cable.name) as monitor:
        wait_for(monitor, live, meanwhile=lambda: talker.talk(0.1))
        talker.talk(0.3)
        stalled, took = wait_for(monitor, lambda s: s.state == "stalled", seconds=4.5)
        assert 2.5 < took < 4.0
        assert "silent" in stalled.words
        assert stalled.wheel_rpm is None
        assert stalled.battery_v is None
        talker.clock, talker.counts = talker.clock + 3100, talker.counts + 310 * 25.2
        _, took = wait_for(monitor, live, meanwhile=lambda: talker.talk(0.05))
        assert took < 1.0
        talker.talk(0.3)
        assert monitor.snapshot().health.notices == {"gap": 1}


def test_nothing_is_ever_written_to_a_port(heron, cable):
    talker = Talker(cable)
    with Monitor(heron, cable.name) as monitor:
        wait_for(monitor, live, meanwhile=lambda: talker.talk(0.1))
    assert cable.unread() == b""


def test_a_named_port_that_is_not_there_is_said_and_waited_for(heron, tmp_path):
    with Monitor(heron, str(tmp_path / "no-such-port")) as monitor:
        said, _ = wait_for(monitor, lambda s: "not there" in s.words)
        assert said.state == "searching"
        cable = Cable(tmp_path / "no-such-port")
        talker = Talker(cable)
        wait_for(monitor, live, meanwhile=lambda: talker.talk(0.05))
    cable.close()


def test_a_port_held_by_another_program_is_said(heron, cable):
    holder = subprocess.Popen(
        [
            sys.executable,
            "-c",
            "import serial,sys;p=serial.Serial(sys.argv[1],exclusive=True);print(1,flush=True);input()",
            cable.name,
        ],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
    )
    holder.stdout.readline()
    with Monitor(heron, cable.name) as monitor:
        wait_for(monitor, lambda s: "held by another program" in s.words)
    holder.communicate(b"\n", timeout=5)


def test_a_wrong_speed_is_noise_and_never_good(heron, cable):
    """At a wrong baud rate bytes arrive, but none of them means anything."""
    import numpy as np

    rng = np.random.default_rng(2)
    with Monitor(heron, cable.name, baud=9600) as monitor:
        for _ in range(40):
            cable.write(rng.integers(0, 256, 90, dtype=np.uint8).tobytes() + b"\n")
            time.sleep(0.01)
        seen = monitor.snapshot()
        assert seen.state == "searching"
        assert seen.health.good == 0
        assert seen.wheel_rpm is None
        assert sum(seen.health.dropped.values()) == seen.health.lines


def test_a_silent_port_is_said_and_goes_live_when_the_robot_speaks(heron, cable):
    talker = Talker(cable)
    with Monitor(heron, cable.name) as monitor:
        wait_for(monitor, lambda s: "silent" in s.words, seconds=6)
        wait_for(monitor, live, meanwhile=lambda: talker.talk(0.1))


@dataclass
class Listed:
    """A port as the operating system lists it."""

    device: str
    vid: int | None = None
    pid: int | None = None
    serial_number: str | None = None
    hwid: str = "n/a"
    description: str = ""


def test_ports_are_ranked_and_known_again_under_another_name():
    adapter = Listed("/dev/ttyUSB1", 0x1A86, 0x7523, "A1", "USB")
    other = Listed("/dev/ttyACM0", 0x2341, 0x0043, "B2", "USB")
    board = Listed("/dev/ttyS0", hwid="PNP0501")
    nothing = Listed("/dev/ttyS1")
    listed = [board, nothing, adapter, other]
    assert [c.device for c in ports.candidates(None, None, listed)] == ["/dev/ttyACM0", "/dev/ttyUSB1", "/dev/ttyS0"]
    known = {"device": "/dev/ttyUSB0", "vid": 0x1A86, "pid": 0x7523, "serial_number": "A1", "baud": 57600}
    first = ports.candidates(known, None, listed)[0]
    assert (first.device, first.bauds[0]) == ("/dev/ttyUSB1", 57600)
    assert ports.candidates(known, 9600, listed)[0].bauds == (9600,)
    assert ports.candidates(None, None, listed)[0].bauds[0] == 115200


def test_search_passes_a_silent_port_by_and_remembers_the_good_one(heron, tmp_path, monkeypatch):
    silent, robot = Cable(tmp_path / "a-silent"), Cable(tmp_path / "b-robot")
    listed = [Listed(c.name, 1, 2, c.name, "USB") for c in (silent, robot)]
    monkeypatch.setattr(ports.list_ports, "comports", lambda: listed)
    talker, good = Talker(robot), []
    with Monitor(heron, "auto", on_good=good.append) as monitor:
        wait_for(monitor, live, seconds=10, meanwhile=lambda: talker.talk(0.1))
    assert good == [
        {"device": robot.name, "vid": 1, "pid": 2, "serial_number": robot.name, "baud": 115200},
    ]
    listed.reverse()
    with Monitor(heron, "auto", remembered=good[0]) as monitor:
        _, took = wait_for(monitor, live, meanwhile=lambda: talker.talk(0.1))
    assert took < 1.5
    silent.close()
    robot.close()


def test_without_any_port_it_says_so(heron, monkeypatch):
    monkeypatch.setattr(ports.list_ports, "comports", list)
    with Monitor(heron) as monitor:
        wait_for(monitor, lambda s: "no serial port found" in s.words)


def test_over_a_socket(heron):
    server = socket.create_server(("127.0.0.1", 0))
    stop = threading.Event()

    def serve():
        while not stop.is_set():
            connection, _ = server.accept()
            with connection:
                for i in range(200):
                    if stop.is_set():
                        return
                    try:
                        connection.sendall(framed(f"t_ms={i * 10},wheel_counts={int(i * 25.2)}"))
                    except OSError:
                        break
                    time.sleep(0.005)

    thread = threading.Thread(target=serve, daemon=True)
    thread.start()
    with Monitor(heron, f"socket://127.0.0.1:{server.getsockname()[1]}") as monitor:
        seen, _ = wait_for(monitor, lambda s: s.wheel_rpm is not None and live(s))
        assert seen.wheel_rpm == pytest.approx(1500, rel=0.03)
    stop.set()
    server.close()


def test_a_socket_that_is_closed_is_opened_again_and_boot_text_passed_over(heron):
    """Twice the other end goes; each time it begins with its boot text, as a controller does that opening resets."""
    server, went = socket.create_server(("127.0.0.1", 0)), []

    def serve():
        for _ in range(3):
            connection, _ = server.accept()
            with connection:
                connection.sendall(b"\x80\xf8rst:0x1 (POWERON)\r\nboot: 0x13, mode 2\r\nlauncher v1.2\r\n")
                begun = time.monotonic()
                for i in range(60 if len(went) < 2 else 2000):
                    time.sleep(max(begun + 0.01 * i - time.monotonic(), 0.0))
                    try:
                        connection.sendall(framed(f"t_ms={i * 10},wheel_counts={int(i * 25.2)}"))
                    except OSError:
                        return
            went.append(time.monotonic())

    threading.Thread(target=serve, daemon=True).start()
    with Monitor(heron, f"socket://127.0.0.1:{server.getsockname()[1]}") as monitor:
        seen, _ = wait_for(
            monitor, lambda s: len(went) >= 2 and s.wheel_rpm is not None and live(s) and s.health.good > 140
        )
        assert seen.wheel_rpm == pytest.approx(1500, rel=0.1)
        assert seen.health.notices["reconnected"] == 2
        # Said, and no sign of a bad wire; what came before the port was cleared is gone unread.
        assert seen.health.notices.get("start-up text", 0) in (0, 3, 6, 9)
        assert seen.health.dropped == {}
        assert not seen.shots
    server.close()


@pytest.mark.parametrize("scheme", ["spy", "loop", "hwgrep", "alt", "cp2110", "SPY"])
def test_no_other_kind_of_url_opens_anything(heron, tmp_path, scheme):
    """Some kinds that the serial library has for debugging write what they hear to a file that the URL names."""
    target = tmp_path / "written"
    with pytest.raises(LinkError, match="expected auto, a device, or one of sim://") as caught:
        ports.open_port(f"{scheme}:///dev/null?file={target}&log={target}", 115200, heron)
    assert "\n" not in str(caught.value)
    assert not target.exists()


@pytest.mark.parametrize("url", ["sim://no-such-robot", "replay:///no/such/file", "nonsense://x", "sim://heron?seed=x"])
def test_a_url_that_leads_nowhere_is_one_clear_line(heron, url):
    with Monitor(heron, url) as monitor:
        said, _ = wait_for(monitor, lambda s: s.words not in ("looking for the robot", "not started"))
        assert "\n" not in said.words
        assert said.state == "searching"
        wait_for(monitor, lambda s: "Traceback" not in s.words and len(s.words) > 20)


@pytest.mark.parametrize("url", ["SIM://heron?seed=1", " sim://heron?seed=1", "Sim://?seed=1"])
def test_capitals_do_not_hide_that_a_robot_is_simulated(heron, url):
    with Monitor(heron, url) as monitor:
        assert monitor.simulated
        seen, _ = wait_for(monitor, lambda s: s.health.good > 5)
    assert "baud" not in seen.words
    assert _session_recording(heron, url, Namespace(no_record=False, profiles=None)) is None


@pytest.mark.parametrize(("opening", "hangs_up"), [("usual", True), ("gentle", False)])
def test_a_gentle_opening_leaves_dtr_up_at_the_end(heron, cable, opening, hangs_up):
    """What a real port does with its DTR line at closing is the flag HUPCL (POSIX, General Terminal Interface)."""
    robot = replace(heron, link=replace(heron.link, opening=opening))
    before = termios.tcgetattr(cable._slave)
    before[2] |= termios.HUPCL
    termios.tcsetattr(cable._slave, termios.TCSANOW, before)
    ports.open_port(cable.name, 115200, robot).close()
    assert bool(termios.tcgetattr(cable._slave)[2] & termios.HUPCL) is hangs_up


def test_every_way_a_port_is_lost_is_the_same_to_the_reader(cable):
    port = ports.open_port(cable.name, 115200)
    cable.pull()
    with pytest.raises(Lost):
        read_chunk(port)
    port.close()
    port = open_url("sim://heron", timeout=0.05)
    port.close()
    with pytest.raises(Lost):
        read_chunk(port)


def test_no_permission_and_nonsense_are_explained():
    assert "dialout" in ports.explained("/dev/ttyUSB0", PermissionError(13, "Permission denied"))
    assert "not there" in ports.explained("/dev/ttyUSB0", FileNotFoundError(2, "No such file"))


def test_a_recording_that_can_not_be_written_is_refused_at_start(heron, tmp_path):
    (tmp_path / "file").write_text("x")
    with pytest.raises(OutputError, match="can't record"):
        Monitor(heron, "sim://heron", record_to=tmp_path / "file" / "x.rec").start()


def test_health_in_words(heron):
    with Monitor(heron, "sim://heron?seed=1") as monitor:
        seen, _ = wait_for(monitor, lambda s: s.health.good > 30)
    assert health_words(seen.health).endswith("lines/s")
    three = replace(seen.health, rate_hz=98.7, dropped={"checksum": 3})
    assert health_words(three) == "98.7 lines/s, 3 dropped: changed on the way (checksum)"


def test_stopping_is_quick_and_leaves_no_thread(heron, cable):
    monitor = Monitor(heron, cable.name)
    monitor.start()
    time.sleep(0.2)
    began = time.monotonic()
    monitor.stop()
    assert time.monotonic() - began < 0.5
    assert not [t for t in threading.enumerate() if t.name == "fieldtune-link"]
    assert os.path.exists(cable.name)


def test_only_the_reader_touches_its_port(heron, cable, monkeypatch):
    """A port cancelled by one thread while another closes it writes to a descriptor that may be someone else's."""
    touched = []

    def watched(real):
        def touch(port, *arguments):
            touched.append(threading.current_thread().name)
            return real(port, *arguments)

        return touch

    for name in ("read", "cancel_read", "close"):
        monkeypatch.setattr(serial.Serial, name, watched(getattr(serial.Serial, name)))
    with Monitor(heron, cable.name, baud=115200):
        time.sleep(0.2)
    assert set(touched) == {"fieldtune-link"}


def test_a_port_that_can_not_be_remembered_is_read_all_the_same(heron, cable):
    talker = Talker(cable)

    def refuse(port):
        raise OSError("read-only")

    with Monitor(heron, cable.name, baud=115200, on_good=refuse) as monitor:
        seen, _ = wait_for(monitor, lambda s: "remembered" in s.words, meanwhile=lambda: talker.talk(0.1))
        assert seen.state == "live"
        assert seen.words.endswith("but it can't be remembered: read-only")
        wait_for(monitor, lambda s: s.wheel_rpm is not None, meanwhile=lambda: talker.talk(0.1))


def test_a_fault_of_the_program_is_said_and_reading_goes_on(heron, cable, monkeypatch):
    """Whatever goes wrong in the reader thread, no number stays frozen on the screen."""
    talker, faults = Talker(cable), []

    def faulty(port, fast):
        if faults:
            raise faults.pop()
        return read_chunk(port, fast)

    with Monitor(heron, cable.name, baud=115200) as monitor:
        wait_for(monitor, live, meanwhile=lambda: talker.talk(0.1))
        monkeypatch.setattr("fieldtune.link.monitor.read_chunk", faulty)
        faults.append(ZeroDivisionError("made for this test"))
        seen, _ = wait_for(monitor, lambda s: s.state == "lost", meanwhile=lambda: talker.talk(0.1))
        assert "ZeroDivisionError: made for this test; trying again" in seen.words
        wait_for(monitor, live, seconds=3.0, meanwhile=lambda: talker.talk(0.1))


def test_text_that_is_no_line_of_ours_is_shown_and_counted_at_once(heron, cable):
    """Whoever has other names on the wire sees what comes and why it is dropped, instead of a search without end."""
    with Monitor(heron, cable.name) as monitor:
        for i in range(60):
            cable.write(b"time=%d enc=%d vbat=12.1\r\n" % (i * 10, i * 14))
            time.sleep(0.02)
        seen = monitor.snapshot()
        raw = monitor.recent_lines(3)
        assert seen.state == "searching"
        assert "sends text, but no line that can be read" in seen.words
        assert seen.health.dropped["no known field"] == seen.health.lines > 20
        assert raw[-1].endswith("vbat=12.1   [no known field]")
        talker = Talker(cable)
        wait_for(monitor, live, seconds=3.0, meanwhile=lambda: talker.talk(0.1))


def test_a_port_that_proves_good_comes_before_one_that_only_sends_text(heron, tmp_path, monkeypatch):
    """A receiver of position at the first port talks all the time; the robot at the second is found all the same."""
    other, robot = Cable(tmp_path / "a-other"), Cable(tmp_path / "b-robot")
    listed = [Listed(c.name, 1, 2, c.name, "USB") for c in (other, robot)]
    monkeypatch.setattr(ports.list_ports, "comports", lambda: listed)
    talker = Talker(robot)

    def both():
        other.write(b"$GPGLL,4916.45,N,12311.12,W,225444,A*31\r\n")
        talker.talk(0.1)

    with Monitor(heron, "auto") as monitor:
        seen, _ = wait_for(monitor, live, seconds=10, meanwhile=both)
    assert seen.port == robot.name
    other.close()
    robot.close()
