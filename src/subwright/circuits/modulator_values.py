"""What a netlist of the class-D modulator holds beyond its record: models of its parts, and what to buy."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from subwright.base.errors import SubwrightError
from subwright.circuits.models import (
    BipolarModel,
    GroundedComparatorModel,
    HalfBridgeDriverModel,
    JunctionModel,
    OpAmpModel,
    SchmittInverterModel,
    ShuntReferenceModel,
    ZenerModel,
)
from subwright.parts.library import Library
from subwright.physics.amplifier_models import ClassDModel, Floats
from subwright.stages.amplifier import AmplifierResult
from subwright.stages.amplifier_modulator_need import plateau_v
from subwright.stages.amplifier_modulator_records import Modulator

__all__ = ["ModulatorValues", "modulator_values"]

_DIODES: Final = {
    "1N4148": JunctionModel(name="SMALL", forward_v=0.7, rated_a=10e-3, junction_f=4e-12, series_ohm=1.0),
    "1N5819": JunctionModel(
        name="SCHOTTKY", forward_v=0.35, rated_a=20e-3, junction_f=100e-12, series_ohm=0.1
    ),
    "BAT85": JunctionModel(
        name="SMALL_SCHOTTKY", forward_v=0.4, rated_a=10e-3, junction_f=10e-12, series_ohm=1.0
    ),
    "UF4004": JunctionModel(name="FAST", forward_v=0.85, rated_a=20e-3, junction_f=15e-12, series_ohm=0.1),
}
"""By library id; forward voltages at small currents and capacitances from memory of their data sheets."""

_OP_AMP_GAIN: Final = 1e5  # at DC, usual for the library's families, from memory
_INPUT_SHARE: Final = 0.52  # of the logic supply, middle of the 2110's 6.0 V and 9.5 V at 15 V
_GATE_TEST_V: Final = 10.0  # at which data sheets state the whole charge
_BASE_F: Final = 8e-12  # of a small transistor's base and emitter, from memory


@dataclass(frozen=True, kw_only=True, slots=True)
class ModulatorValues:
    """A class-D modulator for a netlist.

    Attributes
    ----------
    record : the design. rail_v : one rail, or the one supply, V. control_v : switched control supply, V; None
        where nothing hangs on it. ids : what to buy, by role.
    op_amp, comparator, logic, driver : models of the integrated circuits.
    zeners, bipolars, diodes : models by role. reference : of the 431 on one supply, or None.
    gate_f, first_f : gate of one switch, F: its whole charge over the voltage, and what its first rise to the
        threshold sees. threshold_v : V. drain_f : drain capacitance of one switch, F.
    """

    record: Modulator
    rail_v: float
    control_v: float | None
    ids: Mapping[str, str]
    op_amp: OpAmpModel
    comparator: GroundedComparatorModel
    logic: SchmittInverterModel
    driver: HalfBridgeDriverModel
    zeners: Mapping[str, ZenerModel]
    bipolars: Mapping[str, BipolarModel]
    diodes: Mapping[str, JunctionModel]
    reference: ShuntReferenceModel | None
    gate_f: float
    first_f: float
    threshold_v: float
    drain_f: float

    @property
    def zero_v(self) -> float:
        """Voltage that input and integrator refer to, as its parts make it, V."""
        if self.reference is None:
            return 0.0
        upper, lower = self.ohm("reference upper"), self.ohm("reference lower")
        return self.reference.reference_v * (1.0 + upper / lower) + self.reference.pin_a * upper

    @property
    def bus_v(self) -> float:
        """Voltage across one leg, V."""
        return self.rail_v * (2.0 if self.record.split_rails else 1.0)

    @property
    def swing_v(self) -> float:
        """Half the differential swing of the nodes, V."""
        return 0.5 * self.record.legs * self.bus_v

    @property
    def node_gain(self) -> float:
        """From the line filter's output to the difference of the nodes, V/V."""
        return self.ohm("integrator feedback") / self.ohm("integrator input")

    def has(self, role: str) -> bool:
        """Whether the design has a part of a role."""
        m = self.record
        return role in m.resistors_ohm or role in m.capacitors_f or role in m.part_ids

    def ohm(self, role: str) -> float:
        """Resistance of a role, Ω."""
        return self.record.resistors_ohm[role]

    def farad(self, role: str) -> float:
        """Capacitance of a role, F."""
        return self.record.capacitors_f[role]


def modulator_values(
    result: AmplifierResult,
    library: Library,
    *,
    rail_v: float | None = None,
    control_v: float | None = None,
) -> ModulatorValues:
    """Values of a designed modulator.

    Parameters
    ----------
    result : the amplifier. library : with the drawer merged.
    rail_v : one rail, or the one supply, V; None for the nominal one of the modulator.
    control_v : switched control supply, V; None for the one that gives the nominal driver supply.

    Returns
    -------
    ModulatorValues.

    Raises
    ------
    SubwrightError : the amplifier has no modulator.
    """
    m, model = result.modulator, result.model
    if m is None or not isinstance(model, ClassDModel):
        raise SubwrightError(
            message="There is no modulator in this amplifier.",
            quantity="kind of amplifier",
            value=result.kind,
            limit="a class-D kind",
        )
    op_amp = library.op_amp(m.op_amp_id)
    low_v = -m.op_supply_v if m.split_rails else 0.0
    room = 0.5 * op_amp.swing_loss_v
    zeners, bipolars = {}, {}
    for role, part_id in m.part_ids.items():
        if role.endswith("zener"):
            zener = library.zener(part_id)
            zeners[role] = ZenerModel(
                name=_model_name(role), zener_v=zener.vz_v, slope_ohm=zener.rz_ohm, rated_a=zener.iz_test_a
            )
        elif "transistor" in role or "follower" in role:
            transistor = library.transistor(part_id)
            bipolars[role] = BipolarModel(
                name=_model_name(role),
                polarity=transistor.polarity,
                current_gain=transistor.hfe_min,
                junction_f=_BASE_F,
            )
    rail = m.rail_nominal_v if rail_v is None else rail_v
    ids = {part.role: part.part_id for part in result.parts}
    mosfet = library.mosfets[ids["output switch"]]
    return ModulatorValues(
        record=m,
        rail_v=rail,
        control_v=_control_v(m, rail) if control_v is None else control_v,
        ids=ids,
        op_amp=OpAmpModel(
            name="OPAMP",
            gbw_hz=op_amp.gbw_hz,
            dc_gain=_OP_AMP_GAIN,
            slew_v_per_s=op_amp.slew_v_per_s,
            swing_v=(low_v + room, m.op_supply_v - room),
        ),
        comparator=_comparator(library, m),
        logic=_logic(library, m),
        driver=_driver(library, m),
        zeners=zeners,
        bipolars=bipolars,
        diodes={role: _DIODES[part_id] for role, part_id in m.part_ids.items() if "diode" in role},
        reference=None if m.split_rails else _reference(library, m),
        gate_f=mosfet.qg_coul / _GATE_TEST_V,
        first_f=mosfet.qgs_coul / plateau_v(mosfet),
        threshold_v=mosfet.vgs_th_v,
        drain_f=_first(model.coss_f),
    )


def _control_v(m: Modulator, rail_v: float) -> float | None:
    """Control supply at which a direct driver supply has its nominal voltage, V; else that of the rail."""
    if not m.control_line_a:
        return None
    if not m.driver_supply_direct:
        return rail_v
    return m.gate_supply_v + m.driver_supply_a * m.resistors_ohm["driver supply resistor"]


def _first(values: Floats) -> float:
    """Value of the first candidate, the one that was chosen."""
    return float(np.ravel(values)[0])


def _comparator(library: Library, m: Modulator) -> GroundedComparatorModel:
    part = library.fast_comparator(m.comparator_id)
    return GroundedComparatorModel(
        name="FAST_COMPARATOR",
        offset_v=0.0,
        bias_a=0.0,
        saturation_ohm=part.vol_v / part.sink_a,
        delay_s=part.response_s,
        supply_a=part.negative_a / part.channels,
        ground_a=(part.positive_a - part.negative_a) / part.channels,
    )


def _logic(library: Library, m: Modulator) -> SchmittInverterModel:
    part = library.schmitt_inverter(m.logic_id)
    return SchmittInverterModel(
        name="SCHMITT_INVERTER",
        low_share=part.falling_v / part.stated_v,
        high_share=part.rising_v / part.stated_v,
        output_ohm=part.output_ohm,
        delay_s=part.delay_s,
        input_f=part.input_f,
    )


def _driver(library: Library, m: Modulator) -> HalfBridgeDriverModel:
    """Typical values; between stopping and starting lies what their limits differ by."""
    part = library.gate_driver(m.driver_id)
    return HalfBridgeDriverModel(
        name="HALF_BRIDGE_DRIVER",
        input_share=_INPUT_SHARE,
        on_s=part.on_s,
        off_s=part.off_s,
        source_ohm=part.output_ohm,
        sink_ohm=part.output_ohm,
        uvlo_on_v=part.stop_v + part.start_max_v - part.stop_max_v,
        uvlo_off_v=part.stop_v,
        logic_a=part.logic_a,
        lower_a=part.quiescent_a,
        upper_a=part.floating_a,
    )


def _reference(library: Library, m: Modulator) -> ShuntReferenceModel:
    part = library.reference(m.part_ids["reference"])
    return ShuntReferenceModel(name="REFERENCE", reference_v=part.vref_v, pin_a=part.iref_a)


def _model_name(role: str) -> str:
    return role.upper().replace(" ", "_").replace("-", "_")
