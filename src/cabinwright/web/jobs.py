"""Long work from a page: started, watched, cancelled; the page stays live meanwhile."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from nicegui import ui

from cabinwright.web.frame import View
from cabinwright.web.parts import box, button, text
from cabinwright.web.words import _

if TYPE_CHECKING:
    from cabinwright.desk import Job, Work

__all__ = ["EVERY_S", "Gauge", "job_panel"]

EVERY_S = 0.1


class Gauge:
    """How far long work is, in words and as a bar, and a way to cancel it."""

    def __init__(self, words: str, cancel: Callable[[], None]) -> None:
        self.said = text("p", "", "figure")
        self.said.props["role"] = "status"
        self._bar = box("progress")
        self._bar.props.update({"aria-label": words, "max": 1})
        self._stop = button(_("Cancel"), cancel, says=f"{_('Cancel')}: {words}")

    def show(self, job: Work | None, before: str = "") -> bool:
        """Whether it runs; then how far it is, ``before`` said first."""
        running = job is not None and job.state == "running"
        if job is not None and running:
            what, share = job.progress
            self.said.text, self._bar.props["value"] = before + what, share
            self._bar.update()
        for made in (self._bar, self._stop):
            made.set_visibility(running)
        return running


def job_panel(view: View, kind: str, words: str, *, key: str = "", **options: Any) -> None:
    """A button that starts one kind of work; while it runs, how far it is and a way to cancel. ``key``: one of several."""
    key = key or kind
    jobs: dict[str, Job] = view.state.setdefault("jobs", {})
    with box("div", "key"):
        gauge = Gauge(words, lambda: jobs[key].cancel())
        start = button(words, lambda: begin(), "main")
        told: list[str] = [""]

    async def begin() -> None:
        job = await view.attempt(lambda: view.desk.start(kind, **options))
        if job is not None:
            jobs[key], told[0] = job, ""
            look()

    def look() -> None:
        job = jobs.get(key)
        running = gauge.show(job)
        start.set_visibility(not running)
        if job is not None and not running and told[0] != job.state:
            told[0] = job.state
            done = _("✓ Done.") if job.state == "done" else _("Cancelled. Nothing was changed.")
            gauge.said.text = _("✗ ") + view.told(job.error) if job.state == "failed" else done
            if job.state == "done" and view.state.get("done") is not job:
                view.state["done"] = job
                ui.timer(0.01, view.draw, once=True)

    look()
    ui.timer(EVERY_S, look)
