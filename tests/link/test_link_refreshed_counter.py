"""A controller's program whose counter is read anew every 20 ms under lines every 5 ms, run on a simulated chip."""

from __future__ import annotations

import re
import shutil
import subprocess
import time
from pathlib import Path

import numpy as np
import pytest
from decode_lines import decode_lines, matched, robot_for, wrong_and_blank

CLOCK_HZ = 16_000_000
SECONDS = 9.0
SHOTS_S = (3.0, 4.0, 5.0, 6.0, 7.0, 8.0)


@pytest.fixture(scope="module")
def printed(tmp_path_factory):
    """(t_ms, counts) of each line, as the chip printed them."""
    if shutil.which("avr-gcc") is None or shutil.which("simavr") is None:
        pytest.skip("avr-gcc or simavr is not installed: the program can't be compiled and run here")
    elf = tmp_path_factory.mktemp("avr") / "refreshed_counter.elf"
    source = Path(__file__).with_name("refreshed_counter.c")
    command = ["avr-gcc", "-mmcu=atmega328p", f"-DF_CPU={CLOCK_HZ}UL", "-Os", "-Wall", "-Wextra", "-Werror", "-std=c99"]
    subprocess.run([*command, "-o", str(elf), str(source)], check=True)
    chip = subprocess.Popen(
        ["simavr", "-m", "atmega328p", "-f", str(CLOCK_HZ), str(elf)], stdout=subprocess.PIPE, stderr=subprocess.STDOUT
    )
    found, until = [], time.monotonic() + 90
    try:
        while time.monotonic() < until and (not found or found[-1][0] < 1000 * SECONDS):
            match = re.search(rb"t_ms=(\d+),wheel_counts=(\d+)", chip.stdout.readline())
            if match:
                found.append((int(match[1]), int(match[2])))
    finally:
        chip.kill()
        chip.wait()
        chip.stdout.close()
    return found


@pytest.fixture(scope="module")
def decoding(printed):
    rng = np.random.default_rng(3)
    chunks = [
        (t / 1000 + 0.003 + float(rng.uniform(0, 0.002)), f"t_ms={t},wheel_counts={counts}\n".encode())
        for t, counts in printed
    ]
    return decode_lines(chunks, robot_for(56.0, 0.12), SECONDS)


def test_the_program_prints_four_lines_to_a_refresh(printed):
    t, counts = np.array(printed).T
    assert len(t) > 1700
    assert np.median(np.diff(t)) == 5
    assert np.diff(t[np.flatnonzero(np.diff(counts)) + 1]) == pytest.approx(20, abs=5)
    even = (t >= 1000) & (t <= 2900)
    turns_a_minute = (counts[even][-1] - counts[even][0]) / 56 / (t[even][-1] - t[even][0]) * 60_000
    assert turns_a_minute == pytest.approx(2000, rel=0.01)


def test_its_speed_is_shown_and_is_right(decoding):
    t = np.arange(0.0, SECONDS, 0.001)
    rpm = np.full_like(t, 2000.0)
    for shot in SHOTS_S:
        before = rpm[t < shot][-1]
        behind = t >= shot
        rpm[behind] = 2000 - (2000 - 0.88 * before) * np.exp(-(t[behind] - shot) / 0.256)
    wrong, blank = wrong_and_blank(decoding.looks, t, [rpm], late_s=0.02)
    assert wrong == 0
    assert blank <= 0.2


def test_its_shots_are_found(decoding):
    pairs, phantoms = matched(decoding.shots, SHOTS_S, 0.15)
    assert (len(pairs), phantoms) == (len(SHOTS_S), 0)


def test_no_refresh_is_taken_for_something_else(decoding):
    assert (dict(decoding.dropped), dict(decoding.notices)) == ({}, {})
