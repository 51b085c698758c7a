"""What shots teach: priors, likelihood, posterior, epochs, the next shot worth taking."""

from fieldtune.learn.posterior import Posterior, learn, next_shot

__all__ = ["Posterior", "learn", "next_shot"]
