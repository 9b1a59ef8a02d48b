"""Solids as STEP (ISO 10303-21), exact surfaces instead of triangles. Needs the optional part ``step``.

What was written is read back and has to be one valid, closed solid (a box may be several) whose volume is that of the triangles
within 0.1 %.
"""

from __future__ import annotations

import re
import tempfile
from pathlib import Path
from typing import Any

from cabinwright.errors import CabinwrightError
from cabinwright.physics.solid import Recipe
from cabinwright.stages.workshop.mount_result import MountResult

__all__ = ["StepError", "box_step", "mount_step"]

MM = 1e3
OFF = 1e-3  #: farthest that both volumes may differ, of the whole


class StepError(CabinwrightError):
    """STEP cannot be written."""


def mount_step(mount: MountResult, *, title: str) -> bytes:
    """A ring or pod in the frame of ``physics.wedge``, in millimetres. Raises ``StepError`` as ``box_step``."""
    _kernel()
    from cabinwright.drawings.step_shapes import mount_shape

    return _written(mount_shape(mount), kind=mount.kind, title=title, volume_m3=mount.mesh.volume_m3)


def box_step(recipe: Recipe, *, title: str, volume_m3: float) -> bytes:
    """A box as ``physics.solid.shell`` joins it, in millimetres; ``volume_m3`` is that of its triangles.

    Raises ``StepError`` where the optional part is not installed, or what was made is no closed solid of that volume.
    """
    _kernel()
    from cabinwright.drawings.step_shapes import box_shape

    return _written(box_shape(recipe), kind="box", title=title, volume_m3=volume_m3)


def _kernel() -> None:
    try:
        from OCP.Message import Message, Message_PrinterOStream
    except ImportError as missing:
        raise StepError("STEP needs the optional part `step`: pip install cabinwright[step]") from missing
    Message.DefaultMessenger_s().RemovePrinters(
        Message_PrinterOStream.get_type_descriptor_s()
    )  # it talks of every step


def _written(shape: Any, *, kind: str, title: str, volume_m3: float) -> bytes:
    """The file; the same solid always gives the same bytes."""
    from OCP.IFSelect import IFSelect_ReturnStatus
    from OCP.Interface import Interface_Static
    from OCP.STEPControl import STEPControl_StepModelType, STEPControl_Writer

    writer = STEPControl_Writer()
    Interface_Static.SetCVal_s("write.step.unit", "MM")
    Interface_Static.SetCVal_s("write.step.product.name", kind)
    writer.Transfer(shape, STEPControl_StepModelType.STEPControl_AsIs)
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "solid.step"
        if writer.Write(str(file)) != IFSelect_ReturnStatus.IFSelect_RetDone:
            raise StepError(f"{title}: the STEP file could not be written")
        _hold(_read(file, title), title=title, volume_m3=volume_m3)
        # the writer puts the clock and a running number in: both are taken out again
        text = re.sub(rb"'\d{4}-\d\d-\d\dT[\d:+-]+'", b"'1970-01-01T00:00:00'", file.read_bytes())
        return re.sub(rb"'(ring|pod|box) \d+'", rb"'\1'", text)


def _read(file: Path, title: str) -> Any:
    from OCP.IFSelect import IFSelect_ReturnStatus
    from OCP.STEPControl import STEPControl_Reader

    reader = STEPControl_Reader()
    if reader.ReadFile(str(file)) != IFSelect_ReturnStatus.IFSelect_RetDone:
        raise StepError(f"{title}: the STEP file could not be read back")
    reader.TransferRoots()
    return reader.OneShape()


def _hold(shape: Any, *, title: str, volume_m3: float) -> None:
    """Raises ``StepError`` where it is not valid, not closed, or its volume is off."""
    from OCP.BRep import BRep_Tool
    from OCP.BRepCheck import BRepCheck_Analyzer
    from OCP.BRepGProp import BRepGProp
    from OCP.GProp import GProp_GProps
    from OCP.TopAbs import TopAbs_ShapeEnum
    from OCP.TopExp import TopExp_Explorer

    if not BRepCheck_Analyzer(shape).IsValid():
        raise StepError(f"{title}: the solid for STEP is not valid")
    if not TopExp_Explorer(shape, TopAbs_ShapeEnum.TopAbs_SOLID).More():
        raise StepError(f"{title}: there is no solid in the STEP file")
    shells = TopExp_Explorer(shape, TopAbs_ShapeEnum.TopAbs_SHELL)
    while shells.More():
        if not BRep_Tool.IsClosed_s(shells.Current()):
            raise StepError(f"{title}: the solid for STEP is not closed")
        shells.Next()
    props = GProp_GProps()
    BRepGProp.VolumeProperties_s(shape, props)
    off = props.Mass() / (MM**3 * volume_m3) - 1.0
    if not abs(off) <= OFF:
        raise StepError(f"{title}: the solid for STEP is {100.0 * off:+.2f} % off in volume")
