"""Reads what turns the wheel or cocks the spring, and what the robot program accepts."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Literal, cast

from fieldtune.robot.chemistry import CHEMISTRIES, Chemistry, named
from fieldtune.robot.drivetrain import Battery, Drive, Encoder
from fieldtune.robot.setpoints import SetpointRange
from fieldtune.robot.table_reader import Section
from fieldtune.units import (
    ANGULAR_SPEED,
    CAPACITY,
    CURRENT,
    INERTIA,
    LENGTH,
    RATIO,
    RESISTANCE,
    TORQUE,
    VOLTAGE,
    closest,
    shown,
)

if TYPE_CHECKING:
    from fieldtune.robot.launchers import Mechanism


def read_drive(section: Section | None) -> Drive | None:
    """Motors and gears; ``None`` where the profile has no ``[drive]``."""
    if section is None:
        return None
    section.renamed("free_speed", "no_load_speed")
    section.renamed("free_current", "no_load_current")
    drive = Drive(
        control=cast(Literal["speed", "power"], section.choice("control", ("speed", "power"), "speed")),
        motors=section.integer("motors", 1, least=1, most=12),
        nominal_voltage=section.quantity("nominal_voltage", VOLTAGE, over="0 V", most="100 V", usual=("2 V", "50 V")),
        no_load_speed=section.quantity(
            "no_load_speed", ANGULAR_SPEED, over="0 rpm", most="200000 rpm", usual=("20 rpm", "60000 rpm")
        ),
        stall_torque=section.quantity("stall_torque", TORQUE, over="0 N m", most="500 N m", usual=("1 mN m", "50 N m")),
        stall_current=section.quantity("stall_current", CURRENT, over="0 A", most="3000 A", usual=("0.1 A", "500 A")),
        no_load_current=section.quantity("no_load_current", CURRENT, 0.0, least="0 A", most="300 A"),
        gears=_read_gears(section),
        stage_efficiency=section.quantity("stage_efficiency", RATIO, 0.95, over="0", most="1", usual=("0.5", None)),
        crank_radius=section.maybe("crank_radius", LENGTH, over="0 mm", most="2 m"),
        teeth_available=_read_teeth(section),
        no_load_torque=section.maybe("no_load_torque", TORQUE, least="0 N m", most="50 N m"),
        rotor_inertia=section.quantity("rotor_inertia", INERTIA, 0.0, least="0 kg m^2", most="1 kg m^2"),
    )
    section.close()
    _doubt_motor(section, drive)
    return drive


_MOST_STAGES, _MOST_GEARS = 8, 60
"""More than any robot has, and than any box of gears."""


def _read_gears(section: Section) -> tuple[tuple[int, int], ...]:
    raw = section.take("gears")
    if raw is None:
        return ()
    expected = "expected pairs of teeth [driving, driven], motor first, such as [[20, 30], [18, 36]]"
    if not isinstance(raw, list):
        section.error("gears", f"found {shown(raw)}; {expected}")
        return ()
    stages = [raw] if len(raw) == 2 and all(_is_teeth(teeth) for teeth in raw) else raw
    if len(stages) > _MOST_STAGES:
        section.error("gears", f"found {len(stages)} stages; expected at most {_MOST_STAGES}")
        return ()
    for stage in stages:
        if not isinstance(stage, list) or len(stage) != 2 or not all(_is_teeth(teeth) for teeth in stage):
            section.error("gears", f"found {shown(stage)}; {expected}")
            return ()
    return tuple((int(driving), int(driven)) for driving, driven in stages)


def _is_teeth(value: object) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and 1 <= value <= 10_000


def _read_teeth(section: Section) -> tuple[int, ...]:
    raw = section.take("teeth_available")
    if raw is None:
        return ()
    if not isinstance(raw, list) or not all(_is_teeth(teeth) for teeth in raw):
        section.error("teeth_available", f"found {shown(raw)}; expected numbers of teeth, such as [16, 20, 24, 36]")
        return ()
    if len(set(raw)) > _MOST_GEARS:
        section.error("teeth_available", f"found {len(set(raw))} sizes; expected at most {_MOST_GEARS}")
        return ()
    return tuple(sorted(set(raw)))


def _doubt_motor(section: Section, drive: Drive) -> None:
    """One motor has one constant: torque per ampere equals volts per rad/s in SI, so that both pairs have to agree."""
    if drive.no_load_current >= drive.stall_current:
        found = shown(section.values["no_load_current"])
        section.error("no_load_current", f"found {found}; expected less than stall_current, {drive.stall_current:g} A")
        return
    per_ampere = drive.stall_torque / (drive.stall_current - drive.no_load_current)
    per_speed = drive.nominal_voltage * (1 - drive.no_load_current / drive.stall_current) / drive.no_load_speed
    if per_ampere > 1.15 * per_speed:
        section.warn(
            "stall_torque",
            f"makes {100 * (per_ampere / per_speed - 1):.0f} % more work than electricity goes in; "
            "stall torque, stall current and no-load speed don't belong to one motor",
        )
    elif per_ampere < 0.3 * per_speed:
        section.warn("stall_torque", "is low for this stall current and no-load speed; check the units")
    if drive.reduction > 2000 or drive.reduction < 1 / 50:
        section.warn("gears", f"give {drive.reduction:.3g} motor turns per turn; check driving and driven")


def read_battery(section: Section | None, drive: Drive | None) -> Battery | None:
    """The battery; ``None`` where the profile has no ``[battery]``."""
    if section is None:
        return None
    chemistry = _read_chemistry(section)
    nominal = section.maybe("nominal_voltage", VOLTAGE, over="0 V", most="100 V")
    volts = nominal or (drive.nominal_voltage if drive and drive.nominal_voltage > 0 else None)
    derived = max(1, round(volts / chemistry.nominal_v)) if volts and chemistry else 1
    if "cells" not in section and chemistry:
        section.warn("cells", f"not given; taken as {derived}{' from the nominal voltage' if volts else ''}")
    capacity = section.maybe("capacity", CAPACITY, over="0 A h", most="1000 A h", usual=("0.1 A h", "100 A h"))
    battery = Battery(
        chemistry=None if chemistry is None else chemistry.name,
        cells=section.integer("cells", derived, least=1, most=100),
        resistance=section.maybe("resistance", RESISTANCE, over="0 ohm", most="50 ohm", usual=("1 mohm", "2 ohm")),
        capacity_ah=None if capacity is None else capacity / 3600,
        nominal_voltage=volts,
        brownout=section.maybe("brownout", VOLTAGE, over="0 V", most="100 V"),
    )
    section.close()
    if battery.brownout is not None and volts is not None and battery.brownout >= volts:
        found = shown(section.values["brownout"])
        section.error("brownout", f"found {found}; expected less than the battery's {volts:g} V")
    made = battery.cells * chemistry.nominal_v if chemistry and "cells" in section else None
    if made and nominal and not 0.85 < made / nominal < 1.15:
        found = shown(section.values["nominal_voltage"])
        section.warn("nominal_voltage", f"found {found}; {battery.cells} {battery.chemistry} cells make {made:.3g} V")
    elif made and volts and drive and not 0.6 < made / drive.nominal_voltage < 1.6:
        section.warn("cells", f"make {made:.3g} V for a drive of {drive.nominal_voltage:g} V; check both")
    return battery


def _read_chemistry(section: Section) -> Chemistry | None:
    raw = section.take("chemistry")
    expected = "expected " + ", ".join(CHEMISTRIES)
    if raw is None:
        return None
    if not isinstance(raw, str):
        section.error("chemistry", f"found {shown(raw)}; {expected}")
        return None
    found = named(raw)
    if found is None:
        word = raw.strip().casefold()
        section.warn("chemistry", f"unknown chemistry {shown(raw)}{closest(word, [*CHEMISTRIES])}; {expected}")
    return found


def read_encoder(section: Section | None) -> Encoder | None:
    """The wheel's encoder; ``None`` where the profile has no ``[encoder]``."""
    if section is None:
        return None
    encoder = Encoder(
        counts_per_turn=section.number("counts_per_turn", over=0, most=1e7),
        on=cast(Literal["motor", "wheel"], section.choice("on", ("motor", "wheel"), "motor")),
        bits=section.integer("bits", 32, least=8, most=64),
    )
    section.close()
    return encoder


def read_setpoint(profile: Section, mechanism: Mechanism, drive: Drive | None) -> SetpointRange:
    """What the robot program accepts, in the launcher's unit: rpm, % or mm of draw."""
    section = profile.section("setpoint") or Section({}, "setpoint", profile.findings)
    found = _read_range(section, mechanism.usual_setpoints(section, drive))
    return mechanism.check_setpoints(section, found, drive)


def _read_range(section: Section, usual: SetpointRange) -> SetpointRange:
    unit, scale = usual.unit, usual.scale

    def one(key: str, default: float) -> float:
        if scale.dimension == RATIO and isinstance(section.values.get(key), int | float):
            found = shown(section.take(key))
            section.error(key, f'found {found} without a unit; expected a share of battery voltage, such as "40 %"')
            return math.nan
        over, least = (None, scale.bounds[0]) if key == "low" else (scale.bounds[0], None)
        value = section.quantity(
            key, scale.dimension, default / scale.per_si, over=over, least=least, most=scale.bounds[1]
        )
        return float(f"{value * scale.per_si:.10g}")

    given = "high" in section
    chosen = SetpointRange(unit, one("low", usual.low), one("high", usual.high), one("step", usual.step), given)
    section.close()
    if chosen.low == 0:
        section.warn("low", f"found zero, at which nothing leaves; taken as one step, {chosen.step:g} {unit}")
        chosen = replace(chosen, low=chosen.step)
    if chosen.low >= chosen.high:
        section.error("low", f"found {chosen.low:g} {unit}; expected less than high, {chosen.high:g} {unit}")
    elif chosen.step > chosen.high - chosen.low:
        section.error("step", f"found {chosen.step:g} {unit}; expected less than the range from low to high")
    return chosen
