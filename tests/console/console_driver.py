"""Drives the real console without a terminal: reads its screen, waits for what it should show."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Awaitable, Callable
from typing import Any

from console_world import live
from textual.pilot import Pilot

from fieldtune.console import ConsoleApp
from fieldtune.link.samples import Live, Sample
from fieldtune.link.sim.robot import Outcome

Script = Callable[[ConsoleApp, Pilot[None]], Awaitable[None]]


class ScriptedLine:
    """A line that says exactly what a test wants, when it wants it; ``sent`` holds what was sent to it."""

    def __init__(self, simulated: bool = False, **changes: Any) -> None:
        self.simulated = simulated
        self.fixed_baud: int | None = None
        self.now: Live = live(**changes)
        self.sent: list[str] = []
        self.samples: list[Sample] = []
        self.lines: tuple[str, ...] = ()
        self.outcomes: tuple[Outcome, ...] = ()

    def start(self) -> None:
        """Nothing to open."""

    def stop(self) -> None:
        """Nothing to close."""

    def snapshot(self) -> Live:
        """What the line says now."""
        return self.now

    def choose(self, device: str) -> None:
        """There is one port only."""

    def tell(self, line: str) -> None:
        """Notes what was sent."""
        self.sent.append(line)

    def seen_in_simulation(self) -> tuple[Outcome, ...]:
        """What a spectator would have seen."""
        return self.outcomes

    def drain(self) -> list[Sample]:
        """The samples of the script, each once; without any there are only snapshots."""
        samples, self.samples = self.samples, []
        return samples

    def recent_lines(self, count: int = 100) -> tuple[str, ...]:
        """The last raw lines."""
        return self.lines[-count:]


def screen_text(app: ConsoleApp) -> str:
    """The screen as rows of text, trailing blanks cut."""
    strips = app.screen._compositor.render_strips()
    return "\n".join("".join(segment.text for segment in strip).rstrip() for strip in strips)


async def until(app: ConsoleApp, pilot: Pilot[None], wanted: str | Callable[[], bool], seconds: float = 20.0) -> str:
    """Looks again and again until the screen shows the words (or the condition holds); fails with the screen."""
    end = time.monotonic() + seconds
    while True:
        app.look()
        await pilot.pause()
        text = screen_text(app)
        assert "Looking at the line failed" not in text, text
        if wanted in text if isinstance(wanted, str) else wanted():
            return text
        assert time.monotonic() < end, f"never saw {wanted!r} on\n{text}"


def drive(app: ConsoleApp, script: Script, size: tuple[int, int] = (120, 40)) -> None:
    """Runs the script on the app in a screen of that size."""

    async def main() -> None:
        async with app.run_test(size=size) as pilot:
            await script(app, pilot)

    asyncio.run(main())
