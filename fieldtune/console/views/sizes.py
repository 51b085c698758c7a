"""Sizes: what the mechanism gives as built, and what it would give with another gear, wheel, spring or angle."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal

from fieldtune.console import keys, words
from fieldtune.console.board import Board
from fieldtune.console.plates import Part, Plate

if TYPE_CHECKING:
    from fieldtune.link.live import Live
    from fieldtune.robot.model import Robot
    from fieldtune.sizing.records import Size


@dataclass(frozen=True, slots=True)
class Change:
    """One thing that can be different: how it reads, and the robot with it one step up or down."""

    name: str
    reading: Callable[[Robot], str]
    stepped: Callable[[Robot, int], Robot]


def changes_for(robot: Robot) -> list[Change]:
    """What can be varied on this robot; what its profile doesn't give isn't offered."""
    found = [Change("Exit angle", lambda r: f"{math.degrees(r.launcher.exit_angle):.1f}°", _angle)]
    if robot.drive is not None:
        found.append(Change("Motors", lambda r: str(r.drive.motors) if r.drive else "", _motors))
        if robot.drive.gears:
            found.insert(0, Change("Last gear", _gear_words, _gear))
    if robot.launcher.flywheel is not None:
        found.append(Change("Wheel diameter", _wheel_words, _wheel))
    if _spring_rate(robot) is not None:
        found.append(Change("Spring rate", lambda r: f"{(_spring_rate(r) or 0) / 1000:.3f} N/mm", _spring))
    return found


def _angle(robot: Robot, by: int) -> Robot:
    angle = min(math.radians(88), max(0.0, robot.launcher.exit_angle + math.radians(by)))
    return replace(robot, launcher=replace(robot.launcher, exit_angle=angle))


def _motors(robot: Robot, by: int) -> Robot:
    if robot.drive is None:
        return robot
    return replace(robot, drive=replace(robot.drive, motors=max(1, robot.drive.motors + by)))


def _gear_words(robot: Robot) -> str:
    return "" if robot.drive is None else f"{robot.drive.gears[-1][0]}:{robot.drive.gears[-1][1]}"


def _gear(robot: Robot, by: int) -> Robot:
    if robot.drive is None:
        return robot
    *front, (driving, driven) = robot.drive.gears
    return replace(robot, drive=replace(robot.drive, gears=(*front, (driving, max(8, driven + by)))))


def _wheel_words(robot: Robot) -> str:
    wheel = robot.launcher.flywheel
    return "" if wheel is None else f"{1000 * wheel.wheel_diameter:.0f} mm"


def _wheel(robot: Robot, by: int) -> Robot:
    wheel = robot.launcher.flywheel
    if wheel is None:
        return robot
    larger = replace(wheel, wheel_diameter=max(0.01, wheel.wheel_diameter + 0.002 * by))
    return replace(robot, launcher=replace(robot.launcher, flywheel=larger))


def _spring_rate(robot: Robot) -> float | None:
    launcher = robot.launcher
    if launcher.striker is not None:
        return launcher.striker.spring_rate
    return None if launcher.arm is None else launcher.arm.spring_rate


def _spring(robot: Robot, by: int) -> Robot:
    launcher, rate = robot.launcher, (_spring_rate(robot) or 0.0) * 1.05**by
    if launcher.striker is not None:
        launcher = replace(launcher, striker=replace(launcher.striker, spring_rate=rate))
    elif launcher.arm is not None:
        launcher = replace(launcher, arm=replace(launcher.arm, spring_rate=rate))
    return replace(robot, launcher=launcher)


class SizesView(Board):
    """As built beside what if."""

    TITLE_WORDS = "Sizes"
    OWN: ClassVar[list[Binding]] = [
        Binding("up", "choose(-1)", "Choose", tooltip="Vary the one above", id="sizes-up", key_display="↑ ↓"),
        Binding("down", "choose(1)", "Choose", tooltip="Vary the one below", id="sizes-down",
                key_display="↓", show=False),
        Binding("left", "vary(-1)", "Less", tooltip="A step less of it", id="sizes-less", key_display="←"),
        Binding("right", "vary(1)", "More", tooltip="A step more of it", id="sizes-more", key_display="→"),
        Binding("r", "as_built", "As built", tooltip="Back to the robot as its profile says", id="sizes-as-built"),
    ]  # fmt: skip
    BINDINGS: ClassVar[list[BindingType]] = [*OWN]

    def __init__(self) -> None:
        super().__init__()
        self._at = 0
        self._built: Size | None = None
        self._other: Size | None = None

    def compose_body(self) -> ComposeResult:
        robot = self.console.robot
        self.varied, self.changes = robot, changes_for(robot)
        yield Plate(id="sizes-choose")
        with Horizontal(id="sizes-body"):
            yield Plate(("working out the figures…", "$quiet"), id="sizes-figures")
            yield Plate(id="sizes-choices")

    def key_rows(self) -> list[list[Binding]]:
        return [[*self.OWN, *keys.VIEWS, *keys.ALWAYS]]

    def on_mount(self) -> None:
        """Work out the figures as built (the board's own mounting runs as well)."""
        self.console.begin("sizes-built", self._work_out_built)

    async def _work_out_built(self) -> None:
        from fieldtune.sizing.size import size

        robot, target = self.console.robot, self.console.desk.target
        self._built = await self.console.ask_slowly("Sizing", size, robot, target)
        self._show()

    async def _work_out_other(self) -> None:
        from fieldtune.sizing.size import size

        target = self.console.desk.target
        present = (
            tuple(sorted({teeth for stage in self.varied.drive.gears for teeth in stage})) if self.varied.drive else ()
        )
        self._other = await self.console.ask_slowly("Sizing", size, self.varied, target, teeth=present or None)
        self._show()

    def tick(self, live: Live) -> None:
        super().tick(live)
        self._show()

    def _show(self) -> None:
        if not self.ready:
            return
        robot = self.console.robot
        self.query_one("#sizes-choose", Plate).put(*self._chooser())
        if self._built is not None:
            other = self._other if self.varied is not robot else None
            self.query_one("#sizes-figures", Plate).put(*compared(self._built, other))
            self.query_one("#sizes-choices", Plate).put(*choices(self._built))

    def _chooser(self) -> list[Part]:
        parts: list[Part] = [("What if?  ", "bold $act")]
        for number, change in enumerate(self.changes):
            chosen = number == self._at
            was, now = change.reading(self.console.robot), change.reading(self.varied)
            said = f"{change.name} {now}" + ("" if was == now else f" (built: {was})")
            parts.append((f" ▸{said}◂ " if chosen else f"  {said}  ", "bold $act-ink on $act" if chosen else "$ink"))
        return parts

    def action_choose(self, by: int) -> None:
        """Choose what to vary."""
        self._at = (self._at + by) % len(self.changes)
        self._show()

    def action_vary(self, by: int) -> None:
        """A step more or less of the chosen thing."""
        self.varied = self.changes[self._at].stepped(self.varied, by)
        self._show()
        self.console.begin("sizes-other", self._work_out_other)

    def action_as_built(self) -> None:
        """Back to the robot as built."""
        self.varied, self._other = self.console.robot, None
        self._show()


ROWS: tuple[tuple[str, str, str], ...] = (
    ("reduction", "Reduction", "{:.2f}"),
    ("ceiling_rpm_full", "Ceiling, full battery", "{:.0f} rpm"),
    ("ceiling_rpm_low", "Ceiling, low battery", "{:.0f} rpm"),
    ("ceiling_mm_low", "Longest draw, low battery", "{:.1f} mm"),
    ("farthest_m", "Farthest distance", "{:.2f} m"),
    ("headroom_low", "Headroom, low battery", "{:+.0%}"),
    ("spin_up_s", "Spin-up", "{:.2f} s"),
    ("drop_rpm", "Drop a shot", "{:.0f} rpm"),
    ("recovery_s", "Recovery", "{:.2f} s"),
    ("shots_per_minute", "Rate of fire", "{:.0f} shots/min"),
    ("torque_margin", "Torque margin, cocking", "{:.1f}"),
    ("cock_time_s", "Time to cock", "{:.2f} s"),
    ("cycles_per_minute", "Rate of fire", "{:.0f} cycles/min"),
    ("exit_speed_max_mps", "Highest exit speed", "{:.1f} m/s"),
    ("peak_current_a", "Peak current", "{:.0f} A"),
    ("force_max_n", "Highest spring force", "{:.0f} N"),
    ("spring_energy_j", "Energy in the spring", "{:.2f} J"),
    ("element_energy_j", "Energy of the element", "{:.2f} J"),
    ("wheel_energy_j", "Energy in the wheels", "{:.1f} J"),
    ("rim_speed_mps", "Rim speed, highest", "{:.1f} m/s"),
    ("rim_stress_mpa", "Rim stress", "{:.2f} MPa"),
    ("stop_energy_j", "Energy into the stop", "{:.2f} J"),
    ("spring_stress_mpa", "Spring stress", "{:.0f} MPa"),
    ("spring_safety", "Spring strength over stress", "{:.2f}"),
)


def compared(built: Size, other: Size | None) -> list[Part]:
    """Figures as built and, where something is varied, beside them what it would be."""
    head = f"{'':<27}{'as built':>14}" + (f"{'what if':>16}" if other is not None else "")
    parts: list[Part] = [(head + "\n", "bold $act")]
    for name, label, form in ROWS:
        if not hasattr(built, name):
            continue
        was, now = getattr(built, name), getattr(other, name) if other is not None else None
        parts.append((f"{label:<27}", "$quiet"))
        parts.append((f"{'unknown' if was is None else form.format(was):>14}", "$ink"))
        if other is not None:
            shape = "  " if was is None or now is None or math.isclose(was, now) else " ▲" if now > was else " ▼"
            parts.append((f"{'unknown' if now is None else form.format(now):>14}{shape}", "bold $ink"))
        parts.append("\n")
    parts += [(f"! {words.printable(note)}\n", "$bad") for note in (other or built).notes]
    return parts


def choices(built: Size) -> list[Part]:
    """Gear trains worth considering: the best trade-offs, best first named."""
    if not built.choices:
        return [""]
    parts: list[Part] = [("Gear trains worth a look\n", "bold $act")]
    for choice in built.choices[:14]:
        train = "  ".join(f"{driving}:{driven}" for driving, driven in choice.gears)
        reach = "reach unknown" if choice.farthest_m is None else f"reaches {choice.farthest_m:.1f} m"
        marks = [word for word, there in (("● best", choice.best), ("◆ as built", choice.present)) if there]
        mark = ", ".join(marks)
        parts.append(
            (f"{choice.reduction:5.2f}  {train:<14} {reach:<14} {mark}\n", "bold $good" if choice.best else "$ink")
        )
    return parts
