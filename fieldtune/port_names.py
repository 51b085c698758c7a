"""What may stand where a port is named: a device, or a URL of these schemes. A profile is data, never a way in.

The serial library knows further schemes, one of which opens any file for writing; none but these is ever handed to it.
"""

from __future__ import annotations

import re

SCHEMES = {
    "sim": "sim://ROBOT",
    "replay": "replay://FILE",
    "socket": "socket://HOST:PORT",
    "rfc2217": "rfc2217://HOST:PORT",
    "udp": "udp://:PORT",
    "file": "file://FILE",
}
"""Schemes with how each is written: simulated robot, recording, TCP, serial port over TCP (RFC 2217), UDP, log file."""

LAST_PORT = "last good port"
"""Under this the log keeps where a robot was found last."""
PORT_FROM_ELSEWHERE = "port that came with a pack"
"""Under this the log keeps a port that another laptop's profile named and nobody here has agreed to open yet."""


def scheme_of(name: str | None) -> str | None:
    """The scheme of a port that is a URL, in small letters: capitals make no difference there (RFC 3986, 3.1)."""
    scheme, found, _ = (name or "").strip().partition("://")
    return scheme.casefold() if found else None


def has_speed(name: str | None) -> bool:
    """Whether a port has a baud that can be wrong: a device, here or on another machine."""
    return scheme_of(name) in (None, "rfc2217")


def port_name(typed: str) -> str:
    """A port's name as it is meant: without blanks or quotes around it, auto in small letters, a COM port by itself."""
    name = typed.strip()
    if len(name) > 1 and name[0] == name[-1] and name[0] in "\"'":
        name = name[1:-1].strip()
    if (com := re.fullmatch(r"(?:\\\\[.?]\\)?(COM\d+):?", name, re.ASCII | re.IGNORECASE)) is not None:
        return com[1].upper()
    return "auto" if name.casefold() == "auto" else name


def port_problem(name: str) -> str | None:
    """Why a port can't be called so, in words that follow what was found; None where it can."""
    if not name.strip() or not name.isprintable():
        return "expected a device, or a URL such as sim://heron"
    scheme = scheme_of(name)
    if scheme is not None and scheme not in SCHEMES:
        return f"expected auto, a device, or one of {', '.join(SCHEMES.values())}"
    begun = re.fullmatch(rf"({'|'.join(SCHEMES)})(?::/?|//)(?!/)(.+)", name.strip(), re.ASCII | re.IGNORECASE)
    if begun is not None:
        return f"expected {begun[1]}://, such as {SCHEMES[begun[1].lower()]}"
    return None if scheme is not None else _no_device(name.strip())


def _no_device(name: str) -> str | None:
    """What is meant by a name without scheme that is no device's; None where it may be one."""
    spoken = re.fullmatch(r"((?:/dev/|COM)\S*?\w)[:,@ ]+(\d{3,7})", name, re.ASCII | re.IGNORECASE)
    if spoken is not None:
        return f"expected {spoken[1]} alone; its speed is named by --baud {spoken[2]}, or [link] baud"
    if (number := re.fullmatch(r"[:*]*(\d+)", name, re.ASCII)) is not None:
        return f"expected udp://:{number[1]} to hear what comes over UDP, or socket://HOST:{number[1]} for TCP"
    if re.fullmatch(r"(?:[\w-]+(?:\.[\w-]+)*|\[[\da-f:]+\]):\d+", name, re.ASCII | re.IGNORECASE):
        return f"expected socket://{name} for TCP, or udp://:PORT to hear what comes over UDP"
    if re.fullmatch(r"\d+(\.\d+){3}", name, re.ASCII):
        return f"expected socket://{name}:PORT for TCP, or udp://:PORT to hear what comes over UDP"
    return None
