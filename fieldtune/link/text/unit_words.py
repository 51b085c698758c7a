"""Words behind a number: units as people write them, and words that are no unit."""

from __future__ import annotations

import re

COUNTED = re.compile(
    r"(?:\b|_)(?:c|counts?|cts?|ticks?|pulses?|edges?|steps?|units?)[ _]?"
    r"(?:(?P<in_ms>\d+)[ _]?ms|(?<=_)s(?:ec)?|(?:/|p|per|in)[ _]?(?:(?P<ms>\d+)[ _]?ms|(?P<part>0?\.\d+)[ _]?s(?:ec)?"
    r"|(?P<min>min(?:ute)?)|s(?:ec(?:ond)?)?s?))(?![a-z0-9])",
    re.IGNORECASE,
)
"""Counts of an encoder in a stated time, a unit of speed for one robot."""
NO_UNITS = frozenset(("cw", "ccw", "fwd", "forward", "forwards", "backward", "backwards", "reverse", "f", "l"))
"""What stands behind a number and is no unit: which way a wheel turns, and how C and Java mark the size of a number."""
STATE = re.compile(
    r"[\s>=-]*(?:not |at |in )?(?:ok|okay|ready|idle|wait(?:ing)?|done|good|bad|speed|range|target"
    r"|spin(?:ning)?[ _-]?(?:up|down)|running"
    r"|stop(?:ped|ping)?|coast(?:ing)?|brak(?:e|ing)|hold(?:ing)?|stable|steady|reached|shoot(?:ing)?|firing|fire"
    r"|go|on|off|yes|no|true|false|high|low|enabled|disabled|manual|auto|error|fault|warn(?:ing)?|stall(?:ed)?)[\s!.?]*",
    re.IGNORECASE,
)
"""What the robot does now, in the words that programs print behind their numbers (common practice): no unit."""
SAYS_YES_OR_NO = {
    **dict.fromkeys(("true", "yes", "on", "high", "y", "t"), 1),
    **dict.fromkeys(("false", "no", "off", "low", "n", "f"), 0),
}
OTHER_SPELLINGS = {
    **dict.fromkeys(("r/min", "u/min", "tr/min", "1/min", "/min", "min^-1", "min-1", "r.p.m", "r.p.m."), "rpm"),
    **dict.fromkeys(("rev/min", "rot/min", "upm", "dev/dk", "d/dk", "giri/min", "omw/min", "obr/min"), "rpm"),
    **dict.fromkeys(("ot/min", "varv/min", "o/min"), "rpm"),
    **dict.fromkeys(("radps", "rad_s", "rad/sec"), "rad/s"),
    **dict.fromkeys(("dps", "degps", "deg_s"), "deg/s"),
    **dict.fromkeys(("rot/s", "rotations/s", "rotations per second", "turns per second"), "rev/s"),
    **dict.fromkeys(("millivolt", "millivolts"), "mV"), **dict.fromkeys(("milliamp", "milliamps"), "mA"),
}  # fmt: skip
"""How people write units that have another symbol here, in their languages too (common practice)."""
