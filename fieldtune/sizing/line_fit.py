"""A battery as a straight line, V = rest voltage - resistance * current, fitted as samples come.

A Kalman filter over the two unknowns: recursive least squares in which the rest voltage may wander as charge goes and
the resistance hardly at all (Bar-Shalom, Li & Kirubarajan, Estimation with Applications to Tracking and Navigation,
2001, chapter 5). An odd sample is weighed down as Huber does (Robust Statistics, 1981): by its distance over 2.5
deviations.
Plain floats: it runs ten times a second beside everything else.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

_HUBER = 2.5
_REST_WANDER = 2e-3
_RESISTANCE_WANDER = 1e-3
_NOISE_FLOOR = 2e-3
_NOISE_START = 0.03
_NOISE_RATE = 0.03


@dataclass
class LineFit:
    """Rest voltage (V) and resistance (ohm) with their covariance; ``noise`` is one sample's deviation, V."""

    rest_v: float
    resistance: float
    var_rest: float
    var_resistance: float
    covariance: float = 0.0
    noise: float = _NOISE_START
    samples: int = 0

    @classmethod
    def start(cls, rest_v: float, resistance: float, resistance_sd: float, rest_sd: float = 0.15) -> LineFit:
        """Begin at a first guess of both."""
        return cls(rest_v, resistance, rest_sd**2, resistance_sd**2)

    @property
    def rest_sd(self) -> float:
        """Standard deviation of the rest voltage, V."""
        return math.sqrt(self.var_rest)

    @property
    def resistance_sd(self) -> float:
        """Standard deviation of the resistance, ohms."""
        return math.sqrt(self.var_resistance)

    def current_at(self, volts: float) -> float:
        """Current (A) that the line gives at a voltage, not below zero."""
        return max((self.rest_v - volts) / self.resistance, 0.0)

    def wait(self, seconds: float) -> None:
        """Let time pass: both unknowns may have moved since."""
        self.var_rest += _REST_WANDER**2 * seconds
        self.var_resistance += (_RESISTANCE_WANDER * self.resistance) ** 2 * seconds

    def update(self, volts: float, amps: float, amps_sd: float = 0.0, volts_share: float = 1.0) -> None:
        """One reading, V and A. ``amps_sd``: the current's error; ``volts_share``: noise over a single sample's."""
        off = volts - (self.rest_v - self.resistance * amps)
        to_rest = self.var_rest - self.covariance * amps
        to_resistance = self.covariance - self.var_resistance * amps
        explained = to_rest - to_resistance * amps
        noise = (self.noise * volts_share) ** 2 + (self.resistance * amps_sd) ** 2
        far = abs(off) / math.sqrt(explained + noise)
        if far > _HUBER:
            noise = noise * far / _HUBER + explained * (far / _HUBER - 1)
        total = explained + noise
        gain_rest, gain_resistance = to_rest / total, to_resistance / total
        self.rest_v += gain_rest * off
        self.resistance = max(self.resistance + gain_resistance * off, 1e-4)
        self.var_rest -= gain_rest * to_rest
        self.covariance -= gain_rest * to_resistance
        self.var_resistance -= gain_resistance * to_resistance
        self.samples += 1
        self._learn_noise(volts - (self.rest_v - self.resistance * amps), volts_share)

    def _learn_noise(self, left: float, volts_share: float) -> None:
        """Follow the size of what the line does not explain, a far sample counting no more than Huber lets it."""
        single = min(abs(left), _HUBER * self.noise * volts_share) / volts_share
        self.noise = max(math.sqrt(self.noise**2 + _NOISE_RATE * (single**2 - self.noise**2)), _NOISE_FLOOR)
