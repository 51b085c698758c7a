"""Text for a page: one clean line of what people typed, setpoints in the robot's decimals, and HTML tags."""

from __future__ import annotations

from fieldtune.robot.model import Robot


def line(text: str, most: int) -> str:
    """One line of printable text, cut to ``most`` characters; not yet escaped."""
    plain = " ".join("".join(c if c.isprintable() else " " for c in text).split())
    return plain if len(plain) <= most else plain[: most - 1].rstrip() + "…"


def setpoint_text(robot: Robot, value: float | None, unit: bool = True) -> str:
    """A setpoint in as many decimals as the robot's step asks for; a dash where there is none."""
    if value is None:
        return "–"
    return f"{value:.{robot.setpoint.decimals}f}" + (f" {robot.setpoint.unit}" if unit else "")


def tag(name: str, inside: str, css: str = "") -> str:
    """An HTML element around text that is escaped already."""
    return f'<{name} class="{css}">{inside}</{name}>' if css else f"<{name}>{inside}</{name}>"
