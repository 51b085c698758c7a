"""Drive, battery, sizing and safety: what the mechanism can do, what it costs, what it can do to you."""

from fieldtune.sizing.battery_status import BatteryStatus, status_lines
from fieldtune.sizing.battery_watch import BatteryWatch
from fieldtune.sizing.ceiling import ceiling, lowest_voltage
from fieldtune.sizing.compare import Comparison, compare
from fieldtune.sizing.hazards import Hazards, hazards
from fieldtune.sizing.recalibration import Recalibration
from fieldtune.sizing.records import CockingSize, FlywheelSize, Size
from fieldtune.sizing.safety import cautions
from fieldtune.sizing.size import size
from fieldtune.sizing.text import compare_text, size_text
from fieldtune.sizing.two_pulse import TwoPulse
from fieldtune.sizing.what_if import what_if, what_it_buys

__all__ = [
    "BatteryStatus",
    "BatteryWatch",
    "CockingSize",
    "Comparison",
    "FlywheelSize",
    "Hazards",
    "Recalibration",
    "Size",
    "TwoPulse",
    "cautions",
    "ceiling",
    "compare",
    "compare_text",
    "hazards",
    "lowest_voltage",
    "size",
    "size_text",
    "status_lines",
    "what_if",
    "what_it_buys",
]
