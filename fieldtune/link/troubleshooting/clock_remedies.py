"""What to do about a clock that the robot sends and that can't be used as it is."""

from __future__ import annotations

from fieldtune.link.validation.clock_judge import STILL

_RUNS = "Send as t_ms how long the program has run (millis())"
_MEANWHILE = "until then lines are timed as they come."
NOMINAL = (
    "Own rpm is divided by a fixed loop time that the loop doesn't keep. What goes up and down by it is put right, but"
    " all of it is too high where the loop always takes longer: divide by the time measured with micros()."
)


def clock_remedy(notice: str) -> str:
    """What to do, by what was noticed of the clock."""
    said = notice[:1].upper() + notice[1:]
    if notice == STILL:
        return f"{said}: let the program read it anew for each line; {_MEANWHILE}"
    if notice.endswith("taken so"):
        return f"{said}: does the program add up a fixed loop time? {_RUNS}."
    if "goes in steps" in notice:
        return f"{said}: send a finer one, as t_us (micros()); {_MEANWHILE}"
    if "back again" in notice:
        return f"{_RUNS}, which never goes back."
    said += "" if said.endswith("?") else "."
    return f"{said} {_RUNS}, or microseconds as t_us; {_MEANWHILE}"
