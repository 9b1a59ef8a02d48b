"""A tune as a problem for the solver: what is given (``Problem``) and a candidate answer (``State``)."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from cabinwright.build.document import Build, Processor
from cabinwright.stages.tuning.arrivals import Arrivals
from cabinwright.stages.tuning.model import Layout
from cabinwright.stages.tuning.objective import SumTarget, Weights
from cabinwright.stages.tuning.sides import EVERYTHING, LEFT_SIDE, RIGHT_SIDE, sounding_channels
from cabinwright.stages.tuning.spectra import BANDS_PER_GROUP, Spectra
from cabinwright.stages.tuning.ways import Way

__all__ = ["OFFSETS", "Problem", "State"]

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]

OFFSETS = 2  #: free levels at the end of the vector: of the sides, and of everything
EVERYTHING_WEIGHT = 0.12
"""The sum of all channels counts little against the house curve. Left and right add coherently in the bass and by power in
the treble, so no setting puts both each side and everything on one curve; the sides are what a stereo signal makes."""
WASTE_LOW_WEIGHT = 0.6  #: 1/dB from 40 to 500 Hz, where cancellation costs most
DIP_BOOST_DB = 1.0  #: no channel's filters together add more than this in a dip that is left alone
WASTE_WEIGHT = 0.1  #: 1/dB elsewhere, sides only


@dataclass(frozen=True)
class Problem:
    """Everything that stays the same while choices are tried."""

    build: Build
    processor: Processor
    channels: tuple[str, ...]
    spectra: Spectra
    present: NDArray[np.bool_]  #: (channels, positions)
    arrivals: Arrivals
    ways: list[Way]
    target_db: Real  #: (groups,) house curve
    usual_gain_db: (
        Real  #: (channels,) gain that puts each channel's own band on the house curve; the common part is free
    )
    reach: dict[str, Real]  #: per sum: (groups,) 0 to 1, how far the loudspeakers can follow
    leave: dict[str, Real]  #: per sum: (groups,) small where a dip is left alone, else 1
    weights: Weights = field(default_factory=Weights)

    @property
    def sum_names(self) -> list[str]:
        """The sums this system has: both sides where they differ, then everything."""
        every = len(self.channels)
        sides = [len(self.members(name)) for name in (LEFT_SIDE, RIGHT_SIDE)]
        return [LEFT_SIDE, RIGHT_SIDE, EVERYTHING] if all(0 < size < every for size in sides) else [EVERYTHING]

    @property
    def stage(self) -> list[Way]:
        """The ways of the front stage, from low to high."""
        return [way for way in self.ways if not way.fill]

    def members(self, name: str) -> NDArray[np.int_]:
        """Indices of the channels that sound in a sum."""
        names = sounding_channels(self.build, name)
        return np.asarray([k for k, channel in enumerate(self.channels) if channel in names], dtype=int)

    def way_of(self, channel: int) -> Way:
        """The way that a channel belongs to."""
        return next(way for way in self.ways if channel in way.channels)

    def positions_of(self, name: str) -> NDArray[np.int_]:
        """Positions at which every channel of a sum was recorded."""
        return np.flatnonzero(self.present[self.members(name)].all(axis=0))

    def cross_of(self, name: str, members: NDArray[np.int_] | None = None) -> Complex:
        """(sub-bands, n, n): mean cross-spectra of a sum's channels (or of some of them) over its positions."""
        members = self.members(name) if members is None else members
        chosen = self.spectra.cross[self.positions_of(name)]
        return np.asarray(chosen[:, :, members[:, None], members[None, :]].mean(axis=0))

    def only(self, positions: list[int]) -> Problem:
        """The same problem on some of the positions."""
        return replace(self, spectra=self.spectra.only(positions), present=self.present[:, positions])

    def boost_limit_db(self) -> Real:
        """(channels, sub-bands): most that a channel's peaking filters together may add; little in a dip left alone."""
        limit = np.full((len(self.channels), len(self.spectra.frequency_hz)), self.weights.most_boost_db)
        for name in self.sum_names:
            left = np.repeat(self.leave[name] < 1.0, BANDS_PER_GROUP)
            limit[np.ix_(self.members(name), np.flatnonzero(left))] = DIP_BOOST_DB
        return limit

    def barred_boost(self, channel: int) -> Real:
        """(groups,) 1 where no filter of the channel may boost: dips left alone, and what its sums do not reach."""
        names = [name for name in self.sum_names if channel in self.members(name) and name in self.judged_names]
        barred = [(self.leave[name] < 1.0) | (self.reach[name] < 0.5) for name in names]
        return np.asarray(np.any(barred, axis=0), dtype=np.float64)

    @property
    def judged_names(self) -> list[str]:
        """The sums that follow the house curve: both sides, or everything where there are no sides."""
        return self.sum_names[:2] if len(self.sum_names) == 3 else self.sum_names

    def targets(self) -> list[SumTarget]:
        """What is judged."""
        group = self.spectra.group_hz
        low = (group > 39.0) & (group < 520.0)
        names = self.sum_names
        out = []
        for name in names:
            side = name != EVERYTHING or len(names) == 1
            waste = np.where(low, WASTE_LOW_WEIGHT, WASTE_WEIGHT if side else 0.0) * np.sqrt(self.reach[name])
            members = self.members(name)
            out.append(
                SumTarget(
                    name=name,
                    channels=members,
                    cross=self.cross_of(name),
                    target_db=self.target_db,
                    weight=self.reach[name] * (1.0 if side else EVERYTHING_WEIGHT),
                    fill=self.leave[name],
                    waste_weight=waste * (len(members) > 1),
                    bass=low & (self.reach[name] > 0.5) & (len(members) > 1),
                    offset=0 if side else 1,
                )
            )
        return out


@dataclass(frozen=True)
class State:
    """A candidate: what is fixed (layout) and the unknowns."""

    layout: Layout
    vector: Real  #: model unknowns followed by the free levels
    cost: float = np.inf
