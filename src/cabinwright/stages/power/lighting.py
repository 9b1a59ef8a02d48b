"""Lamps: their drivers, current per run, dimming, fuse, and the contacts that put them out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from cabinwright.build.document import Build
from cabinwright.build.electrical import Driver, Load
from cabinwright.physics.supply import led_resistor
from cabinwright.stages.power.result import DriverResult, FaultResult, LightResult, LoadResult
from cabinwright.stages.power.sizing import Sized
from cabinwright.stages.power.solved import AVERAGE, PEAK

__all__ = ["is_light", "lighting"]

DEFERRED = "what light may show on the road, and where, is for local law to say"


def is_light(load: Load) -> bool:
    """Whether a load is told as lamps: it has a strip, a driver or a dimmer, or a filament's inrush."""
    filament = load.inrush is not None and load.inrush.times is not None
    return load.strip is not None or load.driver is not None or load.dimmed_share < 1.0 or filament


def lighting(
    build: Build,
    sized: Sized,
    loads: Mapping[str, LoadResult],
    faults: Sequence[FaultResult],
) -> dict[str, LightResult]:
    """Every load that is lamps."""
    net, solved, found = sized.net, sized.solved, {}
    for number, load in enumerate(build.loads):
        if not is_light(load):
            continue
        told, on = loads[load.name], solved.settled.on[solved.first, number]
        volts = solved.load_v(net, number)[on]
        lower = net.supply.engine_off_v - net.supply.nominal_v
        least = None if not on.any() else float(volts[:, PEAK].min()) + min(lower, 0.0)
        most = None if not on.any() else float(volts[:, AVERAGE].max())
        runs = load.strip.runs if load.strip else 1
        found[load.name] = LightResult(
            driver=_driver(load.driver, net.supply.nominal_v, least, most) if load.driver else None,
            runs=runs,
            run_a=net.draws[number].peak_a / runs,
            strip_drop_v=told.strip_drop_v,
            dimmed_share=load.dimmed_share,
            dimmer_hz=load.dimmer_hz,
            average_a=net.draws[number].average_a,
            least_v=least,
            most_v=most,
            fuse=_fuse(build, sized, number),
            interlock=tuple(item.element for item in faults if item.kind == "stuck open" and load.name in item.dark),
            promises=tuple(item.text for item in build.promises if item.load == load.name),
            law=DEFERRED,
        )
    return found


def _fuse(build: Build, sized: Sized, number: int) -> str | None:
    """The smallest fuse without which the load is dead."""
    fuses, edges = sized.load_fuses[number], sized.net.edges("fuse")
    mine = [edges.index(edge) for edge in fuses]
    return build.fuses[min(mine, key=lambda k: sized.ratings_a[k])].name if mine else None


def _driver(driver: Driver, nominal_v: float, least_v: float | None, most_v: float | None) -> DriverResult:
    ohm = lost_w = most_a = None
    strings_w = driver.strings * driver.current_a * driver.output_v
    if driver.kind == "resistor":
        ohm, each_w = led_resistor(supply_v=nominal_v, string_v=driver.output_v, current_a=driver.current_a)
        lost_w = driver.strings * each_w
        most_a = None if most_v is None or ohm <= 0.0 else max(0.0, most_v - driver.output_v) / ohm
    else:
        lost_w = strings_w * (1.0 / driver.efficiency - 1.0)
    steps_down = driver.kind == "resistor" or driver.steps == "down"
    needs_v = driver.output_v + (driver.headroom_v if driver.kind != "resistor" else 0.0) if steps_down else 0.0
    return DriverResult(
        kind=driver.kind,
        strings=driver.strings,
        string_a=driver.current_a,
        string_v=driver.output_v,
        strings_w=strings_w,
        lost_w=lost_w,
        resistor_ohm=ohm,
        string_most_a=most_a,
        needs_v=needs_v,
        starves=least_v is not None and least_v < needs_v,
        overruns=driver.kind != "resistor" and driver.steps == "up" and most_v is not None and most_v > driver.output_v,
    )
