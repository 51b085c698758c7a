"""Constants that more than one room needs, each with its source."""

import math

STANDARD_GRAVITY = 9.80665
"""Standard acceleration of free fall, m/s²: 3rd General Conference on Weights and Measures, 1901."""

RPM = 2 * math.pi / 60
"""One turn a minute, in rad/s."""
