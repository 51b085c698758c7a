"""Lines over UDP and out of a log file, each through the real monitor."""

from __future__ import annotations

import socket
import statistics
import threading
import time

import pytest
from link_ptys import Cable, wait_for
from thorough import thorough

from fieldtune import load_robot
from fieldtune.link import Monitor, ports
from fieldtune.link.limits import Limits
from fieldtune.link.text.checksums import framed
from fieldtune.link.urls import protocol_udp


@pytest.fixture(scope="module")
def heron():
    return load_robot("heron")


class Wheel:
    """Lines of a wheel at 1,500 rpm in real time."""

    def __init__(self, robot):
        self.began = time.monotonic()
        self.counts_per_s = 1500 / 60 * Limits.of(robot).counts_per_turn

    def line(self):
        since = time.monotonic() - self.began
        return framed(f"t_ms={int(1000 * since)},wheel_counts={int(self.counts_per_s * since)}")


def test_datagrams_are_read(heron):
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as free:
        free.bind(("127.0.0.1", 0))
        number = free.getsockname()[1]
    wheel = Wheel(heron)
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as robot, Monitor(heron, f"udp://:{number}") as monitor:
        for ending in (b"\n", b""):

            def say(ending=ending):
                robot.sendto(wheel.line().rstrip() + ending, ("127.0.0.1", number))
                time.sleep(0.01)

            seen, _ = wait_for(monitor, lambda s: s.wheel_rpm is not None and s.health.good > 30, meanwhile=say)
            assert seen.wheel_rpm == pytest.approx(1500, rel=0.05)
            assert seen.health.dropped == {}


def test_a_log_file_is_followed_from_its_end_and_when_it_is_made_anew(heron, tmp_path):
    path, wheel = tmp_path / "run.log", Wheel(heron)
    path.write_bytes(b"".join(b"t_ms=%d,wheel_counts=1\n" % i for i in range(50)))
    with Monitor(heron, f"file://{path}") as monitor:

        def say():
            with path.open("ab") as log:
                log.write(wheel.line())
            time.sleep(0.01)

        seen, _ = wait_for(monitor, lambda s: s.wheel_rpm is not None and s.health.good > 30, meanwhile=say)
        assert seen.wheel_rpm == pytest.approx(1500, rel=0.05)
        assert seen.health.lines < 50
        path.unlink()
        wait_for(monitor, lambda s: s.state == "lost")
        before = monitor.snapshot().health.good
        wait_for(monitor, lambda s: s.state == "live" and s.health.good > before, meanwhile=say)
    assert b"t_ms" in path.read_bytes()


def test_of_two_robots_on_one_udp_port_one_is_heard_and_the_other_can_be_chosen(heron, monkeypatch):
    """Two addresses of the loopback network (127.0.0.0/8, RFC 1122)."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.bind(("127.0.0.1", 0))
        number = probe.getsockname()[1]
    robots = [socket.socket(socket.AF_INET, socket.SOCK_DGRAM) for _ in range(2)]
    for i, robot in enumerate(robots):
        robot.bind((f"127.0.0.{i + 1}", 0))
    sent = 0

    def speak(who=(0, 1)):
        nonlocal sent
        for i in who:
            rpm, t_ms = (1500, 1_000 + 10 * sent) if i == 0 else (2100, 900_000 + 10 * sent)
            robots[i].sendto(b"t_ms=%d,wheel_rpm=%d\n" % (t_ms, rpm), ("127.0.0.1", number))
        sent += 1
        time.sleep(0.01)

    other = f"udp://127.0.0.1:{number}?from=127.0.0.2"
    with Monitor(heron, f"udp://127.0.0.1:{number}") as monitor:
        wait_for(monitor, lambda live: live.state == "live", meanwhile=lambda: speak((0,)))
        live, _ = wait_for(monitor, lambda live: live.others == (other,) and live.health.good > 60, meanwhile=speak)
        assert live.wheel_rpm == pytest.approx(1500)
        assert live.health.dropped == {}
        monitor.choose(other)
        live, _ = wait_for(monitor, lambda live: live.wheel_rpm == pytest.approx(2100), meanwhile=speak)
        assert live.port == other
        assert live.others == (f"udp://127.0.0.1:{number}?from=127.0.0.1",)
    monkeypatch.setattr(protocol_udp, "_SILENT_S", 0.4)
    with Monitor(heron, f"udp://127.0.0.1:{number}") as monitor:
        wait_for(monitor, lambda live: live.state == "live", meanwhile=lambda: speak((0,)))
        live, _ = wait_for(monitor, lambda live: live.wheel_rpm == pytest.approx(2100), meanwhile=lambda: speak((1,)))
        assert "another robot, at 127.0.0.2, since the one before fell silent" in live.words
    for robot in robots:
        robot.close()


def test_a_missing_file_is_named_with_where_it_was_looked_for(heron, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    with Monitor(heron, "file://run.log") as monitor:
        said, _ = wait_for(monitor, lambda s: "run.log" in s.words and s.state == "searching")
    assert f"there is no file {tmp_path / 'run.log'}" in said.words
    assert "cable" not in said.words


@pytest.mark.parametrize("url", ["udp://", "udp://:70000", "udp://here", "file:///no/such/file"])
def test_a_wire_that_can_not_be_opened_is_one_clear_line(heron, url):
    with Monitor(heron, url) as monitor:
        said, _ = wait_for(monitor, lambda s: url in s.words or "not there" in s.words)
    assert "\n" not in said.words
    assert said.state == "searching"


@pytest.mark.parametrize(
    ("sent", "words", "cause"),
    [
        (b"wheel_rpm=1500;battery_v=9.8;", "sends text, but no line that can be read", "over-long"),
        # Every speed is tried first.
        *thorough(
            (bytes(range(128, 250)) + b"\0\r", "no text: is its baud unusual, or are these binary numbers", None)
        ),
    ],
)
def test_text_without_line_ends_is_no_noise(heron, tmp_path, sent, words, cause):
    """And what is noise at every speed may be binary."""
    cable = Cable(tmp_path / "tty")
    try:
        with Monitor(heron, cable.name) as monitor:
            seen, _ = wait_for(
                monitor, lambda live: words in live.words, 30.0, lambda: (cable.write(sent), time.sleep(0.02))
            )
            if cause is not None:
                wait_for(monitor, lambda live: live.health.dropped == {cause: 1})
        assert (seen.state, seen.wheel_rpm) == ("searching", None)
    finally:
        cable.close()


def free_udp_port():
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as free:
        free.bind(("127.0.0.1", 0))
        return free.getsockname()[1]


def test_what_came_over_tcp_is_read_in_one_go(heron):
    """Byte by byte, lines at 1,000 a second would cost a core, come late, and make a true clock look slow."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = ports.open_port(f"socket://127.0.0.1:{server.getsockname()[1]}", 115200, heron)
        robot, _ = server.accept()
        with robot:
            lines = b"".join(Wheel(heron).line() for _ in range(50))
            robot.sendall(lines)
            heard, reads = b"", 0
            while len(heard) < len(lines):
                data, _ = ports.read_chunk(port)
                heard, reads = heard + data, reads + 1
            assert heard == lines
            assert reads < 10
        with pytest.raises(ports.Lost, match="closed the connection"):
            ports.read_chunk(port)
        ports.close_port(port)


@pytest.mark.parametrize("scheme", ["udp", "socket"])
def test_a_line_from_a_network_is_read_when_it_comes(heron, scheme):
    """Without a clock its arrival is its time: one that was looked for every 20 ms would be off by as much."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        number = free_udp_port() if scheme == "udp" else server.getsockname()[1]
        port = ports.open_port(f"{scheme}://{'' if scheme == 'udp' else '127.0.0.1'}:{number}", 115200, heron)
        if scheme == "socket":
            robot, _ = server.accept()
        else:
            robot = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
            robot.connect(("127.0.0.1", number))
        took: list[float] = []
        sent: list[float] = []

        def say():
            sent.append(time.monotonic())
            robot.send(b"a\n")

        with robot:
            for i in range(30):
                timer = threading.Timer(0.013 + 0.001 * (i % 20), say)
                timer.start()
                while not ports.read_chunk(port)[0]:
                    pass
                took.append(time.monotonic() - sent[-1])
                timer.join()
        ports.close_port(port)
    assert statistics.median(took) < 0.003
