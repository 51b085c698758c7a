"""The battery as the console follows it: every sample goes to the watch, its word is asked twice a second."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fieldtune.battery.change import Recalibration
    from fieldtune.battery.resistance import TwoPulse
    from fieldtune.battery.status import BatteryStatus
    from fieldtune.battery.watch import BatteryWatch
    from fieldtune.console.background import BackgroundThreads
    from fieldtune.console.shooting_state import ShootingState
    from fieldtune.console.shot_recorder import ShotRecorder
    from fieldtune.link.samples import Sample
    from fieldtune.session import Session

_MOST_WAITING = 20_000
"""Samples that wait for the watch."""
EVERY = 6
"""Looks between two questions to the watch."""
_SURE_SHARE = 0.1
"""How well a resistance has to be known to be kept."""


class BatteryMonitor:
    """Feeds the battery watch, which is made once the first recommendation is there: people wait for that.

    ``guided`` and ``pulses``: the recalibration and the resistance test under way, which the same samples are fed to.
    ``kept`` rises with every measured resistance that is written down.
    """

    def __init__(
        self, session: Session, shooting: ShootingState, recorder: ShotRecorder, background: BackgroundThreads
    ) -> None:
        self._session, self._shooting, self._recorder, self._background = session, shooting, recorder, background
        self.watch: BatteryWatch | None = None
        self.status: BatteryStatus | None = None
        self.guided: Recalibration | None = None
        self.pulses: TwoPulse | None = None
        self.kept = 0
        self._noted = False
        self._looks = 0
        self._waiting: list[Sample] = []

    def prepare(self) -> None:
        """Make the watch."""
        self._background.begin("battery", self._prepare)

    async def _prepare(self) -> None:
        self.watch = await self._background.ask_slowly("Watching the battery", self._make)

    def _make(self) -> BatteryWatch:
        from fieldtune.battery.watch import BatteryWatch

        log = self._session.log
        label = log.battery_label
        known = log.batteries(label) if label is not None else ()
        return BatteryWatch(self._session.robot, [r.resistance_ohm for r in known if r.resistance_ohm is not None])

    def look(self, samples: Sequence[Sample]) -> None:
        """Hand the new samples on, and ask now and then."""
        self._waiting += samples
        if self.watch is None:
            del self._waiting[:-_MOST_WAITING]
            return
        samples, self._waiting = self._waiting, []
        for s in samples:
            self.watch.feed(s.time_s, s.wheel_rpm, s.battery_v, s.current_a, s.setpoint, s.fired, s.fresh)
            if self.guided is not None:
                self.guided.feed(s.time_s, s.wheel_rpm, s.setpoint, s.battery_v)
            if self.pulses is not None:
                self._pulse(self.pulses, s)
        self._looks += 1
        if self._looks % EVERY == 1:
            self._ask()
            self._note()

    def _ask(self) -> None:
        shooting = self._shooting
        if self.watch is not None:
            distance = shooting.distance.value_m if shooting.distance else None
            self.status = self.watch.status(shooting.recommended, distance)

    def _pulse(self, pulses: TwoPulse, s: Sample) -> None:
        before = pulses.step
        if pulses.feed(s.time_s, s.wheel_rpm, s.battery_v, s.current_a) == "done" != before:
            self.keep(pulses.resistance_ohm, self.status.rest_v if self.status is not None else None)

    def _note(self) -> None:
        """Keep what the watch measured of each battery, once, where there is a log to keep it in."""
        status = self.status
        if self._noted or status is None or not (self._recorder.shots or self.guided):
            return
        ohm, sd = status.resistance_ohm, status.resistance_sd_ohm
        if ohm is not None and sd is not None and sd < _SURE_SHARE * ohm:
            self._noted = True
            self.keep(ohm, status.rest_v)

    def keep(self, ohm: float | None, rest_v: float | None) -> None:
        """Write down what was measured of the battery that is in."""
        self._background.begin("log", self._keep, ohm, rest_v, exclusive=False)

    async def _keep(self, ohm: float | None, rest_v: float | None) -> None:
        log = self._session.log
        keep = partial(log.add_battery, resistance_ohm=ohm, rest_v=rest_v)
        if await self._background.ask_log("Keeping what was measured", lambda: keep(log.battery_label)) is not None:
            self.kept += 1

    @property
    def offered(self) -> str | None:
        """Why another battery may be in, while nobody has said whether it is."""
        return None if self.status is None else self.status.change

    def changed(self) -> None:
        """Another battery is in."""
        if self.watch is not None:
            self.watch.accept_change()
            self.status, self._noted = None, False

    def unchanged(self) -> None:
        """The battery is the same."""
        if self.watch is not None:
            self.watch.decline_change()
            self._ask()

    @property
    def cautions(self) -> tuple[str, ...]:
        """What has to be said aloud about the battery."""
        if self.status is None:
            return ()
        change = f"{self.status.change}: press b" if self.status.change else None
        return tuple(words for words in (self.status.warning, change) if words)
