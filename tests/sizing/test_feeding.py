"""How fast elements may follow: the way back from a drop by an integration of the motor's equation, and what limits."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest
from scipy.integrate import solve_ivp

from fieldtune import load_robot
from fieldtune.cli import main
from fieldtune.robot.setpoints import SetpointRange
from fieldtune.sizing.feeding import feeding

RPM = 0.10471975511965977


def back_after(setpoint: float, low: float, volts: float) -> float:
    """Heron's wheels by hand: two motors of 9.6 V, 6100 rpm, 0.125 N m, 9.5 A, 0.5 A without load; gears 22:33, 20:28
    with 5 % lost a stage; 90 mohm; two wheels of 180 kg mm²; a 40 g element takes m v r of momentum at 0.76 grip."""
    winding, ratio = 9.6 / 9.5, 33 / 22 * 28 / 20
    k_t, k_e = 0.125 / 9.0, (9.6 - 0.5 * winding) / (6100 * RPM)
    inertia, start = 2 * 180e-6, setpoint * RPM
    drop = 0.040 * 0.76 * start * 0.044 * 0.044 / inertia

    def rate(_: float, y: list[float]) -> list[float]:
        amps = (volts - k_e * ratio * y[0]) / (winding + 2 * 0.09)
        return [2 * ratio * 0.95**2 * k_t * (amps - 0.5) / inertia]

    def there(_: float, y: list[float]) -> float:
        return y[0] - low * RPM

    there.terminal = True  # type: ignore[attr-defined]
    return float(solve_ivp(rate, (0, 5), [start - drop], events=there, rtol=1e-9, atol=1e-9).t[-1])


def test_the_time_back_to_the_good_range() -> None:
    found = feeding(load_robot("heron"), 1800.0, 1780.0, 10.4)
    assert found is not None
    assert found.good_range_s == pytest.approx(back_after(1800.0, 1780.0, 10.4), rel=1e-3)
    assert found.recovery_s == pytest.approx(back_after(1800.0, 0.99 * 1800.0, 10.4), rel=1e-3)
    assert found.per_minute == pytest.approx(60 / found.good_range_s)


@pytest.mark.parametrize(
    ("interval", "low", "limit"),
    [(0.35, 1780.0, "feeder"), (None, 1700.0, "recovery"), (None, 1795.0, "aim"), (0.01, 1795.0, "aim")],
)
def test_what_limits(interval: float | None, low: float, limit: str) -> None:
    found = feeding(replace(load_robot("heron"), feed_interval=interval), 1800.0, low, 10.4)
    assert found is not None
    assert found.limit == limit
    if limit == "feeder":
        assert found.per_minute == pytest.approx(60 / 0.35)


def test_no_rate_where_nothing_is_known_or_held() -> None:
    robot = load_robot("heron")
    blind = feeding(replace(robot, drive=None, feed_interval=0.3), 1800.0, 1780.0)
    assert blind is not None
    assert (blind.per_minute, blind.limit) == (None, None)
    assert feeding(replace(robot, setpoint=SetpointRange("%", 10, 100, 1)), 50.0, 48.0) is None
    assert feeding(load_robot("otter"), 33.0, 32.0) is None


def test_the_profile_and_the_command(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = load_robot("heron").path
    assert path is not None
    text = path.read_text()
    for value, said in (
        ('interval = "0.35 s"', None),
        ('spacing = "7 cm"\nspeed = "0.2 m/s"', None),
        ('spacing = "7 cm"\ninterval = "0.35 s"', None),
        ('interval = "0.35"', "interval"),
        ('interval = "-1 s"', "interval"),
        ('spacing = "5 cm"\nspeed = "0.2 m/s"', "expected at least 58 mm, or elements overlap"),
        ('speed = "0.2 m/s"', "needs the spacing"),
        ('interval = "0.35 s"\nspacing = "7 cm"\nspeed = "0.2 m/s"', "one too many"),
        ('spacing = "7 cm"', "or spacing and speed"),
        ("", "or spacing and speed"),
    ):
        (tmp_path / "pelican.toml").write_text(f"{text}\n[feeder]\n{value}\n")
        code = main(["--profiles", str(tmp_path), "size", "pelican", "--json"])
        out, err = capsys.readouterr()
        if said is None:
            assert json.loads(out)["feeding"]["interval_s"] == pytest.approx(0.35)
            assert json.loads(out)["feeding"]["limit"] == "feeder"
        else:
            assert code == 2
            assert said in err
