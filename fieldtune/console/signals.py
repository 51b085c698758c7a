"""Leaving the console on a signal: the terminal gets its screen, mouse and echo back, and the log is closed."""

from __future__ import annotations

import asyncio
import os
import signal
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from types import FrameType

try:
    import termios
except ImportError:  # Windows restores its console by itself
    termios = None  # type: ignore[assignment]

_SIGNALS = [getattr(signal, name) for name in ("SIGTERM", "SIGHUP", "SIGQUIT") if hasattr(signal, name)]
_GRACE_S = 3.0
"""How long an orderly way out may take before the terminal is restored without it."""
_AS_BEFORE = b"\x1b[?1000l\x1b[?1003l\x1b[?1006l\x1b[?1015l\x1b[?1004l\x1b[?2004l\x1b[<u\x1b[?7h\x1b[?1049l\x1b[?25h"
"""Mouse, focus and paste reports off, usual keyboard, line wrap on, main screen, cursor (xterm control sequences)."""


@contextmanager
def leaving_on_signals(leave: Callable[[], None]) -> Iterator[None]:
    """Within, a request to end calls ``leave`` in the running event loop; afterwards the program exits as its shell
    expects, 128 and the signal's number. Where the loop is stuck, the terminal is restored all the same.
    """
    came: list[int] = []
    before = _terminal_state()

    def obey(number: int, frame: FrameType | None) -> None:
        if came:
            return
        came.append(number)
        rescue = threading.Timer(_GRACE_S, _restore_and_exit, (before, number))
        rescue.daemon = True
        rescue.start()
        try:
            asyncio.get_running_loop().call_soon_threadsafe(leave)
        except RuntimeError:  # the console isn't running yet, or not any more
            raise SystemExit(128 + number) from None

    previous = {number: signal.signal(number, obey) for number in _SIGNALS}
    try:
        yield
    finally:
        for number, handler in previous.items():
            signal.signal(number, handler)
    if came:
        raise SystemExit(128 + came[0])


def _terminal_state() -> list[object] | None:
    if termios is None:
        return None
    try:
        return termios.tcgetattr(sys.__stdin__)  # type: ignore[arg-type]
    except (termios.error, ValueError):
        return None


def _restore_and_exit(before: list[object] | None, number: int) -> None:
    with suppress(OSError):
        os.write(2, _AS_BEFORE)
    if before is not None:
        with suppress(termios.error):
            termios.tcsetattr(0, termios.TCSANOW, before)  # type: ignore[arg-type]
    os._exit(128 + number)
