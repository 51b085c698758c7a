"""What is told to be pasted makes the line read, whatever the names look like: lines as student programs print them.

All invented: heron's wheel at 1,800 rpm, a battery of 10.3 V.
"""

from __future__ import annotations

import math

import pytest
from test_units_of_strangers import ours, said_and_read


def near(i):
    """Own rpm that is not quite even."""
    return 1800 + (i * 7) % 5


def test_a_share_of_the_power_is_pasted_as_percent(tmp_path):
    """0.463 is 46 %, and not half a per cent."""
    _, pasted, live = said_and_read(
        tmp_path,
        [f"FlywheelRPM: {near(i)} | MotorPower: {0.46 + 0.001 * (i % 4):.3f} | Batt_V: 10.3" for i in range(100)],
    )
    assert "power_pct = 100" in pasted
    assert live.power_pct == pytest.approx(46, abs=1)
    assert live.wheel_rpm == pytest.approx(1802, abs=2)


def test_counts_of_255_are_pasted_as_percent(tmp_path):
    """And no second number behind a power is a setpoint."""
    said, pasted, live = said_and_read(tmp_path, [f"rpm: {near(i)}, pwm: {117 + i % 3}/255" for i in range(100)])
    assert "power_pct = 0.392157" in pasted
    assert live.power_pct == pytest.approx(46.3, abs=0.5)
    assert "setpoint shows" not in " ".join(said)


READ = {
    "a class printed with its fields": "ShooterState(velocity={rpm:.1f}, target=1810.0, ready=True, voltage=10.31)",
    "a log's level and source": "INFO  Launcher     flywheel velocity={rps:.3f} rps, setpoint=30.17 rps, bus=10.31 V",
    "units in brackets": "Wheel speed (RPM) = {rpm:.1f}\tGoal (RPM) = 1810\tBattery (V) = 10.31",
    "percent between blanks": "pwr  61% spd {rpm} tgt 1810 cur 1.5A bat 10.3V",
    "a letter that says volts": "v={rpm}rpm sp=1810rpm shots=3 vb=10.3",
    "points between thousands": "Drehzahl: {german} 1/min  Soll: 1.810 1/min  Batterie: 10,31",
    "German": "Zeit: {ms} ms | Drehzahl Schwungrad: {rpm} U/min | Solldrehzahl: 1810 U/min | Akkuspannung: 10,31 V",
    "French": "vitesse_roue={rpm} tr/min ; consigne=1810 tr/min ; tension=10.31 V ; portée=2.62 m",
    "Turkish": "Süre: {ms} Hız: {rpm} dev/dk Hedef: 1810 Akü: 10.31 V",
    "the time since 1970 in front": "{epoch} rpm {rpm} target 1810 bat 10.31",
    "a controller's terms": "[PID] sp:1810 pv:{rpm} err:3 p:0.26 i:12.50 d:0.20 out:54.8 vbat:10.31",
    "one of the other": "speed {rpm} of 1810 rpm, vbat 10.31",
    "Spanish": "tiempo: {ms}, velocidad_rueda: {rpm}, velocidad_objetivo: 1810, batería: 10.31",
}


@pytest.mark.parametrize("coding", ["utf-8", "latin-1"])
@pytest.mark.parametrize("kind", READ)
def test_the_wheel_and_its_setpoint_are_read(tmp_path, kind, coding):
    """In any letters, which raw lines show as a mark; a letter that Latin-1 has not is written without its accent."""
    lines = [
        READ[kind].format(
            rpm=near(i),
            rps=near(i) / 60,
            ms=20 * i,
            epoch=1733000000000 + 20 * i,
            german=f"{near(i):,.1f}".replace(",", " ").replace(".", ",").replace(" ", "."),
        )
        for i in range(150)
    ]
    if coding == "latin-1":
        lines = [line.replace("ı", "i").encode("latin-1") for line in lines]
    said, pasted, live = said_and_read(tmp_path, lines)
    assert pasted, said
    assert live.wheel_rpm == pytest.approx(1802, abs=3)
    assert live.setpoint == pytest.approx(1810, abs=0.5)
    assert live.battery_v == pytest.approx(10.3, abs=0.02)


def test_the_most_that_a_wheel_may_turn_is_not_its_speed(tmp_path):
    """In another language either; and left and right are two wheels in each."""
    lines = [f"drehzahl_max: 2500, Drehzahl links: {near(i)}, Drehzahl rechts: {near(i) - 30}" for i in range(150)]
    live = said_and_read(tmp_path, lines)[2]
    assert live.wheel_rpm == pytest.approx(1802, abs=3)
    assert live.wheel2_rpm == pytest.approx(1772, abs=3)


TWICE = {
    "records in a line": "t={t:.2f}s Wheel[side=L, velRadPerSec={rad:.3f}] Wheel[side=R, velRadPerSec={other:.3f}]",
    "YAML": "shooter: {{ left: {{ vel: {rps:.3f}, unit: rps }}, right: {{ vel: {other_rps:.3f}, unit: rps }} }}",
}


@pytest.mark.parametrize("kind", TWICE)
def test_two_wheels_of_one_name_on_a_line_are_both_read(tmp_path, kind):
    """The second one turns at nine tenths of the first."""
    lines = [
        TWICE[kind].format(
            t=0.02 * i, rad=near(i) * math.tau / 60, other=0.9 * near(i) * math.tau / 60, rps=near(i) / 60,
            other_rps=0.9 * near(i) / 60,
        )
        for i in range(150)
    ]  # fmt: skip
    live = said_and_read(tmp_path, lines)[2]
    assert live.wheel_rpm == pytest.approx(1802, abs=3)
    assert live.wheel2_rpm == pytest.approx(0.9 * 1802, abs=3)


def test_a_row_of_column_names_with_accents_tells_the_columns(tmp_path):
    rows = [f"{20 * i},{near(i)},1810,10.31" for i in range(150)]
    _, _, live = said_and_read(tmp_path, ["tiempo,velocidad_rueda,velocidad_objetivo,batería", *rows])
    assert (live.setpoint, live.battery_v, live.health.clock) == (1810, 10.31, "robot")
    assert live.wheel_rpm == pytest.approx(1802, abs=3)


def test_decimal_commas_are_known_by_one_that_can_be_nothing_else(tmp_path):
    """0,980 alone might be 980; beside 1802,4 it is not."""
    rows = [f"{0.02 * i:.3f};{near(i)}.5;1810;10.31;".replace(".", ",") for i in range(150)]
    _, pasted, live = said_and_read(tmp_path, ["Zeit;Drehzahl;Soll;Akku;", *rows])
    assert pasted == ["[link.columns]", 'order = ["t_ms", "wheel_rpm", "setpoint", "battery_v"]']
    assert (live.setpoint, live.battery_v, live.health.clock) == (1810, 10.31, "robot")
    assert live.health.rate_hz == pytest.approx(50, rel=0.02)


def test_rpm_beyond_the_setpoints_are_asked_about(tmp_path):
    """This robot's motors turn 2.1 times as fast as its wheels; 2,500 rpm is the most that its program asks for."""
    lines = [
        f"M1 {2.1 * near(i):.0f} rpm M2 {2.1 * near(i):.0f} rpm tgt {2.1 * 1810:.0f} rpm vin 10.3" for i in range(150)
    ]
    said, pasted, live = said_and_read(tmp_path, lines)
    assert not [one for one in pasted if "wheel" in one or "setpoint" in one]
    assert live.wheel_rpm is None
    assert "motor rpm" in " ".join(said)


def test_a_speed_without_a_unit_is_said_to_be_taken_as_rpm(tmp_path):
    """2,120 may be counts a second, 1,262 rpm of this wheel (100.8 counts a turn), or the motor's rpm (2.1 a turn)."""
    said, _, _ = said_and_read(tmp_path, [f"Shooter Velocity : {2120 + i % 5}" for i in range(100)])
    words = next(one for one in said if "taken as rpm of the wheel" in one)
    assert "0.595238 for counts/s" in words
    assert "0.47619 for motor rpm" in words
    said, _, _ = said_and_read(tmp_path, [f"wheel rpm: {2120 + i % 5}, bat: 10.3" for i in range(100)])
    assert "taken as" not in " ".join(said)


def test_a_number_that_a_wrong_printf_makes_is_said_to_be_one(tmp_path):
    """What %d prints of a double is undefined (ISO C 7.21.6.1)."""
    said, _, live = said_and_read(tmp_path, ours(lambda i: f"battery_v={(1495929278 * (i + 1)) % 2**31}"))
    assert live.battery_v is None
    assert "print it with %.2f" in " ".join(said)


def test_counts_since_the_last_line_are_not_offered_as_a_counter(tmp_path):
    """They would be shown as a wheel that stands while it turns."""
    said, pasted, live = said_and_read(tmp_path, [f"loop ticks: {41 + (i * 7) % 3}, vbat: 10.31" for i in range(150)])
    assert pasted == ["[link.fields]", 'battery_v = "vbat"']
    assert live.wheel_rpm is None
    assert "wheel_counts or wheel_rpm" in " ".join(said)


def test_that_no_name_says_the_speed_is_said_at_once(tmp_path):
    said, pasted, _ = said_and_read(tmp_path, [f"L: {near(i)}  R: {near(i)}  set: 1810  V: 10.3" for i in range(100)])
    assert 'setpoint = "set"' in pasted
    assert 'if one of these is it in rpm, paste wheel_rpm = "its name" under [link.fields]' in " ".join(said)
