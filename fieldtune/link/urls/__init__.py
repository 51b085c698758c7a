"""URL schemes of our own for pyserial: ``sim://``, ``replay://``, ``file://``, ``udp://`` and ``socket://``.

pyserial finds a scheme as the module ``protocol_<scheme>`` of a registered package; opening goes through
``open_url`` so that both are known.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import serial

from fieldtune.errors import LinkError
from fieldtune.port_names import port_problem, scheme_of
from fieldtune.units import shown

if TYPE_CHECKING:
    from fieldtune.robot.model import Robot

if __name__ not in serial.protocol_handler_packages:
    serial.protocol_handler_packages.insert(0, __name__)  # before its own socket://


def open_url(url: str, robot: Robot | None = None, **settings: Any) -> serial.SerialBase:
    """A port for a device name or a URL of the schemes in ``port_names``; ``robot`` serves ``sim://``.

    Raises ``LinkError`` for any other scheme: pyserial has one that writes into files.
    """
    problem = port_problem(url)
    if problem is not None:
        raise LinkError(f"port {shown(url)}: {problem}")
    lines = {name: settings.pop(name) for name in ("dtr", "rts") if name in settings}
    port = serial.serial_for_url(url.strip(), do_not_open=True, **settings)
    for name, up in lines.items():
        setattr(port, name, up)
    if scheme_of(url) == "sim" and robot is not None:
        vars(port)["robot"] = robot
    port.open()
    return port
