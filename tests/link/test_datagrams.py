"""Datagrams that cut lines are read across; those that hold whole lines stay what they are."""

from __future__ import annotations

import re
import socket
import time

import pytest
from link_ptys import Talker, wait_for

from fieldtune import load_robot
from fieldtune.link import Monitor
from fieldtune.link.text.checksums import framed
from fieldtune.link.urls.datagrams import Datagrams


def lines(count=300):
    return [f"t_ms={5000 + 10 * i},wheel_counts={100_000 + 25 * i},battery_mv={9800 - i % 37}" for i in range(count)]


def in_pieces_of(size, said):
    text = "".join(f"{line}\r\n" for line in said).encode()
    return [text[at : at + size] for at in range(0, len(text), size)]


def value_by_value(said):
    return [piece.encode() for line in said for piece in [*re.findall(r"[A-Za-z_$]+=?|[^A-Za-z_$]+", line), "\n"]]


def read(datagrams):
    joined = Datagrams()
    text = b"".join(map(joined.text, datagrams)).decode()
    return [line for line in re.split(r"[\r\n]+", text) if line], joined


@pytest.mark.parametrize("checked", [False, True])
@pytest.mark.parametrize("cut", [lambda s: in_pieces_of(64, s), lambda s: in_pieces_of(512, s), value_by_value])
def test_lines_cut_by_datagrams_are_read_across(cut, checked):
    said = [framed(line).decode().strip() for line in lines()] if checked else lines()
    found, joined = read(cut(said))
    assert joined.joins
    assert found[-(len(said) - 40) :] in (said[40:], [*said[41:], found[-1]])  # the last one may not be ended yet


def test_letter_by_letter_is_read_too():
    said = lines(60)
    found, _ = read(in_pieces_of(1, said))
    assert found[-58:] == said[-58:]


@pytest.mark.parametrize(
    "whole",
    [
        lambda said: [line.encode() for line in said],
        lambda said: [f"{line}\n".encode() for line in said],
        lambda said: [f"\n{line}".encode() for line in said],
        lambda said: [f"{line},".encode() for line in said],
        lambda said: ["\n".join(said[at : at + 4]).encode() for at in range(0, len(said), 4)],
        lambda said: [(f"{line}\n" if at % 3 else line).encode() for at, line in enumerate(said)],
    ],
    ids=["no line end", "a line end", "one ahead", "a comma behind", "four lines", "two programs"],
)
def test_datagrams_that_hold_whole_lines_are_not_joined(whole):
    said = [line if at % 5 else f"state {at}" for at, line in enumerate(lines())]
    found, joined = read(whole(said))
    assert not joined.joins
    assert [line.rstrip(",") for line in found] == said


def test_a_word_without_line_end_between_lines_joins_nothing():
    said = [f"{line}\n".encode() if at % 7 else b"hello" for at, line in enumerate(lines())]
    found, joined = read(said)
    assert not joined.joins
    assert found.count("hello") == 43


def test_what_never_ends_a_line_is_not_joined_for_ever():
    joined = Datagrams()
    for piece in value_by_value(lines(5)):
        joined.text(piece)
    assert joined.joins
    for at in range(20):
        joined.text(f"wheel_rpm={1500 + at},battery_mv=9800".encode())
    assert not joined.joins


@pytest.mark.parametrize("size", [64, 1])
def test_a_sender_that_fills_its_datagrams_is_read_over_a_real_socket(size):
    wheel = Talker(None)
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as free:
        free.bind(("127.0.0.1", 0))
        number = free.getsockname()[1]
    with (
        socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as robot,
        Monitor(load_robot("heron"), f"udp://:{number}") as line,
    ):
        unsent = b""

        def say():
            nonlocal unsent
            unsent += wheel.line()
            while len(unsent) >= size:
                robot.sendto(unsent[:size], ("127.0.0.1", number))
                unsent = unsent[size:]
            time.sleep(0.01)

        seen, _ = wait_for(line, lambda s: s.wheel_rpm is not None, meanwhile=say)
        assert seen.wheel_rpm == pytest.approx(1500, rel=0.05)
