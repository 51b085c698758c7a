"""What people type: distances and spots, and how far a shot missed."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from fieldtune import units
from fieldtune.console import words
from fieldtune.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fieldtune.robot.model import Robot

FURTHEST_M = 100.0
EXPECTED = "write 3.2 m, 10 ft, or the name of a spot"


@dataclass(frozen=True, slots=True)
class Distance:
    """How far the target is, and who said so."""

    value_m: float
    source: Literal["typed", "spot", "robot", "step", "asked"]
    words: str


def read_distance(text: str, robot: Robot) -> Distance:
    """A typed distance or spot. A bare number is metres. Raises ``InputError`` saying what is expected."""
    said = text.strip()
    for spot in robot.spots:
        if said and spot.name.casefold() == said.casefold():
            return Distance(spot.distance, "spot", spot.name)
    try:
        bare = re.fullmatch(r"\d+\.?\d*|\.\d+", units.with_point(said, EXPECTED))
        value = float(bare.group()) if bare else units.parse(said, units.LENGTH)
    except InputError as error:
        shown = words.shorten(words.printable(said), 24)
        raise InputError(f"distance {shown!r} can't be read: {EXPECTED}") from error
    if bare and value > FURTHEST_M and value <= 100 * FURTHEST_M:
        raise InputError(f"{value:g} m is too far: did you mean {value:g} cm?")
    if not math.isfinite(value) or not 0 < value <= FURTHEST_M:
        raise InputError(f"distance has to be more than 0 and at most {FURTHEST_M:.0f} m: {EXPECTED}")
    return Distance(value, "typed", "typed")


_WITH_UNIT = r"(\d+(?:\.\d+)?\s*(?:ft|'|mm|m\b)(?:\s*\d+(?:\.\d+)?\s*(?:in|\"))?|\d+(?:\.\d+)?\s*(?:in|\"))"
"""A length with another unit than cm: 5 in, 1 ft 2 in, 40 mm."""


def _centimetres(found: re.Match[str]) -> str:
    return f"{100 * units.parse(found[1], units.LENGTH):.4g} "


def read_miss(text: str) -> tuple[float | None, float | None]:
    """A typed miss in centimetres: ``12`` (long), ``-8`` (short), ``-8 right 5``, ``left 10``; metres returned."""
    said = re.sub(_WITH_UNIT, _centimetres, text.strip().casefold().replace(",", ".")).replace("cm", " ")
    number = r"[+-]?\d+(?:\.\d+)?"
    match = re.fullmatch(rf"(?:(?P<word>short|long|high|low)\s*)?(?P<along>{number})?\s*"
                         rf"(?:(?P<side>left|right)\s*(?P<across>\d+(?:\.\d+)?))?\s*", said)  # fmt: skip
    if match is None or not said or (match["word"] and not match["along"]):
        raise InputError("miss can't be read: write cm, as in 12 (long), -8 (short), or -8 right 5")
    along = side = None
    if match["along"]:
        along = float(match["along"]) / 100
        if match["word"]:
            along = math.copysign(along, -1.0 if match["word"] in ("short", "low") else 1.0)
    if match["across"]:
        side = float(match["across"]) / 100 * (-1 if match["side"] == "left" else 1)
    if max(abs(along or 0.0), abs(side or 0.0)) > 20.0:
        raise InputError("a miss is given in cm, and at most 2000 of them")
    return along, side


_MOST_NAMES = 5


def read_names(text: str, there: Sequence[str]) -> tuple[str, ...]:
    """Typed names of robots; raises ``InputError`` for one that isn't there, for none, and for too many."""
    names = tuple(dict.fromkeys(text.replace(",", " ").split()))
    for name in names:
        if name not in there:
            raise InputError(f"robot {name!r}: not found; there are {', '.join(there)}")
    if not 0 < len(names) <= _MOST_NAMES:
        raise InputError(f"name one to {_MOST_NAMES} robots: {', '.join(there)}")
    return names
