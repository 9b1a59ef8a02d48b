"""The demo's wiring, invented: two amplifiers and a processor in the boot, lamps that burn only while the boot is open."""

from __future__ import annotations

__all__ = ["WIRING"]


def _row(table: str, **values: object) -> str:
    lines = []
    for key, value in values.items():
        shown = value if not isinstance(value, str) or value.startswith(("{", "[", "true")) else f'"{value}"'
        lines.append(f"{key.rstrip('_')} = {shown}")
    return f"[[{table}]]\n" + "\n".join(lines) + "\n"


SUPPLY = """\
[supply]
nominal_v = 13.8
battery = {capacity_ah = 80, resistance_ohm = "6 mΩ"}
alternator = {rated_a = 150, idle_a = 80}
"""

FEED = [
    _row(
        "wires",
        name="battery lead",
        from_="battery plus",
        to="main fuse in",
        length_m=0.3,
        gauge="2 AWG",
        colour="red",
        from_terminal="ring M8",
        to_terminal="ring M8",
        allowance_m=0.1,
    ),
    _row(
        "fuses",
        name="main",
        from_="main fuse in",
        to="main fuse out",
        rating_a=125,
        from_battery_m=0.3,
        breaking_a=5000,
    ),
    _row(
        "wires",
        name="main feed",
        from_="main fuse out",
        to="block",
        length_m=5.2,
        gauge="2 AWG",
        colour="red",
        from_terminal="ring M8",
        to_terminal="ferrule",
        allowance_m=0.6,
    ),
]


CAPACITORS = '{capacitance_f = "8 mF", esr_ohm = 0.03}'


def _amplifier(name: str, rating_a: float, gauge: str, amplifier: str, inrush: str) -> str:
    """Fuse, feed, ground and the amplifier itself, whose capacitors are empty at first."""
    return (
        _row("fuses", name=name, from_="block", to=f"{name} fuse out", rating_a=rating_a, breaking_a=2500)
        + _row(
            "wires",
            name=f"{name} feed",
            from_=f"{name} fuse out",
            to=f"{name} plus",
            length_m=0.8,
            gauge=gauge,
            colour="red",
            from_terminal="ferrule",
            to_terminal="ferrule",
        )
        + _row(
            "wires",
            name=f"{name} ground",
            from_=f"{name} minus",
            to="chassis",
            length_m=0.6,
            gauge=gauge,
            colour="black",
            from_terminal="ferrule",
            to_terminal="ring M8",
        )
        + _row(
            "loads",
            name=name,
            from_=f"{name} plus",
            to=f"{name} minus",
            amplifier=amplifier,
            inrush=inrush,
            remote="radio on",
            asleep_a=0.002,
        )
    )


PROCESSOR = [
    _row("fuses", name="processor", from_="block", to="processor fuse out", rating_a=5, breaking_a=2500),
    _row(
        "wires",
        name="processor feed",
        from_="processor fuse out",
        to="turn-on contact",
        length_m=0.7,
        gauge="14 AWG",
        colour="yellow",
        from_terminal="ferrule",
        to_terminal="blade 6.3",
    ),
    _row(
        "relays",
        name="turn-on",
        from_="turn-on contact",
        to="processor plus",
        coil_from="radio on",
        coil_a=0.15,
        rating_a=20,
    ),
    _row("fuses", name="radio line", from_="block", to="radio fuse out", rating_a=3, breaking_a=2500),
    _row(
        "wires",
        name="radio line",
        from_="radio fuse out",
        to="radio",
        length_m=4.5,
        gauge="18 AWG",
        colour="violet",
        from_terminal="ferrule",
        to_terminal="blade 2.8",
    ),
    _row("switches", name="radio", from_="radio", to="radio lead", closed_when='{radio = "on"}'),
    _row(
        "wires",
        name="turn-on lead",
        from_="radio lead",
        to="radio on",
        length_m=4.5,
        gauge="18 AWG",
        colour="blue",
        from_terminal="blade 2.8",
        to_terminal="blade 6.3",
    ),
    _row("loads", name="processor", from_="processor plus", to="chassis", current_a=1.1),
]

LAMPS = [
    _row("fuses", name="boot lamps", from_="block", to="lamp fuse out", rating_a=5, breaking_a=2500),
    _row(
        "wires",
        name="lamp feed",
        from_="lamp fuse out",
        to="boot contact",
        length_m=1.9,
        gauge="16 AWG",
        colour="white",
        from_terminal="ferrule",
        to_terminal="blade 2.8",
    ),
    _row(
        "switches",
        name="boot contact",
        from_="boot contact",
        to="strip contact",
        closed_when='{boot = "open"}',
        rating_a=3,
    ),
    _row("switches", name="lamp switch", from_="strip contact", to="strip plus", closed_when='{"lamp switch" = "on"}'),
    _row(
        "wires",
        name="strip ground",
        from_="strip minus",
        to="chassis",
        length_m=0.5,
        gauge="16 AWG",
        colour="black",
        from_terminal="blade 2.8",
        to_terminal="ring M6",
    ),
    _row(
        "loads",
        name="boot lamps",
        from_="strip plus",
        to="strip minus",
        power_w=18,
        strip='{resistance_ohm = 0.4, fed_at = "one end"}',
        dimmed_share=0.6,
    ),
]

SIGNAL_CABLES = [
    _row(
        "signal_cables",
        name="processor to front amplifier",
        from_="chassis",
        to="front amplifier minus",
        length_m=0.9,
        beside="front amplifier feed",
        beside_m=0.3,
        spacing_m=0.06,
        level_v=4.0,
    ),
    _row(
        "signal_cables",
        name="processor to bass amplifier",
        from_="chassis",
        to="bass amplifier minus",
        length_m=1.1,
        beside="bass amplifier feed",
        beside_m=0.3,
        spacing_m=0.06,
        level_v=4.0,
        balanced="true",
        shield_grounded="one end",
    ),
    _row(
        "signal_cables",
        name="radio to processor",
        from_="chassis",
        to="chassis",
        length_m=4.5,
        beside="main feed",
        spacing_m=0.25,
        level_v=6.0,
        balanced="true",
        shield_grounded="one end",
    ),
]

CONNECTORS = [
    _row(
        "connectors",
        name="radio plug",
        where="behind the radio",
        housing="blades 2.8",
        ways=4,
        pins='[{pin = 1, wire = "radio line", end = "to"}, {pin = 2, wire = "turn-on lead", end = "from"}]',
    ),
    _row(
        "connectors",
        name="lamp plug",
        where="left of the tailgate",
        housing="sealed, blades 2.8",
        ways=2,
        pins='[{pin = 1, wire = "lamp feed", end = "to"}, {pin = 2, wire = "strip ground", end = "from"}]',
    ),
]

STATES = [
    _row("states", name="boot", values='["open", "closed"]'),
    _row("states", name="radio", values='["off", "on"]'),
    _row("states", name="lamp switch", values='["off", "on"]'),
]

PROMISES = [
    _row(
        "promises",
        text="boot lamps burn only while the boot is open",
        load="boot lamps",
        is_="off",
        when='{boot = "closed"}',
    ),
    _row(
        "promises",
        text="whoever switches the lamps off finds them off",
        load="boot lamps",
        is_="off",
        when='{"lamp switch" = "off"}',
    ),
    _row(
        "promises",
        text="the processor sleeps while the radio is off",
        load="processor",
        is_="off",
        when='{radio = "off"}',
    ),
    _row(
        "promises",
        text="the bass amplifier sleeps while the radio is off",
        load="bass amplifier",
        is_="off",
        when='{radio = "off"}',
    ),
    _row("promises", text="the radio wakes the processor", load="turn-on", is_="on", when='{radio = "on"}'),
]

WIRING = SUPPLY + "".join(
    [
        *FEED,
        _amplifier("front amplifier", 60, "6 AWG", '{output_w = 500, class = "D", channels = 6}', CAPACITORS),
        _amplifier("bass amplifier", 50, "6 AWG", '{output_w = 400, class = "D", channels = 1}', CAPACITORS),
        *PROCESSOR,
        *LAMPS,
        *SIGNAL_CABLES,
        *CONNECTORS,
        *STATES,
        *PROMISES,
    ]
)
