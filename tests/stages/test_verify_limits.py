"""Settings that the build's processor cannot hold are refused with the place, the limit and the cure."""

from __future__ import annotations

from dataclasses import replace

import pytest

from cabinwright.build.document import Processor
from cabinwright.errors import PersonError
from cabinwright.physics.filters import Filter
from cabinwright.stages.tuning.settings import ChannelSettings, Settings
from cabinwright.stages.tuning.sides import EVERYTHING, sounding_channels
from cabinwright.stages.tuning.verify import verify
from cabinwright.stages.tuning.verify.limits import check_limits
from stages import small_car
from stages.small_car import Circumstances

BUILD = small_car.build()
MANY = tuple(Filter("peaking", 100.0 * (i + 1), gain_db=1.0, q=1.0) for i in range(11))


def _edited(**values: object) -> Settings:
    first, *others = small_car.settings(0).channels
    return Settings(48000.0, (replace(first, **values), *others))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("values", "match"),
    [
        ({"gain_db": 45.0}, r"mine\.json: channels\[0\]\.gain_db: .*from -40 to 0 dB.*left tweeter.*got 45 dB"),
        ({"gain_db": 60.0}, r"got 60 dB"),
        ({"gain_db": -41.0}, r"got -41 dB"),
        ({"delay_s": 9.9}, r"channels\[0\]\.delay_s: .*at most 20 ms.*got 9900 ms"),
        ({"filters": MANY}, r"channels\[0\]\.filters: .*10 peaking filters.*got 11"),
        ({"filters": (Filter("all-pass", 500.0, q=1.0),)}, r"0 all-pass filters.*got 1\. Verify with the settings"),
    ],
)
def test_what_the_processor_cannot_hold_is_refused(values: dict[str, object], match: str) -> None:
    with pytest.raises(PersonError, match=match) as caught:
        check_limits(BUILD, _edited(**values), file="mine.json")
    assert caught.value.exit_code == 2


def test_every_value_is_named_at_once_before_anything_is_compared() -> None:
    now = Circumstances(positions=1)
    car = small_car.car(0)
    feeds = {EVERYTHING: sounding_channels(BUILD, EVERYTHING)}
    after = small_car.verification(0, car, small_car.settings(0), feeds, now)
    before = small_car.recorded(0, car, now)
    with pytest.raises(PersonError, match=r"(?s)settings\.json: .*gain_db.*delay_s"):
        verify(BUILD, before, _edited(gain_db=45.0, delay_s=9.9), after)
    wide = BUILD.model_copy(update={"processor": Processor(gain_max_db=60.0)})
    loud = _edited(gain_db=45.0)
    assert verify(wide, before, loud, small_car.verification(0, car, loud, feeds, now)).passed


def test_a_value_rounded_past_its_limit_is_no_edit() -> None:
    check_limits(BUILD, _edited(gain_db=0.04, delay_s=0.02 + 1e-6), file="mine.json")
    bare = ChannelSettings("left tweeter", -40.0, "normal", 0.02, ())
    check_limits(BUILD, Settings(48000.0, (bare,)), file="mine.json")
