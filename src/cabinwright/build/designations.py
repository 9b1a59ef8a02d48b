"""Short designations of electrical items: the same on the diagram, in every list and on every label."""

from __future__ import annotations

from cabinwright.build.document import Build

__all__ = ["Designations", "designations"]

Designations = dict[tuple[str, str], str]

LETTERS = {"wire": "W", "fuse": "F", "switch": "S", "relay": "K", "connector": "X"}
"""Letter by kind, after the item designations of IEC 60750; a load is A where it is an amplifier, else E."""


def designations(build: Build) -> Designations:
    """Kind and name -> letter and number, counted in the build's order: ``("wire", "main feed") -> "W2"``.

    Kinds are ``wire``, ``fuse``, ``switch``, ``relay``, ``load`` and ``connector``.
    """
    rows = {
        "wire": [item.name for item in build.wires],
        "fuse": [item.name for item in build.fuses],
        "switch": [item.name for item in build.switches],
        "relay": [item.name for item in build.relays],
        "connector": [item.name for item in build.connectors],
    }
    found = {
        (kind, name): f"{LETTERS[kind]}{number}" for kind, names in rows.items() for number, name in enumerate(names, 1)
    }
    counted = {"A": 0, "E": 0}
    for load in build.loads:
        letter = "A" if load.amplifier else "E"
        counted[letter] += 1
        found["load", load.name] = f"{letter}{counted[letter]}"
    return found
