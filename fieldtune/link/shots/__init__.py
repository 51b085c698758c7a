"""Shots from the wheel's course: where it may have dropped, how well a shot fits there, and what the dip was."""
