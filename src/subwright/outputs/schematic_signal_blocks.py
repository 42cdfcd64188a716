"""The blocks of the signal's way: inputs and line-level filter."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from subwright.base.units import show
from subwright.build.result import Design
from subwright.build.test_points.filter import filter_readings
from subwright.build.test_points.inputs import input_readings
from subwright.circuits.analysis import AcSweep, Voltage
from subwright.circuits.filter_circuit import FILTER_OUTPUT, filter_circuit
from subwright.circuits.input_circuit import INPUT_OUTPUTS, input_circuit
from subwright.circuits.signal_circuit import filter_inputs, input_place, summing_ohm
from subwright.outputs.schematic_block import Block
from subwright.outputs.schematic_filter import FilterPage, draw_filter, filter_pages, nets_on
from subwright.outputs.schematic_inputs import draw_difference_input, draw_single_inputs
from subwright.outputs.schematic_kit import Kit
from subwright.outputs.signal_words import signal_lines
from subwright.parts.library import Library
from subwright.stages.common import Corner
from subwright.stages.filter import FilterResult

__all__ = ["filter_block", "input_block", "supply_of_the_filter_v"]

_SUPPLY = {
    "rail_positive": "RAIL +",
    "rail_negative": "RAIL −",
    "op_positive": "+OP",
    "op_negative": "−OP",
    "op_supply": "+OP",
    "mid": "MID",
    "battery": "BATTERY",
}


_FROM_WINDING = {"rail_positive": "AUX +", "rail_negative": "AUX −"}


def _by_winding(design: Design) -> bool:
    """Whether a winding of its own feeds the op-amps' supply in place of the main rails."""
    return design.converter is not None and design.converter.auxiliary.source == "winding"


def supply_of_the_filter_v(design: Design) -> float:
    """Unloaded rail, the most of their own winding, or the nominal battery: what feeds the op-amps, V."""
    if design.filter.op_amp_supply.kind == "battery" or design.converter is None:
        return design.supply.corners[Corner.NOMINAL]
    return design.converter.auxiliary.high_v if _by_winding(design) else design.converter.rail_unloaded_v


def input_block(design: Design, library: Library) -> Iterator[Block]:
    """Sockets, pad, protection and receivers.

    Parameters
    ----------
    design : the build. library : parts with the drawer merged.

    Returns
    -------
    Its block.
    """
    entry, filters = design.input, design.filter
    place = input_place(filters, library, entry.op_amps)
    circuit = input_circuit(
        entry,
        library.op_amp(filters.op_amp),
        side_v=0.5 * filters.op_amp_supply.low_v,
        summing_ohm=summing_ohm(filters),
        place=place,
    ).with_readings(input_readings(design, library))
    channels = "ab"[: entry.channels]
    supply = (place.upper, place.lower)
    notes = [
        "Resistors 0.25 W, film capacitors 63 V unless stated.",
        "Keep the sockets' shells off the chassis: the signal's ground is joined to it at one point only.",
    ]
    if entry.source == "speaker":
        notes[1] = (
            "Loudspeaker leads come in by screw terminals. Neither may touch ground: it would short a bridge."
        )

    def single(kit: Kit) -> tuple[str, ...]:
        draw_single_inputs(kit, channels, *supply)
        return (*notes, *signal_lines(circuit, INPUT_OUTPUTS))

    def difference(name: str) -> Callable[[Kit], tuple[str, ...]]:
        def draw(kit: Kit) -> tuple[str, ...]:
            draw_difference_input(kit, name, *supply, place.middle, cases=name == "a")
            shared = [case.case for case in kit.cases("op-amp") if case.standing != "bought"]
            also = f"{', '.join(shared)} also serves the filter, whose sheet shows its decoupling."
            return (*notes, *((also,) if shared else ()), *signal_lines(circuit, (f"receiver_{name}",)))

        return draw

    draws: tuple[Callable[[Kit], tuple[str, ...]], ...] = (single,)
    if entry.receiver == "difference":
        draws = tuple(difference(name) for name in channels)
    yield Block(
        key="input",
        title="Inputs",
        stage="input",
        circuit=circuit,
        names={**_SUPPLY, **{f"receiver_{name}": f"IN {name.upper()}" for name in "ab"}},
        draw=draws[0],
        more=draws[1:],
        more_titles=("channel B",),
        stages={"filter op-amp": "filter", "op-amp decoupling": "filter"},
        analysis=AcSweep(low_hz=5.0, high_hz=1000.0, per_decade=50),
        probes=tuple(Voltage(net) for net in INPUT_OUTPUTS[: entry.channels]),
    )


def _inner_names(result: FilterResult) -> dict[str, str]:
    """Printed names within state-variable stages, each stage's own: "BAND A" of low-pass A."""
    stages = [
        (k, block.name) for k, block in enumerate(result.blocks) if "integrator A" in block.capacitors_f
    ]
    return {
        f"{word}_{k}": f"{word.upper()} {name.split()[-1]}" for k, name in stages for word in ("high", "band")
    }


def _knobs(design: Design) -> str:
    """Where the filter's controls stand while the bring-up's sine plays."""
    result, kinds = design.filter, {block.kind for block in design.filter.blocks}
    places = {
        "gain": result.gain_control is not None,
        "level": "output" in kinds,
    }
    tops = " and ".join(name for name, there in places.items() if there)
    stand = [f"{tops} at {'their tops' if all(places.values()) else 'its top'}"] if tops else []
    if {"phase", "all-pass"} & kinds:
        stand.append("phase at zero")
    if result.sweep is not None:
        stand.append(f"corner at {show(design.spec.filter.corner_hz, 'frequency')}")
    return ", ".join(stand)


def filter_block(design: Design, library: Library) -> Iterator[Block]:
    """The line-level filter, with what its op-amps run on.

    Parameters
    ----------
    design : the build. library : parts with the drawer merged.

    Returns
    -------
    Its block.
    """
    result = design.filter
    by_winding = _by_winding(design)
    origin = "from the auxiliary supply" if by_winding else "from the converter"
    taken = frozenset(input_place(result, library, design.input.op_amps).sections)
    names = {
        **_SUPPLY,
        **(_FROM_WINDING if by_winding else {}),
        "filter_out": "FILTER OUT",
        **{net: f"IN {letter}" for net, letter in zip(filter_inputs(result), "AB", strict=False)},
        **{f"out_{k}": f"AFTER {k + 1}" for k in range(len(result.blocks))},
        **_inner_names(result),
    }
    circuit = filter_circuit(result, library, supply_v=supply_of_the_filter_v(design)).with_readings(
        filter_readings(design, library)
    )
    cases = {part.case for part in circuit.parts if part.kind == "op-amp"}
    pages = filter_pages(result, len(cases))
    knobs = _knobs(design)

    def placed(page: FilterPage) -> Callable[[Kit], tuple[str, ...]]:
        def draw(kit: Kit) -> tuple[str, ...]:
            notes = draw_filter(kit, result, page, taken=taken, origin=origin)
            return (*notes, *signal_lines(circuit, nets_on(result, page), knobs))

        return draw

    yield Block(
        key="filter",
        title="Line-level filter",
        stage="filter",
        circuit=circuit,
        names=names,
        draw=placed(pages[0]),
        more=tuple(placed(page) for page in pages[1:]),
        more_titles=tuple(page.title for page in pages[1:]),
        analysis=AcSweep(low_hz=5.0, high_hz=1000.0, per_decade=50),
        probes=(Voltage(FILTER_OUTPUT),),
    )
