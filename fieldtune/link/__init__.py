"""The link: any robot that prints text, over any wire; bytes to samples, shots and health.

Each door is opened on first use: the console shows its first screen before serial ports are worth a thought.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from fieldtune.link.line import Line
    from fieldtune.link.line_health import health_words
    from fieldtune.link.monitor import Monitor
    from fieldtune.link.recording import Decoded, Recorder, decode
    from fieldtune.link.recording_reader import RecordedLine
    from fieldtune.link.samples import Health, Live, Sample, ShotSeen, State, WheelFigures

__all__ = [
    "Decoded",
    "Health",
    "Line",
    "Live",
    "Monitor",
    "RecordedLine",
    "Recorder",
    "Sample",
    "ShotSeen",
    "State",
    "WheelFigures",
    "decode",
    "health_words",
]

_ROOMS = {
    "line": ("Line",),
    "line_health": ("health_words",),
    "samples": ("Sample", "Health", "Live", "ShotSeen", "State", "WheelFigures"),
    "monitor": ("Monitor",),
    "recording": ("Decoded", "Recorder", "decode"),
    "recording_reader": ("RecordedLine",),
}
_HOMES = {name: room for room, names in _ROOMS.items() for name in names}


def __getattr__(name: str) -> Any:
    """Imports the room of a public name."""
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_HOMES[name]}"), name)
