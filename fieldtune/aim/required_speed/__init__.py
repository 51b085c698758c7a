"""The exit speed that a target needs, as a smooth function of distance and of what is not known."""
