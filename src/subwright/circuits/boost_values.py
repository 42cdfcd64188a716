"""What the boost converter's power stage is made of, at one load."""

from __future__ import annotations

from dataclasses import dataclass

from subwright.base.errors import SubwrightError
from subwright.stages.converter_boost import BoostCrest, BoostValues, boost_crest
from subwright.stages.converter_boost_bill import BYPASS_COUNT
from subwright.stages.converter_boost_records import BoostPlan

__all__ = ["BoostPowerValues", "closed_point", "from_plan"]


@dataclass(frozen=True, kw_only=True, slots=True)
class BoostPowerValues:
    """Everything in the power stage's netlist; V, A, Ω, H, F, Hz.

    Attributes
    ----------
    emf_v, source_ohm : battery. rail_v, rail_a : rail wanted and its load; duty : of the switch for that.
    terminal_v, choke_a, valley_a : input, and the choke's mean and least current, to begin from.
    switching_hz, inductance_h, choke_ohm, link_ohm : choke and board; switch_ohm, switches : in parallel.
    diode_v, diode_ohm, packages, legs_per_package : rectifier, drops of all legs together.
    input_f, input_esr_ohm, input_count, rail_f, rail_esr_ohm, rail_count : banks and their cans.
    sense_turns, sense_h, burden_ohm, reset_ohm : current transformer in the drain lead, inductance of its one
        turn. snubber_ohm, snubber_f : from the node to ground. bleeder_ohm : across the rail.
    avalanche_v : of the switches. ids : what to buy, by role. gate_ohm : at each gate. bypass_count :
        ceramics of 1 µF on the rail, in the pulse's loop.
    """

    emf_v: float
    source_ohm: float
    rail_v: float
    rail_a: float
    duty: float
    terminal_v: float
    choke_a: float
    valley_a: float
    switching_hz: float
    inductance_h: float
    choke_ohm: float
    link_ohm: float
    switch_ohm: float
    switches: int
    diode_v: float
    diode_ohm: float
    packages: int
    legs_per_package: int
    input_f: float
    input_esr_ohm: float
    input_count: int
    rail_f: float
    rail_esr_ohm: float
    rail_count: int
    sense_turns: int
    sense_h: float
    burden_ohm: float
    reset_ohm: float
    snubber_ohm: float
    snubber_f: float
    bleeder_ohm: float
    avalanche_v: float
    ids: dict[str, str]
    gate_ohm: float = 10.0
    bypass_count: int = 0

    @property
    def period_s(self) -> float:
        """One switching cycle, s."""
        return 1.0 / self.switching_hz

    @property
    def load_ohm(self) -> float:
        """Resistor that takes the rail's load, beside the bleeder, Ω."""
        return self.rail_v / (self.rail_a - self.rail_v / self.bleeder_ohm)


def closed_point(
    values: BoostValues, plan: BoostPlan, *, emf_v: float, source_ohm: float, rail_a: float
) -> BoostCrest:
    """The closed form's switching cycle at a load, without the losses that no netlist holds.

    Raises
    ------
    SubwrightError : battery or duty don't reach the rail at this load.
    """
    crest = boost_crest(values, emf_v, source_ohm, plan.divider.set_v, rail_a)
    if not crest.reaches or crest.duty > plan.timing.duty_most:
        raise SubwrightError(
            message="The raised rail can't be held at this battery and load.",
            quantity="duty",
            value=f"{crest.duty:.3f}",
            limit=f"{plan.timing.duty_most:.3f}",
            remedy="Simulate a smaller load or a higher battery.",
        )
    return crest


def from_plan(
    values: BoostValues, plan: BoostPlan, *, emf_v: float, source_ohm: float, rail_a: float
) -> BoostPowerValues:
    """Netlist values of a designed boost converter, at the temperatures of ``values``.

    Parameters
    ----------
    values, plan : the converter. emf_v, source_ohm : battery, V and Ω. rail_a : load of the rail, A.

    Raises
    ------
    SubwrightError : the rail can't be held.
    """
    at = closed_point(values, plan, emf_v=emf_v, source_ohm=source_ohm, rail_a=rail_a)
    sense, rectifier = plan.sense, plan.diode.rectifier
    return BoostPowerValues(
        emf_v=emf_v,
        source_ohm=source_ohm,
        rail_v=plan.divider.set_v,
        rail_a=rail_a,
        duty=at.duty,
        terminal_v=at.terminal_v,
        choke_a=at.choke_a,
        valley_a=max(at.peak_a - at.ripple_a, 0.0),
        switching_hz=values.switching_hz,
        inductance_h=values.inductance_h,
        choke_ohm=values.choke_ohm,
        link_ohm=values.link_ohm,
        switch_ohm=values.switch_ohm - sense.burden_ohm / sense.turns**2,
        switches=plan.switch.per_side,
        diode_v=values.diode_v,
        diode_ohm=values.diode_ohm,
        packages=plan.diode.packages,
        legs_per_package=rectifier.legs,
        input_f=plan.input_bank.capacitance_f,
        input_esr_ohm=values.input_esr_ohm,
        input_count=plan.input_bank.count,
        rail_f=plan.rail_bank.capacitance_f,
        rail_esr_ohm=values.rail_esr_ohm,
        rail_count=plan.rail_bank.count,
        sense_turns=sense.turns,
        sense_h=sense.core.al_h or 1e-6,
        burden_ohm=sense.burden_ohm,
        reset_ohm=sense.reset_ohm,
        snubber_ohm=plan.snubber_ohm,
        snubber_f=plan.snubber_f,
        bleeder_ohm=plan.bleeder_ohm,
        avalanche_v=plan.switch.mosfet.vds_v,
        ids={
            "input capacitor": plan.input_bank.capacitor.id,
            "rail capacitor": plan.rail_bank.capacitor.id,
            "boost choke core": plan.choke.core.id,
            "boost switch": plan.switch.mosfet.id,
            "boost rectifier": rectifier.id,
            "current transformer core": sense.core.id,
        },
        gate_ohm=plan.drive.gate_ohm,
        bypass_count=BYPASS_COUNT,
    )
