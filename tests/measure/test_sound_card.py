"""The sound card's own layer: what was chosen is kept, what a card hears is what was played through its responses."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest
from scipy.signal import fftconvolve

from cabinwright.errors import CardError
from cabinwright.measure.sound_card import CardSettings, SimulatedCard, load_settings, open_card, save_settings
from cabinwright.measure.sound_card.settings import settings_file


def hear(card: SimulatedCard, wave: np.ndarray, blocks: int, **more: object) -> np.ndarray:
    """What the inputs hear while ``wave`` (frames, channels) is played."""
    with card.open(card.settings(**more), play=lambda first, count: wave[first : first + count]) as stream:
        return np.concatenate([stream.read().samples for _ in range(blocks)])


def test_what_is_heard_is_the_convolution() -> None:
    """Against SciPy's convolution of the whole; a tap moved by one sample is seen."""
    random = np.random.default_rng(3)
    path, other = random.normal(size=700), random.normal(size=50)
    card = SimulatedCard(paths={(1, 1): path, (2, 1): other}, clips_at=1e6)
    wave = random.normal(size=(5000, 2)).astype(np.float32)
    heard = hear(card, wave, 6, block_frames=1000)[:, 0]
    whole = fftconvolve(wave[:, 0], path) + np.pad(fftconvolve(wave[:, 1], other), (0, 650))
    assert np.allclose(heard[:5699], whole[:5699], atol=1e-3)
    assert not np.allclose(heard[:5698], whole[1:5699], atol=1e-3)


def test_faults_on_purpose() -> None:
    card = SimulatedCard(paths={(1, 1): np.ones(1)}, loses=((1500, 100),))
    wave = np.linspace(0.1, 0.9, 4096, dtype=np.float32)[:, None]
    with card.open(card.settings(), play=lambda first, count: wave[first : first + count]) as stream:
        blocks = [stream.read() for _ in range(4)]
        assert [len(block.samples) for block in blocks] == [1024, 924, 1024, 1024]
        assert [block.lost for block in blocks] == [False, True, False, False]
        card.unplugged_at = 4096
        with pytest.raises(CardError, match="unplugged"):
            stream.read()
    with pytest.raises(CardError, match="is not there now"):
        card.open(card.settings())
    mono = SimulatedCard(inputs=1)
    with pytest.raises(CardError, match="2 input channels are wanted and it has 1"):
        mono.open(mono.settings())
    with pytest.raises(CardError, match="does not work at 44100 Hz"):
        SimulatedCard(rates=(48_000,)).open(mono.settings(sample_rate_hz=44_100, copy_channel=0))


def test_the_choice_is_kept_and_damage_is_named(tmp_path: Path) -> None:
    assert load_settings(tmp_path) is None
    chosen = CardSettings(input_name="Mikrofon “1”", output_name="out", unit_level_db=121.5)
    file = save_settings(chosen, tmp_path)
    assert load_settings(tmp_path) == chosen and file == settings_file(tmp_path)
    for content, word in (("{", "no JSON"), ('{"input_name": 3}', "input_name"), ("[" * 50_000, "no JSON|input")):
        file.write_text(content, encoding="utf-8")
        with pytest.raises(CardError, match=word):
            load_settings(tmp_path)
        assert file.read_text(encoding="utf-8") == content
    file.write_text(" " * 200_000, encoding="utf-8")
    with pytest.raises(CardError, match="larger than any settings"):
        load_settings(tmp_path)


def test_a_missing_extra_is_named_with_its_cure(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "sounddevice", None)
    with pytest.raises(CardError, match=r'pip install "cabinwright\[audio\]"'):
        open_card()
