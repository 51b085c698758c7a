"""Our normal integrals against SciPy's (Cephes and Boost) and against printed tables."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import special

from fieldtune.arrays import median
from fieldtune.normal import log_ndtr, ndtr, ndtri, quick_ndtr

EDGES = [-np.inf, np.inf, 0.0, -9.0, 9.0, -40.0]


def test_integrals_follow_scipy() -> None:
    x = np.concatenate([np.linspace(-12, 12, 20_011), EDGES])
    assert np.abs(ndtr(x) - special.ndtr(x)).max() < 1e-12
    inside = x > -9
    assert np.abs(ndtr(x[inside]) / special.ndtr(x[inside]) - 1).max() < 1e-8
    assert np.abs(quick_ndtr(x.astype(np.float32)) - special.ndtr(x)).max() < 5e-7


def test_logarithms_follow_scipy_far_out() -> None:
    x = np.concatenate([np.linspace(-300, 12, 20_011), [0.0, -9.0, -40.0, -8.999]])
    assert np.abs(log_ndtr(x) - special.log_ndtr(x)).max() < 1e-10
    assert log_ndtr(np.array([-np.inf]))[0] == -np.inf


def test_quantiles_follow_scipy() -> None:
    p = np.concatenate([np.logspace(-300, -1, 997), np.linspace(0, 1, 9_973)])
    with np.errstate(invalid="ignore"):
        off = np.abs(ndtri(p) - special.ndtri(p))
    assert np.nanmax(off / (1 + np.abs(ndtri(p))).clip(max=1e3)) < 1e-13
    assert ndtri(np.array([0.0, 1.0])).tolist() == [-np.inf, np.inf]


def test_what_is_not_known_stays_unknown() -> None:
    assert np.isnan(ndtr(np.array([np.nan]))).all()
    assert np.isnan(log_ndtr(np.array([np.nan]))).all()
    assert np.isnan(ndtri(np.array([np.nan]))).all()


def test_printed_table() -> None:
    """Abramowitz & Stegun 1964, table 26.1: P(1), P(2), P(3)."""
    assert ndtr(np.array([1.0, 2.0, 3.0])) == pytest.approx([0.841344746069, 0.977249868052, 0.998650101968], abs=1e-11)


def test_the_median_is_numpys() -> None:
    rng = np.random.default_rng(5)
    for count in (1, 2, 3, 4, 7, 400):
        values = rng.normal(size=count)
        assert median(values) == np.median(values)
    assert median(np.array([-np.inf, 3.0, -np.inf])) == -np.inf
    assert np.isnan(median(np.array([1.0, np.nan])))
