"""Why this setpoint: for teaching, at the robot's own spot. The parabola against reality, and where the energy goes."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import svg
from markupsafe import Markup

from fieldtune.aim.recommend import mean_log_speed
from fieldtune.constants import STANDARD_GRAVITY
from fieldtune.errors import OutOfReachError
from fieldtune.frozen import frozen
from fieldtune.person_units import amount, how_far
from fieldtune.robot.exit_speed import drive_quantity
from fieldtune.scene import scene
from fieldtune.share.path_svg import inline, picture
from fieldtune.share.table_curve import no_air_setpoints
from fieldtune.sizing.energy_chain import EnergyStep, energy_chain

if TYPE_CHECKING:
    from fieldtune.aim.results import ArcPicture
    from fieldtune.robot.model import Robot, Target
    from fieldtune.session import Session


@frozen
class Why:
    """One shot explained: at ``distance_m`` with the recommended ``setpoint``, leaving at ``exit_speed_mps``.

    ``no_air_setpoint``: what the parabola would ask for; ``no_air_high_m``: how much higher than in air the parabola of
    the same exit passes the target's distance (both None for elements that slide). ``chain``: energy, J.
    """

    robot: str
    distance_m: float
    spot: str | None
    setpoint: float
    unit: str
    exit_speed_mps: float
    exit_angle_deg: float
    no_air_setpoint: float | None
    no_air_high_m: float | None
    chain: tuple[EnergyStep, ...]
    path: Markup | None
    bars: Markup | None
    words: tuple[str, ...]


def why(session: Session, distance_m: float, battery_v: float | None = None, target: str | None = None) -> Why:
    """Explains the recommendation at a distance reading; raises ``OutOfReachError`` where there is none."""
    robot, goal = session.robot, session.robot.target(target)
    aim = session.aim(distance_m, battery_v, target)
    if aim.setpoint.value is None or aim.exit_speed_mps is None:
        raise OutOfReachError(f"{robot.name}: nothing to explain from {how_far(distance_m)}: no setpoint scores there")
    hood = aim.exit_angle_setpoint_deg
    robot = robot.with_exit_angle(hood)
    speed = math.exp(mean_log_speed(robot, session.belief, aim.setpoint.value, battery_v))
    quantity = float(drive_quantity(robot, aim.setpoint.value, battery_v))
    real = session.picture(distance_m, aim.setpoint.value, battery_v, target, hood)
    angle = robot.launcher.exit_angle + float(session.belief.best.angle_error[0])
    bare = _parabola(robot, real, speed, angle)
    true = distance_m + float(session.belief.best.distance_bias[0])
    flies = goal.by_way(lambda: True, lambda: False)
    high = float(np.interp(true, bare.x, bare.y) - np.interp(true, real.x, real.y)) if flies else None
    wanted = float(no_air_setpoints(session, [distance_m], battery_v, target, hood)[0])
    chain = energy_chain(robot, quantity, speed, battery_v)
    return Why(
        robot=robot.name,
        distance_m=distance_m,
        spot=next((s.name for s in robot.spots if abs(s.distance - distance_m) < 1e-6), None),
        setpoint=aim.setpoint.value,
        unit=robot.setpoint.unit,
        exit_speed_mps=speed,
        exit_angle_deg=math.degrees(angle),
        no_air_setpoint=wanted if math.isfinite(wanted) else None,
        no_air_high_m=high if high is not None and math.isfinite(high) else None,
        chain=chain,
        path=_path(robot, goal, true, real, bare) if flies else None,
        bars=energy_bars(chain) if chain else None,
        words=_words(robot, aim.setpoint.value, speed, wanted, high, chain),
    )


def _parabola(robot: Robot, real: ArcPicture, speed: float, angle: float) -> ArcPicture:
    """The same exit without air: y = h + x tan a - g x² / (2 v² cos² a) (any mechanics textbook)."""
    x = real.x
    y = robot.launcher.exit_height + x * math.tan(angle)
    return replace(real, y=y - STANDARD_GRAVITY * x**2 / (2 * (speed * math.cos(angle)) ** 2))


def _path(robot: Robot, goal: Target, true: float, real: ArcPicture, bare: ArcPicture) -> Markup:
    drawn = scene(robot, goal, true, replace(real, low_y=real.y, high_y=np.maximum(real.y, bare.y)), ghost=bare)
    kept = tuple(shape for shape in drawn.shapes if shape.part not in ("band", "edge"))
    words = "solid: the predicted path in air; dashed: the parabola of the same exit without air"
    return picture(replace(drawn, shapes=kept), words)


_WIDTH, _ROW, _LEFT, _RIGHT = 180.0, 6.2, 62.0, 30.0


def energy_bars(chain: tuple[EnergyStep, ...]) -> Markup:
    """The chain as bars, millimetres on paper: full ones are there, hatched ones go away."""
    most = max(step.joules for step in chain)
    scale = (_WIDTH - _LEFT - _RIGHT) / most
    parts: list[svg.Element] = [svg.Title(text="energy of one shot, step by step")]
    left = chain[0].joules
    for k, step in enumerate(chain):
        top, long = k * _ROW + 0.8, max(step.joules, 0.0) * scale
        start = _LEFT
        if step.lost:
            left -= step.joules
            start += max(left, 0.0) * scale
        else:
            left = step.joules
        parts.append(_text(_LEFT - 2, top + 3.4, step.name, "end", not step.lost))
        parts.append(svg.Rect(x=start, y=top, width=round(max(long, 0.3), 2), height=_ROW - 1.6, stroke="#000",
                              stroke_width=0.25, fill="#fff" if step.lost else "#000"))  # fmt: skip
        if step.lost:
            parts += _hatching(start, top, long)
        share = f"{amount(step.joules, 'J')}, {100 * step.joules / chain[0].joules:.0f} %"
        parts.append(_text(start + long + 1.5, top + 3.4, share, "start", not step.lost))
    height = round(len(chain) * _ROW + 1, 1)
    return inline(svg.SVG(viewBox=svg.ViewBoxSpec(0, 0, _WIDTH, height), class_=["bars"], elements=parts).as_str())


def _hatching(start: float, top: float, long: float) -> list[svg.Element]:
    tall, count = _ROW - 1.6, int(long / 2)
    return [
        svg.Line(x1=round(start + 2 * k, 2), y1=top + tall, x2=round(min(start + 2 * k + 2, start + long), 2), y2=top,
                 stroke="#555", stroke_width=0.2)
        for k in range(count)
    ]  # fmt: skip


def _text(x: float, y: float, words: str, anchor: str, strong: bool) -> svg.Text:
    return svg.Text(x=round(x, 2), y=round(y, 2), text=words, font_size=3.3, text_anchor=anchor,  # type: ignore[arg-type]
                    font_weight="bold" if strong else "normal")  # fmt: skip


def _words(
    robot: Robot, setpoint: float, speed: float, wanted: float, high: float | None, chain: tuple[EnergyStep, ...]
) -> tuple[str, ...]:
    unit, digits = robot.setpoint.unit, robot.setpoint.decimals
    found = []
    if high is not None and math.isfinite(high):
        found.append(
            f"Thrown at {amount(speed, 'm/s', 2)}, the element would pass the target "
            f"{amount(100 * abs(high), 'cm', 0)} {'higher' if high > 0 else 'lower'} "
            "without air (dashed) than it does with it (solid)."
        )
    if math.isfinite(wanted):
        off = wanted - setpoint
        found.append(
            f"The formula without air asks for {wanted:.{digits}f} {unit} here, "
            f"{abs(off):.{digits}f} {unit} {'less' if off < 0 else 'more'} than this sheet."
        )
    if chain:
        part = chain[-1].joules / chain[0].joules
        found.append(
            f"Of {amount(chain[0].joules, 'J', figures=2)} {chain[0].name}, "
            f"{amount(chain[-1].joules, 'J', figures=2)} fly: {100 * part:.0f} in 100."
        )
        worst = max((step for step in chain if step.lost), key=lambda step: step.joules)
        found.append(f"The largest loss is {worst.name}: {amount(worst.joules, 'J', figures=2)}.")
    return tuple(found)
