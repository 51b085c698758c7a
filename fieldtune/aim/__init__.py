"""From setpoint to outcome and back: exit speeds, needed speeds, hit probabilities, recommendations."""
