"""What is kept: one SQLite file a robot, beside its profile."""

from fieldtune.store.rows import stamp
from fieldtune.store.store import Store, utc_now

__all__ = ["Store", "stamp", "utc_now"]
