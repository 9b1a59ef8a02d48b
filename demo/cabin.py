"""The demo's cabin, survey and places as TOML: the same box that the simulator's recordings were made in, and invented like it.

Walls, sizes and absorption are those of ``tests/cars/room.py``, so that what is predicted can be held against what was
"measured". Airbags, pillars, prices and tapes are made up.
"""

from __future__ import annotations

import numpy as np

from cars.room import BANDS, MATERIALS

WALLS = {  # in the simulator's order, because each wall draws its absorption in turn
    "front wall": ("glass", "door"),
    "rear wall": ("seats", "glass"),
    "left wall": ("glass", "door"),
    "right wall": ("glass", "door"),
    "floor": ("carpet", "seats"),
    "roof": ("headlining",),
}
FACES = {
    "front wall": (0, 0),
    "rear wall": (0, 1),
    "left wall": (1, 0),
    "right wall": (1, 1),
    "floor": (2, 0),
    "roof": (2, 1),
}

# name, role, side, position [m] or surveyed point, aim, and what else is said of it
PLACES = [
    ("left tweeter", "tweeter", "left", [0.64, -0.64, 0.97], [0.4856, 0.8742, 0.0],
     'radius_m = 0.013\ncut = "insert of the sail panel"\nreversible = true\ncost = 90\nlooks = 4'),
    ("right tweeter", "tweeter", "right", [0.66, 0.65, 0.96], [0.6, -0.8, 0.0],
     'radius_m = 0.013\ncut = "insert of the sail panel"\nreversible = true\ncost = 90\nlooks = 4'),
    ("left pillar", "tweeter", "left", "left pillar pod", "driver",
     'radius_m = 0.013\naim_limit_deg = 35\npillar = "left A pillar"\ncut = "pillar trim, moulded anew"\nreversible = false\n'
     "cost = 420\nlooks = 5"),
    ("right pillar", "tweeter", "right", "right pillar pod", "driver",
     'radius_m = 0.013\naim_limit_deg = 35\npillar = "right A pillar"\ncut = "pillar trim, moulded anew"\nreversible = false\n'
     "cost = 420\nlooks = 5"),
    ("left dash corner", "tweeter", "left", [0.47, -0.61, 0.86], [0.2, 0.2, 1.0],
     "radius_m = 0.013\nreversible = true\ncost = 60\nlooks = 5"),
    ("right dash corner", "tweeter", "right", [0.47, 0.61, 0.86], [0.2, -0.2, 1.0],
     "radius_m = 0.013\nreversible = true\ncost = 60\nlooks = 5"),
    ("left door, high", "tweeter", "left", [0.88, -0.7, 0.8], [0.1, 1.0, 0.3],
     'radius_m = 0.013\ncut = "door trim, 40 mm hole"\nreversible = false\ncost = 110\nlooks = 3'),
    ("right door, high", "tweeter", "right", [0.88, 0.7, 0.8], [0.1, -1.0, 0.3],
     'radius_m = 0.013\ncut = "door trim, 40 mm hole"\nreversible = false\ncost = 110\nlooks = 3'),
    ("right roof rail", "tweeter", "right", [0.86, 0.66, 1.22], "driver",
     "# in the curtain airbag's way: must be refused\nradius_m = 0.013\nreversible = true\ncost = 150\nlooks = 3"),
    ("left midbass", "midbass", "left", [0.83, -0.69, 0.42], [0.0976, 0.9759, 0.1952],
     "radius_m = 0.065\ndepth_m = 0.07\nreversible = true\ncost = 140\nlooks = 5"),
    ("right midbass", "midbass", "right", [0.82, 0.69, 0.43], [0.0976, -0.9759, 0.1952],
     "radius_m = 0.065\ndepth_m = 0.07\nreversible = true\ncost = 140\nlooks = 5"),
    ("left kick panel", "midbass", "left", [0.44, -0.66, 0.36], "driver",
     'radius_m = 0.065\ndepth_m = 0.045\ncut = "kick panel, moulded anew"\nreversible = true\ncost = 380\nlooks = 4'),
    ("right kick panel", "midbass", "right", [0.44, 0.66, 0.36], "driver",
     'radius_m = 0.065\ndepth_m = 0.045\ncut = "kick panel, moulded anew"\nreversible = true\ncost = 380\nlooks = 4'),
    ("subwoofer", "subwoofer", "centre", [3.05, 0.06, 0.22], [0.0, 0.0, 1.0],
     'radius_m = 0.12\ndepth_m = 0.19\nvolume_m3 = "34 L"\nreversible = true\ncost = 520\nlooks = 5'),
    ("left boot side", "subwoofer", "centre", [2.86, -0.6, 0.42], [0.0, 1.0, 0.0],
     'radius_m = 0.12\ndepth_m = 0.16\nvolume_m3 = "22 L"\ncut = "side trim of the boot"\nreversible = true\n'
     "cost = 460\nlooks = 3"),
    ("under the passenger's seat", "subwoofer", "centre", [1.24, -0.36, 0.2], [0.0, 0.0, 1.0],
     'radius_m = 0.085\ndepth_m = 0.05\nvolume_m3 = "9 L"\nreversible = true\ncost = 330\nlooks = 5'),
]  # fmt: skip

KNOWN = {
    "left hinge": (0.52, -0.7, 0.6),
    "right hinge": (0.52, 0.7, 0.6),
    "left belt anchor": (1.74, -0.68, 0.98),
    "right belt anchor": (1.74, 0.68, 0.98),
    "gear lever": (1.02, 0.0, 0.58),
    "mirror foot": (0.48, 0.0, 1.18),
}
LOCATED = {"left pillar pod": (0.52, -0.62, 1.07), "right pillar pod": (0.53, 0.62, 1.07)}
MISREAD = ("left pillar pod", "right belt anchor", 0.1)  #: a tape read 10 cm long, as happens


def cabin_text(*, seed: int, corner_m: np.ndarray, size_m: np.ndarray) -> str:
    """Everything that comes after the tune's tables."""
    parts = [
        "\n# THE CABIN, invented: the plain box of the simulator that made the recordings, with the absorption of its walls.",
        "[cabin]\ntemperature_c = 20",
        *_walls(seed, corner_m, size_m),
        *_pillars(),
        "\n# KEEP FREE. Invented, like all of this car: where real airbags unfold stands in the car maker's instructions only.",
        *_keep_outs(),
        "\n# A SURVEY, invented too. One tape was read 10 cm long on purpose.",
        *_survey(seed),
        "\n# PLACES. Those called like a speaker are where the recordings were made; the others are what else there could be.",
        *(_place(*row) for row in PLACES),
    ]
    return "\n".join(parts) + "\n"


def absorption(seed: int) -> dict[str, np.ndarray]:
    """Absorption of each wall in the bands of ``BANDS``, drawn as the simulator draws it."""
    rng = np.random.default_rng(seed + 5)
    return {
        wall: np.clip(np.mean([MATERIALS[name] for name in names], axis=0) * rng.uniform(0.85, 1.15), 0.02, 0.95)
        for wall, names in WALLS.items()
    }


def _walls(seed: int, corner_m: np.ndarray, size_m: np.ndarray) -> list[str]:
    rows = []
    for wall, values in absorption(seed).items():
        pairs = ", ".join(f"[{band}, {value:.4f}]" for band, value in zip(BANDS, values, strict=True))
        source = "the simulator that made the recordings; invented"
        rows.append(f'[[cabin.materials]]\nname = "{wall} (invented)"\nabsorption = [{pairs}]\nsource = "{source}"')
    for wall, (axis, end) in FACES.items():
        square = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], dtype=float)
        corners = corner_m + size_m * np.insert(square, axis, float(end), axis=1)
        listed = ", ".join(_row(corner) for corner in corners)
        rows.append(f'[[cabin.surfaces]]\nname = "{wall}"\nmaterial = "{wall} (invented)"\ncorners_m = [{listed}]')
    return rows


PILLAR = (
    (0.38, 0.71, 0.86),
    (0.38, 0.62, 0.86),
    (0.5, 0.71, 0.86),
    (0.8, 0.66, 1.29),
    (0.8, 0.57, 1.29),
    (0.92, 0.66, 1.29),
)
VOLUMES = {  # kind, then two upright rectangles across the car: x, from y to y, from z to z
    "right curtain airbag": ("airbag path", (0.8, 0.56, 0.72, 0.98, 1.28), (2.6, 0.56, 0.72, 0.98, 1.28)),
    "left curtain airbag": ("airbag path", (0.8, -0.72, -0.56, 0.98, 1.28), (2.6, -0.72, -0.56, 0.98, 1.28)),
    "steering wheel airbag": ("airbag path", (0.72, 0.17, 0.55, 0.6, 0.94), (1.2, 0.08, 0.64, 0.55, 1.08)),
    "passenger's airbag": ("airbag path", (0.42, -0.5, -0.22, 0.8, 0.88), (1.2, -0.62, -0.1, 0.55, 1.08)),
    "pedals": ("pedals", (0.38, 0.18, 0.54, 0.16, 0.44), (0.72, 0.18, 0.54, 0.16, 0.44)),
}


def _pillars() -> list[str]:
    rows = []
    for side, sign in (("left", -1.0), ("right", 1.0)):
        corners = ", ".join(_row((x, sign * y, z)) for x, y, z in PILLAR)
        rows.append(f'[[cabin.pillars]]\nname = "{side} A pillar"\nside = "{side}"\ncorners_m = [{corners}]')
    return rows


def _keep_outs() -> list[str]:
    rows = []
    for name, (kind, *ends) in VOLUMES.items():
        corners = ", ".join(_row((x, y, z)) for x, *rest in ends for y in rest[:2] for z in rest[2:])
        rows.append(f'[[cabin.keep_outs]]\nname = "{name}"\nkind = "{kind}"\ncorners_m = [{corners}]')
    return rows


def _survey(seed: int) -> list[str]:
    rng = np.random.default_rng(seed + 9)
    rows = [f'[[survey.points]]\nname = "{name}"\nat_m = {_row(at)}' for name, at in KNOWN.items()]
    rows += [f'[[survey.points]]\nname = "{name}"\nnear_m = {_row(np.round(at, 1))}' for name, at in LOCATED.items()]
    for name, at in LOCATED.items():
        for known, place in KNOWN.items():
            read = float(np.linalg.norm(np.subtract(at, place)) + rng.normal(0.0, 0.002))
            read += MISREAD[2] if (name, known) == MISREAD[:2] else 0.0
            rows.append(f'[[survey.tapes]]\nfrom = "{known}"\nto = "{name}"\ndistance_m = {read:.3f}')
    return rows


def _place(name: str, role: str, side: str, at: list[float] | str, aim: list[float] | str, rest: str) -> str:
    told = [f'"{value}"' if isinstance(value, str) else _row(value) for value in (at, aim)]
    head = f'[[places]]\nname = "{name}"\nrole = "{role}"\nside = "{side}"'
    return f"{head}\nposition_m = {told[0]}\naim = {told[1]}\n{rest}"


def _row(values: object) -> str:
    return "[" + ", ".join(f"{float(value) + 0.0:.4g}" for value in values) + "]"  # type: ignore[attr-defined]
