"""The link: any robot that prints text, over any wire; bytes to samples, shots and health."""

from __future__ import annotations

from fieldtune.link.decode import Decoded, decode
from fieldtune.link.line import Line, health_words
from fieldtune.link.live import Health, Live, ShotSeen, State, WheelFigures
from fieldtune.link.monitor import Monitor
from fieldtune.link.recording import Recorder, read_header
from fieldtune.link.sample import Sample

__all__ = [
    "Decoded",
    "Health",
    "Line",
    "Live",
    "Monitor",
    "Recorder",
    "Sample",
    "ShotSeen",
    "State",
    "WheelFigures",
    "decode",
    "health_words",
    "read_header",
]
