"""What is kept of a robot: its shots, epochs, batteries and small things, checked before they are written."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Protocol, Self

from fieldtune import shot_entry
from fieldtune.errors import InputError
from fieldtune.records import BatteryReading, Epoch, Mark, Shot
from fieldtune.store import Store, utc_now
from fieldtune.store.store import Clock

if TYPE_CHECKING:
    from fieldtune.link.snapshot import Live
    from fieldtune.robot.model import Robot


class Watching(Protocol):
    """What a session asks of a line's monitor."""

    def snapshot(self) -> Live:
        """What the line says now."""
        ...


class Logbook:
    """One robot's log. ``store``: path of the SQLite file, an open ``Store``, or None to keep it in memory."""

    def __init__(self, robot: Robot, store: Path | str | Store | None = None, clock: Clock = utc_now) -> None:
        self.robot = robot
        self.store = store if isinstance(store, Store) else Store(store, clock)
        self._monitor: Watching | None = None
        self._claim: Callable[[], object] = _nothing_to_claim
        self._demo = False
        self._unkept: dict[str, str] = {}

    @classmethod
    def beside_profile(cls, robot: Robot, home: Path | str | None = None) -> Self:
        """The robot's own log; ``home`` is the folder of profiles, where it isn't the usual one.

        Before the first thing is kept, a demonstration robot's profile is copied home.
        """
        from fieldtune.robot import claim_profile, is_demo, store_path

        book = cls(robot, store_path(robot, home))
        book._claim, book._demo = partial(claim_profile, robot, home), is_demo(robot)
        return book

    def attach(self, monitor: Watching | None) -> None:
        """From now on take the battery's voltage from a live line where none is given."""
        self._monitor = monitor

    def confirm(
        self,
        distance_m: float,
        setpoint: float,
        result: str | None = None,
        miss_m: float | None = None,
        side_m: float | None = None,
        speed: float | None = None,
        battery_v: float | None = None,
        target: str | None = None,
    ) -> Shot:
        """Adds a shot to the log and learns from it; when this returns, it is on the disk.

        ``result``: in, short, long, left or right; may be left out where the measured miss says it. Both are kept, also
        where they contradict each other. ``speed``: measured at release, rpm of the wheel or mm of draw.
        """
        aimed_at = self.robot.target(target)
        entry = shot_entry.check_entry(
            self.robot, aimed_at, distance_m, setpoint, result, miss_m, side_m, speed, self._battery(battery_v)
        )
        self._claim()
        return self.store.add(
            entry.distance_m,
            entry.setpoint,
            entry.result,
            miss_m=entry.miss_m,
            side_m=entry.side_m,
            speed=entry.speed,
            battery_v=entry.battery_v,
            target=aimed_at.name,
        )

    def undo(self) -> Shot | None:
        """Takes the last confirmed shot back; None when there is none."""
        return self.store.undo_last() if self.store.shots() else None

    def exclude(self, shot: Shot | int, reason: str) -> Shot:
        """Leaves a shot out of learning, for a reason that is kept with it."""
        return self.store.exclude(self._standing(shot), shot_entry.check_words("a reason", reason))

    def include(self, shot: Shot | int) -> Shot:
        """Lets a shot that was left out count again."""
        return self.store.include(self._standing(shot))

    def _standing(self, shot: Shot | int) -> int:
        """Number of a shot in the log that was not taken back; looks before writing, which would make a log."""
        found = self.store.shot(_number(shot))
        if found.undone:
            raise InputError(f"shot {found.shot} was taken back and counts no more; if it did happen, confirm it anew")
        return found.shot

    def swap(self, label: str | None = None) -> int:
        """Marks a battery change (or a repair): a new epoch, whose number is returned."""
        words = None if label is None else shot_entry.check_words("a label", label)
        self._claim()
        return self.store.swap(words)

    def shots(self) -> tuple[Shot, ...]:
        """The whole log, shots taken back included."""
        return self.store.shots()

    @property
    def epoch(self) -> int:
        """Number of the present epoch, from 1."""
        return self.store.epoch

    def epochs(self) -> tuple[Epoch, ...]:
        """All epochs with their labels."""
        return self.store.epochs()

    def take_in(
        self,
        shots: Sequence[Shot],
        epochs: Sequence[Epoch],
        origin: str,
        marks: Sequence[Mark] = (),
        batteries: Sequence[BatteryReading] = (),
        present: str | None = None,
    ) -> tuple[int, int]:
        """Takes in shots kept elsewhere, all or none; returns how many shots and marks were new (told by their uid).

        ``present``: uid of the epoch in which a log that is still empty goes on.
        """
        self._claim()
        return self.store.insert_foreign(shots, marks, epochs, origin, batteries, present)

    def now(self) -> datetime:
        """The present moment by the session's clock."""
        return self.store.now()

    # -- batteries and small things -----------------------------------------------------------------------------

    @property
    def battery_label(self) -> str | None:
        """Label of the battery that is in now, as given at the last swap."""
        present = self.store.epoch
        return next((epoch.label for epoch in self.store.epochs() if epoch.epoch == present), None)

    def keep_battery(self, resistance_ohm: float | None, rest_v: float | None) -> BatteryReading:
        """Keeps what was measured of the battery that is in now."""
        self._claim()
        return self.store.add_battery(self.battery_label, resistance_ohm, rest_v)

    def batteries(self, label: str | None = None) -> tuple[BatteryReading, ...]:
        """What has been measured of one battery, or of all."""
        return self.store.batteries(label)

    def recall(self, key: str) -> str | None:
        """A small thing kept beside the log: the last good port, a caution that was seen."""
        return self._unkept.get(key) or self.store.meta(key)

    def remember(self, key: str, value: str) -> None:
        """Keeps a small thing beside the log; of a demonstration robot that has no log yet, until this session ends."""
        if self._demo and self.store.path is not None and not self.store.path.exists():
            self._unkept[key] = value
        else:
            self._claim()
            self.store.set_meta(key, value)

    def close(self) -> None:
        """Closes the log."""
        self.store.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *exc: object) -> None:
        self.close()

    def _battery(self, given: float | None) -> float | None:
        if given is not None:
            shot_entry.check_battery(given)
            return given
        live = self._monitor.snapshot().battery_v if self._monitor is not None else None
        return live if live is not None and live > 0 else None

    def _resistance(self) -> float | None:
        """The latest measured resistance of the battery that is in now; None leaves the profile's."""
        label = self.battery_label
        readings = self.store.batteries(label) if label is not None else ()
        return next((r.resistance_ohm for r in reversed(readings) if r.resistance_ohm is not None), None)


def _nothing_to_claim() -> None:
    """A log at a path of the caller's own needs no profile beside it."""


def _number(shot: Shot | int) -> int:
    return shot.shot if isinstance(shot, Shot) else shot
