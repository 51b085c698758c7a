"""Confirmed shots as arrays, with what does not depend on the unknowns worked out once."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.robot.exit_speed import drive_quantity, model_log_speed

if TYPE_CHECKING:
    from fieldtune.aim.draws import GainBasis
    from fieldtune.arrays import BoolArray, FloatArray, IntArray
    from fieldtune.records import Shot
    from fieldtune.robot.model import Robot, Target

_RESULTS = (None, "in", "short", "long", "left", "right")
# A measured speed this far (natural log) from the commanded one is a reading error, not a wheel.
_BELIEVABLE = 0.7


@dataclass(frozen=True, slots=True)
class ShotTable:
    """n shots that count, in order.

    ``reading`` (n,) is the distance as read, ``result`` codes into in/short/long/left/right, ``miss`` and ``side`` are
    nan where not measured. ``model`` (n,) is the model's log exit speed at ``quantity``, the measured speed where there
    is one; ``tracked`` says that it is the commanded one. ``pairs`` holds log exit speeds of measured over commanded.
    ``before_last`` (n,): how many shots before the last of its epoch, counted or not.
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

    def __len__(self) -> int:
        return len(self.shots)

    def is_result(self, *names: str) -> BoolArray:
        """Which shots have one of these results (n,)."""
        return np.isin(self.result, [_RESULTS.index(name) for name in names])

    def columns(self, basis: GainBasis) -> FloatArray:
        """The gain's basis at the shots' drive quantities (n, size)."""
        return basis.at(self.quantity) if len(self) else np.zeros((0, basis.size))


def epochs_of(shots: Sequence[Shot], epoch: int) -> list[int]:
    """Epochs with shots that count, and the present one, ascending."""
    return sorted({shot.epoch for shot in shots} | {epoch})


def shot_table(robot: Robot, shots: Sequence[Shot], epoch: int) -> ShotTable:
    """Table of the shots that count and that the model can place: finite distance, a setpoint that throws."""
    # By time, not by number: a merged log lists another laptop's shots behind our own, and drift asks what came last.
    in_time = sorted(shots, key=lambda shot: shot.time)
    usable = [shot for shot in in_time if shot.counts and _is_usable(shot)]
    throws = np.isfinite(model_log_speed(robot, _quantities(robot, usable)))
    usable = [shot for shot, leaves in zip(usable, throws, strict=True) if leaves]
    places = {number: place for place, number in enumerate(epochs_of(usable, epoch))}
    names = {target.name: place for place, target in enumerate(robot.targets)}
    commanded = _quantities(robot, usable)
    measured = np.array([_number(shot.speed) for shot in usable])
    model = model_log_speed(robot, commanded)
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
    )


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
    for volt in np.unique(volts[np.isfinite(volts)]):
        at = volts == volt
        quantity[at] = drive_quantity(robot, setpoints[at], float(volt))
    unknown = ~np.isfinite(volts)
    quantity[unknown] = drive_quantity(robot, setpoints[unknown])
    return quantity


def _is_usable(shot: Shot) -> bool:
    return math.isfinite(shot.distance_m) and shot.distance_m > 0 and math.isfinite(shot.setpoint) and shot.setpoint > 0


def _number(value: float | None) -> float:
    return math.nan if value is None else float(value)
