"""What a recording decodes to, as its JSON beside it says it. Run as a program it writes that JSON anew:

python tests/link/link_recordings.py tests/recordings/*.rec tests/recordings/*.txt
"""

from __future__ import annotations

import json
import sys
from dataclasses import fields
from pathlib import Path

from fieldtune import load_robot
from fieldtune.link import RecordedLine, Sample, decode

NAMES = [field.name for field in fields(Sample) if field.name not in ("before_s", "averaged")]
HOME = Path(__file__).parent.parent / "recordings"


def robot_of(path):
    return load_robot(HOME / "robots" / f"{RecordedLine(path).header()['robot']}.toml")


def _figure(value):
    return round(value, 4) if isinstance(value, float) else value


def summary(path):
    """Health, shots, and one sample in fifty, in figures that do not hang on the last bit of a library."""
    decoded = decode(path, robot_of(path))
    health = decoded.live.health
    return {
        "lines": health.lines,
        "good": health.good,
        "dropped": dict(sorted(health.dropped.items())),
        "notices": dict(sorted(health.notices.items())),
        "clock": health.clock,
        "samples": [
            {name: _figure(getattr(s, name)) for name in NAMES if getattr(s, name) is not None}
            for s in decoded.samples[::50]
        ],
        "shots": [
            {
                "by": shot.by,
                "time_s": _figure(shot.time_s),
                "speed_rpm": None if shot.speed_rpm is None else round(shot.speed_rpm, 1),
                "depth_rpm": None if shot.depth_rpm is None else round(shot.depth_rpm),
                "draw_mm": _figure(shot.draw_mm),
                "setpoint": shot.setpoint,
            }
            for shot in decoded.live.shots
        ],
    }


if __name__ == "__main__":
    for name in sys.argv[1:]:
        Path(name).with_suffix(".json").write_text(json.dumps(summary(Path(name)), indent=1) + "\n")
