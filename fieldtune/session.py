"""The whole tool without a screen: a robot, its shot log, what the shots taught, and the answers that follow.

The log is the truth; the posterior is derived from all of it whenever it has changed, in this process or another.
"""

from __future__ import annotations

import math
import threading
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from fieldtune import shot_entry
from fieldtune.shot_log import Logbook
from fieldtune.store import Store, utc_now
from fieldtune.store.store import Clock

if TYPE_CHECKING:
    from fieldtune.aim.draws import Belief
    from fieldtune.aim.results import Aim, ArcPicture, Learned, NextShot, Standing, TableRow
    from fieldtune.learn import Posterior
    from fieldtune.robot.model import Robot


class Session(Logbook):
    """One robot, its log, and all answers. ``store``: path of the SQLite file, an open ``Store``, None for memory.

    May be used from several threads. Every method raises a ``FieldtuneError`` with one line for wrong input.
    """

    def __init__(self, robot: Robot, store: Path | str | Store | None = None, clock: Clock = utc_now) -> None:
        super().__init__(robot, store, clock)
        self._lock = threading.RLock()
        self._learned_from: tuple[object, ...] | None = None
        self._posterior: Posterior | None = None

    def aim(self, distance_m: float, battery_v: float | None = None, target: str | None = None) -> Aim:
        """The recommended setpoint at a distance reading, and what goes with it."""
        from fieldtune.aim.recommend import recommend
        from fieldtune.aim_notes import with_caveats

        shot_entry.check_distance(distance_m)
        volts = self._battery(battery_v)
        aim = recommend(self.robot, self.robot.target(target), self.belief, distance_m, volts)
        return with_caveats(self.robot, aim, self.store.shots(), volts, self._resistance())

    def hit_chance(
        self, distance_m: float, setpoint: float, battery_v: float | None = None, target: str | None = None
    ) -> float:
        """Hit probability of one setpoint at a distance reading."""
        from fieldtune.aim.recommend import hit_chance

        shot_entry.check_distance(distance_m)
        shot_entry.check_setpoint(self.robot, setpoint)
        return hit_chance(
            self.robot, self.robot.target(target), self.belief, distance_m, setpoint, self._battery(battery_v)
        )

    def picture(
        self, distance_m: float, setpoint: float, battery_v: float | None = None, target: str | None = None
    ) -> ArcPicture:
        """The predicted path of a setpoint, with the band that holds 90 % of shots."""
        from fieldtune.aim.predicted_path import picture

        shot_entry.check_distance(distance_m)
        shot_entry.check_setpoint(self.robot, setpoint)
        return picture(
            self.robot, self.robot.target(target), self.belief, distance_m, setpoint, self._battery(battery_v)
        )

    def stand(self, setpoint: float, battery_v: float | None = None, target: str | None = None) -> tuple[Standing, ...]:
        """Distances from which a setpoint scores, best first."""
        from fieldtune.aim.stand import stand

        shot_entry.check_setpoint(self.robot, setpoint)
        return stand(self.robot, self.robot.target(target), self.belief, setpoint, self._battery(battery_v))

    def table(
        self,
        distances: Sequence[float],
        battery_v: float | None = None,
        target: str | None = None,
        rounded: bool = True,
    ) -> tuple[TableRow, ...]:
        """Recommended setpoints at several distance readings, metres; not ``rounded``: before the robot's step."""
        from fieldtune.aim.recommend import table

        for distance in distances:
            shot_entry.check_distance(distance)
        volts = self._battery(battery_v)
        return table(self.robot, self.robot.target(target), self.belief, list(distances), volts, rounded)

    def next(self, target: str | None = None, battery_v: float | None = None) -> NextShot:
        """The distance and setpoint whose shot would teach most, and why."""
        from fieldtune.learn import next_shot

        return next_shot(self.robot, self.posterior, self.robot.target(target), self._battery(battery_v))

    def learned(self) -> Learned:
        """All that the shots have taught, ready to be shown."""
        return self.posterior.learned()

    def speed_factor(self, setpoint: float | None = None) -> float:
        """Real exit speed over the profile's model, as shots taught it; 1 before the first shot.

        ``setpoint``: where to ask, the middle of what the robot accepts where None.
        """
        from fieldtune.aim.exit_speed import drive_quantity, model_log_speed
        from fieldtune.aim.recommend import mean_log_speed

        limits, belief = self.robot.setpoint, self.belief
        if belief.shots_used == 0:
            return 1.0
        at = setpoint if setpoint is not None else (limits.low + limits.high) / 2
        model = float(model_log_speed(self.robot, drive_quantity(self.robot, at)))
        return math.exp(mean_log_speed(self.robot, belief, at, None) - model)

    @property
    def posterior(self) -> Posterior:
        """What is believed after all shots that count; the profile's own uncertainty before the first."""
        from fieldtune.learn import learn

        with self._lock:
            shots, epoch = self.store.shots(), self.store.epoch
            key = (epoch, *(shot for shot in shots if shot.counts))
            if self._posterior is None or key != self._learned_from:
                self._posterior, self._learned_from = learn(self.robot, shots, epoch), key
            return self._posterior

    @property
    def belief(self) -> Belief:
        """The posterior as weighted draws, for the answers above."""
        return self.posterior.belief
