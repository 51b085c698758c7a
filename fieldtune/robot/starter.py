"""A commented profile to start from: every number with a way to measure it by ruler, scale and phone."""

from __future__ import annotations

from fieldtune.errors import InputError
from fieldtune.line_fields import BY_WIRE_NAME, COUNTER, FIRED, PERIOD, WIRE_NAMES
from fieldtune.robot.kinds import LAUNCHERS
from fieldtune.robot.profile import NAME_RULE, is_name
from fieldtune.units import closest, shown

_HEAD = """\
# Profile of {name}. The numbers are placeholders: measure your own, then run: fieldtune check {name}
# Every quantity carries its unit, metric or US customary: "58 mm" or "2.3 in", "40 g" or "1.4 oz".
# Lines that start with # are optional. Measure with the battery out and the springs relaxed.
format = 1
title = "{title}"

"""

_DRIVE = """\
[drive]                        # what {turns}; all from the motor's data sheet, at nominal voltage
control = "speed"              # speed: closed loop on the encoder | power: a share of battery voltage, open loop
motors = {motors}
nominal_voltage = "9.6 V"
no_load_speed = "6100 rpm"     # one motor, at its own shaft
stall_torque = "0.125 N m"
stall_current = "9.5 A"
no_load_current = "0.5 A"
gears = {gears}             # count teeth: [driving, driven] a stage, motor first
stage_efficiency = 0.95        # common for a spur gear or belt stage
# rotor_inertia = "12 kg mm^2"   # one motor's rotor, where the data sheet has it
# no_load_torque = "0.01 N m"  # at the wheel or crank, what bearings and belts take beyond the motors' own
# crank_radius = "26 mm"       # of the crank that draws a spring; half the longest draw otherwise
# teeth_available = [16, 20, 24, 36]  # gears at hand, for: fieldtune size {name}

[battery]
chemistry = "nimh"             # nimh | lead-acid | li-ion | lifepo4: printed on the pack
cells = 8
resistance = "90 mohm"         # volts at rest less volts under load, over the amperes of that load
# nominal_voltage = "9.6 V"    # printed on it; the drive's otherwise
# capacity = "2 A h"           # printed on it
# brownout = "6.8 V"           # below that the controller switches off

"""

_TAIL = """\
# [air]                        # standard sea-level air otherwise
# temperature = "24 degC"
# pressure = "1005 hPa"        # where the robot stands; forecasts give it reduced to sea level
# humidity = "40 %"

[setpoint]                     # what the robot program accepts: {what}
low = "{low}"
high = "{high}"
step = "{step}"

[uncertainty]                  # how far off the numbers above may be, one standard deviation
{doubts}distance = "3 cm"              # a constant error of the distance reading
exit_speed_scatter = "1.5 %"   # shot to shot
side_scatter = "2 deg"
# exit_angle_scatter = "0.6 deg"
# miss = "5 cm"                # of a measured miss
# battery = "2 %"              # exit speed from one battery to the next
# remainder = "2 %"            # of the exit speed, what the physics leaves out

[link]
port = "auto"                  # auto, a device, or a URL: sim://, replay://FILE, socket://host:port
baud = "auto"
# checksum = "auto"            # auto | required | none
# opening = "gentle"           # for controllers that start anew when their port is opened: DTR isn't toggled

# [link.fields]                # the robot's own names, where they differ: ours = "theirs"
{fields}
# [link.columns]               # for robots that print bare numbers; - for what isn't used
# order = ["t_ms", "wheel_counts", "battery_mv", "-"]

# [link.scale]                 # by any of our names above: what the robot's number is multiplied by to be in our unit
# wheel_rpm = 9.5493           # such as for a robot that sends rad/s

# [hood]                       # where a hood sets the exit angle, a second setpoint; exit_angle is where it rests
# low = "38 deg"               # phone's level along the way out, at the hood's flat end
# high = "66 deg"              # and at its steep end
# step = "1 deg"               # the smallest move that the robot program makes

# [turret]                     # how far the launcher turns by itself, positive right
# low = "-90 deg"
# high = "90 deg"

# [feeder]
# interval = "0.35 s"          # from one element to the next; or by the feeder's own figures:
# spacing = "9 cm"             # ruler: centre to centre of elements that follow each other on it
# speed = "0.25 m/s"           # how fast it moves

[[spots]]                      # named places on the field; distance from the element at exit to the target
name = "near line"
distance = "{near}"

[[spots]]
name = "far line"
distance = "{far}"

# [field]                      # instead of spots, for robots that shoot from anywhere
# near = "{near}"
# far = "{far}"
"""


def new_profile_text(name: str, kind: str) -> str:
    """TOML text of a profile of that kind; raises ``InputError`` for a name or kind that can't be."""
    if not is_name(name):
        raise InputError(f"found {shown(name)}; expected a robot's name, {NAME_RULE}, such as heron")
    if kind not in LAUNCHERS:
        kinds = tuple(LAUNCHERS)
        raise InputError(f"found kind {shown(kind)}; expected {', '.join(kinds)}{closest(kind, kinds)}")
    text = LAUNCHERS[kind].starter()
    low, high, step = text.setpoints
    return "".join(
        (
            _HEAD.format(name=name, title=name.replace("-", " ").capitalize()),
            text.element,
            text.launcher,
            _DRIVE.format(name=name, turns=text.drives, motors=text.motors, gears=text.gears),
            text.encoder,
            text.target,
            _TAIL.format(
                what=text.sets, low=low, high=high, step=step, doubts=_doubts(*text.doubt), fields=_fields(),
                near=text.spots[0], far=text.spots[1],
            ),
        )
    )  # fmt: skip


def _doubts(key: str, spread: str) -> str:
    """The one that matters most for this kind, the others as comments."""
    others = {"grip": "8 %", "efficiency": "10 %", "exit_angle": "2 deg", "drag": "15 %", "friction": "20 %"}
    lines = [f'{"" if name == key else "# "}{name} = "{usual}"' for name, usual in {**others, key: spread}.items()]
    return "".join(f"{line}\n" for line in sorted(lines, key=lambda line: line.startswith("#")))


def _fields() -> str:
    """Every name on the line, with what it is."""
    told = {name: row.words for name, (row, _) in BY_WIRE_NAME.items()}
    return "".join(
        f'# {f"""{name} = "{name}" """:<28} # {told.get(name, _OTHER.get(name, "clock"))}\n' for name in WIRE_NAMES
    )


_OTHER = {
    COUNTER: "encoder's count",
    PERIOD: "microseconds of one turn of the wheel",
    FIRED: "1 on the sample in which an element was released",
}
