"""What to say of a port that is open while it says nothing that can be read: why that may be, and what to look at."""

from __future__ import annotations

from fieldtune.link.parity import with_parity
from fieldtune.link.text.line_patterns import is_text, share_of_text
from fieldtune.port_names import scheme_of

SILENT_S = 3.0
_NOISE_BYTES = 60
_NO_TEXT = 0.85  # share of text below which it is no text, however damaged


def waiting_words(device: str, at_speed: str, lately: bytes, silent_s: float, fixed_baud: int | None) -> str:
    """What an open port says before its first good line.

    ``at_speed``: `` at 115200 baud``, or nothing; ``lately``: its last bytes; ``fixed_baud``: the speed asked for.
    """
    listening = f"listening on {device}{at_speed}"
    if silent_s > SILENT_S:
        baud = " Is that its baud?" if fixed_baud is not None and at_speed else ""
        return f"{listening}, but {silence(device, silent_s, ever=bool(lately))}{baud}"
    if len(lately) >= _NOISE_BYTES and share_of_text(lately) < _NO_TEXT:
        if not at_speed:
            return f"{listening}: what comes is no text; is that the port of its lines?"
        if (framing := with_parity(lately)) is not None:
            return f"{listening}: {parity_words(framing)}"
        if fixed_baud is not None:
            return f"{listening}: no text comes; leave --baud (or [link] baud) away, and its baud is found"
        return f"{listening}: what comes is no text"
    return f"{listening}: it sends text, but no line that can be read" if is_text(lately) else listening


def parity_words(framing: str, baud: int | None = None) -> str:
    """What to do about a robot that sends a parity bit behind eight bits."""
    at = "" if baud is None else f" at {baud} baud"
    return f"the robot sends 8 bits and parity ({framing}){at}: let its program set 8 bits, no parity (8N1)"


def silence(device: str | None, silent_s: float, *, ever: bool) -> str:
    """That nothing comes any more, or nothing ever came, and what to look at."""
    since = f"silent for {silent_s:.0f} s"
    scheme = scheme_of(device)
    if scheme == "file":
        return f"{since}: does the program that writes it still run, and add at its end?"
    if scheme == "udp" and not ever:
        return f"{since}: does the robot send to this laptop's address and port? Does a firewall stop it?"
    if scheme in ("udp", "socket", "rfc2217"):
        return f"{since}; does the robot program run, is the network there?"
    return f"{since}; does the robot program run?"
