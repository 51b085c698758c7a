"""The guided recalibration in words: what is due, and afterwards what changed, one sentence each."""

from __future__ import annotations

from fieldtune.robot.model import Robot
from fieldtune.sizing.recalibration import Recalibration, SpinReport

_SLOWER = 1.3
_OFF_SHARE = 0.005
_OPEN_OFF_SHARE = 0.05


def instruction(guided: Recalibration) -> str:
    """What to do now."""
    if guided.step == "spin":
        thing = "drive" if guided.robot.setpoint.unit == "%" else "wheel"
        return f"Launcher empty, range clear: bring the {thing} from standstill to its setpoint, hold it a second."
    if guided.step == "shoot":
        where = f" from {guided.before.distance_m:.2f} m" if guided.before is not None else ""
        return f"Shot {guided.taken + 1} of one or two{where}: say where it went."
    return "Done."


def changed(guided: Recalibration) -> tuple[str, ...]:
    """What changed, one sentence each; once it is done, that nothing was measured where that is so."""
    lines = [*_spin_lines(guided.spin, guided.before_ohm, guided.robot), *_shot_lines(guided)]
    return tuple(lines) or (("Nothing was measured.",) if guided.step == "done" else ())


def _spin_lines(spin: SpinReport | None, before_ohm: float | None, robot: Robot) -> list[str]:
    if spin is None:
        return []
    lines = [_readback_line(spin, robot)]
    if spin.spin_up_s is not None and spin.spin_up_expected_s is not None:
        slow = spin.spin_up_s > _SLOWER * spin.spin_up_expected_s and spin.spin_up_s - spin.spin_up_expected_s > 0.15
        words = "slower than" if slow else "as"
        tail = ": look for rubbing, a loose belt, or a limit in the robot program" if slow else ""
        lines.append(f"Spin-up took {spin.spin_up_s:.1f} s, {words} foretold ({spin.spin_up_expected_s:.1f} s){tail}.")
    elif spin.spin_up_s is not None:
        lines.append(f"Spin-up took {spin.spin_up_s:.1f} s.")
    if spin.sag_v is not None:
        most = "" if spin.sag_expected_v is None else f" (full power from standstill: {spin.sag_expected_v:.1f} V)"
        lines.append(f"The voltage sagged by {spin.sag_v:.1f} V{most}.")
    if spin.resistance_ohm is not None:
        was = "" if before_ohm is None else f", {1000 * before_ohm:.0f} before"
        lines.append(f"Resistance of pack and wiring: {1000 * spin.resistance_ohm:.0f} mohm{was}.")
    return lines


def _readback_line(spin: SpinReport, robot: Robot) -> str:
    said = f"The wheel held {spin.readback_rpm:.0f} rpm"
    if robot.setpoint.unit == "%":
        said += f" at {spin.setpoint:.0f} %"
    if not spin.wanted_rpm:
        return said + "."
    off = spin.readback_rpm / spin.wanted_rpm - 1
    if abs(off) <= (_OPEN_OFF_SHARE if robot.setpoint.unit == "%" else _OFF_SHARE):
        return said + (", as the profile's drive should." if robot.setpoint.unit == "%" else ", its setpoint.")
    way = "above" if off > 0 else "below"
    if robot.setpoint.unit == "%":
        return f"{said}, {abs(off):.0%} {way} what the profile's drive should turn at: shots will tell."
    return f"{said}, {abs(off):.1%} {way} its setpoint: look at the speed control or the encoder."


def _shot_lines(guided: Recalibration) -> list[str]:
    was, now, unit = guided.before, guided.now, guided.robot.setpoint.unit
    if was is None or was.setpoint is None:
        return []
    digits = guided.robot.setpoint.decimals
    volts = f" and {was.volts:.1f} V" if unit == "%" and was.volts is not None else ""
    before = f"At {was.distance_m:.2f} m{volts} the setpoint was {was.setpoint:.{digits}f} {unit}"
    if now is None or now.setpoint is None:
        return [f"{before}."]
    by = now.setpoint - was.setpoint
    if abs(by) < guided.robot.setpoint.step / 2:
        lines = [f"{before}, and stays there."]
    else:
        size = f"{abs(by):.{digits}f} {'points' if unit == '%' else unit}"
        more = f"{size} {'more' if by > 0 else 'less'} ({by / was.setpoint:+.1%})"
        lines = [f"{before} and is now {now.setpoint:.{digits}f} {unit}: {more}."]
    if was.chance is not None and now.chance is not None:
        lines.append(f"Chance {_percent(was.chance)} before, {_percent(now.chance)} now.")
    return lines


def _percent(share: float) -> str:
    return "over 99 %" if 0.995 <= share < 1 else f"{100 * share:.0f} %"
