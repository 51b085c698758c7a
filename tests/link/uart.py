"""A controller's serial port at the far end of a pseudo-terminal: bits sent at one speed, sampled at the reader's.

Start bit, eight data bits with the lowest first, stop bit (common practice, 8N1). The receiver samples in the middle of
each bit, counted from the falling edge of the start bit; a byte without its stop bit is read as NUL (POSIX termios,
neither IGNPAR nor PARMRK).
"""

from __future__ import annotations

import os
import select
import termios
import threading
import time
import tty

_BITS = 10
_SPEEDS = {getattr(termios, name): int(name[1:]) for name in dir(termios) if name[0] == "B" and name[1:].isdigit()}


def heard_at(data, sent_baud, read_baud):
    """What a receiver at one speed makes of bytes that were sent at another."""
    if sent_baud == read_baud:
        return bytes(data)
    levels = [level for byte in data for level in (0, *((byte >> k) & 1 for k in range(8)), 1)]
    ratio = sent_baud / read_baud  # sent bits in a bit of the receiver

    def level(at):
        return levels[int(at)] if at < len(levels) else 1

    out, at = bytearray(), 0
    while at < len(levels):
        if levels[at]:
            at += 1
            continue
        byte = sum(level(at + ratio * (1.5 + k)) << k for k in range(8))
        end = at + ratio * 9.5
        out.append(byte if level(end) else 0)
        at = int(end)
        while at < len(levels) and not levels[at]:
            at += 1
    return bytes(out)


class Board:
    """Starts anew whenever its port is opened: says ``boot`` for a while at a speed of its own, then ``line()`` each
    time. ``starts`` counts."""

    def __init__(self, baud, line, boot=b"", boot_baud=115200, boot_s=0.0, hz=100):
        self.baud, self.line, self.boot, self.boot_baud, self.boot_s, self.hz = baud, line, boot, boot_baud, boot_s, hz
        self.starts = 0
        self._master, slave = os.openpty()
        tty.setraw(slave)
        self.device = os.ttyname(slave)
        os.close(slave)
        os.set_blocking(self._master, False)
        self._poll = select.poll()
        self._poll.register(self._master, select.POLLIN)
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)

    def __enter__(self):
        self._thread.start()
        return self

    def __exit__(self, *_):
        self._stop.set()
        self._thread.join()
        os.close(self._master)

    def _run(self):
        opened = None
        while not self._stop.wait(1 / self.hz):
            if any(event & select.POLLHUP for _, event in self._poll.poll(0)):
                opened = None
                continue
            if opened is None:
                opened = time.monotonic()
                self.starts += 1
            boots = time.monotonic() - opened < self.boot_s
            said, baud = (self.boot, self.boot_baud) if boots else (self.line(), self.baud)
            try:
                os.write(self._master, heard_at(said, baud, _SPEEDS[termios.tcgetattr(self._master)[4]]))
            except (BlockingIOError, OSError):
                continue
