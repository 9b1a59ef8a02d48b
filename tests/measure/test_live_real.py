"""The live view on a real audio path: PortAudio through PulseAudio, a simulated car between two of its sinks."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.signal import firwin2, freqz

from measure import pulse

pytestmark = pytest.mark.skipif(
    not pulse.there() and not os.environ.get("CI"), reason="no PulseAudio on this computer; CI installs it"
)
#: What runs with the sound card: noise, its delay, a linear average; told as JSON.
WATCH = """
import json, time
from cabinwright.measure.live import LiveView
from cabinwright.measure.sound_card import CardSettings, open_card
view = LiveView(open_card(), CardSettings(input_name="pulse", output_name="pulse", latency_s=0.3), size=8192)
view.begin()
view.noise_on(level_db=-30.0, low_hz=50.0, high_hz=20000.0)
time.sleep(4.5)
found = view.find_delay()
view.ask(lambda engine: engine.average("linear"))
time.sleep(4.0)
frame, running = view.frame(), view.running
view.end()
shown = frame.transfer
print(json.dumps({
    "delay_s": found.delay_s, "lost": running.lost, "blocks": running.blocks, "remark": running.remark, "time_s": frame.time_s,
    "hz": shown.frequency_hz.tolist(), "db": shown.level_db.tolist(), "coherence": shown.coherence.tolist(),
}))
"""


def watched(folder: Path, response: np.ndarray) -> dict[str, Any]:
    """What the live view told after eight seconds of it."""
    with pulse.server(folder) as surroundings, pulse.car(surroundings, response.astype(np.float32), folder):
        command = [sys.executable, "-c", WATCH]
        done = subprocess.run(command, env=surroundings, capture_output=True, encoding="utf-8", timeout=60)
    assert done.returncode == 0, done.stderr
    told: dict[str, Any] = json.loads(done.stdout)
    assert told["remark"] == "" and told["lost"] == 0
    assert told["time_s"] > 7.0 and told["blocks"] == pytest.approx(told["time_s"] * 48_000 / 1024, abs=1)
    return told


def test_no_block_is_lost_and_the_car_is_what_it_is(tmp_path: Path) -> None:
    """Eight seconds at 48 kHz: every block counted, the response within 0.05 dB of SciPy's, relative to the copy's 0.7.

    On a busy computer the simulated car itself may stumble, which moves the delay under way; the coherence tells it: then again.
    """
    response = firwin2(255, [0, 0.01, 0.1, 0.4, 1], [0.2, 0.3, 0.1, 0.2, 0.1])
    for turn in range(4):
        folder = tmp_path / str(turn)
        folder.mkdir()
        told = watched(folder, response)
        frequency, level = np.asarray(told["hz"]), np.asarray(told["db"])
        inside = (frequency > 100.0) & (frequency < 18_000.0)
        if np.asarray(told["coherence"])[inside].min() > 0.9995:
            break
    else:
        pytest.fail("the simulated car stumbled four times, or the view loses coherence by itself")
    truth = 20.0 * np.log10(np.abs(freqz(response, worN=frequency, fs=48_000)[1]) / 0.7)
    assert np.abs(level - truth)[inside].max() < 0.05
    assert told["delay_s"] * 48_000 == pytest.approx(127.0, abs=0.5)
