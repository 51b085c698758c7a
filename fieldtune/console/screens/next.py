"""What to do next: the shot worth taking, where the present setpoint scores, and what the miss hangs on."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal

from fieldtune.console import keys, words
from fieldtune.console.screens.base import Board
from fieldtune.console.shooting_state import Place
from fieldtune.console.widgets.entry_line import Entry
from fieldtune.console.widgets.text_line import Part, Plate
from fieldtune.errors import InputError

if TYPE_CHECKING:
    from fieldtune.aim.results import Aim, NextShot, Standing
    from fieldtune.link.snapshot import Live
    from fieldtune.robot.model import Robot


def read_setpoint(text: str, robot: Robot) -> float:
    """A typed setpoint in the robot's unit, with or without it; raises ``InputError``."""
    unit = robot.setpoint.unit
    said = text.strip().removesuffix(unit).strip().replace(",", ".")
    try:
        value = float(said)
    except ValueError:
        value = float("nan")
    if not 0 < value < 1e6:
        shown = words.shorten(words.printable(text.strip()), 20)
        raise InputError(f"setpoint {shown!r} can't be read: write a number of {unit}, as {robot.setpoint.high:g}")
    return value


class NextView(Board):
    """Next shot, standing distances, sensitivities and all cautions."""

    TITLE_WORDS = "Next"
    OWN: ClassVar[list[Binding]] = [
        Binding(
            "enter", "go", "Go there", key_display="Enter", tooltip="Shoot from the suggested distance", id="plan-go"
        ),
        Binding("p", "setpoint", "Other setpoint", tooltip="Where does another setpoint score?", id="plan-setpoint"),
    ]
    BINDINGS: ClassVar[list[BindingType]] = [*OWN]

    def __init__(self) -> None:
        super().__init__()
        self._asked_for: object = None
        self._setpoint: float | None = None
        self._next: NextShot | None = None

    def compose_body(self) -> ComposeResult:
        with Horizontal(id="plan-body"):
            yield Plate(("working out what would teach most…", "$quiet"), id="plan-next")
            yield Plate(id="plan-stand")
        yield Plate(id="plan-hangs-on")

    def key_rows(self) -> list[list[Binding]]:
        return [[*self.OWN, *keys.VIEWS, *keys.ALWAYS]]

    def tick(self, live: Live) -> None:
        super().tick(live)
        desk = self.console.desk
        told = live.setpoint if live.setpoint is not None else desk.advised
        setpoint = self._setpoint if self._setpoint is not None else told
        key = (setpoint, self.console.lesson, desk.target_number)
        if key != self._asked_for:
            self._asked_for = key
            self.console.begin("plan", self._read, setpoint)
        self.query_one("#plan-hangs-on", Plate).put(*hangs_on(desk.aim, self.console.robot))

    async def _read(self, setpoint: float | None) -> None:
        console, robot, name = self.console, self.console.robot, self.console.desk.target.name
        if setpoint is not None:
            stands = await console.ask("Where to stand", console.session.stand, setpoint, console.desk.battery_v, name)
            if stands is not None and self.ready:
                self.query_one("#plan-stand", Plate).put(*standing(stands, setpoint, robot))
        self._next = await console.ask("The next shot", console.session.next, name)
        if self._next is not None and self.ready:
            self.query_one("#plan-next", Plate).put(*next_words(self._next, robot))

    def action_go(self) -> None:
        """Shoot from the suggested distance."""
        if self._next is not None:
            self.console.go(Place(round(self._next.distance_m, 2), "step", "the shot worth taking next"))
            self.console.action_home()

    def action_setpoint(self) -> None:
        """Ask where another setpoint scores."""
        robot = self.console.robot
        asked: Entry[float] = Entry(
            "Where does this setpoint score?", lambda t: read_setpoint(t, robot), robot.setpoint.unit
        )
        self.app.push_screen(asked, self._take)

    def _take(self, setpoint: float | None) -> None:
        if setpoint is not None:
            self._setpoint = setpoint


def next_words(shot: NextShot, robot: Robot) -> list[Part]:
    """The shot that teaches most, and why."""
    return [
        ("The shot worth taking next\n\n", "bold $act"),
        (f"from {words.metres(shot.distance_m)}\n", "bold $ink"),
        (f"at   {words.setpoint(shot.setpoint, robot)}\n\n", "bold $ink"),
        (f"{words.printable(shot.why)}\n", "$ink"),
        (f"Expected gain: {100 * shot.gain:.1f} points of hit chance over the working range\n\n", "$quiet"),
        ("Enter", "bold $act"), (" go there", "$ink"),
    ]  # fmt: skip


def standing(stands: tuple[Standing, ...], setpoint: float, robot: Robot) -> list[Part]:
    """Where a setpoint scores, best first, and which distance forgives most."""
    parts: list[Part] = [(f"Where {words.setpoint(setpoint, robot)} scores\n\n", "bold $act")]
    if not stands:
        return [*parts, ("nowhere within reach: another setpoint is needed (p)\n", "bold $bad")]
    parts += floor_strip(stands)
    several = len(stands) > 1
    for stand in stands[:6]:
        parts.append((f"{words.metres(stand.distance_m):>8}", "bold $ink"))
        parts.append((f"  {words.metres(stand.low_m)} to {words.metres(stand.high_m)}", "$ink"))
        parts.append((f"  {words.percent(stand.hit_probability)}", "bold $ink"))
        parts.append(("  ●\n" if several and stand.forgives_most else "\n", "$good"))
    return [*parts, ("\n● forgives most\n", "$good")] if several else parts


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
    return [("▣", "$mark"), *cells, (f" {far:.1f} m\n\n", "$quiet")]


def hangs_on(aim: Aim | None, robot: Robot) -> list[Part]:
    """How far the miss moves for a small change of each cause, and every caution."""
    if aim is None:
        return [""]
    parts: list[Part] = []
    if aim.sensitivity is not None:
        feel = aim.sensitivity
        rows = (
            (f"{robot.setpoint.step:g} {robot.setpoint.unit} more", feel.per_step_m),
            ("1° steeper", feel.per_degree_m),
            ("1 V more battery", feel.per_volt_m),
            ("1 cm further away", feel.per_cm_m),
            ("10 °C warmer", feel.per_10_degC_m),
        )
        parts.append((f"At {words.metres(aim.distance_m)} the miss moves by\n", "bold $act"))
        for name, value in rows:
            if value is not None:
                parts.append((f"  {name:<20}", "$quiet"))
                parts.append((f"{100 * value:+.1f} cm\n", "$ink"))
    parts += [(f"! {words.printable(text)}\n", "$bad") for text in aim.cautions]
    return parts or [""]
