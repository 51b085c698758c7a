"""Every key of the console, in one place: what it is called, and one line on what it does.

Letters are the first of a plain English word wherever they are free. The space bar does nothing anywhere, so that a
hand laid on the keyboard can't fire or confirm anything.
"""

from __future__ import annotations

from dataclasses import replace

from textual.binding import Binding


def _key(key: str, action: str, name: str, tooltip: str, shown: str | None = None, show: bool = True) -> Binding:
    word = action.replace("(", "-").replace(")", "").replace("'", "").replace(".", "-")
    return Binding(key, action, name, tooltip=tooltip, id=f"key-{word}", key_display=shown, show=show)


RESULTS = [
    _key("i", "result('in')", "In", "The shot scored: confirm it and learn from it"),
    _key("s", "result('short')", "Short", "The shot fell short (window: too low)"),
    _key("l", "result('long')", "Long", "The shot went long (window: too high)"),
    _key("left", "result('left')", "Left", "The shot missed to the left", "←"),
    _key("right", "result('right')", "Right", "The shot missed to the right", "→"),
    _key("m", "miss", "Miss", "Type how far it missed, in cm or inches; teaches more than a word"),
    _key("r", "redo", "Redo", "Do again what was undone last"),
    _key(
        "u", "undo", "Undo", "Undo the last thing you did: a shot, a correction, a battery change; it stays in the log"
    ),
    _key("x", "no_shot", "No shot", "Nothing was launched: discard the shot that the line reported"),
    _key("y", "yes", "Yes", "Confirm a result although something about it was odd", show=False),
]
ANOTHER_PORT = _key(
    "ctrl+p", "another_port", "Another port", "Where several robots are plugged in: read the next one", "^p", show=False
)
FOLLOW = _key("0", "follow", "Robot's distance", "Use the distance that the robot sends", show=False)
DISTANCES = [
    _key("d", "distance", "Distance", "Type the distance to the target, or a spot's name"),
    *(_key(str(n), f"spot({n})", f"Spot {n}", f"Shoot from named spot {n}", show=False) for n in range(1, 10)),
    _key("up", "step(1)", "Further", "5 cm or 2 in further away", "↑", show=False),
    _key("down", "step(-1)", "Nearer", "5 cm or 2 in nearer", "↓", show=False),
    _key("t", "target", "Target", "Shoot at the robot's next target", show=False),
]
SIMULATED = [
    _key("f", "fire", "Fire (sim)", "Launch one element on the simulated robot; no real robot is ever fired from here"),
    _key("g", "set", "Set (sim)", "Set the simulated robot to the recommended setpoint"),
]
VIEWS = [
    _key("j", "view('map')", "Map", "Setpoint over distance with hit chance, shots, and where you stand now"),
    _key("h", "view('shots')", "Shots", "The log: answer or correct any shot, leave one out of learning"),
    _key("w", "view('wheel')", "Wheel", "The last ten seconds of readback against setpoint"),
    _key("k", "view('learned')", "Learned", "What the shots have taught, and how far each fell from its prediction"),
    _key("n", "view('next')", "Next", "The shot worth taking next, and where a setpoint scores"),
    _key("b", "view('battery')", "Battery", "Battery state, and the guided change of battery"),
    _key("c", "view('line')", "Line", "Health of the serial line and what it says"),
    _key("z", "view('sizes')", "Sizes", "Gearing, wheel and spring: what if they were different"),
    _key("e", "view('export')", "Export", "Write a table, a pit sheet or program source to a file"),
]
SUNLIGHT = _key(
    "v", "sunlight", "Sun/dark", "Dark, black on white for sunlight, or high contrast for the night", show=False
)
FIND = _key("slash,ctrl+f", "find", "Find", "Any act, view or figure, by a part of its name", "/")
ALWAYS = [
    FIND,
    _key("equals_sign", "view('meanings')", "Meanings", "What the figures on this screen mean", "=", show=False),
    _key("question_mark,f1", "view('help')", "Help", "What each key does here", "?"),
    SUNLIGHT,
    _key("ctrl+u", "units", "Units", "Metric or US customary units, for all that is shown and typed", "^u", show=False),
    _key("escape", "home", "Back", "Back to the main screen", "Esc", show=False),
    _key("q,ctrl+q", "leave", "Quit", "Leave; every confirmed shot is on disk already", "q"),
]

TAKING = [
    _key("f2", "save_picture", "Save picture", "Save the picture to an SVG file in this folder", "F2", show=False),
    _key("f3", "copy_view", "Copy view", "Copy what stands on the screen as text", "F3", show=False),
    _key("f4", "copy_setpoint", "Copy setpoint", "Copy the recommended setpoint's digits", "F4", show=False),
]


LABELS = _key(
    "ctrl+l", "label", "Labels", "Name the match and the batch of elements of the shots to come", "^l", show=False
)
"""On screens from which one shoots, and in the log."""

ROBOTS = [
    _key(
        "ctrl+e",
        "view('encoder')",
        "Encoder",
        "Is the encoder's scale right? By setpoint, hand turns, full power",
        "^e",
    ),
    _key("ctrl+b", "another_battery", "Another battery", "Another one is in: which? Begins a new battery period", "^b"),
    _key("ctrl+o", "leave_for", "Robots", "Another robot, a new one, or this one's values and line", "^o"),
]
"""Set-up of a robot; with Ctrl, so that no slip of a finger leads there."""

ELSEWHERE = {key: binding.description for binding in [*DISTANCES, *SIMULATED] for key in binding.key.split(",")}
"""Keys that only screens have from which one shoots, and what they do there: elsewhere that is said."""


def spots_shown(count: int) -> list[Binding]:
    """How the key bar names the keys of that many spots."""
    if not count:
        return []
    shown = "1" if count == 1 else f"1–{min(count, 9)}"
    says = "Shoot from the named spot of that number"
    return [Binding("1", "spot(1)", "Spots" if count > 1 else "Spot", key_display=shown, tooltip=says, id="spots")]


def targets_shown(count: int) -> list[Binding]:
    """The target's key, for the key bar of a robot with several."""
    return [replace(key, show=True) for key in DISTANCES if key.key == "t" and count > 1]


BETWEEN_ROBOTS = [
    replace(FIND, show=False),
    _key("f1,question_mark", "keys_here", "Help", "What each key does here", "F1"),
    SUNLIGHT,
    _key("ctrl+q", "leave", "Quit", "Leave; what was answered is on disk", show=False),
]
"""On the start screen and in a set-up; where text is typed, letters are text."""

GROUPS = (
    ("After a shot, on every screen", RESULTS),
    ("Distance and target", [*DISTANCES[:10], FOLLOW, *DISTANCES[10:]]),
    ("Simulated robot", SIMULATED),
    ("Screens", VIEWS),
    ("Always", [LABELS, *ALWAYS, ANOTHER_PORT, *TAKING]),
)
