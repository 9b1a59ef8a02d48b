"""Rings, pods, jigs and boards of boxes on ``workshop.html``: how each stands, its parts, its solid."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from markupsafe import Markup

from cabinwright.build.document import Build
from cabinwright.drawings.mount_view import mount_front, mount_side, part_view
from cabinwright.stages.workshop.files import mounts_dict
from cabinwright.stages.workshop.mount_result import MountResult
from cabinwright.stages.workshop.result import WorkshopResult

__all__ = ["board_sections", "jig_sections", "mount_sections"]

Words = Callable[[float], str]


def board_sections(build: Build, result: WorkshopResult, length: Words) -> list[dict[str, Any]]:
    """Drawings of the boards of boxes: what is neither a panel of the build, nor of a ring or pod, nor a jig."""
    shown = {name for mount in result.mounts.values() for name in mount.parts}
    shown |= {panel.name for panel in build.panels} | {jig.name for jig in build.jigs}
    return _parts(result, tuple(name for name in result.panels if name not in shown), length)


def mount_sections(result: WorkshopResult, length: Words) -> list[dict[str, Any]]:
    """One for each ring and pod."""
    files = mounts_dict(result)
    return [
        {
            "name": name,
            "kind": mount.kind,
            "front": Markup(mount_front(name, mount, length=length)),
            "side": Markup(mount_side(name, mount, length=length)),
            "rows": _rows(mount, files[name]["solid"]["file"], length),
            "parts": _parts(result, mount.parts, length),
        }
        for name, mount in result.mounts.items()
    ]


def jig_sections(build: Build, result: WorkshopResult, length: Words) -> list[dict[str, Any]]:
    """Drawings of the jigs."""
    return _parts(result, tuple(jig.name for jig in build.jigs), length)


def _parts(result: WorkshopResult, names: tuple[str, ...], length: Words) -> list[dict[str, Any]]:
    known = [result.panels[name].parts[0] for name in names if name in result.panels and result.panels[name].parts]
    return [
        {
            "name": part.name,
            "size": f"{length(part.size_m[0])} × {length(part.size_m[1])}"
            + (f", {part.count} pieces" if part.count > 1 else ""),
            "picture": Markup(part_view(part)),
            "work": part.joinery.words(length, part.thickness_m, complex(*part.outline.bounds[:2])),
        }
        for part in known
    ]


def _rows(mount: MountResult, file: str | None, length: Words) -> list[tuple[str, str]]:
    body = mount.body
    rows = [
        ("for", f"{mount.of}, with {mount.model}"),
        ("stands on", mount.surface),
        ("aim off the surface's normal", f"{mount.angle_deg:.1f}°, thickest to the {mount.thick_words}"),
        ("height", f"{length(body.least_m)} to {length(body.greatest_m)}, {length(body.height_m)} on the axis"),
        ("outside, hole", f"{length(body.outer_m)}, {length(body.bore_m)}"),
        ("middle of the loudspeaker's plane", ", ".join(f"{part:.3f}" for part in mount.centre_m) + " m"),
    ]
    if mount.moved_m > 5e-4:
        rows.append(("before the place as judged", length(mount.moved_m)))
    if mount.layers:
        rows.append(("layers", str(mount.layers)))
    solid = f"{1e6 * mount.mesh.volume_m3:.1f} cm³"
    rows.append(("solid", f"{solid}, {file}" if file else f"{solid}; no file: {', '.join(mount.stopped)}"))
    return rows
