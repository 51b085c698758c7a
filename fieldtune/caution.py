"""The caution that goes with whatever leaves the tool, told in the same words everywhere."""

CAUTION = (
    "Fast wheels, loaded springs and flying elements can hurt: wear eye protection and",
    "keep the range clear. Event rules, local codes and qualified supervision decide;",
    "no number here means that it is safe.",
)
"""Line by line, short enough for a comment in a program."""
CAUTION_KEY = "caution understood"
"""Under this the log keeps that it was read in the console."""


def where_cautions_are(robot: str) -> str:
    """One line beside an answer that leaves no room for what can hurt."""
    return (
        "caution: eye protection on, range clear; no number here means that it is safe. "
        f"What can hurt: fieldtune check {robot}"
    )
