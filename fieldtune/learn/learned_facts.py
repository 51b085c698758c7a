"""What shots taught, as facts in words: value, spread and unit, each told only as firmly as it is known."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.aim.results import Fact
from fieldtune.person_units import amount, digits_of
from fieldtune.person_units import unit as said_unit
from fieldtune.robot.derived import grip_doubt

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray
    from fieldtune.learn.posterior import Fit

# A spread above this share of the prior's means that shots have hardly spoken.
_UNLEARNED = 0.8


def facts(fit: Fit) -> tuple[Fact, ...]:
    """Facts in the order a person would want them; without shots they are the profile's own guesses."""
    made = [_throw(fit), *_slope(fit), *_flight(fit), *_scatter(fit), *_side(fit), *_epoch(fit), *_batch(fit)]
    return (*made, *_tracking(fit))


def _fact(name: str, told: str, draws: FloatArray, unit: str, prior_sd: float | None, digits: int) -> Fact:
    """A fact from draws; ``told`` holds {value} for the mean."""
    value, sd = float(np.mean(draws)), float(np.std(draws))
    words = told.format(value=digits_of(value, unit, digits), size=digits_of(abs(value), unit, digits))
    words += f" ± {amount(sd, unit, digits)}".rstrip()
    return Fact(name, words, value, sd, unit, guess=prior_sd is not None and sd > _UNLEARNED * prior_sd)


def _middle(fit: Fit) -> float:
    """Drive quantity at the middle of what was shot, or of what the robot accepts."""
    basis = fit.belief.basis
    if len(fit.table):
        return float(np.exp(np.mean(np.log(np.maximum(fit.table.quantity, basis.q_low)))))
    return math.sqrt(basis.q_low * basis.q_high)


def _throw(fit: Fit) -> Fact:
    """Grip of a wheel, efficiency of a spring, in the middle of what was shot."""
    level, prior = fit.robot.launcher.mechanism.level, fit.layout.prior
    gain = fit.belief.draws.gain @ fit.belief.basis.at(_middle(fit))[0]
    learned, spread = level.value * np.exp(level.root * gain), level.root * level.value * prior.level
    fact = _fact(level.name, level.name + " {value}", learned, "", spread, 3)
    doubt = None if fact.guess else grip_doubt(fit.robot, fact.value - fact.sd)
    return fact if doubt is None else replace(fact, words=f"{fact.words}; even {doubt}")


def _slope(fit: Fit) -> list[Fact]:
    """Change of exit speed against the model from the slowest to the fastest drive that was shot."""
    if len(fit.table) < 2:
        return []
    low, high = float(fit.table.quantity.min()), float(fit.table.quantity.max())
    if high < 1.1 * low:
        return []
    unit, _ = fit.robot.launcher.mechanism.measured
    ends = fit.belief.basis.at(np.array([low, high]))
    change = 100 * np.expm1(fit.belief.draws.gain @ (ends[1] - ends[0]))
    way = "more" if np.mean(change) >= 0 else "less"
    told = f"at {high:.0f} {unit} it throws {{size}} % {way} than the model, against {low:.0f} {unit}:"
    value, sd = float(np.mean(change)), float(np.std(change))
    words = told.format(size=f"{abs(value):.1f}") + f" {value:+.1f} ± {sd:.1f} %"
    return [Fact("slope", words, value, sd, "%")]


def _flight(fit: Fit) -> list[Fact]:
    draws, shape = fit.belief.draws, fit.layout.prior.shape
    target = fit.robot.targets[0]
    bias = 100 * draws.distance_bias
    reads = "short" if np.mean(bias) >= 0 else "long"
    made = [
        _fact("distance", f"distance reads {{size}} {said_unit('cm')} {reads},", bias, "cm", 100 * float(shape[2]), 1),
        _fact(
            target.resistance,
            target.resistance + " {value} times the profile's",
            np.exp(draws.log_drag),
            "",
            float(shape[1]),
            2,
        ),
    ]
    if target.by_way(lambda: True, lambda: False):
        angle = np.degrees(draws.angle_error)
        way = "steeper" if np.mean(angle) >= 0 else "flatter"
        told = f"leaves {{size}} deg {way} than the profile says,"
        made.append(_fact("exit angle", told, angle, "deg", math.degrees(float(shape[0])), 1))
    return made


def _scatter(fit: Fit) -> list[Fact]:
    draws = fit.belief.draws
    return [
        _fact("speed scatter", "speed scatters by {value} %", 100 * draws.speed_scatter, "%", None, 2),
    ]


def _side(fit: Fit) -> list[Fact]:
    draws = fit.belief.draws
    told = fit.table.is_result("in", "left", "right") | np.isfinite(fit.table.side)
    if not told.any():
        return []
    bias = np.degrees(draws.side_bias)
    way = "right" if np.mean(bias) >= 0 else "left"
    return [
        _fact("side bias", f"pulls {{size}} deg to the {way},", bias, "deg", None, 1),
        _fact("side scatter", "scatters sideways by {value} deg", np.degrees(draws.side_scatter), "deg", None, 1),
    ]


def _epoch(fit: Fit) -> list[Fact]:
    """The present epoch against the one before."""
    place = fit.epochs.index(fit.belief.epoch)
    if place == 0:
        return []
    change = fit.layout.members[place] - fit.layout.members[place - 1]
    return [_difference(fit, "epoch", change, f"in epoch {fit.epochs[place - 1]}")]


def _batch(fit: Fit) -> list[Fact]:
    """The present elements against those of other labels."""
    layout, made = fit.layout, []
    for number, name in enumerate(fit.table.batches):
        if layout.batch >= 0 and number != layout.batch:
            change = np.zeros(layout.offset_count)
            change[layout.first_batch + layout.batch], change[layout.first_batch + number] = 1.0, -1.0
            made.append(_difference(fit, f"batch {name}", change, f"with batch {name}"))
    return made


def _difference(fit: Fit, name: str, change: FloatArray, against: str) -> Fact:
    """What a change of offsets (offsets,) does to the exit speed."""
    layout, mode = fit.layout, fit.mode
    log = float(layout.offsets(mode.u[None])[0] @ change)
    value = 100 * math.expm1(log)
    log_sd = float(np.linalg.norm(change @ layout.jacobian(mode.u)[layout.offset_features] @ mode.root))
    sd = 100 * math.exp(log) * log_sd
    way = "faster" if value >= 0 else "slower"
    return Fact(name, f"throws {abs(value):.1f} ± {sd:.1f} % {way} than {against}", value, sd, "%")


def _tracking(fit: Fit) -> list[Fact]:
    if not len(fit.table.pairs):
        return []
    prior = fit.layout.prior
    value = 100 * math.expm1(prior.tracking_mean)
    sd = 100 * math.exp(prior.tracking_mean) * prior.tracking_sd
    way = "above" if value >= 0 else "below"
    words = f"at release the drive is {abs(value):.1f} ± {sd:.1f} % {way} its setpoint, in exit speed"
    return [Fact("tracking", words, value, sd, "%")]
