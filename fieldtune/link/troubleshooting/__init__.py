"""What is wrong with a line and what to do about it: in words, and as fields named for the profile."""
