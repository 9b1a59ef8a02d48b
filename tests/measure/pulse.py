"""A sound card for a machine without one: PulseAudio with null sinks, and a simulated car between two of them.

What the guide plays goes into the sink ``desk``; a process of our own hears its monitor, sends it through known responses and
plays that into the sink ``ears``, whose monitor is the microphone. PortAudio plays and records for real, on ALSA's way into
PulseAudio.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import soundfile

RATE = 48000
MODULES = (
    "module-native-protocol-unix",
    f"module-null-sink sink_name=desk rate={RATE} format=float32le channels=2",
    f"module-null-sink sink_name=ears rate={RATE} format=float32le channels=2",
)
#: What stands between: stereo from desk's monitor, column 1 through a response, column 2 as it is.
CAR = """
import sys
import numpy as np, soundfile
path = soundfile.read(sys.argv[1], dtype="float32")[0]
held, block = np.zeros(len(path) - 1, dtype=np.float32), 1024
size = 1 << (len(path) + block).bit_length()
spectrum = np.fft.rfft(path, size)
while len(data := sys.stdin.buffer.read(8 * block)) == 8 * block:
    both = np.frombuffer(data, dtype="<f4").reshape(-1, 2)
    whole = np.concatenate([held, both[:, 0]])
    held = whole[-len(held):]
    heard = np.fft.irfft(np.fft.rfft(whole, size) * spectrum, size)[len(held):len(held) + block]
    sys.stdout.buffer.write(np.stack([heard, 0.7 * both[:, 1]], axis=1).astype("<f4").tobytes())
    sys.stdout.buffer.flush()
"""


def there() -> bool:
    """Whether this machine can do it."""
    return all(map(shutil.which, ("pulseaudio", "pactl", "parec", "pacat")))


@contextmanager
def server(home: Path) -> Iterator[dict[str, str]]:
    """A daemon of our own, and the surroundings in which a program finds it and nothing else."""
    run = home / "run"
    run.mkdir(parents=True, mode=0o700)
    pcm = "pcm.!default {type pulse}\nctl.!default {type pulse}\npcm.pulse {type pulse}\n"
    (home / ".asoundrc").write_text(pcm, encoding="utf-8")
    surroundings = {
        **os.environ,
        "HOME": str(home),
        "XDG_RUNTIME_DIR": str(run),
        "XDG_CONFIG_HOME": str(home / "config"),
    }
    surroundings.pop("PULSE_SERVER", None)
    command = ["pulseaudio", "--daemonize=no", "--exit-idle-time=-1", "-n"]
    for module in MODULES:
        command += ["-L", module]
    running = subprocess.Popen(command, env=surroundings, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        for _ in range(100):
            if subprocess.run(["pactl", "info"], env=surroundings, capture_output=True).returncode == 0:
                break
            time.sleep(0.05)
        pactl(surroundings, "set-default-sink", "desk")
        pactl(surroundings, "set-default-source", "ears.monitor")
        yield surroundings
    finally:
        running.terminate()
        running.wait(10)


def pactl(surroundings: dict[str, str], *words: str) -> str:
    return subprocess.run(["pactl", *words], env=surroundings, check=True, capture_output=True, encoding="utf-8").stdout


@contextmanager
def car(surroundings: dict[str, str], response: np.ndarray, folder: Path) -> Iterator[None]:
    """The simulated car between the two sinks."""
    file = folder / "response.wav"
    soundfile.write(file, response, RATE, subtype="FLOAT")
    form = ["--raw", "--format=float32le", f"--rate={RATE}", "--channels=2"]
    # Heard in short pieces and played from a long store: pieces as long as the store would empty it each time.
    ears = subprocess.Popen(
        ["parec", "-d", "desk.monitor", "--latency-msec=20", *form],
        env=surroundings,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
    )
    cabin = subprocess.Popen([sys.executable, "-c", CAR, str(file)], stdin=ears.stdout, stdout=subprocess.PIPE)
    mouth = subprocess.Popen(
        ["pacat", "-d", "ears", "--playback", "--latency-msec=250", *form],
        env=surroundings,
        stdin=cabin.stdout,
        stderr=subprocess.DEVNULL,
    )
    try:
        time.sleep(0.5)
        yield
    finally:
        for one in (ears, cabin, mouth):
            one.terminate()
        for one in (ears, cabin, mouth):
            one.wait(10)
            if one.stdout is not None:
                one.stdout.close()
