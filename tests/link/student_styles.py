"""How student programs write numbers and lines: each style turns readings (our names, our units) into text.

All names and layouts are invented for these tests.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping

Said = Mapping[str, float | bool]
_WHOLE = ("wheel_counts", "battery_mv", "distance_mm", "setpoint")


def written(style: str, said: Said, names: Mapping[str, str], checked: bool = False) -> bytes:
    """One line in a style of ``STYLES``. ``names``: our name -> the robot's; ``checked``: framed by an XOR."""
    body = STYLES[style]({names.get(name, name): value for name, value in said.items()}, {**names})
    if style == "0x checksum":
        return f"${body}*0x{_xor(body):02X}\n".encode()
    return (f"${body}*{_xor(body):02X}\n" if checked else body + "\n").encode()


def _xor(body: str) -> int:
    total = 0
    for byte in body.encode():
        total ^= byte
    return total


def _plain(name: str, value: float | bool) -> str:
    if isinstance(value, bool):
        return str(int(value))
    if not math.isfinite(value):
        return "nan"
    return f"{value:.0f}" if value == int(value) or name in _WHOLE else f"{value:.2f}"


def _joined(between: str, form: Callable[[str, float | bool], str], equals: str = "=") -> Callable[..., str]:
    def text(said: Said, names: Mapping[str, str]) -> str:
        return between.join(f"{name}{equals}{form(name, value)}" for name, value in said.items())

    return text


def _grouped(mark: str, decimals: int) -> Callable[[str, float | bool], str]:
    def form(name: str, value: float | bool) -> str:
        if name.startswith("t_"):
            return _plain(name, value)
        return f"{value:,.{decimals}f}".replace(",", mark)

    return form


def _unit(ours: str, unit: str, scale: float, decimals: int, between: str = " ") -> Callable[..., str]:
    """The named reading in another unit, written behind it; the rest plain, commas between."""

    def text(said: Said, names: Mapping[str, str]) -> str:
        theirs = names.get(ours, ours)
        return ", ".join(
            f"{name}={value * scale:.{decimals}f}{between}{unit}" if name == theirs else f"{name}={_plain(name, value)}"
            for name, value in said.items()
        )

    return text


def _words(said: Said, names: Mapping[str, str]) -> str:
    return f"Wheel RPM: {said[names['wheel_rpm']]:.0f}, Battery: {said[names['battery_v']]:.2f} V"


def _dict(said: Said, names: Mapping[str, str]) -> str:
    shown = {name: value if isinstance(value, bool) else round(value, 1) for name, value in said.items()}
    return str({name: int(value) if name.startswith("t_") else value for name, value in shown.items()})


def _decimal_comma(name: str, value: float | bool) -> str:
    return _plain(name, value).replace(".", ",")


def _true(name: str, value: float | bool) -> str:
    return str(value) if isinstance(value, bool) else _plain(name, value)


STYLES: dict[str, Callable[[Said, Mapping[str, str]], str]] = {
    "fields": _joined(",", _plain),
    "JSON": lambda said, names: "{" + ", ".join(f'"{n}": {_plain(n, v)}' for n, v in said.items()) + "}",
    "columns": lambda said, names: ",".join(_plain(n, v) for n, v in said.items()),
    "0x checksum": _joined(",", _plain),
    "2,456.0": _joined(" ", _grouped(",", 1)),
    "2'450": _joined(", ", _grouped("'", 0)),
    "2 450": _joined(", ", _grouped(" ", 0)),
    "2,45 between semicolons": _joined("; ", _decimal_comma),
    "2,45 between commas": _joined(",", _decimal_comma),
    "rad/s": _unit("wheel_rpm", "rad/s", 2 * math.pi / 60, 0),
    "rev/s": _unit("wheel_rpm", "rev/s", 1 / 60, 1),
    "krpm": _unit("wheel_rpm", "krpm", 1e-3, 2),
    "ticks/s": _unit("wheel_rpm", "ticks/s", 56 / 60, 0),
    "ft": _unit("distance_m", "ft", 1 / 0.3048, 2),
    "cm": _unit("distance_m", "cm", 100, 1),
    "mV attached": _unit("battery_v", "mV", 1000, 0, ""),
    "fired=True": _joined(",", _true),
    "python dict": _dict,
    "Wheel RPM:": _words,
}
