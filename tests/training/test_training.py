"""The wheels that the shot network is trained on lose what a shot is to take, and training tells shots of others."""

from __future__ import annotations

import numpy as np
import pytest
from random_wheels import STEP_S, draw_wheels
from train_shot_network import examples, train, windows


@pytest.fixture(scope="module")
def wheels():
    return draw_wheels(24, 20.0, 900)


def test_a_shot_takes_the_wheels_share(wheels):
    """Compared a few hundredths of a second before and behind, in which the drive makes little good."""
    taken, expected = [], []
    for one, shots in enumerate(wheels.shots):
        speeds = np.diff(wheels.turns[:, one]) / STEP_S
        for at_s in shots:
            at = round(at_s / STEP_S)
            if speeds[at - 1] > 5 and at + 40 <= len(speeds):
                taken.append(1 - speeds[at + 30 : at + 40].mean() / speeds[at - 10 : at].mean())
                expected.append(wheels.share[one])
    assert len(taken) > 100
    assert np.median(np.array(taken) / np.array(expected)) == pytest.approx(0.9, abs=0.2)


def test_wheels_turn_forwards_alone(wheels):
    assert (np.diff(wheels.turns, axis=0) >= -1e-9).all()


def test_a_shot_has_a_window_or_two_where_lines_are_close(wheels):
    shots = sum(windows(wheels, one, np.random.default_rng(one))[1].sum() for one in range(24))
    assert 0.5 < shots / sum(map(len, wheels.shots)) < 2.5


@pytest.mark.slow
def test_a_network_trained_on_few_wheels_tells_shots_of_others():
    seen, shots = examples(range(2), 64, 2)
    held = examples(range(500, 501), 64, 2)
    layers = train(seen, shots, held)
    values = held[0].astype(float)
    for i in range(2):
        values = np.maximum(values @ layers[f"weights{i}"] + layers[f"offsets{i}"], 0)
    odds = (values @ layers["weights2"] + layers["offsets2"])[:, 0]
    assert np.median(odds[held[1]]) > np.quantile(odds[~held[1]], 0.95)
