"""Settings that every test shares."""

from __future__ import annotations

import os

# Before NumPy: the matrices are small, and threads that wait for one another on a busy machine cost minutes.
for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(name, "1")

from hypothesis import settings  # noqa: E402

# No test is timed: a loaded machine must not turn a right answer into a failure.
# In CI the drawn cases depend on the commit alone; at the desk every run draws others, and finds what those missed.
CI = bool(os.environ.get("CI"))  #: there every run tries the same cases, and half as many
settings.register_profile("untimed", deadline=None, derandomize=CI, max_examples=50 if CI else 100)
settings.load_profile("untimed")
