"""The comparison of all places: order of the steps, batches, progress, and one place moved by itself."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from functools import cached_property, partial
from zlib import crc32

import numpy as np
from numpy.typing import NDArray

from cabinwright.build.cabin import Place
from cabinwright.build.document import Build
from cabinwright.findings import Finding
from cabinwright.physics.cavity import Cavity
from cabinwright.physics.directivity import Polar
from cabinwright.physics.edges import screen_loss_db
from cabinwright.physics.image_sources import Images
from cabinwright.stages.layout.contest import ranked
from cabinwright.stages.layout.doubts import doubts
from cabinwright.stages.layout.errors import (
    DRAW_ORDER,
    EDGE_DB,
    SHIFTS_M,
    TURNS_DEG,
    aims_within,
    drawn_aims,
    drawn_positions_m,
    forgiven,
    shifts_of,
    sound_of,
    turns_of,
)
from cabinwright.stages.layout.heard import Source, hear
from cabinwright.stages.layout.keep_outs import Clearance, clearances, keep_out_findings
from cabinwright.stages.layout.limits import limit_findings
from cabinwright.stages.layout.low import (
    BASS,
    LOW_HZ,
    LOW_ROLES,
    heads_in_air,
    hear_low,
    low_figures,
    make_cavity,
    with_map,
)
from cabinwright.stages.layout.pairs import find_pairs
from cabinwright.stages.layout.pose import aim_of, normal_of, radius_of
from cabinwright.stages.layout.result import Aimed, Heard, LayoutResult, LowFrequency, LowPlace, PlaceResult, Ranked
from cabinwright.stages.layout.room import Room, listening_seat, make_room
from cabinwright.stages.layout.view import ViewResult, driver_view
from cabinwright.stages.memory import Keeper, afresh
from cabinwright.tables import OCTAVES_HZ

__all__ = ["Study", "run"]

Real = NDArray[np.float64]
Progress = Callable[[str, float], None]
BATCH = 8  #: places that go to a worker together
SEED = 1979
FURTHER = 0.5  #: how much a further seat counts against the one that decides (common practice, no source)
HALF = 0.5  #: how much the bass of a place counts that is not for bass alone, and wobbles along frequency


def _unwatched(what: str, share: float) -> None:
    """Progress that nobody looks at."""


def run(
    build: Build,
    *,
    sigmas_m: Mapping[str, tuple[float, float, float]] | None = None,
    polars: Mapping[str, Polar] | None = None,
    executor: Executor | None = None,
    progress: Progress = _unwatched,
    keep: Keeper = afresh,
) -> LayoutResult | None:
    """Compare the places of a located build; None where it has no places or no seats.

    Args:
        sigmas_m: place name: standard deviation beside ``position_sigma_m``, x, y, z: what the head adds to it.
        polars: place name: measured polar in place of a piston's.
        executor: where batches of places run; None: here, one after another. Results do not depend on it.
        progress: is told what is done and may raise to interrupt.
        keep: gives back what of an earlier run still holds.
    """
    if not build.places or not build.seats:
        return None
    study = Study(build, sigmas_m or {}, polars or {}, keep)
    progress("hearing places", 0.0)
    study.make_ready()
    batches = [build.places[at : at + BATCH] for at in range(0, len(build.places), BATCH)]
    work = partial(_batch, replace(study, keep=afresh).as_ready(study) if executor else study)
    done: dict[str, tuple[PlaceResult, Real]] = {}
    for number, rows in enumerate(executor.map(work, batches) if executor else map(work, batches)):
        progress("hearing places", (number + 1) / len(batches))
        done.update({row[0].name: row for row in rows})
    return study.compared(done)


def _batch(study: Study, places: tuple[Place, ...]) -> list[tuple[PlaceResult, Real]]:
    return [study.kept(item) for item in places]


@dataclass(frozen=True, eq=False)
class Study:
    """One build's cabin, made ready once; any place can then be heard by itself."""

    build: Build
    sigmas_m: Mapping[str, tuple[float, float, float]]
    polars: Mapping[str, Polar]
    keep: Keeper = afresh

    @cached_property
    def _made(self) -> tuple[Room, list[Finding]]:
        made: tuple[Room, list[Finding]] = self.keep("layout: room", make_room, self.build)
        return made

    @property
    def room(self) -> Room:
        """Facets, heads and air."""
        return self._made[0]

    @cached_property
    def _low(self) -> tuple[Cavity | None, LowFrequency | None, list[Finding]]:
        low: tuple[Cavity | None, LowFrequency | None, list[Finding]]
        low = self.keep("layout: cavity", lambda _, room: make_cavity(room), self.build, self.room)
        return low

    @cached_property
    def _heads_m(self) -> dict[str, Real]:
        cavity = self._low[0]
        heads: dict[str, Real] = self.keep(
            "layout: heads",
            lambda _, cavity, room: heads_in_air(cavity, room) if cavity is not None else {},
            self.build,
            cavity,
            self.room,
        )
        return heads

    def make_ready(self) -> None:
        """Works out what all places share, so that it goes to workers with the study and is not worked out by each."""
        _ = self.room.head_images, self.room.box_images, self._draw_images, self._heads_m, self.seat

    def as_ready(self, other: Study) -> Study:
        """This study with what another has made ready of the same cabin."""
        for name in ("_made", "_low", "_heads_m", "_draw_images", "seat"):
            self.__dict__[name] = getattr(other, name)
        return self

    def kept(self, place: Place) -> tuple[PlaceResult, Real]:
        """As ``place``, unless an earlier answer still holds: what the cabin gives, its own row and whatever it reads count."""
        own = self.sigmas_m.get(place.name), self.polars.get(place.name)

        def work(build: Build, place: Place, *_: object) -> tuple[PlaceResult, Real]:
            return Study(build, self.sigmas_m, self.polars).as_ready(self).place(place)

        shared = (self.seat, self._made, self._low)
        answer: tuple[PlaceResult, Real] = self.keep(
            ("layout: place", place.name), work, self.build, place, own, *shared
        )
        return answer

    @cached_property
    def seat(self) -> str:
        """The seat whose sound decides."""
        return listening_seat(self.build)

    @cached_property
    def _draw_images(self) -> Images:
        images: Images = self.keep(
            "layout: images of the head",
            lambda _, room, head_m: Images(room.facets, np.asarray(head_m)[None], most_order=DRAW_ORDER - room.crowded),
            self.build,
            self.room,
            tuple(self._head_m.tolist()),
        )
        return images

    def place(self, place: Place) -> tuple[PlaceResult, Real]:
        """One place, and its comparing figure in every draw, (draws,)."""
        source = Source(
            np.asarray(place.position_m, dtype=np.float64),
            aim_of(self.build, place),
            radius_of(place),
            self.polars.get(place.name),
        )
        seats = hear(self.room, source, place.role)
        cavity = self._low[0]
        bass = cavity is not None and self.seat in self._heads_m and place.role in LOW_ROLES
        low = hear_low(cavity, self._heads_m, source.position_m) if cavity is not None and bass else None
        heard = seats[self.seat]
        draws, shift_m = self._draws(place, source, heard, low)
        result = PlaceResult(
            name=place.name,
            role=place.role,
            side=place.side,
            position_m=_point(source.position_m),
            radius_m=source.radius_m,
            aim=_point(source.aim),
            seats=seats,
            aimed=self._aimed(place, source, heard, draws, shift_m) if place.role != "subwoofer" else None,
            low=low,
        )
        return result, draws

    def moved(self, name: str, position_m: tuple[float, float, float]) -> tuple[PlaceResult, Real]:
        """One place heard somewhere else, everything else as it was."""
        place = next(item for item in self.build.places if item.name == name)
        return self.place(place.model_copy(update={"position_m": position_m}))

    def _draws(self, place: Place, source: Source, heard: Heard, low: LowPlace | None) -> tuple[Real, float]:
        """(1 + draws,) the comparing figure, as stated, then under errors drawn at random; and the shift it forgives."""
        count = self.build.layout.draws
        rng = np.random.default_rng(SEED + crc32(place.name.encode()))
        sigma = np.hypot(np.asarray(self.sigmas_m.get(place.name, (0.0, 0.0, 0.0))), place.position_sigma_m)
        moves, turns = rng.normal(size=(2, count, 3))
        facets, at = self.room.facets, source.position_m
        positions = np.vstack([at[None], drawn_positions_m(facets, at, moves * sigma)])
        bass = 0.0 if low is None else self._low_draws(low, positions)
        if place.role == "subwoofer":
            stated = heard.sound_db if low is None else low.gain_db[self.seat]
            return np.broadcast_to(stated + bass, (count + 1,)), 0.0
        shifts = shifts_of(facets, at)
        aims = np.vstack([source.aim[None], drawn_aims(source.aim, turns * np.radians(place.aim_sigma_deg))])
        aims = np.vstack([aims, np.broadcast_to(source.aim, shifts.shape)])
        sound = self._sound(source, place.role, heard, np.vstack([positions, shifts]), aims)
        drawn, shifted = sound[: count + 1], sound[count + 1 :]
        figure = heard.sound_db + (drawn - sound[0]) + HALF * bass
        return np.asarray(figure), forgiven(float(sound[0]), shifted, SHIFTS_M)

    def _sound(self, source: Source, role: str, heard: Heard, positions: Real, aims: Real) -> Real:
        return sound_of(
            self.room,
            self._draw_images,
            source,
            role,
            positions_m=positions,
            aims=aims,
            screen_db=self._screen(heard),
        )

    def _screen(self, heard: Heard) -> Real | float:
        """What direct sound loses where it is hidden: as stated, else what it loses where it just gets out of sight."""
        if not heard.occluded:
            return EDGE_DB
        detour = np.inf if heard.detour_m is None else heard.detour_m
        return screen_loss_db(detour_m=detour, frequency_hz=np.asarray(OCTAVES_HZ), speed_m_s=self.room.speed_m_s)

    def _low_draws(self, low: LowPlace, positions: Real) -> Real:
        """(1 + draws,) minus unevenness and ripple, plus what errors change. By reciprocity the head plays, places listen."""
        cavity = self._low[0]
        figures = low_figures(low.level_db[self.seat].T)
        stated = -figures["uneven"] - figures["ripple"]
        assert cavity is not None
        try:
            heard = cavity.level_db(self._head_m, positions, frequency_hz=LOW_HZ)  # (f, 1 + draws)
        except ValueError:  # a place on the wall's outer side, drawn along it past its end
            return np.full(len(positions), stated)
        moved = (heard - heard[:, :1])[BASS]
        return np.asarray(stated + moved.mean(axis=0) - HALF * moved.std(axis=0))

    @property
    def _head_m(self) -> Real:
        return np.asarray(next(item.head_m for item in self.build.seats if item.name == self.seat))

    def _aimed(self, place: Place, source: Source, heard: Heard, draws: Real, shift_m: float) -> Aimed:
        normal, limit = normal_of(self.build, place), place.aim_limit_deg or 0.0
        turned = turns_of(source.aim)
        within = aims_within(normal, limit) if limit else source.aim[None]
        aims = np.vstack([source.aim[None], turned, within])
        sound = self._sound(source, place.role, heard, source.position_m[None], aims)
        tried = sound[1 + len(turned) :] - sound[0]
        best, gain = source.aim, 0.0
        reach = _turn_deg(source.aim, normal) <= limit + 0.5  # an aim out of reach is no answer, however good
        if limit and (tried.max() > 0.0 or not reach):
            best, gain = within[int(tried.argmax())], float(tried.max())
        return Aimed(
            aim=_point(best),
            turn_deg=_turn_deg(best, source.aim),
            gain_db=gain,
            spread_db=float(np.std(draws[1:])) if len(draws) > 2 else 0.0,
            forgives_deg=forgiven(float(sound[0]), sound[1 : 1 + len(turned)], TURNS_DEG),
            forgives_m=shift_m,
        )

    def compared(self, done: Mapping[str, tuple[PlaceResult, Real]]) -> LayoutResult:
        """Pairs, ranking and findings from what each place gave."""
        places = {name: row[0] for name, row in done.items()}
        pairs = find_pairs(self.build, places, self.room.speed_m_s)
        gaps = tuple(gap for place in self.build.places for gap in self._gaps(place))
        draws = {name: row[1] + self._also_heard_db(row[0]) for name, row in done.items()}
        ranking = ranked(self.build, places, pairs, draws, seat=self.seat, view=self.view, gaps=gaps)
        cavity, low, low_found = self._low
        if cavity is not None and low is not None:
            low = self._mapped(low, cavity, ranking, places)
        found = [*self._made[1], *low_found, *keep_out_findings(self.build, known=gaps)]
        shell = cavity.shell if cavity else None
        found += doubts(self.build, self.room, shell, places, pairs, seat=self.seat, keep=self.keep)
        found += self.view.findings if self.view else ()
        found += limit_findings(self.build)
        order = {"stop": 0, "caution": 1, "note": 2}
        return LayoutResult(
            speed_of_sound_m_s=self.room.speed_m_s,
            bands_hz=OCTAVES_HZ,
            listening_seat=self.seat,
            places=places,
            pairs=pairs,
            low_frequency=low,
            ranking=ranking,
            clearances=gaps,
            view=self.view,
            draws=self.build.layout.draws,
            findings=tuple(sorted(found, key=lambda item: order[item.severity])),
        )

    def _also_heard_db(self, place: PlaceResult) -> float:
        """What the further seats add to the figure of the one that decides: the mean of all, each of them counting half."""
        mine = _at_seat_db(place, self.seat)
        others = [_at_seat_db(place, name) - mine for name in self.build.layout.further_seats if name != self.seat]
        return FURTHER * sum(others) / (1.0 + FURTHER * len(others))

    def _gaps(self, place: Place) -> tuple[Clearance, ...]:
        gaps: tuple[Clearance, ...] = self.keep(
            ("layout: clearances", place.name), lambda build, place: clearances(build, (place,)), self.build, place
        )
        return gaps

    def _mapped(
        self, low: LowFrequency, cavity: Cavity, ranking: tuple[Ranked, ...], places: Mapping[str, PlaceResult]
    ) -> LowFrequency:
        subs = [row.places[0] for row in ranking if row.role == "subwoofer"]
        subs = subs or [name for name, item in places.items() if item.low is not None]
        if not subs:
            return low
        return with_map(low, cavity, subs[0], np.asarray(places[subs[0]].position_m), float(self._head_m[2]))

    @cached_property
    def view(self) -> ViewResult | None:
        """What pillars and pods hide from the driver."""
        return driver_view(self.build)


def _at_seat_db(place: PlaceResult, seat: str) -> float:
    bass = place.low.gain_db.get(seat) if place.low is not None and place.role == "subwoofer" else None
    return place.seats[seat].sound_db if bass is None else bass


def _turn_deg(one: Real, other: Real) -> float:
    return float(np.degrees(2.0 * np.arcsin(min(0.5 * float(np.linalg.norm(one - other)), 1.0))))  # exact near 0


def _point(values: Real) -> tuple[float, float, float]:
    x, y, z = (float(v) for v in values)
    return x, y, z
