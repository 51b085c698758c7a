"""Every figure that is shown to people, a row each: label, unit, decimals, meaning. Commands, screens, sheet read it.

A row's key is the figure's JSON key; ``needed_rpm.far`` is ``far`` within ``needed_rpm``. A new figure is a field of a
result and a row here.
"""

from __future__ import annotations

import math

from fieldtune.frozen import frozen
from fieldtune.person_units import amount

UNKNOWN = "unknown"


@frozen
class Figure:
    """How a figure is written. ``unit`` "%": the value is a share of 1.

    ``most``: from it on the figure is said as "over" that much. ``signed``: with its sign. ``on_sheet``: also on the
    pit sheet, where there is little room.
    """

    key: str
    label: str
    unit: str
    digits: int
    meaning: str
    on_sheet: bool = False
    signed: bool = False
    most: float | None = None

    @property
    def title(self) -> str:
        """The label as the first word of a line."""
        return self.label[:1].upper() + self.label[1:]

    def said(self, value: float | None) -> str:
        """The value with its unit; a share is never rounded to a certainty that isn't there."""
        if value is None or not math.isfinite(value):
            return UNKNOWN
        if self.most is not None and value >= self.most:
            return f"over {self._number(self.most)}"
        shown = 100 * value if self.unit == "%" else value
        if self.unit == "%" and not self.signed and 99.5 <= shown < 100:
            return "over 99 %"
        return self._number(shown)

    def _number(self, shown: float) -> str:
        return amount(shown, self.unit, self.digits, signed=self.signed).rstrip()


_ROWS = (
    Figure("reduction", "gear reduction", ": 1", 2, "motor turns per turn of the wheel or the cocking shaft"),
    Figure("no_load_rpm", "wheel without load", "rpm", 0, "at the nominal voltage, nothing to drive but itself"),
    Figure("ceiling_rpm_full", "ceiling, full battery", "rpm", 0, "highest speed a full battery can hold", True),
    Figure("ceiling_rpm_low", "ceiling, low battery", "rpm", 0, "highest speed it can hold with a fifth left", True),
    Figure("ceiling_mm_full", "ceiling, full battery", "mm", 0, "longest draw a full battery can pull", True),
    Figure("ceiling_mm_low", "ceiling, low battery", "mm", 0, "longest draw it can pull with a fifth left", True),
    Figure("near_m", "near distance", "m", 2, "nearest spot, or near end of the working range"),
    Figure("needed_rpm.near", "needed, near", "rpm", 0, "speed that scores from the near distance"),
    Figure("needed_mm.near", "needed, near", "mm", 0, "draw that scores from the near distance"),
    Figure("far_m", "far distance", "m", 2, "farthest spot, or far end of the working range", True),
    Figure("needed_rpm.far", "needed, far", "rpm", 0, "speed that scores from the far distance", True),
    Figure("needed_mm.far", "needed, far", "mm", 0, "draw that scores from the far distance", True),
    Figure("headroom_low", "headroom, low battery", "%", 0, "ceiling above what the far distance needs", True, True),
    Figure("farthest_m", "farthest, low battery", "m", 2, "farthest distance that a low battery scores from"),
    Figure("spin_up_s", "spin-up", "s", 2, "from standing to the speed for the far distance", True),
    Figure("drop_rpm", "drop", "rpm", 0, "speed that a shot takes out of the wheels", True),
    Figure("recovery_s", "recovery", "s", 3, "from a shot until the speed is back", True),
    Figure(
        "shots_per_minute", "shots the drive allows", "/min", 0, "feeding may allow fewer", most=120.0
    ),  # quicker than that the drive is not what limits (common practice, no source)
    Figure("crank_torque_max_nm", "torque needed to cock", "N m", 2, "at the hardest point of the stroke"),
    Figure("worst_draw_mm", "hardest point", "mm", 0, "draw at which the most torque is needed"),
    Figure("holding_torque_nm", "torque to hold it drawn", "N m", 2, "at the longest draw"),
    Figure("drive_torque_nm", "torque the drive gives", "N m", 2, "standing still, with a low battery"),
    Figure("torque_margin", "torque, low battery", "× need", 2, "torque given over torque needed", True),
    Figure("cock_time_s", "time to cock", "s", 2, "over the whole stroke, half-charged battery", True),
    Figure("cycles_per_minute", "cycles the drive allows", "/min", 0, "with the empty way back", True),
    Figure("peak_current_a", "peak current", "A", 1, "at the start of spin-up, or at the hardest point", True),
    Figure("hold_current_a", "current while holding", "A", 1, "at the speed for the far distance", True),
    Figure("exit_speed_max_mps", "highest exit speed", "m/s", 2, "of the element, at the longest draw"),
    Figure("element_energy_j", "energy of the element", "J", 2, "as it leaves"),
    Figure("shot_energy_j", "energy per shot", "J", 2, "what a shot takes out of wheels or spring"),
    Figure("stored_energy_j", "energy in the wheels", "J", 1, "at full power on a full battery"),
    Figure("rim_speed_mps", "rim speed", "m/s", 1, "at full power on a full battery", True),
    Figure("rim_stress_mpa", "rim stress", "MPa", 2, "there, as in a thin ring"),
    Figure("force_max_n", "highest spring force", "N", 0, "at the longest draw", True),
    Figure("spring_energy_j", "energy in the spring", "J", 2, "at the longest draw", True),
    Figure("spring_stress_mpa", "stress in the wire", "MPa", 0, "at the longest draw"),
    Figure("spring_safety", "wire yields at", "× stress", 2, "strength of the wire over its stress", True),
    Figure("spring_life_cycles", "wire may break after", "draws", 0, "as far as it goes; a rough figure", most=1e7),
    Figure("stop_energy_j", "energy into the stop", "J", 2, "left in the mechanism after each shot", True),
    Figure("dry_fire_energy_j", "empty, into the stop", "J", 2, "let go with no element in it"),
    Figure("cycles", "cycles so far", "", 0, "shots in the log"),
    Figure("stop_energy_total_j", "into the stop so far", "J", 0, "all cycles together"),
    Figure("hit_probability", "hit chance", "%", 0, "probability that a shot scores"),
    Figure("reach_m", "farthest, low battery", "m", 2, "farthest distance that a low battery scores from"),
    Figure("scatter_m", "scatter", "m", 3, "shot to shot along the range, at the middle distance"),
    Figure("wear_energy_j", "energy into stop or slip", "J", 2, "what a shot puts there instead of the element"),
    Figure("parts", "moving parts", "", 0, "of the drive and mechanism"),
    Figure("exit_speed_mps", "exit speed", "m/s", 2, "as the element leaves"),
    Figure("exit_angle_deg", "exit angle", "deg", 1, "above the horizontal, as the element leaves"),
    Figure("entry_angle_deg", "entry angle", "deg", 1, "below the horizontal, at the target"),
    Figure("apex_m", "highest point", "m", 2, "of the path, above the floor"),
    Figure("time_s", "time", "s", 2, "from exit to target"),
)
FIGURES = {figure.key: figure for figure in _ROWS}
"""Every figure by its key, in the order in which they are listed."""


def figures_of(result: object) -> list[tuple[Figure, float | None]]:
    """The figures that a result has, in the table's order; None where it doesn't know one."""
    found = []
    for figure in _ROWS:
        name, _, part = figure.key.partition(".")
        if hasattr(result, name):
            value = getattr(result, name)
            found.append((figure, getattr(value, part) if part else value))
    return found


_TERMS = {
    "setpoint": "what the robot program is told to hold: wheel speed, drive power, or draw",
    "readback": "what the encoder says, as against the setpoint",
    "good range": "the setpoints that still score nearly as well as the recommended one",
    "chance": "hit chance: how many of 100 shots at this setpoint from here are expected to score",
    "likely": "the hit chance lies in this range nine times out of ten; shots make it narrower",
    "90 % of shots": "nine of ten paths lie in the tinted band",
    "ceiling": "the highest setpoint that the battery can hold now",
    "battery period": "a stretch of shots under one battery and one state of the robot; each learns its own offset",
    "grip": "exit speed over the rims' speed just before the element touches them",
    "efficiency": "how much of the spring's energy goes into the element",
    "drag": "how strongly the air brakes the element, against what its surface lets expect",
    "friction": "how strongly the floor brakes a sliding element: braking force over weight",
    "exit angle": "above the horizontal, where the element leaves",
    "distance reads": "by how much the distance that is read or typed is off, always to the same side",
    "speed scatter": "how much exit speeds differ at one setpoint, one standard deviation",
    "side bias": "by how much shots leave to one side, always the same",
    "drift": "recent shots fall elsewhere than all shots before let expect: a battery, wear, or a changed robot",
    "surprising": "a shot that fell where few were expected: mis-keyed, bounced, or something changed",
    "miss": "distance from the target's centre where the element crosses its plane; long and right are positive",
    "steady error": "readback less setpoint once the wheel has settled",
    "ripple": "how much a settled wheel still wavers",
    "drop": "how much speed a shot takes out of the wheel",
    "recovery": "from a shot until the wheel is back at its setpoint",
    "what a shot teaches": "points of hit chance that one more shot there is expected to add, over all spots",
    "epoch": "as battery period",
    "resistance": "of battery and wiring: how far its voltage falls for each ampere",
    "at rest": "the battery's voltage with nothing running, which tells its charge",
    "spot": "a named place on the field from which one shoots",
    "counts a turn": "how many steps the encoder counts while its own shaft turns once, after x4 decoding",
}


def meanings() -> tuple[tuple[str, str], ...]:
    """Everything that stands on screens with a name, and what it means."""
    found = dict(_TERMS)
    for figure in _ROWS:
        before = found.get(figure.label)
        if before is None:
            found[figure.label] = figure.meaning
        elif figure.label not in _TERMS and figure.meaning not in before:
            found[figure.label] = f"{before}; or {figure.meaning}"  # a wheel's and a spring's
    return tuple(found.items())
