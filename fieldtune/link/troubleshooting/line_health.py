"""The line's health in words that a student reads: why lines were refused, what was noticed, what to do about it.

The counts themselves are kept under short causes, which scripts may rely on.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from fieldtune.link.samples import TWO_NOW
from fieldtune.link.validation.battery_doubts import JUMPS
from fieldtune.link.validation.clock_judge import CLOCK

if TYPE_CHECKING:
    from fieldtune.link.samples import Health

_PLUGS = "seat the plugs, take a shorter cable, keep it away from motor wires"
_DAMAGE = f"Characters change on their way: {_PLUGS}."
_JUMPS = f"Wheel readings jump as no wheel can: check the encoder's plug, and {_PLUGS}."
_LATE = (
    "Wheel readings jump as no wheel can. Without the robot's own clock a late line looks so, too: let the program"
    f" send t_ms. If it does so still, check the encoder's plug, and {_PLUGS}."
)
_CAUSES: Mapping[str, tuple[str, str]] = {
    "checksum": ("changed on the way (checksum)", _DAMAGE),
    "undecodable": (
        "not readable as readings",
        f"Lines that can't be read: other text of the program does no harm; if they are damaged, {_PLUGS}.",
    ),
    "cut off": (
        "cut off by the next line",
        "Lines lose their ends: the program prints more than the baud carries. Print less often, or at a higher baud.",
    ),
    "over-long": (
        "longer than 512 characters",
        "Lines never end, or are longer than 512 characters: let the program end each with a line feed (println, or"
        " \\n), and print fewer values on each. If it does, and prints more than the baud carries, the ends get lost:"
        " print less often, or at a higher baud.",
    ),
    "unchecked": (
        "without the checksum of the others",
        "Two places of the program print: let both write the checksum, or neither.",
    ),
    "no known field": ("none of our names in it", "Lines without a name that is known: ^o in the console maps names."),
    "columns": (
        "another number of columns",
        "Let the program print the columns that the profile names in [link.columns], each time.",
    ),
    "column names": ("a row of column names", ""),
    "non-finite": (
        "nothing but nan or inf in it",
        "The program divides by zero, or a sensor is missing.",
    ),
    "unusable value": ("no value that can be used", "See below which value can't be used, and mend it in the program."),
    "duplicate": ("the same line once more", "The program prints each line twice; that does no harm."),
    "overtaken": ("overtaken by a later one", _JUMPS),
    "impossible number": ("a number of hundreds of digits", _DAMAGE),
    "not followed": (
        "alone, nothing followed it",
        "No two lines follow each other: do two programs print, or does a network change their order? Send t_ms too.",
    ),
    "impossible wheel": (
        "a speed no wheel reaches so soon",
        _JUMPS,
    ),
    "impossible clock": (
        "a time that can't be",
        "Times jump: over a network lines overtake each other, which does no harm. On a wire, "
        f"{_PLUGS}; does anything else set t_ms in the program?",
    ),
    "impossible battery": (
        "a voltage that can't be",
        f"Voltages jump: {_PLUGS}; is it the profile's battery?",
    ),
}
_NOTICES: Mapping[str, str] = {
    "restart": "the robot started anew",
    "reconnected": "the connection was opened again",
    "another port": "another port was chosen",
    "gap": "nothing came for a while",
    "clock roll-over": "its clock went on from zero",
    "counter roll-over": "its counter went on from zero",
    "clock jump": "its clock jumped",
    "counter jump": "its counter jumped",
    "counts of no wheel": "counts came of no wheel: encoder's plug pulled?",
    "counter stands still": "counter stood still: plug pulled?",
    "own rpm by a nominal time": "own rpm divided by a loop time that isn't kept: corrected",
    "counter of 16 bits": "counter rolls over at 16 bits: bits = 16 under [encoder]",
    "counter of 8 bits": "counter rolls over at 8 bits: bits = 8 under [encoder]",
    "counts get lost": "counts get lost: look at the encoder's magnets, gap and plug; dips like that are no shots",
    "fired stays 1": "fired stays 1: a trigger, or the feeder? The wheel's dips are the shots",
    "shot not confirmed": "dips that may have been shots",
    TWO_NOW: "two robots talk now",
    "jam": "jam: far more current than this speed takes, and no shot",
    "start-up text": "lines before the first readings",
}
_BY_COUNTER = ("impossible wheel", "overtaken")
_EXPLAINED: Mapping[str, tuple[str, ...]] = {
    CLOCK: ("not followed", "impossible clock", "impossible wheel"),
    JUMPS: ("impossible battery",),
    "counter of 8 bits": _BY_COUNTER,
    "own rpm by a nominal time": _BY_COUNTER,
    "lines of two robots": ("impossible",),
    "wheel_counts is": _BY_COUNTER,
    "counts of no wheel": _BY_COUNTER,
}
"""What lines were refused for until something was known, by how its notice begins: no fault beside it."""
_BREAKS_AT = 5
_BREAKS = (
    "The connection breaks again and again: a loose plug or cable, a battery that sags until the controller starts"
    " anew, or a robot program that closes it."
)
_SELDOM_HZ, _ENOUGH_LINES = 12.0, 20
_SELDOM = (
    "Only {} lines a second: some shots fall between them. Let the program print 20 or more a second, or send fired."
)
_WORTH_SAYING = 0.01
"""Share of the lines from which a refused one is worth doing something about."""


def cause_words(cause: str) -> str:
    """Why lines were refused, in a few words."""
    if cause not in _CAUSES and cause.startswith("impossible "):
        return f"a {cause.removeprefix('impossible ')} that can't be"
    return _CAUSES.get(cause, (cause, ""))[0]


def notice_words(notice: str) -> str:
    """What was noticed, in a few words; unlike a refused line it is no fault."""
    return _NOTICES.get(notice, notice)


def advice(health: Health) -> list[str]:
    """What to do about a line that breaks, and the cause of most refused lines; empty where hardly any were."""
    again = [_BREAKS] if health.notices.get("reconnected", 0) >= _BREAKS_AT else []
    # A reading that never can be is no damage, but another unit.
    causes = [c for c in health.dropped if f"{c.removeprefix('impossible ')} out of range" not in health.notices]
    known = [why for begins, why in _EXPLAINED.items() if any(n.startswith(begins) for n in health.notices)]
    causes = [c for c in causes if not c.startswith(tuple(begin for why in known for begin in why))]
    cause = max(causes, key=lambda name: health.dropped[name], default="")
    endless = cause == "over-long" and not health.good  # is one line for ever
    if not endless and health.dropped.get(cause, 0) < min(max(_WORTH_SAYING * health.lines, 3), health.lines):
        return again
    said = _CAUSES.get(cause, ("", _DAMAGE if cause.startswith("impossible") else ""))[1]
    uneven = "counter jump" in health.notices and "overtaken" not in health.dropped  # as none is on a wire
    if cause == "impossible wheel" and health.clock == "arrival" and uneven:
        said = _LATE
    return [*again, said] if said else again


def few_lines(health: Health) -> list[str]:
    """What to do where lines are too far apart; empty where they aren't, or most are refused."""
    read, rate_hz = health.good > max(_ENOUGH_LINES, health.lines / 2), health.rate_hz
    return [_SELDOM.format(f"{rate_hz:.2g}")] if read and rate_hz is not None and rate_hz < _SELDOM_HZ else []


def health_words(health: Health) -> str:
    """``98.7 lines/s, 3 dropped: changed on the way (checksum)``: the line's health in one breath."""
    parts = ["rate unknown" if health.rate_hz is None else f"{health.rate_hz:.1f} lines/s"]
    if health.dropped:
        causes = sorted(health.dropped.items(), key=lambda item: -item[1])
        if len(causes) == 1:
            parts.append(f"{causes[0][1]} dropped: {cause_words(causes[0][0])}")
        else:
            named = ", ".join(f"{n} {cause_words(cause)}" for cause, n in causes)
            parts.append(f"{sum(health.dropped.values())} dropped: {named}")
    noticed = ((notice_words(name), n) for name, n in health.notices.items())
    parts += [f"{words} x{n}" if n > 1 else words for words, n in noticed]
    if health.clock == "arrival":
        parts.append("no usable clock from the robot, arrival times stand in")
    return ", ".join(parts)
