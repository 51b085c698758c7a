"""The whole tool without a screen: a robot, its shot log, its line, what the shots taught, and the answers that follow.

The log is the truth; the posterior is derived from all of it whenever it has changed, in this process or another.
"""

from __future__ import annotations

import threading
from collections import Counter
from collections.abc import Sequence
from dataclasses import asdict
from functools import cached_property, partial
from pathlib import Path
from typing import TYPE_CHECKING, Self

from fieldtune import shot_entry
from fieldtune.errors import InputError
from fieldtune.records import Act, Shot
from fieldtune.store import Store, utc_now

if TYPE_CHECKING:
    from fieldtune.aim.angle import AngleSweep
    from fieldtune.aim.draws import Belief
    from fieldtune.aim.error_budget import ErrorBudget, HoldVerdict
    from fieldtune.aim.results import Aim, ArcPicture, Learned, NextShot, Standing, TableRow
    from fieldtune.aim.turn import Pose
    from fieldtune.learn import Posterior
    from fieldtune.learn.hits import Hits
    from fieldtune.learn.measured import Evidence
    from fieldtune.link.recordings.recording_reader import RecordedLine
    from fieldtune.link.recordings.wheel_response import WheelResponse
    from fieldtune.link.samples import LineSnapshots, Live
    from fieldtune.robot.model import Robot
    from fieldtune.setup.encoder_watch import BelievedShots
    from fieldtune.store.store import Clock


class Session:
    """One robot, its ``log``, its ``line`` (None where there is none) and all answers.

    ``store``: path of the SQLite file, an open ``Store``, None to keep the log in memory. With a line, the battery's
    voltage is read from it where none is given. Usable from several threads. Wrong input raises ``FieldtuneError``.
    """

    def __init__(self, robot: Robot, store: Path | str | Store | None = None, clock: Clock = utc_now) -> None:
        self.robot = robot
        self.log = store if isinstance(store, Store) else Store(store, clock)
        self.line: LineSnapshots | None = None
        self._lock = threading.RLock()
        self._learned: tuple[tuple[object, ...], Posterior] | None = None
        self._present: tuple[object, Posterior] | None = None

    @classmethod
    def beside_profile(cls, robot: Robot, home: Path | str | None = None) -> Self:
        """The robot with its own log; ``home`` is the folder of profiles, where it isn't the usual one.

        Before the first thing is kept, a demonstration robot's profile is copied home.
        """
        from fieldtune.robot import claim_profile, is_demo, store_path

        claim = partial(claim_profile, robot, home)
        log = Store(store_path(robot, home), before_writing=claim, made_by_shots_only=is_demo(robot))
        return cls(robot, log)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *exc: object) -> None:
        self.log.close()

    def aim(
        self, distance_m: float | None = None, battery_v: float | None = None, target: str | None = None, *,
        pose: Pose | None = None, moving_mps: float = 0.0, sideways_mps: float = 0.0,
        exit_angle_deg: float | None = None, unread: bool = False,
    ) -> Aim:  # fmt: skip
        """The recommended setpoint at a distance reading, and what goes with it.

        ``pose``: where the robot is on the field, in place of a distance. For a robot in motion: its speed towards the
        target and to the right of that. With neither distance nor pose the line's are taken, with its motion.
        ``exit_angle_deg``: holds the hood at that angle; the best one where None (see ``aim.hood``). ``unread``: as
        before anything is known from the line, the battery's voltage either.
        """
        from fieldtune.aim_notes import Asked, advise

        asked = Asked(distance_m, pose, moving_mps, sideways_mps, exit_angle_deg)
        live = None if self.line is None or unread else self.line.snapshot()
        aimed_at, volts = self.robot.target(target), None if unread else self._volts(battery_v, live)
        return advise(self.robot, aimed_at, self.posterior, asked, live, self.log, volts, self.believed.now()[1])

    def hit_chance(
        self, distance_m: float, setpoint: float, battery_v: float | None = None, target: str | None = None,
        exit_angle_deg: float | None = None,
    ) -> float:  # fmt: skip
        """Hit probability of one setpoint at a distance reading; the hood at an angle, the profile's where None."""
        from fieldtune.aim.recommend import hit_chance

        held = self._checked(distance_m, setpoint, exit_angle_deg)
        return hit_chance(held, held.target(target), self.belief, distance_m, setpoint, self._volts(battery_v))

    def picture(
        self,
        distance_m: float,
        setpoint: float,
        battery_v: float | None = None,
        target: str | None = None,
        exit_angle_deg: float | None = None,
    ) -> ArcPicture:
        """The predicted path of a setpoint, with the band that holds 90 % of shots; hood as in ``hit_chance``."""
        from fieldtune.aim.predicted_path import picture

        held = self._checked(distance_m, setpoint, exit_angle_deg)
        return picture(held, held.target(target), self.belief, distance_m, setpoint, self._volts(battery_v))

    def stand(
        self, setpoint: float, battery_v: float | None = None, target: str | None = None,
        exit_angle_deg: float | None = None,
    ) -> tuple[Standing, ...]:  # fmt: skip
        """Distances from which a setpoint scores, best first; hood as in ``hit_chance``."""
        from fieldtune.aim.stand import stand

        held = self._checked(1.0, setpoint, exit_angle_deg)
        return stand(held, held.target(target), self.belief, setpoint, self._volts(battery_v))

    def table(
        self,
        distances: Sequence[float],
        battery_v: float | None = None,
        target: str | None = None,
        rounded: bool = True,
    ) -> tuple[TableRow, ...]:
        """Recommended setpoints at several distance readings, metres; not ``rounded``: before the robot's step."""
        from fieldtune.aim.hood import hood_table

        for distance in distances:
            shot_entry.check_distance(distance)
        volts = self._volts(battery_v)
        return hood_table(self.robot, self.robot.target(target), self.belief, list(distances), volts, rounded)

    def next(self, target: str | None = None, battery_v: float | None = None) -> NextShot:
        """The distance and setpoint whose shot would teach most, and why."""
        from fieldtune.learn import next_shot

        return next_shot(self.robot, self.posterior, self.robot.target(target), self._volts(battery_v))

    def budget(
        self,
        distance_m: float | None = None,
        battery_v: float | None = None,
        target: str | None = None,
        hold: float | None = None,
    ) -> ErrorBudget:
        """Where the misses come from at a distance reading, at every spot where None, and what to mend first.

        ``hold``: hold error of the wheel as a share of its setpoint, one standard deviation; where None, as the speeds
        measured at release tell.
        """
        from fieldtune.aim.error_budget import error_budget
        from fieldtune.aim.error_causes import KnownErrors
        from fieldtune.aim.places import place_at
        from fieldtune.battery.resistance import open_loop_spread

        aimed_at, volts = self.robot.target(target), self._volts(battery_v)
        at = self.posterior.places(aimed_at) if distance_m is None else (place_at(self.robot, distance_m),)
        errors = KnownErrors(
            hold=self.posterior.hold_error if hold is None else hold, battery=open_loop_spread(self.robot, volts)
        )
        return error_budget(self.robot, aimed_at, self.belief, at, errors, volts)

    def angle(
        self,
        low_deg: float,
        high_deg: float,
        step_deg: float = 1.0,
        battery_v: float | None = None,
        target: str | None = None,
    ) -> AngleSweep:
        """Hit chance over the exit angle, degrees above the horizontal, at the spots; the setpoint anew at each."""
        from fieldtune.aim.angle import angle_sweep

        aimed_at, volts = self.robot.target(target), self._volts(battery_v)
        at = self.posterior.places(aimed_at)
        return angle_sweep(self.robot, aimed_at, self.belief, at, low_deg, high_deg, step_deg, volts)

    def hits(self, by: str = "spot") -> Hits:
        """Hits of shots tried, by "spot", "target", "battery", "batch" or "match", with 95 % intervals of the share."""
        from fieldtune.learn.hits import count_hits

        return count_hits(self.robot, self.log.shots(), self.log.epochs(), by)

    def response(self, recording: Path | str | RecordedLine) -> WheelResponse:
        """How the wheel answers and holds its setpoints, from a recording with steps of the setpoint."""
        from fieldtune.link.recordings.wheel_response import recorded_response

        return recorded_response(self.robot, recording)

    def hold_verdict(self, response: WheelResponse, target: str | None = None) -> HoldVerdict:
        """Whether the wheel holds well enough for the good range at every spot."""
        from fieldtune.aim.error_budget import Held, hold_verdict

        aimed_at, belief, steps = self.robot.target(target), self.belief, [s for s in response.steps if s.settled]
        seen = [Held(s.setpoint, s.steady_error_rpm, s.ripple_rpm) for s in steps if s.steady_error_rpm is not None]
        return hold_verdict(self.robot, aimed_at, belief, self.posterior.places(aimed_at), seen, self._volts(None))

    def learned(self) -> Learned:
        """All that the shots have taught, ready to be shown."""
        return self.posterior.learned()

    @property
    def posterior(self) -> Posterior:
        """What is believed after all shots that count; the profile's own uncertainty before the first."""
        with self._lock:
            state = self.log.version()  # before all that is read: what is written meanwhile is seen the next time
            if self._present is None or self._present[0] != state:
                self._present = state, self._posterior_in(self.log.epoch)
            return self._present[1]

    def _posterior_in(self, epoch: int) -> Posterior:
        from fieldtune.learn import learn, measured

        with self._lock:
            shots = self.believed.now()[0]
            batteries = {one.epoch: one.label for one in self.log.epochs()}
            beside = measured.kept(self.log.marks(), self.log.epochs())
            key = (epoch, beside, *batteries.values(), *(shot for shot in shots if shot.counts))
            if self._learned is None or key != self._learned[0]:
                self._learned = key, learn(self.robot, shots, epoch, batteries=batteries, beside=beside)
            return self._learned[1]

    @cached_property
    def believed(self) -> BelievedShots:
        """The log's shots as learning may use them, judged once."""
        from fieldtune.setup.encoder_watch import BelievedShots

        return BelievedShots(self.robot, self.log)

    @property
    def belief(self) -> Belief:
        """The posterior as weighted draws, for the answers above."""
        return self.posterior.belief

    @property
    def launcher_belief(self) -> Belief:
        """The same for the launcher apart from a battery just put in: in the battery period that most shots tell of."""
        counts = Counter(shot.epoch for shot in self.log.shots() if shot.counts)
        return self._posterior_in(max(counts, key=lambda e: (counts[e], e), default=self.log.epoch)).belief

    # -- the log -----------------------------------------------------------------------------------------------------

    def confirm(
        self,
        distance_m: float,
        setpoint: float,
        result: str | None = None,
        miss_m: float | None = None,
        side_m: float | None = None,
        speed: float | None = None,
        battery_v: float | None = None,
        target: str | None = None,
        *,
        distance_from: str | None = None,
        epoch: int | None = None,
        time: str | None = None,
        seen: str | None = None,
        match: str | None = None,
        batch: str | None = None,
        exit_angle_deg: float | None = None,
    ) -> Shot:
        """Adds a shot to the log and learns from it; when this returns, it is on the disk.

        ``result``: in, short, long, left or right; may be left out where the measured miss says it. Both are kept, also
        where they contradict each other. ``speed``: measured at release, rpm of the wheel or mm of draw. ``epoch`` and
        ``time`` (as the log writes it): the battery period and moment it left in, now where None; ``seen``: uid of the
        unanswered shot that this answers. ``match``, ``batch``: labels, of the match and the lot of elements.
        ``exit_angle_deg``: where the hood stood; what the line says, else the profile's, where None.
        """
        line = None if self.line is None or seen is not None else self.line.snapshot()
        aimed_at, angle = self.robot.target(target), shot_entry.hood_then(self.robot, exit_angle_deg, line)
        volts, held = self._volts(battery_v, line) if seen is None else battery_v, self.robot.with_exit_angle(angle)
        entry = shot_entry.check_entry(held, aimed_at, distance_m, setpoint, result, miss_m, side_m, speed, volts)
        return self.log.add(
            **asdict(entry),
            target=aimed_at.name,
            distance_from=distance_from,
            epoch=epoch,
            time=time,
            seen=seen,
            match=None if match is None else shot_entry.check_words("a match", match, 40),
            batch=None if batch is None else shot_entry.check_words("a batch", batch, 40),
            hood_deg=angle,
        )

    def correct(
        self, shot: Shot | int, result: str | None = None, miss_m: float | None = None, side_m: float | None = None
    ) -> Shot:
        """Corrects a shot's result and misses; what was confirmed first stays in the log under the correction."""
        found = self._not_undone(shot)
        aimed_at, held = self.robot.target(found.target), self.robot.with_exit_angle(found.hood_deg)
        said = (result, miss_m, side_m, found.speed, found.battery_v)
        entry = shot_entry.check_entry(held, aimed_at, found.distance_m, found.setpoint, *said)
        return self.log.correct(found.shot, entry.result, miss_m, side_m)

    def measure(self, evidence: Evidence) -> Evidence:
        """Keeps what was measured beside shots (exit speed or angle, friction) and learns from it."""
        from fieldtune.learn.measured import keep

        return keep(self.robot, self.log, evidence)

    def undo(self) -> Act | None:
        """Undoes the last act (a shot, a correction, a battery change, a leaving out) and says which; None without."""
        return self.log.undo()

    def redo(self) -> Act | None:
        """Does the act again that was undone last and says which; None where something new was done since."""
        return self.log.redo()

    def exclude(self, shot: Shot | int, reason: str) -> Shot:
        """Leaves a shot out of learning, for a reason that is kept with it."""
        return self.log.exclude(self._not_undone(shot).shot, shot_entry.check_words("a reason", reason))

    def include(self, shot: Shot | int) -> Shot:
        """Lets a shot that was left out count again."""
        return self.log.include(self._not_undone(shot).shot)

    def swap(self, label: str | None = None) -> int:
        """Marks a battery change (or a repair): a new battery period, whose number is returned."""
        return self.log.swap(None if label is None else shot_entry.check_words("a label", label))

    def _not_undone(self, shot: Shot | int) -> Shot:
        """A shot of the log that was not undone; looks before writing, which would make a log."""
        found = self.log.shot(shot.shot if isinstance(shot, Shot) else shot)
        if found.undone:
            raise InputError(f"shot {found.shot} was undone and counts no more; if it did happen, confirm it anew")
        return found

    def _checked(self, distance_m: float, setpoint: float, exit_angle_deg: float | None) -> Robot:
        """The robot with its hood held; raises ``InputError`` where one of the figures can't be."""
        shot_entry.check_distance(distance_m)
        shot_entry.check_setpoint(self.robot, setpoint)
        return self.robot.with_exit_angle(exit_angle_deg)

    def _volts(self, given: float | None, live: Live | None = None) -> float | None:
        """The battery's voltage: as given, else as the line says (``live`` where that is known), else unknown."""
        if given is not None:
            shot_entry.check_battery(given)
            return given
        live = self.line.snapshot() if live is None and self.line is not None else live
        return live.battery_v if live is not None and (live.battery_v or 0.0) > 0 else None
