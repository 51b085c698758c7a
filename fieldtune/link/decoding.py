"""A recording decoded at once, without waiting: the same samples and shots as the live line gave, to the bit."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from fieldtune.link.line import Line
from fieldtune.link.live import Live
from fieldtune.link.recording import chunks
from fieldtune.link.sample import Sample
from fieldtune.robot.model import Robot


@dataclass(frozen=True, slots=True)
class Decoded:
    """All samples of a recording, and the line as it stood at the end."""

    samples: tuple[Sample, ...]
    live: Live


def decode(path: Path | str, robot: Robot) -> Decoded:
    """Decodes a recording or a plain text capture. Raises ``InputError`` if it can't be read."""
    line = Line(robot)
    samples: list[Sample] = []
    arrival_s = 0.0
    for chunk in chunks(path):
        arrival_s = chunk.arrival_us / 1e6
        if chunk.data:
            samples += line.feed(chunk.data, arrival_s)
        else:
            line.reconnected()
    live = line.live("ended", f"{path} decoded", str(path), arrival_s)
    return Decoded(tuple(samples), live)
