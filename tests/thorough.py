"""Cases of a parametrised test that only the thorough runs take (marker ``slow``): ``*thorough(case, case)``."""

from __future__ import annotations

from typing import Any

import pytest


def thorough(*cases: Any) -> list[Any]:
    """Each case, a value or a tuple of them, marked ``slow``."""
    return [pytest.param(*(case if isinstance(case, tuple) else (case,)), marks=pytest.mark.slow) for case in cases]
