"""A weighted decision table, and how firm it is: which change of a weight would let another candidate win.

Every criterion is scored as a share of the best candidate's figure (least for costs), so that scores run from 0 to 1
and a tie scores alike (the usual decision matrix; sensitivity as in Triantaphyllou, Multi-criteria Decision Making
Methods, 2000, chapter 8). A criterion that is not known of all candidates is left out and said.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.errors import InputError
from fieldtune.frozen import frozen
from fieldtune.units import closest

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray


@frozen
class Criterion:
    """One thing that counts: its name, whether more is better, and its weight unless told otherwise."""

    name: str
    more_is_better: bool
    weight: float


CRITERIA = (
    Criterion("hit_probability", True, 0.35),
    Criterion("reach_m", True, 0.20),
    Criterion("shots_per_minute", True, 0.15),
    Criterion("scatter_m", False, 0.10),
    Criterion("shot_energy_j", False, 0.05),
    Criterion("wear_energy_j", False, 0.05),
    Criterion("parts", False, 0.10),
)
"""What counts (a figure's name), with the weights that serve where nobody sets any."""


@frozen
class Flip:
    """A weight at which the winner changes: the criterion, its weight now and then (shares of 1), and who wins then."""

    criterion: str
    weight: float
    weight_then: float
    winner: str


@frozen
class Decision:
    """``scores[candidate][criterion]`` 0..1, ``totals`` weighted, ``winner`` None on a tie or with no criterion left.

    ``flips``: the least change of each single weight that lets another win, the smallest change first. ``left_out``:
    criteria not known of all candidates.
    """

    weights: dict[str, float]
    scores: dict[str, dict[str, float]]
    totals: dict[str, float]
    winner: str | None
    flips: tuple[Flip, ...]
    left_out: tuple[str, ...]


def decide(
    candidates: Sequence[str],
    figures: Mapping[str, Mapping[str, float | None]],
    criteria: Sequence[Criterion],
    weights: Mapping[str, float] | None = None,
) -> Decision:
    """The table. ``figures[candidate][criterion]``; ``weights`` by criterion name, any scale, replace those named.

    Raises ``InputError`` for an unknown criterion, a negative weight or weights that are all zero.
    """
    raw = _weights(criteria, weights)
    usable = [c for c in criteria if all(figures[name].get(c.name) is not None for name in candidates)]
    left_out = tuple(c.name for c in criteria if c not in usable)
    if not usable or sum(raw[c.name] for c in usable) <= 0:
        return Decision({}, {n: {} for n in candidates}, dict.fromkeys(candidates, 0.0), None, (), left_out)
    table = np.array([[float(figures[name][c.name] or 0.0) for c in usable] for name in candidates])
    shares = np.column_stack([_shares(table[:, k], c.more_is_better) for k, c in enumerate(usable)])
    weight = np.array([raw[c.name] for c in usable])
    weight = weight / weight.sum()
    totals = shares @ weight
    best = int(np.argmax(totals))
    tie = int((totals > totals[best] - 1e-12).sum()) > 1
    return Decision(
        weights={c.name: float(w) for c, w in zip(usable, weight, strict=True)},
        scores={name: {c.name: float(shares[i, k]) for k, c in enumerate(usable)} for i, name in enumerate(candidates)},
        totals={name: float(t) for name, t in zip(candidates, totals, strict=True)},
        winner=None if tie else candidates[best],
        flips=() if tie else _flips(candidates, [c.name for c in usable], shares, weight, best),
        left_out=left_out,
    )


def _weights(criteria: Sequence[Criterion], weights: Mapping[str, float] | None) -> dict[str, float]:
    known = {c.name: c.weight for c in criteria}
    for name, value in (weights or {}).items():
        if name not in known:
            raise InputError(f"weight {name!r}: no such criterion{closest(name, known)}; there are {', '.join(known)}")
        if not value >= 0 or value == float("inf"):
            raise InputError(f"weight {name!r}: found {value!r}; expected a number of zero or more")
        known[name] = float(value)
    if sum(known.values()) <= 0:
        raise InputError("weights: all are zero; give at least one criterion a weight")
    return known


def _shares(values: FloatArray, more_is_better: bool) -> FloatArray:
    """Share of the best, 0..1; the same figure scores the same."""
    if more_is_better:
        top = values.max()
        return np.asarray(values / top if top > 0 else np.ones_like(values))
    low = values.min()
    return np.asarray(np.where(values > 0, np.maximum(low, 0.0) / np.where(values > 0, values, 1.0), 1.0))


def _flips(
    candidates: Sequence[str], names: Sequence[str], shares: FloatArray, weight: FloatArray, best: int
) -> tuple[Flip, ...]:
    """Let one weight go from w to w', the others keeping their proportions; totals are then linear in w'."""
    flips = []
    for k, name in enumerate(names):
        now = weight[k]
        if now >= 1:
            continue
        others = (shares @ weight - now * shares[:, k]) / (1 - now)
        found: list[tuple[float, float, int]] = []
        for j in range(len(candidates)):
            gain = (shares[j, k] - shares[best, k]) - (others[j] - others[best])
            if j == best or gain == 0:
                continue
            then = (others[best] - others[j]) / gain
            if 0 <= then <= 1 and abs(then - now) > 1e-12:
                found.append((abs(then - now), float(then), j))
        if found:
            _, then, j = min(found)
            flips.append(Flip(name, float(now), then, candidates[j]))
    return tuple(sorted(flips, key=lambda flip: abs(flip.weight_then - flip.weight)))
