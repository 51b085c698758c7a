"""Measurements beside shots: the clip's fit against integrated flights, and what each teaches by normal theory."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from fieldtune import InputError, Session, load_robot
from fieldtune.aim.clip import Clip, exit_from_clip, friction_from_run_out, friction_from_tilt, read_points
from fieldtune.cli import main
from fieldtune.learn.measured import Evidence, kept
from fieldtune.learn.posterior import learn
from fieldtune.robot.exit_speed import model_log_speed
from fieldtune.robot.model import Robot
from fieldtune.share.merge import merge
from fieldtune.share.pack import pack, read_pack


def heron() -> Robot:
    """Drag 0.47 fixed and no spin lift, so that the flight below is the whole of its physics."""
    robot = load_robot("heron")
    return replace(robot, element=replace(robot.element, drag=0.47, lift=0.0))


def filmed(speed: float, angle_deg: float, count: int, rng: np.random.Generator, leftwards: bool = False) -> Clip:
    """Pixels of a 58 mm ball of 40 g, drag 0.47 in air of 1.204 kg/m³, every other frame of 120 a second.

    243 pixels a metre, each point off by 0.7 pixels. The ball's buoyancy and the air it moves are 0.3 % of it and less.
    """
    k = 0.5 * 1.204 * 0.47 * math.pi * 0.029**2 / 0.040

    def rates(_: float, y: list[float]) -> list[float]:
        fast = math.hypot(y[2], y[3])
        return [y[2], y[3], -k * fast * y[2], -9.80665 - k * fast * y[3]]

    times = np.arange(count) * 2 / 120
    angle = math.radians(angle_deg)
    start = [0.0, 0.0, speed * math.cos(angle), speed * math.sin(angle)]
    path = solve_ivp(rates, (0, times[-1]), start, t_eval=times, rtol=1e-9, atol=1e-9).y[:2]
    side = -1 if leftwards else 1
    x, y = 500 + side * 243 * path[0], 900 - 243 * path[1]
    points = np.column_stack([x, y]) + rng.normal(0, 0.7, (count, 2))
    return Clip(tuple(map(tuple, points.tolist())), 120.0, 0.5, 121.5, every=2)


@pytest.mark.parametrize(("speed", "angle", "count"), [(5.2, 52.0, 10), (5.2, 52.0, 5), (7.5, 30.0, 8)])
def test_a_clip_tells_exit_speed_and_angle(speed: float, angle: float, count: int) -> None:
    """Eight films each: off by what the spread says (mean square 1; below 2.2 for eight)."""
    rng = np.random.default_rng(count)
    off = []
    for k in range(8):
        found = exit_from_clip(heron(), filmed(speed, angle, count, rng, leftwards=k % 2 == 1))
        off.append(((found.speed_mps - speed) / found.speed_sd, (found.angle_deg - angle) / found.angle_sd))
        assert found.speed_mps == pytest.approx(speed, rel=0.05)
        assert found.speed_sd < 0.05 * speed
    assert np.all(np.mean(np.square(off), axis=0) < 2.2)


def test_friction_by_tilt_and_run_out() -> None:
    """tan 17 deg = 0.3057 (Galileo's plane, any mechanics text); 2 m/s running out in 0.68 m: 4 / (2 g 0.68)."""
    assert friction_from_tilt(math.radians(17))[0] == pytest.approx(0.30573, abs=1e-5)
    assert friction_from_run_out(2.0, 0.68)[0] == pytest.approx(0.29991, abs=1e-4)


def test_a_measured_angle_is_weighed_as_normal_theory_says() -> None:
    """Prior 1.5 deg, one throw with 0.5 deg scatter measured to 0.5 deg: mean 1.5 × 2.25 / 2.75, sd 1.5 √(0.5 / 2.75).

    The scatter is itself uncertain, so within a tenth.
    """
    with Session(load_robot("heron")) as session:
        session.measure(Evidence("exit_angle", 53.5, 0.5))
        belief = session.belief
    draws = np.degrees(belief.draws.angle_error)
    mean = float(belief.weights @ draws)
    assert mean == pytest.approx(1.5 * 2.25 / 2.75, abs=0.15)
    assert math.sqrt(float(belief.weights @ (draws - mean) ** 2)) == pytest.approx(1.5 * math.sqrt(0.5 / 2.75), abs=0.1)


def test_an_exact_exit_speed_is_believed_and_undo_takes_it_back() -> None:
    with Session(load_robot("heron")) as session:
        before = session.aim(2.0)
        for _ in range(6):
            session.measure(Evidence("exit_speed", 5.6, 0.02, 1480.0))
        told = session.aim(2.0)
        assert told.hit_probability > before.hit_probability + 0.2
        session.confirm(2.0, told.setpoint.value, "in")
        at = session.belief.basis.at(np.array([1480.0]))[0]
        learned = float((session.belief.best.gain @ at)[0])
        model = math.log(float(session.robot.launcher.mechanism.exit_speed(1480.0, session.robot.element)))
        assert math.exp(model + learned) == pytest.approx(5.6, rel=0.01)
        for _ in range(7):
            session.undo()
        assert session.aim(2.0) == before
        assert session.redo().act == "measure"


def test_friction_moves_a_slide_as_the_energy_says() -> None:
    """Draw for v² = 2 µ g d: with µ known as 0.25, the exit speed at 1.8 m is within 2 % of √(2 · 0.25 g · 1.8)."""
    with Session(load_robot("otter")) as session:
        session.measure(Evidence("friction", 0.25, 0.002))
        aim = session.aim(1.8)
        assert aim.exit_speed_mps == pytest.approx(math.sqrt(2 * 0.25 * 9.80665 * 1.8), rel=0.03)
        with pytest.raises(InputError, match=r"expected 0\.01 to 2"):
            session.measure(Evidence("friction", 17.0, 0.1))
    with Session(load_robot("heron")) as session, pytest.raises(InputError, match="friction doesn't matter"):
        session.measure(Evidence("friction", 0.3, 0.01))


def test_they_are_in_the_log_and_in_packs(tmp_path: Path) -> None:
    here = Session(load_robot("heron"), tmp_path / "heron.db")
    here.measure(Evidence("exit_angle", 53.5, 0.5))
    here.measure(Evidence("exit_speed", 5.6, 0.05, 1480.0))
    here.undo()
    (tmp_path / "p.json").write_text(pack(here), encoding="utf-8")
    here.log.close()
    there = Session(load_robot("heron"))
    merge(there, read_pack(tmp_path / "p.json"))
    again = Session(load_robot("heron"), tmp_path / "heron.db")
    for session in (again, there):
        assert kept(session.log.marks(), session.log.epochs()) == (Evidence("exit_angle", 53.5, 0.5, epoch=1),)


def test_by_command(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    def run(*words: str) -> tuple[int, str, str]:
        code = main(["--profiles", str(tmp_path), *words])
        return code, *capsys.readouterr()

    clip = filmed(5.2, 52.0, 8, np.random.default_rng(1))
    points = " ".join(f"{x:.1f},{y:.1f}" for x, y in clip.points)
    film = ["--points", points, "--fps", "120", "--every", "2", "--ruler", "50 cm", "--ruler-px", "121.5"]
    code, out, _ = run("measure", "heron", *film, "--setpoint", "1480 rpm", "--json")
    found = json.loads(out)
    assert code == 0
    assert [one["of"] for one in found["evidence"]] == ["exit_speed", "exit_angle"]
    assert found["aim"]["hit_probability"] > 0.3
    code, out, _ = run("measure", "otter", "--tilt", "17 deg")
    assert "friction 0.306 ± 0.019, kept as evidence" in out
    assert "undone: a measurement in battery period 1" in run("undo", "otter")[1]
    for words, said in (
        ((), "expected one of --points"),
        (("--points", "1,2 3,4"), "needs --fps, --ruler, --ruler-px, --setpoint"),
        (("--tilt", "85 deg"), "--tilt: expected"),
        (("--run-out", "1 m"), "needs --from-speed"),
        ((*film[:1], "1,2 3", *film[2:], "--setpoint", "1480"), "expected x,y of each"),
        ((*film[:1], "1,2 3,4", *film[2:], "--setpoint", "1480"), "2 points: expected 3 to 30"),
    ):
        code, _, err = run("measure", "heron", *words)
        assert code == 2
        assert said in err
    assert read_points("1,2 3.5,-4") == ((1.0, 2.0), (3.5, -4.0))


def test_drift_is_seen_beside_measurements() -> None:
    """Exit speed and angle measured as the profile has them; four shots in, then four long from the same places."""
    session = Session(load_robot("heron"))
    robot, places = session.robot, (2.0, 2.8, 2.4, 3.2)
    setpoints = [session.aim(place).setpoint.value for place in places]
    for k in range(8):
        session.confirm(places[k % 4], setpoints[k % 4], result="in" if k < 4 else "long")
    speeds = np.exp(model_log_speed(robot, np.array(setpoints)))
    beside = (
        *(
            Evidence("exit_speed", float(speed), 0.03, setpoint, None, 1)
            for speed, setpoint in zip(speeds, setpoints, strict=True)
        ),
        Evidence("exit_angle", math.degrees(robot.launcher.exit_angle), 0.3),
    )
    found = learn(robot, session.log.shots(), beside=beside).learned().drift
    assert found.drifting
    assert "last 4 shots fall long" in found.words
