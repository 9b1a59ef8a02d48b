"""Findings: what a stage thinks of a design. They raise nothing and change nothing.

The wording of every code, with its default severity, remedy and source, stands in ``findings.toml`` beside this file,
so that it is made in one place. A template may use ``{where}``, ``{value}``, ``{limit}``, ``{unit}`` and any detail
passed by the caller.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files
from typing import Any, Literal, get_args

__all__ = ["Finding", "Severity", "catalogue", "finding"]

Severity = Literal["note", "caution", "stop"]
SEVERITIES: tuple[Severity, ...] = get_args(Severity)


@dataclass(frozen=True, slots=True)
class Finding:
    """One remark of one stage. ``code`` is stable; ``message`` and ``remedy`` are worded in ``findings.toml``."""

    code: str
    severity: Severity
    where: str
    message: str
    value: float | str | None = None
    limit: float | str | None = None
    unit: str = ""
    source: str = ""
    remedy: str = ""
    details: Mapping[str, Any] = field(default_factory=dict)

    @property
    def waivable(self) -> bool:
        """Whether a person may answer for it; not where it guards people from harm."""
        return "guards" not in catalogue().get(self.code, {})

    def to_dict(self) -> dict[str, Any]:
        """Plain JSON types, as ``plan.json`` carries them."""
        return {
            "code": self.code,
            "severity": self.severity,
            "where": self.where,
            "message": self.message,
            "value": self.value,
            "limit": self.limit,
            "unit": self.unit,
            "source": self.source,
            "remedy": self.remedy,
        }


@cache
def catalogue() -> dict[str, dict[str, str]]:
    """Every known code: ``{code: {severity, message, remedy, source}}``; ``guards = "people"`` where none may waive it."""
    text = files("cabinwright").joinpath("findings.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def finding(
    code: str,
    *,
    where: str,
    value: float | str | None = None,
    limit: float | str | None = None,
    unit: str = "",
    severity: Severity | None = None,
    **details: Any,
) -> Finding:
    """Make a finding from the catalogue. Raises ``KeyError`` for a code that is not in it (our own mistake)."""
    rule = catalogue()[code]
    words = {"where": where, "value": value, "limit": limit, "unit": unit, **details}
    level = severity or rule["severity"]
    if level not in SEVERITIES:
        raise KeyError(f"{code}: unknown severity {level!r}")
    return Finding(
        code=code,
        severity=level,
        where=where,
        message=rule["message"].format(**words),
        value=value,
        limit=limit,
        unit=unit,
        source=rule["source"],
        remedy=rule["remedy"].format(**words),
        details=details,
    )
