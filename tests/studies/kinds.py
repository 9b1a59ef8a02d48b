"""Kinds of batches that workers of any process can find by name."""

from __future__ import annotations

import os
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray


def roots(shared: float, items: Sequence[float]) -> dict[str, NDArray[Any]]:
    """Something cheap whose last bits would show any difference."""
    return {"root": np.sqrt(np.asarray(items)) * shared, "by": np.array(os.getpid())}


def dies_once(shared: str, items: Sequence[float]) -> dict[str, NDArray[Any]]:
    """Whoever comes first to the number 3 is killed at once, as by a lack of memory."""
    mark = Path(shared) / "died"
    if 3.0 in items and not mark.exists():
        mark.touch()
        os._exit(9)
    return {"root": np.sqrt(np.asarray(items))}


def dies_always(shared: None, items: Sequence[float]) -> dict[str, NDArray[Any]]:
    """Never comes back."""
    os._exit(9)


def slow(shared: float, items: Sequence[float]) -> dict[str, NDArray[Any]]:
    """Long enough to be killed in the middle."""
    time.sleep(shared)
    return {"root": np.sqrt(np.asarray(items)), "by": np.array(os.getpid())}
