"""Bytes to samples: ports, frames, telemetry, recognised shots, recordings, the simulated robot."""
