"""What profiles to start from say of each kind of launcher."""

from __future__ import annotations

from fieldtune.frozen import frozen


@frozen
class StarterText:
    """What a profile to start from says of this kind: whole tables, and the words that fill the common ones."""

    element: str
    launcher: str
    encoder: str
    target: str
    drives: str
    motors: int
    gears: str
    sets: str
    setpoints: tuple[str, str, str]
    doubt: tuple[str, str]
    spots: tuple[str, str]


_BALL = """\
[element]                      # what is launched
shape = "sphere"               # sphere | disc | block
diameter = "58 mm"             # two books and a ruler; turn the ball, take the mean
mass = "40 g"                  # kitchen scale: weigh ten, divide by ten
surface = "smooth"             # smooth (hollow plastic) | foam | felt | seamed (inflated) | dimpled | perforated
# seams = "raised"             # of a seamed ball thrown fast: flat panels, raised stitches or pebbled all over
# drag = 0.47                  # a drag coefficient you trust more than the surface's own law
# lift = 0.0                   # a lift coefficient in place of what its spin makes

"""

_DISC = """\
[element]                      # what is launched
shape = "disc"                 # sphere | disc | block
diameter = "90 mm"             # ruler across the middle
height = "18 mm"               # thickness
mass = "75 g"                  # kitchen scale: weigh ten, divide by ten
surface = "smooth"
# seams = "raised"             # of a seamed ball
# drag = 1.1                   # for one that flies: its drag coefficient
# lift = 0.0

"""

_FLYWHEEL = """\
[launcher]
kind = "flywheel"
exit_angle = "52 deg"          # phone's level held along the ball's way out; or film it from the side
exit_height = "38 cm"          # tape measure: floor to the ball's centre where it leaves the wheels
wheels = 2                     # 1: one wheel against a fixed rail; 2: a pair
wheel_diameter = "88 mm"       # ruler across the tread, as the ball finds it
wheel_inertia = "180 kg mm^2"  # mass on a scale times radius squared: times 1 for a rim, 0.5 for a solid disc;
                               # a motor geared down adds its rotor's times the reduction squared
speed_ratio = 1.0              # second (upper) wheel's speed over the first's; below 1 gives backspin
grip = 0.76                    # exit speed over ideal rolling speed: a guess, shots will tell
# wheel_top_speed = "6000 rpm" # the highest that the wheel's maker states
# wheel_density = "1200 kg/m^3"  # mass over volume: tells the stress in the rim
# wheel_strength = "20 MPa"    # what the wheel's material is stated to stand

"""

_WIRE = """\
# [launcher.spring]            # optional, callipers: tells the stress in the spring and how long it lasts
# wire_diameter = "1.6 mm"
# coil_diameter = "14 mm"      # mean: outside diameter less one wire
# active_turns = 27            # turns that move
# material = "A228"            # ASTM designation or name, such as music wire
# kind = "compression"         # compression | extension (with hooks: hook_radius, hook_bend_radius)
# finish = "as wound"          # as wound | shot-peened
# total_turns = 29             # with those at its ends
# free_length = "120 mm"       # relaxed, without load
# hook_radius = "7 mm"         # of an extension spring's hooks, to the middle of the wire
# hook_bend_radius = "4 mm"    # where the hook bends up from the coils

"""

_STRIKER = """\
[launcher]
kind = "striker"
contact = "strike"             # strike: hits and lets go | push: stays in contact until the stop
striker_mass = "120 g"         # scale: all that moves with the striker, without the spring
spring_rate = "0.9 N/mm"       # hang a known mass on it: 9.81 N a kilogram over the millimetres it gives way
preload = "4 N"                # pull the striker just off its stop with a luggage scale: 9.81 N a kilogram
spring_mass = "18 g"           # scale
draw_min = "8 mm"              # ruler along the striker: shortest draw that the robot uses
draw_max = "52 mm"             # and the longest; the spring must not be squeezed solid there
restitution = 0.6              # bounce of the blow: a guess, shots will tell
efficiency = 0.8               # share of the spring's energy that arrives: a guess, shots will tell
# exit_height = "9 mm"         # half the disc's thickness unless it leaves higher
# exit_angle = "0 deg"         # above the horizontal, where it doesn't leave level

"""

_ARM = """\
[launcher]
kind = "arm"
arm_length = "40 cm"           # tape measure: pivot to the element's centre
arm_inertia = "0.012 kg m^2"   # about the pivot: mass on a scale times length squared, over 3 for an even bar
release_angle = "45 deg"       # phone's level on the arm where it stops: above the horizontal
exit_height = "70 cm"          # tape measure: floor to the element's centre at release
# exit_angle = "45 deg"        # where the element doesn't leave as the arm's release angle lets expect
spring_rate = "20 N/m"         # luggage scale at the tip, along its arc: newtons (9.81 a kilogram) over metres
# torque = "2 N m"             # instead of spring_rate: a constant torque at the pivot
preload = "3 N"                # luggage scale at the tip in the release position
draw_min = "15 cm"             # tape along the tip's arc, from release back: shortest draw that the robot uses
draw_max = "60 cm"             # and the longest
efficiency = 0.8               # share of the energy that arrives: a guess, shots will tell

"""


_ENCODER = """\
[encoder]                      # leave out if there is none
counts_per_turn = 48           # turn it once by hand and read the counter (after x4 decoding)
on = "motor"                   # motor | wheel
bits = 32                      # width of the robot's counter

"""

_NO_ENCODER = "".join(f"# {line}\n" if line else "\n" for line in _ENCODER.split("\n")[:-1])

_BASKET = """\
[target]
kind = "basket"                # basket: level opening entered from above | window | zone | gate
height = "95 cm"               # tape measure: floor to the opening
opening = "36 cm"              # inner diameter, or ["depth", "width"]
clearance = "0 mm"             # extra margin a side
# position = ["3.2 m", "0 m"]  # where it stands on the field, for: fieldtune aim --at
# rim = "16 mm"                # thickness of a hard, round rim: then hits off it count, too
# board = ["60 cm", "45 cm", "12 cm"]  # width, height, distance behind the rim of a board that begins at its height

"""

_ZONE = """\
[target]
kind = "zone"                  # zone: stop on the floor inside it | gate: pass through it | basket | window
opening = ["40 cm", "50 cm"]   # depth along the shot, width across it
# height = "0 cm"              # of targets that are reached through the air
# clearance = "0 mm"           # extra margin a side
# position = ["3.2 m", "0 m"]  # where it stands on the field, for: fieldtune aim --at

[floor]
friction = 0.22                # tilt the floor's stuff until the element keeps sliding: tangent of that angle
slope = "0 deg"                # phone's level; rising away from the launcher is positive
# restitution = 0.3            # where the element lands first: drop it, root of rebound over drop height
# rolling = 0.02               # of a ball that rolls: braking force over weight

"""

_FLOOR = """\
# [floor]                      # for zones and gates
# friction = 0.22              # tilt the floor's stuff until the element keeps sliding: tangent of that angle
# slope = "0 deg"              # phone's level; rising away from the launcher is positive
# restitution = 0.3            # drop the element, root of rebound over drop height
# rolling = 0.02               # of a ball that rolls: braking force over weight

"""

_WINDOW = """\
[target]
kind = "window"                # window: upright opening | basket | zone | gate
height = "1.1 m"               # tape measure: floor to the opening's centre
opening = ["60 cm", "50 cm"]   # width, height
clearance = "0 mm"             # extra margin a side
# position = ["3.2 m", "0 m"]  # where it stands on the field, for: fieldtune aim --at

"""


FLYWHEEL = StarterText(
    element=_BALL, launcher=_FLYWHEEL, encoder=_ENCODER, target=_BASKET + _FLOOR, drives="turns the wheels", motors=2,
    gears="[[22, 33], [20, 28]]", sets="rpm of the wheel", setpoints=("600 rpm", "2500 rpm", "10 rpm"),
    doubt=("grip", "8 %"), spots=("1.8 m", "2.8 m"),
)  # fmt: skip
STRIKER = StarterText(
    element=_DISC, launcher=_STRIKER + _WIRE, encoder=_NO_ENCODER, target=_ZONE, drives="cocks the striker", motors=1,
    gears="[[13, 65], [14, 84]]", sets="draw", setpoints=("8 mm", "52 mm", "0.5 mm"), doubt=("friction", "20 %"),
    spots=("1.0 m", "2.4 m"),
)  # fmt: skip
ARM = StarterText(
    element=_BALL, launcher=_ARM + _WIRE, encoder=_NO_ENCODER, target=_WINDOW + _FLOOR,
    drives="draws the arm back", motors=1,
    gears="[[14, 70], [15, 75], [18, 81]]", sets="draw", setpoints=("150 mm", "600 mm", "2 mm"),
    doubt=("efficiency", "10 %"), spots=("1.5 m", "2.5 m"),
)  # fmt: skip
