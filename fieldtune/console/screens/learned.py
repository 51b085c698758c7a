"""What the shots have taught: before and after, residuals, landings and drift as pictures, the facts in words beside.

A newcomer's question: "what is different about this robot, how sure is that, and do its shots still agree?" Bars that
moved and shrank against their thin lines are what was learned; shots outside of their bands disagree.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType

from fieldtune.charts.learned import learned_charts
from fieldtune.console import words
from fieldtune.console.screens.pictured import PicturedScreen, scroll_keys, turn_key
from fieldtune.console.typed import MEASURED, read_measured
from fieldtune.console.widgets.entry_line import EntryLine
from fieldtune.console.widgets.text_block import Part, TextBlock
from fieldtune.learn.posterior import learn

if TYPE_CHECKING:
    from fieldtune.aim.results import Learned, Residual
    from fieldtune.charts.chart import Chart
    from fieldtune.learn.measured import Evidence
    from fieldtune.link.samples import Live
    from fieldtune.records import Shot
    from fieldtune.robot.model import Target
    from fieldtune.session import Session

ODD = 0.02
"""Below this probability a shot is called surprising."""


class LearnedScreen(PicturedScreen):
    """Four pictures and the facts."""

    TITLE_WORDS = "Learned"
    OWN: ClassVar[list[Binding]] = [
        Binding("a", "add", "Add measured", id="learned-add",
                tooltip="Type what was measured beside shots: friction by tilt or run-out, exit by a clip"),
        turn_key("learned"),
        *scroll_keys("learned"),
    ]  # fmt: skip
    BINDINGS: ClassVar[list[BindingType]] = [*OWN]

    def __init__(self) -> None:
        super().__init__()
        self._shown: tuple[Shot, ...] | None = None
        self._charts: tuple[Chart, ...] = ()

    def compose_words(self) -> ComposeResult:
        yield TextBlock(("reading what the shots taught…", "$quiet"), id="facts")

    def tick(self, live: Live) -> None:
        super().tick(live)
        shots = self.controller.recorder.shots
        if shots is not self._shown:
            self._shown = shots
            self.controller.background.begin("learned", self._read)
        self.show_pictures(*self._charts)

    def action_add(self) -> None:
        """Take a measurement into learning."""
        state, robot = self.controller.shooting, self.controller.robot
        hood = words.hood_now(state.live, robot, state.aim)
        asked: EntryLine[tuple[Evidence, ...]] = EntryLine(
            "What was measured beside shots?", lambda text: read_measured(text, robot, hood), MEASURED
        )
        self.app.push_screen(asked, self._keep)

    def _keep(self, found: tuple[Evidence, ...] | None) -> None:
        if found is None:
            return
        session = self.controller.session
        said = ", ".join(one.words for one in found)

        def kept(_: object) -> str:
            self._shown = None
            return f"{said}: learned from. u undoes it"

        self.controller.recorder.change(kept, lambda: [session.measure(one) for one in found])

    async def _read(self) -> None:
        controller = self.controller
        found = await controller.background.ask(
            "Reading what was learned", _read, controller.session, controller.shooting.target
        )
        if found is None or not self.ready:
            return
        learned, self._charts = found
        self.query_one("#facts", TextBlock).put(*facts(learned), "\n", *residual_words(learned.residuals))
        self.show_pictures(*self._charts)


def _read(session: Session, target: Target) -> tuple[Learned, tuple[Chart, ...]]:
    after = session.posterior
    return after.learned(), learned_charts(learn(session.robot, ()), after, session.robot, target)


def facts(learned: Learned) -> list[Part]:
    """What was learned, one fact a paragraph, and whether recent shots still agree."""
    count = learned.shots_used
    head = (
        f"{count} shot{' counts' if count == 1 else 's count'}, battery period {learned.epoch}"
        if count
        else "No shots count yet"
    )
    parts: list[Part] = [(head + "\n", "bold $ink")]
    drift = learned.drift
    if drift.drifting:
        parts.append((f"! {drift.words}\n", "bold $bad"))
        parts.append(("Was the battery changed, or the robot? Press b to begin a new battery period\n\n", "bold $act"))
    else:
        parts.append((f"Drift: {drift.words}\n\n", "$quiet"))
    for fact in learned.facts:
        mark, style = ("○", "$quiet") if fact.guess else ("●", "$ink")
        parts.append((f"{mark} {words.printable(fact.words)}\n", style))
    if any(fact.guess for fact in learned.facts):
        parts.append(("○ mostly from the profile: too few shots so far\n", "$quiet"))
    return parts


def residual_words(residuals: tuple[Residual, ...]) -> list[Part]:
    """What the pictures don't say: shots with a word only, and the most surprising one."""
    if not residuals:
        return [""]
    by_word = sum(1 for r in residuals if r.miss_m is None)
    parts: list[Part] = []
    if 0 < by_word < len(residuals):
        parts.append((f"{by_word} with only a word stand where belief puts them. ", "$quiet"))
    oddest = min(residuals, key=lambda r: r.surprise)
    if oddest.surprise < ODD:
        rare = f"1 in {round(1 / oddest.surprise)}" if oddest.surprise > 0.001 else "rarer than 1 in 1000"
        parts.append((f"Shot {oddest.shot} is surprising ({rare}): mis-keyed or bounced?", "bold $bad"))
    return parts or [""]
