"""The line as the console asks for it, and what stands in until it is open.

The first frame is painted before anything that computes is imported; the rest is brought in by a thread behind it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Protocol

from fieldtune.errors import LinkError
from fieldtune.link.samples import Live

if TYPE_CHECKING:
    from fieldtune.link.samples import Sample
    from fieldtune.link.sim.robot import Outcome


class ConsoleLine(Protocol):
    """What the console asks of a robot's line; ``link.Monitor`` answers it."""

    @property
    def simulated(self) -> bool | None:
        """Whether our own simulated robot is at the other end; ``None`` while that isn't known."""
        ...

    @property
    def fixed_baud(self) -> int | None:
        """The speed that was asked for; None where it is found."""
        ...

    def start(self) -> None:
        """Begin to listen."""
        ...

    def stop(self) -> None:
        """Listen no longer."""
        ...

    def snapshot(self) -> Live:
        """What the line says now."""
        ...

    def drain(self) -> Sequence[Sample]:
        """The samples since the last call."""
        ...

    def recent_lines(self, count: int = 100) -> tuple[str, ...]:
        """The last raw lines."""
        ...

    def choose(self, device: str) -> None:
        """Read another of the ports found."""
        ...

    def tell(self, command: str) -> None:
        """Tell the simulated robot something."""
        ...

    def seen_in_simulation(self) -> Sequence[Outcome]:
        """What became of the simulated robot's shots."""
        ...


class _SilentLine:
    """A line of which nothing is heard; ``said`` why."""

    simulated: bool | None = None
    fixed_baud: int | None = None
    said = ""

    def start(self) -> None:
        """Nothing to listen to."""

    def stop(self) -> None:
        """Nothing was begun."""

    def snapshot(self) -> Live:
        """Nothing but why nothing is heard."""
        return Live("off", self.said)

    def drain(self) -> tuple[Sample, ...]:
        """None."""
        return ()

    def recent_lines(self, count: int = 100) -> tuple[str, ...]:
        """None."""
        return ()

    def choose(self, device: str) -> None:
        """There are none."""

    def tell(self, command: str) -> None:
        """Raises ``LinkError``: there is nobody."""
        raise LinkError("there is no line to a robot")

    def seen_in_simulation(self) -> tuple[Outcome, ...]:
        """None."""
        return ()


class UnopenedLine(_SilentLine):
    """A line that ``open_line`` will open: nothing is heard of it yet, and it says so."""

    said = "opening"

    def __init__(self, open_line: Callable[[], ConsoleLine]) -> None:
        self.open_line = open_line

    def tell(self, command: str) -> None:
        """Raises ``LinkError``: there is nobody yet."""
        raise LinkError("the line is still being opened: press that again in a moment")


class NoLine(_SilentLine):
    """A robot without any line: setpoints are set by hand, results typed."""

    simulated = False
    said = "none, by this profile: set it by hand, results by keys"
