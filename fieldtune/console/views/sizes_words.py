"""What the sizes view says: figures as built beside what they would be, gear trains worth a look, what can hurt."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from fieldtune.console import words
from fieldtune.console.plates import Part
from fieldtune.sizing.records import FASTER_THAN_FEEDING

if TYPE_CHECKING:
    from fieldtune.sizing.records import Size

ROWS: tuple[tuple[str, str, str], ...] = (
    ("reduction", "Reduction", "{:.2f}"),
    ("ceiling_rpm_full", "Ceiling, full battery", "{:.0f} rpm"),
    ("ceiling_rpm_low", "Ceiling, low battery", "{:.0f} rpm"),
    ("ceiling_mm_low", "Longest draw, low battery", "{:.1f} mm"),
    ("farthest_m", "Farthest distance", "{:.2f} m"),
    ("headroom_low", "Headroom, low battery", "{:+.0%}"),
    ("spin_up_s", "Spin-up", "{:.2f} s"),
    ("drop_rpm", "Drop a shot", "{:.0f} rpm"),
    ("recovery_s", "Recovery", "{:.2f} s"),
    ("shots_per_minute", "Rate of fire", "{:.0f}/min"),
    ("torque_margin", "Torque margin, cocking", "{:.1f}"),
    ("cock_time_s", "Time to cock", "{:.2f} s"),
    ("cycles_per_minute", "Rate of fire", "{:.0f}/min"),
    ("exit_speed_max_mps", "Highest exit speed", "{:.1f} m/s"),
    ("peak_current_a", "Peak current", "{:.0f} A"),
    ("force_max_n", "Highest spring force", "{:.0f} N"),
    ("spring_energy_j", "Energy in the spring", "{:.2f} J"),
    ("element_energy_j", "Energy of the element", "{:.2f} J"),
    ("shot_energy_j", "Energy a shot takes", "{:.2f} J"),
    ("stored_energy_j", "Energy in wheels, full power", "{:.1f} J"),
    ("rim_speed_mps", "Rim speed, full power", "{:.1f} m/s"),
    ("rim_stress_mpa", "Rim stress", "{:.2f} MPa"),
    ("stop_energy_j", "Energy into the stop", "{:.2f} J"),
    ("spring_stress_mpa", "Spring stress", "{:.0f} MPa"),
    ("spring_safety", "Spring strength over stress", "{:.2f}"),
)


def compared(built: Size, other: Size | None) -> list[Part]:
    """Figures as built and, where something is varied, beside them what it would be."""
    head = f"{'':<28}{'as built':>16}" + (f"{'what if':>16}" if other is not None else "")
    parts: list[Part] = [(head + "\n", "bold $act")]
    for name, label, form in ROWS:
        if not hasattr(built, name):
            continue
        was, now = getattr(built, name), getattr(other, name) if other is not None else None
        as_built, what_if = _said(name, form, was), _said(name, form, now)
        parts += [(f"{label:<28}", "$quiet"), (f"{as_built:>16}", "$ink")]
        if other is not None:
            shape = "" if was is None or now is None or as_built == what_if else " ▲" if now > was else " ▼"
            parts.append((f"{what_if:>16}{shape:<2}", "bold $ink"))
        parts.append("\n")
    parts += [(f"! {words.printable(note)}\n", "$bad") for note in (other or built).notes]
    return parts


def _said(name: str, form: str, value: float | None) -> str:
    if value is None:
        return "unknown"
    if name == "shots_per_minute" and value > FASTER_THAN_FEEDING:
        return f"over {FASTER_THAN_FEEDING:.0f}/min"
    return form.format(value)


def choices(built: Size) -> list[Part]:
    """Gear trains worth considering: the best trade-offs, best first named."""
    if not built.choices:
        return [""]
    parts: list[Part] = [("Gear trains worth a look\n", "bold $act")]
    for choice in built.choices[:14]:
        train = "  ".join(f"{driving}:{driven}" for driving, driven in choice.gears) or "direct"
        reach = "reach unknown" if choice.farthest_m is None else f"reaches {choice.farthest_m:.1f} m"
        marks = [word for word, there in (("● best", choice.best), ("◆ built", choice.present)) if there]
        mark = " ".join(marks)
        parts.append(
            (f"{choice.reduction:5.2f} {train:<12} {reach:<13} {mark}\n", "bold $good" if choice.best else "$ink")
        )
    return parts


def harms(cautions: Sequence[str]) -> list[Part]:
    """What can hurt, beside the figures that say how."""
    return [(f"\n⚠ {words.printable(line)}", "$ink") for line in cautions]
