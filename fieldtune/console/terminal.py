"""The terminal: Escape told apart from escape sequences, and left as it was when a signal ends the console.

Terminals send Escape as the byte that such sequences begin with. Textual takes an ordinary key behind it for Alt and
that key, as on a keyboard with Alt; the console has no such keys, and people who press Escape and a letter in one go
mean both.
"""

from __future__ import annotations

import asyncio
import os
import re
import select
import signal
import sys
import threading
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress
from types import FrameType
from typing import Any

from textual._xterm_parser import XTermParser
from textual.events import Event

_ESC = "\x1b"
_SEQUENCES = "[]O_PX^\\" + _ESC
"""What may follow Escape in a sequence: control sequences, function keys, strings from the terminal (ECMA-48)."""
_SPLIT = re.compile(f"(?<={_ESC})(?=[^{re.escape(_SEQUENCES)}])")


_ASK_PAPER = f"{_ESC}]11;?{_ESC}\\"
"""What the background is (xterm's control sequences, dynamic colours)."""
_PAPER = re.compile(f"{_ESC}?\\]11;([^\x07{_ESC}]*)(?:\x07|{_ESC}\\\\)")
_BEGUN = re.compile(f"(?:{_ESC}?\\]11;[^\x07{_ESC}]*{_ESC}?|{_ESC}\\]1{{0,2}})$")
_AFTER_ESCAPE = re.compile("\\]1{0,2}")
_RGB = re.compile("rgba?:([0-9a-fA-F]{1,4})/([0-9a-fA-F]{1,4})/([0-9a-fA-F]{1,4})")
_LONGEST = 64


class Paper(Event, bubble=False):
    """The terminal has told its background."""

    def __init__(self, light: bool) -> None:
        super().__init__()
        self.light = light


def _is_light(answer: str) -> bool:
    """Whether a colour, each part in one to four hex digits, is nearer to white than to black; False if unreadable."""
    parts = _RGB.match(answer)
    if parts is None:
        return False
    red, green, blue = (int(part, 16) / int("f" * len(part), 16) for part in parts.groups())
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue > 0.5


def ask_paper(write: Callable[[str], None]) -> None:
    """Asks the terminal for its background; the answer comes as ``Paper``, or never."""
    EscapeParser.asked = True
    write(_ASK_PAPER)


class EscapeParser(XTermParser):
    """Textual's parser of what the terminal sends, but for Escape and a plain key in one read."""

    asked = False
    """Whether the terminal was asked for its background and hasn't answered."""
    _lone_escape = False
    _held = ""

    def feed(self, data: str) -> Iterable[Any]:
        """The events of some text, as it came in one read."""
        if data and EscapeParser.asked:
            found, data = self._answer(self._held + data)
            if found is not None:
                yield found
            if not data:
                return
        if self._lone_escape and data and data[0] not in _SEQUENCES:
            yield from self._end_escape()
        pieces = _SPLIT.split(data)
        for piece in pieces[:-1]:
            yield from super().feed(piece)
            yield from self._end_escape()
        yield from super().feed(pieces[-1])
        self._lone_escape = data.endswith(_ESC)

    def _answer(self, data: str) -> tuple[Paper | None, str]:
        """The background, where it is told in the text, and the rest of that; an unfinished answer is held back.

        However late its parts come: as keys they would do things. An Escape that came long before is one already.
        """
        self._held, found = "", None
        if (answer := _PAPER.search(data)) is not None:
            EscapeParser.asked = False
            found = Paper(_is_light(answer[1]))
            data = data[: answer.start()] + data[answer.end() :]
        elif self._lone_escape and _AFTER_ESCAPE.fullmatch(data):
            data, self._held = "", data
        elif (begun := _BEGUN.search(data)) is not None and len(data) - begun.start() < _LONGEST:
            data, self._held = data[: begun.start()], data[begun.start() :]
        return found, data

    def _end_escape(self) -> Iterable[Any]:
        """What the parser does by itself once nothing has followed Escape for a while; nothing if it did so already."""
        if self._timeout_time is not None:
            self._timeout_time = 0.0
            yield from self.tick()


def install() -> None:
    """Makes the running program's terminals use it; on Windows keys come apart by themselves."""
    try:
        from textual.drivers import linux_driver
    except ImportError:
        return
    linux_driver.XTermParser = EscapeParser  # type: ignore[attr-defined]


# Leaving the console on a signal: the terminal gets its screen, mouse and echo back, and the log is closed.


try:
    import termios
except ImportError:  # Windows restores its console by itself
    termios = None  # type: ignore[assignment]

_SIGNALS = [getattr(signal, name) for name in ("SIGTERM", "SIGHUP", "SIGQUIT") if hasattr(signal, name)]
_GRACE_S, _ORDERLY_S = 3.0, 20.0
"""How long the loop may take to hear that it is to end, and then an orderly way out with the last shots written, before
the terminal is restored without it."""
_LOOK_MS = 1000
"""How long the end of watching for a hang-up may wait; a hang-up itself is seen at once."""
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
        grace = _restore_later(_GRACE_S, before, number)

        def heard() -> None:
            grace.cancel()
            _restore_later(_ORDERLY_S, before, number)
            leave()

        try:
            asyncio.get_running_loop().call_soon_threadsafe(heard)
        except RuntimeError:  # the console isn't running yet, or not any more
            raise SystemExit(128 + number) from None

    previous = {number: signal.signal(number, obey) for number in _SIGNALS}
    ended = threading.Event()
    threading.Thread(target=_watch_for_hang_up, args=(ended,), name="fieldtune-hang-up", daemon=True).start()
    try:
        yield
    finally:
        ended.set()
        for number, handler in previous.items():
            signal.signal(number, handler)
    if came:
        raise SystemExit(128 + came[0])


def _watch_for_hang_up(ended: threading.Event) -> None:
    """Sends this program SIGHUP once its terminal is gone.

    The system does so itself only where the terminal controls the program's session. Elsewhere its input is at its end,
    and Textual's thread would go on to read nothing as fast as it can.
    """
    if not hasattr(select, "poll"):  # Windows
        return
    poll = select.poll()
    try:
        poll.register(sys.__stdin__.fileno(), 0)  # type: ignore[union-attr]
        while not ended.is_set():
            for _, what in poll.poll(_LOOK_MS):
                if what & (select.POLLHUP | select.POLLERR) and not ended.is_set():
                    os.kill(os.getpid(), signal.SIGHUP)
                return  # or it can't be watched
    except (OSError, ValueError):  # no terminal
        return


def _restore_later(seconds: float, before: list[object] | None, number: int) -> threading.Timer:
    timer = threading.Timer(seconds, _restore_and_exit, (before, number))
    timer.daemon = True
    timer.start()
    return timer


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
