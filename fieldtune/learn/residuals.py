"""How far each shot fell from what is now believed."""

from __future__ import annotations

import numpy as np
from scipy.special import ndtr

from fieldtune.aim.results import Residual
from fieldtune.learn.fit import Fit
from fieldtune.learn.predicted import Predicted, predicted

_OUTCOMES = ("short", "in", "long")
# A predicted miss beyond this many metres only says "far off".
_FARTHEST = 9.99


def residuals(fit: Fit) -> tuple[Residual, ...]:
    """One for every shot that says something about the range, oldest first."""
    seen = predicted(fit)
    if seen is None:
        return ()
    table = fit.table
    surprise = surprises(fit, seen)
    expected = np.clip(-seen.center / np.maximum(np.abs(seen.by_miss), 1e-6), -_FARTHEST, _FARTHEST)
    made = []
    for row, place in enumerate(seen.index):
        shot = table.shots[place]
        made.append(
            Residual(
                shot=shot.shot,
                distance_m=shot.distance_m,
                setpoint=shot.setpoint,
                miss_m=shot.miss_m,
                expected_miss_m=float(expected[row]),
                surprise=float(surprise[row]),
            )
        )
    return tuple(made)


def surprises(fit: Fit, seen: Predicted) -> np.ndarray:
    """Probability (m,) of an outcome at least as odd as the one seen."""
    table = fit.table
    measured = np.isfinite(table.miss[seen.index])
    error = np.abs(seen.by_miss) * fit.robot.uncertainty.miss
    width = np.sqrt(seen.scatter**2 + seen.doubt**2 + np.where(measured, error, 0.0) ** 2)
    # A miss where no speed could have brought the element is as odd as can be.
    far = np.nan_to_num(2 * ndtr(-np.abs(seen.miss) / width))
    chances = seen.chances()
    own = np.zeros(len(seen.index))
    for column, name in enumerate(_OUTCOMES):
        own = np.where(table.is_result(name)[seen.index], chances[:, column], own)
    no_likelier = np.sum(np.where(chances <= own[:, None] + 1e-12, chances, 0.0), axis=1)
    return np.asarray(np.where(measured, far, np.minimum(no_likelier, 1.0)))
