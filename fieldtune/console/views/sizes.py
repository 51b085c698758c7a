"""Sizes: what the mechanism gives as built, and what it would give with another gear, wheel, spring or angle."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal

from fieldtune.console import keys
from fieldtune.console.board import Board
from fieldtune.console.plates import Part, Plate
from fieldtune.console.views.sizes_words import choices, compared, harms
from fieldtune.console.views.what_ifs import changes_for

if TYPE_CHECKING:
    from fieldtune.link.live import Live
    from fieldtune.robot.model import Robot
    from fieldtune.sizing.records import Size

Harm = tuple[tuple[str, ...], tuple[str, ...]]
"""All cautions, and those of them about what is near or beyond its limit."""
USUAL_TRAINS = 10_000
"""Gear trains that are tried in less time than it takes to say so."""


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
        self._harm_built: Harm = ((), ())
        self._harm_other: Harm = ((), ())
        self._factor = 1.0
        self._searched: tuple[int, int] | None = None

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
        self._factor = await self.console.ask("What shots taught", self.console.session.speed_factor) or 1.0
        self._built, self._harm_built = await self._sized(self.console.robot, True)
        self._show()

    async def _work_out_other(self) -> None:
        self._other, self._harm_other = await self._sized(self.varied, False)
        self._show()

    async def _sized(self, robot: Robot, sweep: bool) -> tuple[Size | None, Harm]:
        from fieldtune.sizing.safety import cautions, strained
        from fieldtune.sizing.size import size

        target, factor = self.console.desk.target, self._factor
        tell = self._tell if sweep else None
        found = await self.console.ask_slowly(
            "Sizing", size, robot, target, speed_factor=factor, progress=tell, sweep=sweep
        )
        return found, (cautions(robot), strained(robot))

    def _tell(self, done: int, total: int) -> None:
        self._searched = (done, total)

    def tick(self, live: Live) -> None:
        super().tick(live)
        self._show()

    def _show(self) -> None:
        if not self.ready:
            return
        robot = self.console.robot
        self.query_one("#sizes-choose", Plate).put(*self._chooser())
        if self._built is None:
            if self._searched is not None and self._searched[1] > USUAL_TRAINS:
                done, total = self._searched
                said = f"trying gear trains: {done} of {total}"
                self.query_one("#sizes-figures", Plate).put((said, "$quiet"))
            return
        other = self._other if self.varied is not robot else None
        harm, strain = self._harm_other if other is not None else self._harm_built
        self.query_one("#sizes-figures", Plate).put(*compared(self._built, other), *harms(strain))
        self.query_one("#sizes-choices", Plate).put(*choices(self._built), *harms(harm))

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
