"""What a shot takes out of the wheels, against an element carried through the contact step by step."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

from fieldtune.physics import flywheel, grip_bound

sys.path.insert(0, str(Path(__file__).parent))
from contact_reference import Pass, rolled_through

SOLID, SHELL = 2 / 5, 2 / 3
impulse_drop, largest_grip = flywheel.impulse_drop, grip_bound.largest_grip


class Pairs:
    """n random wheels and elements: light foam to heavy balls, wheels of 30 to 200 mm; invented."""

    def __init__(self, n: int, seed: int, equal: bool = False) -> None:
        rng = np.random.default_rng(seed)
        self.mass = np.exp(rng.uniform(np.log(0.003), np.log(0.6), n))
        self.share = rng.choice([SOLID, SHELL], n)
        self.radius = rng.uniform(0.015, 0.10, n)
        # The element's mass at the rim, over the wheels' inertia: 0.3 % to as much again.
        self.load = np.exp(rng.uniform(np.log(0.003), np.log(1.0), n))
        self.inertia = self.mass * self.radius**2 / self.load / 2
        self.ratio = np.ones(n) if equal else np.exp(rng.uniform(np.log(0.4), np.log(2.5), n))
        lower = rng.uniform(100, 600, n)
        self.speed = np.stack([lower, lower * self.ratio])

    def passed(self, push: float | np.ndarray = 50.0, rail: bool = False, steps: int = 400) -> Pass:
        """``push`` in units of what the element would take at the rims' mean speed: large means that it rolls out."""
        whole = push * self.mass * self.radius * self.speed.mean(axis=0)
        return rolled_through(
            self.mass, self.share * self.mass, self.radius, self.inertia, self.speed, whole, rail, steps
        )

    def energy(self, speed: np.ndarray) -> np.ndarray:
        return (self.inertia * speed**2).sum(axis=0) / 2


def test_an_equal_pair_gives_up_the_momentum_that_the_element_gets():
    """Sum of I dw = -m v r, slipping or not."""
    pairs = Pairs(100, 1, equal=True)
    for push in (0.2, 0.45, 50.0):
        out = pairs.passed(push)
        lost = (pairs.inertia * (pairs.speed - out.wheel_speed)).sum(axis=0)
        np.testing.assert_allclose(lost, pairs.mass * out.speed * pairs.radius, rtol=1e-9)
        np.testing.assert_allclose(out.spin, 0.0, atol=1e-9)


def test_one_wheel_against_a_rail_gives_up_half_of_mass_and_spin():
    """J = (m + I / R^2) v / 2, once the element rolls: linear and angular momentum of a rolling body (textbook)."""
    pairs = Pairs(100, 2)
    out = pairs.passed(rail=True)
    np.testing.assert_allclose(out.spin, out.speed, rtol=1e-9)
    np.testing.assert_allclose(out.impulse[0], (1 + pairs.share) * pairs.mass * out.speed / 2, rtol=1e-9)
    lost = pairs.inertia * (pairs.speed[0] - out.wheel_speed[0])
    np.testing.assert_allclose(lost, out.impulse[0] * pairs.radius, rtol=1e-9)


@pytest.mark.parametrize("rail", [False, True])
def test_impulses_follow_from_speed_and_spin(rail: bool):
    """One law for both layouts: J = (m v +- I w / R) / 2, lower and upper, whatever slips."""
    pairs = Pairs(100, 3)
    for push in (0.2, 0.6, 50.0):
        out = pairs.passed(push, rail)
        forward, turning = pairs.mass * out.speed, pairs.share * pairs.mass * out.spin
        np.testing.assert_allclose(out.impulse, np.stack([forward + turning, forward - turning]) / 2, atol=1e-9)


def test_grip_stays_below_what_momentum_allows():
    """Pair: 1 / (1 + m r^2 / sum of I), equal or not; wheel and rail: 1 / (1 + (m + I / R^2) r^2 / (4 I_wheel))."""
    pairs = Pairs(200, 4)
    for rail in (False, True):
        most = 1 / (1 + (1 + pairs.share) * pairs.load / 2) if rail else 1 / (1 + pairs.load)
        for push in (0.2, 0.4, 0.6):
            assert np.all(pairs.passed(push, rail).grip <= most + 1e-9)
        np.testing.assert_allclose(pairs.passed(rail=rail).grip, most, rtol=1e-9)


def test_spin_of_an_unequal_pair_keeps_a_larger_share_than_speed():
    """Rolling out, the rims' difference is held back by I / R^2 alone: 1 / (1 + (I / R^2) r^2 / sum of I_wheel)."""
    pairs = Pairs(100, 5)
    out = pairs.passed()
    before = (pairs.speed[0] - pairs.speed[1]) * pairs.radius / 2
    np.testing.assert_allclose(out.spin, before / (1 + pairs.share * pairs.load), rtol=1e-9)


def test_slipping_out_an_unequal_pair_gives_less_spin_than_its_rims_differ_by():
    """While both contacts slip they push alike and nothing turns: spin starts when the slower rim has caught up."""
    pairs = Pairs(200, 6)
    out = pairs.passed(0.3)
    both = (np.abs(out.slip) > 1e-6).all(axis=0)
    assert both.sum() > 20
    np.testing.assert_allclose(out.spin[both], 0.0, atol=1e-9)


@pytest.mark.parametrize("rail", [False, True])
def test_energy_is_kept(rail: bool):
    """Wheels lose what the element carries away and what slip turns to heat."""
    pairs = Pairs(200, 7)
    for push in (0.2, 0.5, 50.0):
        out = pairs.passed(push, rail)
        after = out.wheel_speed.copy()
        if rail:
            after[1] = pairs.speed[1]
        lost = pairs.energy(pairs.speed) - pairs.energy(after)
        carried = pairs.mass * (out.speed**2 + pairs.share * out.spin**2) / 2
        np.testing.assert_allclose(lost, carried + out.heat, rtol=1e-9)


def test_as_much_goes_to_heat_as_into_the_element():
    """The conveyor-belt result (textbook): of work done at a constant speed half becomes motion. Heavy wheels."""
    pairs = Pairs(100, 8, equal=True)
    pairs.inertia = pairs.mass * pairs.radius**2 * 1e4
    out = pairs.passed()
    carried = pairs.mass * out.speed**2 / 2
    np.testing.assert_allclose(out.heat, carried, rtol=1e-3)
    # Slipping out at some grip, the wheels give twice the element's energy over the grip.
    out = pairs.passed(0.3)
    given = pairs.energy(pairs.speed) - pairs.energy(out.wheel_speed)
    np.testing.assert_allclose(given, pairs.mass * out.speed**2 / out.grip, rtol=1e-3)


def test_the_contact_time_does_not_matter():
    """What presses is given as an impulse; a coarser clock changes nothing but rounding of where slip ends."""
    pairs = Pairs(50, 9)
    np.testing.assert_allclose(pairs.passed(0.5, steps=100).speed, pairs.passed(0.5).speed, rtol=1e-3)


@pytest.mark.parametrize("rail", [False, True])
def test_the_program_s_drop_of_200_wheels_and_elements(rail: bool):
    """Drop of each wheel and energy lost within 5 % of the sum over both wheels."""
    pairs = Pairs(200, 10)
    push = np.random.default_rng(11).uniform(0.35, 2.0, 200)
    out = pairs.passed(push, rail)
    found = impulse_drop(
        pairs.mass,
        out.speed,
        pairs.radius,
        pairs.inertia,
        pairs.speed[0],
        wheels=1 if rail else 2,
        speed_ratio=pairs.ratio,
        inertia_ratio=pairs.share,
    )
    before = pairs.speed[:1] if rail else pairs.speed
    drop = before - out.wheel_speed[: len(before)]
    whole = drop.sum(axis=0)
    assert found.drop.shape == drop.shape
    rolls = (np.abs(out.slip) < 1e-6).all(axis=0)  # with slip at the exit the spin isn't known from the speed
    assert np.max(np.abs(found.drop.sum(axis=0) - whole)[rolls] / whole[rolls]) < 0.05
    assert np.max((np.abs(found.drop - drop) / whole)[:, rolls]) < 0.05
    if not rail:
        assert np.max(np.abs(found.drop.sum(axis=0) - whole) / whole) < 0.05
    lost = (pairs.inertia / 2 * (before**2 - out.wheel_speed[: len(before)] ** 2)).sum(axis=0)
    assert np.max(np.abs(found.energy - lost)[rolls] / lost[rolls]) < 0.05


@pytest.mark.parametrize("rail", [False, True])
def test_the_program_s_largest_grip(rail: bool):
    pairs = Pairs(200, 12)
    total = pairs.inertia * (1 if rail else 2)
    most = largest_grip(pairs.mass, pairs.radius, total, wheels=1 if rail else 2, inertia_ratio=pairs.share)
    np.testing.assert_allclose(most, pairs.passed(rail=rail).grip, rtol=1e-6)
