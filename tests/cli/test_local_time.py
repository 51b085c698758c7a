"""Times are kept in UTC and shown as clocks show them here, across zones and daylight saving."""

from __future__ import annotations

import time

import pytest

from fieldtune.plain_text import local_time

HERE = [
    ("Europe/Berlin", "2026-03-29T00:59:59.000Z", "2026-03-29 01:59:59"),  # the second before clocks go forward
    ("Europe/Berlin", "2026-03-29T01:00:00.000Z", "2026-03-29 03:00:00"),
    ("America/Chicago", "2026-01-01T03:00:00.000Z", "2025-12-31 21:00:00"),
    ("Asia/Kathmandu", "2026-06-01T00:00:00.000Z+", "2026-06-01 05:45:00"),
    ("UTC", "1970-01-01T00:00:00.000Z", "1970-01-01 00:00:00"),
    ("UTC", "2106-02-07T06:28:16.000Z", "2106-02-07 06:28:16"),
    ("UTC", "no time\x1b", "no time\\x1b"),
]


@pytest.mark.skipif(not hasattr(time, "tzset"), reason="the zone can't be changed within a process here")
@pytest.mark.parametrize(("zone", "kept", "shown"), HERE)
def test_a_time_as_clocks_show_it_here(zone: str, kept: str, shown: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Zones and their changes by the IANA time zone database."""
    with monkeypatch.context() as here:
        here.setenv("TZ", zone)
        time.tzset()
        assert local_time(kept) == shown
    time.tzset()
