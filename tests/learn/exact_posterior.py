"""The posterior written once more, plainly: needs called at every point, no expansion, no derivatives."""

from __future__ import annotations

import math

import numpy as np
from scipy.special import ndtr
from scipy.stats import norm

from fieldtune.learn.log_posterior import WILD_SHARE
from fieldtune.learn.side_miss import chord


def exact_log_posterior(fit, points):
    """Log posterior (K,) of range unknowns at points (K, P), up to a constant."""
    layout, table = fit.layout, fit.table
    gain, offsets, tracking = layout.gain(points), layout.offsets(points), layout.tracking(points)
    angle, drag, bias = layout.shape(points).T
    speed_sd, angle_sd = np.sqrt(layout.variances(points)).T
    total = -0.5 * np.sum(points**2, axis=1)
    for i, shot in enumerate(table.shots):
        need = fit.required_of(fit.robot, table.targets[table.target[i]])
        z = table.model[i] + gain @ layout.prior.basis.at(table.quantity[i])[0] + offsets[:, table.epoch[i]]
        z = z + (tracking if table.tracked[i] else 0.0)
        distance = shot.distance_m + bias
        center = need.log_speed(distance, 0.0, angle, drag)
        spread = np.sqrt(
            speed_sd**2 + (center.d_angle * angle_sd) ** 2 + (layout.prior.jitter**2 if table.tracked[i] else 0.0)
        )
        if shot.miss_m is not None:
            point = need.log_speed(distance, shot.miss_m, angle, drag)
            sd = np.hypot(spread, point.d_miss * fit.robot.uncertainty.miss)
            likelihood = norm.pdf((point.value - z) / sd) / sd * np.abs(point.d_miss)
            wild = 1 / 6
        else:
            free = need.free(distance, angle, drag)
            met = chord(distance, free.side, fit.side.bias, fit.side.scatter) if free.ring is not None else 1.0
            low = ndtr((need.log_speed(distance, free.low * met, angle, drag).value - z) / spread)
            high = ndtr((need.log_speed(distance, free.high * met, angle, drag).value - z) / spread)
            likelihood = {"short": low, "in": high - low, "long": 1 - high}[shot.result]
            wild = 1 / 3
        total = total + np.log((1 - WILD_SHARE) * likelihood + WILD_SHARE * wild)
    return np.where(np.isfinite(total), total, -math.inf)
