"""What raw lines hold: names, values and units as the robot prints them, and which of our fields each probably is.

For lines under names of their own: ``remedies`` says what to write into the profile, or what else is wrong.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from fieldtune.line_fields import BY_WIRE_NAME, COUNTER, FIRED, WIRE_NAMES
from fieldtune.link.samples import Health
from fieldtune.link.wire_values import NotANumberError, value_of

_PAIR = re.compile(
    r"([A-Za-z_][A-Za-z0-9_ .-]{0,39}?)[\"']?[ \t]*[=:][ \t]*[\"']?"
    r"([+-]?(?:\d[\d.,']*(?: \d{3}(?!\d))*|\.\d+)[A-Za-z%°]{0,8})"
)
_WITH_UNIT = re.compile(r"([+-]?[\d.,']+)(?:[ \t]*([A-Za-z%°/]{1,8})(?![A-Za-z0-9_])(?![ \t\"']*[=:]))?")
_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?\Z")
_GARBLED = 0.15  # share of characters that are no text
_COLUMNS_AT_LEAST = 2
_VOLTS, _METRES = 100.0, 50.0  # beyond these a bare number is of the thousandths

# In order: what a name has in it, and our field; {} takes the one that fits the value's size.
_WORDS: tuple[tuple[str, str], ...] = (
    (r"set ?point|target ?(rpm|speed|vel)|goal|wanted|desired|\bref", "setpoint"),
    (r"fired|shot\b|launched", FIRED),
    (r"batt|vbat|volt|pack\b", "battery"),
    (r"current|amps?\b", "current"),
    (r"dist|range\b|lidar|sonar", "distance"),
    (r"(counts?|ticks?|enc(oder)?|position)\b", COUNTER),
    (r"wheel ?2|second|lower|bottom", "wheel2_rpm"),
    (r"rpm|vel|speed|wheel|omega|rev", "wheel_rpm"),
    (r"draw|pull", "draw_mm"),
    (r"hood|exit ?angle", "hood_deg"),
    (r"turret", "turret_deg"),
    (r"power|duty|pwm|output", "power_pct"),
    (r"micros|\bt ?us\b|time ?us", "t_us"),
    (r"millis|\bt ?ms\b|time|clock|\bms\b", "t_ms"),
)


@dataclass(frozen=True, slots=True)
class RawField:
    """One value of a raw line. ``name``: the robot's own, or ``column 3``; ``unit``: what stands behind, if anything.

    ``ours``: the field that it probably is, None where nothing suggests one. ``value``: in that field's unit, else as
    printed; None if it can't be converted, and ``problem`` says why.
    """

    name: str
    text: str
    unit: str = ""
    ours: str | None = None
    value: float | None = None
    problem: str = ""


def raw_fields(lines: Sequence[str]) -> list[RawField]:
    """The values of the kind of line that comes most often, each of our fields guessed once at most."""
    named = [found for line in lines if (found := _pairs(line))]
    if named:
        shape = Counter(tuple(name for name, _ in found) for found in named).most_common(1)[0][0]
        pairs = next(found for found in reversed(named) if tuple(name for name, _ in found) == shape)
        return _guessed(pairs)
    rows = [cells for line in lines if len(cells := re.split(r"[\s,;]+", line.strip(" \t,;"))) >= _COLUMNS_AT_LEAST]
    rows = [cells for cells in rows if all(_NUMBER.match(cell) for cell in cells)]
    return [RawField(f"column {i + 1}", cell, value=float(cell)) for i, cell in enumerate(rows[-1])] if rows else []


def _pairs(line: str) -> list[tuple[str, str]]:
    found: dict[str, str] = {}
    for match in _PAIR.finditer(line):
        text = _WITH_UNIT.match(line, match.start(2))
        found.setdefault(match.group(1).strip(), (text.group() if text else match.group(2)).strip(" ,;'"))
    return list(found.items())


def _guessed(pairs: Sequence[tuple[str, str]]) -> list[RawField]:
    found, taken = [], {name for name, _ in pairs if name in WIRE_NAMES}
    for name, text in pairs:
        unit = (match.group(2) if (match := _WITH_UNIT.match(text)) else "") or ""
        ours = name if name in WIRE_NAMES else _guess(name, text, unit)
        if ours in taken and ours != name:
            ours = None
        taken.add(ours or "")
        try:
            value, problem = float(value_of(text, ours or name)), ""
        except NotANumberError as error:
            value, problem = None, str(error)
        found.append(RawField(name, text, unit, ours, value, problem))
    return found


def _guess(name: str, text: str, unit: str) -> str | None:
    plain = re.sub(r"[_\W]+", " ", re.sub(r"(?<=[a-z])(?=[A-Z])", " ", name)).casefold()
    ours = next((ours for words, ours in _WORDS if re.search(words, plain)), None)
    if ours in ("battery", "current", "distance"):
        large = {"battery": _VOLTS, "current": _VOLTS, "distance": _METRES}[ours]
        number = re.match(r"[+-]?[\d.]+", text)
        milli = not unit and number is not None and _NUMBER.match(number.group()) and abs(float(number.group())) > large
        small, whole = {"battery": ("mv", "v"), "current": ("ma", "a"), "distance": ("mm", "m")}[ours]
        ours = f"{ours}_{small if milli else whole}"
    return ours if ours is None or ours in BY_WIRE_NAME or ours in WIRE_NAMES else None


def profile_lines(fields: Sequence[RawField]) -> list[str]:
    """What to paste into the profile so that these fields are read; empty where nothing is known of them."""
    if fields and all(field.name.startswith("column ") for field in fields):
        order = ", ".join(f'"{field.ours or "-"}"' for field in fields)
        return ["[link.columns]", f"order = [{order}]"]
    ours = [field for field in fields if field.ours and field.ours != field.name and not field.problem]
    return ["[link.fields]", *(f'{field.ours} = "{_quoted(field.name)}"' for field in ours)] if ours else []


def _quoted(name: str) -> str:
    return name.replace("\\", "\\\\").replace('"', '\\"')


_SHOW_ONE = "Let the robot print name=value pairs, such as wheel_rpm=2450,battery_v=12.3 (README, The serial line)."


def remedies(health: Health, lines: Sequence[str], fixed_baud: int | None = None) -> list[str]:
    """What to do where no line, or no more than one in ten, can be used: lines of text, the exact ones to paste last.

    ``lines``: raw lines made harmless, as ``Monitor.recent_lines`` gives them; ``fixed_baud``: the speed, if it was
    named and not found.
    """
    if not health.dropped or 10 * health.good > health.lines:
        return []
    texts = [re.sub(r"   \[[a-z -]+\]\Z", "", line) for line in lines]
    cause = max(health.dropped, key=lambda name: health.dropped[name])
    letters = "".join(texts)
    if letters and letters.count("·") > _GARBLED * len(letters) and cause != "checksum":
        return [_wrong_speed(fixed_baud)]
    if cause == "checksum":
        return [
            "The two hex digits behind * are the XOR of the bytes between $ and *; without them nothing is checked."
        ]
    if cause == "unchecked":
        return ['The profile asks for checksums ([link] checksum = "required"), and these lines have none.']
    aside = [notice for notice in health.notices if " is nan" in notice or " is inf" in notice or "unit" in notice]
    if cause in ("non-finite", "unusable value") and aside:
        return [f"The robot sends a value that can't be used: {'; '.join(sorted(aside))}. Mend it in its program."]
    fields = raw_fields(texts)
    pasted = profile_lines(fields)
    if not fields:
        return [_SHOW_ONE]
    seen = ", ".join(f"{field.name} ({field.text})" for field in fields[:8])
    problems = [f"{field.name} {field.problem}" for field in fields if field.problem]
    said = [f"The line says: {seen}."]
    said += [f"Can't be used as it is: {'; '.join(problems)}."] if problems else []
    if not pasted:
        return [*said, _SHOW_ONE]
    if pasted[0] == "[link.columns]":
        return [*said, 'Put a field\'s name for each "-" that matters into the profile:', *pasted]
    return [*said, "Paste into the profile, after a look whether each is what it seems:", *pasted]


def _wrong_speed(fixed_baud: int | None) -> str:
    if fixed_baud is None:
        return "What comes is no text at any usual speed: look up the baud in the robot's program, then --baud N."
    return f"What comes is no text: {fixed_baud} baud is not the robot's speed. Leave --baud away and it is found."
