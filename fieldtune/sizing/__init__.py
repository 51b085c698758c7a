"""Drive, battery, sizing and safety: what the mechanism can do, what it costs, what it can do to you."""
