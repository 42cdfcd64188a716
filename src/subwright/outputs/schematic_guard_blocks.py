"""The blocks that watch, guard and switch: protection, battery side, loudspeaker, switching on."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial

from subwright.build.result import Design
from subwright.circuits.analysis import Transient, Voltage
from subwright.circuits.netlist import Steady
from subwright.circuits.protection_circuit import PROTECTION_NETS, protection_circuit
from subwright.outputs.schematic_block import Block
from subwright.outputs.schematic_kit import Kit
from subwright.outputs.schematic_protection import draw_protection
from subwright.outputs.schematic_trips import draw_trip
from subwright.parts.library import Library
from subwright.stages.common import Corner

__all__ = ["protection_block"]


def protection_block(design: Design, library: Library) -> Iterator[Block]:
    """Protection: the watches and the run line, then a sheet for each over-current trip."""
    result = design.protection
    if result is None:
        return
    circuit = protection_circuit(
        result,
        library,
        battery=Steady(value=design.supply.corners[Corner.NOMINAL]),
        thermistor=library.ntc(result.ntc).r25_ohm,
    )
    bridge = design.converter is not None and design.converter.topology == "full-bridge"
    names = {
        "reference": "REF",
        "battery": "BATTERY",
        "control": "CONTROL",
        "supply": "+COMP",
        "inhibit": "INHIBIT",
        "run": "RUN",
        "hold": "HOLD",
        "under_out": "UV",
        "over_out": "OV",
        "thermal_out": "HOT",
        "current_out": "OC",
        "output_out": "OC OUT",
        "current_shunt": "SHUNT",
        "output_shunt": "SHUNT OUT",
        "current_level": "OC LEVEL",
        "output_level": "OUT LEVEL",
        "output_negative": "OUT −",
        **{f"current_gate_{side}": f"GATE {'L' if bridge else ''}{side.upper()}" for side in "ab"},
        **{f"current_drain_{side}": f"{'LEG' if bridge else 'DRAIN'} {side.upper()}" for side in "ab"},
        **{f"output_gate_{side}": f"GATE L{side.upper()}" for side in "ab"},
        **{f"output_drain_{side}": f"NODE {side.upper()}" for side in "ab"},
    }
    watches = [watch for watch in ("over-current", "amplifier over-current") if watch in result.lamps]
    more: list[Callable[[Kit], tuple[str, ...]]] = [
        partial(draw_trip, watch=watch, with_discharge=number == 0) for number, watch in enumerate(watches)
    ]
    nets = set(circuit.nets)
    yield Block(
        key="protection",
        title="Protection",
        stage="protection",
        circuit=circuit,
        names=names,
        draw=draw_protection,
        more=tuple(more),
        more_titles=tuple(watches),
        analysis=Transient(stop_s=4.0, step_s=2e-3, accuracy=1e-4),
        probes=tuple(Voltage(net) for net in ("battery", "run", *PROTECTION_NETS.values()) if net in nets),
    )
