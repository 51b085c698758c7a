"""The product's likelihood rows, Newton and Laplace against published fits and certified values."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from plain_unknowns import Curve, Linear, least_squares, rows
from robots import thrower
from scipy.special import gammaln

from fieldtune.aim.draws import GainBasis, Unknowns
from fieldtune.aim.required_speed.choice import required_speed_for
from fieldtune.aim.required_speed.interface import EachDraw, RequiredSpeedPoint
from fieldtune.aim.situation import situation
from fieldtune.learn.log_posterior import LogPosterior
from fieldtune.learn.map_estimate import maximise
from fieldtune.learn.side_miss import SideLayout, side_intervals
from fieldtune.physics.openings import Free, Ring
from fieldtune.robot.model import Basket, Element

ANY_STEP = 1e9


def straight_line(x, y):
    """Least squares by the product's code, with the residual standard deviation of the fit itself."""
    design = np.column_stack([np.ones_like(x), x])
    first = maximise(least_squares(design, y, 1.0, [0, 0]), np.zeros(2), longest_step=ANY_STEP)
    residuals = y - design @ first.u
    sd = math.sqrt(residuals @ residuals / (len(y) - 2))
    return maximise(least_squares(design, y, sd, [0, 0]), first.u, longest_step=ANY_STEP), sd, residuals


def test_thermometer_calibration_of_the_gum():
    # JCGM 100:2008 (GUM), H.3.
    t = np.array([21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511])
    b = -np.array([171, 169, 166, 159, 164, 165, 156, 157, 159, 161, 160]) / 1000
    fit, sd, residuals = straight_line(t - 20, b)
    errors = np.sqrt(np.diag(fit.covariance))
    np.testing.assert_allclose(fit.u, [-0.171203790131, 2.182697740e-3], rtol=1e-8)
    np.testing.assert_allclose(errors, [2.877597835e-3, 6.679387733e-4], rtol=1e-8)
    assert fit.covariance[0, 1] / errors.prod() == pytest.approx(-0.930429603, abs=1e-8)
    assert residuals @ residuals == pytest.approx(1.10096583e-4, rel=1e-8)
    assert sd == pytest.approx(3.497563964e-3, rel=1e-8)
    at = np.array([1.0, 10.0])
    assert at @ fit.u == pytest.approx(-0.149376813, abs=1e-9)
    assert math.sqrt(at @ fit.covariance @ at) == pytest.approx(4.138595753e-3, rel=1e-8)


NORRIS = """0.2,0.1; 337.4,338.8; 118.2,118.1; 884.6,888.0; 10.1,9.2; 226.5,228.1; 666.3,668.5; 996.3,998.5;
448.6,449.1; 777.0,778.9; 558.2,559.2; 0.4,0.3; 0.6,0.1; 775.5,778.1; 666.9,668.8; 338.0,339.3; 447.5,448.9; 11.6,10.8;
556.0,557.7; 228.1,228.3; 995.8,998.0; 887.6,888.8; 120.2,119.6; 0.3,0.3; 0.3,0.6; 556.8,557.6; 339.1,339.3;
887.2,888.0; 999.0,998.5; 779.0,778.9; 11.1,10.2; 118.3,117.6; 229.2,228.9; 669.1,668.4; 448.9,449.2; 0.5,0.2"""


def pairs(text):
    return np.array([[float(v) for v in pair.split(",")] for pair in text.split(";")]).T


def test_norris_of_nist():
    # NIST Statistical Reference Datasets, Norris.
    fit, sd, _ = straight_line(*pairs(NORRIS))
    np.testing.assert_allclose(fit.u, [-0.262323073774029, 1.00211681802045], rtol=1e-9)
    np.testing.assert_allclose(np.sqrt(np.diag(fit.covariance)), [0.232818234301152, 4.29796848199937e-4], rtol=1e-9)
    assert sd == pytest.approx(0.884796396144373, rel=1e-10)


MISRA1A = """77.6,10.07; 114.9,14.73; 141.1,17.94; 190.8,23.93; 239.9,29.61; 289.0,35.18; 332.8,40.02; 378.4,44.82;
434.8,50.76; 477.3,55.05; 536.8,61.01; 593.1,66.40; 689.1,75.47; 760.0,81.78"""
BOXBOD = "1,109; 2,149; 3,149; 5,191; 7,213; 10,224"


@pytest.mark.parametrize(
    ("data", "unit", "starts", "best", "errors", "squares", "sd"),
    [
        # NIST StRD, Misra1a.
        (
            MISRA1A,
            (100.0, 1e-4),
            [(500, 1e-4), (250, 5e-4)],
            (238.94212918, 5.5015643181e-4),
            (2.7070075241, 7.2668688436e-6),
            0.12455138894,
            0.10187876330,
        ),
        # NIST StRD, BoxBOD.
        (
            BOXBOD,
            (100.0, 1.0),
            [(1, 1), (100, 0.75)],
            (213.80940889, 0.54723748542),
            (12.354515176, 0.10455993237),
            1168.0088766,
            17.088072423,
        ),
    ],
    ids=["misra1a", "boxbod"],
)
def test_exponential_saturation_of_nist(data, unit, starts, best, errors, squares, sd):
    x, y = pairs(data)
    unit = np.array(unit)

    def curve(u):
        b = u * unit
        return b[0] * -np.expm1(-b[1] * x)

    def slopes(u):
        b = u * unit
        return np.column_stack([-np.expm1(-b[1] * x) * unit[0], b[0] * x * np.exp(-b[1] * x) * unit[1]])

    measured = np.column_stack([np.eye(len(x)), -y])
    density = LogPosterior(Curve(curve, slopes), (rows(measured, variance=sd**2),), np.zeros(2))
    for start in starts:
        fit = maximise(density, np.array(start) / unit, tolerance=1e-14, longest_step=0.5)
        np.testing.assert_allclose(fit.u * unit, best, rtol=1e-6)
        np.testing.assert_allclose(np.sqrt(np.diag(fit.covariance)) * unit, errors, rtol=1e-5)
        assert np.sum((y - curve(fit.u)) ** 2) == pytest.approx(squares, rel=1e-8)


def test_stretch_and_distance_of_a_real_launch():
    # data set elastic2 of the R package DAAG (a stretched elastic band shot along a table).
    stretch, distance = pairs("30,71; 50,196; 40,127; 45,187; 60,249; 55,217; 35,114; 55,228; 65,291")
    fit, _, residuals = straight_line(stretch, distance)
    np.testing.assert_allclose(fit.u, [-100.9167, 5.95], atol=5e-5)
    np.testing.assert_allclose(np.sqrt(np.diag(fit.covariance)), [15.6102, 0.314839], rtol=2e-5)
    assert 1 - residuals @ residuals / np.sum((distance - distance.mean()) ** 2) == pytest.approx(0.9808, abs=5e-5)
    power, _, _ = straight_line(np.log(stretch), np.log(distance))
    assert power.u[1] == pytest.approx(1.710, abs=5e-4)
    assert math.sqrt(power.covariance[1, 1]) == pytest.approx(0.119, abs=5e-4)


SPECTOR = """2.66,20,0,0; 2.89,22,0,0; 3.28,24,0,0; 2.92,12,0,0; 4,21,0,1; 2.86,17,0,0; 2.76,17,0,0; 2.87,21,0,0;
3.03,25,0,0; 3.92,29,0,1; 2.63,20,0,0; 3.32,23,0,0; 3.57,23,0,0; 3.26,25,0,1; 3.53,26,0,0; 2.74,19,0,0; 2.75,25,0,0;
2.83,19,0,0; 3.12,23,1,0; 3.16,25,1,1; 2.06,22,1,0; 3.62,28,1,1; 2.89,14,1,0; 3.51,26,1,0; 3.54,24,1,1; 2.83,27,1,1;
3.39,17,1,1; 2.67,24,1,0; 3.65,21,1,1; 4,23,1,1; 3.1,21,1,0; 2.39,19,1,1"""


def test_probit_of_spector_and_mazzeo():
    # Spector and Mazzeo 1980, Stata 11 values kept in statsmodels' tests.
    gpa, tuce, psi, grade = pairs(SPECTOR)
    design = np.column_stack([np.ones_like(gpa), gpa, tuce, psi])
    # Passing is a normal variable above -x.b, failing below it: half-open intervals, as long and short are.
    edge = np.column_stack([-design, np.zeros_like(gpa)])
    evidence = rows(edge, edge, open_low=grade == 0, open_high=grade == 1)
    fit = maximise(LogPosterior(Linear(), (evidence,), np.zeros(4)), np.zeros(4), longest_step=ANY_STEP)
    np.testing.assert_allclose(fit.u, [-7.45232041607, 1.62581025407, 0.051728948442, 1.42633236818], rtol=1e-6)
    np.testing.assert_allclose(np.sqrt(np.diag(fit.covariance)), [2.542472, 0.693882, 0.083890, 0.595038], atol=1e-6)
    assert fit.value == pytest.approx(-12.818804, abs=1e-6)


def test_conjugate_linear_model():
    # closed form; Laplace is exact for it.
    x, y = np.arange(5.0), np.array([1.1, 1.9, 3.2, 3.9, 5.1])
    density = least_squares(np.column_stack([np.ones(5), x]), y, 0.2, [0.1, 0.1])
    fit = maximise(density, np.zeros(2), longest_step=ANY_STEP)
    np.testing.assert_allclose(fit.u, [1.0383084, 1.00043047], rtol=1e-7)
    np.testing.assert_allclose(fit.covariance, [[0.02393617, -0.00797766], [-0.00797766, 0.00399202]], atol=1e-8)
    prior_constant = -math.log(2 * math.pi) - 0.5 * math.log(100)
    assert fit.log_evidence + prior_constant == pytest.approx(-5.030387288, abs=1e-8)


def test_gaussian_process_through_the_gains_knots():
    # Rasmussen and Williams 2006, Algorithm 2.1; numbers by scikit-learn. With a knot at every place the basis is
    # exact but for the 1e-6 on its diagonal.
    x, y = np.array([-4.0, -3, -1, 0, 2]), np.array([-2.0, 0, 1, 2, -1])
    new = np.array([-5, -2, 0.5, 1, 4])
    basis = GainBasis(1.0, math.e, knots=tuple(np.concatenate([x, new])), length=1.0)
    density = least_squares(basis.at(np.exp(x))[:, 2:], y, 0.1, np.ones(10))
    fit = maximise(density, np.zeros(10), longest_step=ANY_STEP)
    columns = basis.at(np.exp(new))[:, 2:]
    np.testing.assert_allclose(
        columns @ fit.u, [-1.64845156, 0.64086031, 1.62201073, 0.67180416, -0.17937719], atol=2e-4
    )
    sd = np.sqrt(np.diag(columns @ fit.covariance @ columns.T))
    np.testing.assert_allclose(sd, [0.74322922, 0.49804571, 0.35751659, 0.54650492, 0.99065894], atol=1e-5)
    assert fit.log_evidence - 5 * math.log(2 * math.pi) == pytest.approx(-10.1827832604, abs=1e-3)


PUTTS = """2,1443,1346; 3,694,577; 4,455,337; 5,353,208; 6,272,149; 7,256,136; 8,240,111; 9,217,69; 10,200,67;
11,237,75; 12,202,52; 13,192,46; 14,174,54; 15,167,28; 16,201,27; 17,195,31; 18,191,33; 19,147,20; 20,152,24"""


def test_angle_only_hit_model_on_real_putts():
    # Gelman and Nolan 2002, data of Berry 1996; published scatter 1.5 degrees. A putt is good within an angle
    # either way, which is what a good side is here; misses count half left, half right.
    feet, tries, made = pairs(PUTTS)
    half_angle = np.arcsin((4.25 - 1.68) / 24 / feet)
    missed = tries - made
    n = len(feet)
    which = np.repeat([0, 1, 2], n)
    evidence = side_intervals(
        np.tile(half_angle, 3),
        which == 1,
        which == 2,
        np.concatenate([made, missed / 2, missed / 2]),
        wild=False,
    )
    layout = SideLayout(0.02, math.log(0.05))
    fit = maximise(LogPosterior(layout, (evidence,), np.zeros(2)), np.zeros(2), tolerance=1e-12)
    scatter = float(layout.scatter(fit.u[None])[0])
    assert scatter == pytest.approx(0.0266454417, rel=1e-7)
    assert math.degrees(scatter) == pytest.approx(1.5, abs=0.05)
    assert scatter * 0.5 * math.sqrt(fit.covariance[1, 1]) == pytest.approx(3.96258e-4, rel=1e-5)
    chosen = np.sum(gammaln(tries + 1) - gammaln(made + 1) - gammaln(missed + 1))
    assert fit.value + np.sum(missed) * math.log(2) + chosen == pytest.approx(-83.445922, abs=1e-6)


def test_range_error_by_the_delta_method():
    # r = v^2 sin(2 theta) / g with v = 8.0 +- 0.1 m/s, theta = 0.9 +- 0.01: uncertainties 3.2.3 gives
    # 6.355508596 +- 0.161631494 m (g 9.80665). Here by the needed speed's derivatives, without air.
    robot = replace(
        thrower(target=Basket(0.38, (0.3,))),
        element=Element("sphere", 0.066, diameter=0.072, drag=1e-9),
        launcher=replace(thrower().launcher, exit_angle=0.9),
    )
    point = required_speed_for(robot, robot.target()).log_speed(6.355508596)
    assert math.exp(point.value[0]) == pytest.approx(8.0, rel=1e-6)
    sd = math.hypot(0.1 / 8.0, float(point.d_angle[0]) * 0.01) / float(point.d_distance[0])
    assert sd == pytest.approx(0.161631494, rel=1e-4)


class _Straight:
    """A need that is the miss itself, with a round opening of radius ``radius``: a circular normal in disguise."""

    d_low, d_high, rim = 0.1, 10.0, None

    def __init__(self, radius):
        self.radius = radius

    def log_speed(self, distance, miss=0.0, angle_error=0.0, log_drag=0.0):
        d, m, *_ = (
            np.array(a, dtype=float).ravel() for a in np.broadcast_arrays(distance, miss, angle_error, log_drag)
        )
        zero = np.zeros_like(d)
        return RequiredSpeedPoint(m, zero, zero + 1, zero, zero, zero, zero, zero)

    def free_at(self, center):
        size = np.full(len(center.value), self.radius)
        return Free(-size, size, size, Ring(self.radius, 0.0, np.ones(len(size))))

    def free(self, distance, angle_error=0.0, log_drag=0.0):
        return self.free_at(self.log_speed(distance))

    def for_draws(self, angle_error, log_drag):
        return EachDraw(self, angle_error, log_drag)


@pytest.mark.parametrize(
    ("radius", "inside"),
    # Rayleigh's distribution; radius in standard deviations.
    [(1.177410, 0.5), (2.145966, 0.9), (2.447747, 0.95), (3.034854, 0.99), (1, 0.393469), (2, 0.864665), (3, 0.988891)],
)
def test_circular_normal(radius, inside):
    one = np.ones(1)
    unknowns = Unknowns(0 * one[:, None], 0 * one, 0 * one, 0 * one, 0 * one, 0.1 * one, 0 * one, 0.05 * one)
    seen = situation(_Straight(0.1 * radius), 2.0, unknowns).hit(np.zeros((1, 1)))
    # A few points over the side miss leave up to two points of probability too much where the rim matters.
    assert float(seen[0, 0]) == pytest.approx(inside, abs=0.003)
