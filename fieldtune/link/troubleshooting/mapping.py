"""Whose name is whose: what a robot's raw lines carry, which of our fields each is likely to be, in which unit.

A person may change each guess. A unit of the robot's becomes one of our fields (battery_v, battery_mv) and a factor.
"""

from __future__ import annotations

import math
import re
import statistics
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import TYPE_CHECKING

from fieldtune.frozen import frozen
from fieldtune.link.text.wire_numbers import is_known
from fieldtune.link.text.wire_values import UNREADABLE, names_in_json
from fieldtune.link.troubleshooting.robot_units import robot_unit

if TYPE_CHECKING:
    from fieldtune.robot.model import Robot

_RPM = 30 / math.pi


@frozen
class Meaning:
    """What a name on the line may stand for: our field ``ours``, the robot's ``unit``, and the factor to our unit."""

    words: str
    unit: str
    ours: str
    scale: float = 1.0

    @property
    def told(self) -> str:
        """``wheel speed in rad/s``."""
        return f"{self.words} in {self.unit}" if self.unit else self.words


def _meanings(words: str, *units: tuple[str, str, float]) -> tuple[Meaning, ...]:
    return tuple(Meaning(words, unit, ours, scale) for unit, ours, scale in units)


_SPEEDS = (("rpm", 1.0), ("rad/s", _RPM), ("turns/s", 60.0), ("deg/s", 1 / 6))
MEANINGS: Mapping[str, tuple[Meaning, ...]] = {
    "time": _meanings("robot's clock", ("ms", "t_ms", 1.0), ("µs", "t_us", 1.0)),
    "counts": _meanings("encoder", ("counts", "wheel_counts", 1.0)),
    "speed": _meanings("wheel speed", *((unit, "wheel_rpm", scale) for unit, scale in _SPEEDS)),
    "speed2": _meanings("second wheel's speed", *((unit, "wheel2_rpm", scale) for unit, scale in _SPEEDS)),
    "setpoint": _meanings("setpoint", ("its unit", "setpoint", 1.0), ("rad/s", "setpoint", _RPM),
                          ("turns/s", "setpoint", 60.0), ("share 0 to 1", "setpoint", 100.0), ("cm", "setpoint", 10.0)),
    "battery": _meanings("battery", ("V", "battery_v", 1.0), ("mV", "battery_mv", 1.0), ("0.1 V", "battery_v", 0.1)),
    "current": _meanings("current", ("A", "current_a", 1.0), ("mA", "current_ma", 1.0)),
    "distance": _meanings("distance to the target", ("m", "distance_m", 1.0), ("mm", "distance_mm", 1.0),
                          ("cm", "distance_m", 0.01), ("in", "distance_m", 0.0254), ("ft", "distance_m", 0.3048)),
    "power": _meanings("drive power", ("%", "power_pct", 1.0), ("share 0 to 1", "power_pct", 100.0),
                       ("of 255", "power_pct", 100 / 255)),
    "draw": _meanings("draw", ("mm", "draw_mm", 1.0), ("cm", "draw_mm", 10.0), ("in", "draw_mm", 25.4)),
    "fired": _meanings("shot leaves", ("0 or 1", "fired", 1.0)),
    "hood": _meanings("exit angle now", ("deg", "hood_deg", 1.0), ("rad", "hood_deg", 180 / math.pi)),
    "turret": _meanings("turn of the launcher", ("deg", "turret_deg", 1.0), ("rad", "turret_deg", 180 / math.pi)),
}  # fmt: skip
"""By kind of reading, its units, the usual one first."""

_HINTS: tuple[tuple[str, str], ...] = (
    ("", r"(^|_)(err|error|diff|delta|max|min|limit|peak|prev|last|old)(_|$)"),
    ("time", r"^(t|ts|time|timestamp|clock|millis|micros|ms|us|uptime|now)(_?(ms|us|s|millis|micros))?$"),
    ("speed2", r"(wheel|fly|rpm|speed|vel|top|upper|right|shooter)_?\w*(2|b|top|upper|right)$|^(rpm|speed|vel)2$"),
    (
        "setpoint",
        r"set_?p|target_?(rpm|rps|speed|vel|power|pos|draw)|^target$|goal|wanted|desired"
        r"|^(set|cmd|ref|sp|tgt|des)_?(rpm|rps|speed|vel\w*)?$|_(set|cmd|ref|sp|tgt|target)$",
    ),
    ("speed", r"(^|_)(c|counts?|ticks?|pulses?)_?p(er)?_?(\d+_?ms|s(ec\w*)?)$"),
    ("battery", r"batt?|volt|^m?v(in|bus|cc)?$|^bus|^u$"),
    ("current", r"curr(?!\w*(rpm|rps|speed|vel))|amp|^i(_?m?a)?$"),
    ("distance", r"dist|range|^d$|ultra|lidar|tof"),
    ("power", r"power|pwm|duty|output|throttle|^out$|^pwr"),
    ("draw", r"draw|pull|stretch|cock|plunger"),
    ("fired", r"fired?(_|$)|shots?(_|$)|shoot(?!er)|launch(?!er)|release|trigger"),
    ("hood", r"hood|^angle$|pitch|elev"),
    ("turret", r"turret|yaw"),
    ("counts", r"count|enc|tick|pulse|^pos(ition)?$"),
    ("speed", r"rpm|speed|vel|omega|^w(heel)?\d?$|fly|wheel|rps|^n$"),
)
"""Words in the names that people give, tried in this order (common practice); none: no reading of the moment."""
_BY_UNIT = (("speed", "wheel_rpm"), ("battery", "battery_v"))
"""Kinds that a unit behind the number tells where the name says nothing, as in another language."""
_UNITS: tuple[tuple[str, str], ...] = (
    ("ms", r"(_|\b)m(illi)?s(ec)?$|millis"), ("µs", r"(_|\b)us$|micros"), ("mV", r"mv$|millivolt"),
    ("mA", r"ma$|milliamp"), ("mm", r"mm$"), ("cm", r"cm$"), ("in", r"(_|\b)in(ch(es)?)?$"),
    ("ft", r"(_|\b)(ft|feet)$"), ("m", r"_m$"), ("rad/s", r"rad_?(s|ps|per_?s\w*)?$|omega"),
    ("turns/s", r"rps$|rev_?s$|turns_?s$"), ("rpm", r"rpm"), ("deg/s", r"deg_?(s|ps)$"), ("%", r"pct$|percent"),
    ("rad", r"rad$"), ("deg", r"deg$"), ("V", r"(_|\b)v$"), ("A", r"(_|\b)a(mps?)?$"),
)  # fmt: skip


@dataclass(slots=True)
class Reading:
    """A name on the line, or a column's number, with what came under it lately."""

    name: str
    texts: list[str] = field(default_factory=list)

    @property
    def numbers(self) -> list[float]:
        """Those that are finite numbers."""
        found = []
        for text in self.texts:
            match = _NUMBER.match(text)
            if match is not None and math.isfinite(float(match.group())):
                found.append(float(match.group()))
            elif text.casefold() in ("true", "false"):
                found.append(float(text.casefold() == "true"))
        return found

    @property
    def label(self) -> str:
        """What the robot calls it: of a column, the name in a row of column names; empty where there is none."""
        return self.name.partition(" (")[2].rstrip(")") if self.name.startswith("column ") else self.name

    @property
    def behind(self) -> str:
        """The unit that stands behind its number on the line; empty where none does."""
        match = _WITH_UNIT.fullmatch(self.texts[-1].strip()) if self.texts else None
        return match[2] or "" if match else ""


@frozen
class Seen:
    """What raw lines carry. ``columns``: bare numbers, told apart by their place, so that their order matters."""

    readings: tuple[Reading, ...]
    columns: bool


_FIGURE = r"[+-]?(?:\d+(?:[.,']\d+)*\.?(?: \d{3}(?!\d))*(?:(?<= \d{3}),\d+)?|\.\d+)(?:[eE][+-]?\d+)?"
_PAIR = re.compile(
    rf"([A-Za-z_][A-Za-z0-9_ .-]{{0,39}}?)[\"']?[ \t]*[=:][ \t]*[\"']?"
    rf"({_FIGURE}(?!\d|[-:]\d)[A-Za-z%°]{{0,8}}|(?i:true|false)\b)"
)
_WITH_UNIT = re.compile(
    rf"({_FIGURE})(?:(?![ \t]{{2,}}[A-Za-z]\w* [A-Za-z])[ \t]*([A-Za-z%°/]{{1,8}})(?![A-Za-z0-9_])(?![ \t\"']*[=:]))?"
)
_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?")
_KEPT = 60
_PLAYS_FROM_M = 0.2, 15.0
_PAIR_WORDS = r"left|right|upper|lower|top|bottom|front|back|rear|inner|outer|[12ablr]"
_ONE_OF_TWO = re.compile(rf"(?:^|(?<=[_ .-]))(?:{_PAIR_WORDS})(?=$|[_ .-])|(?<=[a-z])[12]$")


_COLUMN_NAME = re.compile(r"[A-Za-z_][\w.]*")
_COLOUR = re.compile(r"·\[[0-9;?]*[A-Za-z]")


def uncoloured(line: str) -> str:
    """A raw line made harmless, without what is left of a terminal's colours."""
    return _COLOUR.sub("", line)


def read_names(lines: Iterable[str]) -> Seen:
    """The names, or columns, that the lines carry, in the order in which they come; empty where they say nothing."""
    named: dict[str, Reading] = {}
    columns: list[Reading] = []
    header: list[str] = []
    lines = list(lines)
    for line in map(uncoloured, lines[:1] + lines[1:][-_KEPT:]):  # the first may be a row of column names
        text = re.sub(r"\*[0-9A-Fa-f]{2}\s*$", "", line.strip().rpartition("$")[2])
        cells = [cell for cell in re.split(r"[,;\t ]+", text.strip().strip("[]()")) if cell]
        if cells and all(_NUMBER.fullmatch(cell) for cell in cells):
            columns += [Reading(f"column {number + 1}") for number in range(len(columns), len(cells))]
            for reading, cell in zip(columns, cells, strict=False):
                reading.texts.append(cell)
            continue
        if len(cells) > 1 and all(map(_COLUMN_NAME.fullmatch, cells)):
            header = cells
        for name, value in pairs(text):
            named.setdefault(name, Reading(name)).texts.append(value)
    if columns and not named:
        if len(header) == len(columns):
            for reading, name in zip(columns, header, strict=True):
                reading.name += f" ({name})"
        return Seen(tuple(columns), True)
    return Seen(tuple(one for one in named.values() if one.numbers), False)


def pairs(text: str) -> list[tuple[str, str]]:
    """Names and values of one line, each name once; a value with the unit that stands behind it."""
    found: dict[str, str] = {}
    if text[:1] == "{" and ("{" in text[1:] or "[" in text):
        try:
            said = ((name, str(value)) for name, value in names_in_json(text.encode()).items())
            return [pair for pair in said if "".join(pair).isprintable()]  # escapes in JSON become what they stand for
        except UNREADABLE:
            pass
    at = 0
    while match := _PAIR.search(text, at):
        with_unit = _WITH_UNIT.match(text, match.start(2))
        value, at = (with_unit.group(), max(match.end(), with_unit.end())) if with_unit else (match[2], match.end())
        found.setdefault(match[1].strip(), value.strip(" ,;'"))
    return list(found.items())


def guess(seen: Seen, robot: Robot | None = None) -> dict[str, Meaning]:
    """The likeliest meaning of each name, by its words and its numbers; names that say nothing are left out.

    No field is given twice: the first name that fits has it.
    """
    taken: set[str] = set()
    found: dict[str, Meaning] = {}
    speed: str | None = None
    for reading in seen.readings:
        kind = _kind_of(reading, seen)
        if kind is None or _in_another_unit(reading, kind):
            continue
        if kind == "speed" and speed is not None and _ONE_OF_TWO.sub("", speed) == _ONE_OF_TWO.sub("", reading.label):
            kind = "speed2"
        speed = reading.label if kind == "speed" and speed is None else speed
        meaning = _in_unit(reading, kind, robot)
        what = "t" if meaning.ours in ("t_ms", "t_us") else meaning.words
        if what not in taken:
            taken.add(what)
            found[reading.name] = meaning
    return found


def names_unit(name: str) -> bool:
    """Whether a name says the unit of its values, as ``wheel_rps`` does."""
    return any(re.search(words, name.casefold()) for _, words in _UNITS)


def _in_another_unit(reading: Reading, kind: str) -> bool:
    """Whether a name says a unit that readings of this kind don't have: a share of a speed, a counter's degrees."""
    named = {unit for unit, words in _UNITS if re.search(words, reading.label.casefold().replace(" ", "_"))}
    return bool(named & {"%", "deg", "rad"}) and not named & {one.unit for one in MEANINGS[kind]}


def _kind_of(reading: Reading, seen: Seen) -> str | None:
    name = re.sub(r"(?<=[a-z])(?=[A-Z])", "_", reading.label).casefold()
    name = re.sub(r"[ .-]", "_", name)
    numbers = reading.numbers
    steps = [after - before for before, after in pairwise(numbers)]
    if name:
        by_unit = next((kind for kind, ours in _BY_UNIT if reading.behind and is_known(reading.behind, ours)), None)
        if by_unit is not None and not any(re.search(words, name) for _, words in _HINTS):
            return by_unit
        kinds = (kind for kind, words in _HINTS if re.search(words, name))
        kind = next((kind for kind in kinds if kind != "fired" or set(numbers) <= {0.0, 1.0}), None)
        return kind or None
    if reading is seen.readings[0] and len(steps) > 3 and min(steps) > 0 and max(steps) < 20 * statistics.median(steps):
        return "time"
    return None


def _in_unit(reading: Reading, kind: str, robot: Robot | None) -> Meaning:
    options, name = MEANINGS[kind], reading.label.casefold().replace(" ", "_")
    by_robot = robot_unit(reading.behind or name, robot) if robot is not None and kind in ("speed", "speed2") else None
    if by_robot is not None:
        return Meaning(options[0].words, by_robot.unit, options[0].ours, by_robot.rpm)
    behind = next((one for one in options if reading.behind and one.unit.casefold() == reading.behind.casefold()), None)
    if behind is not None:
        return behind
    named = {unit for unit, words in _UNITS if re.search(words, name)}
    by_name = next((one for one in options if one.unit in named), None)
    if by_name is not None:
        return by_name
    sizes = sorted(abs(number) for number in reading.numbers)
    size = sizes[(9 * len(sizes)) // 10] if sizes else 0.0
    fits = [one for one in options if _plausible(kind, size * one.scale, one, robot)]
    return fits[0] if fits else options[0]


def _plays_from(robot: Robot) -> tuple[float, float]:
    """Distances (m) at which a robot may stand, with room on either side."""
    places = [*(spot.distance for spot in robot.spots), *(robot.field_range or ())]
    return (0.4 * min(places), 2.5 * max(places)) if places else _PLAYS_FROM_M


def _plausible(kind: str, size: float, meaning: Meaning, robot: Robot | None) -> bool:
    """Whether a reading of that size, in our field's unit, is one that robots have."""
    if kind == "battery":
        return 3 <= (size / 1000 if meaning.ours == "battery_mv" else size) <= 60
    if kind == "distance":
        nearest, farthest = _PLAYS_FROM_M if robot is None else _plays_from(robot)
        return nearest <= (size / 1000 if meaning.ours == "distance_mm" else size) <= farthest
    if kind == "current":
        return (size / 1000 if meaning.ours == "current_ma" else size) <= 300
    if kind == "power":
        return size <= 101 and (size > 1.5 if meaning.scale == 1.0 else meaning.unit == "share 0 to 1" or size > 5)
    if kind in ("speed", "speed2") or (kind == "setpoint" and robot is not None):
        high = 6000.0 if robot is None else robot.setpoint.high
        return 0.12 * high <= size <= 1.3 * high
    return True


def as_profile(mapping: Mapping[str, Meaning], seen: Seen) -> dict[str, object]:
    """Keys of the profile, by their paths, that make the line read so; the value None takes a key out.

    Names that are ours already need no key, and a number with its unit behind it is converted where it is read.
    """
    bare = {
        reading.name
        for reading in seen.readings
        if reading.name in mapping and not (reading.behind and is_known(reading.behind, mapping[reading.name].ours))
    }
    keys: dict[str, object] = {}
    if seen.columns:
        order = [mapping[one.name].ours if one.name in mapping else "-" for one in seen.readings]
        keys["link.columns.order"] = order
    else:
        keys |= {f"link.fields.{one.ours}": name for name, one in mapping.items() if one.ours != name}
    keys |= {
        f"link.scale.{one.ours}": float(f"{one.scale:.6g}")
        for name, one in mapping.items()
        if one.scale != 1.0 and name in bare
    }
    return keys


def would_have_to_print(names: Sequence[str]) -> str:
    """A line that this program reads without any mapping, with these of our fields."""
    numbers = {
        "t_ms": 123450,
        "wheel_counts": 8812345,
        "battery_mv": 12345,
        "setpoint": 1400,
        "draw_mm": 31,
        "fired": 0,
    }
    return ",".join(f"{name}={numbers.get(name, 0)}" for name in names)
