"""What the converter's power stage is made of: from the averaged model, or from the designed converter."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from subwright.stages.converter import ConverterResult

__all__ = [
    "AveragedModel",
    "ChokeValues",
    "ClampValues",
    "PowerValues",
    "SnubberValues",
    "from_model",
    "from_result",
]


class AveragedModel(Protocol):
    """The averaged electrical model of a push-pull converter; V, A, Ω, H, Hz."""

    @property
    def ratio(self) -> float:
        """Turns ratio Ns/Np of the half windings."""

    @property
    def switching_hz(self) -> float:
        """Rate of one full cycle."""

    @property
    def share(self) -> float:
        """Share of the period in which either switch conducts."""

    @property
    def switch_ohm(self) -> float:
        """One side, hot."""

    @property
    def primary_winding_ohm(self) -> float:
        """One half-primary."""

    @property
    def link_ohm(self) -> float:
        """Board copper and wire links of one primary path."""

    @property
    def secondary_winding_ohm(self) -> float:
        """One half-secondary."""

    @property
    def diode_ohm(self) -> float:
        """Slope resistance of one leg."""

    @property
    def diode_v(self) -> float:
        """Threshold of one leg."""

    @property
    def leakage_h(self) -> float:
        """Referred to one half-primary."""

    @property
    def input_esr_ohm(self) -> float:
        """Of the input bank."""

    @property
    def reservoir_esr_ohm(self) -> float:
        """Of one rail's bank."""


@dataclass(frozen=True, kw_only=True, slots=True)
class SnubberValues:
    """Resistor and capacitor in series."""

    resistor_ohm: float
    capacitor_f: float


@dataclass(frozen=True, kw_only=True, slots=True)
class ClampValues:
    """One clamp for both drains: diodes from each into a capacitor, a resistor from there to the battery.

    ``diode_v`` and ``diode_ohm`` are of one diode; ``each`` lie in parallel at a drain.
    """

    resistor_ohm: float
    capacitor_f: float
    diode_v: float
    diode_ohm: float
    diode_id: str = "clamp diode"
    one_case: bool = True  # a diode of either drain in one case
    each: int = 1


@dataclass(frozen=True, kw_only=True, slots=True)
class ChokeValues:
    """The coupled output choke: two equal windings on one core, one for each rail.

    ``set_v`` is the rail that the controller holds; ``inductance_h``, ``resistance_ohm`` are of one winding.
    """

    inductance_h: float
    resistance_ohm: float
    set_v: float
    core_id: str = "choke core"


@dataclass(frozen=True, kw_only=True, slots=True)
class PowerValues:
    """Everything in the power stage's netlist.

    Attributes
    ----------
    emf_v, source_ohm : battery. positive_a, negative_a : load of each rail.
    ratio, switching_hz, share : timing and turns. dead time is what the share leaves.
    bridge : four switches around one primary instead of two on halves of one.
    switch_ohm, switches_per_side : of one conducting path (a side, or two corners of a bridge), and how many
        devices share each position.
    primary_winding_ohm, secondary_winding_ohm, link_ohm, leakage_h, magnetising_h : transformer and links;
        inductances referred to one half-primary (the primary of a bridge).
    diode_v, diode_ohm : one leg of the rectifier.
    input_f, input_esr_ohm, input_count, reservoir_f, reservoir_esr_ohm, reservoir_count : of the whole bank
        (one rail's), and how many cans it is made of.
    avalanche_v : of the switches. clamp : of both drains, None without. choke : between rectifier and rails,
        None where the rails are peak-charged; with it, ``share`` is the largest that the controller allows.
    gate_share : at which the gates are driven; None for ``share``, or what holds the rail behind a choke.
    switch_snubber, rectifier_snubber : across each switch and each half-secondary, None without.
    bleeder_ohm : across each rail, None without.
    switch_id, diode_id, partner_id, input_id, reservoir_id : what to buy; partner_id "" where four single
        legs make the bridge.
    """

    emf_v: float
    source_ohm: float
    positive_a: float
    negative_a: float
    ratio: float
    switching_hz: float
    share: float
    switch_ohm: float
    primary_winding_ohm: float
    link_ohm: float
    secondary_winding_ohm: float
    diode_ohm: float
    diode_v: float
    leakage_h: float
    magnetising_h: float
    avalanche_v: float
    input_f: float
    input_esr_ohm: float
    reservoir_f: float
    reservoir_esr_ohm: float
    bridge: bool = False
    switches_per_side: int = 1
    input_count: int = 1
    reservoir_count: int = 1
    clamp: ClampValues | None = None
    choke: ChokeValues | None = None
    gate_share: float | None = None
    switch_snubber: SnubberValues | None = None
    rectifier_snubber: SnubberValues | None = None
    bleeder_ohm: float | None = None
    switch_id: str = "switch"
    diode_id: str = "rectifier"
    partner_id: str = ""
    input_id: str = "input capacitor"
    reservoir_id: str = "rail capacitor"

    @property
    def period_s(self) -> float:
        """One full push-pull cycle, s."""
        return 1.0 / self.switching_hz


def from_model(
    model: AveragedModel,
    *,
    emf_v: float,
    source_ohm: float,
    positive_a: float,
    negative_a: float,
    magnetising_h: float,
    clamp: ClampValues | None = None,
    bridge: bool = False,
    input_f: float = 4.7e-3,
    reservoir_f: float = 2.2e-3,
) -> PowerValues:
    """Netlist values of an averaged model, with the inductance and capacitances that it leaves out."""
    return PowerValues(
        emf_v=emf_v,
        source_ohm=source_ohm,
        positive_a=positive_a,
        negative_a=negative_a,
        ratio=model.ratio,
        switching_hz=model.switching_hz,
        share=model.share,
        switch_ohm=model.switch_ohm,
        primary_winding_ohm=model.primary_winding_ohm,
        link_ohm=model.link_ohm,
        secondary_winding_ohm=model.secondary_winding_ohm,
        diode_ohm=model.diode_ohm,
        diode_v=model.diode_v,
        leakage_h=model.leakage_h,
        magnetising_h=magnetising_h,
        avalanche_v=2.6 * emf_v + 8.0,
        clamp=clamp,
        bridge=bridge,
        input_f=input_f,
        input_esr_ohm=model.input_esr_ohm,
        reservoir_f=reservoir_f,
        reservoir_esr_ohm=model.reservoir_esr_ohm,
    )


def from_result(
    result: ConverterResult, *, emf_v: float, source_ohm: float, positive_a: float, negative_a: float
) -> PowerValues:
    """Netlist values of a designed converter, real parts and all.

    Parameters
    ----------
    result : the converter. emf_v, source_ohm : battery, V and Ω. positive_a, negative_a : load of the rails.

    """
    plan, magnetics = result.plan, result.magnetics
    partner = plan.rectifier.partner
    return PowerValues(
        emf_v=emf_v,
        source_ohm=source_ohm,
        positive_a=positive_a,
        negative_a=negative_a,
        ratio=result.ratio,
        switching_hz=plan.timing.switching_hz,
        share=plan.timing.share,
        switch_ohm=result.switch_ohm,
        primary_winding_ohm=result.winding_ohm,
        link_ohm=result.link_ohm,
        secondary_winding_ohm=magnetics.secondary_ohm,
        diode_ohm=result.diode_ohm,
        diode_v=result.diode_v,
        leakage_h=magnetics.leakage_h,
        magnetising_h=magnetics.magnetising_h,
        avalanche_v=plan.switch.mosfet.vds_v,
        bridge=result.topology == "full-bridge",
        clamp=None
        if result.clamp is None
        else ClampValues(
            resistor_ohm=result.clamp.resistor_ohm,
            capacitor_f=result.clamp.capacitor_f,
            diode_v=result.clamp.diode.vf0_v,
            diode_ohm=result.clamp.diode.rd_ohm,
            diode_id=result.clamp.diode.id,
            one_case=result.clamp.diode.legs == 2,
            each=result.clamp.diode_packages // (1 if result.clamp.diode.legs == 2 else 2),
        ),
        choke=None
        if result.choke is None
        else ChokeValues(
            inductance_h=result.choke.choke.inductance_h,
            resistance_ohm=result.choke.choke.resistance_ohm,
            set_v=result.choke.set_v,
            core_id=result.choke.choke.core.id,
        ),
        input_f=result.input_bank.capacitance_f,
        input_esr_ohm=result.input_bank.esr_ohm,
        reservoir_f=result.reservoir_bank.capacitance_f,
        reservoir_esr_ohm=result.reservoir_bank.esr_ohm,
        switches_per_side=plan.switch.per_side,
        input_count=result.input_bank.count,
        reservoir_count=result.reservoir_bank.count,
        switch_snubber=SnubberValues(resistor_ohm=result.snubber_ohm, capacitor_f=result.snubber_f),
        rectifier_snubber=SnubberValues(
            resistor_ohm=result.rectifier_snubber.resistor_ohm,
            capacitor_f=result.rectifier_snubber.capacitor_f,
        ),
        bleeder_ohm=result.bleeder_ohm,
        switch_id=plan.switch.mosfet.id,
        diode_id=plan.rectifier.rectifier.id,
        partner_id="" if partner is None else partner.id,
        input_id=result.input_bank.capacitor.id,
        reservoir_id=result.reservoir_bank.capacitor.id,
    )
