"""Drive, gearing, spring, battery and safety figures computed from a robot."""
