"""The link: any robot that prints text, over any wire; bytes to samples, shots and health.

Each door is opened on first use: the console shows its first screen before serial ports are worth a thought.
The rooms stand one on the other: text, validation, wheel, shots, and the line that runs them all; troubleshooting tells
what is wrong with a line, recordings keep it. ``samples`` and ``limits`` belong to all.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from fieldtune.link.line import Line
    from fieldtune.link.monitor import Monitor
    from fieldtune.link.recordings.recording import Decoded, Recorder, decode
    from fieldtune.link.recordings.recording_reader import RecordedLine
    from fieldtune.link.samples import Health, Live, Sample, ShotSeen, State, WheelFigures
    from fieldtune.link.troubleshooting.line_health import health_words

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
    "troubleshooting.line_health": ("health_words",),
    "samples": ("Sample", "Health", "Live", "ShotSeen", "State", "WheelFigures"),
    "monitor": ("Monitor",),
    "recordings.recording": ("Decoded", "Recorder", "decode"),
    "recordings.recording_reader": ("RecordedLine",),
}
_HOMES = {name: room for room, names in _ROOMS.items() for name in names}


def __getattr__(name: str) -> Any:
    """Imports the room of a public name."""
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_HOMES[name]}"), name)
