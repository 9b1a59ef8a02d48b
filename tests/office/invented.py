"""An invented shop with one job on an invented car: wires and a box, two pillars, a panel to cut, a trim to take out."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from pathlib import Path

from cabinwright.office import offers
from cabinwright.shop.parts import add_part
from cabinwright.shop.rows import TaxRule
from cabinwright.shop.store import Store
from cabinwright.shop.trail import Work
from shop import invented
from stages.wired import CAR

TEXT = (
    CAR
    + """
[layout]
draws = 0
[[seats]]
name = "driver"
head_m = [1.28, -0.36, 0.98]
[[seats]]
name = "passenger"
head_m = [1.28, 0.36, 0.98]
[[places]]
name = "left pillar"
role = "tweeter"
side = "left"
position_m = [0.6, -0.6, 0.9]
cut = "pillar trim"
reversible = false
[[speakers]]
name = "left pillar"
role = "tweeter"
side = "left"
position_m = [0.6, -0.6, 0.9]
model = "invented dome"
[[speakers]]
name = "bass"
role = "subwoofer"
side = "centre"
model = "invented ten"
[[speaker_models]]
name = "invented dome"
fs_hz = 900.0
qes = 0.8
qms = 3.0
re_ohm = 3.2
sd_m2 = "7 cm²"
mms_kg = "0.4 g"
xmax_m = "0.3 mm"
pe_w = 60
[[speaker_models]]
name = "invented ten"
fs_hz = 28.0
qes = 0.46
qms = 7.0
vas_m3 = "30 L"
re_ohm = 3.3
sd_m2 = "345 cm²"
xmax_m = "14 mm"
pe_w = 300
[[boxes]]
name = "bay box"
kind = "sealed"
speakers = ["bass"]
volume_m3 = "25 L"
[[sheets]]
name = "MDF 18 mm"
material = "MDF"
thickness_m = "18 mm"
length_m = 1.2
width_m = 0.8
[[panels]]
name = "cover"
sheet = "MDF 18 mm"
size_m = [0.5, 0.4]
[[service_steps]]
name = "boot carpet"
minutes = 3
[[service_steps]]
name = "boot lining"
after = ["boot carpet"]
minutes = 6
"""
)


def folder(path: Path, text: str = TEXT) -> Path:
    """A build folder."""
    path.mkdir(parents=True, exist_ok=True)
    (path / "build.toml").write_text(text, encoding="utf-8")
    return path


def library(work: Work) -> None:
    """Parts for most of it: by data, by name, one without a price, one that is gone."""
    about = {"currency": "EUR", "tax": "standard"}

    def part(number: str, name: str, kind: str, price: str | None, unit: str = "piece", **more: object) -> None:
        cost = None if price is None else Decimal(price) / 2
        value = None if price is None else Decimal(price)
        add_part(work, number=number, name=name, kind=kind, unit=unit, price=value, cost=cost, **about, **more)

    part("S-1", "ten inch bass", "loudspeaker model", "210.00", data={"model": "invented ten"})
    part("S-2", "Invented Dome", "loudspeaker model", "48.50")
    part("S-0", "an older dome", "loudspeaker model", "10", data={"model": "invented dome"}, gone=True)
    part("W-4", "heavy wire, any colour", "wire", "9.9", "m", data={"size": "4 AWG"})
    part("W-4R", "heavy wire, red", "wire", "11.1", "m", data={"size": "4 AWG", "colour": "red"})
    part("F-100", "fuse 100 A", "fuse", "6.4")
    part("F-5", "small fuse", "fuse", None, data={"rating_a": 5, "holder": False})
    part("B-18", "board", "sheet", "31.25", "m2", data={"sheet": "MDF 18 mm"})
    part("A-1", "the amplifier", "amplifier", "399", data={"load": "amplifier"})


def opened(store: Store, path: Path, *, wishes: dict[str, object] | None = None) -> int:
    """The shop says who it is, what tax is and what it has; a job on that build. Returns the job's id."""
    offers.set_house(
        store, by="olga", name="Heron & Reed (invented)", address="4 Old Lane\nMarsh End", hourly_rate=Decimal("78")
    )

    def make(work: Work) -> int:
        work.add(TaxRule(name="standard", rate=Decimal("0.19"), from_on=date(2000, 1, 1)))
        library(work)
        job = invented.job(work)
        job.folder, job.wishes = str(path), wishes or {}
        work.flush()
        return job.id

    return store.change(make, by="olga")
