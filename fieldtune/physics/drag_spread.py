"""How far each surface's drag may be off, as relative standard deviations.

Apart from the laws themselves, so that a profile is read without arrays: the console paints before it imports them.
"""

from __future__ import annotations

SURFACE_SPREAD = {
    # Published correlations differ by 0.1 between Re 5e3 and 1.5e5, and real foam and plastic balls are less round and
    # less smooth.
    "smooth": 0.15,
    # Cross & Lindsey, Sports Eng. 17 (2014) 89: wind tunnels give 18 to 25 % more than free flight, also of spin.
    "felt": 0.15,
    # From memory: ball makes differ by about this much around the crisis.
    "seamed": 0.20,
    # Ball makes differ by about this much around the early crisis (from memory).
    "dimpled": 0.15,
    # From memory: balls with holes differ much by make.
    "perforated": 0.25,
    # As rough as one makes it: 0.4 to 0.55 (from memory).
    "foam": 0.20,
}
CONSTANT_SPREAD = 0.10
"""Of a coefficient that a profile gives."""
BLUFF_SPREAD = 0.3
"""Of a tumbling disc or block; common practice."""


def drag_spread(surface: str, coefficient: float | None = None) -> float:
    """Spread of a surface's law, or of the constant coefficient if one is given."""
    return SURFACE_SPREAD[surface] if coefficient is None else CONSTANT_SPREAD
