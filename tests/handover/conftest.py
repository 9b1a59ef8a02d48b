"""The invented car, computed once for all tests of the documents."""

from __future__ import annotations

import pytest

from cabinwright.build.document import Build
from cabinwright.physics.response import RecordedResponses
from cabinwright.stages.tuning.result import TuningResult
from handover import invented


@pytest.fixture(scope="session")
def car() -> Build:
    return invented.build()


@pytest.fixture(scope="session")
def tune() -> TuningResult:
    return invented.tune()


@pytest.fixture(scope="session")
def recordings() -> RecordedResponses:
    return invented.responses()
