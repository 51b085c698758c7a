"""What people type: distances and spots, and how far a shot missed."""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING, Literal, NamedTuple

from fieldtune import person_units, units
from fieldtune.console import words
from fieldtune.errors import InputError
from fieldtune.frozen import frozen
from fieldtune.shot_entry import check_setpoint, check_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fieldtune.learn.measured import Evidence
    from fieldtune.robot.model import Robot

FURTHEST_M = 100.0


def expected_distance() -> str:
    """How to write a distance."""
    return f"write {_examples()}, or the name of a spot"


def _examples() -> str:
    return "10 ft 6 in, 3.2 m" if person_units.us() else "3.2 m, 10 ft"


class NearMiss(InputError):
    """What was typed can't be, but almost: ``offer`` is what was probably meant."""

    def __init__(self, message: str, offer: str) -> None:
        super().__init__(f"{message}: did you mean {offer}? Enter takes that")
        self.offer = offer


@frozen
class Distance:
    """How far the target is, and who said so."""

    value_m: float
    source: Literal["typed", "spot", "robot", "step", "asked"]
    words: str


def read_distance(text: str, robot: Robot) -> Distance:
    """A typed distance or spot. A bare number is metres, or feet where the person's units are.

    Raises ``InputError`` saying what is expected, ``NearMiss`` with what was probably meant.
    """
    said, expected, bare_unit = text.strip(), expected_distance(), person_units.unit("m")
    for spot in robot.spots:
        if said and spot.name.casefold() == said.casefold():
            return Distance(spot.distance, "spot", spot.name)
    try:
        bare = re.fullmatch(r"\d+\.?\d*|\.\d+", units.with_point(said, expected))
        value = units.parse(f"{bare.group()} {bare_unit}" if bare else said, units.LENGTH)
    except InputError as error:
        shown = words.shorten(words.printable(said), 24)
        raise InputError(f"distance {shown!r} can't be read: {expected}") from error
    if not math.isfinite(value) or not 0 < value <= FURTHEST_M:
        smaller = person_units.unit("cm")
        number = re.fullmatch(r"(\d+\.?\d*|\.\d+)(?:\s*[^\d\s]+)?", units.with_point(said, expected))
        if number is not None and 0 < units.parse(f"{number[1]} {smaller}", units.LENGTH) <= FURTHEST_M:
            raise NearMiss(f"{person_units.amount(value, 'm', figures=4)} is too far", f"{number[1]} {smaller}")
        most = person_units.amount(FURTHEST_M, "m", 0)
        raise InputError(f"distance has to be more than 0 and at most {most}: {expected}")
    return Distance(value, "typed", "typed")


_WITH_UNIT = r"(\d+(?:\.\d+)?\s*(?:ft|'|mm|cm|m\b)(?:\s*\d+(?:\.\d+)?\s*(?:in|\"))?|\d+(?:\.\d+)?\s*(?:in|\"))"
"""A length with its unit: 5 in, 1 ft 2 in, 40 mm."""
_FURTHEST_MISS_M = 20.0


def miss_example(long: str, short: str) -> str:
    """How to write a miss, in the unit of a bare number."""
    numbers = ("5", "-3", "-3 right 2") if person_units.us() else ("12", "-8", "-8 right 5")
    return f"{person_units.unit('cm')}: {numbers[0]} is {long}, {numbers[1]} {short}; with a side: {numbers[2]}"


def read_miss(text: str) -> tuple[float | None, float | None]:
    """A typed miss in centimetres, or inches where the person's units are; metres returned.

    ``12`` is long, ``-8`` short, ``-8 right 5``, ``left 10``; a unit may stand behind each number.
    """
    bare_unit = person_units.unit("cm")
    expected = f"write {bare_unit}, as in {miss_example('long', 'short').partition(': ')[2]}"
    one = units.parse(f"1 {bare_unit}", units.LENGTH)

    def bare(found: re.Match[str]) -> str:
        return f"{units.parse(found[1], units.LENGTH) / one:.6g} "

    said = re.sub(_WITH_UNIT, bare, units.with_point(text.strip().casefold(), expected))
    number = r"[+-]?\d+(?:\.\d+)?"
    match = re.fullmatch(rf"(?:(?P<word>short|long|high|low)\s*)?(?P<along>{number})?\s*"
                         rf"(?:(?P<side>left|right)\s*(?P<across>\d+(?:\.\d+)?))?\s*", said)  # fmt: skip
    if match is None or not said or (match["word"] and not match["along"]):
        raise InputError(f"miss can't be read: {expected}")
    along = side = None
    if match["along"]:
        along = float(match["along"]) * one
        if match["word"]:
            along = math.copysign(along, -1.0 if match["word"] in ("short", "low") else 1.0)
    if match["across"]:
        side = float(match["across"]) * one * (-1 if match["side"] == "left" else 1)
    if max(abs(along or 0.0), abs(side or 0.0)) > _FURTHEST_MISS_M:
        raise InputError(f"a miss is given in {bare_unit}, and at most {_FURTHEST_MISS_M / one:.0f} of them")
    return along, side


class Labels(NamedTuple):
    """Labels of the shots to come: the match, and the batch of elements; None without one."""

    match: str | None = None
    batch: str | None = None

    @property
    def words(self) -> str:
        """As one reads them; empty without any."""
        named = (("match", self.match), ("batch", self.batch))
        return ", ".join(f"{what} {words.printable(label)}" for what, label in named if label is not None)


NO_LABELS = Labels()


def read_labels(text: str) -> Labels:
    """``Q3``, ``Q3, red`` or ``, red``: match and batch; nothing or ``-`` for no labels. Raises ``InputError``."""
    parts = [part.strip() for part in text.split(",")]
    if len(parts) > 2:
        raise InputError("write the match, a comma and the batch, such as Q3, red; - for none")
    named = [part if part not in ("", "-") else None for part in (*parts, "")][:2]
    return Labels(*(None if label is None else check_words("a label", label, 40) for label in named))


MEASURED = "tilt 17 deg, run-out 1.2 m from 2 m/s, or clip 240 fps, 50 cm = 400 px, at 1500: 312,640 335,611 …"
"""How to write what was measured."""
_CLIP = re.compile(
    r"(?P<fps>[\d.]+)\s*fps\s*,\s*(?P<ruler>[^=]+)=\s*(?P<px>[\d.]+)\s*px\s*,\s*at\s+(?P<at>[\d.]+)[^:]*:(?P<points>.*)"
)


def read_measured(text: str, robot: Robot, hood_deg: float | None = None) -> tuple[Evidence, ...]:
    """What was measured beside shots, as typed (``MEASURED``). Raises ``InputError`` saying what is expected.

    ``hood_deg``: where the hood stood.
    """
    from fieldtune.aim.clip import Clip, exit_from_clip, friction_from_run_out, friction_from_tilt, read_points
    from fieldtune.learn.measured import Evidence, check

    kind, _, rest = text.strip().partition(" ")
    try:
        if kind == "tilt":
            found = [Evidence("friction", *friction_from_tilt(units.parse(rest, units.ANGLE)))]
        elif kind == "run-out":
            way, _, speed = rest.partition(" from ")
            slid = friction_from_run_out(units.parse(speed, units.SPEED), units.parse(way, units.LENGTH))
            found = [Evidence("friction", *slid)]
        elif kind == "clip" and (said := _CLIP.fullmatch(rest)) is not None:
            ruler, setpoint = units.parse(said["ruler"].strip(), units.LENGTH), float(said["at"])
            check_setpoint(robot, setpoint)
            clip = Clip(read_points(said["points"]), float(said["fps"]), ruler, float(said["px"]))
            seen = exit_from_clip(robot, clip)
            found = [
                Evidence("exit_speed", seen.speed_mps, seen.speed_sd, setpoint),
                Evidence("exit_angle", seen.angle_deg, seen.angle_sd, hood_deg=hood_deg),
            ]
        else:
            raise InputError(f"write {MEASURED}")
    except ValueError as error:  # of float
        raise InputError(f"write {MEASURED}") from error
    return tuple(check(robot, one) for one in found)


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
