"""Checksums of lines, ``$payload*HH``: the XOR of the bytes between ``$`` and ``*`` (the framing of NMEA 0183)."""

from __future__ import annotations

import numpy as np

_MANY = 24  # lines from which arrays are faster
_MARKS = b"$*"
_DOLLAR, _STAR, _LF = *_MARKS, 10


def checksum(payload: bytes) -> int:
    """XOR of all bytes (0..255); folded by halves, which is fast in Python."""
    folded = int.from_bytes(payload, "little")
    if len(payload) > 128:
        folded ^= folded >> 2048
        folded ^= folded >> 1024
    folded ^= folded >> 512
    folded ^= folded >> 256
    folded ^= folded >> 128
    folded ^= folded >> 64
    folded ^= folded >> 32
    folded ^= folded >> 16
    return (folded ^ folded >> 8) & 0xFF


def framed(payload: str) -> bytes:
    """One line as a robot sends it: ``$payload*HH`` and LF."""
    body = payload.encode("ascii")
    return b"$%s*%02X\n" % (body, checksum(body))


def checked_payloads(body: bytes, lines: list[bytes]) -> bytes | None:
    """The payloads of lines that are all ``$payload*HH`` with right checksums, each ended by LF; None otherwise.

    ``body``: the lines as they came, each ended by LF.
    """
    try:
        right = _right_of_many(body) if len(lines) >= _MANY else _right_of_few(body, lines)
    except ValueError:  # not hexadecimal
        return None
    return b"\n".join([line[1:-3] for line in lines] + [b""]) if right else None


def _right_of_few(body: bytes, lines: list[bytes]) -> bool:
    marks = _MARKS * len(lines)
    if len(body) - len(body.translate(None, _MARKS)) != len(marks) or min(map(len, lines)) < 4:
        return False
    if bytes([line[place] for line in lines for place in (0, -3)]) != marks:
        return False
    said = bytes.fromhex(b"".join([line[-2:] for line in lines]).decode("ascii"))
    return said == bytes([checksum(line[1:-3]) for line in lines])


def _right_of_many(body: bytes) -> bool:
    buffer = np.frombuffer(body, np.uint8)
    ends, dollars, stars = (np.flatnonzero(buffer == mark) for mark in (_LF, _DOLLAR, _STAR))
    if len(dollars) != len(ends) or len(stars) != len(ends) or dollars[0] != 0:
        return False
    if (dollars[1:] != ends[:-1] + 1).any() or (stars != ends - 3).any():
        return False
    bounds = np.empty(2 * len(ends), dtype=np.int64)
    bounds[::2], bounds[1::2] = dollars, stars
    said = bytes.fromhex(buffer[np.add.outer(stars, (1, 2))].tobytes().decode("ascii"))
    return said == (np.bitwise_xor.reduceat(buffer, bounds)[::2] ^ np.uint8(_DOLLAR)).tobytes()
