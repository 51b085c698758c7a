"""Recordings of the line: written, read back though damaged, decoded, and what one shows of the wheel's control."""
