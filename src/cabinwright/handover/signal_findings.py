"""Findings of the signal chain for its page: what is said of several channels alike is said once."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from cabinwright.findings import Finding
from cabinwright.handover.wording import join

__all__ = ["merged"]

FOLLOWS = ("by", "lower", "music", "down")  #: details that follow from a finding's value and its limit


def merged(findings: Iterable[Finding]) -> list[Finding]:
    """In the same order: those that differ in nothing but their place as one, those that differ in a figure as a first one
    and the others' figures behind it."""
    groups: dict[tuple[object, ...], list[Finding]] = {}
    for item in findings:
        groups.setdefault(_kind(item), []).append(item)
    return [_one(items) for items in groups.values()]


def _kind(item: Finding) -> tuple[object, ...]:
    """What has to be the same. A message that does not begin with its place stands alone."""
    if "sound" in item.details:
        return (item.code, item.where, item.remedy, str(item.details.get("reason")))
    if not item.message.startswith(f"{item.where}: "):
        return (item.code, item.where, item.message)
    details = tuple(sorted((key, str(value)) for key, value in item.details.items() if key not in FOLLOWS))
    return (item.code, item.severity, item.remedy, item.limit, item.unit, details)


def _one(items: list[Finding]) -> Finding:
    first = items[0]
    if len(items) == 1:
        return first
    if "sound" in first.details:
        sounds = join([str(item.details["sound"]) for item in items])
        return replace(first, message=first.message.replace(f"({first.details['sound']})", f"({sounds})"))
    alike = [item for item in items if item.message[len(item.where) :] == first.message[len(first.where) :]]
    message = _places([item.where for item in alike]) + first.message[len(first.where) :]
    others = [item for item in items if item not in alike]
    if others:
        message += f"; likewise {join([f'{item.where} ({item.value} {item.unit})' for item in others])}"
    return replace(first, message=message)


def _places(names: list[str]) -> str:
    """Channels of one amplifier behind its name: “front: 1, 2 and 3”."""
    owners: dict[str, list[str]] = {}
    for name in names:
        owner, _, own = name.rpartition(": ")
        owners.setdefault(owner, []).append(own)
    return join([f"{owner}: {join(own)}" if owner else join(own) for owner, own in owners.items()])
