"""Drive, battery, sizing and safety: what the mechanism can do, what it costs, what it can do to you."""

from fieldtune.sizing.battery_status import BatteryStatus, status_lines
from fieldtune.sizing.battery_watch import BatteryWatch
from fieldtune.sizing.ceiling import ceiling, lowest_voltage
from fieldtune.sizing.records import CockingSize, FlywheelSize, Size
from fieldtune.sizing.safety import Hazards, cautions, hazards
from fieldtune.sizing.size import size
from fieldtune.sizing.text import size_text

__all__ = [
    "BatteryStatus",
    "BatteryWatch",
    "CockingSize",
    "FlywheelSize",
    "Hazards",
    "Size",
    "cautions",
    "ceiling",
    "hazards",
    "lowest_voltage",
    "size",
    "size_text",
    "status_lines",
]
