"""The models: what the promised format allows, and that names, units and limits agree."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from pydantic import BaseModel

from build.samples import MINIMAL, PROMISED, square
from cabinwright.build.codec import parse
from cabinwright.build.document import Build, Processor, SweepSettings, Tuning
from cabinwright.build.fields import Quantity
from cabinwright.build.shape import keys_of, marker_in, nested_model
from cabinwright.errors import BuildError
from cabinwright.units import suffix_of


def fields() -> Iterator[tuple[str, Any]]:
    """Every field of every model."""
    waiting: list[type[BaseModel]] = [Build]
    while waiting:
        model = waiting.pop()
        for key, field in keys_of(model).items():
            inner = nested_model(field.annotation)
            if inner:
                waiting.append(inner)
            yield f"{model.__name__}.{key}", field


def test_the_promised_format_is_read() -> None:
    build = parse(PROMISED)
    assert build.schema_ == 1 and build.vehicle.driving_side == "right"
    assert build.seats[0].head_m == (1.28, 0.36, 0.98)
    assert build.processor is not None and build.processor.delay_step_s == 2.0833333e-5
    assert build.speakers[0].position_m == (0.5, -0.6, 1.0) and build.speakers[1].position_m is None
    assert build.channels[1].speakers == ("right tweeter",)
    assert build.microphone_positions[0].seat == "driver"
    assert build.recordings[0].file == "recordings/left-tweeter_p1.wav"
    assert build.verification_recordings[0].channel == "left side"
    assert build.tuning is not None and build.tuning.house_curve == ((20.0, 8.0), (100.0, 5.0), (20000.0, -6.0))


def test_only_three_things_are_required() -> None:
    build = parse(MINIMAL)
    assert build.processor is None and build.tuning is None and build.recordings == ()
    for missing in ("schema = 1\n", 'title = "t"\n', 'name = "v"\n', 'driving_side = "left"\n'):
        with pytest.raises(BuildError, match=missing.split(" ")[0]):
            parse(MINIMAL.replace(missing, ""))
    with pytest.raises(BuildError, match=r"Add a \[vehicle\] table"):
        parse('schema = 1\ntitle = "t"\n')


@pytest.mark.parametrize("table", [*keys_of(Processor), *keys_of(SweepSettings)])
def test_defaults_obey_their_own_limits(table: str) -> None:
    for model in (Processor, SweepSettings):
        if table in keys_of(model):
            value = getattr(model(), table)
            assert getattr(model.model_validate({table: value}), table) == value


def test_a_field_with_a_unit_in_its_name_reads_that_unit() -> None:
    pairs = ("Tuning.house_curve", "Material.absorption")
    for place, field in fields():
        quantity = marker_in(Quantity, field.annotation, field.metadata)
        if place not in pairs:
            assert (quantity.suffix if quantity else None) == suffix_of(place), place
    assert marker_in(Quantity, Tuning.model_fields["house_curve"].annotation) is not None


def test_every_field_is_described_and_every_number_is_bounded() -> None:
    for place, field in fields():
        assert field.description and field.description.strip().endswith("."), place
        quantity = marker_in(Quantity, field.annotation, field.metadata)
        if quantity:
            assert quantity.le is not None and (quantity.gt is not None or quantity.ge is not None), place


def test_units_in_every_kind_of_field() -> None:
    text = PROMISED.replace("[1.28, 0.36, 0.98]\n[proc", '["50 3/8 in", "36 cm", "3 ft 2 in"]\n[proc')
    text = text.replace(
        "sample_rate_hz = 48000", 'sample_rate_hz = "48 kHz"\ncrossover_slopes_db_per_octave = ["24 dB/oct"]'
    )
    text = text.replace("delay_max_s = 0.02", 'delay_max_s = "20 ms"').replace("[100, 5]", '["0.1 kHz", "5 dB"]')
    build = parse(text)
    assert build.seats[0].head_m == (1.279525, 0.36, 0.9652)
    assert build.processor is not None and build.processor.crossover_slopes_db_per_octave == (24,)
    assert (build.processor.sample_rate_hz, build.processor.delay_max_s) == (48000.0, 0.02)
    assert build.tuning is not None and build.tuning.house_curve is not None
    assert build.tuning.house_curve[1] == (100.0, 5.0)


def test_wishes_safe_ranges_and_calibration() -> None:
    text = PROMISED.replace('side = "right"\n', 'side = "right"\nsafe_low_hz = "2.5 kHz"\nsafe_high_hz = 20000\n', 1)
    text = text.replace('driving_side = "right"\nsafe_low_hz = "2.5 kHz"\nsafe_high_hz = 20000\n', "")
    text += """microphone_calibration = "microphone.txt"
marker_channel = "right tweeter"
[tuning.sweep]
length_s = 5
[[tuning.crossovers]]
lower = "subwoofer"
upper = "left tweeter"
frequency_hz = "80 Hz"
family = "Linkwitz-Riley"
slope_db_per_octave = "24 dB/octave"
"""
    tuning = parse(text).tuning
    assert tuning is not None and tuning.sweep.length_s == 5.0
    wish = tuning.crossovers[0]
    assert (wish.frequency_hz, wish.family, wish.slope_db_per_octave) == (80.0, "Linkwitz-Riley", 24)


def test_a_large_build_is_read_whole() -> None:
    build = parse(square(7))
    assert (len(build.channels), len(build.recordings)) == (7, 49)
    assert build.microphone_positions[6].at_m == (0.06, 0.0, 0.3048)
