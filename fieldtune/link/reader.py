"""Reading one chunk from any pyserial port, and every way in which a port says that it is gone."""

from __future__ import annotations

import time

import serial

try:
    from termios import error as _TermiosError
except ImportError:  # Windows has no termios, and raises none of its errors
    _TermiosError = OSError  # type: ignore[misc,assignment]

_MOST = 65_536
_FLOOD = 1_500
_MOMENT_S = 0.03


class Lost(Exception):
    """The port is gone: cable pulled, device reset, other end closed."""


def read_chunk(port: serial.SerialBase) -> tuple[bytes, float | None]:
    """What has arrived (empty after the port's timeout) and its arrival time, if the port knows it.

    Reads in big chunks: one byte is waited for, then all that is there is taken, and from a robot that floods the line
    what comes within the next moment too.
    """
    try:
        data = port.read(1)
        waiting: int = port.in_waiting if data else 0  # type: ignore[attr-defined]
        if waiting:
            data += port.read(min(waiting, _MOST))
        if len(data) >= _FLOOD:
            data += _more(port, _MOST - len(data))
    except (OSError, TypeError, _TermiosError) as error:
        # SerialException is an OSError; termios.error is not. TypeError: closed under the read.
        raise Lost(_words(error)) from None
    return data, getattr(port, "arrival_s", None)


def _more(port: serial.SerialBase, most: int) -> bytes:
    """What a flooded port brings within ``_MOMENT_S``: few big chunks cost far less to decode than many small ones."""
    pieces: list[bytes] = []
    until = time.monotonic() + _MOMENT_S
    while most > 0 and time.monotonic() < until:
        waiting: int = port.in_waiting  # type: ignore[attr-defined]
        if waiting:
            pieces.append(port.read(min(waiting, most)))
            most -= len(pieces[-1])
        else:
            time.sleep(0.002)
    return b"".join(pieces)


def set_speed(port: serial.SerialBase, baud: int) -> None:
    """Changes the speed of an open port. Raises ``Lost``."""
    try:
        port.baudrate = baud
    except (OSError, ValueError, _TermiosError) as error:
        raise Lost(_words(error)) from None


def close_port(port: serial.SerialBase) -> None:
    """Closes a port that may already be gone."""
    try:
        port.close()
    except (OSError, TypeError, _TermiosError):
        return  # the device is gone; there is nothing left to close


def _words(error: Exception) -> str:
    text = str(error)
    if "disconnected" in text or "readiness" in text or "Input/output" in text or isinstance(error, TypeError):
        return "the connection is gone"
    return text
