"""What the causes of misses are called, and what helps against each."""

from __future__ import annotations

SPEED, ANGLE, SIDE = "speed scatter", "angle scatter", "side scatter"
HOLD, STEP, BATTERY, READING = "hold error", "setpoint step", "battery", "distance reading"
LEVEL, EXIT_ANGLE, DRAG, FRICTION, BIAS = "exit speed", "exit angle", "drag", "friction", "side bias"

SCATTERS = (SPEED, ANGLE, SIDE, HOLD, BATTERY)
UNKNOWNS = (LEVEL, EXIT_ANGLE, DRAG, FRICTION, READING)

REMEDIES = {
    SPEED: "feed elements of one size and hardness the same way each time, at full speed",
    ANGLE: "take play out of the guide that the element leaves by",
    SIDE: "guide the element at both sides until it has left",
    HOLD: "tune the wheel's control: fieldtune response shows how well it holds",
    STEP: "let the robot program accept finer setpoints",
    BATTERY: "measure the battery's voltage and give it, or control the speed by the encoder",
    READING: "measure the distance from the element at the exit, and check the sensor against a tape",
    LEVEL: "confirm shots: fieldtune next says which",
    EXIT_ANGLE: "confirm shots from unlike distances, or film the exit from the side",
    DRAG: "confirm shots from unlike distances",
    FRICTION: "confirm shots from unlike distances, or tilt a piece of the floor",
    BIAS: "turn the launcher by the side bias that the shots show",
}
"""What helps against each cause."""
