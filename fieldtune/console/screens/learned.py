"""What the shots have taught: facts in words, and how far each fell from its prediction."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from textual.app import ComposeResult
from textual.containers import Horizontal

from fieldtune.console import words
from fieldtune.console.screens.base import ConsoleScreen
from fieldtune.console.widgets.plot import MARKED, PLAIN, STRONG, Picture, Plot, Series, nice_range
from fieldtune.console.widgets.text_block import Part, TextBlock

if TYPE_CHECKING:
    from fieldtune.aim.results import Learned, Residual
    from fieldtune.link.samples import Live
    from fieldtune.records import Shot

ODD = 0.02
"""Below this probability a shot is called surprising."""


class LearnedScreen(ConsoleScreen):
    """Facts and residuals."""

    TITLE_WORDS = "Learned"

    def __init__(self) -> None:
        super().__init__()
        self._shown: tuple[Shot, ...] | None = None

    def compose_body(self) -> ComposeResult:
        with Horizontal(id="learned-top"):
            yield TextBlock(("reading what the shots taught…", "$quiet"), id="facts")
            yield Plot(id="residuals")
        yield TextBlock(id="residual-words")

    def tick(self, live: Live) -> None:
        super().tick(live)
        shots = self.controller.recorder.shots
        if shots is not self._shown:
            self._shown = shots
            self.controller.background.begin("learned", self._read)

    async def _read(self) -> None:
        learned = await self.controller.background.ask("Reading what was learned", self.controller.session.learned)
        if learned is None or not self.ready:
            return
        self.query_one("#facts", TextBlock).put(*facts(learned))
        plot, picture = self.query_one("#residuals", Plot), residual_plot(learned.residuals)
        plot.display = picture is not None  # without a measured miss the facts have the whole width
        plot.show(picture)
        self.query_one("#residual-words", TextBlock).put(*residual_words(learned.residuals))


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


def residual_plot(residuals: tuple[Residual, ...]) -> Picture | None:
    """How far measured shots fell from what is predicted now, cm, over distance; surprising ones with another shape."""
    measured = [r for r in residuals if r.miss_m is not None]
    if not measured:
        return None
    distance = np.array([r.distance_m for r in measured])
    off = np.array([100 * ((r.miss_m or 0.0) - r.expected_miss_m) for r in measured])
    odd = np.array([r.surprise < ODD for r in measured])
    left, right = nice_range(distance, 0.5)
    low, high = nice_range(np.append(off, 0.0), 20.0)
    series = (
        Series(np.array([left, right]), np.zeros(2), PLAIN, "dashes"),
        Series(distance[~odd], off[~odd], STRONG, "marks", "●"),
        Series(distance[odd], off[odd], MARKED, "marks", "✗"),
    )
    y_marks = ((high, f"{high:+.0f}"), (0.0, "0"), (low, f"{low:+.0f}"))
    x_marks = ((left, f"{left:.1f} m"), (right - 0.12 * (right - left), f"{right:.1f} m"))
    return Picture(series, (left, right), (low, high), x_marks, y_marks, "cm off the prediction   ✗ surprising")


def residual_words(residuals: tuple[Residual, ...]) -> list[Part]:
    """What the plot can't show: shots with a word only, and the most surprising one."""
    if not residuals:
        return [""]
    by_word = sum(1 for r in residuals if r.miss_m is None)
    parts: list[Part] = []
    if 0 < by_word < len(residuals):
        parts.append((f"{by_word} with only a word (in, short, long…) are not drawn. ", "$quiet"))
    oddest = min(residuals, key=lambda r: r.surprise)
    if oddest.surprise < ODD:
        rare = f"1 in {round(1 / oddest.surprise)}" if oddest.surprise > 0.001 else "rarer than 1 in 1000"
        parts.append((f"Shot {oddest.shot} is surprising ({rare}): mis-keyed or bounced?", "bold $bad"))
    return parts or [""]
