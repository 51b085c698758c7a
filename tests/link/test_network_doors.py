"""Ways in over a network: what fails is said without the system's numbers, both kinds of addresses are heard."""

from __future__ import annotations

import socket
import threading
import time

import pytest
from link_ptys import Talker, wait_for

from fieldtune import load_robot
from fieldtune.link import Monitor


@pytest.fixture(scope="module")
def heron():
    return load_robot("heron")


def free_port(kind):
    with socket.socket(socket.AF_INET, kind) as free:
        free.bind(("127.0.0.1", 0))
        return free.getsockname()[1]


def words_of(heron, url, wanted):
    with Monitor(heron, url) as line:
        seen, _ = wait_for(line, lambda s: wanted in s.words)
    assert "Errno" not in seen.words
    assert seen.words.count(url) == 1
    assert seen.state in ("searching", "lost")
    return seen.words


def test_a_udp_port_that_another_program_hears_is_said(heron):
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as other:
        other.bind(("", 0))
        words_of(heron, f"udp://:{other.getsockname()[1]}", "another program (another fieldtune?) hears this port")


def test_the_robots_address_in_place_of_ones_own_is_said(heron):
    """192.0.2.0/24 is nobody's (RFC 5737), ``.invalid`` never resolves (RFC 2606)."""
    said = words_of(heron, "udp://192.0.2.7:9000", "is no address of this laptop")
    assert "udp://:9000 hears every robot, udp://:9000?from=192.0.2.7 that one" in said
    said = words_of(heron, "udp://robot.invalid:9000", "robot.invalid is no address of this laptop")
    assert "from=" not in said


def test_tcp_that_nobody_serves_is_said(heron):
    words_of(heron, f"socket://127.0.0.1:{free_port(socket.SOCK_STREAM)}", "nothing listens there")
    words_of(heron, "socket://robot.invalid:9000", "no robot.invalid on this network")


def test_lines_over_ipv6_are_heard_on_the_same_port(heron):
    if not socket.has_dualstack_ipv6():
        pytest.skip("no IPv6 on this machine")
    number = free_port(socket.SOCK_DGRAM)
    wheel = Talker(None)
    with socket.socket(socket.AF_INET6, socket.SOCK_DGRAM) as robot, Monitor(heron, f"udp://:{number}/") as line:

        def say():
            robot.sendto(wheel.line(), ("::1", number))
            time.sleep(0.01)

        seen, _ = wait_for(line, lambda s: s.state == "live" and s.wheel_rpm is not None, meanwhile=say)
        assert seen.wheel_rpm == pytest.approx(1500, rel=0.03)


def test_over_both_kinds_the_plain_ipv4_address_is_offered(heron):
    number = free_port(socket.SOCK_DGRAM)
    robots = [socket.socket(socket.AF_INET, socket.SOCK_DGRAM) for _ in range(2)]
    for k, robot in enumerate(robots):
        robot.bind((f"127.0.0.{k + 1}", 0))
    wheel = Talker(None)
    with Monitor(heron, f"udp://:{number}") as line:

        def say():
            for robot in robots:
                robot.sendto(wheel.line(), ("127.0.0.1", number))
            time.sleep(0.01)

        seen, _ = wait_for(line, lambda s: s.others, meanwhile=say)
        assert seen.others[0].startswith(f"udp://:{number}?from=127.0.0.")
    for robot in robots:
        robot.close()


def test_lines_of_a_robot_that_closes_behind_each_batch_are_read(heron):
    """What came with the end of the connection was lost with it."""
    wheel = Talker(None)
    with socket.create_server(("127.0.0.1", 0)) as server:

        def serve():
            while True:
                try:
                    connection, _ = server.accept()
                except OSError:
                    return
                with connection:
                    connection.sendall(b"".join(wheel.line() for _ in range(20)))

        thread = threading.Thread(target=serve, daemon=True)
        thread.start()
        with Monitor(heron, f"socket://127.0.0.1:{server.getsockname()[1]}") as line:
            wait_for(line, lambda s: s.health.good >= 40)
        server.shutdown(socket.SHUT_RDWR)
        thread.join(2.0)


def test_silence_is_told_by_what_may_be_behind_it(heron, monkeypatch):
    monkeypatch.setattr("fieldtune.link.waiting_words.SILENT_S", 0.3)
    with Monitor(heron, f"udp://:{free_port(socket.SOCK_DGRAM)}") as line:
        wait_for(line, lambda s: "does the robot send to this laptop's address and port?" in s.words)
    with (
        socket.create_server(("127.0.0.1", 0)) as server,
        Monitor(heron, f"socket://127.0.0.1:{server.getsockname()[1]}") as line,
    ):
        wait_for(line, lambda s: "silent" in s.words and "is the network there?" in s.words)


def test_stopping_waits_for_no_answer_of_a_network(heron):
    """A queue of connections that is full answers no further one; to wait for it may take seconds."""
    with socket.socket() as server:
        server.bind(("127.0.0.1", 0))
        server.listen(0)
        waiting = [socket.socket() for _ in range(4)]
        for one in waiting:
            one.setblocking(False)
            one.connect_ex(server.getsockname())
        line = Monitor(heron, f"socket://127.0.0.1:{server.getsockname()[1]}")
        line.start()
        time.sleep(0.2)
        began = time.monotonic()
        line.stop()
        assert time.monotonic() - began < 1.0
        for one in waiting:
            one.close()
