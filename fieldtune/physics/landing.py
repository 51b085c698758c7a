"""A throw that ends on the floor: flight, bounces, then a slide or a roll to rest.

A bounce gives back the share ``restitution`` e of the speed into the floor. Friction acts during it with the impulse
mu (1 + e) m v_into, but no longer than the touching point slips: a ball then rolls, a body that doesn't turn stands
(Brody, Phys. Teach. 22 (1984) 494; Garwin, Am. J. Phys. 37 (1969) 88; both from memory). All friction of a train of
bounces together is that of a slide from the first touch on, plus mu m v_into, so that the place of rest hardly depends
on the restitution. Real bounces are less regular: seams, edges and soft floors scatter them.

Distances are horizontal metres from the exit, speeds m/s. The floor lies ``drop`` (m) below the exit (both are the
centre's) and rises away by ``slope`` (rad).
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from fieldtune.frozen import frozen
from fieldtune.physics import rolling, sliding
from fieldtune.physics.flight_integration import at_exit, carry, lanes
from fieldtune.physics.rolling import Ground

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray
    from fieldtune.physics.air_forces import Course
    from fieldtune.physics.flying_body import Body

_SETTLED = 0.02
"""Speed (m/s) into the floor below which an element no longer hops: 0.02 mm high. Costs 0.2 % of the run at most."""

_UPRIGHT = 1.7e-3
"""Cosine of the steepest flight: beyond it, a tenth of a degree, the air has no say in where it comes down."""

_MOST_HOPS, _PASSES = 60, 30
_CLOSE = 1e-6


@frozen
class Touch:
    """Where a flight meets the floor (n,): horizontal ``distance`` (m) and ``time`` (s) since it began, speeds
    ``along`` and ``into`` the floor (m/s), and ``apex`` (m above where it began); nan where it never does.
    """

    distance: FloatArray
    time: FloatArray
    along: FloatArray
    into: FloatArray
    apex: FloatArray


@frozen
class Rest:
    """Where throws (n,) come to rest: ``distance`` (m) and ``time`` (s), nan or inf where they don't.

    ``landing`` is the first touch. Hopping ends at the distance ``run`` (m) after ``run_time`` (s), with ``run_speed``
    along the floor and ``run_spin`` (surface speed, backspin positive), m/s.
    """

    distance: FloatArray
    time: FloatArray
    landing: Touch
    run: FloatArray
    run_time: FloatArray
    run_speed: FloatArray
    run_spin: FloatArray


def touch_down(
    body: Body,
    speed: ArrayLike,
    elevation: ArrayLike,
    spin: ArrayLike,
    drop: ArrayLike,
    slope: float = 0.0,
) -> Touch:
    """Where launches at speed (m/s), elevation (rad; beyond a right angle: backward) and surface speed of the spin
    (m/s, backspin positive) meet a floor ``drop`` (m, 0 or more) below. Broadcasts to (n,).
    """
    v, angle, turn, fall = lanes(speed, elevation, spin, drop)
    way = np.where(np.cos(angle) < 0, -1.0, 1.0)
    sine, cosine, tilt = np.sin(angle), np.maximum(np.abs(np.cos(angle)), _UPRIGHT), way * np.tan(slope)
    start = at_exit(v, np.arctan2(sine, cosine), way * turn / np.where(v > 0, v, 1.0), np.zeros_like(v))
    rise = v * (sine - cosine * tilt)
    x = v * cosine * (rise + np.sqrt(rise**2 + 2 * body.gravity * fall)) / body.gravity
    end = _lowered(body, start, x, fall, tilt)
    forward, up = way / end.r, end.p / end.r
    into = forward * np.sin(slope) - up * np.cos(slope)
    return Touch(way * x, end.t, forward * np.cos(slope) + up * np.sin(slope), np.maximum(into, 0.0), end.top)


def _lowered(body: Body, start: Course, x: FloatArray, fall: FloatArray, tilt: FloatArray) -> Course:
    """Launches carried to where they meet the floor, which ``x`` (n,) becomes: Newton's method, kept within a bracket.

    From the parabola's end, beyond the place: paths bend down, so that Newton's steps come back to it from there.
    """
    low, high = np.zeros_like(x), np.full_like(x, np.inf)
    open_ = np.flatnonzero(np.isfinite(start.r))
    end = start.take(np.arange(x.size))
    for _ in range(_PASSES):
        now, at = start.take(open_), x[open_]
        carry(body, now, at)
        end.put(open_, now)
        above = now.y + fall[open_] - at * tilt[open_]
        low[open_] = np.where(above > 0, at, low[open_])
        high[open_] = np.where(above > 0, high[open_], at)
        with np.errstate(invalid="ignore", divide="ignore"):
            trial = at - above / (now.p - tilt[open_])
            usable = (trial > low[open_]) & (trial < high[open_]) & (now.p < tilt[open_])
        between = np.where(np.isinf(high[open_]), 1.3 * at + 0.01, (low[open_] + high[open_]) / 2)
        going = ~(np.abs(above) < _CLOSE) & (high[open_] - low[open_] > 1e-12)
        x[open_[going]] = np.where(usable, trial, between)[going]
        open_ = open_[going]
        if not open_.size:
            break
    end.lose(open_)
    return end


def rubbed(most: FloatArray, along: FloatArray, spin: FloatArray, inertia: float) -> tuple[FloatArray, FloatArray]:
    """Speed along the floor and surface speed of the spin (m/s) after a bounce whose friction gives up to ``most``
    (m/s, impulse over mass), and less where the touching point stops slipping before.
    """
    turns = np.isfinite(inertia)
    share = inertia / (1 + inertia) if turns else 1.0
    slip = along + spin if turns else along
    change = np.copysign(np.minimum(most, share * np.abs(slip)), slip)
    return along - change, spin - change / inertia


def come_to_rest(
    body: Body, ground: Ground, speed: ArrayLike, elevation: ArrayLike, spin: ArrayLike, drop: ArrayLike
) -> Rest:
    """Launches as in ``touch_down`` followed to rest over the ``ground``. Broadcasts to (n,)."""
    v, angle, turn, fall, mu, rolling = lanes(speed, elevation, spin, drop, ground.friction, ground.rolling)
    landing = touch_down(body, v, angle, turn, fall, ground.slope)
    x, t, along, into, s = (a.copy() for a in (landing.distance, landing.time, landing.along, landing.into, turn))
    hopping = np.flatnonzero(np.isfinite(into))
    for _ in range(_MOST_HOPS):
        back = ground.restitution * into[hopping]
        back = np.where(back > _SETTLED, back, 0.0)
        most = mu[hopping] * (into[hopping] + back)
        along[hopping], s[hopping] = rubbed(most, along[hopping], s[hopping], ground.inertia)
        hopping, back = hopping[back > 0], back[back > 0]
        if not hopping.size:
            break
        hop = touch_down(
            body,
            np.hypot(along[hopping], back),
            np.arctan2(back, along[hopping]) + ground.slope,
            s[hopping],
            0.0,
            ground.slope,
        )
        x[hopping], t[hopping] = x[hopping] + hop.distance, t[hopping] + hop.time
        along[hopping], into[hopping] = hop.along, hop.into
    way, time = _run_out(replace(ground, friction=mu, rolling=rolling), along, s, body.gravity)
    return Rest(x + way * np.cos(ground.slope), t + time, landing, x, t, along, s)


def _run_out(ground: Ground, along: FloatArray, spin: FloatArray, gravity: float) -> tuple[FloatArray, FloatArray]:
    """Way along the floor (m) and time (s) from the end of hopping to rest."""
    slope, drag, inertia = ground.slope, ground.drag, ground.inertia
    if not np.isfinite(inertia):
        way, v = np.copysign(1.0, along), np.abs(along)
        far = sliding.stop_distance(v, ground.friction, way * slope, drag, gravity)
        return way * far, sliding.stop_time(v, ground.friction, way * slope, drag, gravity)
    begin = rolling.rolling_start(along, ground, spin, gravity)
    way, v = np.copysign(1.0, begin.speed), np.abs(begin.speed)
    far = rolling.roll_stop_distance(along, ground, spin, gravity)
    return far, begin.time + (1 + inertia) * sliding.stop_time(v, ground.rolling, way * slope, drag, gravity)
