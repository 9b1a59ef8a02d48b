"""The only door for screens and commands: open a build, run what it asks for, write the result."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import BrokenExecutor, Executor
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from cabinwright.build.codec import FILE_NAME, load, source
from cabinwright.build.document import Build
from cabinwright.errors import OutputError, PersonError, RefusedError
from cabinwright.files import write_all
from cabinwright.findings import finding
from cabinwright.handover.documents import (
    layout_documents,
    plan_documents,
    survey_sheet_documents,
    tune_documents,
    verification_documents,
)
from cabinwright.handover.solids import made_solids
from cabinwright.history.log import Log
from cabinwright.measure.factory_signal import factory_files
from cabinwright.measure.folder import FolderFiles
from cabinwright.measure.listening import HEARD_FILE, Form, Rendered, file_names, heard_text, open_track, render
from cabinwright.measure.loaded import keep_tune, read_settings_file
from cabinwright.measure.polars import read_polars
from cabinwright.measure.reader import read_recordings
from cabinwright.measure.signal import sweep_files
from cabinwright.physics.factory import FactoryResponses
from cabinwright.physics.response import RecordedResponses
from cabinwright.pipeline import Line, Results, Unheard, compare_places, crashed, heard_at, wiring
from cabinwright.stages import survey, tuning
from cabinwright.stages.layout.accepting import accepted
from cabinwright.stages.layout.decide import Decision
from cabinwright.stages.layout.result import LayoutResult
from cabinwright.stages.memory import Keeper, afresh
from cabinwright.stages.survey.sheet import KINDS, generic_sheet, own_sheet
from cabinwright.stages.tuning.result import TuningResult
from cabinwright.stages.tuning.settings import Settings
from cabinwright.stages.tuning.verify import verify
from cabinwright.stages.tuning.verify.result import VerificationResult
from cabinwright.stages.voice import stereo
from cabinwright.stages.workshop.files import FOLDER

if TYPE_CHECKING:
    from cabinwright.handover.book.given import Logged

__all__ = ["LISTENING", "Session"]

Progress = Callable[[str, float], None]
LISTENING = "listening"  #: folder of what can be heard, in ``out``
MARK, MARK_WITHIN = (
    "instructions and local rules go before this file",
    4000,
)  #: in the head of every cut file that we write


def unwatched(what: str, share: float) -> None:
    """Progress that nobody looks at."""


@dataclass(frozen=True)
class Session:
    """One build folder that is open."""

    folder: Path
    build: Build
    file_name: str = FILE_NAME
    keep: Keeper = afresh  #: gives back what of earlier work on the same folder still holds

    @classmethod
    def open(cls, path: Path, *, keep: Keeper = afresh) -> Session:
        """Open a build folder, or the ``build.toml`` in it. Raises ``BuildError``."""
        build = load(path)
        folder, name = (path, FILE_NAME) if path.is_dir() else (path.parent, path.name)
        return cls(folder, build, name, keep)

    @cached_property
    def located(self) -> Build:
        """The build with coordinates in place of surveyed points' names; ``build`` itself stays as it was written.

        Raises ``RefusedError`` where it names such points and the survey gives no answer.
        """
        return survey.locate(self.build)

    def survey_sheet(self, kind: str | None = None) -> tuple[Path, ...]:
        """Write the field sheet: for a kind of car, or of the build's own survey where none is named."""
        surveyed = self.build.survey is not None and bool(self.build.survey.points)
        sheet = own_sheet(self.build) if kind is None and surveyed else generic_sheet(kind or KINDS[0], self.build)
        return write_all(self.out, survey_sheet_documents(sheet))

    @property
    def out(self) -> Path:
        """Where results go."""
        return self.folder / "out"

    def accept(self, places: Sequence[str]) -> tuple[tuple[Decision, ...], Path]:
        """Write chosen places into ``build.toml`` as speakers, keeping everything else as it stands there.

        Raises ``RefusedError`` where one of them may not be; then nothing is written.
        """
        file = self.folder / self.file_name
        log = Log(self.folder, self.file_name)
        with log.held():
            file, content = source(self.folder if self.file_name == FILE_NAME else file)
            decisions, new = accepted(content, places, file)
            if new != content:
                what = "accepted " + ", ".join(decision.place for decision in decisions if decision.row is not None)
                log.commit(file, content, new, by="accept", what=what)
        return decisions, file

    def layout(
        self, progress: Progress = unwatched, *, executor: Executor | None = None
    ) -> tuple[LayoutResult, tuple[Path, ...]]:
        """Compare places for loudspeakers and write the comparison. Raises ``RefusedError`` where there is nothing to compare."""
        for table, cure in (
            ("places", "Write where a speaker could go; docs/layout.md shows how."),
            ("seats", "Say where the listeners' heads are."),
        ):
            if not getattr(self.build, table):
                raise RefusedError(f"{self.folder / self.file_name}: there are no [[{table}]] to compare. {cure}")
        surveyed = survey.run(self.build) if survey.has_names(self.build) else None
        polars = read_polars(self.build, self.folder)
        result = compare_places(self.build, surveyed, progress, polars=polars, executor=executor)
        assert result is not None
        progress("drawing", 0.0)
        return result, write_all(self.out, layout_documents(self.located, result))

    def sweep(self) -> tuple[Path, ...]:
        """Write the measurement signal and its page into the build folder."""
        return write_all(self.folder, sweep_files(self.build))

    def factory_signal(self) -> tuple[Path, ...]:
        """Write the signal for the car's own radio and its page into the build folder."""
        return write_all(self.folder, factory_files(self.build))

    def recordings(self, progress: Progress = unwatched) -> RecordedResponses:
        """Read and judge the recordings. Raises ``RefusedError`` where too few are good."""
        files = FolderFiles(self.build, self.folder, progress, keep=self.keep)
        return files.recordings() or read_recordings(self.located, self.folder)

    def tune(self, progress: Progress = unwatched) -> tuple[TuningResult, RecordedResponses, tuple[Path, ...]]:
        """Tune and write settings and report. Nothing is written unless everything succeeded."""
        if not self.build.recordings:
            raise RefusedError(
                f"{self.folder / 'build.toml'}: there are no [[recordings]] to tune from. Write the measurement signal with "
                f'"cabinwright sweep", record every channel at every position, and list the files.'
            )
        recorded = self.recordings(progress)
        result: TuningResult = self.keep(
            "tuning", lambda build, given: tuning.run(build, given, progress), self.located, recorded
        )
        loaded = FolderFiles(self.build, self.folder, progress, keep=self.keep).loaded()
        voice = heard_at(self.located, recorded, result, loaded, keep=self.keep)
        progress("writing", 0.0)
        keep_tune(self.out)
        wired = wiring(self.build, keep=self.keep)
        documents = tune_documents(self.located, result, recorded, wired, voice, keep=self.keep)
        return result, recorded, write_all(self.out, documents)

    def plan(self, progress: Progress = unwatched) -> tuple[Results, tuple[Path, ...]]:
        """Run every stage whose inputs are there and write ``plan.json``; what stops a stage stands in it as a finding."""
        results, recorded, captured = self._designed(progress)
        progress("writing", 0.0)
        documents = plan_documents(self.build, results, recorded, captured)
        stale = self._stale(documents)
        if stale:
            results = _told(results, stale)
            documents = plan_documents(self.build, results, recorded, captured)
        written = write_all(self.out, documents)
        self._withdraw(written)
        return results, written

    def book(
        self,
        progress: Progress = unwatched,
        *,
        paper: str = "A4",
        summary_only: bool = False,
        log: Sequence[Logged] = (),
        executor: Executor | None = None,
    ) -> tuple[Path, ...]:
        """Write ``book.pdf`` and ``summary.pdf``, or the summary alone, from what every stage gives now.

        ``log``: photographs and notes of the work, the oldest first. ``executor``: where stages that ask for no recording run
        beside the tune; None: here. The book does not depend on it.
        """
        from cabinwright.handover.book import Given, book_pdf, summary_pdf

        results, recorded, captured = self._designed(progress, executor)
        second, unverified, loaded = (None, "", "") if summary_only else self._verified(results, recorded, progress)
        given = Given(
            build=self.build,
            located=survey.located(self.build, results.survey),
            results=results,
            recordings=recorded,
            captured=captured,
            verification=second,
            unverified=unverified,
            loaded=loaded,
            log=tuple(log),
        )
        progress("writing the book", 0.0)
        files = {} if summary_only else {"book.pdf": book_pdf(given, paper=paper)}
        return write_all(self.out, {**files, "summary.pdf": summary_pdf(given, paper=paper)})

    def _verified(
        self, results: Results, recorded: RecordedResponses | None, progress: Progress
    ) -> tuple[VerificationResult | None, str, str]:
        """The second round of recordings against what was loaded: result, or why there is none, and the settings' mark.

        What was loaded stands in ``out/settings.json``; where there is none, the settings are those of the tune.
        """
        if not self.build.verification_recordings or recorded is None or results.tuning is None:
            return None, "", ""
        try:
            settings = self.settings() if (self.out / "settings.json").exists() else results.tuning.settings
            second = read_recordings(self.located, self.folder, kind="verification", progress=progress)
            progress("comparing", 0.0)
            return verify(self.located, recorded, settings, second), "", settings.fingerprint
        except PersonError as error:
            return None, f"Not verified: {error}", ""
        except Exception as error:
            return None, f"Not verified: {crashed('verification', error).message}", ""

    def listen(
        self,
        progress: Progress = unwatched,
        *,
        track: str,
        seat: str | None = None,
        places: Sequence[str] = (),
        form: Form = "flac",
        start_s: float = 0.0,
        length_s: float | None = None,
    ) -> tuple[Rendered, stereo.Stereo, tuple[Path, ...]]:
        """A track as it is heard before and after, for headphones, equally loud; into ``out/listening``.

        ``track`` is a file, or ``voice``, ``noise`` or ``clicks``. After are the settings of the last tune, before those by tape
        alone; the pairs that ``places`` belong to are heard beside them, as predicted. Raises ``PersonError``.
        """
        found = open_track(track, start_s=start_s, length_s=length_s)
        ears = self._ears(seat, places, progress)
        files = file_names(found, ears.responses, self.out / LISTENING, form)
        made = render(found, ears.responses, files, sample_rate_hz=ears.sample_rate_hz, form=form, progress=progress)
        told = {"track": found.name, "start_s": start_s, "seat": ears.seat, "ears": ears.basis}
        kept = write_all(self.out / LISTENING, {HEARD_FILE: heard_text(made, told)})
        return made, ears, (*files.values(), *kept)

    def _ears(self, name: str | None, places: Sequence[str], progress: Progress) -> stereo.Stereo:
        """Responses at both ears of all versions: what was measured where there are recordings, then what is predicted."""
        located, file = self.located, self.folder / self.file_name
        if not self.build.recordings and len(places) < 2:
            raise RefusedError(
                f"{file}: there are no [[recordings]] to listen through. Record first, or name two places."
            )
        seat = stereo.listening_seat(located, name)
        stereo.known(located, places)
        measured = None
        if self.build.recordings:
            settings = self.settings()
            measured = stereo.before_and_after(located, self.recordings(progress), settings, seat)
        if measured is not None and not places:
            return measured
        surveyed = survey.run(self.build) if survey.has_names(self.build) else None
        layout = compare_places(self.build, surveyed, progress, polars=read_polars(self.build, self.folder))
        assert layout is not None  # there are places: their names were known
        rate = measured.sample_rate_hz if measured else located.processor.sample_rate_hz if located.processor else 48e3
        predicted = stereo.through_places(layout, stereo.pairs_of(layout, places), seat.name, sample_rate_hz=rate)
        return predicted if measured is None else stereo.joined(measured, predicted)

    def _designed(
        self, progress: Progress, executor: Executor | None = None
    ) -> tuple[Results, RecordedResponses | None, FactoryResponses | None]:
        """What every stage gives, and the recordings and captures that it was given."""
        files = FolderFiles(self.build, self.folder, progress, keep=self.keep)
        line = Line(self.build, files, progress, keep=self.keep)
        if executor is not None:
            beside = executor.submit(_unheard, Session(self.folder, self.build, self.file_name))
            _ = line.voice  # and the tune before it
            with suppress(BrokenExecutor):  # the other process was ended from outside: all is worked out here
                line.take(beside.result())
        results, recorded = _checked(line.results()), None
        with suppress(Exception):  # why there are none stands in the results
            recorded = files.recordings()
        return results, recorded, files.captured()[0]

    def _listed(self) -> list[str]:
        """What the last plan wrote for machines, as ``out/workshop/written.json`` has it; nothing where that cannot be read."""
        before: object = []
        with suppress(OSError, ValueError):
            before = json.loads((self.out / FOLDER / "written.json").read_text(encoding="utf-8"))
        names = before if isinstance(before, list) else []
        return [name for name in names if isinstance(name, str) and Path(name).name == name]

    def _stale(self, documents: Mapping[str, str | bytes]) -> list[str]:
        """Files with our own mark that this plan does not write and no list names: a copy of a person's, or an earlier plan's."""
        ours, known = self.out / FOLDER, {*self._listed(), *(name.rpartition("/")[2] for name in documents)}
        found = []
        with suppress(OSError):
            for path in sorted(ours.iterdir()):
                if path.suffix.lower() in (".dxf", ".svg") and path.name not in known and path.is_file():
                    with path.open("rb") as stream:
                        head = stream.read(MARK_WITHIN).decode("utf-8", errors="replace")
                    found += [path.name] if MARK in head else []
        return found

    def _withdraw(self, written: Sequence[Path]) -> None:
        """Take away what an earlier plan wrote for machines and this one did not: nobody may cut from it any more.

        ``out/workshop/written.json`` lists what is ours; whatever else lies there stays. Raises ``OutputError`` where one cannot
        be taken away; it stays listed, and the next plan tries again.
        """
        ours = self.out / FOLDER
        now = [path.name for path in written if path.parent == ours]
        before, left = self._listed(), {}
        for name in before:
            if name not in now:
                try:
                    (ours / name).unlink(missing_ok=True)
                except OSError as error:
                    left[name] = error.strerror or str(error)
        if now or before:
            write_all(self.out, {f"{FOLDER}/written.json": json.dumps([*now, *left], indent=1) + "\n"})
        if left:
            names = "; ".join(f"{ours / name} ({why})" for name, why in left.items())
            raise OutputError(
                f"{names}: of an earlier plan, no longer right, and cannot be taken away. Do not cut from it: close the program "
                "that holds it open and plan again. Everything else of this plan was written."
            )

    def settings(self, file: Path | None = None) -> Settings:
        """The settings in ``file``; None: those of the last tune, as they stand in ``out/settings.json``."""
        return read_settings_file(self.out / "settings.json" if file is None else file)

    def verify(
        self, progress: Progress = unwatched, *, settings_file: Path | None = None
    ) -> tuple[VerificationResult, tuple[Path, ...]]:
        """Compare the second round of recordings with what was predicted, and write the verdict.

        ``settings_file`` holds the settings that were to be loaded; None: those of the last tune.
        """
        if not self.build.verification_recordings:
            raise RefusedError(
                f"{self.folder / 'build.toml'}: there are no [[verification_recordings]]. Load the settings, record the left "
                "side, the right side and everything at one position or more, and list the files."
            )
        settings = self.settings(settings_file)
        recorded = self.recordings(progress)
        second = read_recordings(self.located, self.folder, kind="verification", progress=progress)
        progress("comparing", 0.0)
        loaded = str(settings_file or self.out / "settings.json")
        result = verify(self.located, recorded, settings, second, file=loaded)
        progress("writing", 0.0)
        return result, write_all(self.out, verification_documents(self.located, result, settings.fingerprint))


def _unheard(session: Session) -> Unheard:
    """Run in another process."""
    return Line(session.build, FolderFiles(session.build, session.folder, unwatched), unwatched).unheard()


def _told(results: Results, stale: Sequence[str]) -> Results:
    found = tuple(finding("workshop.stale_file", where=f"{FOLDER}/{name}") for name in stale)
    if results.workshop is None:
        stopped = {**results.stopped, "workshop": (*results.stopped.get("workshop", ()), *found)}
        return replace(results, stopped=stopped)
    return replace(results, workshop=replace(results.workshop, findings=(*results.workshop.findings, *found)))


def _checked(results: Results) -> Results:
    """The results without solids that cannot be written: every list and page then says the same."""
    if results.workshop is None:
        return results
    return replace(results, workshop=made_solids(results.workshop))
