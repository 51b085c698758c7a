"""The battery: rest voltage, charge, resistance, ceiling, forecast, and its guided change."""
