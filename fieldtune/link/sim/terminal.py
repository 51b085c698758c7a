"""The simulated robot on a pseudo-terminal, so that any program that reads a serial port can read it."""

from __future__ import annotations

import os
import select
import sys
import termios
import threading
import time
import tty
from collections.abc import Callable
from types import TracebackType
from typing import TYPE_CHECKING

from fieldtune.link.sim.robot import SimulatedRobot

if TYPE_CHECKING:
    from fieldtune.robot.model import Robot


class PtyRobot:
    """A simulated robot that runs on a pseudo-terminal in a thread; ``path`` is its device name.

    Lines written to the device (``fire``, ``battery``, ``jam``, ``clear``, ``setpoint=2450``, ``hood_deg=52``,
    ``distance_m=2.4``) are obeyed, as calls of ``tell``.
    """

    def __init__(
        self,
        robot: Robot,
        seed: int = 0,
        rate_hz: float = 100.0,
        distance_m: float | None = None,
        target: str | None = None,
        say: Callable[[str], None] | None = None,
    ) -> None:
        self.simulated = SimulatedRobot(robot, seed, rate_hz, distance_m, target, say)
        self._say = say or (lambda words: None)
        self._period_s = 1.0 / rate_hz
        self._stop = threading.Event()
        self._master, self._slave = os.openpty()
        tty.setraw(self._slave)
        os.set_blocking(self._master, False)
        self.path = os.ttyname(self._slave)
        self._told = b""
        self._thread = threading.Thread(target=self._run, name="simulated-robot", daemon=True)

    def __enter__(self) -> PtyRobot:
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._stop.set()
        self._thread.join(timeout=2.0)
        os.close(self._master)
        os.close(self._slave)

    def tell(self, command: str) -> None:
        """Obeys a command; what can't be done is said."""
        trouble = self.simulated.command(command)
        if trouble:
            self._say(trouble)

    def _run(self) -> None:
        due = time.monotonic()
        while not self._stop.is_set():
            due += self._period_s
            wait = max(due - time.monotonic(), 0.0)
            readable, _, _ = select.select([self._master], [], [], wait)
            if readable:
                self._listen()
                self._stop.wait(max(due - time.monotonic(), 0.0))
            if time.monotonic() - due > 1.0:
                due = time.monotonic()  # the machine slept; don't catch up in a burst
            self._send(self.simulated.line())

    def _send(self, line: bytes) -> None:
        try:
            sent = os.write(self._master, line)
        except BlockingIOError:
            sent = 0
        if sent < len(line):  # nobody reads: a reader that comes later wants fresh lines
            termios.tcflush(self._slave, termios.TCIFLUSH)

    def _listen(self) -> None:
        try:
            self._told += os.read(self._master, 4096)
        except OSError:
            return
        *commands, self._told = self._told[-4096:].split(b"\n")
        for command in commands:
            self.tell(command.decode("ascii", "replace"))


def serve(
    robot: Robot,
    seed: int = 0,
    rate_hz: float = 100.0,
    distance_m: float | None = None,
    target: str | None = None,
    say: Callable[[str], None] = print,
) -> None:
    """Runs a simulated robot until q, Ctrl-C or the end of its terminal. Says the device's path first.

    Space or Enter in its terminal shoots; what a spectator would see of each shot is said there and not sent.
    """
    with PtyRobot(robot, seed, rate_hz, distance_m, target, say) as served:
        say(served.path)
        if not sys.stdin.isatty():
            _wait_for_interrupt()
            return
        say("Space shoots, q ends.")
        _follow_keys(served)


def _wait_for_interrupt() -> None:
    try:
        threading.Event().wait()
    except KeyboardInterrupt:
        return


def _follow_keys(served: PtyRobot) -> None:
    before = termios.tcgetattr(sys.stdin)
    tty.setcbreak(sys.stdin)
    try:
        while True:
            key = os.read(sys.stdin.fileno(), 1)
            if key in (b"q", b"", b"\x04"):
                return
            if key in (b" ", b"\n", b"\r"):
                served.tell("fire")
    except KeyboardInterrupt:
        return
    finally:
        termios.tcsetattr(sys.stdin, termios.TCSADRAIN, before)
