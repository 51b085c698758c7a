"""Datagrams to text: most programs send whole lines, with a line end or without; some cut lines anywhere.

A datagram without a line end is taken to be whole until what comes shows that lines go on from one to the next: the
same line is cut at other places each time, as by a buffer that is sent when it is full, or pieces come that are no
line, as where a program sends each value as it prints it.
"""

from __future__ import annotations

import re
from collections import Counter, deque

from fieldtune.link.text.framing import LONGEST

_NUMBER = re.compile(rb"[-+]?[\d.]+")
_PIECE = re.compile(rb"[=:,;*\r\n].*|.*[=:,;$\t ]|[A-Za-z_{}\"]", re.DOTALL)
"""No line, if others end with a line end: it begins or ends with what stands between, or is one letter."""
_LATELY, _CUTS, _PIECES = 32, 3, 3


class Datagrams:
    """Joins the datagrams of one sender where that is how it sends. One that ends no line else ends it all the same."""

    def __init__(self) -> None:
        self.joins = False
        """Whether lines go on from one datagram to the next."""
        self._open = b""  # since the last line end
        self._cuts: deque[tuple[bytes, bytes]] = deque(maxlen=_LATELY)  # a line, and the part of it ahead of a cut
        self._ends: deque[bool] = deque(maxlen=_LATELY)  # whether datagrams ended in a line end
        self._pieces: deque[bool] = deque(maxlen=_LATELY)

    def text(self, data: bytes) -> bytes:
        """What a datagram adds to the text of lines."""
        before, ends = self._open, data.endswith((b"\n", b"\r"))
        *lines, self._open = re.split(rb"[\r\n]", before + data)
        if len(self._open) > LONGEST:  # it never ends a line
            self._open, self.joins = b"", False
            for lately in (self._cuts, self._ends, self._pieces):
                lately.clear()
        elif not self.joins:
            if before and lines:
                self._cuts.append((_NUMBER.sub(b"#", lines[0]), _NUMBER.sub(b"#", before)))
            self._ends.append(ends)
            self._pieces.append(bool((before or not ends) and _PIECE.fullmatch(data)))
            self.joins = self._shows()
        return data if ends or self.joins else data + b"\n"

    def _shows(self) -> bool:
        if any(self._ends) and sum(self._pieces) >= _PIECES:
            return True
        often = Counter(line for line, _ in set(self._cuts))
        return bool(often) and max(often.values()) >= _CUTS
