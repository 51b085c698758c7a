"""Shots recognised on the line: the wheel's sudden drop, a draw let go, or the robot's own ``fired``.

Where the robot sends ``fired`` it is believed, but on a noisy line only with the wheel or the draw as witness: one
flipped bit makes a 1 of a 0. One that never said so may not say it at all: its first drops are asked about, and once
there were some, wheel and draw alone tell. One that stays 1 for longer than any announcement is the trigger, or the
feeder: then what wheel or draw do meanwhile are the shots, and not its beginning.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

from fieldtune.constants import RPM
from fieldtune.link.limits import Limits
from fieldtune.link.samples import ShotSeen
from fieldtune.link.shots.drop_detection import Drop, DropDetector

if TYPE_CHECKING:
    from fieldtune.link.samples import Sample
    from fieldtune.robot.drawn import Drawn
    from fieldtune.robot.model import Robot

_UNSAID = 2  # releases seen, of a robot that never said that it fired
_WITNESS_S = 0.15  # a drop this near to ``fired`` is the same shot
_PATIENCE_S = 0.30  # how long ``fired`` waits for its witness
_APART_S = 0.06  # two shots closer than this are one
_RECOVERY_LIMIT_S = 8.0
_RECOVERED = 0.98
_LOOK_S = 0.01
_BLIND_S = 0.1  # of lines that may be missing while it is looked for when the wheel was back
_COCKED_S = 1.5  # how far back a draw counts as cocked
_SNAP_S = 0.12  # a slower fall is a let-down
_ASKED = 40  # instants
_STAYS_S = 10.0  # and longer no trigger is held
_LATE_S = 1.5  # by which a dip is told at the latest
KEPT = 200
STAYS = "fired stays 1"


@dataclass(slots=True)
class _Fired:
    """Lines one after another that say ``fired``, from ``sample`` on, the last so far at ``until_s``."""

    sample: Sample
    noisy: bool
    until_s: float
    shots: int = 0

    def spans(self, time_s: float) -> bool:
        return self.sample.time_s - _WITNESS_S <= time_s <= self.until_s + _WITNESS_S

    @property
    def held(self) -> bool:
        """Whether for longer than a program announces one shot."""
        return self.until_s - self.sample.time_s > _PATIENCE_S


class ReleaseDetector:
    """Sees a striker or arm let go: the draw falls from cocked to slack within a moment, for two lines."""

    def __init__(self, drawn: Drawn) -> None:
        self._least = max(500 * drawn.draw_min, 100 * drawn.draw_max)
        self._recent: deque[Sample] = deque(maxlen=256)

    def clear(self) -> None:
        """Forgets the past."""
        self._recent.clear()

    def see(self, sample: Sample) -> Sample | None:
        """The last cocked sample, on the second slack line after a release."""
        if sample.draw_mm is None:
            return None
        recent = self._recent
        recent.append(sample)
        while sample.time_s - recent[0].time_s > _COCKED_S:
            recent.popleft()
        if len(recent) < 4:
            return None
        draws = [(s, s.draw_mm or 0.0) for s in recent]
        held = max(draw for _, draw in draws)
        if held < self._least or max(draws[-1][1], draws[-2][1]) > 0.35 * held:
            return None
        cocked = [s for s, draw in draws if draw >= 0.97 * held]
        period = (draws[-1][0].time_s - draws[0][0].time_s) / (len(draws) - 1)
        if len(cocked) < 2 or sample.time_s - cocked[-1].time_s > max(_SNAP_S, 3.5 * period):
            return None
        recent.clear()
        return cocked[-1]

    def held_mm(self, at: Sample) -> float | None:
        """The deepest draw in the moment before a sample: what it was let go from."""
        draws = [s.draw_mm for s in self._recent if s.draw_mm is not None and -0.3 <= s.time_s - at.time_s <= 0.0]
        return max(draws, default=at.draw_mm)


class ShotDetector:
    """Streams samples to shots; the answer does not depend on how the samples are batched."""

    def __init__(self, robot: Robot) -> None:
        self.shots: deque[ShotSeen] = deque(maxlen=KEPT)
        """In the order in which they left; numbered as they were told."""
        self._robot = robot
        self._drops, self._draws = robot.launcher.mechanism.by_motion(
            lambda _: (DropDetector(robot), None), lambda drawn: (None, ReleaseDetector(drawn))
        )
        self._pending: deque[_Fired] = deque(maxlen=8)
        self._number = 0
        self._says_fired = self._has_fired = False
        self._unsaid = 0
        self._slowest = Limits.of(robot).slowest_rpm(robot)
        self._levels: deque[_Fired] = deque(maxlen=8)
        self._level: _Fired | None = None
        """Of the lines now, that say it."""
        self._stays = False
        self._was_fired = True  # whoever comes to a line that says 1 didn't see when it became so
        self._asked: deque[float] = deque(maxlen=_ASKED)
        self._looked_s = -math.inf
        self._back, self._blind_s, self._seen_s = 0, 0.0, -math.inf
        self.unconfirmed = 0
        self.unsure: ShotSeen | None = None
        """The last dip that may have been a shot; numbered by itself."""

    @property
    def _last_s(self) -> float:
        return self.shots[-1].time_s if self.shots else -math.inf

    @property
    def notices(self) -> dict[str, int]:
        """What was noticed of shots, and how often."""
        losing = self._drops is not None and self._drops.lost_counts.known
        noticed = {"shot not confirmed": self.unconfirmed, "counts get lost": int(losing), STAYS: int(self._stays)}
        return {words: times for words, times in noticed.items() if times}

    def clear(self) -> None:
        """A break in the line: what is pending is settled with what is known."""
        for fired in self._pending:
            self._settle(fired)
        self._pending.clear()
        self._levels.clear()
        self._level, self._was_fired = None, True
        if self._drops is not None:
            self._drops.clear()
            self._looked_s = math.inf  # when the wheel was back is not known any more
        if self._draws is not None:
            self._draws.clear()

    def begin_anew(self) -> None:
        """What is told of the wheel will be of another kind: nothing learned of it holds, nor its last seconds."""
        if self._drops is not None:
            self._drops = DropDetector(self._robot)
            self._looked_s = math.inf

    def see(
        self, sample: Sample, placed: tuple[float, float, float] | None, tick_s: float, noisy: bool, heard: bool = False
    ) -> None:
        """Takes the next sample; ``placed``, ``heard``: as in ``DropDetector.see``; ``noisy``: lines were refused."""
        fired_now = self._note_fired(sample, noisy)
        if self._drops is not None:
            for drop in self._drops.see(sample, placed, tick_s, bool(self._pending) and not noisy, noisy, heard):
                if drop.sure or self._pending:
                    self._release_seen(drop.at, drop, None, "wheel", noisy)
                elif not self._has_fired:
                    self._ask(drop.at, drop, None)
            self._recover(sample.time_s)
        if self._draws is not None:
            cocked = self._draws.see(sample)
            if cocked is not None:
                self._release_seen(cocked, None, cocked.draw_mm, "wheel", noisy)
        while self._pending and sample.time_s - self._pending[0].sample.time_s > _PATIENCE_S:
            fired = self._pending.popleft()
            if fired is not self._level or not self._sees(fired.sample):
                self._settle(fired)
        while self._levels and sample.time_s - self._levels[0].until_s > _LATE_S:
            self._look_back(self._levels.popleft())
        self._was_fired = fired_now

    def _note_fired(self, sample: Sample, noisy: bool) -> bool:
        if sample.fired is None:
            return self._was_fired and not self._says_fired
        self._says_fired = True
        level, now_s = self._level, sample.time_s
        if not sample.fired:
            self._level = None
        elif level is None:
            self._level = _Fired(sample, noisy, now_s)
            self._levels.append(self._level)
            if not self._was_fired:
                self._pending.append(self._level)
        else:
            level.until_s = now_s
            self._stays = self._stays or (now_s - level.sample.time_s > _STAYS_S and self._sees(sample))
        return sample.fired

    def _sees(self, at: Sample) -> bool:
        """Whether there is anything that could witness a shot."""
        return (self._drops is not None and self._drops.sees) or (self._draws is not None and at.draw_mm is not None)

    def _look_back(self, level: _Fired) -> None:
        """Asks about a level, of a wheel that was up, in which nothing was seen to leave."""
        turned = self._drops is not None and (level.sample.wheel_rpm or 0.0) > self._slowest
        if level.held and not level.shots and turned and level.until_s - level.sample.time_s < _STAYS_S:
            self._ask(level.sample, None, None)

    def _release_seen(
        self, at: Sample, drop: Drop | None, draw_mm: float | None, by: Literal["fired", "wheel"], noisy: bool
    ) -> None:
        """Wheel or draw saw a release: it goes with a pending ``fired``, or stands alone."""
        for fired in self._pending:
            if fired.spans(at.time_s):
                self._pending.remove(fired)
                fired.shots += 1
                began = abs(fired.sample.time_s - at.time_s) <= _WITNESS_S
                self._add(fired.sample if began else at, drop, draw_mm, "fired")
                return
        for level in self._levels:
            if level.held and level.spans(at.time_s):
                level.shots += 1
                self._add(at, drop, draw_mm, "fired")
                return
        if self._says_fired and not noisy:
            if self._has_fired:
                return  # the robot says itself when it fires, and the line is clean: this was something else
            self._unsaid += 1
            if self._unsaid <= _UNSAID:
                self._ask(at, drop, draw_mm)
                return
        if drop is not None and not drop.sure:
            self._ask(at, drop, draw_mm)  # it goes with no ``fired``, and was let in for one
            return
        self._add(at, drop, draw_mm, by)

    def _ask(self, at: Sample, drop: Drop | None, draw_mm: float | None) -> None:
        again = any(abs(at.time_s - asked_s) <= _APART_S for asked_s in self._asked)  # by those that are seen anew
        if at.time_s - self._last_s > _APART_S and not again:
            self._asked.append(at.time_s)
            self.unconfirmed += 1
            self.unsure = self._shot(at, drop, draw_mm, "wheel", self.unconfirmed)

    def _settle(self, fired: _Fired) -> None:
        """``fired`` without a witness counts on a clean line, and where there is nothing that could witness."""
        fired.shots += 1
        if fired.noisy and self._sees(fired.sample):
            self.unconfirmed += 1
            return
        self._add(fired.sample, None, self._draws.held_mm(fired.sample) if self._draws else None, "fired")

    def _add(self, at: Sample, drop: Drop | None, draw_mm: float | None, by: Literal["fired", "wheel"]) -> None:
        if any(abs(at.time_s - shot.time_s) < _APART_S for shot in self.shots):
            return
        self._has_fired = self._has_fired or by == "fired"
        self._number += 1
        newest = at.time_s > self._last_s
        self.shots.append(self._shot(at, drop, draw_mm, by, self._number))
        if newest:
            self._looked_s = at.time_s + (self._drops.half_s if self._drops else 0.0) - _LOOK_S
            self._back, self._blind_s, self._seen_s = 0, 0.0, -math.inf
        else:  # told later than one behind it
            self.shots = deque(sorted(self.shots, key=lambda shot: shot.time_s), maxlen=KEPT)

    def _shot(
        self, at: Sample, drop: Drop | None, draw_mm: float | None, by: Literal["fired", "wheel"], number: int
    ) -> ShotSeen:
        speed = drop.before_rpm if drop else (abs(at.wheel_rpm) if at.wheel_rpm is not None else None)
        return ShotSeen(
            number=number,
            time_s=at.time_s,
            speed_rpm=speed,
            depth_rpm=drop.depth_rpm if drop else None,
            recovery_s=None,
            energy_j=_energy_lost(self._robot, drop) if drop else None,
            setpoint=at.setpoint,
            distance_m=at.distance_m,
            battery_v=at.battery_v,
            draw_mm=draw_mm,
            by=by,
            hood_deg=at.hood_deg,
            arrival_s=at.arrival_s,
        )

    def _recover(self, now_s: float) -> None:
        """Writes the recovery time into the newest shot once the wheel is back, looked up behind the shot.

        Where lines are missing meanwhile it stays unknown: the wheel may have been back long before they went on.
        """
        if self._drops is None or not self.shots:
            return
        last = self.shots[-1]
        if last.recovery_s is not None or last.depth_rpm is None or last.speed_rpm is None:
            return
        half_s = self._drops.half_s
        while (since := self._looked_s + _LOOK_S - last.time_s) < _RECOVERY_LIMIT_S:
            at = last.time_s + since
            if at > now_s - half_s:
                return
            self._looked_s = at
            rpm = self._drops.speed_near(at)
            if rpm is None:
                self._blind_s, self._seen_s = self._blind_s + _LOOK_S, at
            back = rpm is not None and rpm >= _RECOVERED * last.speed_rpm
            if self._blind_s > _BLIND_S + 2 * half_s or (back and at - self._seen_s < 2 * half_s):
                self._looked_s = math.inf
                return
            self._back = self._back + 1 if back else 0
            if self._back == 2:
                self.shots[-1] = replace(last, recovery_s=since - _LOOK_S)
                return


def _energy_lost(robot: Robot, drop: Drop) -> float | None:
    """Energy the wheels lost in a drop, joules; None without an inertia."""
    inertia = robot.turning_inertia
    if inertia is None:
        return None
    before, after = drop.before_rpm * RPM, max(drop.before_rpm - drop.depth_rpm, 0.0) * RPM
    return inertia * (before**2 - after**2) / 2
