"""What is believed each shot of a table ought to have done: the basis of residuals and of the watch for drift."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from fieldtune.learn.evidence import coefficients, extra_variance, loads
from fieldtune.learn.fit import Fit
from fieldtune.learn.newton import Mode
from fieldtune.learn.sight import Expansion, sight

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Predicted:
    """m shots (``index`` into the table) at the maximum of the posterior, in log exit speed.

    ``low``/``high``/``center``/``miss`` (m,) are needed minus believed; ``high`` is infinite where there is no far
    edge. ``scatter`` is the shot-to-shot standard deviation, ``doubt`` that of what is believed, ``by_miss`` log speed
    a metre of miss.
    ``slopes`` (m, P) are derivatives of the believed log speed less the needed one.
    """

    index: IntArray
    low: FloatArray
    high: FloatArray
    center: FloatArray
    miss: FloatArray
    by_miss: FloatArray
    scatter: FloatArray
    doubt: FloatArray
    slopes: FloatArray

    def chances(self) -> FloatArray:
        """Probabilities (m, 3) of short, in and long along the range, with doubt."""
        width = np.hypot(self.scatter, self.doubt)
        short, not_long = ndtr(self.low / width), ndtr(self.high / width)
        return np.column_stack([short, np.maximum(not_long - short, 0.0), 1 - not_long])


def predicted(fit: Fit, mode: Mode | None = None) -> Predicted | None:
    """Predictions for all shots that say something about the range, by the fit's or another maximum."""
    parts = [_of_target(fit, mode or fit.mode, int(place)) for place in np.unique(fit.table.target)]
    made = [part for part in parts if part is not None]
    if not made:
        return None
    order = np.argsort(np.concatenate([part.index for part in made]), kind="stable")
    fields = [np.concatenate([getattr(part, name) for part in made])[order] for name in Predicted.__slots__]
    return Predicted(*fields)


def _of_target(fit: Fit, mode: Mode, place: int) -> Predicted | None:
    table, layout, u = fit.table, fit.layout, mode.u
    telling = table.is_result("in", "short", "long") | np.isfinite(table.miss)
    index = np.flatnonzero((table.target == place) & telling)
    if not len(index):
        return None
    seen = sight(fit.robot, table, index, layout, fit.need_of, fit.side, curved=False)
    keep = np.isfinite(seen.low.value) & np.isfinite(seen.center.value)
    index, seen = index[keep], seen.at(keep)
    features, slopes = layout.features(u[None])[0], layout.jacobian(u)

    def gap(at: Expansion) -> FloatArray:
        return np.asarray(coefficients(table, index, layout, at) @ features)

    by_unknown = coefficients(table, index, layout, seen.center) @ slopes
    scatter2 = loads(seen) @ layout.variances(u[None])[0] + extra_variance(table, index, layout)
    return Predicted(
        index=index,
        low=gap(seen.low),
        high=np.where(seen.endless, np.inf, gap(seen.high)),
        center=gap(seen.center),
        miss=gap(seen.miss),
        by_miss=seen.center.by_miss,
        scatter=np.sqrt(scatter2),
        doubt=np.linalg.norm(by_unknown @ mode.root, axis=1),
        slopes=-by_unknown,
    )
