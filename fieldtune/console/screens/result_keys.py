"""The keys that say where a shot went, for every screen on which shots are taken."""

from __future__ import annotations

from fieldtune.console import words
from fieldtune.console.screens.base import Board
from fieldtune.console.shooting_state import read_miss
from fieldtune.console.widgets.entry_line import Entry
from fieldtune.records import Result

Miss = tuple[float | None, float | None]


class Resulting(Board):
    """A board with the result keys."""

    WHERE_TO_ANSWER = ""

    def action_result(self, result: Result) -> None:
        """Keep the waiting shot, or the one just taken, with this result."""
        self.console.book.keep(result)

    def action_miss(self) -> None:
        """Type the measured miss of the waiting shot."""
        more, less = self.console.desk.target.miss_words
        along = f"12 is {more}, -8 {less}"
        asked: Entry[Miss] = Entry("How far did it miss?", read_miss, f"cm: {along}; with a side: -8 right 5")
        self.app.push_screen(asked, self._keep_miss)

    def _keep_miss(self, miss: Miss | None) -> None:
        if miss is not None:
            self.console.book.keep(None, *miss)

    def action_undo(self) -> None:
        """Take the last kept shot back."""
        self.console.book.take_back()

    def action_ignore(self) -> None:
        """Drop the oldest waiting shot."""
        waiting = self.console.desk.waiting
        if waiting:
            waiting.popleft()
            self.console.say("dropped: nothing was kept")
        else:
            self.console.say("no shot is waiting")

    def action_fire(self) -> None:
        """Launch one element on the simulated robot."""
        self.console.tell_sim("fire", "the simulated robot was told to fire")

    def action_give(self) -> None:
        """Set the simulated robot to the recommended setpoint."""
        advised = self.console.desk.advised
        if advised is None:
            self.console.say("no setpoint is recommended here", bad=True)
        else:
            told = f"the simulated robot was set to {words.setpoint(advised, self.console.robot)}"
            self.console.tell_sim(f"setpoint={advised:g}", told)

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Keys for the simulated robot exist only there, and while it isn't known yet whether it is one."""
        return action not in ("fire", "give") or self.console.monitor.simulated is not False
