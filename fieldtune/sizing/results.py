"""What sizing answers with: frozen records, units in the names, ``None`` where a thing is not known."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from fieldtune.plain import as_json

TORQUE_MARGIN = 2.0
"""Stall torque over the torque needed that lets a motor run near its best power: half of stall (common practice)."""


@dataclass(frozen=True, slots=True)
class Supply:
    """Voltages at rest to calculate with, and the resistance of battery and wiring; volts, ohms."""

    low_v: float
    usual_v: float
    resistance: float


@dataclass(frozen=True, slots=True)
class Needed:
    """What the nearest and the farthest distance ask for, in rpm or mm as the owner's name says."""

    near: float | None
    far: float | None


@dataclass(frozen=True, slots=True)
class GearChoice:
    """A gear train for a wheel. Times are at a half-charged battery, to the farthest spot's setpoint.

    Ceiling, and the torque of the standing wheel, at a low one. ``best``: does the job and recovers quickest.
    ``on_front``: no other choice is better in one of reach, spin-up and recovery without being worse in another.
    """

    gears: tuple[tuple[int, int], ...]
    reduction: float
    stall_torque_nm: float | None
    ceiling_rpm_low: float | None
    spin_up_s: float | None
    recovery_s: float | None
    farthest_m: float | None
    best: bool = False
    on_front: bool = False
    present: bool = False


@dataclass(frozen=True, slots=True)
class CockingChoice:
    """A gear train for cocking. Torque margin and longest draw at a low battery, time at a half-charged one."""

    gears: tuple[tuple[int, int], ...]
    reduction: float
    torque_margin: float | None
    longest_draw_mm: float | None
    cock_time_s: float | None
    farthest_m: float | None
    best: bool = False
    on_front: bool = False
    present: bool = False


@dataclass(frozen=True, slots=True)
class SpringChoice:
    """A spring in place of the present one, all else as it is, drawn as far as the drive can at a low battery."""

    rate_share: float
    spring_rate_n_per_mm: float
    draw_mm: float | None
    force_max_n: float | None
    spring_energy_j: float | None
    exit_speed_max_mps: float | None
    farthest_m: float | None
    torque_margin: float | None
    cock_time_s: float | None
    stop_energy_j: float | None
    best: bool = False
    on_front: bool = False
    present: bool = False


@dataclass(frozen=True, slots=True)
class FlywheelSize:
    """Figures of a wheel launcher.

    Ceilings: full and low (20 %) battery. Times, drop and currents: half-charged battery, at ``design_rpm`` (what the
    farthest distance needs). ``headroom_low``: share by which the low battery's ceiling lies above that need.
    Rim speed and stress, and the energy stored in the wheels: where full power on a full battery takes them.
    ``shot_energy_j``: what one shot takes out of the wheels.
    """

    kind: str
    reduction: float | None
    no_load_rpm: float | None
    ceiling_rpm_full: float | None
    ceiling_rpm_low: float | None
    needed_rpm: Needed
    near_m: float | None
    far_m: float | None
    farthest_m: float | None
    headroom_low: float | None
    design_rpm: float | None
    spin_up_s: float | None
    drop_rpm: float | None
    recovery_s: float | None
    shots_per_minute: float | None
    peak_current_a: float | None
    hold_current_a: float | None
    rim_speed_mps: float | None
    rim_stress_mpa: float | None
    element_energy_j: float | None
    shot_energy_j: float | None
    stored_energy_j: float | None
    choices: tuple[GearChoice, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def rate_per_minute(self) -> float | None:
        """Shots a minute, as the drive allows."""
        return self.shots_per_minute

    @property
    def taken_energy_j(self) -> float | None:
        """Energy that one shot takes, J."""
        return self.shot_energy_j

    @property
    def lost_energy_j(self) -> float | None:
        """What of it goes into slip between wheel and element, J."""
        known = self.shot_energy_j is not None and self.element_energy_j is not None
        return self.shot_energy_j - self.element_energy_j if known else None  # type: ignore[operator]

    def as_json(self) -> dict[str, Any]:
        """Plain dict for ``--json``."""
        return dict(as_json(self))


@dataclass(frozen=True, slots=True)
class CockingSize:
    """Figures of a striker or an arm.

    Forces, energies and speeds: at the longest draw. Torques: needed at the worst point of that stroke
    (``worst_draw_mm``), given by the drive standing still at a low (20 %) battery; ``holding_torque_nm`` at full draw.
    ``farthest_m``: with the draw that a low battery can cock. Times: half-charged battery, empty way back included in
    the cycle. ``stop_energy_j``: left in the mechanism after the element has gone, each cycle.
    """

    kind: str
    reduction: float | None
    force_max_n: float | None
    spring_energy_j: float | None
    spring_stress_mpa: float | None
    spring_safety: float | None
    exit_speed_max_mps: float | None
    element_energy_j: float | None
    needed_mm: Needed
    near_m: float | None
    far_m: float | None
    farthest_m: float | None
    ceiling_mm_full: float | None
    ceiling_mm_low: float | None
    crank_torque_max_nm: float | None
    worst_draw_mm: float | None
    holding_torque_nm: float | None
    drive_torque_nm: float | None
    torque_margin: float | None
    cock_time_s: float | None
    cycles_per_minute: float | None
    peak_current_a: float | None
    stop_energy_j: float | None
    cycles: int | None = None
    stop_energy_total_j: float | None = None
    choices: tuple[CockingChoice, ...] = ()
    springs: tuple[SpringChoice, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def rate_per_minute(self) -> float | None:
        """Shots a minute, as the drive allows."""
        return self.cycles_per_minute

    @property
    def taken_energy_j(self) -> float | None:
        """Energy that one shot takes, J."""
        return self.spring_energy_j

    @property
    def lost_energy_j(self) -> float | None:
        """What of it goes into the stop, J."""
        return self.stop_energy_j

    def as_json(self) -> dict[str, Any]:
        """Plain dict for ``--json``."""
        return dict(as_json(self))


Size = FlywheelSize | CockingSize
