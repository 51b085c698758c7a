"""Mechanisms side by side and the decision among them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from robots import crane, heron, otter

from fieldtune.aim.required_speed.choice import required_speed_for
from fieldtune.errors import InputError
from fieldtune.session import Session
from fieldtune.sizing.compare import compare, scatter
from fieldtune.sizing.decision import CRITERIA, Criterion, decide
from fieldtune.sizing.text import compare_text


def compared(robots, **rest):
    """Each with the belief that aiming rests on before any shot."""
    return compare(robots, {robot.name: Session(robot).belief for robot in robots}, **rest)


def test_a_battery_just_put_in_is_not_held_against_the_launcher():
    """What aims is less sure after the change; what compares mechanisms has the same hit chances as before it."""
    robot, other = Session(heron()), Session(otter())
    for distance, rpm in ((1.5, 1340), (2.0, 1500), (2.6, 1680), (2.0, 1500), (1.5, 1340), (2.6, 1680)):
        robot.confirm(distance, rpm, result="in")

    def hits(of_robot):
        found = compare([robot.robot, other.robot], {"heron": of_robot, "otter": other.launcher_belief})
        return found.mechanisms[0].hit

    before = hits(robot.launcher_belief)
    assert hits(robot.belief) == before
    robot.swap()
    assert hits(robot.launcher_belief) == before
    assert max(hits(robot.belief)) < max(before) - 0.1


TWO = (Criterion("reach", True, 1.0), Criterion("energy", False, 1.0))


@pytest.fixture(scope="module")
def comparison():
    return compared([heron(), otter(), crane()])


def test_every_figure_is_computed(comparison):
    for mechanism in comparison.mechanisms:
        assert set(mechanism.figures) == {c.name for c in CRITERIA}
        assert all(value is not None for value in mechanism.figures.values())
        assert len(mechanism.hit) == len(mechanism.distances_m)
        assert all(0 <= p <= 1 for p in mechanism.hit)
    assert comparison.mechanisms[0].kind == "flywheel"
    assert "disc" in comparison.mechanisms[1].shapes


def test_a_hit_chance_is_the_one_that_aiming_says(comparison):
    """One question, one figure: each mechanism at its own target, from its own spots."""
    for robot, mechanism in zip([heron(), otter(), crane()], comparison.mechanisms, strict=True):
        session = Session(robot)
        aimed = [session.aim(distance).hit_probability for distance in mechanism.distances_m]
        assert [chance or 0.0 for chance in aimed] == pytest.approx(list(mechanism.hit), abs=1e-9)


def test_totals_are_the_weighted_scores(comparison):
    decision = comparison.decision
    assert sum(decision.weights.values()) == pytest.approx(1.0)
    for name, total in decision.totals.items():
        assert total == pytest.approx(sum(decision.weights[c] * s for c, s in decision.scores[name].items()))
    assert decision.winner == max(decision.totals, key=lambda name: decision.totals[name])


def test_text_names_winner_and_what_would_flip_it(comparison):
    text = compare_text(comparison)
    assert f"{comparison.decision.winner} wins" in text
    for flip in comparison.decision.flips[:1]:
        assert f"{100 * flip.weight_then:.0f} %" in text
    assert "hit chance" in text


def test_weights_are_normalised_and_change_the_winner():
    figures = {"near": {"reach": 2.0, "energy": 1.0}, "far": {"reach": 4.0, "energy": 3.0}}
    assert decide(["near", "far"], figures, TWO, {"reach": 30, "energy": 10}).winner == "far"
    thrifty = decide(["near", "far"], figures, TWO, {"reach": 1, "energy": 3})
    assert thrifty.winner == "near"
    assert thrifty.weights == {"reach": 0.25, "energy": 0.75}


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(*[st.floats(0.1, 10)] * 3), min_size=2, max_size=4),
    st.tuples(*[st.floats(0.05, 1)] * 3),
)
def test_each_flip_is_where_the_lead_changes(values, weights):
    """Just beyond the stated weight, the others in proportion, the stated candidate leads; just before, the winner."""
    criteria = tuple(Criterion(n, n != "c", 1.0) for n in "abc")
    names = [f"robot{k}" for k in range(len(values))]
    figures = {name: dict(zip("abc", row, strict=True)) for name, row in zip(names, values, strict=True)}
    asked = dict(zip("abc", weights, strict=True))
    decision = decide(names, figures, criteria, asked)
    for flip in decision.flips:
        others = {n: w for n, w in decision.weights.items() if n != flip.criterion}
        step = np.sign(flip.weight_then - flip.weight) * 1e-6

        def winner(weight, flip=flip, others=others):
            rest = {n: w / sum(others.values()) * (1 - weight) for n, w in others.items()}
            return decide(names, figures, criteria, {**rest, flip.criterion: weight}).totals

        at = winner(flip.weight_then)
        assert at[flip.winner] == pytest.approx(at[decision.winner], abs=1e-9)
        assert at[flip.winner] == pytest.approx(max(at.values()), abs=1e-9)
        before = winner(min(max(flip.weight_then - step, 0.0), 1.0))
        assert before[decision.winner] >= before[flip.winner] - 1e-12


def test_a_clear_winner_has_no_flip():
    figures = {"good": {"reach": 4.0, "energy": 1.0}, "poor": {"reach": 2.0, "energy": 3.0}}
    assert decide(["good", "poor"], figures, TWO).flips == ()


def test_a_tie_has_no_winner():
    figures = {"one": {"reach": 4.0, "energy": 1.0}, "two": {"reach": 4.0, "energy": 1.0}}
    decision = decide(["one", "two"], figures, TWO)
    assert decision.winner is None
    assert decision.totals["one"] == decision.totals["two"] == pytest.approx(1.0)


def test_what_is_not_known_of_all_is_left_out():
    figures = {"one": {"reach": 4.0, "energy": None}, "two": {"reach": 3.0, "energy": 1.0}}
    decision = decide(["one", "two"], figures, TWO)
    assert decision.left_out == ("energy",)
    assert decision.weights == {"reach": 1.0}
    words = compared([heron(drive=None), otter()]).words
    assert any("shots the drive allows left out" in line for line in words)


@pytest.mark.parametrize(
    ("weights", "word"),
    [({"raech": 1}, "reach"), ({"reach": -1}, "zero or more"), ({"reach": 0, "energy": 0}, "all are")],
)
def test_wrong_weights_are_named(weights, word):
    figures = {"one": {"reach": 4.0, "energy": 1.0}, "two": {"reach": 3.0, "energy": 1.0}}
    with pytest.raises(InputError, match=word):
        decide(["one", "two"], figures, TWO, weights)


def test_comparing_takes_two_of_different_names():
    with pytest.raises(InputError, match="at least two"):
        compared([heron()])
    with pytest.raises(InputError, match="different names"):
        compared([heron(), heron()])


def test_scatter_agrees_with_simulated_shots():
    """Draw speed and angle of many shots and solve each for the miss that its needed speed belongs to."""
    robot = crane()
    belief = Session(robot).belief
    need, distance = required_speed_for(robot, robot.target()), 2.0
    rng = np.random.default_rng(1)
    s, a = robot.uncertainty.exit_speed_scatter, robot.uncertainty.exit_angle_scatter
    off_speed, off_angle = rng.normal(0, s, 2000), rng.normal(0, a, 2000)
    center = float(need.log_speed(distance).value[0])
    misses = np.linspace(-0.3, 0.3, 41)
    values = need.log_speed(distance, misses[None, :], off_angle[:, None]).value.reshape(2000, 41)
    found = [np.interp(center + ds, row, misses) for ds, row in zip(off_speed, values, strict=True)]
    assert scatter(robot, belief, distance) == pytest.approx(np.std(found), rel=0.05)


def test_a_better_known_robot_hits_more():
    sure = replace(heron().uncertainty, grip=0.005, exit_angle=0.002, drag=0.02, distance=0.002)
    both = compared([replace(heron(), name="sure", uncertainty=sure), heron()], distances_m=[2.0, 3.0])
    assert min(both.mechanisms[0].hit) > max(both.mechanisms[1].hit)
