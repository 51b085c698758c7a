"""Confirmed shots as arrays, with what does not depend on the unknowns worked out once."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.arrays import distinct
from fieldtune.frozen import frozen
from fieldtune.records import in_order
from fieldtune.robot.exit_speed import drive_quantity, model_log_speed

if TYPE_CHECKING:
    from fieldtune.aim.draws import GainBasis
    from fieldtune.arrays import BoolArray, FloatArray, IntArray
    from fieldtune.learn.measured import Evidence
    from fieldtune.records import Shot
    from fieldtune.robot.model import Robot, Target

_RESULTS = (None, "in", "short", "long", "left", "right")
# A measured speed this far (natural log) from the commanded one is a reading error, not a wheel.
_BELIEVABLE = 0.7


@frozen
class ShotTable:
    """n shots that count, in order.

    ``reading`` (n,) is the distance as read, ``result`` codes into in/short/long/left/right, ``miss`` and ``side`` are
    nan where not measured. ``model`` (n,) is the model's log exit speed at ``quantity``, the measured speed where there
    is one; ``tracked`` says that it is the commanded one. ``pairs`` holds log exit speeds of measured over commanded.
    ``before_last`` (n,): how many shots before the last of its epoch, counted or not. ``batch`` (n,): number of the lot
    of elements among ``batches``, -1 without a label; where all shots are of one lot there is nothing to tell apart.
    ``hood`` (n,): exit angle (degrees) at which the hood stood; nan without one.
    """

    shots: tuple[Shot, ...]
    targets: tuple[Target, ...]
    target: IntArray
    reading: FloatArray
    result: IntArray
    miss: FloatArray
    side: FloatArray
    epoch: IntArray
    quantity: FloatArray
    model: FloatArray
    tracked: BoolArray
    pairs: FloatArray
    before_last: FloatArray
    batch: IntArray
    hood: FloatArray
    batches: tuple[str, ...]
    epochs: tuple[int, ...]
    beside: tuple[Evidence, ...]

    def __len__(self) -> int:
        return len(self.shots)

    def is_result(self, *names: str) -> BoolArray:
        """Which shots have one of these results (n,)."""
        return np.isin(self.result, [_RESULTS.index(name) for name in names])

    @property
    def tells_range(self) -> BoolArray:
        """Which shots say something about the range (n,)."""
        return self.is_result("in", "short", "long") | np.isfinite(self.miss)

    def views(self, which: BoolArray | None = None) -> list[IntArray]:
        """Numbers of shots (those ``which`` (n,), all where None) that see one target at one exit angle."""
        kinds = list(zip(self.target.tolist(), np.nan_to_num(self.hood, nan=-1e3).tolist(), strict=True))
        places: dict[tuple[int, float], list[int]] = {kind: [] for kind in sorted(set(kinds))}
        for number, kind in enumerate(kinds):
            if which is None or which[number]:
                places[kind].append(number)
        return [np.array(numbers, dtype=np.intp) for numbers in places.values() if numbers]

    def held(self, robot: Robot, index: IntArray) -> Robot:
        """The robot with its hood as in those shots of one view."""
        return robot.with_exit_angle(float(self.hood[index[0]]))

    def columns(self, basis: GainBasis) -> FloatArray:
        """The gain's basis at the shots' drive quantities (n, size)."""
        return basis.at(self.quantity) if len(self) else np.zeros((0, basis.size))


def shot_table(robot: Robot, shots: Sequence[Shot], epoch: int, beside: Sequence[Evidence] = ()) -> ShotTable:
    """Table of the shots that count and that the model can place, with what was measured ``beside`` them."""
    in_time = in_order(shots)
    usable = _thinned(_of_few_epochs([shot for shot in in_time if shot.counts and _is_usable(shot)], epoch))
    commanded = _quantities(robot, usable)
    model = model_log_speed(robot, commanded)
    throws = np.isfinite(model)
    usable = [shot for shot, leaves in zip(usable, throws, strict=True) if leaves]
    commanded, model = commanded[throws], model[throws]
    epochs = sorted({*(s.epoch for s in usable), epoch, *(one.epoch for one in beside if one.of == "exit_speed")})
    places = {number: place for place, number in enumerate(epochs)}
    names = {target.name: place for place, target in enumerate(robot.targets)}
    labels = {shot.batch for shot in usable}
    batches = tuple(sorted(label for label in labels if label is not None)) if len(labels) > 1 else ()
    measured = np.array([_number(shot.speed) for shot in usable])
    measured_model = model_log_speed(robot, np.where(measured > 0, measured, 1.0))
    believed = (measured > 0) & np.isfinite(measured_model) & (np.abs(measured_model - model) < _BELIEVABLE)
    quantity = np.where(believed, measured, commanded)
    quantity_model = np.where(believed, measured_model, model)
    return ShotTable(
        shots=tuple(usable),
        targets=robot.targets,
        target=np.array([names.get(shot.target, 0) for shot in usable], dtype=np.intp),
        reading=np.array([shot.distance_m for shot in usable], dtype=float),
        result=np.array([_RESULTS.index(shot.result) for shot in usable], dtype=np.intp),
        miss=np.array([_number(shot.miss_m) for shot in usable]),
        side=np.array([_number(shot.side_m) for shot in usable]),
        epoch=np.array([places[shot.epoch] for shot in usable], dtype=np.intp),
        quantity=quantity,
        model=quantity_model,
        tracked=~believed,
        pairs=(measured_model - model)[believed],
        before_last=_before_last(in_time, usable),
        batch=np.array([batches.index(s.batch) if s.batch in batches else -1 for s in usable], dtype=np.intp),
        hood=np.array([_hood_angle(robot, shot) for shot in usable], dtype=float),
        batches=batches,
        epochs=tuple(epochs),
        beside=tuple(beside),
    )


# No robot is exactly as the model has it. Beyond about two thousand shots the evidence for what the model leaves out
# outweighs the profile, and angle or drag may be pulled far from anything that can be; a thousand tell setpoints to
# a fraction of a step. The newest all stay, so that drift is seen.
_MOST_SHOTS, _NEWEST_SHOTS = 1000, 500


# Each battery period has a level of its own, and the time to find them grows faster than their number squared. The
# newest are kept; of the earlier ones those with the most shots tell most of angle and drag.
_NEWEST_EPOCHS, _FULLEST_EPOCHS = 10, 6


def _of_few_epochs(usable: list[Shot], present: int) -> list[Shot]:
    """The shots of the present epoch, of the newest ones, and of those before them that have the most."""
    counts = Counter(shot.epoch for shot in usable)
    newest = list(dict.fromkeys([present, *(shot.epoch for shot in reversed(usable))]))[:_NEWEST_EPOCHS]
    earlier = sorted(counts.keys() - set(newest), key=lambda epoch: (-counts[epoch], -epoch))
    kept = {*newest, *earlier[:_FULLEST_EPOCHS]}
    return [shot for shot in usable if shot.epoch in kept]


def _thinned(usable: list[Shot]) -> list[Shot]:
    """All shots while they are few, else the newest and some evenly spaced through the earlier ones."""
    if len(usable) <= _MOST_SHOTS:
        return usable
    earlier = usable[:-_NEWEST_SHOTS]
    chosen = np.linspace(0, len(earlier) - 1, _MOST_SHOTS - _NEWEST_SHOTS).round().astype(int)
    return [*(earlier[place] for place in chosen), *usable[-_NEWEST_SHOTS:]]


def _before_last(fired: Sequence[Shot], usable: Sequence[Shot]) -> FloatArray:
    """Shots of the same epoch after each of the usable ones (n,), with those that teach nothing: they wear too."""
    after: dict[str, int] = {}
    epochs: dict[int, int] = {}
    for shot in reversed(fired):
        after[shot.uid] = epochs.get(shot.epoch, 0)
        epochs[shot.epoch] = after[shot.uid] + 1
    return np.array([after[shot.uid] for shot in usable], dtype=float)


def _quantities(robot: Robot, shots: Sequence[Shot]) -> FloatArray:
    """Commanded drive quantities (n,): one call a battery voltage."""
    quantity = np.zeros(len(shots))
    setpoints = np.array([shot.setpoint for shot in shots], dtype=float)
    if not robot.setpoint.scale.follows_voltage:
        return drive_quantity(robot, setpoints)
    volts = np.array([_number(shot.battery_v) for shot in shots])
    volts[~(volts > 0)] = np.nan
    for volt in distinct(volts[np.isfinite(volts)]):
        at = volts == volt
        quantity[at] = drive_quantity(robot, setpoints[at], float(volt))
    unknown = ~np.isfinite(volts)
    quantity[unknown] = drive_quantity(robot, setpoints[unknown])
    return quantity


# Angles that a line reads are never twice the same; shots within this step (degrees) count as of one angle.
_HOOD_STEP = 0.5


def _hood_angle(robot: Robot, shot: Shot) -> float:
    """Exit angle (degrees) at which the hood stood, the profile's where nobody knows; nan without a hood."""
    if robot.hood is None:
        return math.nan
    step = min(robot.hood.step, _HOOD_STEP)
    told = robot.exit_angle_deg if shot.hood_deg is None else shot.hood_deg
    return min(max(round(told / step) * step, robot.hood.low), robot.hood.high)


def _is_usable(shot: Shot) -> bool:
    return math.isfinite(shot.distance_m) and shot.distance_m > 0 and math.isfinite(shot.setpoint) and shot.setpoint > 0


def _number(value: float | None) -> float:
    return math.nan if value is None else float(value)
