"""``python -m fieldtune``."""

import sys

from fieldtune.cli import command

sys.exit(command())
