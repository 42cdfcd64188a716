"""What the build file says about the amplifier, and what the amplifier stage answers."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from subwright.base.fields import (
    Capacitance,
    Current,
    Frequency,
    Inductance,
    Power,
    Ratio,
    Resistance,
    StageSpec,
    Time,
    Voltage,
    choice,
    quantity,
)
from subwright.physics.amplifier_models import ClassABModel, ClassDModel, Floats
from subwright.physics.thermal import ThermalDevice
from subwright.stages.amplifier_driving import Driving
from subwright.stages.amplifier_inductor import WoundInductor
from subwright.stages.amplifier_modulator_records import Modulator
from subwright.stages.amplifier_rail_records import RailHeat, RailSwitching
from subwright.stages.amplifier_voltage_stage_records import VoltageStage
from subwright.stages.common import Contributor, Corner, Loss, PartUse

__all__ = [
    "AmplifierKind",
    "AmplifierResult",
    "AmplifierSpec",
    "BatteryCeiling",
    "RaisedRail",
    "SettledKind",
]

Array = NDArray[np.float64]
SettledKind = Literal[
    "class_d_half_bridge",
    "class_d_full_bridge",
    "class_ab",
    "class_g",
    "bridge_class_d",
    "bridge_class_ab",
    "bridge_class_h",
]
AmplifierKind = Literal[
    "auto",
    "class_d_half_bridge",
    "class_d_full_bridge",
    "class_ab",
    "class_g",
    "bridge_class_d",
    "bridge_class_ab",
    "bridge_class_h",
]


class AmplifierSpec(StageSpec):
    """The builder's wishes for the power amplifier."""

    kind: AmplifierKind = choice(
        "auto",
        why="Class D half-bridge, full bridge or class AB on split rails, or a bridge straight from the "
        "battery; auto takes a class-D bridge where the battery alone reaches the power, else the "
        "half-bridge while a switch stands its rails, else the full bridge, which needs half of them. "
        "class_g is class AB on two pairs of rails, the inner pair tapped from the secondary; "
        "bridge_class_h is a class-AB bridge from the battery whose rail capacitors lift over the crests.",
    )
    inner_rail: Ratio = quantity(
        "50 %",
        low="25 %",
        high="75 %",
        why="Class G: the inner pair of rails over the outer one; programme is coolest between a third and a "
        "half.",
    )
    lift: Ratio = quantity(
        "80 %",
        low="20 %",
        high="95 %",
        why="Class H: what the lifting capacitors add to the battery at the crest, sag and switches taken "
        "off.",
    )
    load_ohm: Resistance | None = quantity(
        None, low="1 ohm", high="32 ohm", why="Load at which the power is stated; auto: the driver's nominal."
    )
    switching_hz: Frequency = quantity(
        "200 kHz", low="50 kHz", high="800 kHz", why="Class-D switching frequency of each leg."
    )
    modulator: Literal["clocked", "self-oscillating"] = choice(
        "clocked",
        why="A clock sets the switching frequency, or the loop itself does: then amplifier.switching is "
        "that at "
        "rest, and it falls towards the crests.",
    )
    op_amp: str = choice("auto", why="Class D: dual op-amp of input and integrator: a part id, or auto.")
    feedback_tolerance: Ratio | None = quantity(
        None,
        low="0.05 %",
        high="2 %",
        why="Tolerance of the class-D integrator's four resistors; auto: 1 %, or 0.1 % where their mismatch "
        "would put too much direct voltage on the loudspeaker.",
    )
    snubber: Literal["none", "auto"] = choice(
        "none",
        why="Resistor and capacitor from each switched node to ground; auto sizes them for the loop's "
        "inductance. "
        "Fit it where the oscilloscope shows ringing.",
    )
    loop_inductance_h: Inductance = quantity(
        "15 nH",
        low="2 nH",
        high="200 nH",
        why="Stray inductance of the loop of both switches and their capacitor; common practice, no source: "
        "tell it from the ringing.",
    )
    dead_time_s: Time | None = quantity(
        None,
        low="5 ns",
        high="500 ns",
        why="Typical time with both switches of a leg off, at each edge; auto: the shortest at which no "
        "spread of the parts makes both conduct.",
    )
    modulation_max: Ratio | None = quantity(
        None,
        low="70 %",
        high="99 %",
        why="Greatest share of the rail that the modulator uses at clipping; auto: what the comparator's "
        "shortest pulse leaves to a clock, 95 % for a self-oscillating loop, which slows down towards it.",
    )
    mosfet: str = choice("auto", why="Class-D switch: a part id, or auto.")
    gate_drive_a: Current = quantity(
        "0.5 A", low="50 mA", high="6 A", why="Current of the gate driver at the switch's plateau."
    )
    gate_supply_v: Voltage = quantity("12 V", low="5 V", high="15 V", why="Supply of the gate drivers.")
    control_current_a: Current | None = quantity(
        None,
        low="1 mA",
        high="200 mA",
        why="Class D: current of modulator, logic and drivers from rail to rail, gates left out; auto: what "
        "those designed here draw.",
    )
    filter_corner_hz: Frequency | None = quantity(
        None,
        low="5 kHz",
        high="100 kHz",
        why="Corner of the class-D output filter; auto: switching frequency over 8, at most 40 kHz.",
    )
    inductor_core: str = choice(
        "auto",
        why="Core that each output inductor is wound on: a core id; auto takes the smallest of drawer and "
        'library that its crest leaves unsaturated; "bought" buys a finished one by its ratings.',
    )
    inductor_resistance_ohm: Resistance | None = quantity(
        None,
        low="1 mohm",
        high="500 mohm",
        why="Resistance of each bought output inductor; auto asks for 1 % of the load.",
    )
    inductor_core_loss_w: Power = quantity(
        "0.3 W",
        low="1 mW",
        high="10 W",
        why="Core loss of each bought output inductor at idle ripple; common practice, no source: measure "
        "it.",
    )
    pumping_limit: Ratio = quantity(
        "10 %", low="1 %", high="30 %", why="Rise of the idle rail that the half-bridge may cause."
    )
    voltage_reserve: Ratio = quantity(
        "20 %", low="0 %", high="50 %", why="Share of a switch's voltage rating kept for ringing."
    )
    filter_capacitor_f: Capacitance | None = quantity(
        None, low="47 nF", high="10 uF", why="Filter capacitor of each leg; auto picks it from E6."
    )
    ab_output: Literal["auto", "chip", "pair", "lateral"] = choice(
        "auto",
        why="Class AB: integrated amplifier, complementary bipolar pairs, or pairs of lateral MOSFETs, which "
        "know no second breakdown but stay further from the rails; auto takes a chip if it will do, else "
        "bipolar pairs.",
    )
    bias_current_a: Current | None = quantity(
        None, low="1 mA", high="1 A", why="Class AB: quiescent current of the whole output; auto by device."
    )
    stage_current_a: Current | None = quantity(
        None,
        low="2 mA",
        high="80 mA",
        why="Discrete class AB: current of the voltage amplifier at rest; auto: half as much again as the "
        "drivers' bases, or the gates, may ask for, at least 5 mA.",
    )
    pair_current_a: Current | None = quantity(
        None,
        low="0.2 mA",
        high="10 mA",
        why="Discrete class AB: current of the input pair, both halves; auto: for twice the slew rate of a "
        "full sine of 20 kHz, at least 1 mA.",
    )
    unity_loop_hz: Frequency | None = quantity(
        None,
        low="20 kHz",
        high="3 MHz",
        why="Discrete class AB: frequency at which the loop gain is one; auto: for a phase margin of 65° "
        "with the output devices' own speed, at most 500 kHz.",
    )
    full_input_v: Voltage = quantity(
        "1 V",
        low="50 mV",
        high="10 V",
        why="Rms voltage at its input that gives full output; the line filter is matched to it.",
    )
    input_resistance_ohm: Resistance = quantity(
        "22 kohm",
        low="2.2 kohm",
        high="220 kohm",
        why="Resistor to ground at its input, which the filter's coupling capacitor works into.",
    )


@dataclass(frozen=True, kw_only=True, slots=True)
class RaisedRail:
    """The single rail of a boost converter, V: as set, at the high end of its window, and for a moment."""

    set_v: float
    high_v: float
    pulse_v: float


@dataclass(frozen=True, kw_only=True, slots=True)
class BatteryCeiling:
    """What a bridge straight from the battery can put into the load at one corner, W.

    Attributes
    ----------
    corner, supply_v : battery condition and its open-circuit voltage.
    square_w : lossless square wave, ``V²/R``. sine_w : lossless sine, half of it.
    class_d_sine_w, class_d_square_w : after the losses of bridge and source, at the onset of clipping and
        clipped hard; None where no switch at hand stands the battery.
    class_ab_sine_w, class_ab_square_w : the same of a class-AB bridge; None above its supply limit.
    """

    corner: Corner
    supply_v: float
    square_w: float
    sine_w: float
    class_d_sine_w: float | None
    class_d_square_w: float | None
    class_ab_sine_w: float | None
    class_ab_square_w: float | None


@dataclass(frozen=True, kw_only=True, slots=True)
class AmplifierResult:
    """The amplifier as built from real parts, and its loss model.

    Attributes
    ----------
    kind, from_battery, rails, recirculates : what it is; from_battery says that it has one supply, the
        battery or, where rails is "raised", a boost converter's rail; the last whether reactive power flows
        back.
    model : instantaneous loss model.
    load_ohm : ohm. load_least_ohm : lowest impedance reckoned with, ohm (80 % of it, IEC 60268-5).
    power_target_w : asked for, W; None for what the battery gives. power_w : reached, nominal corner.
    peak_v, peak_a : at the load at ``power_w``, V and A. peak_least_a : into ``load_least_ohm``, A.
    rail_needed_v : rail of one side (supply of a bridge) at the crest, V.
    rail_max_v : highest rail that it stands unloaded, V. rail_expected_v : highest rail to expect, V.
    rail_average_a, rail_crest_a : current of one rail with a full sine, averaged and at the crest, A.
    rail_ripple_a : switching ripple at the rail, or what a linear stage on the battery leaves the bank, A.
    output_resistance_ohm : in series with the load, ohm. headroom_drop_v : lost between rail and load at the
        crest, V. modulation_max : dimensionless.
    idle_w, quiescent_a : input power and current from the whole supply at idle.
    efficiency_power_w, efficiency : curve, W and dimensionless.
    switch_id : MOSFET, chip or pair. switch_count : cases. switch_voltage_v, switch_voltage_limit_v,
        switch_voltage_margin_needed : applied and rated V, and the share to keep free.
    switch_peak_a, switch_peak_limit_a : A. device_peak_w : instantaneous peak dissipation of one class-AB
        device into a resistor, W, for its safe operating area; 0 for class D.
    reactive_deg, reactive_peak_v, reactive_peak_a : hardest instant of one class-AB device with the load 0,
        45 or 60 degrees reactive, any drive, charging battery: which of them, V and A. reactive_share : of
        its safe operating area at 85 °C case (a chip: of the heat it loses at 100 °C case); 0 for class D.
    lift_f, lift_needed_f, lift_capacitor_id, lift_count : class H: capacitance of each leg's lifting bank,
        what the lowest note needs, F, and its cans; 0 and "" for other kinds. lift_reached : share of the
        battery by which the rail stands above it at the end of a crest; 0 for other kinds.
    driving : drivers, bias and feedback of class AB; None for class D. voltage_stage : what drives the
        drivers; None for class D and for chips, which hold it.
    rail_switching : parts that change the rails, rail_heat : heat with and without; None and () for kinds
        whose rails stand still.
    inductance_h, filter_f, damping_ohm, damping_f : one leg's output filter; None for class AB.
    filter_corner_hz, filter_q : with the real values; filter_corner_target_hz; None for class AB.
    switching_hz, switching_least_hz : at rest and at the crest, Hz; 0 for class AB.
    snubber_f, snubber_ohm, snubber_w : of each leg, F, ohm, and its resistor's heat at the highest rail, W;
        None and 0 without one.
    ripple_pp_a : inductor ripple at idle, A. inductor_peak_a : crest plus half ripple, A.
        inductor_ohm : resistance to wind it to, ohm.
    inductor : as wound; None for class AB, or where one is bought.
    pumping_v, pumping_limit_v, rail_capacitance_needed_f, rail_capacitance_f : at the lowest note, for the
        half-bridge, else None; the last is the preferred value for each rail.
    dead_time_thd : before feedback, dimensionless, class D only, else None.
    stuck_w : heat in the load if the output sticks to a rail, W. stuck_a : its current, A.
    ceilings : what a battery bridge could do, per corner.
    devices : what heats the heatsink. input_capacitor_id, input_capacitor_count, input_capacitor_limit_a :
        bank at the supply of a stage on the battery; "" and 0 otherwise.
    modulator : what drives the gates of class D; None for class AB.
    """

    kind: SettledKind
    from_battery: bool
    rails: Literal["split", "battery", "raised"]
    recirculates: bool
    model: ClassDModel | ClassABModel
    load_ohm: float
    load_least_ohm: float
    power_target_w: float | None
    power_w: float
    peak_v: float
    peak_a: float
    peak_least_a: float
    rail_needed_v: float
    rail_max_v: float
    rail_expected_v: float
    rail_average_a: float
    rail_crest_a: float
    rail_ripple_a: float
    output_resistance_ohm: float
    headroom_drop_v: float
    modulation_max: float
    idle_w: float
    quiescent_a: float
    efficiency_power_w: tuple[float, ...]
    efficiency: tuple[float, ...]
    switch_id: str
    switch_count: int
    switch_voltage_v: float
    switch_voltage_limit_v: float
    switch_voltage_margin_needed: float
    switch_peak_a: float
    switch_peak_limit_a: float
    device_peak_w: float
    reactive_deg: float
    reactive_peak_v: float
    reactive_peak_a: float
    reactive_share: float
    lift_f: float
    lift_needed_f: float
    lift_capacitor_id: str
    lift_count: int
    lift_reached: float
    driving: Driving | None
    rail_switching: RailSwitching | None
    rail_heat: tuple[RailHeat, ...]
    inductance_h: float | None
    filter_f: float | None
    damping_ohm: float | None
    damping_f: float | None
    filter_corner_hz: float | None
    filter_corner_target_hz: float | None
    filter_q: float | None
    switching_hz: float
    switching_least_hz: float
    snubber_f: float | None
    snubber_ohm: float | None
    snubber_w: float
    ripple_pp_a: float
    inductor_peak_a: float
    inductor_ohm: float
    inductor: WoundInductor | None
    pumping_v: float | None
    pumping_limit_v: float | None
    rail_capacitance_needed_f: float | None
    rail_capacitance_f: float | None
    dead_time_thd: float | None
    stuck_a: float
    stuck_w: float
    ceilings: tuple[BatteryCeiling, ...]
    devices: tuple[ThermalDevice, ...]
    input_capacitor_id: str
    input_capacitor_count: int
    input_capacitor_limit_a: float
    parts: tuple[PartUse, ...]
    losses: tuple[Loss, ...]
    contributors: tuple[Contributor, ...]
    sources: tuple[str, ...]
    reasons: tuple[str, ...]
    modulator: Modulator | None = None
    voltage_stage: VoltageStage | None = None

    @property
    def both_rails(self) -> bool:
        """Whether it draws from both rails at once: a full bridge between them."""
        return self.model.split_rails and self.model.legs == 2

    @property
    def voltage_gain(self) -> float:
        """From the filter's output to the loudspeaker, real values, V/V."""
        if self.modulator is not None:
            return self.modulator.gain
        if self.voltage_stage is not None:
            return self.voltage_stage.gain
        if self.driving is not None:
            return (self.driving.fixed_gain or self.driving.gain) * self.driving.input_share
        return self.peak_v / sqrt(2.0)

    def input_power_w(self, v_out_v: Floats, i_out_a: Floats, v_rail_v: Floats) -> Array:
        """Power from the supply at an instant, all losses included, W; shapes broadcast."""
        return self.model.input_power_w(v_out_v, i_out_a, v_rail_v)

    def loss_split_w(self, v_out_v: Floats, i_out_a: Floats, v_rail_v: Floats) -> dict[str, Array]:
        """The same power less the output, split by cause, W; shapes broadcast."""
        return self.model.losses_w(v_out_v, i_out_a, v_rail_v)

    def rail_current_a(self, v_out_v: Floats, i_out_a: Floats, v_rail_v: Floats) -> Array:
        """Current of both rails together (of the battery terminal for a bridge), A: input power over rail."""
        current: Array = self.model.input_power_w(v_out_v, i_out_a, v_rail_v) / np.asarray(v_rail_v)
        return current

    def clip_peak_v(self, v_rail_v: Floats, load_ohm: float) -> Array:
        """Highest peak voltage across the load at a rail (or supply) voltage, V; shape of the rail."""
        return self.model.clip_peak_v(v_rail_v, load_ohm)

    def rail_for_peak_v(self, peak_v: float, load_ohm: float) -> float:
        """Rail that just gives a peak across the load, V."""
        return self.model.rail_for_peak_v(peak_v, load_ohm)
