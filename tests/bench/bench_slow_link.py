"""A program on a pseudo-terminal behind a link that carries so many bytes a second, its screen kept by an emulator."""

from __future__ import annotations

import math
import os
import pty
import re
import select
import subprocess
import sys
import threading
import time
from collections.abc import Mapping
from types import TracebackType

import pyte

_UNKNOWN = re.compile(rb"\x1b\[[<>=][0-9;]*[a-zA-Z]|\x1b\[\?[0-9;]*\$[a-z]|\x1b\][^\x07\x1b]*(?:\x07|\x1b\\)")
_UNFINISHED = re.compile(rb"\x1b(\[[0-9;?<>=$ ]*)?$")
_QUERY = b"\x1b[6n"
_STEP_S = 0.005


class SlowTerminal:
    """Runs Python with these words behind a link of ``rate`` bytes a second (None: as fast as it is read).

    ``answers``: the terminal answers when it is asked where its cursor is, as terminals do.
    """

    def __init__(
        self, *words: str, rate: float | None = None, answers: bool = True, env: Mapping[str, str] | None = None
    ) -> None:
        self.screen = pyte.Screen(120, 40)
        self.bytes = 0
        self._stream = pyte.ByteStream(self.screen)
        self._rate, self._answers = rate, answers
        self._rows: dict[int, str] = {}
        self._changed = threading.Condition()
        self.master, slave = pty.openpty()
        settings = {"TERM": "xterm-256color", "COLUMNS": "120", "LINES": "40", "OPENBLAS_NUM_THREADS": "1"}
        self.process = subprocess.Popen(
            [sys.executable, *words],
            stdin=slave,
            stdout=slave,
            stderr=slave,
            env={**os.environ, **settings, **(env or {})},
            start_new_session=True,
        )
        os.close(slave)
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._read, daemon=True)
        self._thread.start()

    def _read(self) -> None:
        held, last = b"", time.perf_counter()
        allowed = 0.0
        while not self._over.is_set():
            if self._rate is None:
                room = 65536
            else:
                time.sleep(_STEP_S)
                now = time.perf_counter()
                allowed = min(allowed + (now - last) * self._rate, 4 * _STEP_S * self._rate)
                last, room = now, int(allowed)
            if room < 1 or not select.select([self.master], [], [], 0.02)[0]:
                continue
            try:
                data = os.read(self.master, room)
            except OSError:
                return
            allowed -= len(data)
            if self._answers:
                for _ in range((held[-3:] + data).count(_QUERY)):
                    os.write(self.master, b"\x1b[1;1R")
            data = held + data
            cut = _UNFINISHED.search(data)
            data, held = (data, b"") if cut is None else (data[: cut.start()], data[cut.start() :])
            with self._changed:
                self.bytes += len(data)
                self._stream.feed(_UNKNOWN.sub(b"", data))
                shown = self.screen.buffer
                for row in self.screen.dirty:
                    cells = shown[row]
                    self._rows[row] = "".join(cells[x].data for x in range(120))
                self.screen.dirty.clear()
                self._changed.notify_all()

    def seconds_until(self, wanted: str, most: float = 60.0) -> float:
        """Time until the screen shows this."""
        begun = time.perf_counter()
        with self._changed:
            while not any(wanted in row for row in self._rows.values()):
                left = most - (time.perf_counter() - begun)
                assert left > 0, f"never saw {wanted!r} in\n{self.text}"
                self._changed.wait(min(left, 0.5))
        return time.perf_counter() - begun

    @property
    def text(self) -> str:
        """The screen, one row a line."""
        return "\n".join(self._rows.get(y, "").rstrip() for y in range(40))

    def press(self, key: str) -> None:
        """Presses a key."""
        os.write(self.master, key.encode())

    def rate_over(self, seconds: float) -> float:
        """Bytes a second that arrive for a while."""
        before, begun = self.bytes, time.perf_counter()
        time.sleep(seconds)
        return (self.bytes - before) / (time.perf_counter() - begun)

    def __enter__(self) -> SlowTerminal:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._over.set()
        self._thread.join(2)
        self.process.kill()
        self.process.wait(10)
        os.close(self.master)


def wandering(number: int, seconds: float) -> str:
    """A line of a robot whose wheel wanders a little, as wheels do."""
    rpm = 1400 + 15 * ((number * 7919) % 101 - 50) / 50 + 60 * math.sin(seconds)
    return (
        f"t_ms={1000 * seconds:.0f},wheel_rpm={rpm:.1f},battery_mv={12600 + (number * 31) % 40},"
        "distance_mm=2000,setpoint=1400\n"
    )
