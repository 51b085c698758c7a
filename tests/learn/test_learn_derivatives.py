"""The log posterior's derivatives against differences of its own batch values, on evidence of every kind at once."""

from __future__ import annotations

import numpy as np
import pytest
from robots import shot, thrower
from vacuum_need import vacuum_need

from fieldtune.learn.log_posterior import interval_terms
from fieldtune.learn.posterior import learn

MIXED = [
    shot(1, 3.0, 1500, "short"),
    shot(2, 3.0, 1600, "in", speed=1590.0),
    shot(3, 2.2, 1400, "long", epoch=2),
    shot(4, 2.5, 1400, None, miss_m=0.2, speed=1405.0),
    shot(5, 3.4, 1650, "left", side_m=-0.2),
    shot(6, 3.4, 1650, "in", miss_m=-0.04, side_m=0.05, epoch=2),
    shot(7, 1.9, 1300, "in", epoch=3),
]


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_gradient_and_hessian_match_differences(seed):
    posterior = learn(thrower(), MIXED, 3, required_of=vacuum_need).fit
    density = posterior.objective
    u = posterior.mode.u + 0.5 * np.random.default_rng(seed).standard_normal(len(posterior.mode.u))
    value, gradient, hessian = density.derivatives(u)
    step = 1e-4
    moves = step * np.eye(len(u))
    ahead, behind = density.value(u + moves), density.value(u - moves)
    assert value == pytest.approx(float(density.value(u[None])[0]), rel=1e-12)
    # Central differences are good to step^2 times third derivatives of some thousands.
    np.testing.assert_allclose(gradient, (ahead - behind) / (2 * step), rtol=1e-4, atol=1e-4)
    slopes = np.array([density.derivatives(u + move)[1] - density.derivatives(u - move)[1] for move in moves]) / (
        2 * step
    )
    np.testing.assert_allclose(hessian, slopes, rtol=1e-3, atol=2e-3 * np.abs(hessian).max() ** 0.5)
    np.testing.assert_allclose(hessian, hessian.T, atol=1e-9 * np.abs(hessian).max())


def test_the_maximum_has_no_slope_and_a_proper_spread():
    posterior = learn(thrower(), MIXED, 3, required_of=vacuum_need).fit
    _, gradient, hessian = posterior.objective.derivatives(posterior.mode.u)
    assert np.abs(gradient).max() < 0.02
    np.testing.assert_allclose(posterior.mode.covariance @ -hessian, np.eye(len(gradient)), atol=1e-6)


def test_edges_that_crossed_are_improbable_but_numbers():
    """Expanded to second order the edges of an opening may cross far out: no overflow, and far below any real row."""
    low = np.array([5.0, 0.0, -3.0, 40.0, 1e3])
    terms = interval_terms(low, low - 1.0, np.zeros(5))
    assert np.all(terms.value < -600)
    assert all(np.isfinite(getattr(terms, name)).all() for name in terms.__slots__)
