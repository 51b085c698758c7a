"""Own rpm of encoders with few edges a turn, as student programs work it out: timed from edge to edge, or counted.

Written apart from the product. Wheels are the tests' own (``wheel_controllers``); all figures are invented.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from wheel_controllers import FloatArray, WheelRun


def edges(wheel: WheelRun, per_turn: int, uneven: float = 0.0, missed: float = 0.0, seed: int = 0) -> FloatArray:
    """Times (n,) of edges. ``uneven``: most by which neighbouring marks are apart, of the mean, more or less.

    ``missed``: share of edges that the program doesn't see.
    """
    rng = np.random.default_rng([seed, 21])
    off = rng.uniform(-1, 1, per_turn)
    off *= uneven / np.abs(np.diff(np.append(off, off[0]))).max() / per_turn if uneven else 0.0
    k = np.arange(1, int(wheel.turns[-1] * per_turn))
    turning = np.append(True, np.diff(wheel.turns) > 0)
    at = np.interp(k / per_turn + off[k % per_turn], wheel.turns[turning], wheel.t[turning])
    return at[rng.random(len(at)) >= missed] if missed else at


def timed(wheel: WheelRun, at: FloatArray, per_turn: int, rate_hz: float) -> Iterator[tuple[float, bytes]]:
    """Lines of a program that says the time between its last two edges as rpm, and 0 half a second behind an edge."""
    micros = np.floor(at * 1e6)
    for now in np.arange(0.0, wheel.t[-1], 1 / rate_hz):
        last = int(np.searchsorted(at, now, side="right")) - 1
        turns = last > 0 and now - at[last] < 0.5
        yield _line(now, 60e6 / per_turn / (micros[last] - micros[last - 1]) if turns else 0.0)


def counted(
    wheel: WheelRun, at: FloatArray, per_turn: int, rate_hz: float, window_s: float, seed: int = 0
) -> Iterator[tuple[float, bytes]]:
    """Lines of a program that counts edges over ``window_s``, in a loop that is up to a millisecond late."""
    rng = np.random.default_rng([seed, 22])
    ends = np.arange(0.0, wheel.t[-1], window_s)
    ends += rng.uniform(0, 0.001, len(ends))
    rpm = 60 * np.diff(np.searchsorted(at, ends)) / per_turn / np.diff(ends)
    for now in np.arange(2 * window_s, wheel.t[-1] - 2 * window_s, 1 / rate_hz):
        yield _line(now, rpm[int(np.searchsorted(ends, now, side="right")) - 2])


def _line(now: float, rpm: float) -> tuple[float, bytes]:
    return float(now), f"t_ms={int(now * 1000) + 3000},wheel_rpm={rpm:.2f},battery_mv=12200\n".encode()
