"""Long work from a page: started, watched, cancelled; the page stays live meanwhile."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from nicegui import ui

from cabinwright.web.frame import View
from cabinwright.web.parts import box, button, text
from cabinwright.web.words import _

if TYPE_CHECKING:
    from cabinwright.desk import Job

__all__ = ["job_panel"]

EVERY_S = 0.25


def job_panel(view: View, kind: str, words: str, *, key: str = "", **options: Any) -> None:
    """A button that starts one kind of work; while it runs, how far it is and a way to cancel. ``key``: one of several."""
    key = key or kind
    jobs: dict[str, Job] = view.state.setdefault("jobs", {})
    with box("div", "key"):
        said = text("p", "", "figure")
        said.props["role"] = "status"
        bar = box("progress")
        bar.props["aria-label"] = words
        bar.props["max"] = 1
        with box("div", "row"):
            start = button(words, lambda: begin(), "main")
            stop = button(_("Cancel"), lambda: jobs[key].cancel())
        told: list[str] = [""]

    async def begin() -> None:
        job = await view.attempt(lambda: view.desk.start(kind, **options))
        if job is not None:
            jobs[key], told[0] = job, ""
            look()

    def look() -> None:
        job = jobs.get(key)
        running = job is not None and job.state == "running"
        for made, shown in ((bar, running), (stop, running), (start, not running)):
            made.set_visibility(shown)
        if job is None:
            return
        if running:
            what, share = job.progress
            said.text, bar.props["value"] = what, share
            bar.update()
        elif told[0] != job.state:
            told[0] = job.state
            done = _("✓ Done.") if job.state == "done" else _("Cancelled. Nothing was changed.")
            said.text = _("✗ ") + str(job.error) if job.state == "failed" else done
            if job.state == "done" and view.state.get("done") is not job:
                view.state["done"] = job
                ui.timer(0.01, view.draw, once=True)

    look()
    ui.timer(EVERY_S, look)
