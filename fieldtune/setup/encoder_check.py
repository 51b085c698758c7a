"""The encoder measured, not believed: what a readback that is off by a factor means, and the value that would fit.

A readback is held against something that doesn't go through the profile's scale: what the robot program asks for, ten
turns by hand, or what the gear train lets the wheel do at full power. A factor of 2 or 4, a gear ratio, revolutions
against radians each have a cause with a name. Speeds that are off so are kept in the log, and not learned from.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Literal

from fieldtune.frozen import frozen
from fieldtune.records import in_order
from fieldtune.robot.derived import no_load_wheel_rpm

if TYPE_CHECKING:
    from fieldtune.records import Shot
    from fieldtune.robot.model import Robot

Against = Literal["setpoint", "hand", "full power"]
"""What the readback was held against."""
Source = Literal["counts", "rpm"]
"""Whether the line carries the encoder's counts, or a speed that the robot program worked out."""

_WORDS = {
    "setpoint": "what the program asks for",
    "hand": "what was turned by hand",
    "full power": "what the gear train allows at full power",
}
_NEAR = {"setpoint": math.log(1.12), "hand": math.log(1.03), "full power": math.log(1.35)}
"""How far off (natural log) still counts as right: soft control, a tenth of a turn by eye, losses of the train."""
_MATCH = {"setpoint": math.log(1.07), "hand": math.log(1.04), "full power": math.log(1.17)}
"""How near a known factor has to be to be named."""
_TRAIN_KEEPS = 0.93
"""Of the no-load speed that motors and gears promise, what bearings, chain and air leave (common practice, rough)."""
_BEYOND, _SLOWEST = 1.1, 0.2
"""Shares of the no-load speed: what no battery and no tolerance make of it, and what a launcher runs at least."""
_HELD, _EXACT = 0.8, math.log(1.025)
"""A wheel below this share of the no-load speed isn't at its limit; a control that holds is so near (natural log)."""
_OF_MOTOR = "the program's setpoint is the motor's speed, not the wheel's"
_RANKED = 0.3
"""What a rank counts, against how near the factor is as a share of ``_MATCH``."""
_RADIANS = 2 * math.pi / 60
_WHOLE = 0.02
_CERTAIN = 0.6
"""Beyond that (natural log) a measured speed at release is no wheel that was slow, but a wrong scale."""
_SAME = 0.15
_FAR_OFF = math.log(3.5)
"""Beyond that (natural log) no control is merely soft: the value that fits is offered, whatever the cause."""
_NO_NAME = "no usual cause gives that factor, so check it by ten hand turns"
_AROUND = 5


@frozen
class Change:
    """A value of the profile that would make the readback fit: ``key`` with its path, and the value."""

    key: str
    value: float | str

    @property
    def words(self) -> str:
        """``counts_per_turn = 96``."""
        said = f'"{self.value}"' if isinstance(self.value, str) else f"{self.value:g}"
        return f"{self.key.rpartition('.')[2] if self.key.startswith('encoder') else self.key} = {said}"


@frozen
class Verdict:
    """What a check of the encoder found. ``ratio``: readback over what it should be, with the counter's sign.

    ``settled``: the readback can be used. ``causes`` name what may be wrong, the likeliest first; ``change`` is the
    value that would fit, None where the factor has no name or nothing has to change.
    """

    against: Against
    ratio: float
    settled: bool
    causes: tuple[str, ...] = ()
    change: Change | None = None
    backwards: bool = False

    @property
    def words(self) -> str:
        """One line: how far off, why, and what would fit."""
        said = f"readback is {abs(self.ratio):.2f} × {_WORDS[self.against]}"
        if self.settled:
            return f"{said}: it fits" + (f", but {_BACKWARDS}" if self.backwards else "")
        if not self.causes:
            return f"{said}: no usual cause gives that factor; count ten turns by hand, and check gears and setpoint"
        fits = "" if self.change is None else f"; {self.change.words} would fit"
        also = f" Also, {_BACKWARDS}." if self.backwards else ""
        return f"{said}: {', or '.join(self.causes)}{fits}{also}"


_BACKWARDS = "it counts down as the wheel turns forwards: a speed control would run away, so mend the sign in the robot"


# -- three ways of measuring ----------------------------------------------------------------------------------------


def against_setpoint(robot: Robot, readback_rpm: float, setpoint_rpm: float, source: Source = "counts") -> Verdict:
    """Verdict from a steady readback at a setpoint well below the highest; both rpm of the wheel."""
    return _judged(robot, "setpoint", readback_rpm / setpoint_rpm, source)


def beyond_wheel(
    robot: Robot, readback_rpm: float, setpoint_rpm: float, battery_v: float | None = None
) -> Verdict | None:
    """Verdict from a wheel that holds a speed while a setpoint is told that no voltage gives it: the motor's.

    None where the wheel may be at its limit, or the gears don't give that factor.
    """
    free, total = _free_rpm(robot, battery_v), _reduction(robot)
    if free is None or setpoint_rpm < free or readback_rpm > _HELD * free:
        return None
    if abs(math.log(total * readback_rpm / setpoint_rpm)) > _EXACT:
        return None
    return Verdict("setpoint", readback_rpm / setpoint_rpm, False, (_OF_MOTOR,), _setpoint(robot, 1 / total))


def by_hand(robot: Robot, counts: float, turns: float = 10.0) -> Verdict:
    """Verdict from the change of the counter, with sign, while the wheel was turned forwards so often by hand."""
    expected = counts_a_wheel_turn(robot) * turns
    verdict = _judged(robot, "hand", counts / expected, "counts")
    if verdict.settled or verdict.change is not None or counts == 0:
        return verdict
    found = _round_counts(robot.encoder.counts_per_turn * abs(verdict.ratio) if robot.encoder else abs(counts) / turns)
    causes = (f"the counter says {abs(counts) / turns:.4g} counts a turn of the wheel",)
    return replace(verdict, causes=causes, change=Change("encoder.counts_per_turn", found))


def at_full_power(
    robot: Robot, readback_rpm: float, battery_v: float | None = None, source: Source = "counts"
) -> Verdict | None:
    """Verdict from the steady readback of an unloaded wheel at full power; None where the profile has no ``[drive]``.

    Compared with the no-load speed at this voltage, less what bearings and chain usually take.
    """
    free = _free_rpm(robot, battery_v)
    return None if free is None else _judged(robot, "full power", readback_rpm / (_TRAIN_KEEPS * free), source)


def faster_than_possible(
    robot: Robot, readback_rpm: float, battery_v: float | None = None, source: Source = "counts"
) -> Verdict | None:
    """Verdict from a steady readback that the motors can't reach, whatever they are told; None where they can.

    By how much it is off isn't known then, so that no value is offered: causes are those that would bring it below
    what the motors reach.
    """
    free = _free_rpm(robot, battery_v)
    if free is None or readback_rpm <= _BEYOND * free:
        return None
    known = sorted(_known(robot, source, "full power"), key=lambda one: (one.rank, one.ratio))
    fitting = [one for one in known if readback_rpm / free <= one.ratio <= readback_rpm / (_SLOWEST * free)]
    causes = tuple(dict.fromkeys(one.words for one in fitting))[:3]
    return Verdict("full power", readback_rpm / (_TRAIN_KEEPS * free), False, causes or (_NO_NAME,))


def counts_a_wheel_turn(robot: Robot) -> float:
    """Counts for one turn of the wheel, as the profile has it; raises ``ValueError`` without ``[encoder]``."""
    if robot.encoder is None:
        raise ValueError("no encoder in the profile")
    return robot.encoder.counts_per_turn * (_reduction(robot) if robot.encoder.on == "motor" else 1.0)


def _free_rpm(robot: Robot, battery_v: float | None) -> float | None:
    drive, free = robot.drive, no_load_wheel_rpm(robot)
    if drive is None or free is None:
        return None
    return free * ((battery_v or drive.nominal_voltage) / drive.nominal_voltage)


# -- from a ratio to a cause ----------------------------------------------------------------------------------------


def _judged(robot: Robot, against: Against, ratio: float, source: Source) -> Verdict:
    size, backwards = abs(ratio), ratio < 0
    if not size > 0 or not math.isfinite(size):
        return Verdict(against, 0.0, False, ("nothing was counted: check the encoder's plug and its cable",))
    off = math.log(size)
    if abs(off) <= _NEAR[against]:
        return Verdict(against, ratio, True, backwards=backwards)
    near = [(abs(off - math.log(found.ratio)) / _MATCH[against], found) for found in _known(robot, source, against)]
    fitting = sorted(
        ((away + _RANKED * found.rank, found) for away, found in near if away <= 1), key=lambda pair: pair[0]
    )
    if not fitting:
        change = _fit(robot, source, size) if abs(off) > _FAR_OFF else None
        return Verdict(against, ratio, False, () if change is None else (_NO_NAME,), change, backwards)
    first = fitting[0][1]
    causes = tuple(dict.fromkeys(found.words for _, found in fitting))[:3]
    return Verdict(against, ratio, False, causes, first.change, backwards)


@frozen
class _Known:
    """A usual mistake: the ratio of readback to truth that it makes; ``rank`` orders those of about one ratio."""

    ratio: float
    words: str
    change: Change | None
    rank: int


def _fit(robot: Robot, source: Source, ratio: float) -> Change | None:
    """The scale that makes up for the ratio: counts a turn, or the factor on a speed that the robot sends."""
    if source == "rpm":
        now = robot.link.scale.get("wheel_rpm", 1.0)
        return Change("link.scale.wheel_rpm", _neat(now / ratio))
    if robot.encoder is None:
        return None
    return Change("encoder.counts_per_turn", _round_counts(robot.encoder.counts_per_turn * ratio))


def _known(robot: Robot, source: Source, against: Against) -> Iterator[_Known]:
    def fit(ratio: float) -> Change | None:
        return _fit(robot, source, ratio)

    scale = "counts a turn is" if source == "counts" else "the robot program's counts a turn is"
    for factor in (2.0, 4.0):
        yield _Known(1 / factor, f"{scale} probably {factor:g} × too large", fit(1 / factor), 0)
        yield _Known(factor, f"{scale} probably {factor:g} × too small", fit(factor), 0)
    yield from _gear_mistakes(robot, source, fit)
    if against == "setpoint" or source == "rpm":
        if source == "rpm":
            yield _Known(_RADIANS, "the robot sends rad/s where rpm is expected", fit(_RADIANS), 0)
            yield _Known(1 / 60, "the robot sends turns a second where rpm is expected", fit(1 / 60), 0)
        if against == "setpoint":
            yield _Known(1 / _RADIANS, "the program's setpoint is in rad/s", _setpoint(robot, 1 / _RADIANS), 1)
            if robot.encoder is not None:
                of_counts = 60 / counts_a_wheel_turn(robot)
                yield _Known(of_counts, "the program's setpoint is in counts a second", _setpoint(robot, of_counts), 1)
            yield _Known(60.0, "the program's setpoint is in turns a second", _setpoint(robot, 60.0), 1)
            yield _Known(_RADIANS, "the readback is in rad/s", fit(_RADIANS), 2)


def _gear_mistakes(robot: Robot, source: Source, make: Callable[[float], Change | None]) -> Iterator[_Known]:
    drive, total = robot.drive, _reduction(robot)
    if drive is None or abs(math.log(total)) < 0.05:
        return
    at_motor = robot.encoder is None or robot.encoder.on == "motor"
    if source == "rpm":
        yield _Known(total, "the robot sends the motor's speed, not the wheel's", make(total), 1)
        yield _Known(1 / total, _OF_MOTOR, _setpoint(robot, 1 / total), 2)
    elif at_motor:
        yield _Known(1 / total, "the encoder sits at the wheel, not at the motor", Change("encoder.on", "wheel"), 1)
    else:
        yield _Known(total, "the encoder sits at the motor, not at the wheel", Change("encoder.on", "motor"), 1)
    passed = 1.0
    for driving, driven in drive.gears:
        stage = driven / driving
        passed *= stage
        if abs(math.log(stage)) > 0.05 and source == "counts":
            side = "behind" if at_motor else "before"
            ratio = 1 / passed if at_motor else total / passed
            if abs(ratio - (1 / total if at_motor else total)) > 1e-9 and abs(math.log(ratio)) > 0.05:
                yield _Known(ratio, f"the encoder sits {side} the {driving}:{driven} stage", make(ratio), 2)
            yield _Known(stage, f"the {driving}:{driven} stage is not there, or counted twice", make(stage), 3)
            yield _Known(1 / stage, f"the {driving}:{driven} stage is not there, or counted twice", make(1 / stage), 3)
    yield _Known(total, "the gear train is left out once", make(total), 4)
    yield _Known(1 / total**2, "driving and driven teeth stand the wrong way round", make(1 / total**2), 4)
    yield _Known(total**2, "driving and driven teeth stand the wrong way round", make(total**2), 4)


def _setpoint(robot: Robot, ratio: float) -> Change:
    return Change("link.scale.setpoint", _neat(robot.link.scale.get("setpoint", 1.0) * ratio))


def _reduction(robot: Robot) -> float:
    return 1.0 if robot.drive is None else robot.drive.reduction


def _round_counts(counts: float) -> float:
    """To the whole number that it nearly is, as encoders have; else to four digits."""
    whole = max(1.0, float(round(counts)))
    return whole if abs(counts - whole) <= _WHOLE * counts else float(f"{counts:.4g}")


def _neat(factor: float) -> float:
    return float(f"{factor:.6g}")


# -- what learning may use ------------------------------------------------------------------------------------------


def fingerprint(robot: Robot) -> tuple[object, ...]:
    """What a verdict rests on: it lapses when one of these changes in the profile."""
    encoder, drive = robot.encoder, robot.drive
    counted = None if encoder is None else (encoder.counts_per_turn, encoder.on)
    scales = robot.link.scale.get("wheel_rpm"), robot.link.scale.get("setpoint")
    return counted, () if drive is None else drive.gears, scales


def with_believed_speeds(robot: Robot, shots: Sequence[Shot], settled: bool = True) -> tuple[Shot, ...]:
    """The shots as learning may use them: without a measured speed where the encoder's scale speaks against it.

    Not ``settled``: without any. Else a speed counts unless it is off by half or double, or unless it and its
    neighbours in time are all off by the same factor, which no wheel does by chance.
    """
    if not settled:
        return tuple(shot if shot.speed is None else replace(shot, speed=None) for shot in shots)
    doubted = {shot.uid for shot in shots_off(robot, shots)}
    return tuple(replace(shot, speed=None) if shot.uid in doubted else shot for shot in shots)


def shots_off(robot: Robot, shots: Sequence[Shot]) -> tuple[Shot, ...]:
    """The shots whose measured speed is off by the encoder's scale, as far as their setpoints tell."""
    if robot.setpoint.scale.follows_voltage:
        return ()
    measured = in_order(shot for shot in shots if shot.speed and shot.setpoint > 0)
    offs = [math.log(shot.speed / shot.setpoint) for shot in measured if shot.speed]
    found = []
    for place, (shot, off) in enumerate(zip(measured, offs, strict=True)):
        begin = min(max(0, place - _AROUND // 2), max(0, len(offs) - _AROUND))
        around = sorted(offs[begin : begin + _AROUND])
        middle = around[len(around) // 2]
        if abs(off) > _CERTAIN or (abs(middle) > _NEAR["setpoint"] and abs(off - middle) <= _SAME):
            found.append(shot)
    return tuple(found)


def from_shots(robot: Robot, shots: Sequence[Shot]) -> Verdict | None:
    """Verdict from the latest shots whose measured speeds speak against the scale; None where none does."""
    off = shots_off(robot, [shot for shot in shots if shot.counts])[-_AROUND:]
    latest = in_order(shot for shot in shots if shot.speed and shot.counts)[-1:]
    if not off or latest[0].uid not in {shot.uid for shot in off}:
        return None
    ratios = sorted(shot.speed / shot.setpoint for shot in off if shot.speed)
    return _judged(robot, "setpoint", ratios[len(ratios) // 2], "counts" if robot.encoder is not None else "rpm")
