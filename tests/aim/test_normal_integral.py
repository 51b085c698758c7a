"""Normal integrals against scipy's, the C library's and printed tables."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import special

from fieldtune.normal_integral import log_ndtr, ndtr, ndtri

# The last decimal of x^2 / 2 alone is worth so much of exp(-x^2 / 2); the rest is the polynomial's.
ROUNDING = np.finfo(float).eps


def test_the_integral_against_the_c_library() -> None:
    x = np.linspace(-37.0, 8.0, 20_001)
    exact = np.array([0.5 * math.erfc(-value / math.sqrt(2)) for value in x.tolist()])
    off = np.abs(ndtr(x) / exact - 1)
    assert np.all(off < 1e-14 + 2 * ROUNDING * x**2)


@pytest.mark.parametrize(("x", "lower"), [(0.5, 0.691462461274013), (1.0, 0.841344746068543), (2.0, 0.977249868051821)])
def test_the_integral_against_a_printed_table(x: float, lower: float) -> None:
    """Abramowitz & Stegun, Handbook of Mathematical Functions (1964), table 26.1, all 15 decimals (from memory)."""
    assert float(ndtr(x)) == pytest.approx(lower, abs=6e-16)
    assert float(ndtr(-x)) == pytest.approx(1 - lower, abs=6e-16)


def test_the_logarithm_against_scipy() -> None:
    x = np.concatenate([-np.logspace(-6, 150, 5_001), np.logspace(-6, 0.9, 1_001)])
    assert log_ndtr(x) == pytest.approx(special.log_ndtr(x), rel=1e-14, abs=0)


@pytest.mark.parametrize(
    ("p", "x"), [(0.975, 1.959963984540054), (0.95, 1.6448536269514722), (0.25, -0.6744897501960817)]
)
def test_the_inverse_against_printed_quantiles(p: float, x: float) -> None:
    """Quantiles as tables print them (Abramowitz & Stegun 1964, table 26.5, has fewer digits; these from memory)."""
    assert float(ndtri(p)) == pytest.approx(x, rel=1e-14)


def test_the_inverse_against_scipy() -> None:
    p = np.concatenate([np.logspace(-300, -1, 5_001), np.linspace(0.1, 0.999, 5_001), 1 - np.logspace(-16, -3, 501)])
    assert ndtri(p) == pytest.approx(special.ndtri(p), rel=4e-15, abs=1e-15)


@pytest.mark.parametrize("function", [ndtr, log_ndtr, ndtri])
def test_ends_shapes_and_unknowns_as_in_scipy(function: object) -> None:
    theirs = getattr(special, function.__name__)  # type: ignore[attr-defined]
    odd = np.array([[-np.inf, np.inf, np.nan], [0.0, 1.0, 0.5], [-1e200, 1e200, -0.1]])
    np.testing.assert_allclose(function(odd), theirs(odd), rtol=1e-15)  # type: ignore[operator]
    long = np.linspace(0.01, 0.99, 10_007)[:, None]
    np.testing.assert_allclose(function(long), theirs(long), rtol=2e-15)  # type: ignore[operator]
    assert function(np.zeros((0, 3))).shape == (0, 3)  # type: ignore[operator]
    assert function(0.5).shape == ()  # type: ignore[operator]
