"""Unknowns of ordinary regression problems: the product's Newton, Laplace and rows can be held against handbooks."""

from __future__ import annotations

import numpy as np

from fieldtune.learn.log_posterior import LogPosterior, Rows


class Linear:
    """Features are the unknowns themselves and 1; no unknown variance."""

    def features(self, points):
        return np.column_stack([points, np.ones(len(points))])

    def jacobian(self, u):
        return np.vstack([np.eye(len(u)), np.zeros(len(u))])

    def curvature(self, u, pull):
        return np.zeros((len(u), len(u)))

    def variances(self, points):
        return np.zeros((len(points), 0))

    def log_sd_columns(self):
        return []


class Curve(Linear):
    """Features are a curve's values and 1; curvature is left out, which makes Newton's method Gauss-Newton."""

    def __init__(self, curve, slopes):
        self.curve, self.slopes = curve, slopes

    def features(self, points):
        return np.column_stack([np.array([self.curve(u) for u in points]), np.ones(len(points))])

    def jacobian(self, u):
        return np.vstack([self.slopes(u), np.zeros(len(u))])


def rows(lower, upper=None, *, open_low=None, open_high=None, variance=1.0):
    """Rows without wild outcomes, all of one known variance."""
    n = len(lower)
    no = np.zeros(n, dtype=bool)
    return Rows(
        lower=lower,
        upper=upper,
        open_low=no if open_low is None else open_low,
        open_high=no if open_high is None else open_high,
        loads=np.zeros((n, 0)),
        extra=np.full(n, variance),
        log_wild=np.full(n, -np.inf),
        log_unit=None,
        error=0.0,
        count=np.ones(n),
        source=np.arange(n),
    )


def least_squares(design, values, sd, precision):
    """LogPosterior of a linear model with known standard deviation."""
    measured = np.column_stack([design, -np.asarray(values)])
    return LogPosterior(Linear(), (rows(measured, variance=sd**2),), np.asarray(precision, dtype=float))
