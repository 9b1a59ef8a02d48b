"""Solids of rings and pods as files, each held against its own check; one that fails costs its file alone, never the plan."""

from __future__ import annotations

from dataclasses import replace

from cabinwright.drawings.step import step_bytes
from cabinwright.drawings.stl import stl_bytes
from cabinwright.errors import CabinwrightError
from cabinwright.findings import Finding, finding
from cabinwright.stages.workshop.files import Planned, planned_files
from cabinwright.stages.workshop.result import WorkshopResult

__all__ = ["made_solids"]


class OpenSolidError(CabinwrightError):
    """The triangles do not close."""


def made_solids(result: WorkshopResult) -> tuple[dict[str, bytes], WorkshopResult]:
    """Every solid's file, and the result as it stands then: files that could not be made are found and planned no more."""
    made: dict[str, bytes] = {}
    failed: dict[str, Finding] = {}
    for planned in planned_files(result):
        if planned.mount is None:
            continue
        try:
            made[planned.name] = _solid(planned, result)
        except Exception as error:  # whatever the CAD kernel throws: the other files do not depend on it
            fault = str(error) if isinstance(error, CabinwrightError) else f"{type(error).__name__}: {error}"
            failed[planned.name] = finding(
                "workshop.solid_failed", where=f"“{planned.mount}”", file=planned.name, fault=fault
            )
    if not failed:
        return made, result
    findings = (*result.findings, *failed.values())
    return made, replace(result, findings=findings, unmade=result.unmade | frozenset(failed))


def _solid(planned: Planned, result: WorkshopResult) -> bytes:
    mount = result.mounts[planned.mount or ""]
    if mount.mesh.open_edges or mount.mesh.volume_m3 <= 0.0:
        raise OpenSolidError(f"its triangles leave {mount.mesh.open_edges} edges open")
    if planned.kind == "step":
        return step_bytes(mount, title=planned.mount or "")
    return stl_bytes(mount.mesh, title=f"{mount.kind} {planned.mount}")
