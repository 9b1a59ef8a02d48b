"""``shop job``: from what was asked to the car that comes back."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

from cabinwright.cli.shop.command import (
    Command,
    a_day,
    a_number,
    argument,
    content_of,
    count_of,
    listing,
    option,
    row_of,
)
from cabinwright.cli.terminal import with_progress
from cabinwright.errors import PersonError

if TYPE_CHECKING:
    from cabinwright.shop.store import Store

__all__ = ["COMMANDS", "JOB"]

ANSWERS_BYTES = 100_000


def _list(store: Store, options: argparse.Namespace) -> Any:
    from cabinwright.shop.jobs import STATES, listed
    from cabinwright.shop.trail import columns

    unknown = [state for state in options.state if state not in STATES]
    if unknown:
        raise PersonError(f"{', '.join(unknown)}: no state of a job. States are {', '.join(STATES)}.")
    with store.read() as work:
        rows = listed(
            work, states=options.state, promised_before=options.before, after=options.after, most=options.most
        )
        return [_brief(columns(row)) for row in rows]


def _brief(row: dict[str, Any]) -> dict[str, Any]:
    names = ("id", "number", "title", "state", "promised_on", "car_id", "earlier_id", "folder", "count")
    return {name: row[name] for name in names}


def _show(store: Store, options: argparse.Namespace) -> Any:
    from cabinwright.office.bench import tasks
    from cabinwright.office.offers import offers_of
    from cabinwright.office.showcase import diary
    from cabinwright.shop.rows import Job
    from cabinwright.shop.trail import columns

    with store.read() as work:
        job = row_of(work, Job, options.job)
        told = {**columns(job), "car": job.car.name, "customer": job.car.customer.name}
    offers = [
        {"id": item.id, "number": item.number, "state": item.state, "valid_until": item.valid_until}
        for item in offers_of(store, options.job)
    ]
    plain = [row.to_dict() for row in tasks(store, options.job)]
    return {**told, "offers": offers, "tasks": plain, "log": [row.to_dict() for row in diary(store, options.job)]}


def _add(store: Store, options: argparse.Namespace) -> Any:
    from cabinwright.shop.jobs import add_job
    from cabinwright.shop.trail import columns

    folder = str(options.build.resolve()) if options.build else ""
    given = {"car_id": options.car, "title": options.title, "promised_on": options.promised, "folder": folder}
    return store.change(lambda work: _brief(columns(add_job(work, **given))), by=options.by)


def _step(store: Store, options: argparse.Namespace) -> Any:
    from cabinwright.shop.jobs import step
    from cabinwright.shop.rows import Job
    from cabinwright.shop.trail import columns

    count = count_of(store, Job, options.job)
    return store.change(
        lambda work: _brief(columns(step(work, options.job, options.state, count=count))), by=options.by
    )


def _questions(store: Store, options: argparse.Namespace) -> Any:
    from dataclasses import asdict

    from cabinwright.office.wishes import QUESTIONS

    return [asdict(item) for item in QUESTIONS]


def _wishes(store: Store, options: argparse.Namespace) -> Any:
    from cabinwright.office.wishes import keep_wishes, wishes_of, write_wishes
    from cabinwright.shop.rows import Job

    if options.answers is not None:
        try:
            answers = json.loads(content_of(options.answers, most=ANSWERS_BYTES))
        except (ValueError, RecursionError) as error:
            raise PersonError(
                f"{options.answers}: no JSON ({error}). Questions: cabinwright shop job questions."
            ) from None
        if not isinstance(answers, dict):
            raise PersonError(f"{options.answers}: a JSON object with a key for each question is wanted.")
        keep_wishes(store, options.job, answers, count=count_of(store, Job, options.job), by=options.by)
    wishes = wishes_of(store, options.job)
    told: dict[str, Any] = {"wishes": wishes.to_dict()}
    if options.write:
        with store.read() as work:
            folder = row_of(work, Job, options.job).folder
        if not folder:
            raise PersonError(f"Job {options.job} has no build folder. Name it when you add the job, with --build.")
        told |= write_wishes(Path(folder), wishes, by=options.by).to_dict()
    return told


def _note(store: Store, options: argparse.Namespace) -> Any:
    from cabinwright.office.showcase import add_note

    return add_note(store, options.job, options.text, by=options.by, pinned=options.pinned).to_dict()


def _photograph(store: Store, options: argparse.Namespace) -> Any:
    from cabinwright.office.showcase import add_photograph
    from cabinwright.shop.files import LARGEST_PHOTOGRAPH

    content = content_of(options.file, most=LARGEST_PHOTOGRAPH)
    given = {"name": options.file.name, "by": options.by, "pinned": options.pinned, "words": options.words}
    return add_photograph(store, options.job, content, task_id=options.task, **given).to_dict()


def _diary(store: Store, options: argparse.Namespace) -> Any:
    from cabinwright.office.showcase import diary

    return [row.to_dict() for row in diary(store, options.job)]


def _public(store: Store, options: argparse.Namespace) -> Any:
    from cabinwright.office.showcase import allow_on_page
    from cabinwright.shop.rows import Kept

    count = count_of(store, Kept, options.photograph)
    return allow_on_page(store, options.photograph, options.shown == "yes", count=count, by=options.by).to_dict()


def _page(store: Store, options: argparse.Namespace) -> Any:
    from cabinwright.files import overwrite
    from cabinwright.office.showcase import page

    overwrite(options.file, page(store, options.job, title=options.title, words=options.words).encode())
    return f"wrote {options.file}\nLook at every picture first: a face or a number plate in one is not found by this program."


def _book(store: Store, options: argparse.Namespace) -> Any:
    from cabinwright.office.showcase import book

    written = with_progress(
        lambda progress: book(
            store, options.job, paper="Letter" if options.paper == "letter" else "A4", progress=progress
        )
    )
    return "\n".join(f"wrote {path}" for path in written)


def _verified(store: Store, options: argparse.Namespace) -> Any:
    from cabinwright.office.returns import keep_verification

    kept = with_progress(
        lambda progress: keep_verification(
            store, options.job, by=options.by, settings_file=options.settings, progress=progress
        )
    )
    return kept.to_dict()


def _come_back(store: Store, options: argparse.Namespace) -> Any:
    from cabinwright.office.returns import come_back

    return {"id": come_back(store, options.job, title=options.title, by=options.by, promised_on=options.promised)}


def _looked_back(store: Store, options: argparse.Namespace) -> Any:
    from cabinwright.office.returns import looked_back

    found = with_progress(lambda progress: looked_back(store, options.job, progress=progress))
    return found.to_dict()


JOB = argument("job", "number (id) of the job", type=a_number)
PINNED = option("pinned", "stage or part that it belongs to", default="")
PROMISED = option("promised", "day it is promised for, as 2026-03-31", type=a_day, metavar="DAY")
COMMANDS = (
    Command(
        "job",
        "list",
        "list jobs, those first that are promised first",
        _list,
        listing(
            option("state", "only in this state; may be said again", action="append", default=[]),
            option("before", "only promised before this day", type=a_day, metavar="DAY"),
        ),
    ),
    Command("job", "show", "show a job with its proposals, tasks and log", _show, (JOB,)),
    Command(
        "job",
        "add",
        "add a job on a car",
        _add,
        (
            argument("car", "number of the car", type=a_number),
            argument("title", "what is asked for"),
            PROMISED,
            option("build", "its build folder", type=Path, metavar="FOLDER"),
        ),
    ),
    Command(
        "job", "step", "bring a job into another state", _step, (JOB, argument("state", "offered, agreed, building …"))
    ),
    Command("job", "questions", "list the questions of the interview", _questions),
    Command(
        "job",
        "wishes",
        "show the wishes, or keep answers from a JSON file",
        _wishes,
        (
            JOB,
            option("answers", "JSON object, question: answer", type=Path, metavar="FILE"),
            option("write", "write what the build has fields for into build.toml", action="store_true"),
        ),
    ),
    Command("job", "note", "write something down in the log", _note, (JOB, argument("text", "what"), PINNED)),
    Command(
        "job",
        "photograph",
        "keep a photograph in the log",
        _photograph,
        (
            JOB,
            argument("file", "JPEG, PNG or WebP", type=Path),
            PINNED,
            option("words", "what is to be seen", default=""),
            option("task", "number of the task that it shows", type=a_number, metavar="TASK"),
        ),
    ),
    Command("job", "log", "list photographs and notes", _diary, (JOB,)),
    Command(
        "job",
        "public",
        "choose a photograph for the shop's own site",
        _public,
        (
            argument("photograph", "its number in the log", type=a_number),
            argument("shown", "yes or no", choices=("yes", "no")),
        ),
    ),
    Command(
        "job",
        "page",
        "write one page for the shop's own site, with consent only",
        _page,
        (
            JOB,
            argument("file", "HTML file to write", type=Path),
            option("title", "its title", required=True),
            option("words", "a few words", default=""),
        ),
    ),
    Command(
        "job",
        "book",
        "write the book with the log in it",
        _book,
        (JOB, option("paper", "a4 or letter", choices=("a4", "letter"), default="a4")),
    ),
    Command(
        "job",
        "verified",
        "keep the second round of recordings with the job",
        _verified,
        (JOB, option("settings", "settings.json that was loaded", type=Path, metavar="FILE")),
    ),
    Command(
        "job",
        "return",
        "open a job for a car that comes back",
        _come_back,
        (JOB, option("title", "what for", required=True), PROMISED),
    ),
    Command("job", "back", "say what was done, what has drifted, what can be replaced", _looked_back, (JOB,)),
)
