"""The simulated robot: three kinds, repeatable by seed, hidden errors from the profile, outcomes by the physics."""

from __future__ import annotations

import json
import os
import pty
import re
import select
import subprocess
import sys
import time
from dataclasses import replace

import numpy as np
import pytest

from fieldtune import load_robot
from fieldtune.link.line import Line
from fieldtune.link.sim import SimulatedRobot
from fieldtune.link.sim.robot import Hidden
from fieldtune.link.urls import open_url
from fieldtune.robot.chemistry import CHEMISTRIES

KINDS = ("heron", "otter", "crane")


def _run(simulated, seconds, fire_at=()):
    fire_at, line, lines = list(fire_at), Line(simulated.robot), []
    for i in range(int(seconds * 100)):
        if fire_at and i >= fire_at[0] * 100:
            simulated.command("fire")
            fire_at.pop(0)
        lines.append(simulated.line())
        line.feed(lines[-1], i * 0.01)
    return line, lines


@pytest.mark.parametrize("name", KINDS)
def test_a_seed_is_repeatable_to_the_byte(name):
    robot = load_robot(name)
    _, first = _run(SimulatedRobot(robot, 11), 3, (2.0,))
    _, again = _run(SimulatedRobot(robot, 11), 3, (2.0,))
    _, other = _run(SimulatedRobot(robot, 12), 3, (2.0,))
    assert first == again
    assert first != other


@pytest.mark.parametrize("name", KINDS)
def test_each_kind_runs_shoots_and_is_understood(name):
    simulated = SimulatedRobot(load_robot(name), 4)
    line, _ = _run(simulated, 8, (4.0, 6.0))
    health = line.health()
    assert health.dropped == {}
    assert health.notices == {}
    assert len(simulated.outcomes) == len(line.shots) == 2
    assert all(shot.by == "fired" for shot in line.shots)
    live = line.live("live", "", None, 8.0)
    assert live.setpoint == simulated.setpoint
    assert live.battery_v is not None
    if name == "heron":
        assert line.shots[0].speed_rpm == pytest.approx(simulated.outcomes[0].quantity, rel=0.01)
        assert live.wheel.spin_up_s is not None
    else:
        assert line.shots[0].draw_mm == pytest.approx(simulated.outcomes[0].quantity, abs=1.0)


def test_commands_are_obeyed_and_others_explained():
    simulated = SimulatedRobot(load_robot("heron"), 1)
    assert simulated.command("setpoint=1800") is None
    assert simulated.command("distance_m = 2.1") is None
    assert "setpoint=VALUE" in simulated.command("open the pod bay doors")
    assert "2500" in simulated.command("setpoint=99999")
    assert simulated.command("distance_m=nan") is not None
    line, _ = _run(simulated, 3)
    live = line.live("live", "", None, 3.0)
    assert live.setpoint == 1800
    assert live.wheel_rpm == pytest.approx(1800, rel=0.01)
    assert live.distance_m == pytest.approx(2.1, abs=0.02)


def test_hidden_errors_have_the_profiles_spread():
    """2,000 robots: each error's spread is the profile's within three standard errors (3 / sqrt(2 n) = 5 %)."""
    robot = load_robot("heron")
    drawn = [Hidden.drawn(robot, np.random.default_rng(seed)) for seed in range(2000)]
    for name, expected in (
        ("log_gain", robot.uncertainty.grip),
        ("angle_error", robot.uncertainty.exit_angle),
        ("log_drag", robot.uncertainty.drag),
        ("distance_bias", robot.uncertainty.distance),
    ):
        assert np.std([getattr(hidden, name) for hidden in drawn]) == pytest.approx(expected, rel=0.05)


def test_outcomes_follow_the_setpoint():
    """Too slow falls short, too fast goes long, and somewhere between most go in."""
    shares, truth = {}, SimulatedRobot(load_robot("heron"), 2, distance_m=2.6).truth
    for setpoint in range(1000, 2001, 50):
        results = [truth.shoot(float(setpoint), 2.6)[0] for _ in range(12)]
        shares[setpoint] = {r: results.count(r) / 12 for r in set(results)}
    assert shares[1000].get("short", 0) > 0.95
    assert shares[2000].get("long", 0) > 0.95
    assert max(share.get("in", 0) for share in shares.values()) > 0.6


def test_a_miss_is_where_the_exact_path_comes_down():
    """The simulator's miss against the flight integrated by physics itself, without the aim room's table."""
    from fieldtune.aim.element_path import flying_body
    from fieldtune.physics.required_speed import needed_speed
    from fieldtune.robot.exit_speed import spin_ratio

    robot = load_robot("heron")
    quiet = replace(robot.uncertainty, exit_speed_scatter=0.0, exit_angle_scatter=0.0, side_scatter=0.0)
    simulated = SimulatedRobot(replace(robot, uncertainty=quiet), 9, distance_m=2.4)
    truth = simulated.truth
    for quantity in (1350.0, 1450.0, 1550.0):
        _, miss, _ = truth.shoot(quantity, 2.4)
        assert miss is not None
        body = flying_body(robot)
        reached = 2.4 + truth.hidden.distance_bias + miss
        angle = robot.launcher.exit_angle + truth.hidden.angle_error
        rise = robot.targets[0].height - robot.launcher.exit_height
        exact = needed_speed(body, np.array([reached]), rise, angle, spin_ratio(robot), log_drag=truth.hidden.log_drag)
        assert np.log(exact.speed[0]) == pytest.approx(truth.log_speed(quantity), abs=0.004)


def test_bearings_that_drag_take_current_from_the_motors():
    """A torque at the wheel, over gears and torque constant, is current (Fitzgerald, Electric Machinery, 7.6)."""
    heron, amps = load_robot("heron"), []
    for drag in (None, 0.03):
        robot = replace(heron, drive=replace(heron.drive, no_load_torque=drag))
        _, lines = _run(SimulatedRobot(robot, 3), 7)
        said = [dict(re.findall(r"(\w+)=([\d.]+)", text.decode())) for text in lines[-100:]]
        share = np.mean([float(line["power_pct"]) / 100 for line in said])
        amps.append(np.mean([float(line["current_ma"]) / 1000 for line in said]) / share)
    drive = heron.drive
    constant = drive.stall_torque / (drive.stall_current - drive.no_load_current)
    assert amps[1] - amps[0] == pytest.approx(0.03 / (drive.reduction * drive.efficiency * constant), rel=0.05)


def test_the_battery_sags_and_empties_slowly():
    robot = load_robot("heron")
    simulated = SimulatedRobot(robot, 3)
    _, lines = _run(simulated, 9, np.arange(2, 8, 0.5))
    volts = [float(re.search(rb"battery_mv=(\d+)", text).group(1)) / 1000 for text in lines]
    amps = [float(re.search(rb"current_ma=(\d+)", text).group(1)) / 1000 for text in lines]
    rest = float(CHEMISTRIES["nimh"].rest_voltage(0.92, 10))
    assert max(volts) <= rest + 0.05
    assert min(volts) < rest - 0.5  # under the spin-up's current
    slope = np.polyfit(amps, volts, 1)[0]
    assert -slope == pytest.approx(robot.battery.resistance, rel=0.2)


def test_a_profile_with_only_what_must_be_there_is_simulated_too():
    heron = load_robot("heron")
    bare = replace(heron, drive=None, battery=None, encoder=None, spots=())
    line, _ = _run(SimulatedRobot(bare, 1), 4, (3.0,))
    assert line.health().dropped == {}
    assert len(line.shots) == 1


def test_it_speaks_the_robots_own_names_and_columns():
    heron = load_robot("heron")
    link = replace(heron.link, fields={"wheel_counts": "enc"}, columns=("t_ms", "enc", "-", "battery_mv"))
    for settings in (link, replace(link, columns=())):
        line, lines = _run(SimulatedRobot(replace(heron, link=settings), 1), 2)
        assert line.live("live", "", None, 2.0).wheel_rpm > 500
    assert b",enc=" in lines[0]


def test_the_url_needs_no_monitor():
    port = open_url("sim://heron?seed=7&speed=0", timeout=0.1)
    port.write(b"setpoint=1200\n")
    text = b"".join(port.read(100) for _ in range(20))
    assert b"setpoint=1200" in text
    port.close()


def test_in_a_terminal_space_shoots_and_the_outcome_is_told():
    """``serve`` in a real terminal: its path is printed, Space shoots, q ends; a line written to the path is obeyed."""
    code = (
        "from fieldtune import load_robot\nfrom fieldtune.link.sim.terminal import serve\n"
        "serve(load_robot('otter'), seed=3)"
    )
    pid, terminal = pty.fork()
    if pid == 0:
        os.execv(sys.executable, [sys.executable, "-c", code])
    said = _until(terminal, b"q ends")
    path = re.search(rb"(/dev/\S+)", said).group(1).decode()
    time.sleep(1.2)
    os.write(terminal, b" ")
    said += _until(terminal, b"shot 1")
    with open(path, "wb", buffering=0) as device:
        device.write(b"distance_m=1.1\nfire\n")
    said += _until(terminal, b"shot 2")
    assert b"from 1.10 m" in said
    os.write(terminal, b"q")
    assert os.waitpid(pid, 0)[1] == 0
    os.close(terminal)


def _until(terminal, wanted, seconds=15.0):
    said, until = b"", time.monotonic() + seconds
    while wanted not in said:
        ready, _, _ = select.select([terminal], [], [], max(until - time.monotonic(), 0))
        assert ready, f"{wanted!r} did not come; said {said!r}"
        said += os.read(terminal, 4096)
    return said


def test_a_system_without_terminals_simulates_all_the_same():
    """As on Windows, which has no module ``tty``: the URL works, and the command says what to do instead."""
    code = "import sys\nsys.modules['tty'] = None\nfrom fieldtune.cli import main\nsys.exit(main(sys.argv[1:]))"

    def run(*words):
        return subprocess.run([sys.executable, "-c", code, *words], capture_output=True, text=True, timeout=60)

    heard = run("listen", "heron", "--port", "sim://heron?speed=0", "--seconds", "2", "--json")
    assert heard.returncode == 0, heard.stderr
    assert json.loads(heard.stdout)["good"] > 100
    refused = run("simulate", "heron")
    assert refused.returncode == 1
    assert refused.stderr.startswith("fieldtune: ")
    assert refused.stderr.count("\n") == 1
    assert "sim://heron" in refused.stderr


def test_importing_the_link_brings_neither_scipy_nor_textual():
    code = "import sys, fieldtune.link; print(*(m for m in ('scipy', 'textual') if m in sys.modules))"
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == ""


@pytest.mark.parametrize("name", KINDS)
def test_another_battery_is_a_silence_a_restart_and_another_level(name):
    simulated = SimulatedRobot(load_robot(name), 4)
    line, _ = _run(simulated, 3)
    before, level = simulated._supply.voltage, simulated.truth.log_speed(1000.0 if name == "heron" else 40.0)
    assert simulated.command("battery") is None
    said = [simulated.line() for _ in range(800)]
    silent = next(k for k, text in enumerate(said) if text)
    assert 550 <= silent <= 650
    samples = [s for k, text in enumerate(said) for s in line.feed(text, 3.0 + 0.01 * k)]
    assert samples[0].fresh
    assert samples[0].time_s > 8.0
    assert samples[0].setpoint == 0
    assert line.health().notices.get("restart") == 1
    assert simulated._supply.voltage != before
    assert simulated.truth.log_speed(1000.0 if name == "heron" else 40.0) != level
    simulated.command(f"setpoint={simulated.robot.setpoint.high * 0.5:g}")
    simulated.command("fire")
    for _ in range(500):
        simulated.line()
    assert len(simulated.outcomes) == 1
