"""Rings and pods as STEP (ISO 10303-21), exact surfaces instead of triangles. Needs the optional part ``step``."""

from __future__ import annotations

import math
import re
import tempfile
from pathlib import Path
from typing import Any

from cabinwright.errors import CabinwrightError
from cabinwright.stages.workshop.mount_result import MountResult

__all__ = ["StepError", "step_bytes"]

MM = 1e3


class StepError(CabinwrightError):
    """STEP cannot be written."""


def step_bytes(mount: MountResult, *, title: str) -> bytes:
    """The file, in millimetres, in the frame of ``physics.wedge``.

    Raises ``StepError`` where the optional part is not installed, or what was made is no closed solid.
    """
    try:
        from OCP.IFSelect import IFSelect_ReturnStatus
        from OCP.Interface import Interface_Static
        from OCP.Message import Message, Message_PrinterOStream
        from OCP.STEPControl import STEPControl_StepModelType, STEPControl_Writer
    except ImportError as missing:
        raise StepError("STEP needs the optional part `step`: pip install cabinwright[step]") from missing
    Message.DefaultMessenger_s().RemovePrinters(
        Message_PrinterOStream.get_type_descriptor_s()
    )  # it talks of every step
    solid = step_solid(mount)
    writer = STEPControl_Writer()
    Interface_Static.SetCVal_s("write.step.unit", "MM")
    Interface_Static.SetCVal_s("write.step.product.name", mount.kind)
    writer.Transfer(solid, STEPControl_StepModelType.STEPControl_AsIs)
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "solid.step"
        if writer.Write(str(file)) != IFSelect_ReturnStatus.IFSelect_RetDone:
            raise StepError(f"{title}: the STEP file could not be written")
        # the writer puts the clock and a running number in: the same build always gives the same bytes
        text = re.sub(rb"'\d{4}-\d\d-\d\dT[\d:+-]+'", b"'1970-01-01T00:00:00'", file.read_bytes())
        return re.sub(rb"'(ring|pod) \d+'", rb"'\1'", text)


def step_solid(mount: MountResult) -> Any:
    """The solid as OCP has it. Raises ``StepError`` where it is not valid or its volume is off by 0.1 % or more."""
    from OCP.BRepAlgoAPI import BRepAlgoAPI_Cut
    from OCP.BRepCheck import BRepCheck_Analyzer
    from OCP.BRepGProp import BRepGProp
    from OCP.BRepPrimAPI import BRepPrimAPI_MakeCylinder
    from OCP.gp import gp_Ax2, gp_Dir, gp_Pnt
    from OCP.GProp import GProp_GProps

    body = mount.body
    low = -MM * body.greatest_m
    shape = _outside(mount)
    up = gp_Dir(0.0, 0.0, 1.0)
    length = 4.0 * MM * body.greatest_m
    hole = BRepPrimAPI_MakeCylinder(gp_Ax2(gp_Pnt(0.0, 0.0, low), up), MM * body.bore_m / 2.0, length).Shape()
    shape = BRepAlgoAPI_Cut(shape, hole).Shape()
    for at in mount.screws:
        place = gp_Ax2(gp_Pnt(MM * at.real, MM * at.imag, MM * (body.height_m - mount.pilot_deep_m)), up)
        drilled = BRepPrimAPI_MakeCylinder(place, MM * mount.pilot_m / 2.0, length).Shape()
        shape = BRepAlgoAPI_Cut(shape, drilled).Shape()
    if not BRepCheck_Analyzer(shape).IsValid():
        raise StepError("the solid for STEP is not closed")
    props = GProp_GProps()
    BRepGProp.VolumeProperties_s(shape, props)
    off = props.Mass() / (MM**3 * mount.mesh.volume_m3) - 1.0
    if abs(off) > 1e-3:
        raise StepError(f"the solid for STEP is {100.0 * off:+.2f} % off in volume")
    return shape


def _outside(mount: MountResult) -> Any:
    """The body without hole and screws: a cylinder cut by the surface, or a skin from the ring to the foot."""
    from OCP.BRepAlgoAPI import BRepAlgoAPI_Cut
    from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeEdge, BRepBuilderAPI_MakeFace, BRepBuilderAPI_MakeWire
    from OCP.BRepOffsetAPI import BRepOffsetAPI_ThruSections
    from OCP.BRepPrimAPI import BRepPrimAPI_MakeCylinder, BRepPrimAPI_MakeHalfSpace
    from OCP.gp import gp_Ax2, gp_Circ, gp_Dir, gp_Elips, gp_Pln, gp_Pnt

    body = mount.body
    cos, sin = math.cos(body.angle_rad), math.sin(body.angle_rad)
    top = gp_Ax2(gp_Pnt(0.0, 0.0, MM * body.height_m), gp_Dir(0.0, 0.0, 1.0), gp_Dir(1.0, 0.0, 0.0))
    if body.foot_m > body.outer_m:
        radius = MM * body.foot_m / 2.0
        floor = gp_Ax2(gp_Pnt(0.0, 0.0, 0.0), gp_Dir(-sin, 0.0, cos), gp_Dir(cos, 0.0, sin))
        skin = BRepOffsetAPI_ThruSections(True, True)
        foot = gp_Circ(floor, radius) if sin < 1e-6 else gp_Elips(floor, radius / cos, radius)
        for curve in (foot, gp_Circ(top, MM * body.outer_m / 2.0)):
            skin.AddWire(BRepBuilderAPI_MakeWire(BRepBuilderAPI_MakeEdge(curve).Edge()).Wire())
        skin.Build()
        return skin.Shape()
    depth = MM * (body.height_m + body.foot_m * body.slope)
    base = gp_Ax2(gp_Pnt(0.0, 0.0, MM * body.height_m - depth), gp_Dir(0.0, 0.0, 1.0))
    whole = BRepPrimAPI_MakeCylinder(base, MM * body.outer_m / 2.0, depth).Shape()
    face = BRepBuilderAPI_MakeFace(gp_Pln(gp_Pnt(0.0, 0.0, 0.0), gp_Dir(-sin, 0.0, cos))).Face()
    below = BRepPrimAPI_MakeHalfSpace(face, gp_Pnt(0.0, 0.0, -depth)).Solid()
    return BRepAlgoAPI_Cut(whole, below).Shape()
