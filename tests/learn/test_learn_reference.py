"""Draws against references that share none of their code: needs called at every point, no expansion, no derivatives.

Few shots: prior draws weighed by the likelihood, exact but for chance. More: emcee (Foreman-Mackey et al. 2013, PASP
125, 306) on three posteriors of real sizes, means within 0.2 standard deviations and spreads within a tenth.
"""

from __future__ import annotations

import numpy as np
import pytest
from exact_posterior import exact_log_posterior
from robots import shot, thrower
from vacuum_need import vacuum_need

from fieldtune.learn.draws import elliptical, laplace
from fieldtune.learn.posterior import fit

TWO_SHORT = [shot(1, 3.0, 1500, "short"), shot(2, 3.0, 1600, "short")]
FIVE = [
    shot(1, 3.0, 1500, "long"),
    shot(2, 3.0, 1420, "short"),
    shot(3, 3.0, 1450, "in"),
    shot(4, 2.2, 1250, "short"),
    shot(5, 3.6, 1600, "in"),
]
MEASURED = [
    shot(i, d, s, None, miss_m=m)
    for i, (d, s, m) in enumerate(
        [
            (3.0, 1500, 0.5),
            (3.0, 1430, 0.12),
            (2.0, 1200, 0.02),
            (2.2, 1280, 0.15),
            (3.5, 1560, -0.1),
            (4.0, 1700, 0.3),
            (2.6, 1350, 0.01),
            (3.2, 1480, -0.2),
        ]
    )
]
EPOCHS = [
    *FIVE,
    shot(6, 3.0, 1440, "short", epoch=2),
    shot(7, 3.0, 1470, None, miss_m=0.05, epoch=2),
    shot(8, 2.2, 1280, "short", epoch=2),
]


def told(found, points):
    """What is compared: log gain at three speeds for the last epoch, shape, log scatters and spread (K, 9)."""
    layout = found.layout
    gain = layout.gain(points) @ layout.prior.basis.at(np.array([1250.0, 1450.0, 1650.0])).T
    logs = np.log(np.column_stack([layout.variances(points), layout.spread(points)]))
    return np.column_stack([gain + layout.offsets(points)[:, -1:], layout.shape(points), logs])


@pytest.mark.parametrize("shots", [TWO_SHORT, FIVE], ids=["two short", "five"])
def test_draws_of_few_shots_match_weighed_prior_draws_better_than_laplace(shots):
    found = fit(thrower(), shots, 1, vacuum_need, 400)
    rng = np.random.default_rng(7)
    prior = rng.standard_normal((60_000, found.layout.size))
    with np.errstate(invalid="ignore"):
        log_weight = exact_log_posterior(found, prior) + 0.5 * np.sum(prior**2, axis=1)
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    # Two thousand draws' worth of weight: chance in a mean is below 0.03 standard deviations.
    assert 1 / np.sum(weight**2) > 1500
    exact = told(found, prior)
    low, middle, high = quantiles(exact, weight)
    ours = quantiles(told(found, elliptical(found.objective, found.mode, 2000, 12, rng)))
    # In units of the 90 % interval: tails are heavy, so a standard deviation would be a matter of luck.
    assert np.abs((ours - [low, middle, high]) / (high - low)).max() < 0.08
    normal = quantiles(told(found, laplace(found.mode, 2000, rng)))
    assert np.abs((normal - [low, middle, high]) / (high - low)).max() > 0.12


def quantiles(values, weight=None):
    """5, 50 and 95 % quantiles of weighted values (K, m): (3, m)."""
    weight = np.full(len(values), 1 / len(values)) if weight is None else weight
    order = np.argsort(values, axis=0)
    shares = np.cumsum(weight[order], axis=0)
    return np.array(
        [
            [np.interp(q, shares[:, k], values[order[:, k], k]) for k in range(values.shape[1])]
            for q in (0.05, 0.5, 0.95)
        ]
    )


@pytest.mark.slow
@pytest.mark.parametrize(
    ("shots", "epoch"), [(FIVE, 1), (MEASURED, 1), (EPOCHS, 2)], ids=["five", "measured", "epochs"]
)
def test_draws_match_emcee(shots, epoch):
    import emcee

    found = fit(thrower(), shots, epoch, vacuum_need, 400)
    rng = np.random.default_rng(1)
    # Tails are heavy_tailed: with fewer draws than these a standard deviation would be a matter of luck.
    ours = elliptical(found.objective, found.mode, 8000, 12, rng)
    walkers = 8 * found.layout.size
    sampler = emcee.EnsembleSampler(
        walkers, found.layout.size, lambda points: exact_log_posterior(found, points), vectorize=True
    )
    with np.errstate(invalid="ignore"):
        sampler.random_state = np.random.RandomState(1).get_state()
        sampler.run_mcmc(ours[:walkers], 4000, skip_initial_state_check=True)
    reference = told(found, sampler.get_chain(discard=800, thin=4, flat=True))
    own = told(found, ours)
    sd = reference.std(axis=0)
    assert np.abs((own.mean(axis=0) - reference.mean(axis=0)) / sd).max() < 0.2
    np.testing.assert_allclose(own.std(axis=0) / sd, 1, atol=0.1)
