"""The recommended setpoint as a curve over the distance, or as one formula, small enough for a robot program.

Monotone cubic interpolation (Fritsch & Carlson, SIAM J. Numer. Anal. 17 (1980) 238) through nodes that are added where
the error is worst, until it is below half a setpoint step at every distance checked.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from numpy.polynomial import Polynomial
from numpy.typing import ArrayLike, NDArray

from fieldtune.aim.distance_table import table
from fieldtune.aim.draws import log_speed
from fieldtune.aim.hood import HoodRow, exit_angle_of
from fieldtune.constants import STANDARD_GRAVITY
from fieldtune.errors import InputError, OutOfReachError
from fieldtune.frozen import frozen
from fieldtune.lazy import LazyModule
from fieldtune.person_units import amount
from fieldtune.records import known
from fieldtune.robot.exit_speed import drive_quantity

if TYPE_CHECKING:
    from scipy import interpolate

    from fieldtune.aim.results import TableRow
    from fieldtune.arrays import FloatArray
    from fieldtune.session import Session
else:  # not every table needs it, and it takes long to import
    interpolate = LazyModule("scipy.interpolate")

_CHECKS = 121
_FIRST_NODES = 4
_MOST_NODES = 60
_MARGIN = 0.9
"""Share of half a step that the error may take at the checked distances; the rest is for those in between."""


@frozen
class Curve:
    """Nodes (n,) of the curve: distance (m), setpoint, its slope (setpoint a metre) and hit probability.

    ``worst_error`` (setpoint units) is the largest difference to the recommendation over ``checked`` distances.
    ``high`` is the highest setpoint that the robot accepts. ``volts`` is the battery voltage the setpoints are for
    (open-loop robots, whose setpoint goes with its inverse). ``hood_deg`` (n,): exit angle from each node on, None
    without a hood; where it changes, two nodes stand at one distance, the end of one stretch and the next one's first.
    """

    robot: str
    title: str
    target: str | None
    unit: str
    step: float
    high: float
    distance_m: FloatArray
    setpoint: FloatArray
    slope: FloatArray
    hit_probability: FloatArray
    worst_error: float
    checked: int
    epoch: int
    shots_used: int
    volts: float | None
    hood_deg: FloatArray | None = None

    @property
    def stretches(self) -> list[slice]:
        """The nodes of each stretch with one exit angle; all of them without a hood."""
        return stretches(self.distance_m)

    def slopes(self, values: FloatArray) -> FloatArray:
        """Slopes (n,) a metre of the monotone curve through values at the nodes (Fritsch & Carlson 1980)."""
        parts = [(self.distance_m[part], values[part]) for part in self.stretches]
        return np.concatenate([np.asarray(interpolate.PchipInterpolator(d, v).derivative()(d)) for d, v in parts])

    def at(self, distance_m: ArrayLike) -> FloatArray:
        """Setpoints (n,) at distances (n,), held at the ends."""
        d = np.clip(np.asarray(distance_m, dtype=float), self.distance_m[0], self.distance_m[-1])
        k = np.clip(np.searchsorted(self.distance_m, d, side="right") - 1, 0, len(self.distance_m) - 2)
        width = self.distance_m[k + 1] - self.distance_m[k]
        u = (d - self.distance_m[k]) / width
        left, right = self.setpoint[k], self.setpoint[k + 1]
        bend = (self.slope[k] * (1 - u) - self.slope[k + 1] * u) * width
        return np.asarray(left + u * u * (3 - 2 * u) * (right - left) + u * (1 - u) * bend)


def stretches(distance_m: FloatArray) -> list[slice]:
    """Of distances (n,) that begin anew where the exit angle changes, the places of each stretch."""
    ends = [*(np.flatnonzero(np.diff(distance_m) <= 0) + 1).tolist(), len(distance_m)]
    return [slice(first, end) for first, end in zip([0, *ends], ends, strict=False)]


def curve(
    session: Session, near_m: float, far_m: float, battery_v: float | None = None, target: str | None = None
) -> Curve:
    """The curve over ``near_m``..``far_m``, cut to the stretch in which every distance can be scored from.

    Raises ``InputError`` for a range that is none, ``OutOfReachError`` where hardly any of it can be scored from.
    """
    if not (0 < near_m < far_m <= 100):
        raise InputError(
            f"from {amount(near_m, 'm', figures=4)} to {amount(far_m, 'm', figures=4)}: expected 0 < from < to <= 100 m"
        )
    robot = session.robot
    volts = None
    if robot.setpoint.scale.follows_voltage:
        volts = battery_v if battery_v is not None else robot.drive.nominal_voltage if robot.drive else None
    wanted = [float(d) for d in np.linspace(near_m, far_m, _CHECKS)]
    rows = session.table(wanted, volts if volts is not None else battery_v, target, rounded=False)
    kept = _longest_stretch([row.setpoint is not None for row in rows])
    if len(kept) < _FIRST_NODES:
        between = f"between {amount(near_m, 'm', figures=4)} and {amount(far_m, 'm', figures=4)}"
        raise OutOfReachError(f"{robot.name} scores nowhere {between}; 'fieldtune aim' says why")
    digits = max(0, 3 - math.floor(math.log10(robot.setpoint.step)))
    nodes: list[TableRow] = []
    error = 0.0
    for stretch in _stretches(session, [rows[i] for i in kept], volts if volts is not None else battery_v, target):
        d = np.array([row.distance_m for row in stretch])
        s = np.array([row.setpoint for row in stretch], dtype=float)
        chosen, wrong = _thinned(d, s, _MARGIN * robot.setpoint.step / 2)
        nodes += [stretch[i] for i in chosen]
        error = max(error, wrong)
    made = Curve(
        robot.name,
        robot.title,
        robot.target(target).name,
        robot.setpoint.unit,
        robot.setpoint.step,
        robot.setpoint.high,
        np.array([row.distance_m for row in nodes]).round(4),
        np.array([row.setpoint for row in nodes], dtype=float).round(digits),
        np.zeros(len(nodes)),
        np.array([row.hit_probability for row in nodes], dtype=float),
        error,
        len(kept),
        session.log.epoch,
        session.belief.shots_used,
        volts,
        None if robot.hood is None else np.array([exit_angle_of(row) for row in nodes], dtype=float),
    )
    return replace(made, slope=made.slopes(made.setpoint))


def _stretches(
    session: Session, rows: list[TableRow], battery_v: float | None, target: str | None
) -> list[list[TableRow]]:
    """The rows in stretches of one exit angle each; each but the last goes on to where the next begins."""
    changes = [k for k in range(1, len(rows)) if exit_angle_of(rows[k]) != exit_angle_of(rows[k - 1])]
    found = [rows[first:end] for first, end in zip([0, *changes], [*changes, len(rows)], strict=True)]
    for stretch, beyond in pairwise(found):
        angle, end = exit_angle_of(stretch[0]), beyond[0].distance_m
        held = session.robot.with_exit_angle(angle)
        (row,) = table(held, held.target(target), session.belief, [end], battery_v, rounded=False)
        last = stretch[-1] if row.setpoint is None else row
        stretch.append(HoodRow(end, last.setpoint, last.low, last.high, last.hit_probability, angle))
    return found


def _thinned(d: FloatArray, s: FloatArray, tolerance: float) -> tuple[list[int], float]:
    """Places of the fewest nodes found greedily, and the worst error left."""
    nodes = sorted({round(i) for i in np.linspace(0, len(d) - 1, _FIRST_NODES)})
    while True:
        errors = np.abs(interpolate.PchipInterpolator(d[nodes], s[nodes])(d) - s)
        worst = int(np.argmax(errors))
        if errors[worst] <= tolerance or len(nodes) >= min(_MOST_NODES, len(d)):
            return nodes, float(errors[worst])
        nodes = sorted({*nodes, worst})


def _longest_stretch(good: list[bool]) -> list[int]:
    """Places of the longest unbroken run of True."""
    best: list[int] = []
    run: list[int] = []
    for place, fine in enumerate(good):
        run = [*run, place] if fine else []
        if len(run) > len(best):
            best = run
    return best


# One formula for a robot program that wants no table, and what it costs: a polynomial through the recommendations.
#
# Least squares on a scaled variable (numpy.polynomial), then what the robot loses where the formula is worst. Beside
# it stands the parabola of a body without air, which is how far off a formula from a textbook would be.


DEGREES = {"quadratic": 2, "cubic": 3}
HARMLESS = 0.02
"""Points of hit probability that a formula may cost and still be called harmless."""


@frozen
class FormulaFit:
    """Setpoint = sum of ``coefficients[k] * distance_m**k`` over ``near_m``..``far_m``, and what it costs.

    ``worst_error`` (setpoint units) and ``worst_loss`` (points of hit probability, 0.05 is five per cent) are against
    the recommendation, with the distances where they stand. ``harmless_m``: the longest stretch without a loss above
    ``harmless_loss``. ``rows``: distance, recommended setpoint, the formula's, hit probability of each, and the
    setpoint of a parabola without air (None for sliding elements and where there is none).
    """

    robot: str
    target: str | None
    unit: str
    kind: str
    coefficients: tuple[float, ...]
    near_m: float
    far_m: float
    worst_error: float
    worst_error_at_m: float
    worst_loss: float
    worst_loss_at_m: float
    harmless_loss: float
    harmless_m: tuple[float, float] | None
    no_air_worst_error: float | None
    rows: tuple[FormulaRow, ...]


@frozen
class FormulaRow:
    """One distance of a ``FormulaFit``."""

    distance_m: float
    setpoint: float
    formula: float
    hit_probability: float
    formula_hit_probability: float
    no_air: float | None


def polynomial(x: ArrayLike, y: ArrayLike, degree: int) -> FloatArray:
    """Coefficients (degree + 1,), lowest power first, of the least-squares polynomial through points (n,).

    Raises ``InputError`` for fewer points than coefficients.
    """
    x, y = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    if len(np.unique(x)) <= degree:
        raise InputError(
            f"a formula of degree {degree} needs at least {degree + 1} distances that score; widen the range"
        )
    coefficients = np.zeros(degree + 1)
    found = Polynomial.fit(x, y, degree).convert().coef  # may drop a leading zero
    coefficients[: len(found)] = found
    return coefficients


def fit(
    session: Session,
    kind: str,
    distances: Sequence[float],
    battery_v: float | None = None,
    target: str | None = None,
) -> FormulaFit:
    """A ``quadratic`` or ``cubic`` through the recommendations at ``distances`` (m) and what it loses against them."""
    if kind not in DEGREES:
        raise InputError(f"formula {kind!r}: expected one of {', '.join(DEGREES)}")
    robot = session.robot
    if robot.hood is not None:
        raise InputError(f"{robot.name} has a hood, which a formula of the setpoint can't move: take the table")
    rows = [row for row in session.table(distances, battery_v, target, rounded=False) if row.setpoint is not None]
    d = np.array([row.distance_m for row in rows])
    s = np.array([row.setpoint for row in rows], dtype=float)
    coefficients = polynomial(d, s, DEGREES[kind])
    exact = Polynomial(coefficients)(d)
    held = np.clip(exact, robot.setpoint.low, robot.setpoint.high)  # what the robot program would accept
    chances = np.array([session.hit_chance(x, float(v), battery_v, target) for x, v in zip(d, held, strict=True)])
    best = np.array([_chance(row) for row in rows])
    loss = np.maximum(best - chances, 0.0)
    air = no_air_setpoints(session, d, battery_v, target)
    wrong, lost = int(np.argmax(np.abs(exact - s))), int(np.argmax(loss))
    off = np.abs(air - s)[np.isfinite(air)]
    return FormulaFit(
        robot=robot.name,
        target=robot.target(target).name,
        unit=robot.setpoint.unit,
        kind=kind,
        coefficients=tuple(float(c) for c in coefficients),
        near_m=float(d[0]),
        far_m=float(d[-1]),
        worst_error=float(abs(exact - s)[wrong]),
        worst_error_at_m=float(d[wrong]),
        worst_loss=float(loss[lost]),
        worst_loss_at_m=float(d[lost]),
        harmless_loss=HARMLESS,
        harmless_m=_longest(d, loss <= HARMLESS),
        no_air_worst_error=float(off.max()) if off.size else None,
        rows=tuple(
            FormulaRow(float(d[i]), float(s[i]), float(exact[i]), float(best[i]), float(chances[i]), known(air[i]))
            for i in range(len(d))
        ),
    )


def no_air_setpoints(
    session: Session,
    distance_m: ArrayLike,
    battery_v: float | None = None,
    target: str | None = None,
    exit_angle_deg: float | None = None,
) -> FloatArray:
    """Setpoints (n,) that a parabola without air asks for at distances (n,), with the launcher as learned.

    ``exit_angle_deg``: where the hood stands; as by the profile where None.

    From d = v cos(a) t and h = v sin(a) t - g t^2/2 to the target's centre (any mechanics textbook). nan for elements
    that slide, where no parabola gets there, and where the launcher has no such speed.
    """
    robot, goal = session.robot.with_exit_angle(exit_angle_deg), session.robot.target(target)
    d = np.asarray(distance_m, dtype=float)
    if goal.by_way(lambda: False, lambda: True):
        return np.full_like(d, np.nan)
    wanted = np.log(parabola_speed(d, goal.height - robot.launcher.exit_height, robot.launcher.exit_angle))
    settings = np.linspace(max(robot.setpoint.low / 2, robot.setpoint.high / 1000), robot.setpoint.high * 1.5, 600)
    belief = session.belief
    speeds = log_speed(robot, belief.basis, belief.best, drive_quantity(robot, settings, battery_v))[0]
    leaves = np.isfinite(speeds)
    if not leaves.any():
        return np.full_like(d, np.nan)
    found = np.interp(wanted, np.maximum.accumulate(speeds[leaves]), settings[leaves], left=np.nan, right=np.nan)
    return np.asarray(np.where(np.isfinite(wanted), found, np.nan))


def parabola_speed(distance_m: ArrayLike, rise_m: float, angle: float) -> FloatArray:
    """Exit speeds (n,), m/s, of parabolas through a point ``distance_m`` away and ``rise_m`` higher; nan where none."""
    d = np.asarray(distance_m, dtype=float)
    above = d * math.tan(angle) - rise_m
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(np.where(above > 0, d / math.cos(angle) * np.sqrt(STANDARD_GRAVITY / (2 * above)), np.nan))


def _longest(d: FloatArray, good: NDArray[np.bool_]) -> tuple[float, float] | None:
    best: tuple[float, float] | None = None
    start: float | None = None
    for distance, fine in zip(d.tolist(), good.tolist(), strict=True):
        start = (distance if start is None else start) if fine else None
        if start is not None and (best is None or distance - start > best[1] - best[0]):
            best = (start, distance)
    return best


def _chance(row: TableRow) -> float:
    return row.hit_probability or 0.0
