"""Solids of boxes, rings and pods as files, each held against its own check; one that fails costs its file alone."""

from __future__ import annotations

from dataclasses import replace

from cabinwright.drawings.step import box_step, mount_step
from cabinwright.drawings.stl import stl_bytes
from cabinwright.errors import CabinwrightError
from cabinwright.findings import Finding, finding
from cabinwright.physics.solid import Mesh
from cabinwright.stages.workshop.files import Planned, planned_solids
from cabinwright.stages.workshop.result import WorkshopResult

__all__ = ["made_solids"]


class OpenSolidError(CabinwrightError):
    """The triangles do not close."""


def made_solids(result: WorkshopResult) -> WorkshopResult:
    """The result with every solid's file in ``made``; those that could not be made are found and planned no more.

    A result that has its solids is given back as it is: they are made once.
    """
    if result.made is not None:
        return result
    made: dict[str, bytes] = {}
    failed: dict[str, Finding] = {}
    for planned in planned_solids(result):
        try:
            made[planned.name] = _solid(planned, result)
        except Exception as error:  # whatever the CAD kernel throws: the other files do not depend on it
            fault = str(error) if isinstance(error, CabinwrightError) else f"{type(error).__name__}: {error}"
            failed[planned.name] = finding(
                "workshop.solid_failed", where=f"“{planned.mount or planned.box}”", file=planned.name, fault=fault
            )
    findings = (*result.findings, *failed.values())
    return replace(result, made=made, findings=findings, unmade=result.unmade | frozenset(failed))


def _solid(planned: Planned, result: WorkshopResult) -> bytes:
    name = planned.mount or planned.box or ""
    if planned.mount is None:
        shape = result.boxes[name]
        if planned.air:
            return stl_bytes(_closed(shape.air), title=f"air in box {name}")
        mesh = _closed(shape.mesh)
        if planned.kind == "step":
            return box_step(shape.recipe, title=name, volume_m3=mesh.volume_m3)
        return stl_bytes(mesh, title=f"box {name}")
    mount = result.mounts[name]
    mesh = _closed(mount.mesh)
    return mount_step(mount, title=name) if planned.kind == "step" else stl_bytes(mesh, title=f"{mount.kind} {name}")


def _closed(mesh: Mesh) -> Mesh:
    if mesh.open_edges or mesh.volume_m3 <= 0.0:
        raise OpenSolidError(f"its triangles leave {mesh.open_edges} edges open")
    return mesh
