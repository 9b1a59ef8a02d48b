"""The live view: its share of one core, how late its picture is, and what a session of four hours does to memory.

    python benchmarks/live.py [--hours 4] [--without-page]

Aims at 48 kHz: at most a quarter of one core with 20 pictures a second; at most 150 ms from a step in the sound to the picture
on a page of a real Chromium (needs chromium on the path); no growth over four hours of a simulated clock. The share is
counted in seconds of this process's own computing, so that a busy machine does not spoil it; the latency is waited for, and
does suffer. The card is a simulated one: what a real one takes until a block is there (its latency) comes on top.
"""

from __future__ import annotations

import argparse
import gc
import os
import shutil
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

os.environ.setdefault("OMP_NUM_THREADS", "1")

import numpy as np

from cabinwright.desk.live import Live
from cabinwright.measure.calibration import Calibration
from cabinwright.measure.live import LiveView
from cabinwright.measure.sound_card import Block, CardSettings, Device, SimulatedCard
from common import ROOT, load
from recording import resident_mb

RATE, BLOCK = 48_000, 1024
LARGE = 16_384  #: frames of a block in the long session: a third of the computing, the same memory
PICTURES_EVERY = 2  #: blocks: 23 a second, as the page asks for them
MINUTE = 60 * RATE // BLOCK
STEP_S, LOUD_S = 1.9, 0.25
STEPS = 25


class Stream:
    """Blocks of one stretch of noise again and again, a copy of what is played beside it; ``before`` runs ahead of each."""

    def __init__(self, blocks: int, play: Any, before: Callable[[int], None], frames: int = BLOCK) -> None:
        self._noise = np.random.default_rng(1).normal(scale=0.01, size=(64, frames)).astype(np.float32)
        self._number, self._blocks, self._play, self._before, self._frames = 0, blocks, play, before, frames

    def read(self, timeout_s: float = 2.0) -> Block | None:
        number, self._number = self._number, self._number + 1
        if number >= self._blocks:
            return None
        self._before(number)
        sent = self._play(number * self._frames, self._frames)
        heard = np.stack([self._noise[number % 64] + 0.3 * sent[:, 0], sent[:, 0]], axis=1)
        return Block(heard, number * self._frames)

    def play(self, source: Any) -> None:
        self._play = source

    def stop(self) -> None:
        self._blocks = 0

    def __enter__(self) -> Stream:
        return self

    def __exit__(self, *_more: object) -> None:
        self.stop()


class Card:
    """Gives ``blocks`` as fast as they are taken."""

    def __init__(self, blocks: int, before: Callable[[int], None], frames: int = BLOCK) -> None:
        self._blocks, self._before, self._frames = blocks, before, frames

    def devices(self) -> tuple[Device, ...]:
        return SimulatedCard().devices()

    def open(self, settings: CardSettings, *, play: Any = None, hear: bool = True) -> Any:
        return Stream(self._blocks, play, self._before, self._frames)


def ran(
    card: Card, *, noise: bool, calibrated: bool = False, prepare: Callable[[Live], None] = lambda _live: None
) -> Live:
    """A view from its first block to its last."""
    settings = SimulatedCard().settings()
    live = Live(None, card, settings)
    if calibrated:
        curve = Calibration(np.array([20.0, 1000.0, 20_000.0]), np.array([-1.0, 0.0, 3.0]))
        live.view = LiveView(card, settings, calibration=curve)
    if noise:
        live.noise_on("everything")
    prepare(live)
    live.view.begin()
    while live.view.running.on:
        time.sleep(0.005)
    live.view.end()
    assert not live.view.running.remark, live.view.running.remark
    return live


def share(name: str, show: str, *, noise: bool, calibrated: bool = False, moved: bool = False) -> None:
    """Seconds of computing for a second of sound, pictures included, of one minute."""
    held: list[Live] = []

    def picture(number: int) -> None:
        if number % PICTURES_EVERY == 0:
            held[0].picture(show).plain(number)

    def prepare(live: Live) -> None:
        held.append(live)
        if moved:
            live.begin_average()

    start = time.process_time()
    ran(Card(MINUTE, picture), noise=noise, calibrated=calibrated, prepare=prepare)
    took = time.process_time() - start
    print(f"share of one core, {name:<46}{100.0 * took / 60.0:5.1f} %  ({took:.2f} s of computing for 60 s of sound)")


def hours(length_h: float) -> None:
    """Memory of the process while noise plays, a microphone is moved and pictures are made, at six moments."""
    whole = round(3600.0 * length_h * RATE / LARGE)
    told: list[tuple[float, float, int]] = []
    held: list[Live] = []

    def look(number: int) -> None:
        if number % 50 == 0:
            held[0].picture("transfer").plain(number)
        if number % (whole // 6) == whole // 12:
            gc.collect()
            told.append((number * LARGE / RATE / 3600.0, resident_mb(), len(gc.get_objects())))

    def prepare(live: Live) -> None:
        held.append(live)
        live.begin_average()

    ran(Card(whole, look, LARGE), noise=True, prepare=prepare)
    for at, resident, objects in told:
        print(f"after {at:4.1f} h: {resident:.1f} MB of the process, {objects} Python objects")


# The page


class Stepping:
    """A card at the pace of a clock whose microphone hears a step now and then, and which writes down when."""

    def __init__(self, file: Path) -> None:
        self._file = file

    def devices(self) -> tuple[Device, ...]:
        return SimulatedCard().devices()

    def open(self, settings: CardSettings, *, play: Any = None, hear: bool = True) -> Any:
        began, random = time.time(), np.random.default_rng(7)
        # Within a block at random, else every step would come as late as the first one does.
        firsts = [round(RATE * (2.0 + STEP_S * n)) + int(random.integers(BLOCK)) for n in range(STEPS)]
        self._file.write_text("\n".join(f"{began + first / RATE:.4f}" for first in firsts), encoding="ascii")
        noise = random.normal(size=8 * BLOCK)

        class Paced(Stream):
            def read(self, timeout_s: float = 2.0) -> Block | None:
                number, self._number = self._number, self._number + 1
                at = np.arange(number * BLOCK, (number + 1) * BLOCK)
                loud = sum(((at >= one) & (at < one + LOUD_S * RATE) for one in firsts), np.zeros(BLOCK, dtype=bool))
                wave = noise[at % len(noise)] * np.where(loud, 0.1, 1e-4)
                time.sleep(max(0.0, began + (number + 1) * BLOCK / RATE - time.time()))
                return Block(np.stack([wave, wave], axis=1).astype(np.float32), number * BLOCK)

        return Paced(2**40, play, lambda _number: None)


def serve(folder: Path) -> None:
    """The screen of the demo with that card, for a process of its own."""
    from cabinwright.desk import Desk
    from cabinwright.web import live_stream
    from cabinwright.web import serve as server

    card = Stepping(folder / "steps.txt")
    live_stream.find_card = lambda: (card, SimulatedCard().settings())
    server.serve(Desk.open(folder), say=lambda words: print(words, flush=True), port=0, browser=False)


#: After each picture: when the browser had painted it, and the loudest third octave that it shows.
WATCH = """() => {
  window.shown = [];
  const draw = cabinwrightLive.draw;
  cabinwrightLive.draw = (picture) => {
    draw(picture);
    if (!picture.panels.length) return;
    const loudest = Math.max(...picture.panels[0].series[0].y.filter((value) => value !== null));
    requestAnimationFrame(() => setTimeout(() => window.shown.push([Date.now() / 1000, loudest]), 0));
  };
}"""


@contextmanager
def served(folder: Path) -> Any:
    """Its address."""
    command = [sys.executable, "-u", __file__, "--serve", str(folder)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, encoding="utf-8") as running:
        assert running.stdout is not None
        yield running.stdout.readline().split()[4]
        running.terminate()


def latency() -> None:
    """Seconds from each step to the first picture that shows it."""
    from playwright.sync_api import sync_playwright

    with TemporaryDirectory() as place, sync_playwright() as playwright:
        folder = Path(place) / "build"
        shutil.copytree(ROOT / "demo" / "build", folder, ignore=shutil.ignore_patterns("out"))
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
        with served(folder) as address:
            page = browser.new_page(base_url=address, viewport={"width": 1366, "height": 768})
            page.goto("/live")
            page.get_by_role("button", name="Listen", exact=True).click()
            page.wait_for_selector("canvas.live[data-drawn]", timeout=60_000)
            page.evaluate(WATCH)
            page.wait_for_timeout(1e3 * (2.0 + STEP_S * STEPS + 1.0))
            shown = page.evaluate("shown")
            steps = [float(line) for line in (folder / "steps.txt").read_text(encoding="ascii").split()]
        browser.close()
    late = []
    for step in steps:
        before = [level for at, level in shown if at < step]
        seen = next((at for at, level in shown if at >= step and before and level > before[-1] + 6.0), None)
        if seen is not None and seen < step + STEP_S:
            late.append(1e3 * (seen - step))
    pictures = len(shown) / (shown[-1][0] - shown[0][0])
    worst = sorted(late)[max(0, round(0.95 * len(late)) - 1)]
    print(f"step to picture, {len(late)} of {len(steps)} ({load()}): median {statistics.median(late):.0f} ms, 19 of 20 within "
          f"{worst:.0f} ms, least {min(late):.0f} ms, most {max(late):.0f} ms; {pictures:.0f} pictures a second")  # fmt: skip


def main() -> None:
    """Print what was measured."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--hours", type=float, default=4.0, help="of the session whose memory is watched")
    parser.add_argument("--without-page", action="store_true", help="leave the browser out")
    parser.add_argument("--serve", type=Path, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.serve is not None:
        serve(options.serve)
        return
    print(load())
    share("third octaves", "thirds", noise=False)
    share("third octaves, noise playing", "thirds", noise=True)
    share("transfer function", "transfer", noise=True)
    share("transfer function, calibration, moved microphone", "transfer", noise=True, calibrated=True, moved=True)
    if not options.without_page:
        latency()
    if options.hours > 0.0:
        hours(options.hours)


if __name__ == "__main__":
    main()
