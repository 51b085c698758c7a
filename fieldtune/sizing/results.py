"""What sizing answers with: frozen records, units in the names, ``None`` where a thing is not known."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, ClassVar

from fieldtune.frozen import frozen
from fieldtune.person_units import converted, digits_of, unit
from fieldtune.records import as_json

Table = tuple[list[str], list[list[str]]]
"""Head and rows."""

TORQUE_MARGIN = 2.0
"""Stall torque over the torque needed that lets a motor run near its best power: half of stall (common practice)."""


@frozen
class Supply:
    """Voltages at rest to calculate with, and the resistance of battery and wiring; volts, ohms."""

    low_v: float
    usual_v: float
    resistance: float


@frozen
class Needed:
    """What the nearest and the farthest distance ask for, in rpm or mm as the owner's name says."""

    near: float | None
    far: float | None


@frozen
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

    HEAD: ClassVar[list[str]] = [
        "gears",
        "reduction",
        "torque N m",
        "ceiling rpm",
        "spin-up s",
        "recovery s",
        "farthest m",
        "",
    ]

    @property
    def cells(self) -> list[str]:
        """One row of a table under ``HEAD``."""
        return [
            gears_words(self.gears),
            f"{self.reduction:.2f}",
            _plain(self.stall_torque_nm, 2, "N m"),
            _plain(self.ceiling_rpm_low),
            _plain(self.spin_up_s, 2),
            _plain(self.recovery_s, 3),
            _plain(self.farthest_m, 1, "m"),
            _marks(self.best, self.present),
        ]


@frozen
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

    HEAD: ClassVar[list[str]] = ["gears", "reduction", "margin", "draw mm", "to cock s", "farthest m", ""]

    @property
    def cells(self) -> list[str]:
        """One row of a table under ``HEAD``."""
        return [
            gears_words(self.gears),
            f"{self.reduction:.2f}",
            _plain(self.torque_margin, 2),
            _plain(self.longest_draw_mm),
            _plain(self.cock_time_s, 2),
            _plain(self.farthest_m, 1, "m"),
            _marks(self.best, self.present),
        ]


@frozen
class SpringChoice:
    """A spring in place of the present one, all else as it is, drawn as far as the drive can at a low battery.

    ``step_m``: how far one step of the setpoint moves the landing at the nearest spot. ``strained``: its wire stands
    too little at that draw, or not for long.
    """

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
    step_m: float | None = None
    strained: bool = False
    best: bool = False
    on_front: bool = False
    present: bool = False

    HEAD: ClassVar[list[str]] = [
        "spring N/mm",
        "draw mm",
        "force N",
        "exit m/s",
        "farthest m",
        "margin",
        "stop J",
        "step cm",
        "",
    ]

    @property
    def cells(self) -> list[str]:
        """One row of a table under ``HEAD``."""
        return [
            f"{converted(self.spring_rate_n_per_mm, 'N/mm'):.3g}",
            _plain(self.draw_mm),
            _plain(self.force_max_n, 0, "N"),
            _plain(self.exit_speed_max_mps, 1, "m/s"),
            _plain(self.farthest_m, 1, "m"),
            _plain(self.torque_margin, 2),
            _plain(self.stop_energy_j, 2, "J"),
            _plain(None if self.step_m is None else 100 * self.step_m, 1, "cm"),
            _marks(self.best, self.present, self.strained),
        ]


@frozen
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
    def tables(self) -> list[Table]:
        """The gears worth a look, as a table."""
        return _tables(self.choices)

    @property
    def wheel_gears(self) -> tuple[GearChoice, ...]:
        """Gear trains between the motor and a wheel."""
        return self.choices

    @property
    def rate_per_minute(self) -> float | None:
        """Shots per minute, as the drive allows."""
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


@frozen
class CockingSize:
    """Figures of a striker or an arm.

    Forces, energies and speeds: at the longest draw. Torques: needed at the worst point of that stroke
    (``worst_draw_mm``), given by the drive standing still at a low (20 %) battery; ``holding_torque_nm`` at full draw.
    ``farthest_m``: with the draw that a low battery can cock. Times: half-charged battery, empty way back included in
    the cycle. ``stop_energy_j``: left in the mechanism after the element has gone, each cycle; ``dry_fire_energy_j``:
    with no element in it. ``spring_stress_mpa`` and ``spring_safety``: where the spring yields first, which
    ``spring_weakest`` names. ``spring_life_cycles``: draws until it may break, ten million where no end is in sight.
    """

    kind: str
    reduction: float | None
    force_max_n: float | None
    spring_energy_j: float | None
    spring_stress_mpa: float | None
    spring_safety: float | None
    spring_weakest: str | None
    spring_life_cycles: float | None
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
    dry_fire_energy_j: float | None
    cycles: int | None = None
    stop_energy_total_j: float | None = None
    choices: tuple[CockingChoice, ...] = ()
    springs: tuple[SpringChoice, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def tables(self) -> list[Table]:
        """The gears and the springs worth a look, as tables."""
        return _tables(self.choices, self.springs)

    @property
    def wheel_gears(self) -> tuple[GearChoice, ...]:
        """None: the drive cocks a spring."""
        return ()

    @property
    def rate_per_minute(self) -> float | None:
        """Shots per minute, as the drive allows."""
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


def _tables(*kinds: Sequence[GearChoice | CockingChoice | SpringChoice]) -> list[Table]:
    return [(_said(choices[0].HEAD), [choice.cells for choice in choices]) for choices in kinds if choices]


def _marks(best: bool, present: bool, strained: bool = False) -> str:
    return ", ".join(word for word, on in (("best", best), ("present", present), ("strained", strained)) if on)


def gears_words(stages: Sequence[tuple[int, int]]) -> str:
    """A gear train as one says it, motor first: ``22:33  20:28``."""
    return "  ".join(f"{a}:{b}" for a, b in stages) or "direct"


def _plain(value: float | None, digits: int = 0, metric_unit: str = "") -> str:
    return "-" if value is None else digits_of(value, metric_unit, digits)


def _said(head: list[str]) -> list[str]:
    """Headings "quantity unit" in the person's units."""
    parts = [name.partition(" ") for name in head]
    return [f"{name} {unit(metric_unit)}".rstrip() for name, _, metric_unit in parts]
