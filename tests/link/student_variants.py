"""The robot programs of the bench by name: one oddity each, on 100 lines/s where nothing else is said."""

from __future__ import annotations

from dataclasses import replace

from student_firmware import Firmware

TWO_ROBOTS = "two robots on one line"
_RPM = Firmware(speed="rpm")
_SLOW_CLUMPS = (0.3, 1.0)
_TOLD = Firmware(speed="rpm", battery="battery_v", distance="distance_m")
_MILLI = Firmware(speed="rpm", battery="battery_mv", distance="distance_mm")
_SPEED = {"wheel_rpm": "speed"}

VARIANTS: dict[str, Firmware] = {
    "counts": Firmware(),
    "counts, setpoint sent": Firmware(setpoint=True),
    "rpm in steps of one count": _RPM,
    "rpm in steps of one count, each line": replace(_RPM, rpm_hz=100.0),
    "rpm, 12 counts a turn": replace(_RPM, counts_per_turn=12.0),
    "rpm, low-passed over 0.1 s": replace(_RPM, lowpass_s=0.1),
    "rpm, low-passed, 12 counts a turn": replace(_RPM, lowpass_s=0.1, counts_per_turn=12.0),
    "20 lines/s": Firmware(rate_hz=20.0),
    "20 lines/s, rpm": replace(_RPM, rate_hz=20.0),
    "50 lines/s": Firmware(rate_hz=50.0),
    "1,000 lines/s": Firmware(rate_hz=1000.0, bridge_s=0.016),
    "1,000 lines/s, rpm": replace(_RPM, rate_hz=1000.0, bridge_s=0.016),
    "1,000 lines/s, 4,096 counts a turn": Firmware(rate_hz=1000.0, bridge_s=0.016, counts_per_turn=4096.0),
    "12 counts a turn": Firmware(counts_per_turn=12.0),
    "2,048 counts a turn": Firmware(counts_per_turn=2048.0),
    "counter refreshed at 50 Hz": Firmware(refresh_hz=50.0),
    "counter refreshed at 20 Hz": Firmware(refresh_hz=20.0),
    "counter refreshed at 30 Hz": Firmware(refresh_hz=30.0),
    "refreshed at 50 Hz, 200 lines/s": Firmware(refresh_hz=50.0, rate_hz=200.0),
    "refreshed at 20 Hz, 1,000 lines/s": Firmware(refresh_hz=20.0, rate_hz=1000.0, bridge_s=0.016),
    "refreshed at 30 Hz, 4,096 counts": Firmware(refresh_hz=30.0, counts_per_turn=4096.0),
    "rpm refreshed at 20 Hz": replace(_RPM, refresh_hz=20.0),
    "each line twice": Firmware(twice=True),
    "each line twice, rpm": replace(_RPM, twice=True),
    "each line twice, no clock": Firmware(twice=True, clock=None),
    "clock in steps of 20 ms": Firmware(clock_step_ms=20.0),
    "clock in steps of 20 ms, rpm": replace(_RPM, clock_step_ms=20.0),
    "clock in steps of 100 ms": Firmware(clock_step_ms=100.0),
    "clock in steps of 100 ms, rpm": replace(_RPM, clock_step_ms=100.0),
    "clock frozen": Firmware(clock_fault="frozen"),
    "clock frozen, rpm": replace(_RPM, clock_fault="frozen"),
    "clock in whole seconds": Firmware(clock_fault="whole seconds"),
    "clock in whole seconds, rpm": replace(_RPM, clock_fault="whole seconds"),
    "microseconds as t_ms": Firmware(clock_fault="microseconds as ms"),
    "seconds as t_ms": Firmware(clock_fault="seconds as ms"),
    "seconds as t_ms, rpm": replace(_RPM, clock_fault="seconds as ms"),
    "clock 30 % fast": Firmware(clock_fault="fast"),
    "clock 30 % fast, rpm": replace(_RPM, clock_fault="fast"),
    "no clock": Firmware(clock=None),
    "no clock, bridge of 16 ms": Firmware(clock=None, bridge_s=0.016),
    "no clock, arriving 7 to 13 ms apart": Firmware(clock=None, jitter_s=0.006),
    "no clock, clumps of 0.3 to 1 s": Firmware(clock=None, clump_s=_SLOW_CLUMPS),
    "no clock, clumps of 0.3 to 1 s, rpm": replace(_RPM, clock=None, clump_s=_SLOW_CLUMPS),
    "clock, clumps of 0.3 to 1 s": Firmware(clump_s=_SLOW_CLUMPS),
    "bridge of 16 ms": Firmware(bridge_s=0.016),
    "battery nan": Firmware(nan="battery_mv"),
    "distance nan, rpm": replace(_RPM, nan="distance_m"),
    "distance nan, JSON": replace(_RPM, nan="distance_m", style="JSON"),
    "encoder's wire pulled": Firmware(dead_s=10.0),
    "encoder's wire pulled, 4,096 counts": Firmware(dead_s=10.0, counts_per_turn=4096.0),
    "encoder's wire pulled, rpm": replace(_RPM, dead_s=10.0),
    TWO_ROBOTS: Firmware(),
    "0.2 % of bytes spoilt": Firmware(faults=0.002),
    "1 % of bytes spoilt": Firmware(faults=0.01),
    "1 % of bytes spoilt, rpm": replace(_RPM, faults=0.01),
    "1 % of bytes spoilt, checked": Firmware(faults=0.01, checked=True),
    "5 % of bytes spoilt": Firmware(faults=0.05),
    "5 % of bytes spoilt, rpm": replace(_RPM, faults=0.05),
    "5 % of bytes spoilt, checked": Firmware(faults=0.05, checked=True),
    "JSON": replace(_TOLD, style="JSON"),
    "2,456.0 between blanks": replace(_MILLI, style="2,456.0"),
    "2'450": replace(_MILLI, style="2'450"),
    "2 450": replace(_MILLI, style="2 450"),
    "2,45 between semicolons": replace(_TOLD, style="2,45 between semicolons"),
    "2,45 between commas": replace(_TOLD, style="2,45 between commas"),
    "257 rad/s": replace(_TOLD, style="rad/s", names=_SPEED),
    "40.8 rev/s": replace(_TOLD, style="rev/s", names=_SPEED),
    "2.45 krpm": replace(_TOLD, style="krpm", names=_SPEED),
    "ticks/s": replace(_TOLD, style="ticks/s", names=_SPEED),
    "8.04 ft": replace(_TOLD, style="ft", names={"distance_m": "range"}),
    "245.0 cm": replace(_TOLD, style="cm", names={"distance_m": "range"}),
    "12271mV": replace(_TOLD, style="mV attached", names={"battery_v": "pack"}),
    "fired=True": replace(_TOLD, style="fired=True", fired=True),
    "python dict": replace(_MILLI, style="python dict", fired=True),
    "checksum *0x1C": replace(_TOLD, style="0x checksum"),
    "CSV with a header": replace(_TOLD, style="columns", header=b"t_ms,wheel_rpm,battery_v,distance_m\n"),
    "Wheel RPM: 2450": replace(
        _TOLD, clock=None, distance=None, style="Wheel RPM:", names={"wheel_rpm": "Wheel RPM", "battery_v": "Battery"}
    ),
}
