"""A session whose answers are the same on every machine and after every change of the models, on a real log."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

from console_world import slide, vacuum_arc

from fieldtune.aim.results import Aim, ArcPicture, NextShot, Sensitivity, SetpointChoice
from fieldtune.records import Shot
from fieldtune.session import Session
from fieldtune.store import Store


class FixedLog(Store):
    """A log of four shots that are always the same."""

    flying = True

    def __init__(self) -> None:
        super().__init__(clock=lambda: datetime(2026, 11, 7, 10, 0, tzinfo=UTC))

    def shots(self) -> tuple[Shot, ...]:
        unit = 1.0 if self.flying else 1 / 78
        shot = Shot(1, "a", "2026-03-01T10:00:00Z", 3.0, 2400.0 * unit, "short", 1, speed=2392.0 * unit, battery_v=12.4)
        return (
            shot,
            replace(shot, shot=2, result="in", setpoint=2450.0 * unit, miss_m=0.03),
            replace(shot, shot=3, result="left", undone=True),
            replace(shot, shot=4, result="long", excluded="bounced"),
        )


class FixedAnswers(Session):
    """A real session whose answers are fixed, so that a screen is the same on every machine and after every change
    of the models."""

    def aim(self, distance_m: float, battery_v: float | None = None, target: str | None = None) -> Aim:
        flying = self.robot.launcher.kind == "flywheel"
        choice = SetpointChoice(2450.0, "rpm", 2410.0, 2500.0) if flying else SetpointChoice(31.5, "mm", 30.5, 32.5)
        return Aim(
            robot=self.robot.name,
            distance_m=distance_m,
            target=target,
            setpoint=choice,
            hit_probability=0.62,
            hit_probability_90=(0.41, 0.80),
            exit_speed_mps=5.93,
            exit_angle_deg=52.0,
            entry_angle_deg=44.6,
            apex_m=1.49,
            time_s=0.82,
            reachable=True,
            ceiling=3900.0 if flying else 58.0,
            shots_used=2,
            epoch=1,
            cautions=("the ball's drag is known to 15 % only", "no shot yet beyond 2.5 m"),
            sensitivity=Sensitivity(0.032, -0.004, None, -0.01, 0.003),
            battery_v=battery_v,
        )

    def hit_chance(self, *_: Any, **__: Any) -> float:
        return 0.33

    def picture(self, distance_m: float, setpoint: float, *_: Any, **__: Any) -> ArcPicture:
        if self.robot.launcher.kind != "flywheel":
            return slide(distance_m)
        return vacuum_arc(self.robot, 5.93 * setpoint / 2450, distance_m)

    def next(self, target: str | None = None, battery_v: float | None = None) -> NextShot:
        return NextShot(
            2.2, 2450.0 if self.robot.launcher.kind == "flywheel" else 31.5, 0.01, "it is far from the others"
        )
