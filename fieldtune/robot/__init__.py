"""What the robot is: the profile, read and checked, in SI."""
