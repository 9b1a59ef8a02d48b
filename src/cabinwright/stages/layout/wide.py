"""A study of very many places: every spot of a grid on the panel round a stated place, every aim, every point of the head.

Each spot is worked out by itself, always in arrays of the same shapes and with the same draws: its figures do not depend, bit for
bit, on which process or machine works it out, nor on what else it works out. The figure is that of ``errors.sound_of``: direct
over early sound by rays to the second order. What modes do to low notes is not in it, nor is unevenness over the head box, which
here is seen as the spread over the head's points.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from cabinwright.build.cabin import AIRBAGS, Place
from cabinwright.build.document import Build
from cabinwright.errors import RefusedError
from cabinwright.physics.directivity import Polar
from cabinwright.physics.edges import screen_loss_db
from cabinwright.physics.image_sources import Images, hidden
from cabinwright.stages.layout.errors import (
    DRAW_ORDER,
    EDGE_DB,
    aims_within,
    drawn_aims,
    drawn_positions_m,
    kept_power,
    loss_db,
)
from cabinwright.stages.layout.heard import Source, bands_of
from cabinwright.stages.layout.keep_outs import SURE, clearances
from cabinwright.stages.layout.pose import aim_of, normal_of, radius_of
from cabinwright.stages.layout.room import Room, box_points, listening_seat, make_room
from cabinwright.tables import OCTAVES_HZ

__all__ = ["SCALES", "Figures", "Grid", "Spot", "Wide", "batch", "by_rays", "grid_axes", "spots_of"]

Real = NDArray[np.float64]
SEED = 1979
SCALES = (1.0, 0.5, 0.25, 0.0)  #: the survey's errors as they are, then as sharper surveys would leave them
LOW_SHARE = 0.1  #: a tenth of the draws lies below
MOST_SPOTS = 200_000


@dataclass(frozen=True)
class Grid:
    """What to try."""

    reach_m: float = 0.10  #: how far from the stated place, along its panel
    step_m: float = 0.02
    turn_deg: float = 20.0  #: how far an aim may turn from the panel where the place does not say
    heads: int = 9  #: points of the head box: 1, the centre; or 9, with its corners
    draws: int = 32


class Spot(NamedTuple):
    """One position to try."""

    place: str
    position_m: tuple[float, float, float]
    cell: tuple[int, int]  #: of the grid, steps from the stated place
    barred: bool  #: in an airbag's way, or where nothing may be


class Figures(NamedTuple):
    """What one spot gives. A: aims, H: points of the head, S: ``SCALES``, D: draws."""

    aims: Real  #: (A, 3) unit vectors; the stated aim first
    stated_db: Real  #: (A, H) without any error
    mean_db: Real  #: (A, H) over the draws, errors as they are
    low_db: Real  #: (A, H) a tenth of the draws lies below
    drawn_db: Real  #: (A, S, D) mean over the head's points


def by_rays(place: Place) -> bool:
    """Whether rays decide this role: a subwoofer's place is decided by the cabin's modes."""
    return place.role != "subwoofer"


def spots_of(build: Build, grid: Grid, *, role: str = "") -> tuple[Spot, ...]:
    """The grid round every place of a role (of all that rays decide, without one). ``build`` is located.

    Spots lie in the place's panel, or across its normal where it stands free; what would lie outside its panel or behind
    another is left out, what stands where nothing may is kept and barred. Raises ``RefusedError`` for a grid too fine, a role
    that rays do not decide, and where no place is left.
    """
    places = [item for item in build.places if (item.role == role if role else by_rays(item))]
    if role == "subwoofer":
        raise RefusedError(
            "A subwoofer's place is decided by the cabin's modes, not by rays: cabinwright layout compares it."
        )
    if not places or not build.seats:
        known = (
            ", ".join(dict.fromkeys(item.role for item in build.places if by_rays(item))) or "none that can be studied"
        )
        raise RefusedError(
            f"There is no [[places]] of role {role or 'a higher range'} or no [[seats]] to study. The build's places have the "
            f"roles: {known}. docs/study.md."
        )
    steps = int(grid.reach_m / grid.step_m + 1e-9)
    if (2 * steps + 1) ** 2 * len(places) > MOST_SPOTS:
        raise RefusedError(f"More than {MOST_SPOTS} positions. Take a larger step or a shorter reach.")
    room = make_room(build)[0]
    return tuple(spot for place in places for spot in _around(build, room, place, grid, steps))


def grid_axes(normal: Real) -> Real:
    """(2, 3): the directions of a grid across ``normal``; the first lies level where the panel does not."""
    level = np.cross(np.array([0.0, 0.0, 1.0]), normal)
    first = level if np.linalg.norm(level) > 1e-6 else np.array([1.0, 0.0, 0.0])
    first = first / np.linalg.norm(first)
    return np.stack([first, np.cross(normal, first)])


def _around(build: Build, room: Room, place: Place, grid: Grid, steps: int) -> list[Spot]:
    at, normal = np.asarray(place.position_m, dtype=np.float64), normal_of(build, place)
    axes = grid_axes(normal)
    counts = np.arange(-steps, steps + 1)
    cells = np.stack(np.meshgrid(counts, counts, indexing="ij"), axis=-1).reshape(-1, 2)
    cells = cells[np.einsum("ni,ni->n", cells, cells) <= steps * steps]
    moves = grid.step_m * cells @ axes
    ends = drawn_positions_m(room.facets, at, moves)
    whole = np.linalg.norm(ends - (at + moves), axis=1) < 1e-6  # drawn along another panel: that is another place
    out = []
    for position, cell in zip(ends[whole], cells[whole], strict=True):
        spot = (float(position[0]), float(position[1]), float(position[2]))
        moved = place.model_copy(update={"position_m": spot})
        barred = any(
            gap.gap_m < (SURE * gap.sigma_m if gap.kind in AIRBAGS else 0.0) for gap in clearances(build, (moved,))
        )
        out.append(Spot(place.name, spot, (int(cell[0]), int(cell[1])), barred))
    return out


@dataclass(frozen=True, eq=False)
class Wide:
    """The study of one located build, made ready once and sent to whoever works.

    ``mount_m``: place: standard deviation of mounting; ``survey_m``: place: that of the survey, head and place together, x, y, z.
    """

    build: Build
    grid: Grid
    mount_m: Mapping[str, float]
    survey_m: Mapping[str, tuple[float, float, float]]
    polars: Mapping[str, Polar]

    @cached_property
    def room(self) -> Room:
        """Facets, heads and air."""
        return make_room(self.build)[0]

    @cached_property
    def heads_m(self) -> Real:
        """(H, 3) points of the listening head."""
        name = listening_seat(self.build)
        return box_points(next(seat for seat in self.build.seats if seat.name == name))[: self.grid.heads]

    @cached_property
    def images(self) -> Images:
        """Images of the head's points."""
        return Images(self.room.facets, self.heads_m, most_order=DRAW_ORDER - self.room.crowded)

    @cached_property
    def normal_draws(self) -> tuple[Real, Real, Real]:
        """(D, 3) each, of unit standard deviation: survey, mounting, turn; the same for every spot, so that spots compare."""
        survey, mount, turns = np.random.default_rng(SEED).normal(size=(3, self.grid.draws, 3))
        return survey, mount, turns

    def ready(self) -> Wide:
        """Itself, with everything that spots share worked out."""
        _ = self.room, self.heads_m, self.images, self.normal_draws
        return self

    def figures(self, spot: Spot) -> Figures:
        """Everything about one spot."""
        place = self._place(spot.place)
        source = Source(
            np.asarray(spot.position_m), aim_of(self.build, place), radius_of(place), self.polars.get(place.name)
        )
        aims = self._aims(place, source)
        sound = self._sound(source, place.role, self._positions(place, source), self._turned(place, aims))
        draws = sound[:, 1:].reshape(len(aims), len(SCALES), self.grid.draws, -1)  # (A, S, D, H)
        return Figures(
            aims=aims,
            stated_db=sound[:, 0],
            mean_db=draws[:, 0].mean(axis=1),
            low_db=np.quantile(draws[:, 0], LOW_SHARE, axis=1),
            drawn_db=draws.mean(axis=3),
        )

    def _place(self, name: str) -> Place:
        return next(item for item in self.build.places if item.name == name)

    def _aims(self, place: Place, source: Source) -> Real:
        limit = place.aim_limit_deg if place.aim_limit_deg is not None else self.grid.turn_deg
        within = aims_within(normal_of(self.build, place), limit) if limit else np.empty((0, 3))
        return np.vstack([source.aim[None], within])

    def _positions(self, place: Place, source: Source) -> Real:
        """(1 + S D, 3): as stated, then drawn, one scale after another."""
        survey, mount, _ = self.normal_draws
        sigma = np.asarray(self.survey_m.get(place.name, (0.0, 0.0, 0.0)))
        moves = np.vstack([scale * survey * sigma + mount * self.mount_m.get(place.name, 0.0) for scale in SCALES])
        return np.vstack([source.position_m[None], drawn_positions_m(self.room.facets, source.position_m, moves)])

    def _turned(self, place: Place, aims: Real) -> Real:
        """(A, 1 + S D, 3): each aim as stated, then turned by the draws."""
        turns = self.normal_draws[2] * np.radians(place.aim_sigma_deg)
        drawn = [np.vstack([aim[None], *(drawn_aims(aim, turns) for _ in SCALES)]) for aim in aims]
        return np.stack(drawn)

    def _sound(self, source: Source, role: str, positions: Real, aims: Real) -> Real:
        """(A, P, H): direct over early sound of P positions with A aims each, at every point of the head."""
        room, heads = self.room, self.heads_m
        judged = bands_of(role)
        straight = heads[None] - positions[:, None]  # (P, H, 3)
        distance = np.maximum(np.linalg.norm(straight, axis=2), 1e-6)
        covered = hidden(room.facets, positions, heads) if room.facets else np.zeros(distance.shape, dtype=bool)
        screen = np.stack([self._screen(positions[0], head, bool(covered[0, k])) for k, head in enumerate(heads)])
        paths = self.images.paths(positions)
        kept = kept_power(room, paths, distance[paths.source, paths.receiver])[:, judged]
        cell = paths.source * len(heads) + paths.receiver
        order = np.argsort(cell, kind="stable")
        starts = np.searchsorted(cell[order], np.arange(distance.size))
        some = np.diff(np.append(starts, len(order))) > 0
        ways = straight.reshape(-1, 3) / distance.reshape(-1, 1)
        out = np.empty((len(aims), *distance.shape))
        for k, turned in enumerate(aims):
            direct = loss_db(room, source, ways, np.repeat(turned, len(heads), axis=0), judged)
            direct = direct.reshape(*distance.shape, -1) - np.where(covered[..., None], screen[:, judged], 0.0)
            power = np.zeros((distance.size, direct.shape[2]))
            if len(order):
                off = 10.0 ** (loss_db(room, source, paths.leaving, turned[paths.source], judged) / 10.0)
                power[some] = np.add.reduceat((kept * off)[order], starts[some], axis=0)
            ratio = power.mean(axis=1).reshape(distance.shape) / np.mean(10.0 ** (direct / 10.0), axis=2)
            out[k] = direct.mean(axis=2) - 10.0 * np.log10(1.0 + ratio)
        return out

    def _screen(self, position: Real, head: Real, covered: bool) -> Real:
        if not covered:
            return np.full(len(OCTAVES_HZ), EDGE_DB)
        detour = self.room.detour_m(position, head)
        return np.asarray(
            screen_loss_db(detour_m=detour, frequency_hz=np.asarray(OCTAVES_HZ), speed_m_s=self.room.speed_m_s)
        )


def batch(study: Wide, spots: Sequence[Spot]) -> dict[str, NDArray[Any]]:
    """What a worker gives back for some spots: arrays with the spots first, the aims padded with NaN to the most that any has."""
    rows = [study.figures(spot) for spot in spots]
    most = max(len(row.aims) for row in rows)

    def stacked(name: str) -> Real:
        values = [getattr(row, name) for row in rows]
        full = np.full((len(rows), most, *values[0].shape[1:]), np.nan)
        for k, value in enumerate(values):
            full[k, : len(value)] = value
        return full

    arrays: dict[str, NDArray[Any]] = {name: stacked(name) for name in ("aims", "stated_db", "mean_db", "low_db")}
    return arrays | {"drawn_db": stacked("drawn_db").astype(np.float32)}
