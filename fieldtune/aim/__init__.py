"""From setpoint to outcome and back: exit speeds, required speeds, hit probabilities, recommendations."""
