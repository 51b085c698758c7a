"""Sizes: what the mechanism gives as built, beside what it would give with another gear, wheel, spring or angle.

A newcomer's question: "is this robot built right, and what would another gear or angle change?" The built ◆ lies beside
the pick ● or it doesn't; the curve over the angle is flat there or it isn't. And with other robots side by side: "which
mechanism scores from where, and what speaks for it?" The curve on top, and the shape at the right end of each row.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import zip_longest
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType

from fieldtune.console import words
from fieldtune.console.screens.pictured import PicturedScreen, scroll_keys, turn_key
from fieldtune.console.typed import read_names
from fieldtune.console.variations import changes_for
from fieldtune.console.widgets.entry_line import EntryLine
from fieldtune.console.widgets.text_block import Part, TextBlock
from fieldtune.errors import FieldtuneError
from fieldtune.figures import figures_of
from fieldtune.person_units import amount
from fieldtune.robot.home import find_profiles, is_demo
from fieldtune.robot.model import Robot
from fieldtune.sizing.results import gears_words

if TYPE_CHECKING:
    from fieldtune.charts.chart import Chart
    from fieldtune.console.controller import Controller
    from fieldtune.link.samples import Live
    from fieldtune.session import Session
    from fieldtune.sizing.compare import Comparison
    from fieldtune.sizing.results import Size

_ANGLES = 20.0
"""Exit angles are compared this many degrees either side of the built one."""


def compared(built: Size, other: Size | None) -> list[Part]:
    """Figures as built and, where something is varied, beside them what it would be."""
    head = f"{'':<28}{'as built':>16}" + (f"{'what if':>16}" if other is not None else "")
    parts: list[Part] = [(head + "\n", "bold $act")]
    others = [value for _, value in figures_of(other)] if other is not None else []
    for (figure, was), now in zip_longest(figures_of(built), others):
        as_built, what_if = figure.said(was), figure.said(now)
        parts += [(f"{figure.title:<28}", "$quiet"), (f"{as_built:>16}", "$ink")]
        if other is not None:
            shape = "" if was is None or now is None or as_built == what_if else " ▲" if now > was else " ▼"
            parts.append((f"{what_if:>16}{shape:<2}", "bold $ink"))
        parts.append("\n")
    parts += [(f"! {words.printable(note)}\n", "$bad") for note in (other or built).notes]
    return parts


def choices(built: Size) -> list[Part]:
    """Gear trains worth considering: the best trade-offs, best first named."""
    if not built.choices:
        return [""]
    parts: list[Part] = [("Gear trains worth a look\n", "bold $act")]
    for choice in built.choices[:14]:
        train = gears_words(choice.gears)
        reach = "reach unknown" if choice.farthest_m is None else f"reaches {amount(choice.farthest_m, 'm', 1)}"
        marks = [word for word, there in (("● best", choice.best), ("◆ built", choice.present)) if there]
        mark = " ".join(marks)
        parts.append(
            (f"{choice.reduction:5.2f} {train:<12} {reach:<13} {mark}\n", "bold $good" if choice.best else "$ink")
        )
    return parts


def harms(cautions: Sequence[str]) -> list[Part]:
    """What can hurt, beside the figures that say how."""
    return [(f"⚠ {words.printable(line)}\n", "$ink") for line in cautions]


Harm = tuple[tuple[str, ...], tuple[str, ...]]
"""All cautions, and those of them about what is near or beyond its limit."""
USUAL_TRAINS = 10_000
"""Gear trains that are tried in less time than it takes to say so."""


def _taught(controller: Controller) -> float:
    """In a thread, where a screen that was left knows no app any more."""
    from fieldtune.aim.recommend import speed_factor

    return speed_factor(controller.robot, controller.session.belief)


def _home(robot: Robot) -> Path | None:
    """Where this robot's neighbours are; None for the usual home."""
    return None if robot.path is None or is_demo(robot) else robot.path.parent


def _side_by_side(session: Session, names: Sequence[str]) -> Comparison:
    """This robot and others, each by its own shots."""
    from fieldtune.robot import load_robot
    from fieldtune.session import Session
    from fieldtune.sizing.compare import compare

    robots, beliefs = [session.robot], {session.robot.name: session.belief}
    for name in names:
        robots.append(load_robot(name, _home(session.robot)))
        with Session.beside_profile(robots[-1], _home(session.robot)) as other:
            beliefs[name] = other.belief
    return compare(robots, beliefs)


def _energy(session: Session, distance_m: float | None, volts: float | None, target: str | None) -> Chart | None:
    """Where the energy of the shot goes that is recommended at a distance."""
    from fieldtune.aim.recommend import mean_log_speed
    from fieldtune.charts.design import energy_chart
    from fieldtune.robot.exit_speed import drive_quantity
    from fieldtune.sizing.energy_chain import energy_chain

    robot = session.robot
    wanted = None if distance_m is None else session.aim(distance_m, volts, target).setpoint.value
    if wanted is None:
        return None
    speed = math.exp(mean_log_speed(robot, session.belief, wanted, volts))
    return energy_chart(energy_chain(robot, float(drive_quantity(robot, wanted, volts)), speed, volts))


class SizesScreen(PicturedScreen):
    """As built beside what if; gears and exit angle as pictures, and whole mechanisms side by side."""

    TITLE_WORDS = "Sizes"
    WORDS_FIRST = True
    OWN: ClassVar[list[Binding]] = [
        Binding("up", "choose(-1)", "Choose", tooltip="Vary the one above", id="sizes-up", key_display="↑ ↓"),
        Binding("down", "choose(1)", "Choose", tooltip="Vary the one below", id="sizes-down",
                key_display="↓", show=False),
        Binding("minus", "vary(-1)", "Less", tooltip="A step less of it", id="sizes-less", key_display="-"),
        Binding("plus,equals_sign", "vary(1)", "More", tooltip="A step more of it", id="sizes-more", key_display="+"),
        Binding("backspace", "as_built", "As built", tooltip="Back to the robot as its profile says",
                id="sizes-as-built", key_display="Bksp"),
        Binding("o", "beside", "Side by side", tooltip="This robot beside others: hit chance, and what speaks for each",
                id="sizes-beside"),
        turn_key("sizes"),
        *scroll_keys("sizes"),
    ]  # fmt: skip
    BINDINGS: ClassVar[list[BindingType]] = [*OWN]

    def __init__(self) -> None:
        super().__init__()
        self._at = 0
        self._built: Size | None = None
        self._other: Size | None = None
        self._harm_built: Harm = ((), ())
        self._harm_other: Harm = ((), ())
        self._factor = 1.0
        self._searched: tuple[int, int] | None = None
        self._charts: tuple[Chart | None, ...] = ()
        self._beside: tuple[Chart, ...] = ()

    def compose_body(self) -> ComposeResult:
        robot = self.controller.robot
        self.varied, self.changes = robot, changes_for(robot)
        yield TextBlock(id="sizes-choose")
        yield from super().compose_body()
        yield TextBlock(id="sizes-harm")

    def compose_words(self) -> ComposeResult:
        yield TextBlock(id="sizes-beside")
        yield TextBlock(("working out the figures…", "$quiet"), id="sizes-figures")
        yield TextBlock(id="sizes-choices")

    def on_mount(self) -> None:
        """Work out the figures as built (the screen's own mounting runs as well)."""
        self.controller.background.begin("sizes-built", self._work_out_built)

    async def _work_out_built(self) -> None:
        self._factor = await self.controller.background.ask("What shots taught", _taught, self.controller) or 1.0
        self._built, self._harm_built = await self._sized(self.controller.robot, True)
        self._show()
        await self._draw()

    async def _work_out_other(self) -> None:
        self._other, self._harm_other = await self._sized(self.varied, False)
        self._show()

    async def _sized(self, robot: Robot, sweep: bool) -> tuple[Size | None, Harm]:
        from fieldtune.sizing.cautions import cautions, strained
        from fieldtune.sizing.reach import as_taught
        from fieldtune.sizing.size import size
        from fieldtune.sizing.what_if import momentum_factor

        target, factor = self.controller.shooting.target, self._factor * momentum_factor(self.controller.robot, robot)
        progress = self._note_progress if sweep else None
        found = await self.controller.background.ask_slowly(
            "Sizing", size, robot, target, speed_factor=factor, progress=progress, sweep=sweep
        )
        taught, _ = as_taught(robot, factor)
        return found, (cautions(taught), strained(taught))

    def _note_progress(self, done: int, total: int) -> None:
        self._searched = (done, total)

    async def _draw(self) -> None:
        """Pictures of what is worth choosing from."""
        from fieldtune.charts.design import angle_chart, gears_chart

        controller, name = self.controller, self.controller.shooting.target.name
        gears = None if self._built is None else gears_chart(self._built.wheel_gears)
        at = None if controller.shooting.distance is None else controller.shooting.distance.value_m
        volts = controller.shooting.battery_v
        energy = await controller.background.ask_slowly("The energy of a shot", _energy, controller.session, at, volts,
                                                        name)  # fmt: skip
        self._charts = (gears, energy)
        now = round(math.degrees(self.controller.robot.launcher.exit_angle))
        if controller.shooting.target.by_way(lambda: True, lambda: False):
            low, high = max(5.0, now - _ANGLES), min(85.0, now + _ANGLES)
            sweep = await controller.background.ask_slowly(
                "The exit angle", controller.session.angle, low, high, 2.5, volts, name
            )
            if sweep is not None:
                self._charts = (gears, angle_chart(sweep), energy)
        self._show()

    def tick(self, live: Live) -> None:
        super().tick(live)
        self._show()
        self.show_pictures(*self._beside, *self._charts)

    def _show(self) -> None:
        if not self.ready:
            return
        robot = self.controller.robot
        self.query_one("#sizes-choose", TextBlock).put(*self._chooser())
        if self._built is None:
            if self._searched is not None and self._searched[1] > USUAL_TRAINS:
                done, total = self._searched
                said = f"trying gear trains: {done} of {total}"
                self.query_one("#sizes-figures", TextBlock).put((said, "$quiet"))
            return
        other = self._other if self.varied is not robot else None
        harm, strain = self._harm_other if other is not None else self._harm_built
        rest = [line for line in harm if line not in strain]
        self.query_one("#sizes-figures", TextBlock).put(*harms(strain), *compared(self._built, other))
        below, beside = (rest, []) if self.side_by_side else ([], rest)  # what can hurt is never cut
        self.query_one("#sizes-harm", TextBlock).put(*harms(below))
        self.query_one("#sizes-harm").display = bool(below)
        self.query_one("#sizes-choices", TextBlock).put(*harms(beside), *choices(self._built))

    def _chooser(self) -> list[Part]:
        parts: list[Part] = [("What if?  ", "bold $act")]
        at, room = 10, self.size.width - 2
        for number, change in enumerate(self.changes):
            chosen = number == self._at
            was, now = change.reading(self.controller.robot), change.reading(self.varied)
            said = f"{change.name} {now}" + ("" if was == now else f" (built: {was})")
            at += len(said) + 4
            if at > room:  # each whole on one row
                parts.append("\n")
                at = len(said) + 4
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
        self.controller.background.begin("sizes-other", self._work_out_other)

    def action_as_built(self) -> None:
        """Back to the robot as built."""
        self.varied, self._other = self.controller.robot, None
        self._show()

    def action_beside(self) -> None:
        """Ask which robots to lay beside this one."""
        robot = self.controller.robot
        try:
            there = [entry.name for entry in find_profiles(_home(robot)) if entry.name != robot.name]
        except FieldtuneError as error:
            self.controller.news.say(str(error), bad=True)
            return
        if not there:
            self.controller.news.say("there is no other robot here to lay beside this one")
            return
        asked: EntryLine[tuple[str, ...]] = EntryLine(
            "Side by side with which robots?", lambda text: read_names(text, there), "", " ".join(there[:2])
        )
        self.app.push_screen(asked, self._compare)

    def _compare(self, names: tuple[str, ...] | None) -> None:
        if names is not None:
            self.controller.news.say("working out the robots side by side…")
            self.controller.background.begin("sizes-beside", self._lay_beside, names)

    async def _lay_beside(self, names: tuple[str, ...]) -> None:
        from fieldtune.charts.design import comparison_charts

        controller = self.controller
        found = await controller.background.ask_slowly("Side by side", _side_by_side, controller.session, names)
        if found is None or not self.ready:
            return
        self._beside, self._page = comparison_charts(found), 1 if self.WORDS_FIRST and not self.side_by_side else 0
        said = "".join(f"{words.printable(line)}\n" for line in found.words)
        self.query_one("#sizes-beside", TextBlock).put(("Side by side\n", "bold $act"), (f"{said}\n", "$ink"))
        controller.news.say("")
        controller.show()
