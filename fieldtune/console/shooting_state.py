"""What is being shot: from where, at which target, which shots have no answer yet, and what is recommended.

Plain state without Textual, so that the rules of the screen can be tried headlessly.
"""

from __future__ import annotations

import math
import re
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Literal, Protocol

from fieldtune import units
from fieldtune.console import words
from fieldtune.errors import InputError

if TYPE_CHECKING:
    from fieldtune.aim.results import Aim
    from fieldtune.link.snapshot import Live, ShotSeen
    from fieldtune.records import Result
    from fieldtune.robot.model import Robot, Target

FURTHEST_M = 100.0
EXPECTED = "write 3.2 m, 10 ft, or the name of a spot"


class SeenResult(Protocol):
    """What was seen of a shot."""

    @property
    def result(self) -> Result:
        """How it ended."""
        ...

    @property
    def miss_m(self) -> float | None:
        """How far off, positive long; ``None`` where it didn't get there."""
        ...


@dataclass(frozen=True, slots=True)
class Distance:
    """How far the target is, and who said so."""

    value_m: float
    source: Literal["typed", "spot", "robot", "step"]
    words: str


@dataclass(frozen=True, slots=True)
class UnansweredShot:
    """A shot that was recognised and has no result yet; all that the line knew of it is filled in."""

    number: int
    distance_m: float | None
    setpoint: float | None
    speed: float | None
    battery_v: float | None
    hint: str | None = None


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
    if not math.isfinite(value) or not 0 < value <= FURTHEST_M:
        raise InputError(f"distance has to be more than 0 and at most {FURTHEST_M:.0f} m: {EXPECTED}")
    return Distance(value, "typed", "typed")


def read_miss(text: str) -> tuple[float | None, float | None]:
    """A typed miss in centimetres: ``12`` (long), ``-8`` (short), ``-8 right 5``, ``left 10``; metres returned."""
    said = text.strip().casefold().replace(",", ".").replace("cm", " ")
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


@dataclass(slots=True)
class ShootingState:
    """Everything that a shot taken now would be about. ``live``: the last snapshot of the line."""

    robot: Robot
    live: Live
    target_number: int = 0
    distance: Distance | None = None
    chosen: bool = False
    unanswered: deque[UnansweredShot] = field(default_factory=deque)
    aim: Aim | None = None
    battery_v: float | None = None
    last_seen: int = 0
    last_result: int = 0

    def __post_init__(self) -> None:
        if self.distance is None and self.robot.spots:
            first = self.robot.spots[0]
            self.distance = Distance(first.distance, "spot", first.name)

    @property
    def target(self) -> Target:
        """The target that is being shot at."""
        return self.robot.targets[self.target_number % len(self.robot.targets)]

    def choose(self, distance: Distance) -> None:
        """A person chose a distance: it stays until they choose another or hand back to the robot's reading."""
        self.distance, self.chosen = distance, True

    def follow(self) -> None:
        """Hand back to the robot's own reading; raises ``InputError`` if it sends none."""
        if self.live.distance_m is None:
            raise InputError("the robot sends no distance now: press d and type it, or choose a spot")
        self.chosen = False
        self._read_distance(self.live)

    def step(self, by_m: float) -> None:
        """Nearer or further by a little, kept to whole steps."""
        now = self.distance.value_m if self.distance else 0.0
        wanted = round((now + by_m) / abs(by_m)) * abs(by_m)
        if 0 < wanted <= FURTHEST_M:
            self.choose(Distance(wanted, "step", "by steps"))

    def look(self, live: Live, results: Sequence[SeenResult] = ()) -> None:
        """Take in a snapshot of the line: distance, battery (smoothed to what matters), new shots.

        ``results``: what was seen so far of a simulated robot's shots; a new shot takes the newest unused one.
        """
        self.live = live
        self._read_distance(live)
        battery = live.battery_v
        if battery is None:
            self.battery_v = None
        elif self.battery_v is None or abs(battery - self.battery_v) > 0.15:
            self.battery_v = round(battery, 1)
        if live.shots and live.shots[-1].number < self.last_seen:
            self.last_seen = 0
        for seen in live.shots:
            if seen.number > self.last_seen:
                self.last_seen = seen.number
                self.unanswered.append(self._unanswered(seen, self._result_seen(results)))

    def _read_distance(self, live: Live) -> None:
        if self.chosen or live.distance_m is None:
            return
        now = self.distance
        stays = now is not None and now.source == "robot" and abs(live.distance_m - now.value_m) < 0.01
        if not stays and 0 < live.distance_m <= FURTHEST_M:
            self.distance = Distance(round(live.distance_m, 2), "robot", "robot's reading")

    def _result_seen(self, results: Sequence[SeenResult]) -> str | None:
        if len(results) <= self.last_result:
            return None
        self.last_result = len(results)
        return words.seen_result(results[-1].result, results[-1].miss_m)

    def _unanswered(self, seen: ShotSeen, hint: str | None) -> UnansweredShot:
        distance = self.distance.value_m if self.distance else None
        if seen.distance_m is not None and not self.chosen:
            distance = round(seen.distance_m, 3)
        speed: float | None = getattr(seen, self.robot.launcher.mechanism.measured[1])
        setpoint = seen.setpoint if seen.setpoint is not None else self.recommended
        return UnansweredShot(seen.number, distance, setpoint, speed, seen.battery_v, hint)

    @property
    def aim_holds(self) -> bool:
        """Whether the recommendation is for where the robot stands now, and not for where it stood."""
        if self.aim is None or self.distance is None:
            return False
        return abs(self.aim.distance_m - self.distance.value_m) < 0.02 and self.aim.target == self.target.name

    @property
    def recommended(self) -> float | None:
        """The recommended setpoint, if there is one."""
        return None if self.aim is None else self.aim.setpoint.value

    def to_confirm(self) -> UnansweredShot:
        """The shot a result key is about: the oldest unanswered one, else one taken now and not seen on the line.

        Raises ``InputError`` naming what is missing.
        """
        if self.unanswered:
            shot = self.unanswered[0]
        else:
            held = self.live.setpoint if self.live.setpoint is not None else self.recommended
            distance = self.distance.value_m if self.distance else None
            shot = UnansweredShot(0, distance, held, None, self.battery_v)
        if shot.distance_m is None:
            if self.distance is None:
                raise InputError(f"from where was it? Press d and {EXPECTED}")
            shot = replace(shot, distance_m=self.distance.value_m)
        if shot.setpoint is None:
            raise InputError("the setpoint of that shot isn't known: the line doesn't send it and none is recommended")
        return shot
