"""How deep a drop was, from the turns the wheel fell behind: deeper than two samples show where recovery is quick."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

_STARTS_S = np.arange(-0.008, 0.0101, 0.003)
_RECOVERIES_S = np.geomspace(0.012, 0.6, 14)


def speed_and_depth(t: FloatArray, turns: FloatArray, floor: float) -> tuple[float, float]:
    """Speed before a drop near t = 0 and the drop's depth, both turns/s, from ``turns`` (n,) at ``t`` (n,) seconds.

    The speed falls at once and comes back exponentially, as under a speed loop: behind the drop the wheel lags by
    depth times tau (1 - exp(-t / tau)). When it began and how fast it recovers (tau) is not known: all are fitted, each
    weighed by how well it fits, as depth alone is ill told where tau is shorter than the samples' spacing.

    ``floor``: the least variance a point has, turns^2. At least five points, some of them on each side.
    """
    start, tau = (grid.ravel()[:, None] for grid in np.meshgrid(_STARTS_S, _RECOVERIES_S))
    lag = tau * -np.expm1(-np.maximum(t - start, 0.0) / tau)
    # A straight line is taken out of both; what is left of the lag is scaled to what is left of the turns.
    line = np.linalg.qr(np.column_stack([np.ones_like(t), t]))[0]
    bare_lag = lag - lag @ line @ line.T
    bare_turns = turns - line @ (line.T @ turns)
    strength = np.sum(bare_lag**2, axis=1)
    depth = -(bare_lag @ bare_turns) / np.maximum(strength, 1e-30)
    rest = np.sum((bare_turns + depth[:, None] * bare_lag) ** 2, axis=1)
    variance = max(float(rest.min()) / max(len(t) - 5, 1), floor)
    weight = np.exp(-(rest - rest.min()) / (2 * variance))
    deep = float(weight @ depth / weight.sum())
    behind = weight @ (depth[:, None] * lag) / weight.sum()
    return float(np.polyfit(t, turns + behind, 1)[0]), deep
