"""From setpoint to outcome and back."""
