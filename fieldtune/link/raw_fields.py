"""What raw lines hold: names, values and units as the robot prints them, and which of our fields each probably is.

For lines under names of their own: ``remedies`` says what to write into the profile, or what else is wrong.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence

from fieldtune.frozen import frozen
from fieldtune.line_fields import WIRE_NAMES
from fieldtune.link.line_health import advice
from fieldtune.link.mapping import Meaning, Reading, guess, pairs, read_names
from fieldtune.link.samples import Health
from fieldtune.link.wire_values import NotANumberError, value_of

_GARBLED = 0.15  # share of characters that are no text
_COLUMNS_AT_LEAST = 2


@frozen
class RawField:
    """One value of a raw line. ``name``: the robot's own, or ``column 3``; ``unit``: what stands behind, if anything.

    ``ours``: the field that it probably is, None where nothing suggests one; ``scale``: what a bare number is to be
    multiplied by. ``value``: in that field's unit, else as printed; None if it can't be converted, and ``problem`` says
    why.
    """

    name: str
    text: str
    unit: str = ""
    ours: str | None = None
    value: float | None = None
    problem: str = ""
    scale: float = 1.0


def raw_fields(lines: Sequence[str]) -> list[RawField]:
    """The values of the kind of line that comes most often, each of our fields guessed once at most."""
    named = [(line, names) for line in lines if (names := tuple(name for name, _ in pairs(line)))]
    if named:
        shape = Counter(names for _, names in named).most_common(1)[0][0]
        lines = [line for line, names in named if names == shape]
    seen = read_names(lines)
    if seen.columns and len(seen.readings) < _COLUMNS_AT_LEAST:
        return []
    meanings = guess(seen)
    return [_field(reading, meanings.get(reading.name)) for reading in seen.readings]


def _field(reading: Reading, meaning: Meaning | None) -> RawField:
    name, text = reading.name, reading.texts[-1]
    ours = name if name in WIRE_NAMES else None if meaning is None else meaning.ours
    scale = 1.0 if meaning is None or ours == name or reading.behind else meaning.scale
    try:
        return RawField(name, text, reading.behind, ours, float(value_of(text, ours or name)) * scale, "", scale)
    except NotANumberError as error:
        return RawField(name, text, reading.behind, ours, None, str(error))


def profile_lines(fields: Sequence[RawField]) -> list[str]:
    """What to paste into the profile so that these fields are read; empty where nothing is known of them."""
    if fields and all(field.name.startswith("column ") for field in fields):
        order = ", ".join(f'"{field.ours or "-"}"' for field in fields)
        return ["[link.columns]", f"order = [{order}]"]
    ours = [field for field in fields if field.ours and field.ours != field.name and not field.problem]
    said = ["[link.fields]", *(f'{field.ours} = "{_quoted(field.name)}"' for field in ours)] if ours else []
    scaled = [f"{field.ours} = {field.scale:.6g}" for field in ours if field.scale != 1.0]
    return [*said, "[link.scale]", *scaled] if scaled else said


def _quoted(name: str) -> str:
    return name.replace("\\", "\\\\").replace('"', '\\"')


_SHOW_ONE = "Let the robot print name=value pairs, such as wheel_rpm=2450,battery_v=12.3 (README, The serial line)."


def remedies(health: Health, lines: Sequence[str], fixed_baud: int | None = None) -> list[str]:
    """What to do about refused lines; where hardly any can be used, the exact lines to paste into the profile, last.

    ``lines``: raw lines made harmless, as ``Monitor.recent_lines`` gives them; ``fixed_baud``: the speed, if it was
    named and not found.
    """
    if not health.dropped or 10 * health.good > health.lines:
        return advice(health)
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
