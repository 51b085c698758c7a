"""What to do about a line that can't be read as it is: exact lines for the profile, or what to change on the robot."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping, Sequence, Set
from dataclasses import replace
from typing import TYPE_CHECKING

from fieldtune.line_fields import BY_WIRE_NAME, COUNTER, PERIOD, WIRE_NAMES
from fieldtune.link.limits import Limits
from fieldtune.link.samples import TWO_NOW, Health
from fieldtune.link.text.bare_columns import alike
from fieldtune.link.text.raw_pairs import uncoloured
from fieldtune.link.text.wire_numbers import is_maybe_grouped
from fieldtune.link.troubleshooting.clock_remedies import NOMINAL, clock_remedy
from fieldtune.link.troubleshooting.line_health import advice, few_lines
from fieldtune.link.troubleshooting.raw_fields import RawField, profile_lines, raw_fields
from fieldtune.link.troubleshooting.unit_remedies import (
    fraction_remedy,
    open_speed,
    other_setpoint,
    out_of_range,
    sensors_unit,
    share_remedy,
    supposed,
    unit_remedy,
)
from fieldtune.link.validation.clock_judge import CLOCK, SECONDS
from fieldtune.link.wheel.seldom_read import ANEW

if TYPE_CHECKING:
    from fieldtune.robot.model import Robot

_GARBLED, _OFTEN = 0.15, 0.5  # share of characters that are no text; of lines that name a value that is never used
_MIXED, _OVERTAKEN, _FEW_LINES = 4, 50, 4
_BATTERY_IS = "jumps up and down", "stands at one value"
_ONCE = (
    "goes up and down",
    "goes in steps of ten",
    "is 0 in every few",
    "never says more",
    "is in another unit",
    CLOCK,
    "own rpm by a nominal time",
    "8 bits only",
    *_BATTERY_IS,
    ANEW,
)  # said once, true of all lines
_UNITS = {"wheel_rpm": "rpm", "draw_mm": "mm"}
_PLAIN = (
    "Print plain numbers, such as 2406 or 2406.5: a point for decimals, no mark between thousands, no second"
    " number behind."
)
_SO: Mapping[str | tuple[str, ...], str] = {
    ("is nan", "is -nan", "is inf", "is -inf"): "the program divides by zero, or a sensor is missing.",
    "goes up and down": (
        "does the program send the counts since its last line, or set its counter back? Let it send the counter itself,"
        " and never set it back."
    ),
    "goes in steps of ten": "a number with a point is printed with six digits. Print it as a whole number.",
    "has 8 bits only": (
        "let the program add up its counts in a variable of 32 bits (long, int32_t) and send that, or print more often."
    ),
    "never says more than": "the wheel may be faster. Let the program neither limit it nor keep it in too few bits.",
    "is 0 in every few": (
        "is it computed oftener than the counter is read, or does a reading fail? Let it send wheel_counts, the counter"
        " itself."
    ),
}
"""What to do about a value, by how it begins why none can be used."""
_BATTERY = "Seat its wires, and let the program read its input for each line; until then no voltage is shown or kept."
_POINT, _THOUSANDS = re.compile(r"\d\.\d{3}\Z"), " If they are thousands, paste it under [link.scale] with 1000."
_ALSO = tuple(
    map(frozenset, (("t_ms", "t_us"), ("battery_mv", "battery_v"), ("setpoint",), ("distance_mm", "distance_m")))
)
"""What else is worth being read, by kind."""
_SHOW_ONE = "Let the robot print name=value pairs, such as wheel_rpm=2450,battery_v=12.3 (README, The serial line)."


def remedies(
    health: Health,
    lines: Sequence[str],
    fixed_baud: int | None = None,
    robot: Robot | None = None,
    *,
    has_speed: bool = True,
) -> list[str]:
    """What to do about refused lines and unused values; lines to paste into the profile come last.

    ``lines``: raw lines made harmless, as ``Monitor.recent_lines`` gives them; ``fixed_baud``: the speed, if it was
    named and not found; ``has_speed``: whether it comes by a port that has one, and not from a file or a network.
    """
    two = any(notice.startswith("lines of two robots") for notice in health.notices)
    lately = _MIXED * sum(health.dropped.values()) > health.lines  # else one was unplugged long ago
    if TWO_NOW in health.notices or (two and lately):
        return ["Two robots talk on this line in turn: unplug one, or let each send to a port of its own."]
    overtaken = sum(health.dropped.get(cause, 0) for cause in ("overtaken", "impossible wheel"))
    if health.clock == "arrival" and _OVERTAKEN * overtaken > health.lines and not has_speed:
        return [
            "If they come over a network, lines overtake each other: let the program send t_ms too.",
            *advice(health),
        ]
    texts = [re.sub(r"   \[[a-z -]+\]\Z", "", line) for line in lines]
    if not health.dropped or 10 * health.good > health.lines:
        fields = raw_fields(texts, robot) if robot is not None and health.good else []
        said = [*advice(health), *_unused(health, fields, robot)]
        named = robot is not None and any(notice.partition(" ")[0] in _named_so(robot) for notice in health.notices)
        said += [] if named or "column names" in health.dropped else _not_mapped(fields, robot)
        return said or few_lines(health)
    cause = max(health.dropped, key=lambda name: health.dropped[name])
    letters = "".join(map(uncoloured, texts))
    if letters and not _alike(texts) and letters.count("·") > _GARBLED * len(letters) and cause != "checksum":
        return [_wrong_speed(fixed_baud) if has_speed else _NO_TEXT]
    if cause == "checksum":
        return [
            "The two hex digits behind * are the XOR of the bytes between $ and *; without them nothing is checked."
        ]
    if cause == "unchecked":
        return ['The profile asks for checksums ([link] checksum = "required"), and these lines have none.']
    aside = [notice for notice in health.notices if " is nan" in notice or " is inf" in notice or "unit" in notice]
    if cause == "unusable value" and any("two ways" in notice for notice in health.notices):
        return _unused(health, raw_fields(texts, robot), robot)
    if cause in ("non-finite", "unusable value") and aside:
        return [f"The robot sends a value that can't be used: {'; '.join(sorted(aside))}. Mend it in its program."]
    if cause in ("not followed", "over-long") or cause.startswith("impossible "):
        return advice(health)  # they can be read, but can't all be true; or never end
    return _mapping(raw_fields(texts, robot), robot)


def _alike(texts: Sequence[str]) -> bool:
    """Whether lines are the same but for their numbers, unlike bytes at another speed."""
    forms = Counter(re.sub(r"[\d.,+ -]+", "#", text) for text in texts)
    return bool(forms) and 2 * max(forms.values()) > len(texts) > _FEW_LINES and "#" in forms.most_common(1)[0][0]


def _mapping(fields: Sequence[RawField], robot: Robot | None) -> list[str]:
    """What the line says, and what to paste so that it is read."""
    if not fields:
        return [_SHOW_ONE]
    seen = ", ".join(f"{field.name} ({field.text})" for field in fields[:8])
    problems = [_problem(field) for field in fields if field.ours and (field.problem or _by_point(field, robot))]
    said = [f"The line says: {seen}."]
    said += [f"Can't be used as it is: {'; '.join(problems)}."] if problems else []
    said += [_PLAIN] if any("two ways" in problem for problem in problems) else []
    if robot is not None:
        likely = any(field.ours in _wanted(robot) for field in fields)
        columns = fields[0].name.startswith("column ")
        said += share_remedy(fields, robot) if likely or columns else _no_speed(fields, robot)
    pasted, unsure = profile_lines(_told(fields)), _at_rest(fields, robot)
    if not pasted:
        return [*said, *(unsure or [_SHOW_ONE])]
    paste = "Paste into the profile, after a look whether each is what it seems:"
    if '"-"' in "".join(pasted):
        paste = 'Put a field\'s name for each "-" that matters into the profile:'
    return [*said, *unsure, *supposed(fields, robot), paste, *pasted]


def _told(fields: Sequence[RawField]) -> list[RawField]:
    """Those whose unit is unsure as if nothing were known of them: they would say a wrong speed."""
    return [field if field.sure or field.ours == "power_pct" else replace(field, ours=None) for field in fields]


def _problem(field: RawField) -> str:
    """Why a value can't be used; of one in a unit that nobody knows, in which it could."""
    row = BY_WIRE_NAME.get(field.ours or "", (None, None))[1]
    unit = f" (print it in {row.unit})" if row and row.unit and "unknown unit" in field.problem else ""
    return f"{field.name} {field.problem or 'can be read in two ways'}{unit}"


def _by_point(field: RawField, robot: Robot | None) -> bool:
    """Whether no unit fits a speed because its point may stand between thousands: 2.450."""
    if robot is None or field.value is None or field.sure or field.ours not in ("wheel_rpm", "wheel2_rpm"):
        return False
    return is_maybe_grouped(field.text) and 1000 * abs(field.value / field.scale) <= Limits.of(robot).wheel_rpm


def _at_rest(fields: Sequence[RawField], robot: Robot | None) -> list[str]:
    """That a unit is open; of a wheel's speed it shows by the numbers, which are all zero as long as nothing turns."""
    unsure = [field for field in fields if not (field.sure or sensors_unit(field) or _by_point(field, robot))]
    if not unsure and any(_by_point(field, robot) for field in fields):
        return []
    if all(field.value == 0 for field in unsure):
        said = "at 0 tells no unit: look again while the wheel turns."
    else:
        said = "does not tell its unit: look again while the wheel holds a shot's speed."
    periods = [field.name for field in unsure if field.ours == PERIOD and field.value]
    asked = [
        f"{name} is the time of neither a turn nor a count of the profile's encoder. How many of them does a turn take?"
        f" Put it under [link.scale] as {PERIOD}, and {name} as {PERIOD} under [link.fields]."
        for name in periods
    ]
    speeds = {field.name: open_speed(field, robot) for field in unsure if robot is not None}
    speeds = {name: asks for name, asks in speeds.items() if asks}
    others = [field.name for field in unsure if field.name not in periods and field.name not in speeds]
    sensors = [sensors_unit(field) for field in fields if not field.sure and sensors_unit(field)]
    return [*asked, *speeds.values(), *([f"{', '.join(others)} {said}"] if others else []), *sensors]


def not_read(lines: Sequence[str], robot: Robot) -> str:
    """What may be the wheel's speed or the draw on these lines, and is not read, in words; empty where nothing is."""
    if robot.link.columns and not _wanted(robot) & set(robot.link.columns):
        return f"no column is the {_words(_what(robot))}"
    likely = _likely(raw_fields(lines, robot), robot)
    return f"{likely[0].name} is not read: is it the {_words(likely[0].ours)}?" if likely else ""


def _not_mapped(fields: Sequence[RawField], robot: Robot | None) -> list[str]:
    """Which names on good lines may be what the robot sends, and isn't read: first of all the launcher's own."""
    if robot is None:
        return []
    if robot.link.columns and not _wanted(robot) & set(robot.link.columns):
        which = " or ".join(sorted(_wanted(robot) - {PERIOD}))
        return [f"No column is the {_words(_what(robot))}: put {which} where it stands into [link.columns] order."]
    likely, known = _likely(fields, robot), _known(robot)
    more = [field for kind in _ALSO for field in _unread(fields, robot, kind) if not field.problem]
    unread = [*likely, *more]
    if more and not any(field.name in known for field in fields):
        # Names are read in any spelling only as long as none of them is known to the letter.
        wanted = _wanted(robot).union(*_ALSO)
        unread = [field for field in fields if field.ours in wanted and field.name not in known]
    pasted = profile_lines(_told(unread))
    if not pasted and _at_rest(unread, robot):
        return [*([] if likely else _no_speed(fields, robot)), *_at_rest(unread, robot)]
    if not pasted or pasted[0] == "[link.columns]":
        return _no_speed(fields, robot)
    if not more:
        return [
            *_at_rest(likely, robot),
            *supposed(likely, robot),
            f"{likely[0].name} is not read. If it is the {_words(likely[0].ours)}, paste into the profile:",
            *pasted,
        ]
    names = ", ".join(f"{field.name} ({field.text})" for field in (*likely, *more))
    return [
        *_at_rest(unread, robot),
        *supposed(unread, robot),
        f"Not read: {names}. Paste into the profile, after a look whether each is what it seems:",
        *pasted,
    ]


def _no_speed(fields: Sequence[RawField], robot: Robot) -> list[str]:
    """That nothing on the line may be the wheel's speed or the draw, under whatever name."""
    share = share_remedy(fields, robot)
    if share:
        return share
    names, wanted = {alike(field.name) for field in fields}, _wanted(robot)
    read = {alike(robot.link.fields.get(ours, ours)) for ours in wanted} & names
    if not fields or read or robot.link.columns or any(field.ours in wanted for field in fields):
        return []
    said, needed = ", ".join(field.name for field in fields[:8]), " or ".join(sorted(wanted - {PERIOD}))
    return [
        f"No name on the line says the {_words(_what(robot))} ({said}): let the program print {needed} too. Or, if one"
        f' of these is it in {_UNITS[max(wanted)]}, paste {max(wanted)} = "its name" under [link.fields].'
    ]


def _likely(fields: Sequence[RawField], robot: Robot) -> list[RawField]:
    """The values that may be the wheel's speed or the draw, where none of the names that are read is."""
    return _unread(fields, robot, _wanted(robot))


def _unread(fields: Sequence[RawField], robot: Robot, wanted: Set[str]) -> list[RawField]:
    """The values that may be one of the wanted fields, where none of these is read."""
    known = _known(robot)
    strict = any(field.name in known for field in fields)  # else names are read in any spelling
    last = [re.split(r"[ .-]", field.name)[-1] for field in fields]  # behind a log's words
    named = {name if strict else alike(name) for name in (*last, *(field.name for field in fields))}
    theirs = (robot.link.fields.get(ours, ours) for ours in wanted)
    if any((name if strict else alike(name)) in named for name in theirs):
        return []
    return [field for field in fields if field.ours in wanted and field.name not in known]


def _known(robot: Robot) -> set[str]:
    """Names that are read, to the letter."""
    return {*robot.link.fields.values(), *(name for name in WIRE_NAMES if name not in robot.link.fields)}


def _wanted(robot: Robot) -> set[str]:
    """Our names of what tells how the launcher moves."""
    _, measured = robot.launcher.mechanism.measured
    return {"draw_mm"} if measured.startswith("draw") else {"wheel_rpm", COUNTER, PERIOD}


def _named_so(robot: Robot) -> set[str]:
    """The robot's names of what tells how the launcher moves."""
    return {robot.link.fields.get(ours, ours) for ours in _wanted(robot)}


def _what(robot: Robot) -> str:
    return max(_wanted(robot) - {PERIOD})


def _words(ours: str | None) -> str:
    if ours == PERIOD:
        return "time of a turn"
    return BY_WIRE_NAME[ours][0].words if ours is not None and ours in BY_WIRE_NAME else "encoder"


def _unused(health: Health, fields: Sequence[RawField], robot: Robot | None) -> list[str]:
    """What to do about values that most lines name and none can be used of."""
    said: list[str] = []
    two_ways: list[str] = []
    for notice, times in health.notices.items():
        if times < max(_OFTEN * health.good, 3) and not any(words in notice for words in _ONCE):
            continue
        name, _, why = notice.partition(" ")
        if why.startswith(("can be read in two ways", "is no number", "holds several values")):
            two_ways.append(notice)
        elif why.startswith("has the unknown unit"):
            said += unit_remedy(name, why, robot)
        elif why == "is no whole number" or why.endswith("which can't be converted"):
            said += fraction_remedy(name, why, robot)
        elif why == "has not left one turn":
            said.append(
                f"{name} {why}: an angle that starts anew with each turn says no speed. Let the program send the angle"
                " since its start, or the counter."
            )
        elif why.startswith("is in another unit"):
            said += other_setpoint(why, 1.0 if robot is None else robot.link.scale.get("setpoint", 1.0))
        elif notice.startswith(CLOCK) and notice != SECONDS:
            said.append(clock_remedy(notice))
        elif notice == "own rpm by a nominal time":
            said.append(NOMINAL)
        elif why.startswith(_BATTERY_IS):
            said.append(f"{notice.capitalize()} {_BATTERY}")
        elif why.endswith(ANEW):
            said.append(f"{notice}. Between two a shot may be missed.")
        elif why == "out of range" and robot is not None:
            said += out_of_range(name, fields, robot)
        else:
            said += [f"{notice}: {what}" for begins, what in _SO.items() if why.startswith(begins)]
    if two_ways:
        said.append(f"{'; '.join(two_ways)}. {_PLAIN}{_THOUSANDS if any(map(_POINT.search, two_ways)) else ''}")
    return said


_BINARY = "Or it sends binary numbers: let it print text, one line for each set of readings."
_NO_TEXT = "What comes is no text: name a recording of the line, text that a terminal captured, or the robot's port."


def _wrong_speed(fixed_baud: int | None) -> str:
    if fixed_baud is None:
        said = "What comes is no text: look up the baud in the robot's program, then start with --baud N."
        return f"{said} {_BINARY}"
    said = f"What comes is no text: {fixed_baud} baud is not the robot's speed."
    return f"{said} Leave --baud (or baud under [link]) away, and it is found."
