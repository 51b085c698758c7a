"""The wheel, or the draw of a striker or arm: its history against the real setpoint, and what it adds up to.

A newcomer's question: "does it hold what it is told, and how soon is it back after a shot?" The curve keeps within the
band, or leaves it at a shot (▼) and is back at its ◇.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, ClassVar

import numpy as np
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal

from fieldtune.charts.history import Holding, wheel_chart
from fieldtune.console import words
from fieldtune.console.screens.base import ConsoleScreen
from fieldtune.console.widgets.pictures import Pictures
from fieldtune.console.widgets.text_block import Part, TextBlock
from fieldtune.link.history import Stretch
from fieldtune.person_units import converted
from fieldtune.person_units import unit as said_unit
from fieldtune.sizing.feeding import feeding

if TYPE_CHECKING:
    from fieldtune.aim.results import Aim
    from fieldtune.charts.chart import Chart
    from fieldtune.console.controller import Controller
    from fieldtune.link.samples import Live
    from fieldtune.robot.drawn import Drawn
    from fieldtune.robot.flywheel import Flywheel
    from fieldtune.robot.model import Robot
    from fieldtune.sizing.feeding import Feeding

SPANS_S = (2.0, 5.0, 10.0, 30.0, 60.0, 120.0, 300.0)
_USUAL = 2
SILENT_S = 0.3
"""A line that is silent for longer lets the past move on: what was heard last isn't now."""
_REDRAWS = 200
"""A curve that has moved on by less than such a part of its span isn't drawn again: less can't be seen."""


class Trace:
    """The chart of the last ``span_s`` seconds, or of a moment that is held still; drawn anew as it moves on."""

    def __init__(self, controller: Controller) -> None:
        self._controller = controller
        self._made: tuple[object, Chart | None] = (None, None)

    def end_s(self, live: Live) -> float | None:
        """Now on the line's clock; None before anything was heard."""
        history = self._controller.history
        heard = [float(seconds) for seconds in live.history_s[-1:]]
        end = history.end_s if len(history) else heard[0] if heard else None
        silent = live.age_s or 0.0
        return None if end is None else end + (silent if silent > SILENT_S and live.state != "ended" else 0.0)

    def chart(self, live: Live, span_s: float, frozen_s: float | None = None) -> Chart | None:
        """The same chart as long as it hasn't moved by what can be seen."""
        now = self.end_s(live)
        end = frozen_s if frozen_s is not None else now
        if end is None:
            return None
        state = self._controller.shooting
        good = None
        if state.aim is not None and state.aim.setpoint.low is not None and state.aim.setpoint.high is not None:
            good = (state.aim.setpoint.low, state.aim.setpoint.high)
        step = span_s / _REDRAWS
        shots = tuple((shot.number, shot.recovery_s) for shot in live.shots[-3:])
        key = (span_s, round(end / step), frozen_s, good, shots)
        if key != self._made[0]:
            wheel = live.wheel
            holding = Holding(wheel.steady_error_rpm, wheel.ripple_rpm, good)
            stretch = self._stretch(live, end - span_s, end)
            chart = wheel_chart(self._controller.robot, stretch, end, span_s, holding, frozen_s is not None)
            self._made = key, chart
        return self._made[1]

    def _stretch(self, live: Live, begin: float, end: float) -> Stretch:
        history = self._controller.history
        if len(history):
            return history.stretch(begin, end)
        seconds, speed = np.asarray(live.history_s, dtype=float), np.asarray(live.history_rpm, dtype=float)
        at = (seconds >= begin) & (seconds <= end)
        told = np.full(int(at.sum()), np.nan if live.setpoint is None else live.setpoint)
        nothing = np.full_like(told, np.nan)
        shots = tuple(shot for shot in live.shots if begin <= shot.time_s <= end)
        return Stretch(seconds[at], speed[at], speed[at], told, nothing, nothing, nothing, shots)


class WheelScreen(ConsoleScreen):
    """History and figures."""

    TITLE_WORDS = "Wheel"
    OWN: ClassVar[list[Binding]] = [
        Binding("plus,equals_sign", "zoom(-1)", "Zoom", tooltip="A shorter time", id="wheel-closer", key_display="+ -"),
        Binding("minus", "zoom(1)", "Zoom", tooltip="A longer time, up to five minutes", id="wheel-wider", show=False,
                key_display="-"),
        Binding("p", "freeze", "Freeze", tooltip="Hold the picture still, or let it run again", id="wheel-freeze"),
        Binding("comma", "step(-1)", "Back", tooltip="Back through the session", id="wheel-back", key_display=", ."),
        Binding("full_stop", "step(1)", "Forward", tooltip="Forward again", id="wheel-forward", show=False,
                key_display="."),
        Binding("backspace", "live", "Live", tooltip="Back to now", id="wheel-live", key_display="Bksp"),
    ]  # fmt: skip
    BINDINGS: ClassVar[list[BindingType]] = [*OWN]

    def __init__(self) -> None:
        super().__init__()
        self._span = _USUAL
        self._frozen_s: float | None = None
        self._trace: Trace | None = None
        self._fed: tuple[Aim | None, Feeding | None] = (None, None)

    def compose_body(self) -> ComposeResult:
        self._trace = Trace(self.controller)
        with Horizontal(id="wheel-body"):
            yield Pictures(id="wheel-plot")
            yield TextBlock(id="wheel-figures")

    def tick(self, live: Live) -> None:
        super().tick(live)
        if self._trace is not None:
            self.query_one("#wheel-plot", Pictures).show(self._trace.chart(live, SPANS_S[self._span], self._frozen_s))
        self.query_one("#wheel-figures", TextBlock).put(*figures(live, self.controller.robot, self._feeding()))

    def _feeding(self) -> Feeding | None:
        """How fast elements may follow at what is recommended here."""
        state = self.controller.shooting
        if state.aim is not self._fed[0]:
            aim = state.aim
            wanted = None if aim is None else aim.setpoint
            found = None
            if wanted is not None and wanted.value is not None:
                found = feeding(self.controller.robot, wanted.value, wanted.low)
            self._fed = state.aim, found
        return self._fed[1]

    def action_zoom(self, by: int) -> None:
        """A shorter or longer time."""
        self._span = min(len(SPANS_S) - 1, max(0, self._span + by))
        self.controller.show()

    def action_freeze(self) -> None:
        """Still, or live again."""
        now = self._now()
        self._frozen_s = None if self._frozen_s is not None else now
        self.controller.show()

    def action_step(self, by: int) -> None:
        """Half a picture back or forward; beyond now it is live again."""
        begin, now = self.controller.history.begin_s, self._now()
        if begin is None or now is None:
            self.controller.news.say("there is no history yet")
            return
        at = (self._frozen_s if self._frozen_s is not None else now) + by * SPANS_S[self._span] / 2
        self._frozen_s = None if at >= now else max(at, min(begin + SPANS_S[self._span], now))
        self.controller.show()

    def action_live(self) -> None:
        """Back to now."""
        self._frozen_s = None
        self.controller.show()

    def _now(self) -> float | None:
        return None if self._trace is None else self._trace.end_s(self.controller.shooting.live)


def figures(live: Live, robot: Robot, fed: Feeding | None = None) -> list[Part]:
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

    return [*parts, *robot.launcher.mechanism.by_motion(lambda wheel: _wheel_lines(live, wheel, line, fed), drawn)]


def _wheel_lines(
    live: Live, launcher: Flywheel, line: Callable[[str, float | None, str], list[Part]], fed: Feeding | None
) -> list[Part]:
    wheel, parts = live.wheel, list[Part]()
    parts += line("Steady error", wheel.steady_error_rpm, "{:+.0f} rpm")
    parts += line("Ripple", wheel.ripple_rpm, "± {:.0f} rpm")
    parts += line("Spin-up", wheel.spin_up_s, "{:.2f} s")
    parts += line("Recovery", wheel.recovery_s, "{:.2f} s")
    parts += line("Rate of fire", wheel.shots_per_minute, "{:.0f} shots/min")
    if fed is not None and fed.per_minute is not None:
        parts += [(f"{'Rate allowed':<15}", "$quiet"), (fed.rate_words, "bold $ink")]
        parts.append((f"\n{'':<15}limit: {fed.limit}\n", "$quiet"))
    if launcher.second_ratio is not None:
        parts += line("Wheels differ", wheel.second_wheel_mismatch_pct, "{:+.1f} %")
    if live.shots:
        last = live.shots[-1]
        parts.append(("\nLast shot\n", "bold $ink"))
        parts += line("Speed", last.speed_rpm, "{:.0f} rpm")
        parts += line("Drop", last.depth_rpm, "{:.0f} rpm")
        parts += line("Recovery", last.recovery_s, "{:.2f} s")
        # the motors gave some while it left
        energy = None if last.energy_j is None else converted(last.energy_j, "J")
        parts += line("Energy", energy, f"{{:.2f}} {said_unit('J')} or more")
    return parts
