"""Bill of the gate supply, the gate transformer and the output choke."""

from __future__ import annotations

from typing import Protocol

from subwright.base.units import code, show
from subwright.parts.library import Library
from subwright.stages.common import PartUse, Rating
from subwright.stages.converter_bill_lines import resistor_line
from subwright.stages.converter_choke import Choke
from subwright.stages.converter_clamp import power_rating_w
from subwright.stages.converter_drive import GateSupply
from subwright.stages.converter_result import ConverterResult

__all__ = ["choke_parts", "magnetic_parts", "supply_parts"]


class _Fed(Protocol):
    """A converter whose controller and gates may have a regulator of their own."""

    @property
    def gate_supply(self) -> GateSupply | None:
        """The regulator; None where the battery feeds them."""


def supply_parts(result: _Fed, library: Library, *, at: str = "highest battery") -> list[PartUse]:
    """Zener, resistor, transistor and capacitor of the gate supply; none where the battery feeds it.

    Parameters
    ----------
    result : the converter. library : parts with the drawer merged. at : where its resistors take their heat.
    """
    supply = result.gate_supply
    if supply is None:
        return []
    zener, transistor = supply.zener, supply.transistor
    uses = [
        PartUse(
            role="gate supply transistor",
            letter="Q",
            part_id=transistor.id,
            description=transistor.description
            + (f", on a heatsink of {supply.sink_k_per_w:g} K/W or less" if supply.sink_k_per_w else ""),
            quantity=1,
            ratings=(
                Rating(
                    quantity="junction temperature",
                    unit="°C",
                    applied=supply.transistor_c,
                    limit=transistor.tj_max_c,
                    source=transistor.provenance.document,
                    at="highest battery, hottest air" + ("" if supply.sink_k_per_w else ", no heatsink"),
                ),
            ),
            in_drawer=library.in_drawer(transistor.id) > 0,
            provenance=transistor.provenance.kind,
        ),
        PartUse(
            role="gate supply zener",
            letter="D",
            part_id=zener.id,
            description=zener.description,
            quantity=1,
            value=show(zener.vz_v, "voltage"),
            tolerance=zener.tolerance,
            ratings=(
                Rating(
                    quantity="dissipation",
                    unit="W",
                    applied=supply.zener_w,
                    limit=zener.power_w,
                    source=zener.provenance.document,
                    at="highest battery",
                ),
            ),
            in_drawer=library.in_drawer(zener.id) > 0,
            provenance=zener.provenance.kind,
        ),
        resistor_line(
            "gate supply resistor",
            supply.series_ohm,
            1,
            power_rating_w(supply.series_w),
            supply.series_w,
            at=at,
        ),
        PartUse(
            role="gate supply capacitor",
            letter="C",
            part_id=code(100e-6, "capacitance"),
            description="electrolytic 25 V",
            quantity=1,
            value=show(100e-6, "capacitance"),
            tolerance=0.2,
            provenance="IEC 60063 preferred value",
        ),
    ]
    if supply.collector_ohm > 0:
        heat = supply.collector_w
        uses.append(
            resistor_line(
                "gate supply collector resistor", supply.collector_ohm, 1, power_rating_w(heat), heat, at=at
            )
        )
    return uses


def choke_parts(role: str, choke: Choke, library: Library) -> list[PartUse]:
    """Core and wire of a choke."""
    core, wire = choke.core, choke.wire
    return [
        PartUse(
            role=f"{role} core",
            letter="L",
            part_id=core.id,
            description=f"{core.description}, {choke.how}, "
            f"{choke.windings} × {choke.turns} turns of {choke.strands} × {wire.id}",
            quantity=1,
            value=show(choke.inductance_h, "inductance"),
            ratings=(
                Rating(
                    quantity="choke flux density",
                    unit="T",
                    applied=choke.flux_peak_t,
                    limit=choke.flux_limit_t,
                    source=core.provenance.document,
                    at="crest of a full sine",
                ),
            ),
            in_drawer=library.in_drawer(core.id) > 0,
            provenance=core.provenance.kind,
        ),
        PartUse(
            role=f"{role} wire",
            letter="W",
            part_id=wire.id,
            description=wire.description,
            quantity=choke.windings * choke.strands * choke.wire_length_m,
            unit="m",
            in_drawer=library.in_drawer(wire.id) > 0,
            provenance=wire.provenance.kind,
        ),
    ]


def magnetic_parts(result: ConverterResult, library: Library) -> list[PartUse]:
    """Gate transformer of a bridge, output choke and feedback divider of a regulated converter."""
    uses: list[PartUse] = []
    aux = result.auxiliary
    if aux.turns:
        uses += [
            PartUse(
                role="auxiliary rectifier",
                letter="D",
                part_id="UF4002",
                description="fast rectifier 1 A 100 V",
                quantity=4,
                ratings=(
                    Rating(
                        quantity="reverse voltage",
                        unit="V",
                        applied=2.0 * aux.high_v,
                        limit=100.0,
                        source="data sheet of the family, from memory",
                        at="highest battery",
                    ),
                ),
                provenance="memory",
            ),
            PartUse(
                role="auxiliary capacitor",
                letter="C",
                part_id=code(aux.reservoir_f, "capacitance"),
                description="electrolytic 50 V",
                quantity=2,
                value=show(aux.reservoir_f, "capacitance"),
                tolerance=0.2,
                ratings=(
                    Rating(
                        quantity="auxiliary voltage",
                        unit="V",
                        applied=aux.high_v,
                        limit=50.0,
                        at="highest battery",
                    ),
                ),
                provenance="IEC 60063 preferred value",
            ),
        ]
    gate, output = result.gate_transformer, result.choke
    if gate is not None:
        uses.append(
            PartUse(
                role="gate transformer core",
                letter="T",
                part_id=gate.core.id,
                description=f"{gate.core.description}, five windings of {gate.turns} turns, laid together",
                quantity=1,
                ratings=(
                    Rating(
                        quantity="gate transformer flux density",
                        unit="T",
                        applied=gate.flux_peak_t,
                        limit=gate.flux_limit_t * (1.0 + 1e-9),
                        source=gate.core.provenance.document,
                    ),
                ),
                in_drawer=library.in_drawer(gate.core.id) > 0,
                provenance=gate.core.provenance.kind,
            )
        )
        uses.append(
            PartUse(
                role="gate transformer clamp diode",
                letter="D",
                part_id="1N5819",
                description="Schottky rectifier 1 A 40 V, brings the magnetising current from ground",
                quantity=2,
                provenance="memory",
            )
        )
        uses.append(
            PartUse(
                role="gate transformer return diode",
                letter="D",
                part_id="1N5819",
                description="Schottky rectifier 1 A 40 V, leads the magnetising current into the supply",
                quantity=2,
                provenance="memory",
            )
        )
    if output is not None:
        uses += choke_parts("output choke", output.choke, library)
        uses += [
            resistor_line("feedback divider, top", output.feedback_top_ohm, 1),
            resistor_line("feedback divider, bottom", output.feedback_bottom_ohm, 1),
        ]
    return uses
