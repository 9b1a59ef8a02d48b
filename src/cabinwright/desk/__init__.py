"""A build that is being worked on: edited field by field, recalculated where it must be, kept in a history.

What a screen may call (``from cabinwright.desk import Desk``); all of it may be called from any thread, one call at a time
goes through. One desk a folder in a process: every tab shares it.

    desk = Desk.open(folder)                       # as Session.open; raises BuildError
    desk.build, desk.text, desk.folder             # the build as it stands in build.toml, and its text
    desk.version                                   # counts up with every change: a page polls it and redraws

    Paths: text as in messages, ``places["left pillar"].position_m[1]`` or ``places[3].position_m[1]``, ``tuning.seat``.
    Values are what TOML holds: numbers in the key's unit, text with a unit ("35 cm"), true/false, lists; None takes a key out.

    change = desk.edit(path, value, by="screen", why="")   # -> Change; `by` is what a person reads: "screen: places"
    change = desk.add("places", {"name": "a", ...})        # one more [[places]], after the last
    change = desk.remove('places["a"]')                    # a row, a key or an element of a list
    change = desk.edit_all({path: value, ...})             # several keys as one change
    change = desk.rename('places["a"].name', "b")          # and whatever calls the row by its old name
    change = desk.accept(["left pillar"], again=True)      # as the command; again: moved places take their speakers along
    change = desk.undo() / desk.redo() / desk.restore(n)   # None where there is nothing to undo or redo
    desk.can_undo, desk.can_redo                           # what would be undone or done again, in words, or None
    change = desk.refresh()                                # looks at the file; a Change where it was changed outside, else None
        Change(number, when, by, what, why, stages)        # `what` in words, by names; `stages` that must be seen anew
        raises BuildError (refused; .problems as for files; the desk and the file stay), RefusedError, OutputError,
        Clash (an editor wrote the same key meanwhile: .place, .before, .outside, .wanted; nothing was written)

    desk.result("layout")          # that stage's result; only what changed, and what it needs, is worked out. None: see
    desk.tried("a", position_m=(1, 2, 3), aim=(0, 0, 1))   # the layout with that place elsewhere; nothing is written
    desk.skipped("layout")         # why there is none ("needs ..."), or ""
    desk.findings("layout")        # findings of the stage, and why it stopped
    desk.results()                 # pipeline.Results of all stages

    desk.describe('places["a"]')   # -> tuple[FieldView, ...]: one a key of that table, written or not
        FieldView(path, key, label, kind, unit, units, low, high, default, help, accepts, choices, written, value, required,
        findings)                  # kind: "number" "whole" "text" "yes/no" "choice" "word or whole" "list" "point" "file"
                                   # "states" "table" "rows"
    desk.rows("places")            # the rows' names (or "" ) in order
    desk.row_words("recordings")   # what tells the rows apart: names, or the first of what each says

    desk.history()                 # -> History(entries, damage); Entry(number, when, by, what, why, before, after)
    desk.state(n)                  # the text of build.toml after entry n; 0: before the first
    desk.at(n)                     # that state as a Build
    desk.compared(n)               # -> Comparison(design, result): what differs between state n and now, in words

    job = desk.start("tune")       # also "plan" "layout" "book" "verify" "listen", with options; in its own process
    job = desk.start("compare", number=3)                  # as ``compared``; job.told: the differences in result
    job.progress                   # (words, share 0 to 1)
    job.state                      # "running" "done" "failed" "cancelled"
    job.answer                     # tuple of paths written, when done
    job.error                      # words, when failed
    job.cancel()                   # nothing is left half written
    keep_ready()                   # from now on the next job's process is started before it is asked for

    recorder = Recorder(desk, open_card(), settings)       # guided recording into the build; see ``desk.recorder``
    recorder.view, recorder.press("go"), recorder.turn(), recorder.close()
"""

from cabinwright.desk.changes import Change, Clash
from cabinwright.desk.desk import Desk
from cabinwright.desk.forms import FieldView
from cabinwright.desk.jobs import Job, Work, keep_ready
from cabinwright.desk.recorder import Recorder

__all__ = ["Change", "Clash", "Desk", "FieldView", "Job", "Recorder", "Work", "keep_ready"]
