"""A parity bit behind seven bits is taken away; one behind eight is known, and what to do is said.

Frames as usual on an asynchronous line: start bit, data bits with the lowest first, parity, stop bit (common practice).
"""

from __future__ import annotations

import random

import pytest
from link_ptys import Cable, Talker, wait_for

from fieldtune import load_robot
from fieldtune.link import Monitor
from fieldtune.link.parity import ParityBit, with_parity


def seven(data, kind):
    """Each byte with the bit that makes its ones even or odd in number, or always a one."""
    bit = {"E": lambda ones: ones & 1, "O": lambda ones: 1 - (ones & 1), "M": lambda ones: 1}[kind]
    return bytes(byte | bit(bin(byte).count("1")) << 7 for byte in data)


def eight_heard_without_parity(data, odd):
    """What a receiver of 8N1 makes of 8E1 or 8O1, back to back: a byte whose stop bit is low is read as NUL."""
    levels = []
    for byte in data:
        bits = [byte >> k & 1 for k in range(8)]
        levels += [0, *bits, (sum(bits) + odd) & 1, 1]
    out, at = bytearray(), 0
    while at + 9 < len(levels):
        if levels[at]:
            at += 1
            continue
        good = levels[at + 9]
        out.append(sum(levels[at + 1 + k] << k for k in range(8)) if good else 0)
        at += 10
    return bytes(out)


def said(count=200):
    wheel = Talker(None)
    return b"".join(wheel.line() for _ in range(count))


@pytest.fixture
def cable(tmp_path):
    one = Cable(tmp_path / "robot")
    yield one
    one.close()


@pytest.mark.parametrize("kind", "EOM")
def test_seven_bits_with_parity_are_read(cable, kind):
    wheel = Talker(cable)
    with Monitor(load_robot("heron"), cable.name) as line:
        seen, _ = wait_for(
            line, lambda s: s.wheel_rpm is not None, meanwhile=lambda: wheel.talk(0.1, lambda data: seven(data, kind))
        )
        assert seen.wheel_rpm == pytest.approx(1500, rel=0.03)
        assert "7 bits and parity" in seen.words


@pytest.mark.parametrize(("odd", "framing"), [(0, "8E1"), (1, "8O1")])
def test_eight_bits_with_parity_are_named_with_the_remedy(cable, odd, framing):
    wheel = Talker(cable)
    with Monitor(load_robot("heron"), cable.name, 115200) as line:
        seen, _ = wait_for(
            line,
            lambda s: framing in s.words,
            meanwhile=lambda: wheel.talk(0.1, lambda data: eight_heard_without_parity(data, odd)),
        )
        assert "let its program set 8 bits, no parity (8N1)" in seen.words


def test_letters_of_other_languages_are_no_parity_bits():
    text = "Geschwindigkeit: 1500 U/min, Temperatur: 24 °C, Höhe 3 µm\r\n".encode() * 5
    bit = ParityBit()
    assert b"".join(bit.text(text[at : at + 17]) for at in range(0, len(text), 17)) == text
    assert not bit.strips


def test_a_damaged_byte_is_no_digit():
    sent = bytearray(seven(said(), "E"))
    rng, bit = random.Random(3), ParityBit()
    hurt = rng.sample(range(200, len(sent)), 40)
    for at in hurt:
        sent[at] ^= 1 << rng.randrange(8)
    heard = bit.text(bytes(sent[:100])) + bit.text(bytes(sent[100:]))
    assert {heard[at] for at in hurt} == {0xFF}
    assert bit.strips
    assert heard.replace(b"\xff", b"").isascii()


def test_when_eight_bits_come_again_they_are_read_as_such():
    bit = ParityBit()
    bit.text(seven(said(20), "E"))
    plain = "Höhe 3 µm, wheel_rpm=1500\n".encode() * 20
    heard = b"".join(bit.text(plain[at : at + 20]) for at in range(0, len(plain), 20))
    assert heard.endswith(plain[-300:])


def test_noise_and_text_have_no_parity():
    rng = random.Random(5)
    assert with_parity(bytes(rng.randrange(256) for _ in range(300))) is None
    assert with_parity(said()) is None
    assert with_parity(bytes(300)) is None
    assert with_parity(b"\0".join(said()[at : at + 1] for at in range(200))) is None
