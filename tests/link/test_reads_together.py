"""Lines that come fast one by one are read many together; seldom ones are read at once."""

from __future__ import annotations

import time

import pytest
from link_ptys import Cable, Talker, wait_for

from fieldtune import load_robot
from fieldtune.link import monitor as monitor_module
from fieldtune.link.monitor import Monitor
from fieldtune.link.ports import Pace, read_chunk


@pytest.mark.parametrize(("every_s", "least", "most"), [(0.001, 8.0, 60.0), (0.01, 0.9, 3.0)])
def test_lines_a_read(tmp_path, monkeypatch, every_s, least, most):
    cable, reads = Cable(tmp_path / "robot"), []

    def counted(port, fast):
        data, arrival_s = read_chunk(port, fast)
        reads.append(data.count(b"\n"))
        return data, arrival_s

    monkeypatch.setattr(monitor_module, "read_chunk", counted)
    talker = Talker(cable, every_s=every_s)
    with Monitor(load_robot("heron"), cable.name, baud=115200) as monitor:
        wait_for(monitor, lambda live: live.state == "live", meanwhile=lambda: talker.talk(0.1))
        before, sent, due = monitor.snapshot().health, 0, time.monotonic()
        reads.clear()
        while sent < 1.5 / every_s:
            cable.write(talker.line())
            sent += 1
            due += every_s
            time.sleep(max(due - time.monotonic(), 0.0))
        wait_for(monitor, lambda live: live.health.good >= before.good + sent - 1)
        assert monitor.snapshot().health.dropped == before.dropped
    cable.close()
    with_lines = [lines for lines in reads if lines]
    assert least < sum(with_lines) / len(with_lines) < most


def test_the_pace_follows_how_fast_lines_come(monkeypatch):
    now = [100.0]
    monkeypatch.setattr(time, "monotonic", lambda: now[0])
    pace = Pace()
    for every_s, lines, fast in ((0.01, 1, False), (0.001, 1, True), (0.03, 30, True), (0.01, 1, False)):
        for _ in range(round(0.5 / every_s)):
            now[0] += every_s
            pace.see(b"line\n" * lines)
        assert pace.fast == fast
