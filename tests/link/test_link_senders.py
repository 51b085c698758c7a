"""The example senders, compiled and run: what they say is read by the product itself."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tty
from itertools import pairwise

import pytest
from link_ptys import wait_for

from fieldtune import load_robot
from fieldtune.errors import InputError
from fieldtune.link import Monitor
from fieldtune.link.senders import LANGUAGES, sender_text

CLOCK_HZ = 16_000_000


@pytest.fixture(scope="module")
def heron():
    return load_robot("heron")


def test_there_are_four_and_no_other():
    assert LANGUAGES == ("c", "cpp", "java", "micropython")
    with pytest.raises(InputError, match="cobol"):
        sender_text("cobol")


@pytest.fixture(scope="module")
def firmware(tmp_path_factory):
    if shutil.which("avr-gcc") is None:
        pytest.skip("avr-gcc is not installed: the C sender can't be compiled here")
    home = tmp_path_factory.mktemp("avr")
    (home / "sender.c").write_text(sender_text("c"))
    command = ["avr-gcc", "-mmcu=atmega328p", f"-DF_CPU={CLOCK_HZ}UL", "-Os", "-Wall", "-Wextra", "-Werror", "-std=c99"]
    subprocess.run([*command, "-o", str(home / "sender.elf"), str(home / "sender.c")], check=True)
    return home / "sender.elf"


def test_c_on_a_simulated_controller(heron, firmware):
    """simavr runs the firmware with its UART on a pseudo-terminal, and the monitor reads that."""
    program = shutil.which("simavr")
    if program is None:
        pytest.skip("simavr is not installed: the C sender can't be run here")
    uart, robot = os.openpty(), os.openpty()
    for _, slave in (uart, robot):
        tty.setraw(slave)
    process = subprocess.Popen(
        [program, "-m", "atmega328p", "-f", str(CLOCK_HZ), str(firmware)], stdout=uart[1], stderr=uart[1]
    )
    bridge = subprocess.Popen([sys.executable, "-c", _BRIDGE], stdin=uart[0], stdout=robot[0])
    try:
        with Monitor(heron, os.ttyname(robot[1])) as monitor:
            seen, _ = wait_for(monitor, lambda s: s.health.good > 100, seconds=15)
        # Nothing is connected to the simulated ADC: it reads 0 V, which no battery has, and is soon taken as unknown.
        assert seen.health.dropped == {"impossible battery": 3}
        assert seen.health.notices["battery out of range"] >= 97
        assert seen.battery_v is None
        assert seen.health.clock == "robot"
        steps = [b.time_s - a.time_s for a, b in pairwise(monitor.drain())]
        assert all(step == pytest.approx(0.01, abs=0.002) for step in steps)
    finally:
        for running in (process, bridge):
            running.kill()
            running.wait()
        for end in (*uart, *robot):
            os.close(end)


# simavr prints its UART in colour and shows control characters as dots: give back what the controller sent.
_BRIDGE = r"""
import os, re
rest = b""
while True:
    try:
        rest += os.read(0, 4096)
    except OSError:
        break
    *lines, rest = rest.split(b"\n")
    for line in lines:
        found = re.search(rb"\$.*\*..", re.sub(rb"\x1b\[[0-9;]*m", b"", line))
        if found:
            os.write(1, found.group() + b"\n")
"""


def _decode_table(a_b_steps):
    """The sender's own table, driven as its interrupt drives it."""
    text = sender_text("c")
    table = [int(n) for n in text.split("step_of[16] = {")[1].split("}")[0].split(",")]
    state = count = 0
    for new in a_b_steps:
        state = (state << 2 | new) & 15
        count += table[state]
    return count


def test_quadrature_counts_four_a_cycle():
    """Both channels give four edges a cycle; 00-10-11-01-00 is one way, reversed the other (common practice)."""
    forward = [0b10, 0b11, 0b01, 0b00]
    backward = [0b01, 0b11, 0b10, 0b00]
    one_way = _decode_table(forward * 250)
    assert abs(one_way) == 1000
    assert _decode_table(backward * 250) == -one_way
    assert _decode_table([0b11, 0b00, 0b11]) == 0  # both channels at once can't be: not counted
    assert _decode_table([0b00] * 9) == 0


def built(language, folder):
    """The command that runs a sender, compiled with all warnings where it has to be."""
    if language == "micropython":
        (folder / "sender.py").write_text(sender_text(language))
        return [sys.executable, str(folder / "sender.py")]
    name, compiler, then = {
        "cpp": ("sender.cpp", ["g++", "-std=c++11", "-Wall", "-Wextra", "-Werror", "-o", "sender"], ["./sender"]),
        "java": ("Sender.java", ["javac", "-Xlint:all", "-Werror"], ["java", "-Xshare:auto", "Sender"]),
    }[language]
    if shutil.which(compiler[0]) is None:
        pytest.skip(f"{compiler[0]} is not installed")
    (folder / name).write_text(sender_text(language))
    subprocess.run([*compiler, name], cwd=folder, check=True)
    return then


@pytest.mark.parametrize("language", ["cpp", "java", "micropython"])
def test_others_on_a_pseudo_terminal(language, heron, tmp_path):
    command = built(language, tmp_path)
    master, slave = os.openpty()
    tty.setraw(slave)
    process = subprocess.Popen(command, cwd=tmp_path, stdout=master)
    try:
        with Monitor(heron, os.ttyname(slave)) as monitor:
            seen, _ = wait_for(monitor, lambda s: s.health.good > 30, seconds=10)
        assert seen.health.dropped == {}
        assert seen.health.clock == "robot"
        assert seen.battery_v == 12.345
    finally:
        process.kill()
        process.wait()
        os.close(master)
        os.close(slave)


def test_python_uses_only_what_micropython_has():
    """No import but sys and time, and no f-strings with formats MicroPython lacks."""
    text = sender_text("micropython")
    imports = [line.split()[1] for line in text.splitlines() if line.startswith(("import ", "from "))]
    assert imports == ["sys", "time"]


def test_all_state_the_cautions():
    for language in LANGUAGES:
        assert "stand clear" in sender_text(language)


@pytest.mark.parametrize("language", LANGUAGES)
def test_senders_carry_the_cautions(language: str) -> None:
    words = " ".join(sender_text(language).replace("\n *", " ").replace("\n//", " ").split())
    for caution in ("eye protection", "range clear", "Event rules", "local codes", "qualified supervision"):
        assert caution in words
    assert "no number here means that it is safe" in words
