"""Serial ports: which there are, in what order to try them, reading one, and what went wrong in plain words."""

from __future__ import annotations

import os
import time
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Protocol

import serial
from serial.tools import list_ports

from fieldtune.errors import LinkError
from fieldtune.frozen import frozen
from fieldtune.link.parity import ParityBit
from fieldtune.link.port_faults import explained, lost_words
from fieldtune.link.urls import open_url
from fieldtune.port_names import has_speed, scheme_of

if TYPE_CHECKING:
    from fieldtune.robot.model import Robot

try:
    import termios as _posix

    _TermiosError = _posix.error
except ImportError:  # Windows has no termios, and raises none of its errors
    _posix = None  # type: ignore[assignment]
    _TermiosError = OSError  # type: ignore[misc,assignment]

_MOST = 65_536
_FLOOD = 1_500
_MOMENT_S = 0.03
_PACE_S, _FAST_HZ = 0.1, 400.0


class Lost(Exception):
    """The port is gone: cable pulled, device reset, other end closed."""


class Pace:
    """How fast lines come lately: one by one, many a second take four times as long to decode as ten together."""

    def __init__(self) -> None:
        self._read_s, self._rate_hz = time.monotonic(), 0.0

    def see(self, data: bytes) -> None:
        """Takes what was read just now."""
        before_s, self._read_s = self._read_s, time.monotonic()
        kept = max(1 - (self._read_s - before_s) / _PACE_S, 0.0)
        self._rate_hz = kept * self._rate_hz + data.count(b"\n") / _PACE_S

    @property
    def fast(self) -> bool:
        """Whether it is worth while to wait a moment for more."""
        return self._rate_hz > _FAST_HZ


def read_chunk(port: serial.SerialBase, fast: bool = False) -> tuple[bytes, float | None]:
    """What has arrived (empty after the port's timeout) and its arrival time, if the port knows it.

    Reads in big chunks: one byte is waited for, then all that is there is taken, and from a robot that floods the line,
    or whose lines come ``fast``, what comes within the next moment too.
    """
    pieces: list[bytes] = []
    try:
        pieces.append(port.read(1))
        waiting: int = port.in_waiting if pieces[0] else 0  # type: ignore[attr-defined]
        if waiting:
            pieces.append(port.read(min(waiting, _MOST)))
        came = sum(map(len, pieces))
        if came >= _FLOOD or (fast and came and getattr(port, "wired", True)):
            _more(port, _MOST - came, pieces)
    except (OSError, TypeError, _TermiosError) as error:
        # SerialException is an OSError; termios.error is not. TypeError: closed under the read.
        if not pieces or not pieces[0]:  # else the next read says it, and what came before the end counts
            raise Lost(lost_words(error)) from None
    data, parity = b"".join(pieces), getattr(port, "parity_bit", None)
    return data if parity is None else parity.text(data), getattr(port, "arrival_s", None)


def _more(port: serial.SerialBase, most: int, pieces: list[bytes]) -> None:
    """What a flooded port brings within ``_MOMENT_S``: few big chunks cost far less to decode than many small ones."""
    until = time.monotonic() + _MOMENT_S
    while most > 0 and time.monotonic() < until:
        waiting: int = port.in_waiting  # type: ignore[attr-defined]
        if waiting:
            pieces.append(port.read(min(waiting, most)))
            most -= len(pieces[-1])
        else:
            time.sleep(0.002)


def strips_parity(port: serial.SerialBase) -> bool:
    """Whether text of seven bits with a parity bit comes from a port."""
    parity = getattr(port, "parity_bit", None)
    return parity is not None and parity.strips


def set_speed(port: serial.SerialBase, baud: int) -> None:
    """Changes the speed of an open port; what came at another one is thrown away. Raises ``Lost``."""
    try:
        if port.baudrate != baud:
            port.baudrate = baud
            vars(port)["parity_bit"] = ParityBit()
            port.reset_input_buffer()  # type: ignore[attr-defined]
    except (OSError, ValueError, _TermiosError) as error:
        raise Lost(lost_words(error)) from None


def close_port(port: serial.SerialBase) -> None:
    """Closes a port that may already be gone."""
    try:
        port.close()
    except (OSError, TypeError, _TermiosError):
        return  # the device is gone; there is nothing left to close


# The most usual first; the rest in the order in which robot controllers tend to use them (common practice).
BAUDS = (115200, 9600, 57600, 230400, 38400, 19200, 250000, 460800, 921600, 500000, 1000000)
RARE_BAUDS = (74880, 2000000, 128000, 256000, 1500000, 31250, 4800, 76800, 2400)
"""Tried only where none of the usual ones brings text."""
READ_TIMEOUT_S = 0.1


class PortInfo(Protocol):
    """What pyserial says of a port."""

    device: str
    hwid: str
    description: str
    vid: int | None
    pid: int | None
    serial_number: str | None


@frozen
class Candidate:
    """A port worth listening to, and the speeds to try in order. ``identity`` stays the same when USB renumbers it."""

    device: str
    bauds: tuple[int, ...]
    identity: Mapping[str, Any]


def is_url(name: str) -> bool:
    """Whether a port's name is a pyserial URL rather than a device."""
    return scheme_of(name) is not None


def identity_of(port: PortInfo) -> dict[str, Any]:
    """What is remembered of a port: its name, and by what to know it again under another name."""
    return {"device": port.device, "vid": port.vid, "pid": port.pid, "serial_number": port.serial_number}


def same_hardware(port: Mapping[str, Any], remembered: Mapping[str, Any]) -> bool:
    """Whether two identities are of one device, under whatever name."""
    if remembered.get("vid") is None:
        return bool(port["device"] == remembered.get("device"))
    return all(port[name] == remembered.get(name) for name in ("vid", "pid", "serial_number"))


def _bauds(baud: int | None, remembered: int | None) -> tuple[int, ...]:
    if baud is not None:
        return (baud,)
    if remembered in (None, BAUDS[0]):
        return BAUDS
    return (int(remembered or BAUDS[0]), *(b for b in BAUDS if b != remembered))


def candidates(
    remembered: Mapping[str, Any] | None = None, baud: int | None = None, ports: list[PortInfo] | None = None
) -> list[Candidate]:
    """Ports in the order to try: the last good one, USB serial devices, then whatever else has hardware behind it."""
    known = remembered or {}
    found = list(list_ports.comports()) if ports is None else ports
    real = [p for p in found if p.vid is not None or (p.hwid and p.hwid != "n/a")]

    def rank(port: PortInfo) -> tuple[int, bool, str]:
        if known and same_hardware(identity_of(port), known):
            return 0, port.device != known.get("device"), port.device
        return 1 if port.vid is not None else 2, False, port.device

    result = []
    for port in sorted(real, key=rank):
        identity = identity_of(port)
        good = known.get("baud") if known and same_hardware(identity, known) else None
        result.append(Candidate(port.device, _bauds(baud, good), identity))
    return result


def named(device: str, baud: int | None, remembered: Mapping[str, Any] | None = None) -> Candidate:
    """The one port a person or a profile named. A URL has no speed to find."""
    good = (remembered or {}).get("baud") if (remembered or {}).get("device") == device else None
    bauds = (baud or BAUDS[0],) if is_url(device) else _bauds(baud, good)
    identity: dict[str, Any] = {"device": device, "vid": None, "pid": None, "serial_number": None}
    if not is_url(device):
        real = os.path.realpath(device)
        listed = next((port for port in list_ports.comports() if port.device in (device, real)), None)
        identity = identity if listed is None else {**identity_of(listed), "device": device}
    return Candidate(device, bauds, identity)


def moved(device: str, hardware: Mapping[str, Any]) -> str | None:
    """The name under which a device that is not there came back; None where that isn't sure.

    ``hardware``: its identity while it was there. Only a serial number tells two adapters of one make apart.
    """
    if not hardware.get("serial_number") or os.path.exists(device):
        return None
    found = [port.device for port in list_ports.comports() if same_hardware(identity_of(port), hardware)]
    return found[0] if len(found) == 1 and found[0] != device else None


def open_port(device: str, baud: int, robot: Robot | None = None) -> serial.SerialBase:
    """Opens a port for reading only: exclusively where it is a device, and nothing is ever written to it.

    ``robot`` is what a ``sim://`` URL without another name simulates. Raises ``LinkError`` with the reason and what to
    do about it.
    """
    settings: dict[str, Any] = {"baudrate": baud, "timeout": READ_TIMEOUT_S}
    if not is_url(device):
        settings["exclusive"] = True
    gentle = robot is not None and robot.link.opening == "gentle" and not is_url(device)
    if gentle and _posix is None:
        settings |= {"dtr": False, "rts": False}
    try:
        port = open_url(device, robot, **settings)
        vars(port)["parity_bit"] = ParityBit() if has_speed(device) else None
        if gentle and _posix is not None:
            _keep_dtr(port)
        return port
    except (OSError, ValueError) as error:
        there = () if is_url(device) else [one.device for one in candidates() if one.device != device]
        raise LinkError(explained(device, error, there)) from None


def _keep_dtr(port: serial.SerialBase) -> None:
    """Lets DTR stay as it is when the port is closed (POSIX termios, HUPCL).

    Here the system raises DTR at opening, whatever a program asks for; where it has stayed up since the last time, that
    is no edge, and no controller takes it for its reset. Elsewhere it is left low in the first place.
    """
    flags = _posix.tcgetattr(port.fileno())
    flags[2] &= ~_posix.HUPCL
    _posix.tcsetattr(port.fileno(), _posix.TCSANOW, flags)
