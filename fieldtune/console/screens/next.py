"""What to do next: the shot worth taking, where the present setpoint scores, what to mend, and what moves the miss.

A newcomer's question: "what do I shoot next, what do I mend first, and what does it buy?" The ◆ on the map is the shot
that teaches most; the longest bar is the largest cause of misses.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType

from fieldtune import units
from fieldtune.charts.design import budget_chart
from fieldtune.console import words
from fieldtune.console.screens.pictured import PicturedScreen, scroll_keys, turn_key
from fieldtune.console.typed import Distance
from fieldtune.console.widgets.entry_line import EntryLine
from fieldtune.console.widgets.text_block import Part, TextBlock
from fieldtune.errors import InputError, UnitError
from fieldtune.person_units import amount, back, unit

if TYPE_CHECKING:
    from fieldtune.aim.results import Aim, NextShot, Standing
    from fieldtune.charts.chart import Chart
    from fieldtune.link.samples import Live
    from fieldtune.robot.model import Robot


def read_setpoint(text: str, robot: Robot) -> float:
    """A typed setpoint in the robot's unit, with or without it; raises ``InputError``."""
    unit = robot.setpoint.unit
    expected = f"write a number of {unit}, as {robot.setpoint.high:g}"
    said = units.with_point(text.strip().removesuffix(unit).strip(), expected)
    scale = robot.setpoint.scale
    try:
        value = float(said)
    except ValueError:
        try:
            value = units.parse(said, scale.dimension) * scale.per_si  # a draw in inches, a speed in rad/s
        except UnitError:
            value = float("nan")
    if not 0 < value < 1e6:
        shown = words.shorten(words.printable(text.strip()), 20)
        raise InputError(f"setpoint {shown!r} can't be read: {expected}")
    return value


class NextScreen(PicturedScreen):
    """Next shot, standing distances, sensitivities and all cautions."""

    TITLE_WORDS = "Next"
    OWN: ClassVar[list[Binding]] = [
        Binding(
            "enter", "go", "Go there", key_display="Enter", tooltip="Shoot from the suggested distance", id="next-go"
        ),
        Binding("p", "setpoint", "Other setpoint", tooltip="Where does another setpoint score?", id="next-setpoint"),
        turn_key("next"),
        *scroll_keys("next"),
    ]
    BINDINGS: ClassVar[list[BindingType]] = [*OWN]

    def __init__(self) -> None:
        super().__init__()
        self._asked_for: object = None
        self._setpoint: float | None = None
        self._budget: Chart | None = None
        self._budget_for: object = None

    def compose_words(self) -> ComposeResult:
        yield TextBlock(id="next-cautions")
        yield TextBlock(("working out what would teach most…", "$quiet"), id="next-shot")
        yield TextBlock(id="next-stand")
        yield TextBlock(id="next-sensitivity")

    def tick(self, live: Live) -> None:
        super().tick(live)
        shooting = self.controller.shooting
        now = live.setpoint if live.setpoint is not None else shooting.recommended
        setpoint = self._setpoint if self._setpoint is not None else now
        key = (setpoint, shooting.lesson, shooting.target_number)
        if setpoint is not None and key != self._asked_for:
            self._asked_for = key
            self.controller.background.begin("stand", self._read_stand, setpoint)
        self.query_one("#next-cautions", TextBlock).put(*cautions(shooting.aim))
        self.query_one("#next-sensitivity", TextBlock).put(*sensitivity(shooting.aim, self.controller.robot))
        distance = None if shooting.distance is None else shooting.distance.value_m
        wanted = (distance, shooting.lesson, shooting.target_number)
        if distance is not None and wanted != self._budget_for:
            self._budget_for = wanted
            self.controller.background.begin("budget", self._read_budget, distance)
        shown = self.controller.robot_map
        shown.look()
        if shown.next_shot is not None:
            self.query_one("#next-shot", TextBlock).put(*next_words(shown.next_shot, self.controller.robot))
        elif shown.unreachable is not None:
            self.query_one("#next-shot", TextBlock).put((f"✗ {shown.unreachable}\n", "$bad"))
        self.show_pictures(shown.chart(teaching=True), self._budget)

    async def _read_budget(self, distance_m: float) -> None:
        controller, state = self.controller, self.controller.shooting
        budget = await controller.background.ask_slowly(
            "Where misses come from", controller.session.budget, distance_m, state.battery_v, state.target.name
        )
        if budget is not None and self.ready:
            self._budget = budget_chart(budget.spots[0], budget.mend_first)

    async def _read_stand(self, setpoint: float) -> None:
        controller, state = self.controller, self.controller.shooting
        hood = words.hood_now(state.live, controller.robot, state.aim)
        stands = await controller.background.ask(
            "Where to stand", controller.session.stand, setpoint, state.battery_v, state.target.name, hood
        )
        if stands is not None and self.ready:
            self.query_one("#next-stand", TextBlock).put(*standing(stands, setpoint, controller.robot))

    def action_go(self) -> None:
        """Shoot from the suggested distance."""
        planned = self.controller.robot_map.next_shot
        if planned is None:
            waiting = "the next shot is still being worked out: press Enter again"
            self.controller.news.say(self.controller.robot_map.unreachable or waiting)
        else:
            self.controller.suggest(Distance(round(planned.distance_m, 2), "asked", "the shot worth taking next"))
            self.dismiss()

    def action_setpoint(self) -> None:
        """Ask where another setpoint scores."""
        robot = self.controller.robot
        asked: EntryLine[float] = EntryLine(
            "Where does this setpoint score?", lambda t: read_setpoint(t, robot), robot.setpoint.unit
        )
        self.app.push_screen(asked, self._take)

    def _take(self, setpoint: float | None) -> None:
        if setpoint is not None:
            self._setpoint = setpoint


def next_words(shot: NextShot, robot: Robot) -> list[Part]:
    """The shot that teaches most, and why."""
    angle = shot.exit_angle_setpoint_deg
    hood = "" if angle is None else f", hood at {angle:g}°"
    return [
        ("The shot worth taking next\n", "bold $act"),
        (f"from {words.metres(shot.distance_m)} at {words.setpoint(shot.setpoint, robot)}{hood}", "bold $ink"),
        ("   Enter", "bold $act"), (" go there\n", "$ink"),
        (f"{words.printable(shot.why)}\n", "$ink"),
        (f"Expected gain: {100 * shot.gain:.1f} points of hit chance over the working range\n", "$quiet"),
    ]  # fmt: skip


def standing(stands: tuple[Standing, ...], setpoint: float, robot: Robot) -> list[Part]:
    """Where a setpoint scores, best first, and which distance forgives most."""
    parts: list[Part] = [(f"\nWhere {words.setpoint(setpoint, robot)} scores\n", "bold $act")]
    if not stands:
        return [*parts, ("nowhere: press p and try another setpoint\n", "bold $bad")]
    parts += floor_strip(stands)
    several = len(stands) > 1
    for stand in stands[:6]:
        parts.append((words.metres_cell(stand.distance_m), "bold $ink"))
        parts.append((f"  {words.metres(stand.low_m)} to {words.metres(stand.high_m)}", "$ink"))
        parts.append((f"  {words.percent(stand.hit_probability)}", "bold $ink"))
        parts.append(("  ●\n" if several and stand.forgives_most else "\n", "$good"))
    return [*parts, ("● forgives most\n", "$good")] if several else parts


def floor_strip(stands: tuple[Standing, ...], wide: int = 30) -> list[Part]:
    """The floor in front of the target as a strip, thick where the setpoint scores, best places marked."""
    far = max(max(stand.high_m for stand in stands) * 1.15, 1.0)
    cells: list[Part] = [("─", "$rule")] * wide

    def cell(distance: float) -> int:
        return min(wide - 1, max(0, round(distance / far * (wide - 1))))

    for stand in stands:
        for at in range(cell(stand.low_m), cell(stand.high_m) + 1):
            cells[at] = ("━", "bold $good")
    for stand in stands:
        cells[cell(stand.distance_m)] = ("╋", "bold $ink")
    return [("▣", "$mark"), *cells, (f" {amount(far, 'm', 1)}\n", "$quiet")]


def sensitivity(aim: Aim | None, robot: Robot) -> list[Part]:
    """How far the miss moves for a small change of each cause."""
    if aim is None:
        return [""]
    parts: list[Part] = []
    if aim.sensitivity is not None:
        feel = aim.sensitivity
        rows = (
            (f"{robot.setpoint.step:g} {robot.setpoint.unit} more", feel.per_step_m),
            ("1° steeper", feel.per_degree_m),
            ("1 V more battery", feel.per_volt_m),
            (f"1 {unit('cm')} further away", None if feel.per_cm_m is None else back(1, "cm") * feel.per_cm_m),
            (f"{amount(10, '°C', 0)} warmer", feel.per_10_degC_m),
        )
        parts.append((f"\nAt {words.metres(aim.distance_m)} the miss moves by\n", "bold $act"))
        for name, value in rows:
            if value is not None:
                parts.append((f"  {name:<20}", "$quiet"))
                parts.append((f"{amount(100 * value, 'cm', 1, signed=True)}\n", "$ink"))
    return parts or [""]


def cautions(aim: Aim | None) -> list[Part]:
    """Every caution of the recommendation, one a line."""
    return [(f"! {words.printable(text)}\n", "$bad") for text in aim.cautions] if aim is not None else [""]
