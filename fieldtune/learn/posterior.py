"""The room's door: what is believed after some shots, what they taught in words, and the next shot worth taking."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fieldtune.aim.required_speed.choice import required_speed_for
from fieldtune.aim.results import Learned, NextShot
from fieldtune.learn.agreement import drift, residuals
from fieldtune.learn.fit import Fit, fit
from fieldtune.learn.learned_facts import facts
from fieldtune.learn.next_shot import best_next_shot

if TYPE_CHECKING:
    from fieldtune.aim.draws import Belief
    from fieldtune.learn.target_expansion import RequiredSpeedOf
    from fieldtune.records import Shot
    from fieldtune.robot.model import Robot, Target

# Before few shots belief is wide and its hit-chance curve flat: more draws keep the recommendation within a third of a
# setpoint step of its limit.
_DRAWS, _FEW_SHOTS, _FEW_DRAWS = 400, 6, 1024


@dataclass(frozen=True, slots=True)
class Posterior:
    """What is believed of a robot after its shots."""

    fit: Fit

    @property
    def belief(self) -> Belief:
        """Weighted draws of the unknowns for the present epoch, which the aim room reads."""
        return self.fit.belief

    @property
    def hold_error(self) -> float | None:
        """Spread of the log exit speed from how the drive holds its setpoint, as speeds measured at release tell; None
        where no shot has one."""
        jitter = self.fit.layout.prior.jitter
        return jitter if jitter > 0 else None

    def learned(self) -> Learned:
        """What the shots taught, in words and numbers."""
        return Learned(
            shots_used=self.belief.shots_used,
            epoch=self.belief.epoch,
            facts=facts(self.fit),
            residuals=residuals(self.fit),
            drift=drift(self.fit),
        )


def learn(
    robot: Robot,
    shots: Sequence[Shot],
    epoch: int = 1,
    *,
    required_of: RequiredSpeedOf = required_speed_for,
    draws: int | None = None,
    batteries: Mapping[int, str | None] | None = None,
) -> Posterior:
    """Posterior of a robot's unknowns from all shots that count, for the present ``epoch``; the prior with none.

    ``required_of`` gives the required speed of a target; ``draws`` their number, None for as many as it takes.
    ``batteries``: the battery's name by epoch; one that comes back starts at its own level. Shots that the model can't
    place are left out.
    """
    if draws is None:
        draws = _FEW_DRAWS if sum(shot.counts for shot in shots) <= _FEW_SHOTS else _DRAWS
    return Posterior(fit(robot, shots, epoch, required_of, draws, batteries))


def next_shot(robot: Robot, posterior: Posterior, target: Target, battery_v: float | None = None) -> NextShot:
    """The distance and setpoint whose shot is expected to raise the hit probability over the working range most.

    ``battery_v``: for an open-loop drive, volts; nominal where None.
    """
    return best_next_shot(posterior.fit, target, battery_v)
