"""What is kept: one SQLite file a robot, beside its profile."""

from fieldtune.store.store import Store, utc_now

__all__ = ["Store", "utc_now"]
