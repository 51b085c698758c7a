"""The wheel from samples: turns over time, speed and its noise, and own rpm that the robot's program smooths."""
