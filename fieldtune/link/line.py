"""The whole way from bytes to what is shown, without threads or ports; monitor and replay feed the same code."""

from __future__ import annotations

import math
import statistics
from collections import Counter, deque
from typing import TYPE_CHECKING, Any

from fieldtune.line_fields import BY_WIRE_NAME, FIELDS
from fieldtune.link.limits import Limits
from fieldtune.link.samples import TWO_NOW, Health, Live, ShotSeen, State
from fieldtune.link.shots.shot_detection import ShotDetector
from fieldtune.link.text.framing import Framer
from fieldtune.link.text.shown_lines import told
from fieldtune.link.troubleshooting.line_health import cause_words
from fieldtune.link.troubleshooting.remedies import not_read
from fieldtune.link.validation.battery_doubts import BatteryDoubts
from fieldtune.link.validation.counter_doubts import NOT_ON
from fieldtune.link.validation.decoder import LineDecoder
from fieldtune.link.validation.limited_rpm import LimitedRpm
from fieldtune.link.validation.no_reading import DistanceCodes
from fieldtune.link.validation.no_speed import NEVER_MORE, ZEROS, limited
from fieldtune.link.validation.setpoint_unit import SetpointUnit
from fieldtune.link.wheel.counted_speed import CountedSpeed, LineNow
from fieldtune.link.wheel.rpm_filter import RpmFilter
from fieldtune.link.wheel.shown_speed import ShownSpeed
from fieldtune.link.wheel.smoothed_rpm import SmoothedRpm
from fieldtune.link.wheel.wheel_figures import History, JamWatch, WheelFollower

if TYPE_CHECKING:
    from fieldtune.link.samples import Sample
    from fieldtune.robot.model import Robot

_SHOWN_S = 1.0  # a reading older than this is not shown
_THIN_S = 0.2  # a speed that rests on five counts further apart isn't shown
_NOISY_S = 1.0
_OWN_S = 0.5  # without own rpm, behind which a counter on the line tells the speed
_WHOLE_S, _PROVEN_S = 5.0, 1.0  # without damage: after some, and at the beginning
_DRAINED = 20_000
_UNUSED = ("out of range", "no whole number", "left one turn")
OVERTAKING = "lines overtake each other on the way: let the program send t_ms too"
OTHER_UNIT = "is in another unit than rpm"
_LOOKED = 40
_MOSTLY, _FIRST_LINES = 0.5, 20  # of the good lines, and how many there have to be, before a value is said to be unused


class Line:
    """Decodes chunks of bytes with their arrival times and keeps what a screen needs. Not thread-safe."""

    def __init__(self, robot: Robot) -> None:
        limits = Limits.of(robot)
        self._robot, self._fastest_rpm = robot, limits.wheel_rpm
        bounds = {name: limits.surely(name) for name in BY_WIRE_NAME}
        self._framer = Framer(robot.link, speed_setpoint=robot.setpoint.scale.is_speed, bounds=bounds)
        self._decoder = LineDecoder(robot)
        self._counted = CountedSpeed(limits)
        self._rpm_filter, self._smoothing = RpmFilter(limits.counts_per_turn), SmoothedRpm(robot.speed_kept)
        self._battery, self._limit = BatteryDoubts(), LimitedRpm()
        self._distances = DistanceCodes.of_places([spot.distance for spot in robot.spots], robot.field_range)
        self._unit = SetpointUnit(robot.setpoint.low) if robot.setpoint.scale.is_speed else None
        self._shots = ShotDetector(robot)
        self._history, self._figures, self._jams = History(), WheelFollower(robot), JamWatch()
        self._recent: dict[str, deque[tuple[float, float]]] = {
            row.name: deque(maxlen=row.median_of) for row in FIELDS.values() if row.median_of
        }
        self._speed = ShownSpeed()
        self._arrived: deque[tuple[float, int]] = deque(maxlen=20)
        self._line_s = 0.0
        self._marks: deque[tuple[float, int]] = deque(maxlen=400)
        self._dropped_before = self._damaged_before = 0
        self._dropped_at = -10.0
        self._damaged_at: float | None = None
        self._measured = self._own_rpm = False
        self._own_s = -math.inf
        self._whole: bool | None = None  # no line was damaged for long; None: none yet, but not for long
        self._not_read = ""
        self._look_again = _FIRST_LINES  # good lines at which to look again for a speed under another name
        self._extra: Counter[str] = Counter()
        self.last_arrival_s: float | None = None
        self.fresh: deque[Sample] = deque(maxlen=_DRAINED)

    def feed(self, chunk: bytes, arrival_s: float) -> list[Sample]:
        """The samples that this chunk, arrived at ``arrival_s`` (host seconds), completes.

        Of lines that come faster than samples are needed, some are only counted.
        """
        framer, decoder = self._framer, self._decoder
        lines = framer.read(chunk)
        noisy = framer.damaged + decoder.damaged > self._dropped_before or self._is_noisy(arrival_s)
        if self._damaged_at is None:
            self._damaged_at = arrival_s + _PROVEN_S - _WHOLE_S
        if framer.damaged != self._damaged_before:
            self._damaged_before, self._damaged_at = framer.damaged, arrival_s
        self._whole = arrival_s - self._damaged_at > _WHOLE_S or (False if framer.damaged else None)
        samples = decoder.take_all(lines, arrival_s, framer.numbers, framer.printed, noisy, self._whole)
        self._pace(arrival_s)
        self._speed.fed(arrival_s)
        if (dropped := framer.damaged + decoder.damaged) != self._dropped_before:
            self._dropped_at = arrival_s if dropped > self._dropped_before else -10.0
            self._dropped_before = dropped
        if samples:
            self._see(samples, arrival_s)
        if decoder.waits:
            self._speed.unanswered(arrival_s)
        return samples

    def _pace(self, arrival_s: float) -> None:
        """Seconds a line, refused ones included, over about the last two seconds."""
        arrived = self._arrived
        if not arrived or arrival_s - arrived[-1][0] >= 0.1:
            arrived.append((arrival_s, self._framer.lines))
            lines = arrived[-1][1] - arrived[0][1]
            if lines > 0:
                self._line_s = (arrival_s - arrived[0][0]) / lines

    def _is_noisy(self, arrival_s: float) -> bool:
        """Whether lines were damaged within the last second, so that others may be false."""
        return arrival_s - self._dropped_at < _NOISY_S

    def _see(self, samples: list[Sample], arrival_s: float) -> None:
        tick, noisy = self._decoder.tick_s, self._is_noisy(arrival_s)
        self.last_arrival_s = arrival_s
        if self._decoder.two_robots:  # nobody knows whose readings they are
            self._break()
            for recent in self._recent.values():
                recent.clear()
            return
        self._measured = self._measured or any(
            value is not None for one in samples for value in (one.wheel_rpm, one.turns, one.draw_mm)
        )
        for sample in samples:
            if sample.fresh:
                self._break()
            self._decoder.notices["distance out of range"] += self._distances.takes_out(sample)
            self._watch(sample, tick, noisy)
        self._marks.append((samples[-1].time_s, self.good))
        self.fresh.extend(samples)

    def _break(self) -> None:
        """What comes next has no connection with what was before."""
        self._counted.clear()
        self._rpm_filter.clear()
        self._smoothing.clear()
        self._shots.clear()
        self._history.gap()
        self._speed.forget()
        self._marks.clear()

    def _watch(self, sample: Sample, tick: float, noisy: bool) -> None:
        seen = [sample]
        if sample.wheel_rpm is not None:
            self._own_rpm, sample.turns = True, None  # a counter beside it may have any scale, or none
            self._own_s = sample.time_s
            if self._limit.see(sample.wheel_rpm):
                sample.wheel_rpm = None
                self._speed.forget()
        if sample.wheel_rpm is not None:
            seen = self._smoothing.see(sample, noisy, self._shots.begin_anew)
            shown_rpm = self._rpm_filter.add(sample.time_s, sample.wheel_rpm, noisy, sample.before_s)
            if shown_rpm is None:
                self._speed.forget()
            else:
                self._speed.take(shown_rpm, sample.arrival_s - self._rpm_filter.late_s)
        elif self._own_rpm and sample.time_s - self._own_s < _OWN_S:
            sample.turns = None  # the counter of a line whose own rpm was lost
        elif sample.turns is not None:
            self._take_turns(sample, sample.turns, tick, noisy)
        if sample.battery_v is not None:
            was, turning = self._battery.why, self._speed.rpm
            if self._battery.see(sample.time_s, sample.battery_v, turning):
                sample.battery_v = None
                self._extra[self._battery.why] += self._battery.why != was
                self._recent["battery_v"].clear()
        if self._unit is not None and sample.setpoint is not None:  # by one in another unit nothing may be learned
            shown = sample.wheel_rpm if self._speed.rpm is None else self._speed.rpm
            if self._unit.see(sample.time_s, sample.setpoint, shown):
                sample.setpoint = None
        if sample.turns is None or not self._counted.no_counter:
            uncertain, heard = noisy or self._decoder.jitter_s > 0, self._decoder.clock == "arrival"
            for one in seen:
                self._shots.see(one, self._counted.track.placed, tick, uncertain, heard)
        self._history.add(sample.time_s, sample.wheel_rpm)
        self._figures.see(sample)
        self._jams.see(sample, self._shots.shots)
        self._note(sample)

    def _take_turns(self, sample: Sample, turns: float, tick: float, noisy: bool) -> None:
        """The speed by the counter; where that is found to be none, what was known of the wheel ends."""
        decoder, counted, thin_s = self._decoder, self._counted, max(_THIN_S, 8 * self._line_s)
        line = LineNow(tick, thin_s, noisy, self._whole, decoder.jitter_s, decoder.reading_s, decoder.too_narrow)
        rpm = counted.add(sample.time_s, turns, sample.before_s, line)
        if counted.begun:
            self._extra[counted.begun] += 1
            if counted.no_counter:
                self._shots.clear()
        if counted.why:
            self._speed.forget()
        self._own_rpm = self._own_rpm and bool(counted.no_counter)
        # By lines that came faster than they were printed a wheel may seem to do anything.
        if rpm is not None and (abs(rpm) <= self._fastest_rpm or decoder.clock == "robot"):
            sample.wheel_rpm = abs(rpm)
            self._speed.take(sample.wheel_rpm, sample.arrival_s)
        else:
            self._speed.unanswered(sample.arrival_s)

    def _note(self, sample: Sample) -> None:
        """Keeps the readings from which a shown value is taken."""
        for name, recent in self._recent.items():
            value = getattr(sample, name)
            if value is not None:
                recent.append((value, sample.arrival_s))

    def trust_clock(self) -> None:
        """Arrival times are made up, as of plain text: they say nothing of the robot's clock."""
        self._decoder.trust_clock()

    def reconnected(self, why: str = "reconnected") -> None:
        """The line was interrupted: half lines and held samples are gone, history and counts stay."""
        self._framer.restart()
        self._decoder.reconnected()
        self._history.gap()
        self._extra[why] += 1

    def begin_anew(self, why: str) -> None:
        """What comes next has nothing to do with what was before: another robot's line. Counts stay."""
        self.reconnected(why)
        self._decoder.begin_anew()
        for recent in self._recent.values():
            recent.clear()
        self._break()

    @property
    def two_robots(self) -> bool:
        """Whether two robots speak in turn on this line now."""
        return self._decoder.two_robots

    @property
    def good(self) -> int:
        """Lines believed so far."""
        return self._decoder.good

    @property
    def shots(self) -> tuple[ShotSeen, ...]:
        """The shots recognised so far, the last 200."""
        return tuple(self._shots.shots)

    def raw(self, count: int = 100) -> tuple[str, ...]:
        """The last lines as they came, made harmless to show; a refused one ends in its cause."""
        return tuple(told(line, cause) for line, cause in self._framer.recent(count))

    def health(self) -> Health:
        """Counts so far."""
        framer, decoder = self._framer, self._decoder
        notices = dict(decoder.notices + self._extra + framer.set_aside)
        notices |= {f"{name} is read as hexadecimal": 1 for name in framer.hexadecimal}
        if decoder.notices["counter of 8 bits"]:
            notices.pop(NOT_ON, None)  # which was said before that was known
        if decoder.clock_fault:
            notices[decoder.clock_fault] = 1
        if self._unit is not None and self._unit.other is not None:
            setpoint, rpm = self._unit.other
            notices[f"setpoint {OTHER_UNIT}: {setpoint:g} at {rpm:.0f} rpm"] = 1
        notices |= {ZEROS: 1} if decoder.why_no_own_rpm == ZEROS else {}
        if self._limit.sure:
            notices[f"{NEVER_MORE} {self._limit.highest:.0f}"] = 1
        notices |= {TWO_NOW: 1} if decoder.two_robots else {}
        if framer.start_up:
            notices["start-up text"] = framer.start_up
        notices |= self._shots.notices
        seldom = self._rpm_filter.held.words if self._own_rpm else self._counted.track.seldom.words
        notices |= dict.fromkeys((*self._smoothing.words, *seldom), 1)
        if self._jams.count:
            notices["jam"] = self._jams.count
        return Health(
            lines=framer.lines - framer.start_up,
            good=self.good,
            dropped=dict(framer.dropped + decoder.dropped),
            notices=notices,
            rate_hz=self._rate(),
            clock=decoder.clock,
        )

    def _why_not(self, speed: float | None) -> str:
        """Why there is no speed, or a value that most lines name and that can't be used; empty where nothing is."""
        own_rpm = self._rpm_filter.why or limited(self._limit) or self._decoder.why_no_own_rpm
        if why := own_rpm or self._counted.why:
            return why
        if speed is None and self._decoder.jitter_s:
            return OVERTAKING
        if self._unit is not None and self._unit.other is not None:
            return f"setpoint {OTHER_UNIT}"
        if not self._measured and self.good >= self._look_again:
            self._look_again = 2 * self.good
            self._not_read = not_read(self.raw(_LOOKED), self._robot)
        if self._not_read and not self._measured:
            return self._not_read
        odd = {notice: n for notice, n in self._decoder.notices.items() if notice.endswith(_UNUSED)}
        counts = {**odd, **self._framer.set_aside}
        worst = max(counts, key=lambda words: counts[words], default="")
        if worst and counts[worst] > max(_MOSTLY * self.good, _FIRST_LINES):
            return worst
        if why := self._battery.why or self._speed.words(self._line_s):
            return why
        refused = self._framer.dropped + self._decoder.dropped
        if speed is not None or refused.total() <= max(self.good, _FIRST_LINES):
            return ""
        return f"most lines are refused: {cause_words(refused.most_common(1)[0][0])}"

    def _rate(self) -> float | None:
        """Good lines a second over the last two seconds of the line's clock."""
        if len(self._marks) < 2:
            return None
        end, total = self._marks[-1]
        start, before = next((m for m in self._marks if m[0] >= end - 2.0), self._marks[0])
        return (total - before) / (end - start) if end > start else None

    def live(self, state: State, words: str, port: str | None, now_s: float) -> Live:
        """A snapshot at host time ``now_s``; readings that are too old are unknown."""
        shown_now: dict[str, Any] = {name: self._shown(recent, now_s) for name, recent in self._recent.items()}
        speed = self._speed_shown(now_s)
        seconds, rpm = self._history.arrays()
        return Live(
            state=state,
            words=f"{words}; {why}" if state == "live" and (why := self._why_not(speed)) else words,
            port=port,
            age_s=None if self.last_arrival_s is None else max(now_s - self.last_arrival_s, 0.0),
            wheel_rpm=speed,
            **shown_now,
            health=self.health(),
            wheel=self._figures.now(self.shots, speed, shown_now["wheel2_rpm"], self._jams.amps),
            shots=self.shots,
            unsure=self._shots.unsure,
            own_rpm=self._own_rpm,
            history_s=seconds,
            history_rpm=rpm,
        )

    def _speed_shown(self, now_s: float) -> float | None:
        sparse = self._is_noisy(now_s) and not self._own_rpm  # which is the middle one of three lines then
        return self._speed.shown(now_s, self._line_s, sparse)

    @staticmethod
    def _shown(recent: deque[tuple[float, float]], now_s: float) -> float | None:
        values = [value for value, at in recent if now_s - at <= _SHOWN_S]
        return statistics.median_low(values) if values else None
