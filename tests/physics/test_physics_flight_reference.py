"""Truncation error of the batch flight against an independent integration at 1e-12."""

import sys
from pathlib import Path

import numpy as np
import pytest

from fieldtune.physics.air import standard_air
from fieldtune.physics.flight import fly
from fieldtune.physics.flying_body import ball

sys.path.insert(0, str(Path(__file__).parent))
from flight_reference import legal_body, legal_launches, reference

FIELD = 20.0
"""Heights (m) beyond this below the exit are under any floor: what the path does there is nobody's business."""

HEIGHT_TOLERANCE = 1e-4
"""The promise: 0.1 mm at the target."""


def worst_errors(seed: int, bodies: int, launches: int) -> tuple[float, float, float, int]:
    """Worst error of height, apex (m) and time (s), and how many launches were compared."""
    rng = np.random.default_rng(seed)
    worst, compared = np.zeros(3), 0
    for _ in range(bodies):
        body = legal_body(rng)
        speed, elevation, spin, distance, log_drag = legal_launches(rng, launches)
        there = fly(body, speed, elevation, spin, distance, log_drag)
        for i in range(launches):
            if not abs(there.height[i]) < FIELD:
                continue
            exact = reference(body, speed[i], elevation[i], spin[i], distance[i], log_drag[i])
            assert exact is not None, (body, speed[i], elevation[i], spin[i], distance[i], log_drag[i])
            errors = there.height[i] - exact[0], there.apex[i] - exact[4], there.time[i] - exact[3]
            worst, compared = np.maximum(worst, np.abs(errors)), compared + 1
    return float(worst[0]), float(worst[1]), float(worst[2]), compared


def test_truncation_error_of_some_hundred_legal_launches():
    height, apex, time, compared = worst_errors(seed=11, bodies=15, launches=12)
    assert compared > 90
    assert height < HEIGHT_TOLERANCE
    # The apex is read off a quintic through the step's ends: a figure to show in centimetres.
    assert apex < 2e-3
    assert time < 1e-4


@pytest.mark.slow
def test_truncation_error_of_ten_thousand_legal_launches():
    height, apex, time, compared = worst_errors(seed=2, bodies=500, launches=30)
    print(f"\nworst of {compared} launches: {height * 1e3:.4f} mm high, {apex * 1e3:.3f} mm apex, {time * 1e6:.1f} us")
    assert compared >= 9000
    assert height < HEIGHT_TOLERANCE


def test_lost_launches_are_lost():
    """Where the batch says nan, the reference turns vertical too (or has to fall out of the field to get there)."""
    body = ball(0.01, 0.12, standard_air(0.0), "felt")
    speed, elevation, spin, distance, log_drag = legal_launches(np.random.default_rng(5), 60)
    there = fly(body, speed, elevation, spin, distance, log_drag)
    lost = np.flatnonzero(np.isnan(there.height))[:8]
    assert lost.size
    for i in lost:
        exact = reference(body, speed[i], elevation[i], spin[i], distance[i], log_drag[i])
        assert exact is None or exact[0] < -FIELD


@pytest.mark.parametrize("surface", ["smooth", "seamed"])
def test_through_the_drag_crisis(surface):
    """A large light ball that slows through the crisis in flight: the coefficient grows fivefold on the way."""
    body = ball(0.3, 0.3, standard_air(0.0), surface)
    speeds = np.linspace(10.0, 26.0, 9)
    there = fly(body, speeds, 0.5, 0.0, 8.0)
    for i, speed in enumerate(speeds):
        exact = reference(body, speed, 0.5, 0.0, 8.0)
        assert there.height[i] == pytest.approx(exact[0], abs=HEIGHT_TOLERANCE)
