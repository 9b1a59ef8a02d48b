"""The signal chain as blocks and joins with levels and gains written on them, for ``drawings.blocks``."""

from __future__ import annotations

from cabinwright.build.chain import Converter, ProcessorInput, Source
from cabinwright.build.document import Build, Processor
from cabinwright.drawings.blocks import Block, Join, block_diagram
from cabinwright.drawings.diagram import Sheet
from cabinwright.handover.signal_words import ohm, volts
from cabinwright.handover.wording import decibels, hertz
from cabinwright.stages.signal.chain import ChainGraph, Node, chain_of
from cabinwright.stages.signal.gains_channel import ChannelGain
from cabinwright.stages.signal.loads import LineLoad
from cabinwright.stages.signal.result import SignalResult

__all__ = ["chain_blocks", "chain_parts", "chain_sheet"]

NOTES = (
    "Voltages are rms values of a sine: on a source its full output, on an input where it clips, on an amplifier where it "
    "clips into its load at the supply's full-level voltage. Amplifier gains are set as signal.html says.",
)

BEFORE = ("source: ", "factory output: ", "converter: ", "input: ")  #: blocks before the processor


def chain_sheet(build: Build, result: SignalResult) -> Sheet | None:
    """The block diagram; None where the build has no chain to draw."""
    blocks, joins = chain_blocks(build, result)
    if len(blocks) < 2:
        return None
    return block_diagram(blocks, joins, title=f"Signal chain: {build.title}", notes=NOTES)


def chain_parts(build: Build, result: SignalResult) -> list[tuple[str, Sheet]]:
    """The same in two drawings, up to the processor and from it on, each narrow enough for a screen or an upright page."""
    blocks, joins = chain_blocks(build, result)
    found = []
    for title, into in (("Up to the processor", True), ("From the processor on", False)):
        mine = [join for join in joins if join.start.startswith(BEFORE) is into]
        ends = {name for join in mine for name in (join.start, join.end)}
        if mine:
            drawn = block_diagram([item for item in blocks if item.name in ends], mine, title=title)
            found.append((title, drawn))
    return found


def chain_blocks(build: Build, result: SignalResult) -> tuple[list[Block], list[Join]]:
    """Blocks and joins from sources to loudspeakers; what leads nowhere stands there all the same."""
    graph = chain_of(build)
    loads = {line.name: line for line in result.loads.lines} if result.loads else {}
    gains = {item.load.name: item for item in result.gains.channels.values()} if result.gains else {}
    blocks = [_block(node, graph, result, loads, gains) for node in graph.rows if node.kind != "channel"]
    joins: list[Join] = []
    for node, afters in graph.after.items():
        for after in afters:
            if node.kind == "channel":
                joins.append(_out(node, after, loads, gains))
            elif after.kind != "channel":
                joins.append(Join(_id(node), _id(after), _label(node, after, graph, result, loads)))
    idle = {name for join in joins for name in (join.start, join.end)}
    return [item for item in blocks if item.name in idle], joins


def _id(node: Node) -> str:
    return f"{node.kind}: {node}"


def _out(channel: Node, after: Node, loads: dict[str, LineLoad], gains: dict[str, ChannelGain]) -> Join:
    """From the processor over one of its channels; the channel is what is written on the line."""
    said = [channel.name]
    load = loads.get(str(after))
    if load is not None and load.heard.channel is not None:
        said += [decibels(load.heard.gain_db), _band(load)]
    gain = gains.get(str(after))
    if gain is not None:
        said.append(f"{volts(gain.clip_at_v)} at most")
    return Join("processor: processor", _id(after), "\n".join(said))


def _label(node: Node, after: Node, graph: ChainGraph, result: SignalResult, loads: dict[str, LineLoad]) -> str:
    """What is written on a line before the processor, or between amplifier and loudspeaker."""
    if node.kind == "amplifier channel":
        load = loads.get(str(node))
        return load.chosen.wiring or "" if load and load.chosen else ""
    row, said = graph.row(node), []
    connector = getattr(row, "connector", None)
    if connector:
        said.append(str(connector))
    setting = result.gains.inputs.get(after.name) if result.gains and after.kind == "input" else None
    for arrival in setting.arrivals if setting else ():
        if arrival.way[-2] == node:
            stage = next((item for item in arrival.stages if item.name == after.name), None)
            said.append(volts(stage.arrives_v) if stage else "digital")
            break
    return "\n".join(said)


def _block(
    node: Node,
    graph: ChainGraph,
    result: SignalResult,
    loads: dict[str, LineLoad],
    gains: dict[str, ChannelGain],
) -> Block:
    row = graph.row(node)
    if isinstance(row, Source):
        lines = _source(row)
    elif isinstance(row, Converter):
        lines = _converter(row, result)
    elif isinstance(row, ProcessorInput):
        lines = _input(row, result)
    elif isinstance(row, Processor):
        lines = _processor(row, gains)
    elif node.kind == "amplifier channel":
        lines = _amplifier(loads.get(str(node)), gains.get(str(node)))
    elif node.kind == "speaker":
        lines = _speaker(node.name, loads)
    else:
        lines = ["output of the car's own radio"]
    return Block(_id(node), str(node), tuple(line for line in lines if line))


def _source(row: Source) -> list[str]:
    level = _digital(row) if row.output_v is None else f"{volts(row.output_v)} behind {ohm(row.output_ohm)}"
    marks = [word for word, on in (("lossy", row.lossy), ("volume control", row.volume_controlled)) if on]
    return [row.kind, level, ", ".join(marks)]


def _digital(row: Source | Converter | ProcessorInput) -> str:
    if row.sample_rate_hz is None:
        return "digital"
    bits = f", {row.bits} bit" if row.bits else ""
    return f"digital, {row.sample_rate_hz / 1000.0:g} kHz{bits}"


def _converter(row: Converter, result: SignalResult) -> list[str]:
    into = f"in {volts(row.input_v)}, {ohm(row.input_ohm)}" if row.input_v is not None else "in digital"
    out = f"out {volts(row.output_v)}" if row.output_v is not None else f"out {_digital(row)}"
    settings = result.gains.inputs.values() if result.gains else ()
    set_to = {
        (gain, chosen)
        for item in settings
        for arrival in item.arrivals
        for name, (gain, chosen) in arrival.converter_db.items()
        if name == row.name
    }
    gains = [f"{'set to' if chosen else 'gain'} {decibels(gain)}" for gain, chosen in sorted(set_to)]
    return [into, out, *gains, "lossy" if row.lossy else "", "balanced" if row.balanced else ""]


def _input(row: ProcessorInput, result: SignalResult) -> list[str]:
    side = "" if row.side == "both" else f"{row.side} side"
    if row.input_v is None:
        return [side, _digital(row)]
    setting = result.gains.inputs.get(row.name) if result.gains else None
    chosen = setting.sensitivity_v if setting and row.input_min_v is not None else None
    return [
        side,
        f"full scale set to {volts(chosen)}" if chosen is not None else f"clips at {volts(row.input_v)}",
        ohm(row.input_ohm) + (", balanced" if row.balanced else ""),
    ]


def _processor(row: Processor, gains: dict[str, ChannelGain]) -> list[str]:
    lines = [f"{row.sample_rate_hz / 1000.0:g} kHz"]
    if row.output_v is not None:
        lines += [f"full scale {volts(row.output_v)}", f"outputs {ohm(row.output_ohm)}"]
    held = {item.master_db for item in gains.values()}
    return [*lines, *(f"master {decibels(level)}" for level in sorted(held) if level)]


def _amplifier(load: LineLoad | None, gain: ChannelGain | None) -> list[str]:
    if load is None:
        return []
    lines = ["bridged" if load.line.bridged else ""]
    if gain is not None:
        lines += [f"set to {volts(gain.sensitivity_v)}", f"gain {decibels(_decibels(gain))}"]
    if load.chosen is not None:
        lines.append(f"clips at {volts(load.chosen.clip_v)}")
        lines.append(f"{load.chosen.power_w:.0f} W into {load.chosen.nominal_ohm:.3g} Ω")
    return lines


def _decibels(gain: ChannelGain) -> float:
    return float(gain.to_dict()["gain_db"])


def _speaker(name: str, loads: dict[str, LineLoad]) -> list[str]:
    for load in loads.values():
        for number, unit in enumerate(load.units):
            if unit.name == name and unit.nominal_ohm is not None:
                coils = "" if unit.coils == 1 else f"{unit.coils} coils of "
                joined = f", in {load.chosen.coils}" if load.chosen and load.chosen.coils and unit.coils > 1 else ""
                gets = f"gets {load.chosen.each_w[number]:.0f} W" if load.chosen else ""
                stands = "" if unit.pe_w is None else f"stands {unit.pe_w:.0f} W"
                return [f"{coils}{unit.nominal_ohm:.3g} Ω{joined}", ", ".join(word for word in (gets, stands) if word)]
    return []


def _band(load: LineLoad) -> str:
    low, high = load.heard.band
    return f"{low:.0f} to {hertz(round(high))}"
