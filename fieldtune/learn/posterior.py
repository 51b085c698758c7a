"""From shots to what is believed, what they taught in words, and the next shot: the door of this room."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache, cached_property
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.aim.draws import Belief, Unknowns
from fieldtune.aim.places import places
from fieldtune.aim.required_speed.choice import required_speed_for
from fieldtune.aim.results import Learned, NextShot
from fieldtune.arrays import FloatArray
from fieldtune.frozen import frozen
from fieldtune.learn.draws import elliptical, first_shots, gain_with_offset, laplace, linearised_gain
from fieldtune.learn.evidence import sums_in_reach
from fieldtune.learn.importance_sampling import even_normals, importance_draws
from fieldtune.learn.map_estimate import FINE, Mode, map_by_gauss_newton, maximise
from fieldtune.learn.next_shot import best_next_shot, shot_from
from fieldtune.learn.parameters import batteries_that_came_back
from fieldtune.learn.shot_table import ShotTable, shot_table
from fieldtune.learn.side_miss import SideLayout, side_draws, side_log_posterior
from fieldtune.learn.target_expansion import RequiredSpeedOf, SideEstimate

if TYPE_CHECKING:
    from fieldtune.aim.places import Place
    from fieldtune.learn.log_posterior import LogPosterior
    from fieldtune.learn.measured import Evidence
    from fieldtune.learn.parameters import Layout
    from fieldtune.records import Shot
    from fieldtune.robot.model import Robot, Target

# Before few shots belief is wide and its hit-chance curve flat: more draws keep the recommendation within a third of a
# setpoint step of its limit.
_DRAWS, _FEW_SHOTS, _FEW_DRAWS = 400, 6, 1024


@dataclass(frozen=True)
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

    @cached_property
    def at_odds(self) -> str | None:
        """That the shots contradict each other, in words; None where they don't."""
        from fieldtune.learn.agreement import at_odds

        return at_odds(self.fit)

    def places(self, target: Target) -> tuple[Place, ...]:
        """The distances that a question about the whole field is asked at. Raises ``OutOfReachError``."""
        return places(self.fit.robot, target, self.belief, self.shot_from(target))

    def shot_from(self, target: Target) -> list[float]:
        """Distances (m) that a target was shot at from."""
        return shot_from(self.fit, target)

    def learned(self) -> Learned:
        """What the shots taught, in words and numbers."""
        from fieldtune.learn.agreement import drift, residuals
        from fieldtune.learn.learned_facts import facts

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
    beside: Sequence[Evidence] = (),
) -> Posterior:
    """Posterior of a robot's unknowns from all shots that count, for the present ``epoch``; the prior with none.

    ``required_of`` gives the required speed of a target; ``draws`` their number, None for as many as it takes.
    ``batteries``: the battery's name by epoch; one that comes back starts at its own level. Shots that the model can't
    place are left out. ``beside``: what was measured beside shots.
    """
    if draws is None:
        draws = _FEW_DRAWS if sum(shot.counts for shot in shots) <= _FEW_SHOTS else _DRAWS
    return Posterior(fit(robot, shots, epoch, required_of, draws, batteries, beside))


def next_shot(robot: Robot, posterior: Posterior, target: Target, battery_v: float | None = None) -> NextShot:
    """The distance and setpoint whose shot is expected to raise the hit probability over the working range most.

    ``battery_v``: for an open-loop drive, volts; nominal where None.
    """
    return best_next_shot(posterior.fit, target, battery_v)


# From shots to what is believed: maximum, spread and draws, from all shots and with the same answer every time.


_SEED = 20140
# Up to this many shots the draws are corrected for not being normal.
_CORRECTED, _SWEEPS = 40, 12

# Draws (K, P), their gains (K, size) without offset and tracking, and the present epoch's offset (K,).
Drawn = tuple[FloatArray, FloatArray, FloatArray]


@frozen
class Fit:
    """What is believed after ``table``'s shots, and how it was found."""

    robot: Robot
    belief: Belief
    table: ShotTable
    epochs: tuple[int, ...]
    objective: LogPosterior
    layout: Layout
    mode: Mode
    side: SideEstimate
    required_of: RequiredSpeedOf


def fit(
    robot: Robot,
    shots: Sequence[Shot],
    epoch: int,
    required_of: RequiredSpeedOf,
    draws: int,
    labels: Mapping[int, str | None] | None = None,
    beside: Sequence[Evidence] = (),
) -> Fit:
    """Posterior of a robot's unknowns from the shots that count, as ``draws`` draws for the present epoch.

    ``labels``: the battery of each epoch, where it has a name.
    """
    table = shot_table(robot, shots, epoch, beside)
    epochs = list(table.epochs)
    side_density = side_log_posterior(robot, table, required_of)
    side_mode = maximise(side_density, np.zeros(2))
    side_layout = SideLayout.of(robot)
    view = SideEstimate(float(side_layout.bias(side_mode.u[None])[0]), float(side_layout.scatter(side_mode.u[None])[0]))
    batteries = batteries_that_came_back(epochs, labels or {})
    density, layout, mode = map_by_gauss_newton(robot, table, len(epochs), required_of, view, batteries)
    place, at = epochs.index(epoch), mode.u[None]
    few, sums = len(table) <= _CORRECTED, sums_in_reach(robot, layout, required_of)

    @cache
    def rng() -> np.random.Generator:  # importing it takes longer than what few shots ask of it
        return np.random.default_rng(_SEED)

    def drawn(slope: LogPosterior, top: Mode) -> Drawn:
        weighed = importance_draws(slope, layout, top, sums, draws) if few or not slope.rows else None
        if weighed is not None:
            points = weighed
        else:
            points = elliptical(slope, top, draws, _SWEEPS, rng()) if few else laplace(top, draws, rng())
        if few or not slope.rows:
            return points, layout.gain(points), layout.present_offset(points, place)
        return points, *linearised_gain(robot, table, layout, top, points, place, required_of, view)

    points, gain = _present_draws(density, layout, mode, table, place, drawn)
    if few:  # by two more coordinates of the lattice
        side_points = side_draws(side_density, side_mode, even_normals(draws, layout.size + 2)[:, layout.size :])
    else:
        side_points = laplace(side_mode, draws, rng())
    best = gain_with_offset(layout, at, layout.gain(at), layout.present_offset(at, place))
    belief = Belief(
        basis=layout.prior.basis,
        draws=unknowns_from(layout, gain, points, side_layout, side_points),
        weights=np.full(draws, 1 / draws),
        best=unknowns_from(layout, best, at, side_layout, side_mode.u[None]),
        shots_used=len(table),
        epoch=epoch,
    )
    return Fit(robot, belief, table, tuple(epochs), density, layout, mode, view, required_of)


def _present_draws(
    density: LogPosterior,
    layout: Layout,
    mode: Mode,
    table: ShotTable,
    place: int,
    drawn: Callable[[LogPosterior, Mode], Drawn],
) -> tuple[FloatArray, FloatArray]:
    """Draws (K, P) and their whole gains (K, size) in the present epoch."""
    first = first_shots(density, layout, table, place)
    if first is not None:
        points, gain, _ = drawn(first.earlier, maximise(first.earlier, mode.u, FINE))
        settled = first.given_first_shots(points, gain)
        if settled is not None:
            return settled
    points, gain, offset = drawn(density, mode)
    return points, gain_with_offset(layout, points, gain, offset)


def unknowns_from(
    layout: Layout, gain: FloatArray, points: FloatArray, side_layout: SideLayout, side_points: FloatArray
) -> Unknowns:
    """Draws in their own units, with the gain given."""
    shape = layout.shape(points)
    variances = layout.variances(points)
    return Unknowns(
        gain=gain,
        angle_error=shape[:, 0],
        log_drag=shape[:, 1],
        distance_bias=shape[:, 2],
        side_bias=side_layout.bias(side_points),
        speed_scatter=np.sqrt(variances[:, 0] + layout.prior.jitter**2),
        angle_scatter=np.sqrt(variances[:, 1]),
        side_scatter=side_layout.scatter(side_points),
    )
