"""What students believe: nominal robots drawn at random, and their profiles as text."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from truth_physics import GRAVITY, Array

COMBINATIONS = (
    ("flywheel", "basket"),
    ("striker", "zone"),
    ("arm", "window"),
    ("flywheel", "window"),
    ("striker", "zone"),
    ("arm", "basket"),
)
STATED = {
    "grip": 0.08,
    "exit_angle": np.radians(2.0),
    "drag": 0.15,
    "friction": 0.20,
    "distance": 0.03,
    "exit_speed_scatter": 0.015,
    "exit_angle_scatter": np.radians(0.6),
    "side_scatter": np.radians(2.0),
}


@dataclass
class Nominal:
    """A robot as its profile describes it: SI, setpoints in their own unit."""

    launcher: str
    target: str
    mass: float
    diameter: float
    thickness: float
    drag: float
    states_drag: bool
    exit_angle: float
    exit_height: float
    height: float
    opening: tuple[float, ...]
    friction: float
    low: float = 0.0
    high: float = 0.0
    step: float = 1.0
    wheel_diameter: float = 0.0
    wheels: int = 2
    speed_ratio: float = 1.0
    grip: float = 1.0
    power: bool = False
    readback: bool = False
    no_load_wheel_rpm: float = 0.0
    contact: str = "strike"
    spring_rate: float = 0.0
    preload: float = 0.0
    spring_mass: float = 0.0
    striker_mass: float = 0.0
    restitution: float = 0.5
    efficiency: float = 0.7
    arm_length: float = 0.0
    arm_inertia: float = 0.0
    states_uncertainty: bool = True
    uncertainty: dict[str, float] = field(default_factory=lambda: dict(STATED))
    spots: tuple[float, ...] = ()

    @property
    def area(self) -> float:
        d, t = self.diameter, self.thickness
        return np.pi * d**2 / 4 if t == 0 else (np.pi * d**2 / 2 + np.pi * d * t) / 4

    @property
    def extent(self) -> float:
        return self.diameter

    @property
    def release_angle(self) -> float:
        return np.pi / 2 - self.exit_angle

    @property
    def spin_ratio(self) -> float:
        if self.launcher != "flywheel":
            return 0.0
        return 1.0 if self.wheels == 1 else (1 - self.speed_ratio) / (1 + self.speed_ratio)

    def allowed(self, setpoint: float) -> float:
        """The setpoint the robot program would accept: on its step, inside its limits."""
        return float(np.clip(self.low + round((setpoint - self.low) / self.step) * self.step, self.low, self.high))

    def all_setpoints(self) -> Array:
        return np.arange(self.low, self.high + self.step / 2, self.step)

    # --- what a student works out on paper: no air, no slip that changes ------------------------------------

    def paper_speed(self, distance: float) -> float:
        """Exit speed for the target's centre without air; infinite where no speed does it."""
        if self.target in ("zone", "gate"):
            extra = self.extent if self.target == "gate" else 0.0
            return float(np.sqrt(2 * self.friction * GRAVITY * (distance + extra)))
        drop = distance * np.tan(self.exit_angle) - (self.height - self.exit_height)
        if drop <= 0:
            return float("inf")
        return float(np.sqrt(GRAVITY * distance**2 / (2 * np.cos(self.exit_angle) ** 2 * drop)))

    def paper_setpoint(self, speed: float) -> float:
        """Setpoint for an exit speed by the nominal numbers."""
        if self.launcher == "flywheel":
            share = 0.5 if self.wheels == 1 else (1 + self.speed_ratio) / 2
            rpm = speed / (share * self.grip * np.pi * self.wheel_diameter) * 60
            return rpm / self.no_load_wheel_rpm * 100 if self.power else rpm
        if self.launcher == "striker":
            moving = self.striker_mass + self.spring_mass / 3
            if self.contact == "push":
                energy = speed**2 * (moving + self.mass) / 2
            else:
                energy = moving / 2 * (speed * (moving + self.mass) / ((1 + self.restitution) * moving)) ** 2
        else:
            energy = (self.arm_inertia + self.mass * self.arm_length**2) / 2 * (speed / self.arm_length) ** 2
        draw = self._draw_for(energy)
        for _ in range(4 if self.launcher == "arm" else 0):
            draw = self._draw_for(energy + self.lifting(draw))
        return draw * 1000

    def lifting(self, draw: float) -> float:
        """Energy (J) that raises arm and element over a draw along the tip's arc, the arm a uniform rod."""
        weight = GRAVITY * (self.mass * self.arm_length + 1.5 * self.arm_inertia / self.arm_length)
        turn = draw / self.arm_length
        return float(weight * (np.sin(self.release_angle) - np.sin(self.release_angle - turn)))

    def _draw_for(self, energy: float) -> float:
        root = np.sqrt(self.preload**2 + 2 * self.spring_rate * energy / self.efficiency)
        return float((root - self.preload) / self.spring_rate)

    def profile(self) -> str:
        """The profile as text."""
        return "\n".join(_profile_lines(self)) + "\n"


def draw_nominal(rng: np.random.Generator, number: int) -> Nominal:
    """A plausible school-built robot of the kind that ``number`` falls on."""
    launcher, target = COMBINATIONS[number % len(COMBINATIONS)]
    if target == "zone" and number % 12 == 4:
        target = "gate"
    n = _slider(rng, target) if launcher == "striker" else _flyer(rng, launcher, target)
    n.states_uncertainty = bool(rng.random() < 0.7)
    if n.states_uncertainty and rng.random() < 0.5:
        n.uncertainty["grip"] = round(rng.uniform(0.04, 0.10), 2)
        n.uncertainty["exit_speed_scatter"] = round(rng.uniform(0.008, 0.022), 3)
        n.uncertainty["side_scatter"] = np.radians(round(rng.uniform(0.8, 2.0), 1))
    far = rng.uniform(3.6, 5.5)
    near = rng.uniform(0.9, 1.5)
    slowest = min(n.paper_speed(d) for d in np.linspace(near, far, 30))
    fastest = max(v for d in np.linspace(near + 0.4, far, 30) if np.isfinite(v := n.paper_speed(d)))
    if launcher == "flywheel":
        _wheels(rng, n, 0.75 * slowest, 1.4 * fastest)
    else:
        _spring(rng, n, 0.7 * slowest, 1.25 * fastest)
    return n


def _flyer(rng: np.random.Generator, launcher: str, target: str) -> Nominal:
    d = round(rng.uniform(0.055, 0.13), 3)
    density = rng.uniform(150, 450)
    room = rng.uniform(0.16, 0.32)
    if target == "basket":
        angle, height = rng.uniform(46, 62), rng.uniform(0.6, 1.3)
        opening: tuple[float, ...] = (round(d + room, 2),)
        if rng.random() < 0.3:
            opening = (round(d + room, 2), round(d + 1.5 * room, 2))
    else:
        angle, height = rng.uniform(30, 48), rng.uniform(0.7, 1.5)
        opening = (round(d + 1.4 * room, 2), round(d + room, 2))
    return Nominal(
        launcher, target, round(density * np.pi * d**3 / 6, 4), d, 0.0, 0.47, bool(rng.random() < 0.5),
        np.radians(round(angle)), round(rng.uniform(0.25, 0.6), 2), round(height, 2), opening, 0.25,
    )  # fmt: skip


def _slider(rng: np.random.Generator, target: str) -> Nominal:
    d = round(rng.uniform(0.07, 0.11), 3)
    room = rng.uniform(0.3, 0.6)
    opening = (round(d + room, 2), round(d + rng.uniform(0.4, 0.8), 2))
    return Nominal(
        "striker", target, round(rng.uniform(0.06, 0.2), 3), d, round(rng.uniform(0.01, 0.02), 3), 0.9, False,
        0.0, 0.01, 0.0, opening if target == "zone" else opening[1:], round(rng.uniform(0.12, 0.35), 2),
    )  # fmt: skip


def _wheels(rng: np.random.Generator, n: Nominal, slowest: float, fastest: float) -> None:
    n.wheel_diameter = round(rng.uniform(0.07, 0.11), 3)
    n.wheels = 1 if rng.random() < 0.3 else 2
    n.speed_ratio = 1.0 if n.wheels == 1 or rng.random() < 0.5 else round(rng.uniform(0.8, 1.0), 2)
    n.grip = round(rng.uniform(0.75, 0.95), 2)
    low, high = n.paper_setpoint(slowest), n.paper_setpoint(fastest)
    n.low, n.high, n.step = round(low, -1), round(high, -1), 10.0
    if rng.random() < 0.3:
        n.power, n.no_load_wheel_rpm = True, round(high * 1.05)
        n.low, n.high, n.step = float(np.floor(low / high * 100)), 100.0, 1.0
    else:
        n.readback = bool(rng.random() < 0.5)


def _spring(rng: np.random.Generator, n: Nominal, slowest: float, fastest: float) -> None:
    n.efficiency = round(rng.uniform(0.6, 0.85), 2)
    if n.launcher == "striker":
        n.contact = "push" if rng.random() < 0.4 else "strike"
        n.striker_mass, n.spring_mass = round(rng.uniform(0.15, 0.4), 3), round(rng.uniform(0.01, 0.04), 3)
        n.restitution, longest, n.step = round(rng.uniform(0.4, 0.7), 2), rng.uniform(60, 110), 0.5
    else:
        n.arm_length = round(rng.uniform(0.28, 0.5), 2)
        n.arm_inertia = round(rng.uniform(0.3, 1.0) * 0.25 * n.arm_length**2, 4)
        longest, n.step = rng.uniform(140, 260), 1.0
    n.spring_rate, n.preload = 1000.0, 0.0
    scale = (n.paper_setpoint(fastest) / longest) ** 2
    n.spring_rate = round(1000 * scale * 0.9, 1)
    n.preload = round(0.05 * n.spring_rate * longest / 1000, 1)
    n.low, n.high = float(max(5.0, np.floor(n.paper_setpoint(slowest)))), float(np.ceil(longest))


def _profile_lines(n: Nominal) -> list[str]:
    lines = ["format = 1", 'title = "A robot of a trial"', "[element]"]
    lines += [f'shape = "{"disc" if n.thickness else "sphere"}"', f'diameter = "{n.diameter * 1000:g} mm"']
    lines += [f'mass = "{n.mass * 1000:g} g"', 'surface = "smooth"']
    if n.thickness:
        lines.append(f'height = "{n.thickness * 1000:g} mm"')
    elif n.states_drag:
        lines.append(f"drag = {n.drag}")
    lines += ["[launcher]", f'kind = "{n.launcher}"', f'exit_angle = "{np.degrees(n.exit_angle):g} deg"']
    lines += [f'exit_height = "{n.exit_height * 100:g} cm"', *_mechanism_lines(n)]
    unit = "mm" if n.launcher != "flywheel" else "%" if n.power else "rpm"
    if n.launcher == "flywheel":
        lines += ["[drive]", f'control = "{"power" if n.power else "speed"}"', "motors = 1", 'nominal_voltage = "12 V"']
        free = n.no_load_wheel_rpm or 6000.0
        torque = 12.0 * 11.6 / (free * 2 * np.pi / 60)
        lines += [f'no_load_speed = "{free:g} rpm"', f'stall_torque = "{torque:.3g} N m"', "gears = [[20, 20]]"]
        lines += ['stall_current = "12 A"', 'no_load_current = "0.4 A"', "stage_efficiency = 1.0"]
        lines += ["[encoder]", "counts_per_turn = 48", 'on = "wheel"', "bits = 32"]
    lines += ["[target]", f'kind = "{n.target}"']
    if n.target in ("basket", "window"):
        lines.append(f'height = "{n.height * 100:g} cm"')
    sizes = [f'"{size * 100:g} cm"' for size in n.opening]
    lines.append(f"opening = {sizes[0] if len(sizes) == 1 else '[' + ', '.join(sizes) + ']'}")
    if n.launcher == "striker":
        lines += ["[floor]", f"friction = {n.friction:g}"]
    lines += ["[setpoint]", f'low = "{n.low:g} {unit}"', f'high = "{n.high:g} {unit}"', f'step = "{n.step:g} {unit}"']
    for place, spot in enumerate(n.spots, start=1):
        lines += ["[[spots]]", f'name = "spot {place}"', f'distance = "{spot * 100:g} cm"']
    return lines + (_uncertainty_lines(n) if n.states_uncertainty else [])


def _mechanism_lines(n: Nominal) -> list[str]:
    if n.launcher == "flywheel":
        return [
            f"wheels = {n.wheels}", f'wheel_diameter = "{n.wheel_diameter * 1000:g} mm"',
            'wheel_inertia = "200 kg mm^2"', f"grip = {n.grip:g}",
            *([f"speed_ratio = {n.speed_ratio:g}"] if n.wheels == 2 else []),
        ]  # fmt: skip
    draws = [f'draw_min = "{n.low:g} mm"', f'draw_max = "{n.high:g} mm"', f"efficiency = {n.efficiency:g}"]
    spring = [f'spring_rate = "{n.spring_rate / 1000:.5g} N/mm"', f'preload = "{n.preload:g} N"']
    if n.launcher == "striker":
        return [
            f'contact = "{n.contact}"', *spring, *draws, f'spring_mass = "{n.spring_mass * 1000:g} g"',
            f'striker_mass = "{n.striker_mass * 1000:g} g"', f"restitution = {n.restitution:g}",
        ]  # fmt: skip
    return [
        f'arm_length = "{n.arm_length * 100:g} cm"', f'arm_inertia = "{n.arm_inertia:g} kg m^2"',
        f'release_angle = "{np.degrees(n.release_angle):g} deg"', *spring, *draws,
    ]  # fmt: skip


def _uncertainty_lines(n: Nominal) -> list[str]:
    u = n.uncertainty
    return [
        "[uncertainty]", f'grip = "{u["grip"] * 100:g} %"', f'exit_angle = "{np.degrees(u["exit_angle"]):g} deg"',
        f'drag = "{u["drag"] * 100:g} %"', f'friction = "{u["friction"] * 100:g} %"',
        f'distance = "{u["distance"] * 100:g} cm"', f'exit_speed_scatter = "{u["exit_speed_scatter"] * 100:g} %"',
        f'exit_angle_scatter = "{np.degrees(u["exit_angle_scatter"]):.3g} deg"',
        f'side_scatter = "{np.degrees(u["side_scatter"]):.3g} deg"',
    ]  # fmt: skip
