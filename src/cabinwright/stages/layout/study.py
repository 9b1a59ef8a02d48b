"""The comparison of all places: order of the steps, batches, progress, and one place moved by itself."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import Executor
from dataclasses import dataclass
from functools import cached_property, partial
from zlib import crc32

import numpy as np
from numpy.typing import NDArray

from cabinwright.build.cabin import Place
from cabinwright.build.document import Build
from cabinwright.findings import Finding, finding
from cabinwright.physics.cavity import Cavity
from cabinwright.physics.directivity import Polar
from cabinwright.physics.image_sources import Images
from cabinwright.stages.layout.errors import DRAW_ORDER, aims_within, drawn_sound_db, sound_of
from cabinwright.stages.layout.heard import Source, hear
from cabinwright.stages.layout.keep_outs import AIRBAGS, SURE, clearances, keep_out_findings
from cabinwright.stages.layout.low import LOW_HZ, LOW_ROLES, hear_low, low_figures, make_cavity, with_map
from cabinwright.stages.layout.pairs import find_pairs
from cabinwright.stages.layout.pose import aim_of, normal_of, radius_of
from cabinwright.stages.layout.ranking import Choice, choices_of, criteria_of, dominates, score_all
from cabinwright.stages.layout.reasons import reasons_for
from cabinwright.stages.layout.result import Aimed, LayoutResult, LowFrequency, LowPlace, Pair, PlaceResult, Ranked
from cabinwright.stages.layout.room import Room, listening_seat, make_room
from cabinwright.stages.layout.view import ViewResult, driver_view
from cabinwright.tables import OCTAVES_HZ

__all__ = ["Study", "run"]

Real = NDArray[np.float64]
Progress = Callable[[str, float], None]
BATCH = 8  #: places that go to a worker together
SEED = 1979
OUTSIDE_M = 0.01  #: a place this far outside the shell is no slip of the tape


def _unwatched(what: str, share: float) -> None:
    """Progress that nobody looks at."""


def run(
    build: Build,
    *,
    sigmas_m: Mapping[str, tuple[float, float, float]] | None = None,
    polars: Mapping[str, Polar] | None = None,
    executor: Executor | None = None,
    progress: Progress = _unwatched,
) -> LayoutResult | None:
    """Compare the places of a located build; None where it has no places or no seats.

    Args:
        sigmas_m: place name: standard deviation of its position from the survey, x, y, z.
        polars: place name: measured polar in place of a piston's.
        executor: where batches of places run; None: here, one after another. Results do not depend on it.
        progress: is told what is done and may raise to interrupt.
    """
    if not build.places or not build.seats:
        return None
    study = Study(build, sigmas_m or {}, polars or {})
    batches = [build.places[at : at + BATCH] for at in range(0, len(build.places), BATCH)]
    work = partial(_batch, study)
    done: dict[str, tuple[PlaceResult, Real]] = {}
    for number, rows in enumerate(executor.map(work, batches) if executor else map(work, batches)):
        progress("hearing places", (number + 1) / len(batches))
        done.update({row[0].name: row for row in rows})
    return study.compared(done)


def _batch(study: Study, places: tuple[Place, ...]) -> list[tuple[PlaceResult, Real]]:
    return [study.place(item) for item in places]


@dataclass(frozen=True, eq=False)
class Study:
    """One build's cabin, made ready once; any place can then be heard by itself."""

    build: Build
    sigmas_m: Mapping[str, tuple[float, float, float]]
    polars: Mapping[str, Polar]

    @cached_property
    def _made(self) -> tuple[Room, list[Finding]]:
        return make_room(self.build)

    @property
    def room(self) -> Room:
        """Facets, heads and air."""
        return self._made[0]

    @cached_property
    def _low(self) -> tuple[Cavity | None, LowFrequency | None, list[Finding]]:
        wanted = any(place.role in LOW_ROLES for place in self.build.places)
        return make_cavity(self.room) if wanted or self.room.facets else (None, None, [])

    @cached_property
    def seat(self) -> str:
        """The seat whose sound decides."""
        return listening_seat(self.build)

    @cached_property
    def _draw_images(self) -> Images:
        head = next(item.head_m for item in self.build.seats if item.name == self.seat)
        return Images(self.room.facets, np.asarray([head], dtype=np.float64), most_order=DRAW_ORDER)

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
        low = hear_low(cavity, self.room, source.position_m) if cavity is not None and place.role in LOW_ROLES else None
        draws = self._draws(place, source, low)
        result = PlaceResult(
            name=place.name,
            role=place.role,
            side=place.side,
            position_m=_point(source.position_m),
            radius_m=source.radius_m,
            aim=_point(source.aim),
            seats=seats,
            aimed=self._aimed(place, source, draws) if place.role != "subwoofer" else None,
            low=low,
        )
        return result, draws

    def moved(self, name: str, position_m: tuple[float, float, float]) -> tuple[PlaceResult, Real]:
        """One place heard somewhere else, everything else as it was."""
        place = next(item for item in self.build.places if item.name == name)
        return self.place(place.model_copy(update={"position_m": position_m}))

    def _draws(self, place: Place, source: Source, low: LowPlace | None) -> Real:
        """The comparing figure, first as it is stated, then under errors drawn at random."""
        count = self.build.layout.draws
        survey = np.asarray(self.sigmas_m.get(place.name, (0.0, 0.0, 0.0)))
        sigmas: dict[str, Real | float] = {
            "position": np.hypot(survey, place.position_sigma_m),
            "aim": float(np.radians(place.aim_sigma_deg)),
        }
        seed = SEED + crc32(place.name.encode())
        as_stated = sound_of(
            self.room, self._draw_images, source.position_m[None], source.aim[None], source, place.role
        )
        drawn = drawn_sound_db(self.room, self._draw_images, source, place.role, draws=count, sigmas=sigmas, seed=seed)
        sound = np.concatenate([as_stated, drawn])
        if low is None:
            return sound
        bass = self._low_draws(source, low, np.asarray(sigmas["position"]), count, seed)
        return bass if place.role == "subwoofer" else sound + 0.5 * (bass - low.gain_db[self.seat])

    def _low_draws(self, source: Source, low: LowPlace, sigma: Real, count: int, seed: int) -> Real:
        """(1 + draws,) gain less unevenness and ripple. By reciprocity the head plays and the drawn places listen."""
        cavity = self._low[0]
        level = low.level_db[self.seat]
        head = next(item.head_m for item in self.build.seats if item.name == self.seat)
        figures = low_figures(level.T)
        stated = figures["gain"] - figures["uneven"] - figures["ripple"]
        places = source.position_m + np.random.default_rng(seed).normal(size=(count, 3)) * sigma
        try:
            assert cavity is not None
            heard = cavity.level_db(head, places, frequency_hz=LOW_HZ)  # (f, draws)
            here = cavity.level_db(head, source.position_m[None], frequency_hz=LOW_HZ)[:, 0]
        except ValueError:  # drawn through the wall
            return np.full(count + 1, stated)
        bass = (LOW_HZ >= 25.0) & (LOW_HZ <= 80.0)
        moved = (heard - here[:, None])[bass]
        return np.concatenate([[stated], stated + moved.mean(axis=0) - 0.5 * moved.std(axis=0)])

    def _aimed(self, place: Place, source: Source, draws: Real) -> Aimed:
        spread = float(np.std(draws[1:])) if len(draws) > 2 else 0.0
        best, gain = source.aim, 0.0
        if place.aim_limit_deg:
            aims = aims_within(normal_of(self.build, place), place.aim_limit_deg)
            positions = np.broadcast_to(source.position_m, aims.shape)
            tried = sound_of(self.room, self._draw_images, positions, aims, source, place.role)
            here = sound_of(self.room, self._draw_images, source.position_m[None], source.aim[None], source, place.role)
            gains = tried - here[0]
            if gains.max() > 0.0:
                best, gain = aims[int(gains.argmax())], float(gains.max())
        turn = float(np.degrees(np.arccos(np.clip(best @ source.aim, -1.0, 1.0))))
        return Aimed(_point(best), turn, gain, spread)

    def compared(self, done: Mapping[str, tuple[PlaceResult, Real]]) -> LayoutResult:
        """Pairs, ranking and findings from what each place gave."""
        places = {name: row[0] for name, row in done.items()}
        pairs = find_pairs(self.build, places, self.room.speed_m_s)
        gaps = clearances(self.build)
        ranking = tuple(self._ranked({name: row[1] for name, row in done.items()}, places, pairs))
        cavity, low, low_found = self._low
        if cavity is not None and low is not None:
            low = self._mapped(low, cavity, ranking, places)
        found = [*self._made[1], *low_found, *self._remarks(places), *keep_out_findings(self.build)]
        found += self.view.findings if self.view else ()
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

    def _mapped(
        self, low: LowFrequency, cavity: Cavity, ranking: tuple[Ranked, ...], places: Mapping[str, PlaceResult]
    ) -> LowFrequency:
        subs = [row.places[0] for row in ranking if row.role == "subwoofer"]
        subs = subs or [name for name, item in places.items() if item.low is not None]
        if not subs:
            return low
        head = next(item.head_m for item in self.build.seats if item.name == self.seat)
        return with_map(low, cavity, subs[0], np.asarray(places[subs[0]].position_m), float(head[2]))

    def _ranked(
        self, draws: Mapping[str, Real], places: Mapping[str, PlaceResult], pairs: tuple[Pair, ...]
    ) -> Iterator[Ranked]:
        wishes = {item.name: item for item in self.build.places}
        view = {pod.place: pod.added_deg for pod in self.view.pods} if self.view else {}
        by_pair = {(pair.left, pair.right): pair for pair in pairs}
        every = choices_of(places, pairs)
        for role in dict.fromkeys(choice.role for choice in every):
            mine = [choice for choice in every if choice.role == role]
            sound = np.stack([np.mean([draws[name] for name in choice.places], axis=0) for choice in mine], axis=1)
            rows = [criteria_of(c, float(sound[0, k]), wishes, view) for k, c in enumerate(mine)]
            yield from self._one_role(mine, rows, sound, places, by_pair)

    def _one_role(
        self,
        mine: list[Choice],
        rows: list[dict[str, float | None]],
        sound: Real,
        places: Mapping[str, PlaceResult],
        by_pair: Mapping[tuple[str, str], Pair],
    ) -> Iterator[Ranked]:
        score = score_all(rows, self.build.layout.weights, sound)
        barred = [self._barred(choice, mine) for choice in mine]
        fit = [row for row, why in zip(rows, barred, strict=True) if why is None]
        beaten = np.asarray(
            [
                why is not None or any(dominates(a, b) for a in fit if a is not b)
                for b, why in zip(rows, barred, strict=True)
            ]
        )
        contest = np.where(beaten[None], -1.0, score)
        firsts = np.bincount(contest[1:].argmax(axis=1), minlength=len(mine)) if len(contest) > 1 else None
        share = firsts / (len(contest) - 1) if firsts is not None else (contest[0] == contest[0].max()).astype(float)
        share = np.where([why is not None for why in barred], 0.0, share)
        order = sorted(range(len(mine)), key=lambda k: (barred[k] is not None, bool(beaten[k]), -float(score[0, k])))
        for place, k in enumerate(order):
            pair = by_pair.get((mine[k].places[0], mine[k].places[-1])) if len(mine[k].places) == 2 else None
            best = None if place == 0 else rows[order[0]]
            yield Ranked(
                role=mine[k].role,
                places=mine[k].places,
                first_share=float(share[k]),
                better_than=tuple(
                    " and ".join(mine[j].places) for j in range(len(mine)) if dominates(rows[k], rows[j])
                ),
                criteria=rows[k],
                score=float(score[0, k]),
                barred=barred[k],
                reasons=reasons_for(mine[k], places, pair, self.seat, rows[k], best, float(share[k]), barred[k]),
            )

    def _barred(self, choice: Choice, rivals: list[Choice]) -> str | None:
        """Why a choice is out of the contest; None where it is in it."""
        for name in choice.places:
            if name in self._forbidden:
                return f"{name} stands where nothing may: {self._forbidden[name]}"
        sides = {item.name: item.side for item in self.build.places}
        alone = len(choice.places) == 1 and sides[choice.places[0]] != "centre" and choice.role != "subwoofer"
        if alone and any(len(other.places) == 2 for other in rivals):
            return f"{choice.places[0]} has no partner on the other side"
        return None

    @cached_property
    def _forbidden(self) -> dict[str, str]:
        """Places that a stop keeps anything out of."""
        return {
            gap.place: gap.keep_out
            for gap in clearances(self.build)
            if gap.kind in AIRBAGS and gap.gap_m < SURE * gap.sigma_m
        }

    @cached_property
    def view(self) -> ViewResult | None:
        """What pillars and pods hide from the driver."""
        return driver_view(self.build)

    def _remarks(self, places: Mapping[str, PlaceResult]) -> Iterator[Finding]:
        """What is odd about places and heads themselves."""
        cavity = self._low[0]
        if cavity is not None:
            for seat in self.build.seats:
                if not cavity.shell.inside(np.asarray([seat.head_m]))[0]:
                    yield finding("layout.head_outside", where=seat.name)
            for item in self.build.places:
                at = np.asarray([item.position_m])
                away = float(cavity.shell.nearest(at).distance_m[0])
                if not cavity.shell.inside(at)[0] and away > OUTSIDE_M:
                    yield finding("layout.place_outside", where=item.name, value=round(100.0 * away), unit="cm")
        for name, result in places.items():
            heard = result.seats[self.seat]
            if heard.occluded and result.role not in ("subwoofer", "woofer", "rear fill"):
                yield finding("layout.place_hidden", where=name, seat=self.seat)
            if heard.off_axis_deg > 90.0 and result.role not in ("subwoofer", "woofer"):
                yield finding(
                    "layout.faces_away", where=name, value=round(heard.off_axis_deg), limit=90, unit="°", seat=self.seat
                )


def _point(values: Real) -> tuple[float, float, float]:
    x, y, z = (float(v) for v in values)
    return x, y, z
