"""What the aim room answers with: frozen records, units in the names, ``None`` where a thing is not known."""

from __future__ import annotations

from dataclasses import field
from typing import TYPE_CHECKING

from fieldtune.frozen import frozen

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray


WORTH_SAYING = 0.01
"""Below this hit probability a setpoint outside of what works is no recommendation."""


@frozen
class SetpointChoice:
    """Recommended setpoint and the range within reach of its hit probability; ``unit`` is rpm, % or mm."""

    value: float | None
    unit: str
    low: float | None
    high: float | None


@frozen
class Sensitivity:
    """Change of the miss (metres, positive long or high) for one small change of each cause."""

    per_step_m: float | None
    per_degree_m: float | None
    per_volt_m: float | None
    per_cm_m: float | None
    per_10_degC_m: float | None


@frozen
class Aim:
    """The recommendation at one distance.

    ``hit_probability_90`` is the 90 % interval of the hit probability itself. ``ceiling`` is the highest setpoint the
    battery can hold now. ``nearest`` is the closest distance that works when ``reachable`` is False.
    ``other_setpoint`` names a second setpoint that scores too, where there is one. ``turn_deg``: how far to turn,
    positive right; None where there is no need that is known. ``exit_angle_setpoint_deg``: what to set the hood to;
    None without one.
    """

    robot: str
    distance_m: float
    target: str | None
    setpoint: SetpointChoice
    hit_probability: float | None
    hit_probability_90: tuple[float, float] | None
    exit_speed_mps: float | None
    exit_angle_deg: float | None
    entry_angle_deg: float | None
    apex_m: float | None
    time_s: float | None
    reachable: bool
    ceiling: float | None
    shots_used: int
    epoch: int
    cautions: tuple[str, ...] = ()
    sensitivity: Sensitivity | None = None
    nearest_m: float | None = None
    other_setpoint: float | None = None
    battery_v: float | None = None
    turn_deg: float | None = None
    exit_angle_setpoint_deg: float | None = None


@frozen
class Standing:
    """A standing distance for a fixed setpoint, with the stretch ``low_m``..``high_m`` that scores nearly as well."""

    distance_m: float
    low_m: float
    high_m: float
    hit_probability: float
    forgives_most: bool = False


@frozen
class NextShot:
    """The shot worth taking next: ``gain`` is the expected rise of the mean hit probability over the working range.

    ``exit_angle_setpoint_deg``: what to set the hood to; None without one.
    """

    distance_m: float
    setpoint: float
    gain: float
    why: str
    exit_angle_setpoint_deg: float | None = None


@frozen
class TableRow:
    """One row of a distance-to-setpoint table; setpoints ``None`` where the distance can't be reached."""

    distance_m: float
    setpoint: float | None
    low: float | None
    high: float | None
    hit_probability: float | None


@frozen
class ArcPicture:
    """The predicted path to draw: shapes (n,), metres, in the vertical plane of the shot.

    ``low_y``/``high_y`` bound 90 % of paths at each ``x``. For a slide ``y`` is the element's centre height
    (constant) and ``speed`` tells the story. ``x`` starts at the exit (0) and ends at the target or where it lands.
    """

    x: FloatArray
    y: FloatArray
    low_y: FloatArray
    high_y: FloatArray
    speed: FloatArray
    end_low_m: float | None
    end_high_m: float | None


@frozen
class Fact:
    """One thing learned, in words and numbers: e.g. name ``grip``, value 0.81, sd 0.02, unit ``""``.

    ``guess``: shots have hardly spoken yet, and it is still what the profile says.
    """

    name: str
    words: str
    value: float
    sd: float
    unit: str = ""
    guess: bool = False

    @property
    def told(self) -> str:
        """The words, with what they rest on where that isn't the shots."""
        return f"{self.words} (hardly learned yet)" if self.guess else self.words


@frozen
class Residual:
    """How far a counted shot fell from what is now believed, metres along the range; ``None`` if only in/short/long."""

    shot: int
    distance_m: float
    setpoint: float
    miss_m: float | None
    expected_miss_m: float
    surprise: float
    """Probability, under what is believed, of an outcome at least as odd as this one (small = surprising)."""


@frozen
class Drift:
    """Whether recent shots stop agreeing with the rest: words, and the p-value behind them."""

    drifting: bool
    words: str
    p_value: float | None
    since_shot: int | None = None


@frozen
class Learned:
    """All that shots have taught, ready to be shown."""

    shots_used: int
    epoch: int
    facts: tuple[Fact, ...] = ()
    residuals: tuple[Residual, ...] = ()
    drift: Drift = field(default_factory=lambda: Drift(False, "too few shots to tell", None))
