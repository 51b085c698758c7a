"""Choosing springs from load and travel, and picks that keep wire, stop and precision in view."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from robots import altered, heron, otter
from scipy.integrate import quad

import fieldtune
from fieldtune.constants import RPM
from fieldtune.errors import InputError
from fieldtune.physics import springs
from fieldtune.robot.model import SpringWire
from fieldtune.robot.spring import Hooks
from fieldtune.sizing.cautions import cautions
from fieldtune.sizing.hazards import hazards
from fieldtune.sizing.reach import reach_table
from fieldtune.sizing.size import size
from fieldtune.sizing.spring_choice import SpringNeed, choose_springs, initial_tension, needed_spring

INCH, LBF = 0.0254, 4.4482216152605

Run = Callable[..., Any]
Fails = Callable[..., str]


def with_striker(**changes):
    """The otter with another striker."""
    return otter(launcher=replace(otter().launcher, mechanism=replace(otter().launcher.mechanism, **changes)))


@pytest.mark.parametrize(
    ("wire", "coil", "active", "solid", "free"),
    [(0.071, 0.578, 19.3, 1.513, 3.813), (0.075, 0.688, 14.2, 1.215, 3.515), (0.080, 0.843, 10.1, 0.968, 3.268)],
)
def test_a_published_compression_spring(wire, coil, active, solid, free):
    """Budynas & Nisbett, Shigley, ex. 10-2 (digits from memory): music wire, 20 lbf after 2 in; inches."""
    (pick,) = choose_springs(SpringNeed("compression", 0.0, 20 * LBF, 2 * INCH), (wire * INCH,))
    assert pick.coil_mm == pytest.approx(25.4 * coil, rel=0.004)
    assert pick.active_turns == pytest.approx(active, rel=0.012)
    assert pick.solid_length_mm == pytest.approx(25.4 * solid, rel=0.01)
    assert pick.free_length_mm == pytest.approx(25.4 * free, rel=0.005)


def test_initial_tension_of_a_published_extension_spring():
    """Shigley, ex. 10-6 (digits from memory): 0.035 in, C 6.086: 1.19 lbf makes 15.1 kpsi, the preferred range is
    14.2 to 21.2 kpsi.
    """
    least, usual = initial_tension(0.035 * INCH, 6.086)
    psi = 8 * 6.086 / (math.pi * (0.035 * INCH) ** 2) / 6894.757
    assert least * psi == pytest.approx(14_200, rel=0.01)
    assert (2 * usual - least) * psi == pytest.approx(21_200, rel=0.01)
    assert least < 1.19 * LBF < usual


@pytest.mark.parametrize("kind", ["compression", "extension"])
def test_every_pick_does_what_was_asked(kind):
    """Force over travel integrated is the energy; the rate is that of wire, coil and turns; lengths leave room."""
    need = SpringNeed(kind, 30.0, 90.0, 0.05)
    picks = choose_springs(need)
    assert sum(pick.best for pick in picks) == 1
    for pick in picks:
        wire, coil = pick.wire_mm / 1e3, pick.coil_mm / 1e3
        rate = float(springs.helical_rate(wire, coil, pick.active_turns, springs.shear_modulus("A228", wire)))
        start = 30.0 / rate
        work = quad(lambda x, k=rate: k * x, start, start + 0.05)[0]
        assert work == pytest.approx(need.energy, rel=1e-6)
        assert 4 <= pick.index <= 12
        assert pick.active_turns >= 3 - 1e-9
        assert pick.safety >= 1.2 - 1e-9
        if kind == "compression":
            squeezed = pick.free_length_mm - 1e3 * (start + 0.05)
            assert squeezed > pick.solid_length_mm
            assert pick.solid_length_mm == pytest.approx(pick.total_turns * pick.wire_mm)
        else:
            assert 0 < pick.initial_tension_n <= 30.0
    best = next(pick for pick in picks if pick.best)
    lasting = [pick for pick in picks if (pick.life_cycles or 0) >= 1e5]
    assert best.mass_g == min(pick.mass_g for pick in lasting)


def test_needs_that_no_spring_can_meet_are_one_line():
    for need, word in (
        (SpringNeed("compression", 10.0, 5.0, 0.05), "above the preload"),
        (SpringNeed("compression", 0.0, 5.0, 0.0), "travel above zero"),
        (SpringNeed("extension", 1.0, 90.0, 0.05), "initial tension"),
        (SpringNeed("compression", 0.0, 1e6, 0.01), "other travel or load"),
    ):
        with pytest.raises(InputError, match=word) as fault:
            choose_springs(need)
        assert "\n" not in str(fault.value)


def test_the_needed_spring_scores_from_the_farthest_spot_with_a_tenth_to_spare():
    robot = otter()
    table = reach_table(robot, robot.target())
    need = needed_spring(robot, table, "compression")
    striker = replace(robot.launcher.mechanism, spring_rate=need.rate, preload=need.preload_n)
    speed = float(striker.exit_speed(1e3 * need.travel_m, robot.element))
    assert speed == pytest.approx(1.1 * math.exp(table.needed(robot.spots[-1].distance)), rel=0.005)
    with pytest.raises(InputError, match="has no spring"):
        needed_spring(heron(), reach_table(heron(), heron().target()), "compression")


def test_no_pick_goes_far_beyond_the_need():
    """A spring ten times as stiff as needed: the pick is the one that is needed, the present one is no pick."""
    robot = with_striker(spring_rate=12_000.0, preload=60.0)
    best = next(s for s in size(robot).springs if s.best)
    table = reach_table(robot, robot.target())
    enough = math.exp(table.needed(max(spot.distance for spot in robot.spots)))
    assert best.exit_speed_max_mps == pytest.approx(1.1 * enough, rel=0.01)


def test_a_stiffer_spring_makes_each_step_coarser():
    """Without preload the speed goes with draw and root of the rate, so a step's share goes with the root too."""
    rows = [row for row in size(with_striker(preload=0.0)).springs if row.step_m is not None]
    softest, stiffest = rows[0], rows[-1]
    ratio = math.sqrt(stiffest.rate_share / softest.rate_share)
    assert stiffest.step_m / softest.step_m == pytest.approx(ratio, rel=0.05)


def test_a_spring_that_would_break_soon_is_no_pick_and_is_said():
    """Music wire drawn to 0.40 of its strength from zero breaks between ten and a hundred thousand draws."""
    tensile = float(springs.tensile_strength("A228", 0.0016))
    force = 0.37 * tensile / float(springs.shear_stress(1.0, 0.0016, 0.014))
    wire = SpringWire(0.0016, 0.014, 27.0, 29.0, None, "A228")
    robot = with_striker(wire=wire, spring_rate=force / 0.06, preload=0.0)
    at = hazards(robot)
    assert 1e4 < at.spring_life_cycles < 1e5
    assert at.spring_safety > 1.2
    said = [line for line in cautions(robot) if "may break after" in line]
    assert len(said) == 1
    figures = size(robot, cycles=int(0.6 * at.spring_life_cycles))
    assert sum("draws so far" in note for note in figures.notes) == 1
    assert not any("draws so far" in note for note in size(robot, cycles=100, sweep=False).notes)
    assert next(s for s in figures.springs if s.present).strained
    assert not next(s for s in figures.springs if s.best).strained
    peened = replace(wire, shot_peened=True)
    assert hazards(with_striker(wire=peened, spring_rate=force / 0.06, preload=0.0)).spring_life_cycles > 1e5


def test_hooks_are_the_weakest_place_of_an_extension_spring():
    wire = SpringWire(0.0016, 0.014, 27.0, None, None, "A228", Hooks(0.007, 0.0035))
    at = hazards(with_striker(wire=wire))
    coils = hazards(with_striker(wire=replace(wire, hooks=None)))
    assert at.spring_weakest == "foot of the hook"
    assert (coils.spring_weakest, coils.spring_safety > at.spring_safety) == ("coils", True)
    weak = with_striker(wire=replace(wire, wire_diameter=0.0012))
    assert any(f"at the {hazards(weak).spring_weakest} at the longest draw" in line for line in cautions(weak))


def test_dry_firing_puts_all_of_the_energy_into_the_stop():
    """A striker has all of its energy left; an arm what its work left after lifting itself (closed forms)."""
    robot = otter()
    striker = robot.launcher.mechanism
    assert hazards(robot).dry_fire_energy_j == pytest.approx(striker.efficiency * striker.work(striker.draw_max))
    assert size(robot).dry_fire_energy_j == pytest.approx(hazards(robot).dry_fire_energy_j)


def test_a_gear_pick_keeps_the_wheel_within_what_is_stated_for_it():
    """Should the control fail, a full battery takes the wheel to the train's no-load speed (8 full cells, 11.2 V)."""
    robot = heron()
    free = next(c for c in size(robot).choices if c.best)
    limit = robot.drive.no_load_speed * 11.2 / 9.6 / free.reduction * 0.9
    wheel = replace(robot.launcher.mechanism, wheel_top_speed=limit)
    stated = next(c for c in size(altered(robot, launcher=replace(robot.launcher, mechanism=wheel))).choices if c.best)
    assert stated.reduction > free.reduction
    assert robot.drive.no_load_speed * 11.2 / 9.6 / stated.reduction <= 1.02 * limit
    assert stated.ceiling_rpm_low * RPM < limit


def test_size_chooses_a_spring_by_command(run: Run) -> None:
    found = run("size", "otter", "--spring", "compression", "--travel", "40 mm", "--load", "60 N", "--json").json
    spring = found["spring"]
    assert (spring["kind"], spring["load_n"], spring["travel_m"]) == ("compression", 60.0, 0.04)
    best = next(pick for pick in spring["choices"] if pick["best"])
    said = run("size", "otter", "--spring", "compression", "--travel", "40 mm", "--load", "60 N").out
    assert f"wire {best['wire_mm']:.3g} mm" in said
    assert "solid length" in said
    by_energy = run("size", "otter", "--spring", "extension", "--energy", "3 J", "--preload", "20 N", "--json").json
    assert by_energy["spring"]["energy_j"] == pytest.approx(3.0)
    assert "initial tension" in run("size", "otter", "--spring", "extension", "--preload", "20 N").out
    assert "spring" not in run("size", "otter", "--json").json


def test_mistakes_about_springs_are_one_line(fails: Fails) -> None:
    assert "--spring compression" in fails("size", "otter", "--load", "5 N")
    assert "not both" in fails("size", "otter", "--spring", "compression", "--load", "5 N", "--energy", "1 J")
    assert "A228 (music wire)" in fails("size", "otter", "--spring", "compression", "--wire", "mild")
    assert "has no spring" in fails("size", "heron", "--spring", "compression")


def test_hooks_and_finish_are_read_from_the_profile(run: Run, tmp_path: Path) -> None:
    text = (Path(fieldtune.__file__).parents[1] / "profiles" / "otter.toml").read_text(encoding="utf-8")
    profile = tmp_path / "hooked.toml"
    keys = 'material = "A228"\nkind = "extension"\nhook_radius = "7 mm"\nhook_bend_radius = "4 mm"\n'
    profile.write_text(text.replace('material = "A228"', keys + 'finish = "shot-peened"\n#'), encoding="utf-8")
    found = run("size", profile, "--json").json
    assert found["spring_weakest"] in ("hook's bend", "foot of the hook")
    assert found["spring_life_cycles"] > 0
    profile.write_text(text.replace('material = "A228"', keys.replace("4 mm", "0.5 mm") + "#"), encoding="utf-8")
    assert "hook_bend_radius" in run("check", profile).out
