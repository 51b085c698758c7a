"""``python -m fieldtune``."""

import sys

from fieldtune.cli import main

sys.exit(main())
