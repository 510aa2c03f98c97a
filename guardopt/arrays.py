"""Names for the arrays that are handed around."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Bools = NDArray[np.bool_]
Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bytes = NDArray[np.uint8]


def distinct(numbers: Ints) -> Ints:
    """Each of them once, in ascending order: `numpy.unique` for many, by sorting instead of hashing.

    Examples
    --------
    >>> distinct(np.array([3, 1, 3])), distinct(np.array([], dtype=np.int64))
    (array([1, 3]), array([], dtype=int64))
    """
    in_order = np.sort(numbers)
    once: Ints = in_order[np.diff(in_order, prepend=in_order[:1] - 1) != 0]
    return once
