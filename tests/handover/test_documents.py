"""Every job writes the documents that the manual names."""

from __future__ import annotations

from pathlib import Path

from cabinwright.build.document import Build
from cabinwright.files import write_all
from cabinwright.handover.documents import plan_documents, tune_documents, verification_documents
from cabinwright.physics.response import RecordedResponses
from cabinwright.stages.tuning.result import TuningResult
from handover import invented
from handover.test_plan import Given


def test_names_and_the_same_bytes_every_time(
    car: Build, tune: TuningResult, recordings: RecordedResponses, tmp_path: Path
) -> None:
    def everything() -> dict[str, str]:
        return {
            **tune_documents(car, tune, recordings),
            **plan_documents(car, Given(tuning=tune), recordings),
            **verification_documents(car, invented.verification()),
        }

    texts = everything()
    assert list(texts) == [
        "settings.json",
        "settings.html",
        "report.html",
        "plan.json",
        "verification.json",
        "verification.html",
    ]
    assert everything() == texts
    written = write_all(tmp_path, texts)
    assert [path.read_bytes().decode("utf-8") for path in written] == list(texts.values())
