"""From fields to samples: which lines can be true after those before, in SI units, and when each was printed."""
