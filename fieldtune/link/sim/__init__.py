"""The simulated robot: it has the profile's physics, hidden errors drawn by seed, and speaks the robot's own lines."""

from fieldtune.link.sim.robot import SimulatedRobot
from fieldtune.link.sim.serve import PtyRobot, serve

__all__ = ["PtyRobot", "SimulatedRobot", "serve"]
