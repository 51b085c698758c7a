"""What is kept: one SQLite file a robot."""
