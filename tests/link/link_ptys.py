"""A cable made of a pseudo-terminal: what is written at the robot's end is read by the monitor at the other."""

from __future__ import annotations

import os
import time
import tty

from fieldtune.link.text.checksums import framed


class Cable:
    """A pseudo-terminal under a name that stays, as a device link does when USB renumbers the device behind it."""

    def __init__(self, name):
        self.name = str(name)
        self._master = self._slave = None
        self.plug()

    def plug(self):
        """A new device appears under the name."""
        self._master, self._slave = os.openpty()
        tty.setraw(self._slave)
        if os.path.islink(self.name):
            os.unlink(self.name)
        os.symlink(os.ttyname(self._slave), self.name)

    def pull(self):
        """The device is gone; the name too."""
        os.unlink(self.name)
        os.close(self._master)
        os.close(self._slave)
        self._master = self._slave = None

    def write(self, data):
        """Bytes from the robot."""
        while data:
            data = data[os.write(self._master, data) :]

    def unread(self):
        """What the monitor has written to the robot: must stay empty."""
        os.set_blocking(self._master, False)
        try:
            return os.read(self._master, 4096)
        except BlockingIOError:
            return b""
        finally:
            os.set_blocking(self._master, True)

    def close(self):
        if self._master is not None:
            self.pull()


class Talker:
    """Writes lines of an evenly turning wheel to a cable, in real time, ``every_s`` one."""

    def __init__(self, cable, counts=100_000, clock=50_000, every_s=0.01):
        self.cable, self.counts, self.clock, self.every_s = cable, float(counts), clock, every_s

    def line(self):
        self.clock += 1000 * self.every_s
        self.counts += 2520 * self.every_s  # 1,500 rpm of the heron's wheel
        return framed(f"t_ms={round(self.clock)},wheel_counts={int(self.counts) % 2**32},battery_mv=9800,fired=0")

    def talk(self, seconds, spoil=lambda line: line):
        """Speaks for a while."""
        until = time.monotonic() + seconds
        due = time.monotonic()
        while due < until:
            self.cable.write(spoil(self.line()))
            due += self.every_s
            time.sleep(max(due - time.monotonic(), 0))


def wait_for(monitor, wanted, seconds=5.0, meanwhile=lambda: time.sleep(0.02)):
    """Until a snapshot is as wanted: returns it and how long it took."""
    began = time.monotonic()
    while time.monotonic() - began < seconds:
        live = monitor.snapshot()
        if wanted(live):
            return live, time.monotonic() - began
        meanwhile()
    raise AssertionError(f"not within {seconds} s: {monitor.snapshot().state}, {monitor.snapshot().words}")
