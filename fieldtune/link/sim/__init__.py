"""The simulated robot: it has the profile's physics, hidden errors drawn by seed, and speaks the robot's own lines.

It runs everywhere; ``terminal``, which puts it on a pseudo-terminal, needs a system that has them.
"""

from fieldtune.link.sim.robot import SimulatedRobot

__all__ = ["SimulatedRobot"]
