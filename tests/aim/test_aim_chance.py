"""Hit probabilities and recommendations against brute force."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from robots import BALL, BASKET, DISC, GATE, PLAIN_BALL, WINDOW, ZONE, belief, make_robot
from thorough import thorough

from fieldtune.aim.distance_table import table
from fieldtune.aim.draws import Unknowns, log_speed
from fieldtune.aim.predicted_path import picture
from fieldtune.aim.recommend import hit_chance, recommend
from fieldtune.aim.required_speed.choice import required_speed_for
from fieldtune.aim.setpoint_search import NEARLY_AS_WELL
from fieldtune.aim.stand import stand
from fieldtune.errors import InputError
from fieldtune.robot.exit_speed import drive_quantity
from fieldtune.robot.model import Element, Robot, Target, Uncertainty

G = 9.80665
CASES = [
    ("flywheel", BALL, BASKET, 2.4),
    ("flywheel", BALL, WINDOW, 2.4),
    ("flywheel", BALL, replace(BASKET, opening=(0.3, 0.4)), 2.0),
    ("striker", DISC, ZONE, 2.0),
    ("striker", DISC, GATE, 2.0),
    ("arm", BALL, WINDOW, 3.0),
    ("arm", BALL, BASKET, 3.0),
]


def thrown_in(
    of: Robot, target: Target, distance: float, setpoint: float, unknowns: object, rng: np.random.Generator
) -> float:
    """Share of 200,000 vacuum throws that fall through the basket, counted by geometry alone."""
    n = 200_000
    pick = rng.integers(0, len(unknowns.angle_error), n)
    z = log_speed(of, belief(of).basis, unknowns, drive_quantity(of, setpoint))[:, 0][pick]
    v = np.exp(z) * (1 + unknowns.speed_scatter[pick] * rng.standard_normal(n))
    angle = of.launcher.exit_angle + unknowns.angle_error[pick] + unknowns.angle_scatter[pick] * rng.standard_normal(n)
    rise = target.height - of.launcher.exit_height
    vy = v * np.sin(angle)
    up = vy**2 > 2 * G * rise
    time = (vy + np.sqrt(np.where(up, vy**2 - 2 * G * rise, 0.0))) / G
    fall = np.sqrt(np.where(up, vy**2 - 2 * G * rise, 1.0))
    true = distance + unknowns.distance_bias[pick]
    depth = v * np.cos(angle) * time - true
    aside = true * (unknowns.side_bias[pick] + unknowns.side_scatter[pick] * rng.standard_normal(n))
    sine = fall / np.hypot(fall, v * np.cos(angle))
    half_depth = (target.opening[0] - 0.07 / sine) / 2
    half_side = (target.opening[0] - 0.07) / 2
    return float(np.mean(up & ((depth / half_depth) ** 2 + (aside / half_side) ** 2 < 1) & (half_depth > 0)))


@pytest.mark.parametrize("spread", [0.0, 0.3, 1.0])
@pytest.mark.parametrize("setpoint", [2150, 2250, 2350])
def test_hit_probability_is_the_counted_share(spread: float, setpoint: float) -> None:
    """Tolerance 0.012: three standard errors of the count (0.0034) and the linearised scatter (under 0.008)."""
    of = make_robot(element=PLAIN_BALL)
    held = belief(of, spread, count=400)
    counted = thrown_in(of, BASKET, 2.4, setpoint, held.draws, np.random.default_rng(1))
    assert hit_chance(of, BASKET, held, 2.4, setpoint) == pytest.approx(counted, abs=0.012)


@pytest.mark.parametrize(
    ("kind", "element", "target", "distance", "spread"),
    [
        *((*case, (0.05, 1.0)[i % 2]) for i, case in enumerate(CASES)),
        *thorough(*((*case, (1.0, 0.05)[i % 2]) for i, case in enumerate(CASES))),
    ],
)
def test_no_setpoint_scores_noticeably_more_than_the_recommended(
    kind: str, element: Element, target: Target, distance: float, spread: float
) -> None:
    """Against a dense grid of every setpoint the robot accepts."""
    of = make_robot(kind, element=element, target=target)
    held = belief(of, spread)
    aim = recommend(of, target, held, distance)
    grid = np.arange(of.setpoint.low, of.setpoint.high + 1e-9, of.setpoint.step)
    best = max(hit_chance(of, target, held, distance, float(s)) for s in grid[:: max(1, len(grid) // 400)])
    assert aim.reachable
    assert aim.hit_probability is not None
    assert aim.hit_probability >= best - 0.006
    assert aim.setpoint.low <= aim.setpoint.value <= aim.setpoint.high
    for edge in (aim.setpoint.low, aim.setpoint.high):
        if of.setpoint.low < edge < of.setpoint.high:
            assert hit_chance(of, target, held, distance, edge) == pytest.approx(NEARLY_AS_WELL * best, abs=0.04)
    low, high = aim.hit_probability_90
    assert 0 <= low <= high <= 1


@pytest.mark.parametrize(("kind", "element", "target", "distance"), CASES)
def test_standing_is_the_inverse_of_aiming(kind: str, element: Element, target: Target, distance: float) -> None:
    of = make_robot(kind, element=element, target=target)
    held = belief(of, 0.05)
    aim = recommend(of, target, held, distance)
    spots = stand(of, target, held, aim.setpoint.value)
    assert spots
    # A gate only asks for speed enough: nearer is better, since the side miss grows with the distance.
    assert any(
        (target.kind == "gate" or s.low_m - 0.02 <= distance)
        and (s.high_m + 0.02 >= distance or s.hit_probability > aim.hit_probability)
        for s in spots
    )
    assert sum(s.forgives_most for s in spots) == 1


def test_a_window_is_scored_on_the_way_up_and_on_the_way_down() -> None:
    """Each standing place once, with stretches apart; aiming from there asks for that setpoint or scores as well."""
    of = make_robot("arm", element=BALL, target=WINDOW)
    held = belief(of, 0.05)
    far = next(d for d in (2.5, 2.0, 1.6) if recommend(of, WINDOW, held, d).reachable)
    setpoint = recommend(of, WINDOW, held, far).setpoint.value
    spots = sorted(stand(of, WINDOW, held, setpoint), key=lambda s: s.distance_m)
    assert len(spots) == 2
    near, other = spots
    assert near.low_m <= near.distance_m <= near.high_m < other.low_m <= other.distance_m <= other.high_m
    assert other.low_m - 0.02 <= far <= other.high_m + 0.02
    for spot in spots:
        chance = hit_chance(of, WINDOW, held, spot.distance_m, setpoint)
        assert spot.hit_probability == pytest.approx(chance, abs=0.03)


def test_sensitivities_are_what_moving_really_does() -> None:
    """A degree, a step and a centimetre, each against the vacuum parabola solved again; 2 % for the finite step."""
    of = make_robot(element=PLAIN_BALL)
    held = belief(of, 0.0)
    aim = recommend(of, BASKET, held, 2.4)
    s = aim.sensitivity

    def lands(speed: float, angle: float) -> float:
        vy = speed * math.sin(angle)
        return speed * math.cos(angle) * (vy + math.sqrt(vy**2 - 2 * G * 0.57)) / G

    v, a = math.exp(required_speed_for(of, BASKET).log_speed(2.4).value[0]), of.launcher.exit_angle
    step = v * 10 / aim.setpoint.value
    assert s.per_step_m == pytest.approx((lands(v + step, a) - lands(v - step, a)) / 2, rel=0.02)
    degree = math.radians(1)
    assert s.per_degree_m == pytest.approx((lands(v, a + degree) - lands(v, a - degree)) / 2, rel=0.05, abs=2e-4)
    assert s.per_cm_m == pytest.approx(-0.01)
    assert s.per_volt_m == 0.0
    assert s.per_10_degC_m == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(
    ("distance", "words"),
    [(0.5, "too close"), (0.85, "still be rising"), (40.0, "too far"), (1.06, "comes in at")],
)
def test_what_cannot_be_reached_is_said_with_the_nearest_that_can(distance: float, words: str) -> None:
    target = replace(BASKET, opening=(0.15,)) if "comes" in words else BASKET
    of = make_robot(target=target)
    aim = recommend(of, target, belief(of, 0.02), distance)
    assert not aim.reachable
    assert aim.setpoint.value is None
    assert aim.hit_probability is None
    assert words in aim.cautions[0]
    assert aim.nearest_m is not None
    assert recommend(of, target, belief(of, 0.02), aim.nearest_m).setpoint.value is not None


def test_lift_above_the_line_of_departure_is_refused_with_its_reason() -> None:
    """A ball of 5 kg/m^3 with backspin may rise above the line in which it left: that isn't calculated, and said."""
    light = replace(BALL, mass=0.02, diameter=0.2)
    heavy = make_robot(element=BALL, target=BASKET, mechanism={"speed_ratio": 0.4})
    of = make_robot(element=light, target=BASKET, mechanism={"speed_ratio": 0.4})
    said = recommend(of, BASKET, belief(of, 0.02), 0.35).cautions[0]
    assert "line of departure isn't calculated" in said
    assert "line of departure" not in recommend(heavy, BASKET, belief(heavy, 0.02), 0.35).cautions[0]


def test_an_element_that_does_not_fit_is_said() -> None:
    target = replace(BASKET, opening=(0.06,))
    aim = recommend(make_robot(target=target), target, belief(make_robot()), 2.0)
    assert not aim.reachable
    assert "does not fit" in aim.cautions[0]


@pytest.mark.parametrize("distance", [0.0, -1.0, math.nan, math.inf, 500.0])
def test_a_distance_that_is_none_is_refused(distance: float) -> None:
    with pytest.raises(InputError, match="distance"):
        recommend(make_robot(), BASKET, belief(make_robot()), distance)


def test_table_rows_agree_with_single_recommendations() -> None:
    of, held = make_robot(), belief(make_robot(), 0.3)
    rows = table(of, BASKET, held, [1.5, 2.0, 2.5, 30.0])
    for row in rows[:3]:
        aim = recommend(of, BASKET, held, row.distance_m)
        assert (row.setpoint, row.hit_probability) == (aim.setpoint.value, aim.hit_probability)
    assert rows[3].setpoint is None


def test_the_band_of_the_picture_holds_the_path_and_widens() -> None:
    of = make_robot()
    held = belief(of, 0.3)
    drawn = picture(of, BASKET, held, 2.4, recommend(of, BASKET, held, 2.4).setpoint.value)
    assert np.all(drawn.low_y <= drawn.y + 1e-9)
    assert np.all(drawn.y <= drawn.high_y + 1e-9)
    widths = drawn.high_y - drawn.low_y
    assert widths[-5] > 3 * widths[4]
    slid = picture(make_robot("striker", DISC, ZONE), ZONE, belief(make_robot("striker", DISC, ZONE), 0.3), 2.0, 40.0)
    assert slid.end_low_m < slid.x[-1] < slid.end_high_m
    assert slid.speed[0] > slid.speed[20] > slid.speed[-1] >= 0


def test_the_interval_of_a_probability_leaves_a_twentieth_of_the_draws_on_either_side() -> None:
    """Each draw as a robot of its own, its hit chance at the recommended setpoint, numpy's quantiles of these."""
    of = make_robot()
    held = belief(of, 0.3)
    aim = recommend(of, BASKET, held, 2.4)
    chances = []
    for k in range(len(held.weights)):
        alone = Unknowns(*(getattr(held.draws, name)[k : k + 1] for name in held.draws.__slots__))
        one = replace(held, draws=alone, weights=np.ones(1), best=alone)
        chances.append(hit_chance(of, BASKET, one, 2.4, aim.setpoint.value))
    assert np.mean(chances) == pytest.approx(aim.hit_probability, abs=1e-3)
    assert np.quantile(chances, [0.05, 0.95]) == pytest.approx(aim.hit_probability_90, abs=0.01)


def test_a_certain_robot_has_no_width_in_its_probability() -> None:
    of = make_robot(uncertainty=Uncertainty())
    low, high = recommend(of, BASKET, belief(of, 0.0), 2.0).hit_probability_90
    assert high - low < 1e-9


@pytest.mark.parametrize(("kind", "element", "target", "distance"), [CASES[0], CASES[3], CASES[5]])
def test_setpoints_hardly_jitter_from_distance_to_distance(
    kind: str, element: Element, target: Target, distance: float
) -> None:
    """Also before any shot, where the probability is flat: a table is read between its rows."""
    made = make_robot(kind, element, target)
    distances = np.linspace(0.9 * distance, 1.1 * distance, 25)
    rows = table(made, target, belief(made, count=400), list(distances), None, rounded=False)
    logs = np.log([row.setpoint for row in rows if row.setpoint is not None])
    assert len(logs) == len(distances)
    smooth = np.polyval(np.polyfit(distances, logs, 4), distances)
    assert np.std(logs - smooth) < 0.0003
