"""A serial port shared over the network by RFC 2217 (Telnet COM port control), served by pyserial itself."""

from __future__ import annotations

import os
import socket
import threading
import time
import tty

import pytest
import serial
from serial.rfc2217 import PortManager

from fieldtune import load_robot
from fieldtune.link.monitor import Monitor
from fieldtune.link.text.checksums import framed


class PortWithoutModemLines(serial.Serial):
    """A pseudo-terminal has no modem lines; the server asks for them all the same."""

    cts = dsr = ri = cd = property(lambda _self: False)

    def _update_dtr_state(self) -> None:
        """There is nothing to switch."""

    _update_rts_state = _update_dtr_state


class Shared:
    """A pseudo-terminal behind an RFC 2217 server on loopback, with a robot that talks at its other end."""

    def __init__(self) -> None:
        self.robot_end, slave = os.openpty()
        tty.setraw(slave)
        self.port = PortWithoutModemLines(os.ttyname(slave), timeout=0.05)
        self.listener = socket.create_server(("127.0.0.1", 0))
        self.url = f"rfc2217://127.0.0.1:{self.listener.getsockname()[1]}"
        self.over = threading.Event()
        self.threads = [threading.Thread(target=work, daemon=True) for work in (self._talk, self._serve)]
        for thread in self.threads:
            thread.start()

    def _talk(self) -> None:
        t = 0
        while not self.over.is_set():
            os.write(self.robot_end, framed(f"t_ms={t},wheel_rpm=1400,battery_mv=12600"))
            t += 10
            time.sleep(0.01)

    def _serve(self) -> None:
        link, _ = self.listener.accept()
        send = threading.Lock()

        class Connection:
            def write(self, data: bytes) -> None:
                with send:
                    link.sendall(data)

        manager = PortManager(self.port, Connection())
        link.settimeout(0.05)
        threading.Thread(target=self._forward, args=(link, manager, send), daemon=True).start()
        while not self.over.is_set():
            try:
                data = link.recv(1024)
            except TimeoutError:
                continue
            except OSError:
                return
            if not data:
                return
            try:
                self.port.write(b"".join(manager.filter(data)))
            except OSError:
                return

    def _forward(self, link: socket.socket, manager: PortManager, send: threading.Lock) -> None:
        while not self.over.is_set():
            data = self.port.read(self.port.in_waiting or 1)
            try:
                with send:
                    link.sendall(b"".join(manager.escape(data)))
            except OSError:  # the reader hung up
                return

    def close(self) -> None:
        self.over.set()
        for thread in self.threads:
            thread.join(2)
        self.listener.close()


@pytest.fixture
def shared():
    served = Shared()
    yield served
    served.close()


def test_a_port_on_another_machine_is_read(shared):
    with Monitor(load_robot("heron"), shared.url, baud=115200) as monitor:
        end = time.monotonic() + 15
        while monitor.snapshot().state != "live" and time.monotonic() < end:
            time.sleep(0.05)
        time.sleep(0.5)
        now = monitor.snapshot()
    assert now.state == "live"
    assert now.wheel_rpm == pytest.approx(1400)
    assert now.battery_v == pytest.approx(12.6)
    assert not now.health.dropped
