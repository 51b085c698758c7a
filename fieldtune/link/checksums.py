"""Checksums of lines, ``$payload*HH``: the XOR of the bytes between ``$`` and ``*`` (the framing of NMEA 0183)."""

from __future__ import annotations

import numpy as np

_MANY = 24  # lines from which arrays are faster
_MARKS = b"$*"
_DOLLAR, _STAR = _MARKS


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
    marks = _MARKS * len(lines)
    if len(body) - len(body.translate(None, _MARKS)) != len(marks) or min(map(len, lines)) < 4:
        return None
    if bytes([line[place] for line in lines for place in (0, -3)]) != marks:
        return None
    try:
        said = bytes.fromhex(b"".join([line[-2:] for line in lines]).decode("ascii"))
    except ValueError:
        return None
    payloads = [line[1:-3] for line in lines]
    return b"\n".join([*payloads, b""]) if said == _sums(body, payloads) else None


def _sums(body: bytes, payloads: list[bytes]) -> bytes:
    """The checksum of each payload, of which ``body`` holds ``$payload*HH`` one behind the other."""
    if len(payloads) >= _MANY:
        buffer = np.frombuffer(body, np.uint8)
        bounds = np.flatnonzero((buffer == _DOLLAR) | (buffer == _STAR))
        sums = np.bitwise_xor.reduceat(buffer, bounds)[::2] ^ np.uint8(_DOLLAR)
        return bytes(sums.tobytes())
    return bytes(map(checksum, payloads))
