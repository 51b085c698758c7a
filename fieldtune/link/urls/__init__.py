"""URL schemes of our own for pyserial: ``sim://ROBOT?seed=7`` and ``replay://FILE?speed=4``.

pyserial finds a scheme as the module ``protocol_<scheme>`` of a registered package; opening goes through
``open_url`` so that both are known.
"""

from __future__ import annotations

from typing import Any

import serial

from fieldtune.robot.model import Robot

SCHEMES = ("sim", "replay", "socket", "rfc2217")
"""Kinds of URL that may name a port, wherever one can be said."""

if __name__ not in serial.protocol_handler_packages:
    serial.protocol_handler_packages.append(__name__)


def open_url(url: str, robot: Robot | None = None, **settings: Any) -> serial.SerialBase:
    """A port for a device name or a URL of ``SCHEMES``; ``robot`` serves ``sim://``.

    Raises ``SerialException`` for any other scheme: some that pyserial has for debugging write to files.
    """
    scheme, mark, _ = url.partition("://")
    if mark and scheme.lower() not in SCHEMES:
        raise serial.SerialException(f"{scheme}:// is none of the lines that can be read")
    port = serial.serial_for_url(url, do_not_open=True, **settings)
    if url.startswith("sim:") and robot is not None:
        vars(port)["robot"] = robot
    port.open()
    return port
