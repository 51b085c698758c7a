"""Checksums of lines, ``$payload*HH``: the XOR of the bytes between ``$`` and ``*`` (the framing of NMEA 0183).

To fold all checksums of a read in one large number was no faster.
"""

from __future__ import annotations

from itertools import accumulate

import numpy as np

_MANY, _ALL = 4, 48  # lines from which arrays are faster for the sums, and for all
_MARKS = b"$*"
_DOLLAR, _STAR, _LF = *_MARKS, 10
_DIGITS = b"0123456789ABCDEFabcdef"
BETWEEN = b"*__\n$"
"""What stands between payloads when their checksums were found right."""
_BLANK = BETWEEN[1]


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


def _tails() -> dict[bytes, int]:
    """What a right line's bytes come to, from its ``$`` to its LF, by how it ends: ``*`` and two digits."""
    ends = [b"*%c%c" % (high, low) for high in _DIGITS for low in _DIGITS]
    return {end: int(end[1:], 16) ^ checksum(b"$%s\n" % end) for end in ends}


_SUM_BY_TAIL = _tails()


def checked_payloads(body: bytes, lines: list[bytes]) -> bytes | None:
    """The payloads, ``BETWEEN`` one and the next, of lines that are all ``$payload*HH`` with right checksums.

    None where any is not. ``body``: the lines as they came, each ended by LF.
    """
    try:
        return _checked_few(body, lines) if len(lines) < _ALL else _checked_many(body)
    except (KeyError, ValueError):  # no two digits
        return None


def _checked_few(body: bytes, lines: list[bytes]) -> bytes | None:
    count = len(lines)
    if body[:1] != b"$" or len(body) - len(body.translate(None, _MARKS)) != 2 * count:
        return None
    if count < _MANY:
        sums = bytes([checksum(line) ^ _LF for line in lines])
    else:
        starts = list(accumulate([len(line) + 1 for line in lines[:-1]], initial=0))
        sums = np.bitwise_xor.reduceat(np.frombuffer(body, np.uint8), starts).tobytes()
    if sums != bytes([_SUM_BY_TAIL[line[-3:]] for line in lines]) or body.count(b"\n$") != count - 1:
        return None
    return BETWEEN.join([line[1:-3] for line in lines])


def _checked_many(body: bytes) -> bytes | None:
    buffer = np.frombuffer(body, np.uint8)
    marks = np.flatnonzero((buffer == _DOLLAR) | (buffer == _STAR) | (buffer == _LF))
    if buffer[marks].tobytes() != b"$*\n" * (len(marks) // 3):
        return None
    dollars, stars, ends = marks[::3], marks[1::3], marks[2::3]
    if dollars[0] != 0 or (dollars[1:] != ends[:-1] + 1).any() or (stars != ends - 3).any():
        return None
    digits = np.add.outer(stars, (1, 2))
    said = bytes.fromhex(buffer[digits].tobytes().decode("ascii"))
    sums = np.bitwise_xor.reduceat(buffer, marks)[::3]  # from each $ on, with it
    if said != (sums ^ np.uint8(_DOLLAR)).tobytes():
        return None
    blanked = buffer.copy()
    blanked[digits] = _BLANK
    return blanked[1:-4].tobytes()
