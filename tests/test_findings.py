"""Every finding is worded fully and names its source; a finding made is plain data."""

from __future__ import annotations

import json
import re
from string import Formatter

import pytest

from cabinwright import findings
from cabinwright.findings import SEVERITIES, catalogue, finding
from cabinwright.sources import SOURCES, is_cited

GOOD = {
    "severity": "caution",
    "message": "{where}: {value} {unit} is more than {limit} {unit}.",
    "remedy": "Lower it.",
    "source": "common practice, no source",
}


def faults(code: str, rule: dict[str, str]) -> list[str]:
    """What is wrong with one entry of findings.toml."""
    found = []
    if not re.fullmatch(r"[a-z0-9]+([-_.][a-z0-9]+)*", code):
        found.append("code")
    if rule.get("severity") not in SEVERITIES:
        found.append("severity")
    for key in ("message", "remedy"):
        text = rule.get(key, "")
        try:
            fields = [name for _, name, _, _ in Formatter().parse(text) if name is not None]
        except ValueError:
            found.append(key)
            continue
        if len(text.strip()) < 5 or any(not name.split(".")[0].split("[")[0].isidentifier() for name in fields):
            found.append(key)
    if not is_cited(rule.get("source", "")):
        found.append("source")
    if "guards" in rule and (rule["guards"], rule.get("severity")) != ("people", "stop"):
        found.append("guards")
    found += sorted(set(rule) - {"severity", "message", "remedy", "source", "guards"})
    return found


def test_every_code_is_well_formed() -> None:
    wrong = {code: found for code, rule in catalogue().items() if (found := faults(code, rule))}
    assert wrong == {}


@pytest.mark.parametrize(
    ("change", "fault"),
    [
        ({"severity": "fatal"}, "severity"),
        ({"message": ""}, "message"),
        ({"message": "a stray { brace"}, "message"),
        ({"remedy": "{0}"}, "remedy"),
        ({"source": "somebody said so"}, "source"),
        ({"colour": "red"}, "colour"),
        ({"guards": "people"}, "guards"),
        ({"guards": "paint", "severity": "stop"}, "guards"),
    ],
)
def test_the_check_sees_what_is_wrong(change: dict[str, str], fault: str) -> None:
    assert faults("some-code", GOOD) == []
    assert faults("some-code", {**GOOD, **change}) == [fault]
    assert faults("Some Code", GOOD) == ["code"]


def test_a_finding_is_worded_from_the_catalogue(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(findings, "catalogue", lambda: {"too-loud": GOOD})
    made = finding("too-loud", where="left tweeter", value=3.0, limit=1.0, unit="dB", extra="kept")
    assert made.message == "left tweeter: 3.0 dB is more than 1.0 dB."
    assert (made.severity, made.remedy, made.details["extra"]) == ("caution", "Lower it.", "kept")
    assert json.loads(json.dumps(made.to_dict()))["code"] == "too-loud"
    assert finding("too-loud", where="x", severity="stop").severity == "stop"
    assert made.waivable
    with pytest.raises(KeyError, match="unheard"):
        finding("unheard-of", where="x")
    with pytest.raises(KeyError, match="unknown severity"):
        finding("too-loud", where="x", severity="fatal")  # type: ignore[arg-type]


def test_nobody_waives_what_guards_people() -> None:
    words = {"place": "pod", "keep_out": "curtain", "kind": "airbag", "value": 3.0, "unit": "mm"}
    assert not finding("layout.airbag", where="pod", **words).waivable
    assert finding("layout.keep_out", where="pod", **words).waivable


def test_the_bibliography_is_in_order() -> None:
    assert list(SOURCES) == sorted(SOURCES, key=str.casefold)
    assert all(len(text) > 30 for text in SOURCES.values())
    assert is_cited("Farina 2007, section 2") and is_cited("common practice, no source")
    assert not is_cited("hearsay")
