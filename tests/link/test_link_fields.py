"""One row a line field: everything that must know a field follows from its row."""

from __future__ import annotations

from dataclasses import fields

import pytest

from fieldtune import load_robot
from fieldtune.line_fields import BY_WIRE_NAME, FIELDS, WIRE_NAMES, Readings
from fieldtune.link import Live, Sample
from fieldtune.link.limits import Limits
from fieldtune.link.line import Line
from fieldtune.units import parse

# The serial page: name on the line, a value there, and the same in a sample.
SENT = {
    "wheel_rpm": (1500, 1500), "wheel2_rpm": (-1350, 1350), "battery_mv": (12250, 12.25), "battery_v": (12.25, 12.25),
    "current_ma": (3500, 3.5), "current_a": (3.5, 3.5), "distance_mm": (2500, 2.5), "distance_m": (2.5, 2.5),
    "setpoint": (1500, 1500), "power_pct": (40, 40), "draw_mm": (20, 20), "hood_deg": (48, 48),
    "turret_deg": (-12, -12),
    "x_mm": (1250, 1.25), "y_mm": (-400, -0.4), "heading_deg": (90, 90), "vx_mmps": (800, 0.8), "vy_mmps": (-50, -0.05),
}  # fmt: skip


@pytest.fixture(scope="module")
def heron():
    return load_robot("heron")


@pytest.mark.parametrize("name", BY_WIRE_NAME)
def test_a_field_comes_through_in_the_samples_unit(heron, name):
    row, _ = BY_WIRE_NAME[name]
    sent, expected = SENT[name]
    line = Line(heron)
    samples = [s for i in range(6) for s in line.feed(f"t_ms={i * 10},{name}={sent}\n".encode(), i * 0.01)]
    assert getattr(samples[-1], row.name) == pytest.approx(expected)
    assert line.health().dropped == {}


@pytest.mark.parametrize("name", BY_WIRE_NAME)
def test_the_divisor_of_a_row_is_that_of_its_units(name):
    """Against the unit table: a sample's value is the wire's, in the unit that the attribute's name ends in."""
    row, wire = BY_WIRE_NAME[name]
    if row.dimension is None:
        return
    unit = {"rpm": "rpm", "v": "V", "a": "A", "m": "m", "pct": "%", "mm": "mm", "deg": "deg", "mps": "m/s"}
    own = parse(f"1 {unit[row.name.rsplit('_', 1)[1]]}", row.dimension)
    assert parse(f"1 {wire.unit}", row.dimension) * wire.per == pytest.approx(own)


def test_samples_are_built_by_keyword_alone():
    with pytest.raises(TypeError):
        Sample(0.0, 0.0)  # type: ignore[misc]
    assert {f.name for f in fields(Readings)} == set(FIELDS) < {f.name for f in fields(Sample)}


def test_every_reading_has_limits_and_is_on_the_snapshot(heron):
    assert set(Limits.of(heron).of_readings) == set(FIELDS)
    assert set(FIELDS) <= {f.name for f in fields(Live)}
    assert len(set(WIRE_NAMES)) == len(WIRE_NAMES)
