"""Text of seven bits with a parity bit in the eighth (7E1, 7O1, 7M1), which a port set to eight bits reads as it comes.

Eight bits and a parity bit (8E1, 8O1) leave, of a port set to none, only those bytes whose parity bit looks like a stop
bit; the others come as NUL, or not at all. They can't be read, but known.
"""

from __future__ import annotations

from fieldtune.link.text.line_patterns import share_of_text

_ENOUGH, _KEPT = 32, 128  # of random bytes, one such run in 2^32 would fit
_TEXT, _NULS = 0.98, (0.2, 0.8)
_WRONG = 0.25  # share of bytes whose parity is wrong from which on it is something else

_EVEN = bytes(byte for byte in range(256) if byte.bit_count() % 2 == 0)
_ODD = bytes(byte for byte in range(256) if byte.bit_count() % 2)
_MARK = bytes(range(128, 256))
_FORMS = (_EVEN, _ODD, _MARK)
_PLAIN = bytes(byte & 127 for byte in range(256))
_DAMAGED = b"\xff"


class ParityBit:
    """Takes the parity bit away where that is what comes. ``strips``: whether it does."""

    def __init__(self) -> None:
        self._table: bytes | None = None
        self._fits = b""
        self._lately = b""

    @property
    def strips(self) -> bool:
        """Whether text of seven bits comes."""
        return self._table is not None

    def text(self, data: bytes) -> bytes:
        """The bytes as text; one whose parity is wrong is none."""
        if self._table is None and data.isascii():
            self._lately = b""
            return data
        self._lately = (self._lately + data)[-_KEPT:]
        wrong = len(self._lately.translate(None, self._fits))
        if self._table is not None and wrong > _WRONG * len(self._lately):
            self._table = None
        if self._table is None and len(self._lately) >= _ENOUGH:
            self._look()
        return data if self._table is None else data.translate(self._table)

    def _look(self) -> None:
        lately = self._lately
        if share_of_text(lately.translate(_PLAIN)) < _TEXT:
            return
        for fits in _FORMS:
            if not lately.translate(None, fits):
                self._fits = fits
                self._table = bytes(byte & 127 if byte in fits else _DAMAGED[0] for byte in range(256))


def with_parity(data: bytes) -> str | None:
    """``8E1`` or ``8O1`` where a port set to no parity hears that; None where it doesn't."""
    heard = data.replace(b"\0", b"")
    nuls = len(data) - len(heard)
    if len(heard) < _ENOUGH or not heard.isascii() or share_of_text(heard) < _TEXT:
        return None
    if not _NULS[0] * len(data) < nuls < _NULS[1] * len(data):
        return None
    # A parity bit of 1, as a stop bit is: of an odd number of ones where it makes them even.
    return "8E1" if not heard.translate(None, _ODD) else "8O1" if not heard.translate(None, _EVEN) else None
