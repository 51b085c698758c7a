"""What is being shot: from where, at which target, which shots have no result yet, and what is recommended.

Plain state without Textual, so that its rules can be tried headlessly.
"""

from __future__ import annotations

import uuid
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from math import inf
from typing import TYPE_CHECKING

from fieldtune.console import words
from fieldtune.console.shot_memory import SeenResult, ShotMemory, ago_s
from fieldtune.console.typed import FURTHEST_M, NO_LABELS, Distance, Labels, expected_distance
from fieldtune.errors import InputError
from fieldtune.frozen import frozen
from fieldtune.records import Result, Shot, UnansweredShot
from fieldtune.shot_entry import contradictions
from fieldtune.store.rows import stamp

if TYPE_CHECKING:
    from fieldtune.aim.results import Aim
    from fieldtune.link.samples import Live, ShotSeen
    from fieldtune.robot.model import Robot, Target

APART_M, APART_SHARE = 0.10, 0.05
"""How far two distances may be from each other and count as the same, metres and share."""
_ASKED_S = 30.0
"""How long it is asked about a dip of the wheel: later nobody remembers."""
_STILL_S = 0.7
"""So soon behind a shot in place of that question no finger has followed yet: yes and no are for the dip."""


@frozen
class Answer:
    """A result that waits for a word: what is odd about it, and the shots it is for.

    ``robot_m``: for each shot the distance that the robot read, where that is another place than the one used.
    """

    doubt: str
    shots: tuple[UnansweredShot, ...]
    result: Result | None
    miss_m: float | None
    side_m: float | None
    robot_m: tuple[float | None, ...] = ()

    @property
    def robot_elsewhere(self) -> bool:
        """Whether the robot read another place for any of them."""
        return any(read is not None for read in self.robot_m)


def apart(one_m: float, other_m: float) -> bool:
    """Whether two distances are not the same place."""
    return abs(one_m - other_m) > max(APART_M, APART_SHARE * min(one_m, other_m))


@dataclass(slots=True)
class ShootingState:
    """Everything that a shot taken now would be about; a shot that was seen keeps what was true when it left.

    ``live``: the last snapshot of the line. ``unanswered``: shots seen that have no result yet, oldest first.
    ``chosen``: the shots that the result keys are for, where a person chose other ones than the newest. ``answer``: a
    result that waits for a word. ``offer``: what lies in a rescue file of the log, in words. ``lesson`` rises whenever
    what is learned may have changed. ``clock`` gives seconds, ``now`` the time of the log.
    """

    robot: Robot
    live: Live
    clock: Callable[[], float]
    now: Callable[[], datetime] = lambda: datetime.now(UTC)
    target_number: int = 0
    distance: Distance | None = None
    held: bool = False
    """Whether a person chose the distance, so that the robot's reading doesn't change it."""
    suggestion: Distance | None = None
    unanswered: list[UnansweredShot] = field(default_factory=list)
    chosen: tuple[UnansweredShot | Shot, ...] = ()
    answer: Answer | None = None
    offer: str | None = None
    epoch: int | None = None
    labels: Labels = NO_LABELS
    aim: Aim | None = None
    aim_lesson: int = 0
    lesson: int = 0
    battery_v: float | None = None
    line_reports_shots: bool = False
    unsure: UnansweredShot | None = None
    """A dip of the wheel that the line alone can't settle: whoever stands by knows whether something was launched."""
    _last_unsure: int = 0
    _unsure_ends_s: float = inf
    speeds_believed: bool = True
    """Whether the encoder's scale is settled, so that a wheel's speed may stand for a setpoint that isn't sent."""
    _last_seen: int = 0
    _last_result: int = 0
    _read_at: float | None = None
    _back_to: tuple[Distance | None, bool] | None = None
    _memory: ShotMemory = field(default_factory=ShotMemory)

    def __post_init__(self) -> None:
        if self.distance is None and self.robot.spots:
            first = self.robot.spots[0]
            self.distance = Distance(first.distance, "spot", first.name)

    @property
    def target(self) -> Target:
        """The target that is being shot at."""
        return self.robot.targets[self.target_number % len(self.robot.targets)]

    def next_target(self) -> None:
        """The next of the robot's targets is shot at from now on."""
        self.target_number = (self.target_number + 1) % len(self.robot.targets)
        self.remember()

    def begin_period(self, epoch: int) -> None:
        """A battery period begins now."""
        self.epoch = epoch
        self.remember()

    # -- the distance ------------------------------------------------------------------------------------------------

    def choose(self, distance: Distance) -> None:
        """A person chose a distance: it stays until they choose another or hand back to the robot's reading."""
        self.distance, self.held, self.suggestion = distance, True, None
        self.remember()

    def follow(self) -> None:
        """Hands back to the robot's own reading; raises ``InputError`` if it sends none."""
        if self.live.distance_m is None:
            raise InputError("the robot sends no distance now: press d and type it, or choose a spot")
        self.held, self.suggestion = False, None
        self._read_distance(self.live)
        self.remember()

    def step(self, by_m: float) -> None:
        """Nearer or further by a little, kept to whole steps."""
        now = self.distance.value_m if self.distance else 0.0
        wanted = round((now + by_m) / abs(by_m)) * abs(by_m)
        if 0 < wanted <= FURTHEST_M:
            self.choose(Distance(wanted, "step", "by steps"))

    def suggest(self, distance: Distance) -> None:
        """Somewhere worth driving to. Where the robot reads its distance that is only said, and its reading is used."""
        if self._back_to is None:
            self._back_to = self.distance, self.held
        if self.live.distance_m is None:
            self.choose(distance)
        else:
            self.follow()
            self.suggestion = distance

    def end_suggestion(self) -> None:
        """What was suggested is over: back to the distance from before."""
        self.suggestion = None
        if self._back_to is not None and self.distance is not None and self.distance.source == "asked":
            self.distance, self.held = self._back_to
        self._back_to = None
        self.remember()

    def _read_distance(self, live: Live) -> None:
        if live.distance_m is None or not 0 < live.distance_m <= FURTHEST_M:
            return
        self._read_at = self.clock()
        now = self.distance
        stays = now is not None and now.source == "robot" and abs(live.distance_m - now.value_m) < 0.01
        if not self.held and not stays:
            self.distance = Distance(round(live.distance_m, 2), "robot", "robot's reading")

    @property
    def reading_age_s(self) -> float | None:
        """How old the robot's reading is that the distance was taken from; None where it comes from somewhere else."""
        if self.distance is None or self.distance.source != "robot" or self._read_at is None:
            return None
        return max(0.0, self.clock() - self._read_at)

    @property
    def reading_apart_m(self) -> float | None:
        """What the robot reads, where the distance in use is another one; else None."""
        read, used = self.live.distance_m, self.distance
        if read is None or used is None or used.source == "robot" or not apart(read, used.value_m):
            return None
        return read

    # -- the line ----------------------------------------------------------------------------------------------------

    def look(self, live: Live, results: Sequence[SeenResult] = ()) -> list[UnansweredShot]:
        """Takes in a snapshot of the line: distance, battery (smoothed to what matters); the shots that are new.

        ``results``: what was seen so far of a simulated robot's shots; a new shot takes the newest unused one.
        """
        self.live, asked = live, self.asks_about_dip
        self._read_distance(live)
        if (battery := live.battery_v) is None:
            self.battery_v = None
        elif self.battery_v is None or abs(battery - self.battery_v) > 0.15:
            self.battery_v = round(battery, 1)
        last = max((seen.number for seen in live.shots), default=self._last_seen)
        if last < self._last_seen:
            self._last_seen = 0
        new = [seen for seen in live.shots if seen.number > self._last_seen]
        found = [self._seen(seen, self._result_seen(results)) for seen in new]
        self._last_seen, self.line_reports_shots = last, self.line_reports_shots or bool(new)
        self.wait(found)
        if live.unsure is not None and live.unsure.number > self._last_unsure:
            self.unsure, self._unsure_ends_s = self._seen(live.unsure, None), inf
        self._last_unsure = 0 if live.unsure is None else live.unsure.number
        if found:
            self._unsure_ends_s = min(self._unsure_ends_s, self.clock() + _STILL_S if asked else -inf)
        if self.unsure is not None and (self.clock() > self._unsure_ends_s or self.age_s(self.unsure) > _ASKED_S):
            self.unsure = None
        self.remember()
        return found

    def settle_unsure(self, *, shot: bool) -> list[UnansweredShot]:
        """Whether the dip asked about was a shot: it waits for its result then, as any that was seen."""
        settled, self.unsure = [self.unsure] if self.unsure is not None and shot else [], None
        self.wait(settled)
        return settled

    def wait(self, shots: Sequence[UnansweredShot]) -> None:
        """Lets shots wait for a result among those that do already."""
        self.unanswered = sorted((*self.unanswered, *shots), key=lambda shot: shot.time)

    @property
    def asks_about_dip(self) -> bool:
        """Whether yes and no are for a dip now: everything else that waits for a word comes first."""
        first = self.unanswered or self.chosen or self.answer or self.offer or self._unsure_ends_s < inf
        return self.unsure is not None and not first

    @property
    def asked_just_now(self) -> bool:
        """Whether it was asked about a dip until a moment ago, and a shot took its place."""
        return self.unsure is not None and self._unsure_ends_s < inf and not (self.chosen or self.answer)

    def remember(self) -> None:
        """Notes what is being shot from now on: a shot may leave before the next look, and is recognised later yet."""
        self._memory.note(self.clock(), self.shot_now())

    def shot_now(self) -> UnansweredShot:
        """A shot that leaves now, as far as it is known without having been seen."""
        live, distance = self.live, self.distance
        read = words.readback(live, self.robot) if self.speeds_believed else None
        held = live.setpoint if live.setpoint is not None else read
        return UnansweredShot(
            uid=str(uuid.uuid4()),
            time=stamp(self.now()),
            distance_m=None if distance is None else distance.value_m,
            distance_from=None if distance is None else distance.source,
            setpoint=held if held else self.recommended,
            speed=None,
            battery_v=self.battery_v,
            target=self.target.name,
            epoch=self.epoch,
            robot_distance_m=live.distance_m,
            hood_deg=words.hood_now(live, self.robot, self.aim),
        )

    def _seen(self, seen: ShotSeen, hint: str | None) -> UnansweredShot:
        ago = ago_s(self.live, seen)
        then = self._memory.at(self.clock() - ago) or self.shot_now()
        read = seen.distance_m if seen.distance_m is not None else then.robot_distance_m
        distance = then.distance_m
        if seen.distance_m is not None and then.distance_from in ("robot", None):
            distance = round(seen.distance_m, 3)
        speed: float | None = getattr(seen, self.robot.launcher.mechanism.measured[1])
        setpoint = seen.setpoint
        if setpoint is None:  # then the wheel's speed is what was shot, not the recommendation
            measured = speed if self.speeds_believed and self.robot.setpoint.unit in ("rpm", "mm") else None
            setpoint = measured if measured is not None else then.setpoint
        return replace(
            then,
            uid=str(uuid.uuid4()),
            time=stamp(self.now() - timedelta(seconds=ago)),
            distance_m=distance,
            distance_from=then.distance_from if then.distance_from is not None else "robot",
            setpoint=setpoint,
            speed=speed,
            battery_v=seen.battery_v,
            robot_distance_m=read,
            hint=hint,
            hood_deg=then.hood_deg if seen.hood_deg is None else words.hood_read(seen.hood_deg, self.robot),
        )

    def _result_seen(self, results: Sequence[SeenResult]) -> str | None:
        if len(results) <= self._last_result:
            return None
        self._last_result = len(results)
        return words.seen_result(results[-1].result, results[-1].miss_m)

    # -- what is recommended, and what a result is for -----------------------------------------------------------------

    @property
    def aim_holds(self) -> bool:
        """Whether the recommendation is for where the robot stands now, and knows all that was learned."""
        if self.aim is None or self.distance is None or self.aim_lesson != self.lesson:
            return False
        return abs(self.aim.distance_m - self.distance.value_m) < 0.02 and self.aim.target == self.target.name

    @property
    def recommended(self) -> float | None:
        """The recommended setpoint, if there is one."""
        return None if self.aim is None else self.aim.setpoint.value

    def asked_about(self) -> tuple[UnansweredShot | Shot, ...]:
        """The shots that a result key is for: those chosen, else the newest without a result; empty where none is."""
        return self.chosen or tuple(self.unanswered[-1:])

    def complete(self, shot: UnansweredShot) -> UnansweredShot:
        """The shot with nothing missing that a result needs; raises ``InputError`` naming what is."""
        if shot.distance_m is None:
            if self.distance is None:
                raise InputError(f"from where was it? Press d and {expected_distance()}")
            shot = replace(shot, distance_m=self.distance.value_m, distance_from=self.distance.source)
        if not shot.setpoint:
            raise InputError("the setpoint of that shot isn't known: the line doesn't send it and none is recommended")
        return shot

    def doubts(
        self, shot: UnansweredShot, result: Result | None, miss_m: float | None, side_m: float | None
    ) -> tuple[list[str], float | None]:
        """What is odd about a result, and what the robot read where that is another place than the distance used."""
        robot, used, read = self.robot, shot.distance_m or 0.0, shot.robot_distance_m
        setpoint, target = shot.setpoint or 0.0, robot.target(shot.target)
        found = words.of_replay(self.live)
        seen = any(shot.uid == other.uid for other in self.unanswered)
        if not seen and self.line_reports_shots and self.live.state == "live":
            found.append("no shot was seen")
        if read is None or not apart(read, used):
            read = None
        else:
            found.append(f"{shot.distance_from} {words.metres(used)}, the robot read {words.metres(read)}")
        # Of a shot that wasn't seen nothing was measured; but a wheel at another speed tells of a wrong setpoint.
        now = shot.speed if seen else words.readback(self.live, robot)
        if now is not None and now > 0.5 * setpoint:
            off = contradictions(robot, target, used, setpoint, None, None, None, now)
            if off and not seen:
                thing = words.what_turns(robot)
                off = (f"{thing} at {words.setpoint(now, robot)}, setpoint {words.setpoint(setpoint, robot)}",)
            found += off
        return [*found, *contradictions(robot, target, used, setpoint, result, miss_m, side_m, None)], read

    def age_s(self, shot: UnansweredShot) -> float:
        """How long ago it left."""
        return max(0.0, (self.now() - datetime.fromisoformat(shot.time)).total_seconds())
