"""Random robots with a place to stand and a setpoint for the Monte Carlo reference to judge; invented.

The place follows from the reference's own paths: where a shot at that setpoint would come down, and a little aside.
"""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import reference_monte_carlo as reference
from odd_robots import odd_robot
from reference_laws import exit_speed, flyer, spin_share
from reference_paths import Launches, fall_time

from fieldtune.aim.draws import Belief
from fieldtune.robot.model import Robot, Uncertainty
from fieldtune.session import Session

NEAREST, FARTHEST = 0.3, 40.0
LIGHT = 100.0
TOLERANCE = 0.015


@dataclass(frozen=True)
class Case:
    """A robot with a distance (m) and a setpoint."""

    seed: int
    robot: Robot
    distance: float
    setpoint: float

    def __str__(self) -> str:
        r, e = self.robot, self.robot.element
        return (
            f"seed {self.seed}: {r.launcher.kind} {math.degrees(r.launcher.exit_angle):.0f} deg, {e.shape} {e.surface} "
            f"{e.density:.0f} kg/m3, {r.targets[0].kind}, "
            f"spin {r.launcher.mechanism.spin_ratio:.2f}, {self.distance:.2f} m"
        )


def plain(robot: Robot) -> tuple[dict[str, Any], dict[str, Any]]:
    """Robot and target as plain numbers."""
    of, target = asdict(robot), robot.targets[0]
    of["launcher"] |= {"kind": robot.launcher.kind, "flywheel": None, robot.launcher.kind: of["launcher"]["mechanism"]}
    return of, asdict(target) | {"kind": target.kind}


def random_case(seed: int, folder: Path) -> Case | None:
    """None where the setpoint drawn comes down nowhere between 0.3 and 40 m."""
    rng = np.random.default_rng(seed + 77_000)
    odd = odd_robot(seed)
    size = {1: math.pi / 6 * odd.sizes[0] ** 3, 2: math.pi / 4 * odd.sizes[0] ** 2 * odd.sizes[-1]}
    odd = replace(odd, mass=max(odd.mass, 1.05 * LIGHT * size.get(len(odd.sizes), math.prod(odd.sizes))))
    if odd.kind == "flywheel" and rng.random() < 0.4:
        odd = replace(odd, high=odd.high * rng.uniform(1.0, 2.0))
    robot = odd.robot(folder)
    unsure = rng.uniform(0.1, 0.8)
    given = Uncertainty(
        grip=0.05 * unsure,
        efficiency=0.08 * unsure,
        exit_angle=math.radians(1.5) * unsure,
        drag=0.12 * unsure,
        friction=0.12 * unsure,
        distance=0.02 * unsure,
        exit_speed_scatter=odd.speed_scatter,
        exit_angle_scatter=odd.angle_scatter,
        side_scatter=odd.side_scatter,
    )
    robot = replace(robot, uncertainty=given)
    of, target = plain(robot)
    limits = robot.setpoint
    setpoint = float(np.clip(limits.high * rng.uniform(0.25, 1.0), limits.low, limits.high))
    reach = mean_reach(of, target, setpoint)
    distance = reach * math.exp(rng.normal(0, 0.015)) if target["kind"] != "gate" else reach * rng.uniform(0.5, 0.97)
    if not NEAREST <= distance <= FARTHEST:
        return None
    # Far off, an opening large enough to be hit now and then.
    wider = tuple(edge * max(1.0, distance / 4) for edge in target["opening"])
    robot = replace(robot, targets=(replace(robot.targets[0], opening=wider),))
    if max(wider) / 2 + reference.extent(of["element"]) > distance:
        return None
    return Case(seed, robot, distance, setpoint)


def mean_reach(of: dict[str, Any], target: dict[str, Any], setpoint: float) -> float:
    """Where the shot without any error comes to the target's height, or to rest; nan where it doesn't."""
    one = np.ones(1)
    v = exit_speed(of, setpoint) * one
    if not v[0] > 0.1:
        return math.nan
    angle = of["launcher"]["exit_angle"] * one
    if reference.on_floor(target):
        return float(reference.reaches(of, reference.Shots(v, angle, 0 * one, 0 * one, one))[0][0])
    rise = target["height"] - of["launcher"]["exit_height"]
    launch = Launches.of(flyer(of), v, angle, 0 * one, spin_share(of) * v, one)
    there, _ = launch.until(lambda q, lanes: q[1] - rise, fall_time(launch, rise), rise - 1.0)
    return float(there[0, 0])


def believed(session: Session, setpoint: float) -> dict[str, np.ndarray]:
    """What the program believes, as draws for the reference: its unknowns, none of its laws."""
    return believed_of(session.belief, setpoint)


def believed_of(belief: Belief, setpoint: float) -> dict[str, np.ndarray]:
    """The same of any belief."""
    d = belief.draws
    return {
        "log_speed": d.gain @ belief.basis.at(setpoint)[0],
        "angle": d.angle_error,
        "log_drag": d.log_drag,
        "distance": d.distance_bias,
        "side": d.side_bias,
        "speed_scatter": d.speed_scatter,
        "angle_scatter": d.angle_scatter,
        "side_scatter": d.side_scatter,
        "weight": belief.weights,
    }


@dataclass(frozen=True)
class Compared:
    """Hit chance of program and reference (with standard error), by the reference with plainly normal unknowns, and
    what the program is known to leave out that makes the difference, if anything does."""

    case: Case
    program: float
    reference: float
    error: float
    normal: float
    cause: str | None

    @property
    def off(self) -> float:
        """Difference beyond three standard errors."""
        return max(abs(self.program - self.reference) - 3 * self.error, 0.0)

    def __str__(self) -> str:
        return f"{self.program:.3f} for {self.reference:.3f} +- {self.error:.3f}: {self.case} ({self.cause})"


KNOWN = {
    "the path bends in the opening": reference.Nature(bends=False),
    "it touches the rim on its way up": reference.Nature(clears=False),
    "air slows a ball that slides": reference.Nature(slips_in_air=False),
    "all of these": reference.Nature(bends=False, clears=False, slips_in_air=False),
}
BEYOND_TABLE = 16.0


def compare(case: Case, power: int = 11, nature: reference.Nature = reference.WHOLE) -> Compared:
    """Hit chance of the program and of the reference."""
    session = Session(case.robot)
    of, target = plain(case.robot)
    program = session.hit_chance(case.distance, case.setpoint)
    draws = believed(session, case.setpoint)

    def chance(kept: reference.Nature, unknown: dict[str, np.ndarray] | None) -> tuple[float, float]:
        return reference.hit_chance(of, target, case.distance, case.setpoint, unknown, power, case.seed, kept)

    (found, error), (normal, _) = chance(nature, draws), chance(nature, None)
    cause = None
    if abs(program - found) > TOLERANCE + 3 * error:
        if not reference.on_floor(target) and case.distance > BEYOND_TABLE:
            cause = "beyond 16 m"
        for words, kept in KNOWN.items():
            simpler, wide = chance(kept, draws)
            if cause is None and abs(program - simpler) <= TOLERANCE + 3 * wide:
                cause = words
    return Compared(case, program, found, error, normal, cause)


def report(found: list[Compared], most: int = 12) -> str:
    """The worst cases, a line each, and what the causes are."""
    worst = sorted(found, key=lambda c: -c.off)[:most]
    causes = Counter(c.cause for c in found if c.off > TOLERANCE)
    far = np.mean([abs(c.normal - c.reference) for c in found])
    lines = [f"{c.off:.3f}  {c}" for c in worst]
    return "\n".join([*lines, f"{len(found)} robots; off by more than {TOLERANCE}: {dict(causes)}",
                      f"plainly normal unknowns would change the chance by {far:.3f} on average"])  # fmt: skip
