"""The error budget against shots thrown by the thousand, by a reference with laws of its own."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import reference_monte_carlo as reference
from monte_carlo_robots import believed, believed_of, plain
from reference_laws import exit_speed, flyer, spin_share
from reference_paths import Launches, fall_time
from robots import thrower
from thorough import thorough

from fieldtune import InputError, Session, load_robot
from fieldtune.aim.error_budget import Cause, error_budget
from fieldtune.aim.error_causes import KnownErrors, better_known, shapley_effects
from fieldtune.aim.places import Place
from fieldtune.learn import learn
from fieldtune.robot.model import Battery, Uncertainty

POINTS = 0.02
Draws = dict[str, np.ndarray]
UNKNOWN = {"exit speed": "log_speed", "exit angle": "angle", "drag": "log_drag", "friction": "log_drag",
           "distance reading": "distance", "side bias": "side"}  # fmt: skip
SCATTER = {"speed scatter": "speed_scatter", "angle scatter": "angle_scatter", "side scatter": "side_scatter"}
SPREAD = UNKNOWN | SCATTER


def smaller(draws: Draws, cause: str, by: float) -> Draws:
    """The believed draws with one cause made smaller; unknowns around their mean, which the aim allows for."""
    values = draws[SPREAD[cause]]
    middle = draws["weight"] @ values if cause in UNKNOWN and cause != "side bias" else 0.0
    return draws | {SPREAD[cause]: middle + (values - middle) * by}


def best_chance(session: Session, distance: float, setpoint: float, change: Callable[[Draws], Draws]) -> float:
    """The highest hit chance of the reference over setpoints around the recommended one."""
    of, target = plain(session.robot)
    chances = []
    for factor in np.linspace(0.96, 1.04, 9):
        draws = change(believed(session, setpoint * factor))
        chances.append(reference.hit_chance(of, target, distance, setpoint * factor, draws, power=9)[0])
    fit = np.polynomial.Polynomial.fit(np.linspace(-4, 4, 9), chances, 4)  # takes the chance out of the highest
    return float(fit(np.linspace(-4, 4, 81)).max())


def quiet(name: str) -> Session:
    """A demonstration robot that is known well enough for its scatter to count."""
    robot = load_robot(name)
    given = replace(robot.uncertainty, grip=0.012, efficiency=0.02, friction=0.02, exit_speed_scatter=0.02,
                    exit_angle_scatter=math.radians(1.2), exit_angle=math.radians(0.8), drag=0.1)  # fmt: skip
    return Session(replace(robot, uncertainty=given, targets=robot.targets[:1]))


@pytest.mark.parametrize("name", ["otter", *thorough("heron", "crane")])
def test_hit_chances_without_each_cause_and_with_half_of_it(name: str):
    session = quiet(name)
    distance = session.robot.spots[-1].distance
    (spot,) = session.budget(distance).spots
    assert spot.setpoint is not None
    assert spot.hit_probability == session.aim(distance).hit_probability
    as_is = best_chance(session, distance, spot.setpoint, lambda draws: draws)
    assert spot.hit_probability == pytest.approx(as_is, abs=POINTS)
    gains = []
    for cause in spot.causes:
        if cause.cause in SPREAD:
            for found, by in ((cause.without, 0.0), (cause.halved, 0.5)):
                anew = best_chance(session, distance, spot.setpoint, lambda d, c=cause, by=by: smaller(d, c.cause, by))
                assert found == pytest.approx(anew, abs=POINTS), (cause, by)
                gains.append(anew - as_is)
    assert max(gains) > 0.1  # there was something to find


def misses(of: dict[str, Any], target: dict[str, Any], shots: reference.Shots) -> tuple[np.ndarray, np.ndarray]:
    """Along (window: up) and to the right of the target's centre; metres, (n,) each."""
    if reference.on_floor(target):
        rest, _ = reference.reaches(of, shots)
        return rest * np.cos(shots.azimuth) - shots.distance, rest * np.sin(shots.azimuth)
    rise = target["height"] - of["launcher"]["exit_height"]
    launch = Launches.of(flyer(of), shots.speed, shots.elevation, shots.azimuth, spin_share(of) * shots.speed,
                         np.exp(shots.log_drag))  # fmt: skip
    if target["kind"] == "window":
        forward = np.maximum(launch.state[3], 1e-3)
        there, _ = launch.until(lambda q, lanes: shots.distance[lanes] - q[0], shots.distance / forward, rise - 30.0)
        return there[1] - rise, there[2]
    there, _ = launch.until(lambda q, lanes: q[1] - rise, fall_time(launch, rise), rise - 1.0)
    return there[0] - shots.distance, there[2]


@pytest.mark.parametrize("name", ["heron", "otter", *thorough("crane")])
def test_misses_and_shares_of_each_cause(name: str):
    """Each cause alone moves the reference's shots around the target's centre; what is believed is narrow enough for
    all of them to come down there."""
    session = quiet(name)
    robot, belief = session.robot, session.belief
    of, target = plain(robot)
    distance = robot.spots[1].distance
    near = {"gain": 0.3 * belief.draws.gain, "speed_scatter": 0.4 * belief.draws.speed_scatter}
    belief = replace(belief, draws=replace(belief.draws, **near))
    budget = error_budget(robot, robot.targets[0], belief, [Place(distance)], KnownErrors(None, 0.0))
    (spot,) = budget.spots
    assert spot.setpoint is not None
    assert sum(cause.share for cause in spot.causes if cause.share is not None) == pytest.approx(1, abs=0.01)
    draws = believed_of(belief, spot.setpoint)
    middle = {key: np.full_like(values, draws["weight"] @ values) for key, values in draws.items()}
    still = middle | dict.fromkeys(SCATTER.values(), 0 * draws["weight"]) | {"weight": draws["weight"]}
    still["log_speed"] = 0 * still["log_speed"] + _centred(of, target, distance, spot.setpoint, still)
    squares = {}
    for cause in spot.causes:
        if cause.cause in SPREAD:
            key = SPREAD[cause.cause]
            moved = draws[key] if key in SCATTER.values() else still[key] + draws[key] - middle[key]
            shots = reference.drawn_shots(of, target, distance, spot.setpoint, still | {key: moved}, power=11)
            along, aside = misses(of, target, shots)
            lost = np.isnan(along) | np.isnan(aside)  # a few in the far tail never get up to the target
            assert lost.mean() < 0.001
            squares[cause.cause] = float(np.mean((along**2 + aside**2)[~lost]))
            assert cause.miss_m == pytest.approx(math.sqrt(squares[cause.cause]), rel=0.08, abs=0.006), cause
    whole = sum(squares.values())
    for cause in spot.causes:
        if cause.cause in squares:
            assert cause.share == pytest.approx(squares[cause.cause] / whole, abs=POINTS), cause


def _centred(of: dict[str, Any], target: dict[str, Any], distance: float, setpoint: float, still: Draws) -> float:
    """Log factor on the exit speed that brings a shot without any error to the target's centre, by bisection."""
    low, high = -0.6, 0.6
    for _ in range(40):
        factor = (low + high) / 2
        shot = reference.Shots(
            exit_speed(of, setpoint) * np.exp([factor]), of["launcher"]["exit_angle"] + still["angle"][:1],
            np.zeros(1), still["log_drag"][:1], distance + still["distance"][:1],
        )  # fmt: skip
        beyond = misses(of, target, shot)[0][0] >= 0  # nan: it doesn't even get up there
        low, high = (low, factor) if beyond else (factor, high)
    return low


def test_shapley_effects_of_two_correlated_causes():
    """Iooss & Prieur, Int. J. Uncertainty Quantification 9 (2019) 493, section 3.1 (from memory): two normals."""
    a, b, s, t, rho = 1.3, -0.7, 0.4, 0.9, 0.6
    covariance = np.array([[s * s, rho * s * t], [rho * s * t, t * t]])
    first = a * a * s * s * (1 - rho**2 / 2) + rho * a * b * s * t + b * b * t * t * rho**2 / 2
    second = b * b * t * t * (1 - rho**2 / 2) + rho * a * b * s * t + a * a * s * s * rho**2 / 2
    assert shapley_effects(covariance, np.array([a, b])) == pytest.approx([first, second])


def test_shapley_effects_of_many_causes_sum_to_the_variance_and_are_plain_where_nothing_is_correlated():
    rng = np.random.default_rng(4)
    root, slopes = rng.normal(size=(4, 4)), rng.normal(size=4)
    covariance = root @ root.T
    assert shapley_effects(covariance, slopes).sum() == pytest.approx(slopes @ covariance @ slopes)
    apart = np.diag([1.0, 4.0, 9.0, 0.25])
    assert shapley_effects(apart, slopes) == pytest.approx(slopes**2 * np.diag(apart))


def test_after_shots_a_known_exit_speed_narrows_what_goes_with_it():
    """Among very many draws, those near one exit speed show what is left unknown of the friction when it is known."""
    robot = load_robot("otter")
    session = Session(robot)
    for distance, setpoint, miss in ((1.0, 23, 0.08), (2.6, 40, -0.1), (1.8, 32, 0.02), (1.4, 28, 0.05)):
        session.confirm(distance, setpoint, miss_m=miss)
    belief = learn(robot, session.log.shots(), draws=20_000).belief
    level = belief.basis.at(32.0)[0]
    speed, friction = belief.draws.gain @ level, belief.draws.log_drag
    assert abs(np.corrcoef(speed, friction)[0, 1]) > 0.5
    near = np.abs(speed - np.median(speed)) < 0.1 * speed.std()
    known = better_known(belief, level, 0, 1.0)
    assert (known.draws.gain @ level).std() < 1e-9
    assert known.draws.log_drag.std() == pytest.approx(friction[near].std(), rel=0.08)
    half = better_known(belief, level, 0, 0.5)
    assert (half.draws.gain @ level).std() == pytest.approx(speed.std() / 2, rel=1e-6)


def test_shares_sum_to_one_after_shots_too_and_no_known_cause_harms():
    session = Session(load_robot("heron"))
    for distance, setpoint, miss in ((1.5, 1330, 0.08), (3.2, 1760, -0.1), (2.6, 1610, 0.02), (2.0, 1450, 0.05)):
        session.confirm(distance, setpoint, miss_m=miss, side_m=0.06 * distance, speed=setpoint - 12.0)
    budget = session.budget()
    assert [spot.spot for spot in budget.spots] == ["quay edge", "near line", "mid field", "far line"]
    for spot in budget.spots:
        causes = {cause.cause: cause for cause in spot.causes}
        assert sum(cause.share or 0 for cause in spot.causes) == pytest.approx(1, abs=0.01)
        assert causes["hold error"].miss_m is not None  # the log has measured speeds
        assert causes["hold error"].miss_m > 0
        assert spot.hit_probability is not None
        for cause in spot.causes:
            assert cause.without is not None
            assert cause.without >= spot.hit_probability - 0.01
    bias = next(c for c in budget.spots[-1].causes if c.cause == "side bias")
    assert bias.miss_m is not None
    assert 0.6 * 0.06 * 3.2 < bias.miss_m < 1.1 * 0.06 * 3.2  # four shots against a bias that the profile doubts


def test_the_hold_error_is_a_part_of_the_speed_scatter():
    session = quiet("heron")
    (without,), (held,) = session.budget(2.0).spots, session.budget(2.0, hold=0.01).spots
    assert held.hit_probability == without.hit_probability

    def square(spot: Any, name: str) -> float:
        cause: Cause = next(c for c in spot.causes if c.cause == name)
        return (cause.miss_m or 0.0) ** 2

    assert square(held, "speed scatter") + square(held, "hold error") == pytest.approx(
        square(without, "speed scatter"), rel=0.01
    )
    scatter = session.belief.weights @ session.belief.draws.speed_scatter**2
    assert square(held, "hold error") / square(without, "speed scatter") == pytest.approx(0.01**2 / scatter, rel=0.01)
    with pytest.raises(InputError, match="share of the setpoint"):
        session.budget(2.0, hold=3.0)


def test_an_open_loop_misses_by_its_battery_unless_the_voltage_is_known():
    """A pack of unknown charge spreads the wheel's speed as its voltage: checked by throwing with drawn voltages."""
    given = Uncertainty(grip=0.01, exit_angle=0.005, drag=0.02)
    robot = replace(thrower(given, unit="%"), battery=Battery("nimh", 8, 0.09))
    session = Session(robot)
    (unknown,), (measured,) = session.budget(2.0).spots, session.budget(2.0, battery_v=9.8).spots
    lost = next(c for c in unknown.causes if c.cause == "battery")
    assert lost.miss_m is not None
    assert lost.miss_m > 0.02
    assert "battery" not in {c.cause for c in measured.causes}
    assert lost.without == pytest.approx(measured.hit_probability, abs=POINTS)


def test_a_coarse_step_shows_where_it_costs():
    session = quiet("heron")
    belief = session.belief
    known = replace(belief, draws=replace(belief.draws, gain=0.1 * belief.draws.gain))

    def budget(step: float, place: float) -> Any:
        robot = replace(session.robot, setpoint=replace(session.robot.setpoint, step=step))
        return error_budget(robot, robot.targets[0], known, [Place(place)], KnownErrors(None, 0.0)).spots[0]

    fine, coarse = budget(1.0, 2.6), budget(100.0, 2.6)
    step = next(cause for cause in coarse.causes if cause.cause == "setpoint step")
    assert step.without == pytest.approx(fine.hit_probability, abs=POINTS)
    assert step.without > coarse.hit_probability + 0.05
    assert step.miss_m > 0.05


def test_a_distance_that_nothing_scores_from():
    budget = Session(load_robot("heron")).budget(9.0)
    assert budget.spots[0].hit_probability is None
    assert budget.spots[0].causes == ()
    assert "too far" in (budget.spots[0].why_not or "")
    assert budget.mend_first is None
