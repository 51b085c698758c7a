"""Names for numpy arrays in signatures, and what numpy itself does only with more imports."""

from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]


A = TypeVar("A", bound=NDArray[Any])


def distinct(values: A) -> A:
    """Ascending values without doubles, of a short list; ``numpy.unique`` would bring in masked arrays first."""
    return np.array(sorted(set(values.tolist())), dtype=values.dtype)  # type: ignore[return-value]


def median(values: FloatArray) -> float:
    """The middle of the values (n,), n > 0; nan where one is. ``numpy.median`` would bring in masked arrays first."""
    ordered = np.sort(values)
    half = len(ordered) // 2
    middle = ordered[-1:] if np.isnan(ordered[-1]) else ordered[half - 1 + len(ordered) % 2 : half + 1]
    return float(middle.mean())
