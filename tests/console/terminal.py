"""A program on a real pseudo-terminal, its screen kept by a terminal emulator, its keys pressed from here."""

from __future__ import annotations

import fcntl
import os
import pty
import re
import select
import signal
import struct
import subprocess
import sys
import termios
import threading
import time
from collections.abc import Callable
from pathlib import Path
from types import TracebackType

import pyte

# What pyte doesn't know and would print: private modes and queries with a leading > = ? or an intermediate $.
_UNKNOWN = re.compile(rb"\x1b\[[<>=][0-9;]*[a-zA-Z]|\x1b\[\?[0-9;]*\$[a-z]|\x1b\][^\x07\x1b]*(?:\x07|\x1b\\)")
_FEW_BYTES = 200


class Terminal:
    """Runs ``fieldtune`` with these words on a terminal of ``columns`` x ``rows``.

    ``watch`` is told each screen, also of a busy machine that reads two pictures at once: of every few bytes, so that
    some are half painted.
    """

    def __init__(
        self,
        *words: str,
        profiles: Path,
        columns: int = 120,
        rows: int = 40,
        watch: Callable[[str], None] | None = None,
    ) -> None:
        self._watch = watch
        self._screen = pyte.Screen(columns, rows)
        self._stream = pyte.ByteStream(self._screen)
        self._lock = threading.Lock()
        master, slave = pty.openpty()
        fcntl.ioctl(slave, termios.TIOCSWINSZ, struct.pack("HHHH", rows, columns, 0, 0))
        env = {**os.environ, "TERM": "xterm-256color", "FIELDTUNE_PROFILES": str(profiles), "OPENBLAS_NUM_THREADS": "1"}
        for name in ("NO_COLOR", "COLUMNS", "LINES"):
            env.pop(name, None)
        self._master = master
        self.process = subprocess.Popen(
            [sys.executable, "-m", "fieldtune", *words],
            stdin=slave,
            stdout=slave,
            stderr=slave,
            env=env,
            start_new_session=True,
            preexec_fn=lambda: fcntl.ioctl(0, termios.TIOCSCTTY, 0),  # so that closing the window is told by a signal
        )
        os.close(slave)
        self._over = threading.Event()
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def _read(self) -> None:
        held = b""
        while not self._over.is_set():
            ready, _, _ = select.select([self._master], [], [], 0.1)
            if not ready:
                continue
            try:
                data = os.read(self._master, 65536)
            except OSError:
                return
            if not data:
                return
            data = held + data
            cut = data.rfind(b"\x1b") if b"\x1b" in data[-32:] else -1
            held, data = (data[cut:], data[:cut]) if cut >= 0 and not _finished(data[cut:]) else (b"", data)
            data = _UNKNOWN.sub(b"", data)
            few = len(data) if self._watch is None else _FEW_BYTES
            for at in range(0, len(data), few or 1):
                with self._lock:
                    self._stream.feed(data[at : at + few])
                if self._watch is not None:
                    self._watch(self.text)

    @property
    def text(self) -> str:
        """The screen, one row a line."""
        with self._lock:
            return "\n".join(row.rstrip() for row in self._screen.display)

    def settled(self) -> str:
        """The screen after all that an ended program wrote has been read."""
        self._reader.join(5)
        return self.text

    def press(self, *keys: str) -> None:
        """Presses keys, one after another."""
        for key in keys:
            os.write(self._master, key.encode())

    def wait(self, wanted: str | Callable[[str], bool], seconds: float = 60.0, pause_s: float = 0.05) -> str:
        """Waits until the screen matches the pattern (or the condition holds); fails with the screen."""
        end = time.monotonic() + seconds
        while True:
            text = self.text
            if re.search(wanted, text) if isinstance(wanted, str) else wanted(text):
                return text
            assert self.process.poll() is None, f"ended with {self.process.returncode}:\n{text}"
            assert time.monotonic() < end, f"never saw {wanted!r} on\n{text}"
            time.sleep(pause_s)

    def kill(self) -> None:
        """Ends the program as a power cut would."""
        self.process.send_signal(signal.SIGKILL)
        self.process.wait(10)

    def close_window(self) -> None:
        """The terminal goes away under the program."""
        self._over.set()
        self._reader.join(2)
        os.close(self._master)
        self._master = -1

    def __enter__(self) -> Terminal:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self.process.poll() is None:
            self.kill()
        self._over.set()
        self._reader.join(2)
        if self._master >= 0:
            os.close(self._master)


def _finished(tail: bytes) -> bool:
    """Whether an escape sequence at the end of a chunk is complete."""
    return bool(re.match(rb"\x1b(?:\[[0-9;?<>=$ ]*[a-zA-Z@`]|\][^\x07\x1b]*(?:\x07|\x1b\\)|[^\[\]])", tail))
