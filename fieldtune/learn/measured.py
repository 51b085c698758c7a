"""What was measured beside shots, as evidence: exit speed and angle from a clip, the floor's friction.

One door: each measurement is a normal value of a combination of the same unknowns that shots inform.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING, Literal, Protocol

import numpy as np

from fieldtune.errors import InputError
from fieldtune.frozen import frozen
from fieldtune.learn.log_posterior import Rows
from fieldtune.person_units import amount, converted
from fieldtune.robot.exit_speed import drive_quantity, model_log_speed

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray
    from fieldtune.learn.parameters import Layout
    from fieldtune.records import Epoch, Mark
    from fieldtune.robot.model import Robot

_LEAST_SD = 1e-3


class Log(Protocol):
    """A log that keeps measurements."""

    def measure(self, words: str) -> str:
        """Keeps one line; returns its uid."""
        ...


@frozen
class Evidence:
    """One measurement with its standard deviation: ``exit_speed`` (m/s, at a ``setpoint``), ``exit_angle`` (deg above
    the horizontal) or ``friction`` (coefficient). ``epoch``: the battery period it was made in."""

    of: Literal["exit_speed", "exit_angle", "friction"]
    value: float
    sd: float
    setpoint: float | None = None
    battery_v: float | None = None
    epoch: int = 1
    hood_deg: float | None = None
    """Where the hood stood; the profile's exit angle where None."""

    @property
    def words(self) -> str:
        """As one reads it: ``exit angle 51.2 ± 0.4 deg``."""
        name, unit = {
            "exit_speed": ("exit speed", "m/s"), "exit_angle": ("exit angle", "deg"), "friction": ("friction", ""),
        }[self.of]  # fmt: skip
        return f"{name} {converted(self.value, unit):.3g} ± {amount(self.sd, unit, figures=2)}".rstrip()


def written(evidence: Evidence) -> str:
    """As the log keeps it: one short line."""
    import json

    known = {key: value for key, value in asdict(evidence).items() if value is not None and key != "epoch"}
    return json.dumps({key: round(v, 6) if isinstance(v, float) else v for key, v in known.items()})


def keep(robot: Robot, log: Log, evidence: Evidence) -> Evidence:
    """Writes a measurement into the log; when this returns, it is on the disk. Raises ``InputError``."""
    log.measure(written(check(robot, evidence)))
    return evidence


def kept(marks: Sequence[Mark], epochs: Sequence[Epoch]) -> tuple[Evidence, ...]:
    """The measurements that the log's marks hold and that were not undone."""
    numbers, last = {epoch.uid: epoch.epoch for epoch in epochs}, dict[str, str]()
    for mark in sorted(marks, key=lambda mark: (mark.time, mark.uid)):
        if mark.kind in ("undo", "redo"):
            last[mark.subject] = mark.kind
    found = []
    for mark in marks:
        if mark.kind == "measure" and last.get(mark.uid) != "undo" and mark.subject in numbers:
            import json

            try:
                found.append(Evidence(**json.loads(mark.reason or "{}"), epoch=numbers[mark.subject]))
            except (ValueError, TypeError):  # another version's
                continue
    return tuple(found)


def check(robot: Robot, evidence: Evidence) -> Evidence:
    """The measurement where it can be one of this robot; raises ``InputError``."""
    value, sd = evidence.value, evidence.sd
    if not (math.isfinite(value) and math.isfinite(sd) and sd > 0):
        raise InputError(f"a measurement of {value:g} with a spread of {sd:g}: expected two numbers above zero")
    limits = {"exit_speed": (0.05, 200.0), "exit_angle": (-30.0, 89.0), "friction": (0.01, 2.0)}
    low, high = limits[evidence.of]
    if not low <= value <= high:
        raise InputError(f"{evidence.of.replace('_', ' ')} {value:g}: expected {low:g} to {high:g}")
    if evidence.of == "friction" and robot.targets[0].resistance != "friction":
        raise InputError(f"{robot.name}'s element flies to its target: the floor's friction doesn't matter")
    if evidence.of == "exit_speed":
        if evidence.setpoint is None:
            raise InputError("a measured exit speed needs the setpoint that it was thrown at")
        if not math.isfinite(float(model_log_speed(robot, drive_quantity(robot, evidence.setpoint)))):
            raise InputError(f"at {evidence.setpoint:g} {robot.setpoint.unit} {robot.name} throws nothing")
    return evidence


def measured_rows(robot: Robot, found: Sequence[Evidence], epochs: Sequence[int], layout: Layout) -> list[Rows]:
    """The measurements as rows of the likelihood; none without any. ``epochs``: number of each epoch by its place."""
    if not found:
        return []
    lower = np.zeros((len(found), layout.feature_count))
    loads, extra, at = np.zeros((len(found), 2)), np.zeros(len(found)), layout.shape_features_at
    for row, one in enumerate(found):
        if one.of == "exit_speed":
            lower[row], extra[row] = _speed(robot, one, epochs.index(one.epoch), layout)
            loads[row, 0] = 1.0
            continue
        stood = robot.exit_angle_deg if one.hood_deg is None else one.hood_deg
        place, true, sd = 0, math.radians(one.value - stood), math.radians(one.sd)
        if one.of == "friction":
            place, true, sd = 1, math.log(one.value / robot.floor.friction), one.sd / one.value
        else:
            loads[row, 1] = 1.0
        lower[row, at + place], lower[row, -1] = 1.0, layout.origin[place] - true
        extra[row] = max(sd, _LEAST_SD) ** 2
    n = len(found)
    rows = Rows(
        lower=lower,
        upper=None,
        open_low=np.zeros(n, dtype=bool),
        open_high=np.zeros(n, dtype=bool),
        loads=loads,
        extra=extra,
        log_wild=np.full(n, -np.inf),
        log_unit=None,
        error=0.0,
        count=np.ones(n),
        source=np.full(n, -1, dtype=np.intp),  # no shot's
    )
    return [rows]


def _speed(robot: Robot, one: Evidence, place: int, layout: Layout) -> tuple[FloatArray, float]:
    """Measured less believed log exit speed over the features, and its variance beside the scatter of a shot."""
    quantity = drive_quantity(robot, np.array([one.setpoint]), one.battery_v)
    row = np.zeros(layout.feature_count)
    row[: layout.gains] = -layout.prior.basis.at(quantity)[0]
    row[layout.tracking_at] = -1.0
    row[layout.offset_features] = -layout.members[place]
    row[-1] = math.log(one.value) - float(model_log_speed(robot, quantity)[0])
    return row, max(one.sd / one.value, _LEAST_SD) ** 2 + layout.prior.jitter**2
