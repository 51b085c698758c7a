"""Watches the encoder's scale as long as the console is open: never silent, and nothing wrong is learned from."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from fieldtune.errors import InputError
from fieldtune.setup.encoder_check import Change, Verdict, by_hand, fingerprint
from fieldtune.setup.encoder_watch import EncoderWatch, remember

if TYPE_CHECKING:
    from collections.abc import Callable

    from fieldtune.console.line_opening import ConsoleLine
    from fieldtune.link.samples import Live
    from fieldtune.robot.model import Robot
    from fieldtune.session import Session


_HAND = "encoder by hand"
_PROGRAM = "the robot program's own scale is wrong, since hand turns fit the profile: mend it there"
_RAW_LINES, _DROPPED = 400, 50
"""Raw lines that are looked at, and how many are dropped between two looks."""


class EncoderGuard:
    """``verdict``: what was found last, by the line, by hand, or kept from another day; None while nothing was."""

    def __init__(
        self, session: Session, clock: Callable[[], float], write: Callable[[Callable[[], object], str], None]
    ) -> None:
        self._session, self._clock, self._write = session, clock, write
        self._watch = EncoderWatch(session.robot)
        self._wraps: tuple[int, int] | None = None
        self.verdict: Verdict | None = None
        self._kept: Verdict | None = None
        self._begun = self._hand_fits = False
        self._dropped = 0

    def begin(self) -> None:
        """What was kept with the log; read behind the first frame."""
        self._begun = True
        self._hand_fits = self._session.log.recall(_HAND) == repr(fingerprint(self._session.robot))
        self.verdict = self.verdict or self._session.believed.now()[1]

    def look(self, live: Live, line: ConsoleLine) -> None:
        """Takes a snapshot; where all lines are dropped, what they say by the profile's scale."""
        if not self._begun:
            return
        if live.state == "live" and live.wheel_rpm is not None:
            self._watch.source = "rpm" if live.own_rpm else "counts"
            self._watch.see(self._clock(), live.wheel_rpm, live.setpoint, live.power_pct, live.battery_v)
            self._take_verdict(self._watch)
        elif (dropped := sum(live.health.dropped.values())) > self._dropped + _DROPPED:
            self._dropped = dropped
            watch = EncoderWatch(self._session.robot)
            watch.see_raw(line.recent_lines(_RAW_LINES))
            self._take_verdict(watch)

    def _take_verdict(self, watch: EncoderWatch) -> None:
        found = watch.verdict
        if found is None or found is self._kept or (self.verdict is not None and self.verdict.against == "hand"):
            return
        self._kept = found
        self._found(found)

    def _found(self, found: Verdict) -> None:
        """A new verdict; kept where by it something else is to be learned from."""
        if found.against != "hand" and not found.settled and self._hand_fits:
            found = replace(found, causes=(_PROGRAM,), change=None)
        before, self.verdict = self.verdict, found
        changed = (before is None or before.settled) != found.settled or (
            before is not None and before.causes != found.causes
        )
        if changed:
            self._write(lambda: remember(self._session.robot, self._session.log, found), f"encoder: {found.words}")

    def turned_by_hand(self, counts: int, turns: int) -> None:
        """What the counter said of so many turns by hand."""
        found = by_hand(self._session.robot, counts, turns)
        if found.settled:
            self._remember_hand(self._session.robot)
        self._found(found)

    def _remember_hand(self, robot: Robot) -> None:
        """By hand this profile's scale is right: whatever else speaks against it, is wrong itself."""
        mark = repr(fingerprint(robot))
        self._hand_fits = mark == repr(fingerprint(self._session.robot))
        self._write(lambda: self._session.log.remember(_HAND, mark), "encoder: hand turns are kept")

    def counts(self, line: ConsoleLine) -> int | None:
        """The counter as it came last on the line, unwrapped since this was first asked; None where none comes."""
        from fieldtune.link.text.framing import Framer
        from fieldtune.link.text.shown_lines import as_sent

        robot = self._session.robot
        framer = Framer(robot.link)
        for text in reversed(line.recent_lines(5)):
            for wire in framer.feed(as_sent(text)):
                if wire.wheel_counts is not None:
                    return self._unwrapped(int(wire.wheel_counts), 1 << (robot.encoder.bits if robot.encoder else 32))
        return None

    def _unwrapped(self, raw: int, modulus: int) -> int:
        before, total = self._wraps or (raw, 0)
        total += (raw - before + modulus // 2) % modulus - modulus // 2
        self._wraps = raw, total
        return total

    def take(self, change: Change) -> None:
        """Writes the value into the profile. Raises ``FieldtuneError`` where that can't be."""
        from fieldtune.robot.home import is_demo
        from fieldtune.setup.profile_text import ProfileText

        robot = self._session.robot
        if robot.path is None or is_demo(robot):
            raise InputError("a demonstration robot's profile stays as it is")
        profile = ProfileText.at(robot.path)
        profile.set(
            change.key,
            int(change.value) if isinstance(change.value, float) and change.value.is_integer() else change.value,
        )
        profile.save()
        changed = profile.check()[0]
        if changed is not None and self.verdict is not None and self.verdict.against == "hand":
            self._remember_hand(changed)

    @property
    def caution(self) -> str | None:
        """What stands on the main screen as long as the scale isn't settled."""
        if self.verdict is None or self.verdict.settled:
            return None
        return f"encoder (press ^e): {self.verdict.words}"
