"""Invented wirings of many shapes, the same for the same number, as the text of a build."""

from __future__ import annotations

import random
from collections.abc import Iterator

HEAD = """\
schema = 1
title = "An invented car, number {number}"
[vehicle]
name = "invented van"
driving_side = "left"
[supply]
nominal_v = 13.8
battery = {{capacity_ah = 80, resistance_ohm = 0.006}}
alternator = {{rated_a = 150, idle_a = 80}}
"""
COLOURS = ("red", "black", "yellow and green", "violet", "")
SIZES = ("4 AWG", "10 mm2", "14 AWG", "0.75 mm2", "")


def _row(table: str, **values: object) -> str:
    lines = [f"[[{table}]]"]
    for key, value in values.items():
        if value != "":
            shown = value if not isinstance(value, str) or value.startswith("{") else f'"{value}"'
            lines.append(f"{key.rstrip('_')} = {shown}")
    return "\n".join(lines) + "\n"


class _Maker:
    """Makes one wiring; counts its wires."""

    def __init__(self, number: int, wires: int, loads: int) -> None:
        self.random = random.Random(number)
        self.wires, self.most, self.loads = 0, wires, loads
        self.live = ["battery plus"]
        self.lines = ["battery plus"]  #: nodes that may turn something on

    def wire(self, start: str, end: str) -> str:
        self.wires += 1
        number = self.wires
        return _row(
            "wires", name=f"wire {number}", from_=start, to=end, length_m=round(self.random.uniform(0.2, 6.0), 2),
            gauge=self.random.choice(SIZES), colour=self.random.choice(COLOURS),
        )  # fmt: skip

    def rows(self) -> Iterator[str]:
        for k in range(self.random.randint(1, 3)):
            yield _row("fuses", name=f"main {k}", from_="battery plus", to=f"main fuse {k} out", rating_a=125)
            yield self.wire(f"main fuse {k} out", f"distribution block {k}")
            self.live.append(f"distribution block {k}")
        for k in range(self.loads):
            yield from self.load(k)
        while self.wires < self.most:  # spare lines between what there is, and a lead that ends nowhere
            start = self.random.choice(self.live)
            self.live.append(f"spare {self.wires}")
            yield self.wire(start, self.live[-1])

    def load(self, k: int) -> Iterator[str]:
        name, at = f"load {k}", self.random.choice(self.live)
        if self.random.random() < 0.6:
            yield _row("fuses", name=name, from_=at, to=f"{name} fuse out", rating_a=15)
            at = f"{name} fuse out"
        if self.wires < self.most - 1:
            yield self.wire(at, f"{name} feed")
            at = f"{name} feed"
        if self.random.random() < 0.4:
            yield _row("switches", name=f"switch {k}", from_=f"{name} lead", to=at, closed_when='{door = "open"}')
            at = f"{name} lead"
        if self.random.random() < 0.3:
            rest = self.random.choice(["open", "closed"])
            coil = self.random.choice(self.lines)
            yield _row("relays", name=f"relay {k}", from_=at, to=f"{name} contact", coil_from=coil, at_rest=rest)
            at = f"{name} contact"
        back = "chassis"
        if self.wires < self.most - 1 and self.random.random() < 0.6:
            back = f"{name} minus"
            yield self.wire(back, "chassis")
        kind = self.random.choice(["current_a", "lamp", "amplifier"])
        draw: dict[str, object] = {"current_a": 2.5} if kind != "amplifier" else {}
        draw |= {"amplifier": '{output_w = 400, class = "AB", channels = 4}'} if kind == "amplifier" else {}
        turned = self.random.random() < 0.4
        remote = self.random.choice(self.lines) if turned else ""
        label = f"{'lamp' if kind == 'lamp' else 'thing'} {k}"
        yield _row("loads", name=label, from_=at, to=back, remote=remote if remote != at else "", **draw)
        self.live.append(at)
        self.lines.append(at)


def invented_wiring(number: int, *, wires: int = 40, loads: int = 20) -> str:
    """The text of a build with so many wires and loads."""
    states = _row("states", name="door", values="{}").replace("{}", '["open", "closed"]')
    return HEAD.format(number=number) + "".join(_Maker(number, wires, loads).rows()) + states
