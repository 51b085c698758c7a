"""The wheel: ten seconds of readback against setpoint, drops marked, and what they add up to."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np
from textual.app import ComposeResult
from textual.containers import Horizontal

from fieldtune.console import words
from fieldtune.console.screens.base import ConsoleScreen
from fieldtune.console.widgets.plot import MARKED, PLAIN, STRONG, Picture, Plot, Series, nice_range
from fieldtune.console.widgets.text_block import Part, TextBlock

if TYPE_CHECKING:
    from fieldtune.link.samples import Live
    from fieldtune.robot.drawn import Drawn
from fieldtune.robot.flywheel import Flywheel
from fieldtune.robot.model import Robot

SECONDS = 10.0
SILENT_S = 0.3
"""A line that is silent for longer lets the past move on: what was heard last isn't now."""


class WheelScreen(ConsoleScreen):
    """Readback over the last ten seconds and the figures of the wheel."""

    TITLE_WORDS = "Wheel"

    def compose_body(self) -> ComposeResult:
        with Horizontal(id="wheel-body"):
            yield Plot(id="wheel-plot")
            yield TextBlock(id="wheel-figures")

    def tick(self, live: Live) -> None:
        super().tick(live)
        robot = self.controller.robot
        self.query_one("#wheel-plot", Plot).show(trace(live, robot))
        self.query_one("#wheel-figures", TextBlock).put(*figures(live, robot))


def trace(live: Live, robot: Robot) -> Picture | None:
    """The plot of the last seconds, newest at the right; ``None`` while there is nothing to draw."""
    heard_s, heard_rpm = np.asarray(live.history_s), np.asarray(live.history_rpm)
    if not heard_s.size or not np.isfinite(heard_rpm).any():
        return None
    silent = live.age_s or 0.0
    end = float(heard_s[-1]) + (silent if silent > SILENT_S and live.state != "ended" else 0.0)
    recent = heard_s >= end - SECONDS
    seconds, speed = heard_s[recent] - end, heard_rpm[recent]
    wanted = live.setpoint if robot.setpoint.scale.is_speed else None
    series = [Series(seconds, speed, STRONG)]
    shown = speed if np.isfinite(speed).any() else heard_rpm
    if wanted is not None:
        series.insert(0, Series(np.array([-SECONDS, 0.0]), np.full(2, wanted), PLAIN, "dashes"))
        shown = np.append(shown, wanted)
    low, high = nice_range(shown, 60.0)
    drops = [s.time_s - end for s in live.shots if s.time_s >= end - SECONDS]
    if drops:
        at = np.array(drops)
        series.append(Series(at, np.interp(at, seconds, speed), MARKED, "marks", "▼"))
    marks = [(low, f"{low:.0f}"), (high, f"{high:.0f}")]
    if wanted is not None and 0.1 < (wanted - low) / (high - low) < 0.9:
        marks.append((wanted, f"{wanted:.0f}"))
    times = ((-10.0, "10 s ago"), (-5.0, "5 s"), (-0.9, "now"))
    return Picture(
        tuple(series), (-SECONDS, 0.0), (low, high), times, tuple(marks), "rpm: ─ readback ╌ setpoint ▼ shot"
    )


def figures(live: Live, robot: Robot) -> list[Part]:
    """The figures, one a line; what hasn't been seen yet says so."""

    def line(name: str, value: float | None, form: str, note: str = "") -> list[Part]:
        said = "not seen yet" if value is None else form.format(value).replace("-0 ", "0 ").replace("+0 ", "0 ")
        return [(f"{name:<15}", "$quiet"), (said + "\n", "$quiet" if value is None else "bold $ink"), note]

    value = words.readback(live, robot)
    said = words.against(value, live.setpoint, robot)
    parts: list[Part] = [(f"{'Now':<15}", "$quiet"), (f"{words.setpoint(value, robot)}\n", "bold $ink")]
    parts += [(f"{'Setpoint':<15}", "$quiet"), (f"{words.setpoint(live.setpoint, robot)}\n", "bold $ink")]
    parts += [(f"{'':<15}", "$quiet"), (f"{said}\n\n", "bold $ink")]

    def drawn(_: Drawn) -> list[Part]:
        return line("Last shot", live.shots[-1].draw_mm, "{:.1f} mm drawn") if live.shots else []

    return [*parts, *robot.launcher.mechanism.by_motion(lambda wheel: _wheel_lines(live, wheel, line), drawn)]


def _wheel_lines(live: Live, launcher: Flywheel, line: Callable[[str, float | None, str], list[Part]]) -> list[Part]:
    wheel, parts = live.wheel, list[Part]()
    parts += line("Steady error", wheel.steady_error_rpm, "{:+.0f} rpm")
    parts += line("Ripple", wheel.ripple_rpm, "± {:.0f} rpm")
    parts += line("Spin-up", wheel.spin_up_s, "{:.2f} s")
    parts += line("Recovery", wheel.recovery_s, "{:.2f} s")
    parts += line("Rate of fire", wheel.shots_per_minute, "{:.0f} shots/min")
    if launcher.second_ratio is not None:
        parts += line("Wheels differ", wheel.second_wheel_mismatch_pct, "{:+.1f} %")
    if live.shots:
        last = live.shots[-1]
        parts.append(("\nLast shot\n", "bold $ink"))
        parts += line("Speed", last.speed_rpm, "{:.0f} rpm")
        parts += line("Drop", last.depth_rpm, "{:.0f} rpm")
        parts += line("Recovery", last.recovery_s, "{:.2f} s")
        parts += line("Energy", last.energy_j, "{:.2f} J or more")  # the motors gave some while it left
    return parts
