"""Reads what turns the wheel or cocks the spring, and what the robot program accepts."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Literal, cast

from fieldtune.constants import RPM
from fieldtune.robot.model import Battery, Drive, Encoder, Launcher, SetpointRange, SetpointUnit
from fieldtune.robot.table_reader import Section
from fieldtune.units import ANGULAR_SPEED, CAPACITY, CURRENT, LENGTH, RATIO, RESISTANCE, TORQUE, VOLTAGE, closest, shown

Chemistry = Literal["nimh", "lead-acid", "li-ion", "lifepo4"]
CELL_VOLTAGE: dict[Chemistry, float] = {"nimh": 1.2, "lead-acid": 2.0, "li-ion": 3.6, "lifepo4": 3.2}
"""Nominal voltage of a cell, volts, as printed on packs (common practice)."""
_OTHER_WORDS: dict[str, Chemistry] = {
    **dict.fromkeys(("ni-mh", "nickel-metal-hydride"), "nimh"),
    **dict.fromkeys(("lead", "leadacid", "agm", "sla", "pb"), "lead-acid"),
    **dict.fromkeys(("liion", "lithium-ion", "lipo", "li-po", "li-poly", "lithium-polymer"), "li-ion"),
    **dict.fromkeys(("lfp", "life", "lifepo", "lithium-iron-phosphate"), "lifepo4"),
}


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
            f"makes {per_ampere / per_speed - 1:.0%} more work than electricity goes in; "
            "stall torque, stall current and no-load speed don't belong to one motor",
        )
    elif per_ampere < 0.3 * per_speed:
        section.warn("stall_torque", "is low for this stall current and no-load speed; check the units")
    if drive.reduction > 2000 or drive.reduction < 1 / 50:
        section.warn("gears", f"give {drive.reduction:.3g} motor turns a turn; check driving and driven")


def read_battery(section: Section | None, drive: Drive | None) -> Battery | None:
    """The pack; ``None`` where the profile has no ``[battery]``."""
    if section is None:
        return None
    chemistry = _read_chemistry(section)
    nominal = section.maybe("nominal_voltage", VOLTAGE, over="0 V", most="100 V")
    volts = nominal or (drive.nominal_voltage if drive and drive.nominal_voltage > 0 else None)
    derived = max(1, round(volts / CELL_VOLTAGE[chemistry])) if volts and chemistry else 1
    if "cells" not in section and chemistry:
        section.warn("cells", f"not given; taken as {derived}{' from the nominal voltage' if volts else ''}")
    capacity = section.maybe("capacity", CAPACITY, over="0 A h", most="1000 A h", usual=("0.1 A h", "100 A h"))
    battery = Battery(
        chemistry=chemistry,
        cells=section.integer("cells", derived, least=1, most=100),
        resistance=section.maybe("resistance", RESISTANCE, over="0 ohm", most="50 ohm", usual=("1 mohm", "2 ohm")),
        capacity_ah=None if capacity is None else capacity / 3600,
        nominal_voltage=volts,
    )
    section.close()
    if chemistry and volts and drive and "cells" in section:
        pack = battery.cells * CELL_VOLTAGE[chemistry]
        if not 0.6 < pack / drive.nominal_voltage < 1.6:
            section.warn("cells", f"make {pack:.3g} V for a drive of {drive.nominal_voltage:g} V; check both")
    return battery


def _read_chemistry(section: Section) -> Chemistry | None:
    raw = section.take("chemistry")
    expected = "expected " + ", ".join(CELL_VOLTAGE)
    if raw is None:
        return None
    if not isinstance(raw, str):
        section.error("chemistry", f"found {shown(raw)}; {expected}")
        return None
    word = raw.strip().casefold().replace(" ", "-").replace("_", "-")
    for chemistry in CELL_VOLTAGE:
        if word in (chemistry, chemistry.replace("-", "")):
            return chemistry
    if word in _OTHER_WORDS:
        return _OTHER_WORDS[word]
    section.warn("chemistry", f"unknown chemistry {shown(raw)}{closest(word, [*CELL_VOLTAGE])}; {expected}")
    return None


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


def read_setpoint(profile: Section, launcher: Launcher, drive: Drive | None) -> SetpointRange:
    """What the robot program accepts, in the launcher's unit: rpm, % or mm of draw."""
    section = profile.section("setpoint") or Section({}, "setpoint", profile.findings)
    mechanism = launcher.striker or launcher.arm
    if mechanism is not None:
        low, high = mechanism.draw_min * 1000, mechanism.draw_max * 1000
        found = _range(section, "mm", max(low, min(0.5, high / 10)), high, 0.5)
        return _within_draw(section, found, low, high) if low < high else found
    if drive is not None and drive.control == "power":
        return _range(section, "%", 10.0, 100.0, 1.0)
    if drive is None:
        if not ("low" in section and "high" in section):
            section.warn("", "not given, and no [drive] to tell it from; taken as 300 to 6000 rpm")
        return _range(section, "rpm", 300.0, 6000.0, 10.0)
    free = drive.no_load_speed / drive.reduction / RPM
    if math.isnan(free):
        return _range(section, "rpm", 300.0, 6000.0, 10.0)  # the drive's own error is noted already
    found = _range(
        section, "rpm", max(10.0, 10 * round(free / 100)), max(20.0, 10 * math.floor(free / 10 + 1e-6)), 10.0
    )
    if found.high > free * 1.001:
        section.warn("high", f"is above the wheel's no-load speed of {free:.0f} rpm at nominal voltage")
    return found


def _within_draw(section: Section, found: SetpointRange, low: float, high: float) -> SetpointRange:
    """The range cut to what the launcher draws (mm), so that no setpoint is recommended that it can't stand."""
    if found.low < low - 1e-6 and "low" in section:
        section.warn("low", f"found {found.low:g} mm, less than draw_min; taken as {low:g} mm")
    if found.high > high + 1e-6:
        section.warn("high", f"found {found.high:g} mm, more than draw_max; taken as {high:g} mm")
    cut = replace(found, low=max(found.low, low), high=min(found.high, high))
    if found.low < found.high and cut.low >= cut.high:
        section.error("low", f"found {found.low:g} to {found.high:g} mm; expected draws of {low:g} to {high:g} mm")
    return cut


def _range(section: Section, unit: SetpointUnit, low: float, high: float, step: float) -> SetpointRange:
    dimension, scale, bounds = {
        "rpm": (ANGULAR_SPEED, RPM, ("0 rpm", "200000 rpm")),
        "%": (RATIO, 0.01, ("0 %", "100 %")),
        "mm": (LENGTH, 0.001, ("0 mm", "3 m")),
    }[unit]

    def one(key: str, default: float) -> float:
        if unit == "%" and isinstance(section.values.get(key), int | float):
            found = shown(section.take(key))
            section.error(key, f'found {found} without a unit; expected a share of battery voltage, such as "40 %"')
            return math.nan
        over, least = (None, bounds[0]) if key == "low" else (bounds[0], None)
        value = section.quantity(key, dimension, default * scale, over=over, least=least, most=bounds[1])
        return float(f"{value / scale:.10g}")

    given = "high" in section
    chosen = SetpointRange(unit, one("low", low), one("high", high), one("step", step), given)
    section.close()
    if chosen.low == 0:
        section.warn("low", f"found zero, at which nothing leaves; taken as one step, {chosen.step:g} {unit}")
        chosen = replace(chosen, low=chosen.step)
    if chosen.low >= chosen.high:
        section.error("low", f"found {chosen.low:g} {unit}; expected less than high, {chosen.high:g} {unit}")
    elif chosen.step > chosen.high - chosen.low:
        section.error("step", f"found {chosen.step:g} {unit}; expected less than the range from low to high")
    return chosen
