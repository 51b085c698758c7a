"""A program on a real pseudo-terminal, timed by what it writes there."""

from __future__ import annotations

import os
import pty
import select
import subprocess
import sys
import threading
import time
import tty
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True)
class Program:
    """The terminal's other end, and the process behind it."""

    master: int
    pid: int

    def processor_seconds(self) -> float:
        """Processor time used so far by all of the program's threads (Linux: Documentation/scheduler/sched-stats)."""
        tasks = Path(f"/proc/{self.pid}/task").glob("*/schedstat")
        return sum(int(task.read_text().split()[0]) for task in tasks) / 1e9


@contextmanager
def program(*words: str, **settings: str) -> Iterator[Program]:
    """Runs Python with these words on a pseudo-terminal of 120 x 40; gives the program."""
    master, slave = pty.openpty()
    size = {"TERM": "xterm-256color", "COLUMNS": "120", "LINES": "40"}
    env = {**os.environ, **size, "OPENBLAS_NUM_THREADS": "1", **settings}
    running = subprocess.Popen([sys.executable, *words], stdin=slave, stdout=slave, stderr=slave, env=env)
    os.close(slave)
    try:
        yield Program(master, running.pid)
    finally:
        running.kill()
        running.wait(10)
        os.close(master)


def seconds_until(master: int, wanted: bytes, most: float = 60.0) -> float:
    """Time until the terminal was sent these bytes."""
    begun = time.perf_counter()
    heard = b""
    while wanted not in heard:
        left = most - (time.perf_counter() - begun)
        assert left > 0, f"never saw {wanted!r} in {heard[-2000:]!r}"
        if select.select([master], [], [], left)[0]:
            heard = heard[-4096:] + os.read(master, 65536)
    return time.perf_counter() - begun


def drain(master: int, seconds: float) -> None:
    """Read and forget what is sent for a while."""
    end = time.perf_counter() + seconds
    while (left := end - time.perf_counter()) > 0:
        if select.select([master], [], [], left)[0]:
            os.read(master, 65536)


@contextmanager
def robot_line(per_second: float, said: Callable[[int, float], str]) -> Iterator[str]:
    """A device on which a robot's line arrives so often; gives its path. ``said``: the line of a number and a time."""
    master, slave = pty.openpty()
    tty.setraw(slave)
    os.set_blocking(master, False)
    over = threading.Event()

    def feed() -> None:
        number, begun = 0, time.perf_counter()
        while not over.wait(0.005):
            while number < (time.perf_counter() - begun) * per_second:
                number += 1
                with suppress(BlockingIOError):
                    os.write(master, said(number, number / per_second).encode())

    threading.Thread(target=feed, daemon=True).start()
    try:
        yield os.ttyname(slave)
    finally:
        over.set()
        time.sleep(0.02)
        os.close(slave)
        os.close(master)
