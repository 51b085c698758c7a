"""The battery's pictures for the screens that show them, drawn anew every other second."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fieldtune.charts.history import Outlook, current_chart, voltage_chart

if TYPE_CHECKING:
    from fieldtune.charts.chart import Chart
    from fieldtune.console.controller import Controller

_REDRAWN_S = 2.0
MATCH_S = 150.0
"""How far ahead the forecast is drawn: about a match (common practice)."""


class BatteryPictures:
    """Voltage with its forecast, and current, over the session."""

    def __init__(self, controller: Controller) -> None:
        self._controller = controller
        self._made: tuple[object, tuple[Chart | None, Chart | None]] = (None, (None, None))

    def charts(self) -> tuple[Chart | None, Chart | None]:
        """The same charts for two seconds; None for what the line doesn't say."""
        controller, history = self._controller, self._controller.history
        battery, begin, end = controller.battery, history.begin_s, history.end_s
        key = None if end is None else end // _REDRAWN_S
        if key != self._made[0] and begin is not None and end is not None:
            status = battery.status
            least = None if battery.watch is None else battery.watch.lowest_rest_v(controller.shooting.recommended)
            known = Outlook()
            if status is not None:
                known = Outlook(status.rest_v, status.rest_sd_v, status.shots_left, status.shots_left_90, least)
            stretch = history.stretch(begin, end)
            self._made = key, (voltage_chart(stretch, end, known, MATCH_S), current_chart(stretch, end))
        return self._made[1]
