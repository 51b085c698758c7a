"""Escape and the key typed right after it, told apart from the escape sequences of arrows and function keys.

Terminals send Escape as the byte that such sequences begin with. Textual takes an ordinary key behind it for Alt and
that key, as on a keyboard with Alt; the console has no such keys, and people who press Escape and a letter in one go
mean both.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Any

from textual._xterm_parser import XTermParser

_ESC = "\x1b"
_SEQUENCES = "[]O_PX^\\" + _ESC
"""What may follow Escape in a sequence: control sequences, function keys, strings from the terminal (ECMA-48)."""
_SPLIT = re.compile(f"(?<={_ESC})(?=[^{re.escape(_SEQUENCES)}])")


class EscapeParser(XTermParser):
    """Textual's parser of what the terminal sends, but for Escape and a plain key in one read."""

    _lone_escape = False

    def feed(self, data: str) -> Iterable[Any]:
        """The events of some text, as it came in one read."""
        if self._lone_escape and data and data[0] not in _SEQUENCES:
            yield from self._end_escape()
        pieces = _SPLIT.split(data)
        for piece in pieces[:-1]:
            yield from super().feed(piece)
            yield from self._end_escape()
        yield from super().feed(pieces[-1])
        self._lone_escape = data.endswith(_ESC)

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
