"""The one table that a run of the bench ends with."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from bench_table import Table


@pytest.fixture(scope="session")
def waiting_table(request: pytest.FixtureRequest) -> Iterator[Table]:
    """The table of the whole run, printed at its end."""
    table = Table()
    yield table
    capture = request.config.pluginmanager.getplugin("capturemanager")
    with capture.global_and_fixture_disabled():
        print(f"\n\nWhat people wait for\n{table.text()}\n")
