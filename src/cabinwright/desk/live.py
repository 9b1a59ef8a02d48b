"""The live view of one build, or of none: the card of this computer, what is frozen, what was predicted, and the picture of
it all.

    live = Live(desk, open_card(), settings)
    live.view.begin()
    live.picture("thirds")     # what a screen draws; plain numbers, a few kB
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from cabinwright.desk.live_picture import (
    Panel,
    Picture,
    Series,
    average_panel,
    lines_panel,
    thirds_panel,
    transfer_panels,
)
from cabinwright.errors import RefusedError
from cabinwright.measure.calibration import read_calibration
from cabinwright.measure.live import Against, Frame, LiveView, Prediction, from_layout, from_tune, held_against
from cabinwright.measure.roles import speakers_of
from cabinwright.measure.sound_card import Card, CardSettings
from cabinwright.physics.bands import nominal_third_hz
from cabinwright.tables import role_row

if TYPE_CHECKING:
    from cabinwright.desk.desk import Desk

__all__ = ["EVERYTHING", "SHOWS", "Frozen", "Live", "usual_settings"]

Real = NDArray[np.float64]
EVERYTHING = "everything"
WHOLE_HZ = (17.0, 22_500.0)  #: a little beyond the outermost third octaves, which would hear half of it otherwise
SHOWS = ("thirds", "lines", "transfer")
MOST_FROZEN = 3
QUIET_DB, STEP_DB = -50.0, 3.0


@dataclass(frozen=True)
class Frozen:
    """One moment that was kept."""

    name: str
    frame: Frame


def usual_settings(card: Card) -> CardSettings:
    """What the system uses where nothing was chosen on this computer. Raises ``RefusedError`` where there is no input."""
    devices = card.devices()
    into = next((item for item in devices if item.inputs and item.usual_input), None)
    into = into or next((item for item in devices if item.inputs), None)
    if into is None:
        raise RefusedError("This computer has no input for sound. Plug one in, or allow this program the microphone.")
    outs = [item for item in devices if item.outputs and item.host == into.host]
    out = next((item for item in outs if item.usual_output), outs[0] if outs else None)
    return CardSettings(
        input_name=into.name, input_host=into.host, output_name=out.name if out else "",
        output_host=out.host if out else "", copy_channel=0, second_channel=0, timing="marker",
        sample_rate_hz=round(into.sample_rate_hz),
    )  # fmt: skip


class Live:
    """One view and what it is held against."""

    def __init__(self, desk: Desk | None, card: Card, settings: CardSettings | None) -> None:
        self.desk = desk
        self.chosen = settings is not None
        self.settings = settings or usual_settings(card)
        file = Path(self.settings.microphone_calibration) if self.settings.microphone_calibration else None
        calibration = read_calibration(file.parent, file.name) if file is not None else None
        self.view = LiveView(card, self.settings, calibration=calibration)
        self.frozen: list[Frozen] = []
        self.predictions: tuple[Prediction, ...] = ()
        self.prediction: Prediction | None = None
        self.average: Frame | None = None  #: the moved microphone's, once it is ended
        self.averages_named = 0
        self.noise_db = QUIET_DB
        self._tops: dict[str, float] = {}

    # The noise

    def noise_bands(self) -> tuple[str, ...]:
        """What it may be limited to: a channel's loudspeakers, or nothing."""
        channels = self.desk.build.channels if self.desk is not None else ()
        return (EVERYTHING, *(channel.name for channel in channels))

    def band_hz(self, name: str) -> tuple[float, float]:
        """The band that no loudspeaker of a channel is harmed by: the highest of their lowest safe frequencies, and up."""
        speakers = speakers_of(self.desk.build, name) if self.desk is not None and name != EVERYTHING else ()
        rows = [
            (item.safe_low_hz or role_row(item.role)[1], item.safe_high_hz or role_row(item.role)[2])
            for item in speakers
        ]
        if not rows:
            return WHOLE_HZ
        low, high = max(row[0] for row in rows), max(row[1] for row in rows)
        return (low if low > 20.0 else WHOLE_HZ[0]), (high if high < 20_000.0 else WHOLE_HZ[1])

    def noise_on(self, name: str) -> None:
        """Play it for a channel, from its quiet beginning. Raises ``RefusedError``."""
        low, high = self.band_hz(name)
        self.view.noise_on(level_db=self.noise_db, low_hz=low, high_hz=high)

    def louder(self, steps: int) -> float:
        """So many steps louder, or quieter; returns the level [dB re full scale]."""
        from cabinwright.measure.live.stimulus import HIGHEST_DB

        self.noise_db = float(np.clip(self.noise_db + STEP_DB * steps, -80.0, HIGHEST_DB))
        if self.view.running.noise:
            self.view.noise_level(self.noise_db)
        return self.noise_db

    # Kept and predicted

    def freeze(self) -> Frozen:
        """Keep what is shown now; of more than three the oldest goes."""
        kept = Frozen(f"frozen {datetime.now():%H:%M:%S}", self.view.frame())
        self.frozen = [*self.frozen, kept][-MOST_FROZEN:]
        return kept

    def clear(self) -> None:
        """Forget what was kept."""
        self.frozen, self.average = [], None

    def begin_average(self) -> None:
        """Average while the microphone is moved."""
        self.average = None
        self.view.ask(lambda engine: engine.begin_average())

    def end_average(self) -> Frame:
        """End it and keep it."""
        self.average = self.view.frame()
        self.view.ask(lambda engine: engine.end_average())
        return self.average

    def predict(self) -> tuple[Prediction, ...]:
        """What the build predicts, from its tune and from its places; takes seconds. Raises ``RefusedError`` for nothing."""
        told: list[Prediction] = []
        if self.desk is not None:
            tuned, laid = self.desk.result("tuning"), self.desk.result("layout")
            told += from_tune(tuned) if tuned is not None else ()
            told += from_layout(laid) if laid is not None else ()
        if not told:
            raise RefusedError(
                "The build predicts nothing yet: it has neither recordings that a tune was made from, nor places."
            )
        self.predictions = tuple(told)
        return self.predictions

    def compare(self, name: str) -> None:
        """Lay a prediction over what is heard; "" takes it away."""
        self.prediction = next((item for item in self.predictions if item.name == name), None)

    def against(self, frame: Frame) -> Against | None:
        """The prediction held against the moved microphone's average where there is one, else against what is heard."""
        if self.prediction is None:
            return None
        bands = self.view.engine.bank.bands
        source = self.average or frame
        if source.average_db is None:
            return held_against(frame.thirds_db, self.prediction, bands)
        ends = {"low_db": source.average_low_db, "high_db": source.average_high_db}
        return held_against(source.average_db, self.prediction, bands, **ends)

    def figures(self, frame: Frame) -> tuple[list[str], list[list[str]]]:
        """Heads and rows: third octaves now, the moved microphone's with their interval, and what was predicted."""
        averaged, against = self.average or frame, self.against(frame)
        heads = ["Hz", "now"]
        rows = [
            [f"{nominal_third_hz(f):g}", f"{level:.1f}"]
            for f, level in zip(frame.centres_hz, frame.thirds_db, strict=True)
        ]
        level, low, high = averaged.average_db, averaged.average_low_db, averaged.average_high_db
        if level is not None and low is not None and high is not None:
            heads += ["moved microphone", "from", "to"]
            for number, row in enumerate(rows):
                at = level[number]
                row += [f"{at:.1f}", f"{at + low[number]:.1f}", f"{at + high[number]:.1f}"]
        if against is not None:
            heads += ["heard less predicted", "remark"]
            for row, apart, beyond in zip(rows, against.difference_db, against.beyond, strict=True):
                row += [f"{apart:+.1f}" if np.isfinite(apart) else "–", "▲ beyond its own error" if beyond else ""]
        return heads, rows

    # What a screen draws

    def picture(self, show: str, frame: Frame | None = None) -> Picture:
        """The curves of one kind, frozen and predicted ones among them."""
        frame = frame or self.view.frame()
        running = self.view.running
        calibrated = running.calibrated
        panels: tuple[Panel, ...]
        if show == "transfer":
            panels = transfer_panels(frame, [(item.name, item.frame) for item in self.frozen], self._tops)
        elif show == "lines":
            panels = (lines_panel(frame, [(item.name, item.frame) for item in self.frozen], calibrated, self._tops),)
        else:
            series: list[Series] = []
            against = self.against(frame)
            panel = thirds_panel(frame, [(item.name, item.frame) for item in self.frozen], calibrated, self._tops)
            averaged = self.average or (frame if frame.average_db is not None else None)
            if averaged is not None:
                series.append(average_panel(averaged))
            if against is not None and self.prediction is not None:
                series.append(Series(f"predicted: {self.prediction.name}", "target", "line", against.predicted_db))
            panels = (panel.with_more(*series),)
        return Picture(frame, running, panels, self.noise_db)
