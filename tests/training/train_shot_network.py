"""Trains the shot network and writes its numbers: ``python tests/training/train_shot_network.py`` (about an
hour on two cores).

Adam (Kingma & Ba, arXiv:1412.6980, from memory) on the cross entropy; the same seed gives the same numbers.
"""

from __future__ import annotations

import argparse
import itertools
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from itertools import pairwise
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from random_wheels import Wheels, draw_wheels, read
from scipy.special import expit

from fieldtune.link.shots import shot_network
from fieldtune.link.shots.shot_network import (
    BEFORE,
    BEHIND,
    PAST_S,
    cell_length,
    inputs,
    means_around,
    means_between,
    past_of,
    summed,
)

FloatArray = NDArray[np.float64]
Float32Array = NDArray[np.float32]
BoolArray = NDArray[np.bool_]

SECONDS = 40.0
_FEWEST_PAST_S, _SLOWEST = 4.0, 0.1
_EVEN, _NEAR = 60, 50  # windows taken of a wheel: anywhere, and around changes of anything but shots
_BEFORE_S, _BEHIND_S = 0.5, 0.9
_NEXT = 2  # cells next to a shot are neither
_LOOKS = 12  # at the past
_READ = 3  # ways in which a wheel is read
_HIDDEN = (256, 96)
_BATCH, _RATE, _PASSES, _DECAY = 1024, 2e-3, 10, 1e-6


def windows(wheels: Wheels, one: int, rng: np.random.Generator) -> tuple[FloatArray, BoolArray]:
    """What the network sees (m, n) of one wheel, and which of them are a shot's."""
    t, turns, volts, apart_s = read(wheels, one, rng)
    volt_s = None if volts is None else summed(t, volts)
    cell = cell_length(max(apart_s, 0.01))
    at = t[(t > 1.0 + BEFORE * cell) & (t < t[-1] - BEHIND * cell)]
    speeds = means_around(t, turns, at, cell)
    fast = np.median(speeds, axis=1) > _SLOWEST * np.quantile(speeds, 0.9)
    at, speeds = at[fast], speeds[fast]
    shots, others = np.array([*wheels.shots[one], np.inf]), np.array([*wheels.others[one], np.inf])
    late = at - shots[np.maximum(np.searchsorted(shots, at, side="right") - 1, 0)]
    early = shots[np.searchsorted(shots, at, side="right")] - at
    is_shot = early <= max(apart_s, cell / 2)
    none = ~is_shot & (early > _NEXT * cell) & ((late > _NEXT * cell) | (late < 0))
    since = at[:, None] - others
    near = none & ((since > -_BEFORE_S) & (since < _BEHIND_S)).any(axis=1)
    taken = [np.flatnonzero(is_shot)]
    for some, most in ((none, _EVEN), (near, _NEAR)):
        which = np.flatnonzero(some)
        taken.append(rng.choice(which, min(len(which), most), replace=False))
    kept = np.concatenate(taken)
    expected = float(wheels.share[one] * np.exp(rng.normal(0, 0.35)))
    back_s = float(rng.uniform(_FEWEST_PAST_S, PAST_S))
    kept = np.sort(kept)
    levels = None if volt_s is None else means_around(t, volt_s, at, cell)
    seen = [inputs(speeds[:0], None, cell, expected, past_of(np.zeros(0), None))]
    for some in np.array_split(kept, _LOOKS):
        if len(some):
            until_s = at[some[0]]
            since_s = max(until_s - back_s, t[0])
            before = None if volt_s is None else means_between(t, volt_s, since_s, until_s, cell)
            past = past_of(means_between(t, turns, since_s, until_s, cell), before)
            around = None if levels is None else levels[some]
            seen.append(inputs(speeds[some], around, cell, expected, past))
    return np.vstack(seen), is_shot[kept]


def examples(batches: range, wheels: int, jobs: int) -> tuple[Float32Array, BoolArray]:
    """Windows of so many batches of wheels, and which are a shot's."""
    with ProcessPoolExecutor(jobs) as pool:
        batch = list(pool.map(partial(_batch, wheels=wheels), batches))
    return np.concatenate([seen for seen, _ in batch]), np.concatenate([shots for _, shots in batch])


def _batch(seed: int, wheels: int) -> tuple[Float32Array, BoolArray]:
    drawn = draw_wheels(wheels, SECONDS, seed)
    ways = itertools.product(range(wheels), range(_READ))
    some = [windows(drawn, one, np.random.default_rng([seed, one, way])) for one, way in ways]
    print(f"wheels of seed {seed}", flush=True)
    return np.concatenate([seen for seen, _ in some]).astype(np.float16), np.concatenate([are for _, are in some])


class Adam:
    """Steps for one array of numbers in place."""

    def __init__(self, numbers: Float32Array) -> None:
        self._numbers = numbers
        self._first, self._second = np.zeros_like(numbers), np.zeros_like(numbers)

    def step(self, slope: FloatArray, number: int, rate: float) -> None:
        """The step of a ``number`` from 1 on, down a slope."""
        self._first += 0.1 * (slope - self._first)
        self._second += 0.001 * (slope**2 - self._second)
        first, second = self._first / (1 - 0.9**number), self._second / (1 - 0.999**number)
        self._numbers -= rate * first / (np.sqrt(second) + 1e-8)


def train(seen: Float32Array, shots: BoolArray, held: tuple[Float32Array, BoolArray]) -> dict[str, Float32Array]:
    """Weights and offsets of the layers; ``held``: examples on which nothing is trained."""
    rng = np.random.default_rng(1)
    drawn = seen[::50].astype(np.float32)
    middle, spread = drawn.mean(0), drawn.std(0) + 1e-3
    held_seen = (held[0] - middle) / spread
    sizes = (seen.shape[1], *_HIDDEN, 1)
    layers = [
        (rng.normal(0, np.sqrt(2 / a), (a, b)).astype(np.float32), np.zeros(b, np.float32)) for a, b in pairwise(sizes)
    ]
    steps = [tuple(Adam(numbers) for numbers in layer) for layer in layers]
    batches = len(seen) // _BATCH
    for number in range(_PASSES):
        order, total = rng.permutation(len(seen)), 0.0
        for batch in range(batches):
            some = order[batch * _BATCH : (batch + 1) * _BATCH]
            done = number * batches + batch + 1
            rate = _RATE * 0.5 * (1 + np.cos(np.pi * done / (_PASSES * batches))) + 1e-5
            *values, odds = through(layers, (seen[some] - middle) / spread)
            total += _cross_entropy(odds[:, 0], shots[some])
            back = ((expit(odds) - shots[some, None]) / _BATCH).astype(np.float32)
            for layer, adam, value in reversed(list(zip(layers, steps, values, strict=True))):
                slopes = value.T @ back + _DECAY * layer[0], back.sum(0)
                back = (back @ layer[0].T) * (value > 0)
                for one, slope in zip(adam, slopes, strict=True):
                    one.step(slope, done, rate)
        missed = _cross_entropy(through(layers, held_seen)[-1][:, 0], held[1])
        print(f"pass {number}: {total / batches:.5f}, held {missed:.5f}", flush=True)
    weights, offsets = layers[0]
    weights = weights / spread[:, None]
    layers[0] = weights, offsets - middle @ weights
    named = {f"weights{i}": layer[0].astype(np.float32) for i, layer in enumerate(layers)}
    return named | {f"offsets{i}": layer[1].astype(np.float32) for i, layer in enumerate(layers)}


def through(layers: list[tuple[Float32Array, Float32Array]], seen: Float32Array) -> list[Float32Array]:
    """What goes into each layer, and the log odds (m, 1) that come out."""
    values = [seen]
    for weights, offsets in layers[:-1]:
        values.append(np.maximum(values[-1] @ weights + offsets, 0))
    return [*values, values[-1] @ layers[-1][0] + layers[-1][1]]


def _cross_entropy(odds: FloatArray, shots: BoolArray) -> float:
    return float(np.mean(np.logaddexp(0, np.where(shots, -odds, odds))))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--batches", type=int, default=81, help="of wheels")
    parser.add_argument("--wheels", type=int, default=512, help="a batch")
    parser.add_argument("--to", type=Path, default=Path(shot_network.__file__).with_name("shot_network.npz"))
    parser.add_argument("--jobs", type=int, default=2)
    chosen = parser.parse_args()
    seen, shots = examples(range(chosen.batches), chosen.wheels, chosen.jobs)
    held = examples(range(100_000, 100_002), chosen.wheels, chosen.jobs)
    np.savez_compressed(chosen.to, **train(seen, shots, held))


if __name__ == "__main__":
    main()
