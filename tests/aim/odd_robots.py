"""Odd but legal robots, as plain numbers in SI and as the profile that says the same. All are invented.

The numbers feed ``brute_force``, the profile the program: neither sees the other's.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from fieldtune.robot.home import load_robot
from fieldtune.robot.model import Robot


@dataclass(frozen=True)
class Odd:
    """One robot: ``shape`` with ``sizes`` (diameter; diameter, height; length, width, height), mass, surface, drag or
    None; launcher of a ``kind`` with its own ``mechanism``; target; floor, air and scatter. SI, angles in radians.
    ``place`` says where it stands, as a share of the way from the nearest to the farthest distance that works.
    """

    shape: str
    sizes: tuple[float, ...]
    mass: float
    surface: str
    drag: float | None
    kind: str
    angle: float
    height: float
    mechanism: dict[str, float]
    low: float
    high: float
    target: str
    target_height: float
    opening: tuple[float, ...]
    clearance: float
    friction: float
    rolling: float
    slope: float
    restitution: float
    temperature: float
    pressure: float
    humidity: float
    speed_scatter: float
    angle_scatter: float
    side_scatter: float
    place: float

    def profile(self) -> str:
        """The profile's text."""
        keys = {"sphere": ("diameter",), "disc": ("diameter", "height"), "block": ("length", "width", "height")}
        lines = ["format = 1", "[element]", f'shape = "{self.shape}"', f'mass = "{self.mass!r} kg"']
        lines += [f'{key} = "{size!r} m"' for key, size in zip(keys[self.shape], self.sizes, strict=True)]
        lines += [f'surface = "{self.surface}"'] + ([] if self.drag is None else [f"drag = {self.drag!r}"])
        lines += ["[launcher]", f'kind = "{self.kind}"', f'exit_angle = "{self.angle!r} rad"']
        lines += [f'exit_height = "{self.height!r} m"', *self._mechanism()]
        unit = "rpm" if self.kind == "flywheel" else "mm"
        lines += ["[setpoint]", f'low = "{self.low!r} {unit}"', f'high = "{self.high!r} {unit}"']
        lines += [f'step = "{(self.high - self.low) / 2000!r} {unit}"', "[target]", f'kind = "{self.target}"']
        opening = ", ".join(f'"{edge!r} m"' for edge in self.opening)
        lines += [f"opening = [{opening}]", f'clearance = "{self.clearance!r} m"']
        lines += [f'height = "{self.target_height!r} m"'] if self.target in ("basket", "window") else []
        lines += ["[floor]", f"friction = {self.friction!r}", f"rolling = {self.rolling!r}"]
        lines += [f'slope = "{self.slope!r} rad"', f"restitution = {self.restitution!r}", "[air]"]
        lines += [f'temperature = "{self.temperature!r} K"', f'pressure = "{self.pressure!r} Pa"']
        lines += [f"humidity = {self.humidity!r}", "[uncertainty]", f"exit_speed_scatter = {self.speed_scatter!r}"]
        lines += [f'exit_angle_scatter = "{self.angle_scatter!r} rad"', f'side_scatter = "{self.side_scatter!r} rad"']
        lines += ["grip = 0.02", "efficiency = 0.03", 'exit_angle = "0.6 deg"', "drag = 0.08", "friction = 0.05"]
        return "\n".join([*lines, 'distance = "1 cm"', ""])

    def _mechanism(self) -> list[str]:
        units = {
            "wheel_diameter": "m", "spring_rate": "N/m", "preload": "N", "draw_min": "m", "draw_max": "m",
            "striker_mass": "kg", "spring_mass": "kg", "arm_length": "m", "arm_inertia": "kg m^2",
            "release_angle": "rad", "torque": "N m",
        }  # fmt: skip
        lines = []
        for key, value in self.mechanism.items():
            if key == "push":
                lines.append(f'contact = "{"push" if value else "strike"}"')
            elif key in units:
                lines.append(f'{key} = "{value!r} {units[key]}"')
            else:
                lines.append(f"{key} = {value!r}")
        return lines

    def robot(self, folder: Path) -> Robot:
        """The robot as the program reads it."""
        path = folder / "odd.toml"
        path.write_text(self.profile(), encoding="utf-8")
        return load_robot(path)

    @property
    def passing(self) -> float:
        """Size that has to go through an opening, metres."""
        return max(self.sizes) if self.shape == "block" else self.sizes[0]

    @property
    def extent(self) -> float:
        """Largest size on the floor, metres."""
        return math.hypot(*self.sizes[:2]) if self.shape == "block" else self.sizes[0]

    @property
    def lying(self) -> float:
        """Height of the centre on the floor, metres."""
        return self.sizes[-1] / 2


class Dice:
    """Numbers drawn one after the other from a seed."""

    def __init__(self, seed: int) -> None:
        self._rng = np.random.default_rng(seed)

    def between(self, low: float, high: float) -> float:
        return float(self._rng.uniform(low, high))

    def times(self, low: float, high: float) -> float:
        """Even on a log scale."""
        return math.exp(self.between(math.log(low), math.log(high)))

    def one_of(self, *choices: Any) -> Any:
        return choices[self._rng.integers(len(choices))]


def odd_robot(seed: int) -> Odd:
    """Every kind of launcher, target and shape, with numbers such that most targets can be reached from somewhere."""
    dice = Dice(seed)
    shape = dice.one_of("sphere", "sphere", "disc", "block")
    target = dice.one_of("basket", "window", "zone", "gate")
    kind = dice.one_of("flywheel", "striker", "arm")
    first = dice.times(0.03, 0.24)
    sizes: tuple[float, ...] = (first,)
    if shape == "disc":
        sizes = (first, first * dice.between(0.1, 0.4))
    elif shape == "block":
        sizes = (first, first * dice.between(0.4, 1.0), first * dice.between(0.4, 1.0))
    volume = {1: math.pi / 6 * first**3, 2: math.pi / 4 * first**2 * sizes[-1], 3: math.prod(sizes)}[len(sizes)]
    mass = min(max(volume * dice.times(40, 1500), 0.002), 3.0)
    on_floor = target in ("zone", "gate")
    low_exit = on_floor and dice.one_of(True, False)
    angle = 0.0 if low_exit else math.radians(dice.between(-12, 78))
    height = sizes[-1] / 2 + (0.0 if low_exit else dice.times(0.005, 1.8))
    mechanism, low, high = _mechanism(dice, kind, angle, mass)
    widest = max(max(sizes), math.hypot(*sizes[:2]) if shape == "block" else first)
    edges = (widest * dice.between(1.6, 4.0) + 0.03, widest * dice.between(1.6, 4.0) + 0.03)
    count = {"basket": dice.one_of(1, 2), "window": 2, "zone": 2, "gate": 1}[target]
    up = 0.0 if on_floor else max(height + dice.between(-1.0, 1.2), 0.02)
    if angle <= 0.02 and up >= height:
        up = 0.5 * height
    friction, rolling = dice.between(0.12, 0.7), dice.between(0.03, 0.12)
    return Odd(
        shape=shape,
        sizes=sizes,
        mass=mass,
        surface=dice.one_of("smooth", "felt", "seamed", "dimpled", "perforated"),
        drag=dice.one_of(None, dice.between(0.2, 1.2)),
        kind=kind,
        angle=angle,
        height=height,
        mechanism=mechanism,
        low=low,
        high=high,
        target=target,
        target_height=up,
        opening=edges[:count],
        clearance=dice.between(0, 0.008),
        friction=friction,
        rolling=rolling,
        slope=math.atan(dice.between(-0.6, 0.6) * (rolling if shape == "sphere" else friction)),
        restitution=dice.between(0.0, 0.7),
        temperature=dice.between(253.15, 318.15),
        pressure=dice.between(69_000, 105_000),
        humidity=dice.between(0, 1),
        speed_scatter=dice.between(0.004, 0.02),
        angle_scatter=math.radians(dice.between(0.2, 1.0)),
        side_scatter=math.radians(dice.between(0.5, 2.5)),
        place=dice.between(0.03, 0.97),
    )


def _mechanism(dice: Dice, kind: str, angle: float, mass: float) -> tuple[dict[str, float], float, float]:
    """Keys of a mechanism that throws at up to some 4 to 20 m/s, and its range of setpoints."""
    top, efficiency = dice.times(4, 20), dice.between(0.4, 1.0)
    if kind == "flywheel":
        wheels, diameter, grip = dice.one_of(1, 2), dice.between(0.04, 0.2), dice.between(0.5, 1.0)
        ratio = dice.times(0.3, 3.0)
        rpm = top / (grip * ((1 + ratio) / 2 if wheels == 2 else 0.5) * diameter / 2) * 30 / math.pi
        found = {"wheels": wheels, "wheel_diameter": diameter, "grip": grip}
        return found | ({"speed_ratio": ratio} if wheels == 2 else {}), 0.03 * rpm, rpm
    preload = dice.between(0, 0.3)
    if kind == "striker":
        draw_max, moving, push = dice.between(0.05, 0.5), dice.between(0.5, 4.0) * mass, dice.one_of(1.0, 0.0)
        restitution = dice.between(0.2, 0.9)
        carried, gain = (moving + mass, 1.0) if push else (moving, moving * (1 + restitution) / (moving + mass))
        rate = carried * (top / gain) ** 2 / (efficiency * draw_max**2)
        found = {
            "push": push,
            "striker_mass": moving,
            "spring_mass": dice.between(0.0, 0.5) * mass,
            "spring_rate": rate,
            "preload": preload * rate * draw_max,
            "restitution": restitution,
        }
    else:
        length = dice.between(0.12, 0.6)
        draw_max, inertia = length * dice.between(0.4, 2.5), dice.between(0.2, 3.0) * mass * length**2
        carried = mass + inertia / length**2
        work = carried * (0.5 * top**2 + 20 * length) / efficiency
        found = {"arm_length": length, "arm_inertia": inertia, "release_angle": math.pi / 2 - angle}
        if dice.one_of(True, False):
            found |= {"spring_rate": 2 * work / draw_max**2, "preload": preload * 2 * work / draw_max}
        else:
            found["torque"] = work / draw_max * length
    found |= {"draw_min": 0.02 * draw_max, "draw_max": draw_max, "efficiency": efficiency}
    return found, 20 * draw_max, 1000 * draw_max
