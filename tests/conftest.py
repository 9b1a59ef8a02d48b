"""Settings that every test shares."""

from __future__ import annotations

from hypothesis import settings

# No test is timed: a loaded machine must not turn a right answer into a failure.
settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")
