"""Finding the robot: which ports there are, in what order to try them, and what went wrong in plain words."""

from __future__ import annotations

import errno
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Protocol

import serial
from serial.tools import list_ports

from fieldtune.errors import LinkError
from fieldtune.link.urls import open_url
from fieldtune.robot.model import Robot

# The most usual first; the rest in the order in which robot controllers tend to use them (common practice).
BAUDS = (115200, 9600, 57600, 230400, 38400, 19200, 250000, 460800, 921600, 500000, 1000000)
READ_TIMEOUT_S = 0.1


class PortInfo(Protocol):
    """What pyserial says of a port."""

    device: str
    hwid: str
    description: str
    vid: int | None
    pid: int | None
    serial_number: str | None


@dataclass(frozen=True, slots=True)
class Candidate:
    """A port worth listening to, and the speeds to try in order. ``identity`` stays the same when USB renumbers it."""

    device: str
    bauds: tuple[int, ...]
    identity: Mapping[str, Any]


def is_url(name: str) -> bool:
    """Whether a port's name is a pyserial URL rather than a device."""
    return "://" in name


def identity_of(port: PortInfo) -> dict[str, Any]:
    """What is remembered of a port: its name, and by what to know it again under another name."""
    return {"device": port.device, "vid": port.vid, "pid": port.pid, "serial_number": port.serial_number}


def _same_hardware(port: PortInfo, remembered: Mapping[str, Any]) -> bool:
    if remembered.get("vid") is None:
        return port.device == remembered.get("device")
    own = (port.vid, port.pid, port.serial_number)
    return own == (remembered.get("vid"), remembered.get("pid"), remembered.get("serial_number"))


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

    def rank(port: PortInfo) -> tuple[int, str]:
        if known and _same_hardware(port, known):
            return (0, port.device)
        return (1 if port.vid is not None else 2, port.device)

    result = []
    for port in sorted(real, key=rank):
        good = known.get("baud") if known and _same_hardware(port, known) else None
        result.append(Candidate(port.device, _bauds(baud, good), identity_of(port)))
    return result


def named(device: str, baud: int | None, remembered: Mapping[str, Any] | None = None) -> Candidate:
    """The one port a person or a profile named. A URL has no speed to find."""
    good = (remembered or {}).get("baud") if (remembered or {}).get("device") == device else None
    bauds = (baud or BAUDS[0],) if is_url(device) else _bauds(baud, good)
    return Candidate(device, bauds, {"device": device, "vid": None, "pid": None, "serial_number": None})


def open_port(device: str, baud: int, robot: Robot | None = None) -> serial.SerialBase:
    """Opens a port for reading only: exclusively where it is a device, and nothing is ever written to it.

    ``robot`` is what a ``sim://`` URL without another name simulates. Raises ``LinkError`` with the reason and what to
    do about it.
    """
    settings: dict[str, Any] = {"baudrate": baud, "timeout": READ_TIMEOUT_S}
    if not is_url(device):
        settings["exclusive"] = True
    try:
        return open_url(device, robot, **settings)
    except (OSError, ValueError) as error:
        raise LinkError(explained(device, error)) from None


def explained(device: str, error: Exception) -> str:
    """Why a port can't be used, and the remedy, in one line."""
    number = getattr(error, "errno", None)
    text = str(error)
    if number in (errno.EAGAIN, errno.EBUSY) or "exclusively lock" in text or "Resource busy" in text:
        return f"{device} is held by another program; close it there"
    if number == errno.EACCES or "Permission denied" in text or "Access is denied" in text:
        return f"no permission to open {device}; on Linux join the group that owns it (often dialout) and log in again"
    if number in (errno.ENOENT, errno.ENXIO, errno.ENODEV) or "could not find" in text.lower():
        return f"{device} is not there; check the cable, or name another port"
    if isinstance(error, ValueError):
        return f"{device}: {text}; use a device, sim://ROBOT, replay://FILE or socket://HOST:PORT"
    return f"can't open {device}: {text}"
