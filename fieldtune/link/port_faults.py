"""Why a port can't be opened, or was lost, in one line that says what to do about it."""

from __future__ import annotations

import errno
import os
import re
import socket
from collections.abc import Sequence
from pathlib import Path

from fieldtune.port_names import SCHEMES, scheme_of

_UNREACHED = (errno.EHOSTUNREACH, errno.ENETUNREACH, errno.ETIMEDOUT, errno.EHOSTDOWN, errno.ENETDOWN)
_GONE = "the connection is gone"
_MOST_NAMED = 3


def lost_words(error: Exception) -> str:
    """Why a port that was open can't be read any more, in a few words."""
    text = str(error)
    if "disconnected" in text or "readiness" in text or "Input/output" in text or isinstance(error, TypeError):
        return _GONE
    if isinstance(error, ConnectionResetError):
        return "the robot closed the connection"
    return text


def explained(device: str, error: Exception, there: Sequence[str] = ()) -> str:
    """Why a port can't be used, and the remedy, in one line. ``there``: the devices there are."""
    number, text, scheme = getattr(error, "errno", None), str(error), scheme_of(device)
    if number == errno.ELOOP or "symbolic links" in text:
        return f"{device} is a link that leads to itself; name the {'file' if scheme else 'device'}"
    said = _of_network(device, scheme, error) or (_of_file(device, error) if scheme in ("file", "replay") else "")
    if said:
        return f"{device}: {said}"
    if number in (errno.EAGAIN, errno.EBUSY) or "exclusively lock" in text or "Resource busy" in text:
        return f"{device} is held by another program (another fieldtune?); close it there"
    if number == errno.EACCES or "Permission denied" in text or "Access is denied" in text:
        return f"no permission to open {device}; on Linux join the group that owns it (often dialout) and log in again"
    if number in (errno.ENOENT, errno.ENXIO, errno.ENODEV) or "could not find" in text.lower():
        return f"{device} is not there; {_instead(device, there)}"
    if number == errno.EISDIR:
        return f"{device} is a folder; name a serial device"
    if "Inappropriate ioctl" in text or number == errno.ENOTTY:
        return f"{device} is no serial device{_as_file(device)}"
    if "Input/output error" in text:
        return f"{device} has nothing behind it; name another port"
    if text.startswith(f"{device}: "):
        return text
    if isinstance(error, ValueError):
        return f"{device}: {text}; use a device, {', '.join(SCHEMES.values())}"
    return f"can't open {device}: {text}"


def _of_network(device: str, scheme: str | None, error: Exception) -> str:
    """What a network says, without the number that the system gives it; empty where it is something else."""
    number, text = getattr(error, "errno", None), str(error)
    place = device.partition("://")[2].partition("?")[0].strip("/")
    host = place.rpartition(":")[0]
    if scheme == "udp":
        port = place.rpartition(":")[2]
        if isinstance(error, socket.gaierror) or number == errno.EADDRNOTAVAIL:
            one = "" if isinstance(error, socket.gaierror) else f", udp://:{port}?from={host} that one"
            return f"{host} is no address of this laptop: udp://:{port} hears every robot{one}"
        if number == errno.EADDRINUSE:
            return "another program (another fieldtune?) hears this port: close it there, or send to another port"
        if number == errno.EACCES:
            return "the system keeps this port for itself; send to one above 1023, such as 9000"
    if scheme in ("socket", "rfc2217"):
        if isinstance(error, socket.gaierror) or "Name or service" in text or "getaddrinfo" in text:
            return f"no {host} on this network: is the laptop in the robot's? Or use the robot's address"
        if isinstance(error, ConnectionRefusedError) or "refused" in text:
            return "nothing listens there: does the robot program run, and is that its port?"
        if isinstance(error, TimeoutError) or number in _UNREACHED or "timed out" in text:
            return "no answer: is the laptop in the robot's network, and the robot on?"
        if "RFC2217" in text and "support" in text:
            return f"what answers there is no serial port over TCP; if it sends lines, use socket://{place}"
    return ""


def _of_file(device: str, error: Exception) -> str:
    number, path = getattr(error, "errno", None), getattr(error, "filename", None)
    if not isinstance(path, str):
        return ""
    if number == errno.ENOENT:
        return f"there is no file {os.path.abspath(path)}; name one that is there"
    if number == errno.EISDIR or os.path.isdir(path):
        return "is a folder; name a file in it"
    return f"no permission to read {os.path.abspath(path)}" if number == errno.EACCES else ""


def _instead(device: str, there: Sequence[str]) -> str:
    """What to do about a device that is not there."""
    if not device.startswith("/") and Path("/dev", device).exists():
        return f"write /dev/{device}"
    if os.name == "posix" and re.fullmatch(r"COM\d+", device, re.IGNORECASE) and not there:
        return "that is a name of Windows: check the cable, and name auto"
    named = ", ".join(list(there)[:_MOST_NAMED])
    return "check the cable, or name another port" + (f": there is {named}" if named else "")


def _as_file(device: str) -> str:
    if not os.path.isfile(device):
        return "; name another port"
    return f", but a file: file://{device} follows what is added to it, replay://{device} reads it once"
