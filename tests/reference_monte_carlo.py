"""The whole job by chance, written apart from the program: thousands of shots of robots as unsure as the profile says.

Each shot flies in space, or slides, rolls and bounces, and is held against the target by geometry alone. Normal numbers
come from scrambled Sobol points (scipy), whose independent scrambles give the standard error.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from reference_laws import exit_speed, flyer, rolling_share, spin_share
from reference_paths import Floor, Launches, fall_time, run_out, throw_and_run
from scipy.special import ndtri
from scipy.stats import qmc

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
SCRAMBLES = 8
BOUNCE = {"sphere": 0.6, "disc": 0.3, "block": 0.3}
RING_POINTS = 72


@dataclass(frozen=True)
class Nature:
    """What nature does that a simpler model may leave out, one by one, to find where a difference comes from.

    ``displaced``: see ``reference_laws.flyer``; ``bends``: the path bends while the element passes an opening's edge;
    ``clears``: it has to miss the rim on its way up, too; ``slips_in_air``: a ball that slides before it rolls is
    slowed by the air, too.
    """

    displaced: str = "light"
    bends: bool = True
    clears: bool = True
    slips_in_air: bool = True


WHOLE = Nature()


@dataclass(frozen=True)
class Shots:
    """n shots: speed (m/s), elevation and azimuth (rad, right positive), log factor on drag (in flight) or friction (on
    the floor), true distance (m)."""

    speed: FloatArray
    elevation: FloatArray
    azimuth: FloatArray
    log_drag: FloatArray
    distance: FloatArray


def passing_size(element: dict[str, Any]) -> float:
    """Diameter of the ball that stands for the element in an opening."""
    return (
        max(element["length"], element["width"], element["height"])
        if element["shape"] == "block"
        else element["diameter"]
    )


def extent(element: dict[str, Any]) -> float:
    """Largest size on the floor."""
    return math.hypot(element["length"], element["width"]) if element["shape"] == "block" else element["diameter"]


def lying_height(element: dict[str, Any]) -> float:
    return (element["diameter"] if element["shape"] == "sphere" else element["height"]) / 2


def on_floor(target: dict[str, Any]) -> bool:
    return target["kind"] in ("zone", "gate")


def lands_first(of: dict[str, Any]) -> bool:
    """Whether it comes to the floor by air: 2 mm above it, or half a degree upward from it."""
    high = of["launcher"]["exit_height"] > lying_height(of["element"]) + 2e-3
    return high or of["launcher"]["exit_angle"] > max(of["floor"]["slope"], 0.0) + math.radians(0.5)


def scores(of: dict[str, Any], target: dict[str, Any], shots: Shots, nature: Nature = WHOLE) -> BoolArray:
    """Which of n shots score."""
    if on_floor(target):
        return _on_floor(of, target, shots, nature)
    return _through_air(of, target, shots, nature)


def _through_air(of: dict[str, Any], target: dict[str, Any], shots: Shots, nature: Nature) -> BoolArray:
    one = Launches.of(
        flyer(of, nature.displaced),
        shots.speed,
        shots.elevation,
        shots.azimuth,
        spin_share(of) * shots.speed,
        np.exp(shots.log_drag),
    )
    rise, r = target["height"] - of["launcher"]["exit_height"], passing_size(of["element"]) / 2
    edges = [edge - 2 * target["clearance"] for edge in target["opening"]]
    if target["kind"] == "window":
        forward = np.maximum(one.state[3], 1e-3)
        there, _ = one.until(
            lambda q, lanes: shots.distance[lanes] - q[0], shots.distance / forward, min(rise, 0.0) - 30.0
        )
        place, velocity = there[:3] - np.stack([shots.distance, 0 * shots.distance + rise, 0 * forward]), there[3:]
        return through_window(place, velocity, one.acceleration(velocity) * nature.bends, edges[0], edges[1], r)
    there, _ = one.until(lambda q, lanes: q[1] - rise, fall_time(one, rise), rise - 1.0)
    passed = _through_level(one, there, shots.distance, rise, edges, r, nature.bends)
    # A low arch may touch the rim anywhere, on its way up too: there the whole path is held against it.
    chord = 2 * np.hypot(there[3], there[5]) * np.abs(there[4]) / 9.8
    inside = _inside(there[0] - shots.distance, there[2], edges)
    close = np.flatnonzero(inside & (one.state[1] < rise) & (chord < 2 * (edges[0] + 2 * r)))
    if close.size and nature.clears:
        passed[close] = rim_gap(one.taken(close), shots.distance[close], rise, edges) >= r
    return passed


def _inside(x: FloatArray, z: FloatArray, edges: list[float]) -> BoolArray:
    if len(edges) == 1:
        return np.asarray(np.hypot(x, z) < edges[0] / 2)
    return np.asarray((np.abs(x) < edges[0] / 2) & (np.abs(z) < edges[1] / 2))


def rim_gap(one: Launches, distance: FloatArray, rise: float, edges: list[float], steps: int = 400) -> FloatArray:
    """How near (n,) whole paths come to the rim of a level opening, from exit to well below it, at places a few
    millimetres apart."""
    h, lanes, q = fall_time(one, rise) * 1.3 / steps, np.arange(len(distance)), one.state
    nearest = np.full(len(distance), np.inf)
    for _ in range(steps):
        k1 = one.rates(q, lanes)
        k2 = one.rates(q + h / 2 * k1, lanes)
        k3 = one.rates(q + h / 2 * k2, lanes)
        q = q + h / 6 * (k1 + 2 * k2 + 2 * k3 + one.rates(q + h * k3, lanes))
        x, y, z = q[0] - distance, q[1] - rise, q[2]
        if len(edges) == 1:
            level = np.hypot(x, z) - edges[0] / 2
        else:
            out_x, out_z = np.abs(x) - edges[0] / 2, np.abs(z) - edges[1] / 2
            outside = np.hypot(np.maximum(out_x, 0.0), np.maximum(out_z, 0.0))
            level = np.where(outside > 0, outside, -np.maximum(out_x, out_z))
        nearest = np.minimum(nearest, np.hypot(level, y))
    return nearest


def _through_level(
    one: Launches, there: FloatArray, distance: FloatArray, rise: float, edges: list[float], r: float, bends: bool
) -> BoolArray:
    x, z = there[0] - distance, there[2]
    inside = _inside(x, z, edges)
    found = inside.copy()
    at = np.flatnonzero(inside)
    found[at] = ~_touches_level(one.taken(at), there[:, at], distance[at], rise, edges, r, bends)
    return found


def _touches_level(
    one: Launches, there: FloatArray, distance: FloatArray, rise: float, edges: list[float], r: float, bends: bool
) -> BoolArray:
    place = np.stack([there[0] - distance, there[1] - rise, there[2]])
    velocity, bend = there[3:], one.acceleration(there[3:]) * bends
    if len(edges) == 1:
        return ring_gap(place, velocity, bend, edges[0] / 2) < r
    gaps = [line_gap(place, velocity, bend, (0, 1), side * edges[0] / 2) for side in (-1, 1)]
    gaps += [line_gap(place, velocity, bend, (2, 1), side * edges[1] / 2) for side in (-1, 1)]
    return np.min(gaps, axis=0) < r


def ring_gap(place: FloatArray, velocity: FloatArray, bend: FloatArray, radius: float) -> FloatArray:
    """How near (n,) a path comes to a level ring around the origin; ``place``, ``velocity`` and acceleration ``bend``
    (3, n) near it. Nearest over the ring's points, between them by a parabola in the square of the distance.
    """
    if not place.shape[1]:
        return np.zeros(0)
    turn = np.linspace(0, 2 * math.pi, RING_POINTS, endpoint=False)
    rim = radius * np.stack([np.cos(turn), 0 * turn, np.sin(turn)])
    square = _nearest(rim[:, :, None] - place[:, None, :], velocity[:, None, :], bend[:, None, :])
    lowest = square.argmin(axis=0)
    lanes = np.arange(place.shape[1])
    before, here, after = (square[(lowest + k) % RING_POINTS, lanes] for k in (-1, 0, 1))
    curve = before - 2 * here + after
    square = here - np.where(curve > 0, (after - before) ** 2 / (8 * np.where(curve > 0, curve, 1.0)), 0.0)
    return np.sqrt(np.maximum(square, 0.0))


def line_gap(
    place: FloatArray, velocity: FloatArray, bend: FloatArray, axes: tuple[int, int], offset: float
) -> FloatArray:
    """How near (n,) a path comes to a straight edge, seen along it: ``axes`` square to it, ``offset`` on the first."""
    two = list(axes)
    away = -place[two]
    away[0] += offset
    return np.sqrt(_nearest(away, velocity[two], bend[two]))


def _nearest(away: FloatArray, velocity: FloatArray, bend: FloatArray) -> FloatArray:
    """Smallest square distance to points ``away`` of places v t + b t^2 / 2: straight first, then Newton's method."""
    t = (away * velocity).sum(axis=0) / np.maximum((velocity**2).sum(axis=0), 1e-12)
    for _ in range(3):
        left, v = away - velocity * t - bend * t**2 / 2, velocity + bend * t
        t = t + (left * v).sum(axis=0) / np.maximum((v * v).sum(axis=0) - (left * bend).sum(axis=0), 1e-9)
    return ((away - velocity * t - bend * t**2 / 2) ** 2).sum(axis=0)


def through_window(
    place: FloatArray, velocity: FloatArray, bend: FloatArray, width: float, height: float, r: float
) -> BoolArray:
    """Which balls pass an upright opening; ``place`` (3, n) from its centre, in its plane."""
    inside = (np.abs(place[1]) < height / 2) & (np.abs(place[2]) < width / 2)
    gaps = [line_gap(place, velocity, bend, (1, 0), side * height / 2) for side in (-1, 1)]
    gaps += [line_gap(place, velocity, bend, (2, 0), side * width / 2) for side in (-1, 1)]
    return inside & (np.min(gaps, axis=0) >= r)


def floor_of(of: dict[str, Any], log_friction: FloatArray) -> Floor:
    """Friction and rolling resistance share their factor; air along the floor sees a ball's section at 0.5, else the
    front at 1."""
    e, floor, air = of["element"], of["floor"], flyer(of)
    drag = (0.5 if e["shape"] == "sphere" else 1.0) if e["drag"] is None else e["drag"]
    front = 1.0
    if e["shape"] == "disc":
        front = e["diameter"] * e["height"] / (math.pi * e["diameter"] * (e["diameter"] / 2 + e["height"]) / 4)
    elif e["shape"] == "block":
        a, b, c = e["length"], e["width"], e["height"]
        front = (a + b) / 2 * c / ((a * b + b * c + c * a) / 2)
    factor = np.exp(log_friction)
    bounce = BOUNCE[e["shape"]] if floor["restitution"] is None else floor["restitution"]
    return Floor(
        floor["friction"] * factor,
        floor["rolling"] * factor,
        floor["slope"],
        bounce,
        air.k * front * drag,
        rolling_share(e),
    )


def reaches(of: dict[str, Any], shots: Shots, nature: Nature = WHOLE) -> tuple[FloatArray, FloatArray]:
    """Level distances (n,) along its own way at which each shot rests, and the farthest it gets on the floor."""
    floor, spin = floor_of(of, shots.log_drag), spin_share(of) * shots.speed
    zero = np.zeros_like(spin)
    if lands_first(of):
        drop = max(of["launcher"]["exit_height"] - lying_height(of["element"]), 0.0)
        out = Launches.of(flyer(of, nature.displaced), shots.speed, shots.elevation, zero, spin, zero + 1.0, drop)
        return throw_and_run(out, floor, nature.slips_in_air)
    rest, far = run_out(floor, shots.speed, spin, nature.slips_in_air)
    return rest * math.cos(floor.slope), far * math.cos(floor.slope)


def _on_floor(of: dict[str, Any], target: dict[str, Any], shots: Shots, nature: Nature) -> BoolArray:
    rest, far = reaches(of, shots, nature)
    size, level = extent(of["element"]), math.cos(of["floor"]["slope"])
    edges = [edge - 2 * target["clearance"] for edge in target["opening"]]
    if target["kind"] == "gate":
        aside = shots.distance * np.tan(shots.azimuth)
        through = far * np.cos(shots.azimuth) > shots.distance + size / 2 * level
        return through & (np.abs(aside) < (edges[0] - size) / 2)
    depth, aside = rest * np.cos(shots.azimuth) - shots.distance, rest * np.sin(shots.azimuth)
    return (np.abs(depth) < (edges[0] - size) / 2 * level) & (np.abs(aside) < (edges[1] - size) / 2)


def drawn_shots(
    of: dict[str, Any],
    target: dict[str, Any],
    distance: float,
    setpoint: float,
    believed: dict[str, FloatArray] | None = None,
    power: int = 11,
    seed: int = 1,
) -> Shots:
    """8 scrambles of 2^``power`` shots. ``believed``: equally shaped draws of what is unknown with their ``weight``;
    without them it is normal as [uncertainty] says."""
    u = np.concatenate([qmc.Sobol(9, rng=seed * 1000 + k).random_base2(power) for k in range(SCRAMBLES)])
    z = ndtri(np.clip(u, 1e-12, 1 - 1e-12)).T
    given = of["uncertainty"]
    if believed is None:
        level = given["grip"] if of["launcher"]["kind"] == "flywheel" else given["efficiency"] / 2
        each = {
            "log_speed": level * z[3],
            "angle": given["exit_angle"] * z[4],
            "log_drag": given["friction" if on_floor(target) else "drag"] * z[5],
            "distance": given["distance"] * z[6],
            "side": 0.0,
            "speed_scatter": given["exit_speed_scatter"],
            "angle_scatter": given["exit_angle_scatter"],
            "side_scatter": given["side_scatter"],
        }
    else:
        sums = np.cumsum(believed["weight"])
        pick = np.minimum(np.searchsorted(sums / sums[-1], u[:, 3]), len(sums) - 1)
        each = {name: values[pick] for name, values in believed.items()}
    return Shots(
        exit_speed(of, setpoint) * np.exp(each["log_speed"] + each["speed_scatter"] * z[0]),
        of["launcher"]["exit_angle"] + each["angle"] + each["angle_scatter"] * z[1],
        each["side"] + each["side_scatter"] * z[2],
        each["log_drag"] + 0 * z[0],
        distance + each["distance"] + 0 * z[0],
    )


def hit_chance(
    of: dict[str, Any],
    target: dict[str, Any],
    distance: float,
    setpoint: float,
    believed: dict[str, FloatArray] | None = None,
    power: int = 11,
    seed: int = 1,
    nature: Nature = WHOLE,
) -> tuple[float, float]:
    """Hit chance at a distance reading (m) and setpoint, and its standard error."""
    hits = scores(of, target, drawn_shots(of, target, distance, setpoint, believed, power, seed), nature)
    shares = hits.reshape(SCRAMBLES, -1).mean(axis=1)
    return float(shares.mean()), float(shares.std(ddof=1) / math.sqrt(SCRAMBLES))
