"""A robot program on a pseudo-terminal: a second thread prints its lines evenly, until the cable is pulled."""

from __future__ import annotations

import contextlib
import os
import threading
import time
import tty
from collections.abc import Callable
from itertools import count
from types import TracebackType
from typing import Self


class PrintingRobot:
    """Prints ``line(number)``, the numbers from 1 on, every so many seconds at the port of the name ``device``.

    Seldom enough it is late; it is then not late again. ``line`` is called in the thread that prints.
    """

    def __init__(self, line: Callable[[int], bytes], every_s: float = 0.01) -> None:
        self.robot_end, self._port = os.openpty()
        tty.setraw(self._port)
        os.set_blocking(self.robot_end, False)
        self.device = os.ttyname(self._port)
        self._line, self._every_s = line, every_s
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._print, daemon=True)
        self._thread.start()

    def _print(self) -> None:
        began = time.monotonic()
        for number in count(1):
            if self._over.wait(max(began + self._every_s * number - time.monotonic(), 0)):
                return
            with contextlib.suppress(BlockingIOError):  # nobody reads: a wire doesn't wait for that
                os.write(self.robot_end, self._line(number))

    def pull(self) -> None:
        """Its cable is pulled."""
        if not self._over.is_set():
            self._over.set()
            self._thread.join()
            os.close(self._port)
            os.close(self.robot_end)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.pull()
