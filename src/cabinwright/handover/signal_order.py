"""Presets, what of the car's own sounds is heard in each, and the order of waking, as rows for ``signal.html``."""

from __future__ import annotations

from typing import Any

from cabinwright.handover.wording import decibels, hertz, join

__all__ = ["bypass_rows", "preset_rows", "turn_on_rows"]

NONE = "–"


def preset_rows(found: dict[str, Any]) -> list[dict[str, Any]]:
    """From ``signal.presets`` of the plan."""
    return [_preset(name, row) for name, row in found.items()]


def _preset(name: str, row: dict[str, Any]) -> dict[str, Any]:
    path = row["path"] or {}
    honest = [f"coded with loss at {join(list(path['lossy']))}"] if path.get("lossy") else []
    if path.get("bandwidth_hz") is not None:
        honest.append(f"up to {hertz(path['bandwidth_hz'])}")
    if path.get("conversions"):
        honest.append("1 conversion" if path["conversions"] == 1 else f"{path['conversions']} conversions")
    if path.get("resampled"):
        honest.append(f"resampled {path['resampled']} times" if path["resampled"] > 1 else "resampled once")
    return {
        "name": name,
        "proposed": row["proposed"],
        "source": row["source"],
        "trim": decibels(row["trim_db"]),
        "inputs": [f"{item['input']} ({item['side']}{_repair(item['repair'])})" for item in row["inputs"]],
        "routes": [(item["channel"], _share(item["left_db"]), _share(item["right_db"])) for item in row["routes"]],
        "also": [f"{item['source']} at {decibels(item['level_db'])}" for item in row["also"]],
        "sounds": _sounds(row["sounds"]),
        "path": ", ".join(honest) or NONE,
    }


def _sounds(rows: dict[str, dict[str, Any]]) -> list[tuple[str, str, bool]]:
    """Those of which the same is to be said together."""
    alike: dict[tuple[str, bool], list[str]] = {}
    for sound, item in rows.items():
        alike.setdefault((_heard(item), bool(item["reaches"])), []).append(sound)
    return [(join(names), text, reaches) for (text, reaches), names in alike.items()]


def _repair(row: dict[str, Any] | None) -> str:
    return "" if row is None else f", from {row['output']} at {decibels(row['gain_db'])}"


def _share(level_db: float | None) -> str:
    return NONE if level_db is None else decibels(level_db)


def _heard(row: dict[str, Any]) -> str:
    if row["reaches"]:
        level = "" if row["level_db"] is None else f" at {decibels(row['level_db'])}"
        return f"{row['source']}{level}"
    return str(row["reason"] or "not heard")


def turn_on_rows(found: dict[str, Any]) -> dict[str, Any]:
    """From ``signal.turn_on`` of the plan."""
    return {
        "order": [
            {
                "device": row["device"],
                "woken": _seconds(row["woken_s"]),
                "awake": _seconds(row["awake_s"]),
                "let_go": _seconds(row["let_go_s"]),
                "asleep": _seconds(row["asleep_s"]),
            }
            for row in found["order"]
        ],
        "thumps": [
            f"{row['device']} when switched {row['when']}, heard through {row['path'][-1]}"
            + ("" if row["delay"] is None else f": delay {row['delay']} by {row['delay_s']:.2g} s")
            for row in found["thumps"]
        ],
        "unstated": join(list(found["unstated"])),
    }


def _seconds(time_s: float) -> str:
    return f"{time_s:.2f} s"


def bypass_rows(found: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """From ``signal.service_bypasses`` of the plan."""
    return [
        {
            "name": row["name"],
            "bus": row["bus"],
            "ends": f"{row['from']} to {row['to']}",
            "when": states(row["when"]),
            "silent": join(list(row["silent"])),
            "proved": _proved(row),
            "holds": row["holds"],
            "steps": row["steps"],
        }
        for row in found
    ]


def _proved(row: dict[str, Any]) -> str:
    if row["holds"] is None:
        return "Not proved: no wiring is described."
    if row["holds"]:
        many = "the one combination" if row["combinations"] == 1 else f"all {row['combinations']} combinations"
        return f"Proved by the wiring in {many} of states."
    against = f", with {states(row['counterexample'])}" if row["counterexample"] else ""
    return f"The wiring breaks it{against}: see the findings."


def states(values: dict[str, str]) -> str:
    """States in words."""
    return ", ".join(f"{name} {value}" for name, value in values.items())
