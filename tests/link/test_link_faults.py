"""Faults of the wire, in process and through a real pseudo-terminal: what is shown, and what is counted."""

from __future__ import annotations

import time
from dataclasses import replace

import numpy as np
import pytest
from link_faults import double, flip, lose, run
from link_ptys import Cable, Talker, wait_for

from fieldtune import load_robot
from fieldtune.link import Line, Monitor
from fieldtune.link.text.checksums import framed

CAUSES = {"checksum", "cut off", "unchecked", "undecodable", "over-long", "no known field", "duplicate", "not followed"}


@pytest.fixture(scope="module")
def heron():
    return load_robot("heron")


@pytest.fixture(scope="module")
def light(heron):
    """Wheels so light that a shot takes a sixth of their speed."""
    wheel = replace(heron.launcher.mechanism, wheel_inertia=97e-6)
    return replace(heron, launcher=replace(heron.launcher, mechanism=wheel))


@pytest.mark.parametrize("fault", [flip, lose, double])
@pytest.mark.parametrize("rate", [0.001, 0.01, 0.03])
def test_no_wrong_speed_stays_and_no_shot_is_made_up(light, fault, rate, capsys):
    """Eight seconds of checked lines with shots, at byte faults of 0.1, 1 and 3 per cent."""
    result = run(light, fault, rate, seconds=8.0, seed=2)
    health = result.line.health()
    with capsys.disabled():
        print(
            f"\n{fault.__name__} {rate:.1%}: {health.good} of {health.lines} lines good, wrong by over 2 % for at most "
            f"{1000 * result.longest_wrong_s:.0f} ms, {result.caught} of {len(result.true_shots)} shots, "
            f"{result.phantoms} made up"
        )
    assert result.longest_wrong_s <= 0.2
    assert result.phantoms == 0
    assert health.good + sum(health.dropped.values()) in (health.lines, health.lines - 1)  # the last may be held
    assert {cause for cause in health.dropped if not cause.startswith("impossible ")} <= CAUSES
    if rate == 0.001:
        assert result.caught == len(result.true_shots)
        assert result.shown_share > 0.95


@pytest.mark.parametrize("fault", [flip, lose])
def test_without_checksums_it_still_makes_up_no_shot(heron, fault):
    result = run(heron, fault, 0.003, seconds=8.0, plain=True, seed=3)
    assert result.longest_wrong_s <= 0.2
    assert result.phantoms == 0


@pytest.mark.slow
@pytest.mark.parametrize("plain", [False, True])
@pytest.mark.parametrize("fault", [flip, lose, double])
@pytest.mark.parametrize("rate", [0.001, 0.01, 0.03])
def test_many_robots_on_bad_lines(heron, fault, rate, plain, capsys):
    """Ten robots, a minute each. Without checksums at 3 % hardly a line is what was sent."""
    results = [run(heron, fault, rate, seconds=60.0, seed=seed, plain=plain) for seed in range(10)]
    longest, phantoms = max(r.longest_wrong_s for r in results), sum(r.phantoms for r in results)
    with capsys.disabled():
        print(
            f"\n{fault.__name__} {rate:.1%} {'plain' if plain else 'checked'}: "
            f"{1000 * longest:.0f} ms, {phantoms} made up"
        )
    assert longest <= 0.2
    assert phantoms == 0


RUBBISH = {
    "NULs": (b"\x00" * 200 + b"\n", "undecodable"),
    "invalid UTF-8": (b"t_ms=5,\xc3\x28\xff\xfe=7\n", "undecodable"),
    "escape sequences": (b"\x1b[2J\x1b]0;owned\x07t_ms=5\n", "undecodable"),
    "markup in a name": (b"[bold]t_ms[/]=5\n", "no known field"),
    "markup in a value": (b"t_ms=[link=x]5[/link]\n", "undecodable"),
    "a template": (b"t_ms={0.__class__}\n", "undecodable"),
    "half a line": (b"$t_ms=50,wheel_co\n", "undecodable"),
    "a million bytes": (b"\x55" * 1_000_000 + b"\n", "over-long"),
}


@pytest.mark.parametrize("name", RUBBISH)
def test_rubbish_through_a_pseudo_terminal(heron, tmp_path, name):
    """Rubbish between good lines: counted under its cause, shown harmless, and the wheel goes on as if it were not."""
    data, cause = RUBBISH[name]
    robot = load_robot("heron")
    cable = Cable(tmp_path / "robot")
    talker = Talker(cable)
    plain = name != "a million bytes"

    def spoken(line):
        return line[1:].split(b"*")[0] + b"\n" if plain else line

    with Monitor(robot, cable.name, baud=115200) as monitor:
        wait_for(monitor, lambda s: s.state == "live", meanwhile=lambda: talker.talk(0.1, spoken))
        talker.talk(0.25, spoken)
        cable.write(data)
        talker.talk(0.25, spoken)
        seen, _ = wait_for(monitor, lambda s: cause in s.health.dropped)
        raw = monitor.recent_lines(200)
    cable.close()
    assert seen.health.dropped == {cause: 1}
    assert seen.wheel_rpm == pytest.approx(1500, rel=0.02)
    assert seen.shots == ()
    assert all(line.isprintable() for line in raw)
    assert any(line.endswith(f"[{cause}]") for line in raw) or name == "a million bytes"


def _fuzzed(rng, count):
    """Lines of every layout, whole, broken, spliced and random, in one stream."""
    good = [framed(f"t_ms={i},wheel_counts={i * 3},battery_mv=9{i % 1000:03d},fired={i % 2}") for i in range(200)]
    good += [b'{"t_ms":%d,"battery_v":12.%d,"x":[1,{"y":"z"}]}\n' % (i, i) for i in range(50)]
    good += [b"t_ms=%d wheel_rpm=%d setpoint=nan\r\n" % (i, i) for i in range(50)]
    good += [b"%d,%d,%d\n" % (i, i, i) for i in range(20)]
    chosen = rng.integers(0, len(good), count)
    stream = bytearray(b"".join(good[i] for i in chosen))
    array = np.frombuffer(stream, np.uint8)
    hit = np.flatnonzero(rng.random(len(array)) < 0.004)
    array[hit] = rng.integers(0, 256, len(hit))
    return bytes(stream)


def _fuzz(robot, batches, size, seed):
    rng = np.random.default_rng(seed)
    line, lines = Line(robot), 0
    for batch in range(batches):
        data = _fuzzed(rng, size)
        at = 0
        while at < len(data):
            step = int(rng.integers(1, 20_000))
            line.feed(data[at : at + step], batch + at / len(data))
            at += step
        line.fresh.clear()
        live = line.live("live", "", None, batch + 1.0)
        lines = live.health.lines
        for value in (live.wheel_rpm, live.battery_v, live.distance_m):
            assert value is None or np.isfinite(value)
        assert all(text.isprintable() for text in line.raw(20))
        counted = live.health.good + sum(live.health.dropped.values())
        assert counted in (lines, lines - 1, lines - 2)  # the last one or two may be held
    return lines


def test_fuzzed_lines_are_all_counted(heron):
    assert _fuzz(heron, 4, 5_000, 1) >= 19_000


@pytest.mark.slow
def test_ten_million_fuzzed_lines_are_all_counted(heron, capsys):
    began = time.monotonic()
    lines = _fuzz(heron, 200, 50_000, 2)
    with capsys.disabled():
        print(f"\n{lines:,} fuzzed lines in {time.monotonic() - began:.0f} s")
    assert lines >= 9_500_000
