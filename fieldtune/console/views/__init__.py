"""The other views, one key each; Esc leads back from all of them."""

from __future__ import annotations

from fieldtune.console.board import Board
from fieldtune.console.views.battery import BatteryView
from fieldtune.console.views.help import HelpView
from fieldtune.console.views.known import KnownView
from fieldtune.console.views.line import LineView
from fieldtune.console.views.plan import PlanView
from fieldtune.console.views.sizes import SizesView
from fieldtune.console.views.wheel import WheelView

BY_NAME: dict[str, type[Board]] = {
    "battery": BatteryView,
    "help": HelpView,
    "known": KnownView,
    "line": LineView,
    "plan": PlanView,
    "sizes": SizesView,
    "wheel": WheelView,
}
