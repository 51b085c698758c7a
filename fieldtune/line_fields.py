"""The fields of a robot's line, one row each: what it is called there, in which unit, and how its value is used.

To add a field, add a row to ``Readings``. Reading, plausibility, smoothing, the profile's ``[link.fields]`` and
``[link.columns]`` and the samples follow from it.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from fieldtune.frozen import frozen
from fieldtune.unit_table import ANGLE, ANGULAR_SPEED, CURRENT, LENGTH, RATIO, SPEED, VOLTAGE, Dimension

CLOCKS = {"t_ms": 1e-3, "t_us": 1e-6}
"""Fields for the robot's own clock, and the seconds of one tick."""
COUNTER = "wheel_counts"
PERIOD = "wheel_period_us"
"""Microseconds of one turn of the wheel: a speed upside down."""
FIRED = "fired"


@frozen
class WireName:
    """A name that a field has on the line: values there, in ``unit``, are divided by ``per`` to be as in a sample."""

    name: str
    unit: str
    per: float = 1.0


@frozen
class LineField:
    """One reading. ``name``: that of the sample's attribute. ``dimension``: None where the profile says what it is.

    ``limits``: lowest and highest value possible on any robot; None where they follow from the profile, by ``name``.
    ``median_of``: of how many readings the value shown is the median; 0: not shown as it is. ``signless``: a sign says
    only which way round something is wired.
    """

    name: str
    words: str
    dimension: Dimension | None
    wire: tuple[WireName, ...]
    limits: tuple[float, float] | None
    median_of: int
    signless: bool


def _row(
    words: str,
    dimension: Dimension | None,
    *wire: WireName,
    limits: tuple[float, float] | None = None,
    median_of: int = 3,
    signless: bool = False,
) -> Any:
    return dataclasses.field(default=None, metadata={"row": (words, dimension, wire, limits, median_of, signless)})


@dataclass(slots=True, kw_only=True)
class Readings:
    """What a line may say beside clock, counter and ``fired``; ``None`` where it did not."""

    wheel_rpm: float | None = _row(
        "wheel speed", ANGULAR_SPEED, WireName("wheel_rpm", "rpm"), median_of=0, signless=True
    )
    wheel2_rpm: float | None = _row("second wheel's speed", ANGULAR_SPEED, WireName("wheel2_rpm", "rpm"), signless=True)
    battery_v: float | None = _row(
        "battery", VOLTAGE, WireName("battery_mv", "mV", 1000), WireName("battery_v", "V"), median_of=5
    )
    current_a: float | None = _row("current", CURRENT, WireName("current_ma", "mA", 1000), WireName("current_a", "A"))
    distance_m: float | None = _row(
        "distance", LENGTH, WireName("distance_mm", "mm", 1000), WireName("distance_m", "m"),
        limits=(0, 50), median_of=5,
    )  # fmt: skip
    setpoint: float | None = _row("setpoint", None, WireName("setpoint", ""))
    power_pct: float | None = _row("power", RATIO, WireName("power_pct", "%"), limits=(-110, 110))
    draw_mm: float | None = _row("draw", LENGTH, WireName("draw_mm", "mm"))
    hood_deg: float | None = _row("exit angle now", ANGLE, WireName("hood_deg", "deg"), limits=(-90, 180))
    turret_deg: float | None = _row("turn of the launcher", ANGLE, WireName("turret_deg", "deg"), limits=(-1080, 1080))
    x_m: float | None = _row("place along x", LENGTH, WireName("x_mm", "mm", 1000), limits=(-100, 100))
    y_m: float | None = _row("place along y", LENGTH, WireName("y_mm", "mm", 1000), limits=(-100, 100))
    heading_deg: float | None = _row("heading", ANGLE, WireName("heading_deg", "deg"), limits=(-36_000, 36_000))
    vx_mps: float | None = _row("speed along x", SPEED, WireName("vx_mmps", "mm/s", 1000), limits=(-15, 15))
    vy_mps: float | None = _row("speed along y", SPEED, WireName("vy_mmps", "mm/s", 1000), limits=(-15, 15))


FIELDS: Mapping[str, LineField] = {
    row.name: LineField(row.name, *row.metadata["row"]) for row in dataclasses.fields(Readings)
}
"""The rows, by the name of the sample's attribute."""
BY_WIRE_NAME: Mapping[str, tuple[LineField, WireName]] = {
    wire.name: (row, wire) for row in FIELDS.values() for wire in row.wire
}
SCALABLE: tuple[str, ...] = (COUNTER, *BY_WIRE_NAME, PERIOD)
"""Names whose numbers the profile may multiply by a factor."""
WIRE_NAMES: tuple[str, ...] = (*CLOCKS, *SCALABLE, FIRED)
"""Every name that this program knows on a line."""
