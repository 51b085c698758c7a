"""Hood, labels, hits of tried and measurements in the console: rules without a screen, and one run on the real one."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime
from types import SimpleNamespace

import pytest
from console_world import live, seen

from fieldtune import Session, load_robot
from fieldtune.console import main_words, words
from fieldtune.console.screens.shots import hit_words, row
from fieldtune.console.shooting_state import ShootingState
from fieldtune.console.typed import Labels, read_labels, read_measured
from fieldtune.errors import InputError
from fieldtune.records import Shot

EGRET, OTTER = load_robot("egret"), load_robot("otter")
AIM = SimpleNamespace(exit_angle_setpoint_deg=58.0)


def state() -> ShootingState:
    return ShootingState(EGRET, live(), lambda: 0.0, lambda: datetime(2026, 3, 14, tzinfo=UTC))


@pytest.mark.parametrize(
    ("read", "said"),
    [
        (58.0, ""),
        (58.4, ""),
        (57.4, "hood at 57.4°, set it to 58°"),
        (None, ""),
        (30.0, "hood at 30.0°, set it to 58°"),
    ],
)
def test_a_hood_that_stands_elsewhere_is_said(read: float | None, said: str) -> None:
    assert words.hood_elsewhere(live(hood_deg=read), EGRET, AIM) == said  # type: ignore[arg-type]
    assert words.hood_elsewhere(live(hood_deg=read), load_robot("heron"), AIM) == ""  # type: ignore[arg-type]


def test_a_shot_keeps_where_the_hood_stood_as_it_left() -> None:
    """As the shot's own line says, else the last line before it, else as recommended; never an angle it can't have."""
    shooting = state()
    shooting.aim = AIM  # type: ignore[assignment]
    assert shooting.shot_now().hood_deg == 58.0
    shooting.look(live(hood_deg=44.8, distance_m=2.0))
    assert shooting.shot_now().hood_deg == 45.0
    (shot,) = shooting.look(live(hood_deg=44.8, distance_m=2.0, shots=(replace(seen(1), hood_deg=46.1),)))
    assert shot.hood_deg == 46.0
    (shot,) = shooting.look(live(hood_deg=44.8, shots=(seen(2),)))
    assert shot.hood_deg == 45.0
    assert words.hood_read(88.0, EGRET) is None


@pytest.mark.parametrize(
    ("typed", "labels"),
    [
        ("Q3", ("Q3", None)),
        ("Q3, red", ("Q3", "red")),
        (", red", (None, "red")),
        ("-", (None, None)),
        ("", (None, None)),
    ],
)
def test_labels_as_people_type_them(typed: str, labels: tuple[str | None, str | None]) -> None:
    assert read_labels(typed) == labels


def test_labels_that_are_none() -> None:
    for typed in ("a, b, c", "x" * 41, "a\x1b"):
        with pytest.raises(InputError):
            read_labels(typed)
    assert Labels("Q3", "red").words == "match Q3, batch red"


def test_hits_and_labels_in_the_log() -> None:
    with Session(OTTER) as session:
        for k in range(12):
            session.confirm(1.4, 30.0, "in" if k % 3 else "short", match=f"Q{k % 2 + 1}", batch="red")
        text = "".join(part if isinstance(part, str) else part[0] for part in hit_words(session.hits("match"), 4))
        assert "Hits of tried per match" in text
        assert "all                      8 of 12   67 %" in text
        assert text.count("of 6") == 2
        assert "Q1, red" in row(session.log.shots()[0], OTTER).plain
    shot = Shot(1, "u", "t", 2.0, 1600.0, "in", 1, hood_deg=57.0)
    assert "57°" in row(shot, EGRET).plain
    assert main_words.shot_chips((shot,), EGRET, 80, 1)[1][0].endswith("1600 57°")


def test_measurements_as_people_type_them() -> None:
    (tilt,) = read_measured("tilt 17 deg", OTTER)
    assert (tilt.of, tilt.value) == ("friction", pytest.approx(math.tan(math.radians(17))))
    (slid,) = read_measured("run-out 68 cm from 2 m/s", OTTER)
    assert slid.value == pytest.approx(2.0**2 / (2 * 9.80665 * 0.68))
    speed, angle, frame, scale = 5.2, math.radians(57), 1 / 240, 0.5 / 400
    flown = [(speed * math.cos(angle) * t, speed * math.sin(angle) * t - 9.80665 * t * t / 2) for t in
             (k * frame for k in range(9))]  # fmt: skip
    points = " ".join(f"{300 + x / scale:.2f},{640 - y / scale:.2f}" for x, y in flown)
    exit_speed, exit_angle = read_measured(f"clip 240 fps, 50 cm = 400 px, at 1500: {points}", EGRET, 57.0)
    assert exit_speed.value == pytest.approx(speed, rel=0.02)
    assert exit_speed.setpoint == 1500
    assert exit_angle.value == pytest.approx(57, abs=1)
    assert exit_angle.hood_deg == 57.0
    with Session(EGRET) as session:
        for one in (exit_speed, exit_angle):
            session.measure(one)
        error = float(session.belief.best.angle_error[0])
    assert error == pytest.approx(math.radians(exit_angle.value - 57.0), abs=math.radians(0.6))
    for typed in ("", "tilt", "tilt 5 kg", "clip 240 fps", "run-out 1 m", "clip x fps, 50 cm = 4 px, at 5: 1,2"):
        with pytest.raises(InputError):
            read_measured(typed, OTTER)
    with pytest.raises(InputError, match="flies to its target"):
        read_measured("tilt 17 deg", EGRET)
