"""Watches a line for steady stretches, and holds the readback there against the setpoint, or against full power."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from contextlib import suppress
from typing import TYPE_CHECKING, Any, Protocol

from fieldtune.frozen import frozen
from fieldtune.robot.derived import no_load_wheel_rpm
from fieldtune.setup.encoder_check import (
    Change,
    Source,
    Verdict,
    against_setpoint,
    at_full_power,
    beyond_wheel,
    faster_than_possible,
    fingerprint,
    from_shots,
    with_believed_speeds,
)

if TYPE_CHECKING:
    from fieldtune.link.samples import Sample
    from fieldtune.records import Shot
    from fieldtune.robot.model import Robot

_KEPT = "encoder check"

_STEADY_S = 1.2
_SPREAD = 0.03
_MOST = 400
_FULL_PCT = 97.0
_AT_FULL, _BEYOND_ALL = -1.0, -2.0
"""What stands for a setpoint at full power, and where none is told but the speed is beyond the nominal no-load one."""
_LOW, _HIGH = 0.1, 0.85
"""Shares of the wheel's no-load speed between which a controlled wheel can be expected to be at its setpoint."""
_STRETCHES = 5
_OVER_S = 0.2
"""A raw speed is the mean over so long."""


class EncoderWatch:
    """Takes speeds as they come; ``verdict`` is what the last steady stretches say, None while there was none."""

    def __init__(self, robot: Robot, source: Source | None = None) -> None:
        self._robot = robot
        self._in_rpm = robot.setpoint.scale.is_speed
        self._free = no_load_wheel_rpm(robot)
        self.source: Source = source or ("counts" if robot.encoder is not None else "rpm")
        self._recent: deque[tuple[float, float]] = deque(maxlen=_MOST)
        self._wanted: float | None = None
        self._counted = False
        self._found: deque[Verdict] = deque(maxlen=_STRETCHES)

    @property
    def verdict(self) -> Verdict | None:
        """The middle one of the last stretches, by its ratio."""
        if not self._found:
            return None
        return sorted(self._found, key=lambda one: one.ratio)[len(self._found) // 2]

    def see(
        self,
        time_s: float,
        rpm: float | None,
        setpoint: float | None,
        power_pct: float | None = None,
        battery_v: float | None = None,
    ) -> None:
        """One moment of the line; None for what it doesn't say. One stretch of steady speed counts once."""
        full = power_pct is not None and abs(power_pct) >= _FULL_PCT
        wanted = _AT_FULL if full else setpoint if self._in_rpm else None
        if wanted is None and rpm is not None and self._free is not None and rpm > self._free:
            wanted = _BEYOND_ALL
        if wanted != self._wanted:
            self._recent.clear()
            self._wanted, self._counted = wanted, False
        if rpm is None or wanted is None or rpm < 30.0 or self._counted:
            return
        recent = self._recent
        recent.append((time_s, rpm))
        while time_s - recent[0][0] > _STEADY_S:
            recent.popleft()
        if len(recent) < 6 or time_s - recent[0][0] < 0.8 * _STEADY_S:
            return
        speeds = [speed for _, speed in recent]
        from statistics import median  # with fractions and decimals it is slow to import

        middle = median(speeds)
        if max(speeds) - min(speeds) > _SPREAD * middle:
            return
        verdict = self._judged(middle, wanted, full, battery_v)
        if verdict is not None:
            self._found.append(verdict)
            self._counted = True

    def _judged(self, rpm: float, wanted: float, full: bool, battery_v: float | None) -> Verdict | None:
        robot = self._robot
        if wanted == _BEYOND_ALL:
            return faster_than_possible(robot, rpm, battery_v, self.source)
        if full:
            return at_full_power(robot, rpm, battery_v, self.source)
        free = no_load_wheel_rpm(robot)
        if free is not None and wanted > free:
            return beyond_wheel(robot, rpm, wanted, battery_v)
        if wanted <= 0 or (free is not None and not _LOW * free <= wanted <= _HIGH * free):
            return None
        return against_setpoint(robot, rpm, wanted, self.source)

    def see_all(self, samples: Iterable[Sample]) -> Verdict | None:
        """Takes a recording's samples; the verdict at its end."""
        for one in samples:
            if one.wheel_rpm is not None:
                self.source = "rpm" if one.turns is None else "counts"
            self.see(one.time_s, one.wheel_rpm, one.setpoint, one.power_pct, one.battery_v)
        return self.verdict

    def see_raw(self, lines: Iterable[str]) -> Verdict | None:
        """Takes lines as they came, also where all are dropped as more than any wheel can do; the verdict then."""
        for one in raw_moments(lines, self._robot):
            self.see(one.time_s, one.rpm, one.setpoint, one.power_pct, one.battery_v)
        return self.verdict


@frozen
class Moment:
    """One line of the robot as it came, scaled by the profile and held against nothing else."""

    time_s: float
    rpm: float | None
    setpoint: float | None
    power_pct: float | None
    battery_v: float | None


def raw_moments(lines: Iterable[str], robot: Robot) -> list[Moment]:
    """Speeds by the profile's scale from raw lines, also those that are dropped as more than any wheel can do.

    Needs the robot's clock; a line that can't be read is passed over.
    """
    from fieldtune.link.limits import Limits
    from fieldtune.link.text.framing import Framer
    from fieldtune.link.text.shown_lines import as_sent
    from fieldtune.link.text.wire_values import readings_of

    limits, framer = Limits.of(robot), Framer(robot.link)
    half = 1 << (limits.counter_bits - 1)
    found: list[Moment] = []
    before: deque[tuple[float, float]] = deque()
    last: float | None = None
    total = 0.0
    for text in lines:
        for wire in framer.feed(as_sent(text)):
            clock = wire.t_ms if wire.t_ms is not None else None if wire.t_us is None else wire.t_us / 1000
            if clock is None:
                continue
            time_s = float(clock) / 1000
            values = {row.name: value / limits.per[name.name] for row, name, value in readings_of(wire)}
            rpm = values.get("wheel_rpm")
            if wire.wheel_counts is not None and limits.counts_per_turn:
                counts = float(wire.wheel_counts)
                total += 0.0 if last is None else (counts - last + half) % (2 * half) - half
                last = counts
                before.append((time_s, total))
                while time_s - before[0][0] > _OVER_S:
                    before.popleft()
                since = time_s - before[0][0]
                if since > _OVER_S / 2:
                    rpm = 60 * (total - before[0][1]) / limits.counts_per_turn / since
            found.append(
                Moment(time_s, None if rpm is None else abs(rpm), values.get("setpoint"), values.get("power_pct"),
                       values.get("battery_v"))
            )  # fmt: skip
    return found


def kept(robot: Robot, verdict: Verdict) -> dict[str, Any]:
    """A verdict as a plain record for the log's memory."""
    change = None if verdict.change is None else [verdict.change.key, verdict.change.value]
    return {
        "of": repr(fingerprint(robot)), "against": verdict.against, "ratio": verdict.ratio, "settled": verdict.settled,
        "causes": list(verdict.causes), "change": change, "backwards": verdict.backwards,
    }  # fmt: skip


def recalled(robot: Robot, record: object) -> Verdict | None:
    """The verdict that was kept; None where there is none, or the profile has changed since in what it rests on."""
    if not isinstance(record, dict) or record.get("of") != repr(fingerprint(robot)):
        return None
    change = record.get("change")
    return Verdict(
        record["against"], float(record["ratio"]), bool(record["settled"]), tuple(record["causes"]),
        None if change is None else Change(str(change[0]), change[1]), bool(record["backwards"]),
    )  # fmt: skip


class Log(Protocol):
    """What is asked of a shot log."""

    def shots(self) -> tuple[Shot, ...]:
        """All shots."""
        ...

    def recall(self, key: str) -> str | None:
        """A small thing that was kept."""
        ...

    def remember(self, key: str, value: str, *, make: bool = True) -> None:
        """Keeps a small thing."""
        ...


def remember(robot: Robot, log: Log, verdict: Verdict) -> None:
    """Keeps the verdict with the log, as long as the profile's scale is the one it was found with."""
    import json

    log.remember(_KEPT, json.dumps(kept(robot, verdict)), make=False)


def standing(robot: Robot, log: Log) -> Verdict | None:
    """What was found last and isn't settled, by a check or by the shots themselves; None where all is well."""
    return _standing(robot, log.shots(), log.recall(_KEPT))


def _standing(robot: Robot, shots: tuple[Shot, ...], record: str | None) -> Verdict | None:
    checked = None
    if record is not None:
        import json

        with suppress(ValueError, KeyError, TypeError, IndexError):
            checked = recalled(robot, json.loads(record))  # another version's may say something else: only a hint
    return checked if checked is not None and not checked.settled else from_shots(robot, shots)


class BelievedShots:
    """A log's shots as learning may use them: speeds are left out until the encoder's scale is settled.

    Judging takes longer than all else that is asked of the log: it is done again only when something was written.
    """

    def __init__(self, robot: Robot, log: Log) -> None:
        self._robot, self._log = robot, log
        self._judged: tuple[tuple[Shot, ...], str | None, tuple[Shot, ...], Verdict | None] | None = None

    def now(self) -> tuple[tuple[Shot, ...], Verdict | None]:
        """The shots, and what ``standing`` finds against their speeds."""
        shots, record, judged = self._log.shots(), self._log.recall(_KEPT), self._judged
        if judged is None or judged[0] is not shots or judged[1] != record:
            found = _standing(self._robot, shots, record)
            believed = with_believed_speeds(self._robot, shots, found is None or found.against == "setpoint")
            judged = self._judged = shots, record, believed, found
        return judged[2:]
