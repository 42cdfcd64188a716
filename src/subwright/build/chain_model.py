"""What the chain is made of: source, converter, power stage and load; and the point that it settles at."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from math import inf
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from subwright.physics.clamps import clamp_voltage_v
from subwright.physics.push_pull import PulseShape, pulse_shape

__all__ = ["ChainPoint", "ConverterModel", "LoadPoint", "PowerStage", "Source"]

Array = NDArray[np.float64]


class PowerStage(Protocol):
    """What the chain needs to know of an amplifier."""

    @property
    def from_battery(self) -> bool:
        """Whether it runs straight from the battery, without a converter."""

    @property
    def recirculates(self) -> bool:
        """Whether reactive power flows back into its supply (switching stages)."""

    def input_power_w(self, v_out_v: Array, i_out_a: Array, v_rail_v: Array) -> Array:
        """Power taken from the supply at an instant, W."""

    def loss_split_w(self, v_out_v: Array, i_out_a: Array, v_rail_v: Array) -> Mapping[str, Array]:
        """The same power less the output, split by cause, W."""

    def clip_peak_v(self, v_rail_v: Array, load_ohm: float) -> Array:
        """Highest peak voltage across the load at the given supply, V."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Source:
    """Battery and cable as seen from the input terminals."""

    battery_ohm: float
    cable_ohm: float
    contact_ohm: float

    @property
    def total_ohm(self) -> float:
        """Whole source resistance, ohm."""
        return self.battery_ohm + self.cable_ohm + self.contact_ohm


@dataclass(frozen=True, kw_only=True, slots=True)
class ConverterModel:
    """Averaged electrical model of the push-pull converter, hot values, per the real parts.

    ``rail_count`` is 2 for split rails. All primary-side resistances are those of one conducting path.
    """

    ratio: float  # Ns / Np, half windings
    switching_hz: float
    share: float  # of the period in which either switch conducts
    switch_ohm: float
    primary_winding_ohm: float
    link_ohm: float
    secondary_winding_ohm: float
    diode_ohm: float
    diode_v: float
    leakage_h: float  # referred to one half-primary
    input_esr_ohm: float
    reservoir_esr_ohm: float
    turn_off_s: float  # overlap of voltage and current at turn-off
    gate_w: float
    control_w: float
    core_w: float  # at core_v on the half-primary
    core_v: float
    core_exponent: float  # of loss against voltage
    shunt_s: float  # loss conductance to V_terminal², siemens: snubber and output capacitance
    control_a: float = 0.0  # drawn at any voltage, gates included where a regulator feeds them
    zener_v: float = 0.0  # of that regulator
    zener_ohm: float = inf
    clamp_ohm: float | None = None  # clamp's resistor to the battery; None: the switches avalanche
    clamp_diode_v: float = 0.0
    return_drop_v: float | None = None  # bridge: its diodes return the leakage energy, at this drop
    avalanche_v: float = inf  # of the switches, which end the leakage current where there is no clamp
    rest_factor: float = 2.0  # off-state drain voltage over the terminal's
    recovery: float = 0.0  # extra current of each rail over the sum of both, by the legs' recovery charge
    set_v: float | None = None  # rail that an output choke and the controller hold; None: peak-charged
    choke_ohm: float = 0.0  # one winding of the output choke
    choke_core_w: float = 0.0
    both_rails: bool = False  # what is counted as one working rail are both alike, as in ``bridged``
    choke_ripple_a: float = 0.0  # peak to peak, one rail
    reservoir_w: float = 0.0  # heat of the choke's ripple in the reservoirs
    ring_shunt_s: float = 0.0  # rectifier snubbers behind a choke: loss conductance to V_terminal²
    aux_a: float = 0.0  # small-signal circuits fed from the rails: current of each
    aux_primary_a: float = 0.0  # the same fed from a winding of their own, seen from the battery
    bleeder_s: float = 0.0  # across each rail
    ring_s: float = 0.0  # rectifier snubbers: extra current of each rail over the sum of both voltages

    def control_power_w(self, terminal_v: Array) -> Array:
        """Controller and its supply without what reaches the gates, W."""
        zener_a = np.maximum(terminal_v - self.zener_v, 0.0) / self.zener_ohm
        fed = terminal_v * (self.control_a + zener_a)
        return np.asarray(self.control_w + fed - (self.gate_w if self.control_a else 0.0) + 0.0 * terminal_v)

    def rail_own_a(self, rail_v: Array) -> Array:
        """Current that a rail feeds to small-signal circuits and bleeder, A."""
        return np.asarray(self.aux_a + self.bleeder_s * rail_v)

    def clamp_currents(
        self, leakage_w: Array, terminal_v: Array, primary_drop_v: Array | float = 0.0
    ) -> tuple[Array, Array]:
        """Net current that the clamp takes from the battery, A, and its heat, W.

        Above its resting voltage the clamp lives on the leakage energy and returns current; at rest it
        takes its resistor's current out of the battery through the windings. ``primary_drop_v`` is lost
        between terminal and winding.
        """
        driven = self.set_v is not None  # behind a choke the battery drives the leakage current on
        if self.clamp_ohm is None and self.return_drop_v is None:
            net = leakage_w / (self.avalanche_v - terminal_v) if driven else np.zeros_like(leakage_w)
            return np.asarray(net), np.asarray(leakage_w + net * terminal_v)
        if self.clamp_ohm is None:
            kept = 0.0 if self.return_drop_v is None else terminal_v / (terminal_v + self.return_drop_v)
            return np.asarray(-leakage_w * kept / terminal_v), np.asarray(leakage_w * (1.0 - kept))
        through, from_leakage = self._clamp_charge_a(leakage_w, terminal_v, primary_drop_v)
        net = through - (1.0 if driven else 2.0) * from_leakage
        return np.asarray(net), np.asarray(leakage_w + net * terminal_v)

    def reset_v(
        self, leakage_w: Array, terminal_v: Array, primary_drop_v: Array | float = 0.0
    ) -> Array | float:
        """Voltage against which the leakage current falls at turn-off, V."""
        if self.return_drop_v is not None:
            return 2.0 * (terminal_v + self.return_drop_v)  # the winding's own and the battery's
        if self.clamp_ohm is None:
            return self.avalanche_v
        through, _ = self._clamp_charge_a(leakage_w, terminal_v, primary_drop_v)
        return np.asarray(terminal_v + through * self.clamp_ohm + self.clamp_diode_v)

    def clamp_rest_a(
        self, leakage_w: Array, terminal_v: Array, primary_drop_v: Array | float = 0.0
    ) -> Array | float:
        """Current of the clamp that the conducting switch feeds through the other half-primary, mean, A."""
        if self.clamp_ohm is None:
            return 0.0
        through, from_leakage = self._clamp_charge_a(leakage_w, terminal_v, primary_drop_v)
        return np.asarray(np.maximum(through - from_leakage, 0.0))

    def _clamp_charge_a(
        self, leakage_w: Array, terminal_v: Array, primary_drop_v: Array | float
    ) -> tuple[Array, Array]:
        """Current through the clamp's resistor, and the part of it that leakage energy supplies, A."""
        assert self.clamp_ohm is not None
        diode_v = self.clamp_diode_v
        rest_v = self.rest_factor * terminal_v - primary_drop_v - diode_v
        driving_v = terminal_v if self.set_v is not None else np.zeros_like(terminal_v)
        held = np.asarray(
            clamp_voltage_v(leakage_w, self.clamp_ohm, terminal_v, rest_v, diode_v, driving_v=driving_v)
        )
        return (held - terminal_v) / self.clamp_ohm, leakage_w / (held + diode_v - driving_v)

    @property
    def primary_ohm(self) -> float:
        """Resistance of one conducting primary path, ohm."""
        return self.switch_ohm + self.primary_winding_ohm + self.link_ohm

    @property
    def secondary_ohm(self) -> float:
        """Resistance of one conducting secondary path, ohm."""
        return self.secondary_winding_ohm + self.diode_ohm

    def shape(self) -> PulseShape:
        """Shape of the primary current pulse while one rail works (dimensionless factors)."""
        loop = self.primary_ohm + self.secondary_ohm / self.ratio**2
        return pulse_shape(self.share / (2.0 * self.switching_hz), self.leakage_h, loop)

    @property
    def averaging(self) -> float:
        """Mean over final current, over the whole period, while one rail works (dimensionless)."""
        return self.share * self.shape().average

    @property
    def mean_square_factor(self) -> float:
        """Mean square of the pulsed current over the square of its mean (dimensionless, >= 1)."""
        shape = self.shape()
        return shape.mean_square / (self.share * shape.average**2)

    @property
    def overlap(self) -> float:
        """Share of the primary current that turn-off overlap adds (dimensionless)."""
        shape = self.shape()
        return 2.0 * self.switching_hz * self.turn_off_s * shape.end / (self.share * shape.average)


@dataclass(frozen=True, kw_only=True, slots=True)
class LoadPoint:
    """A load at one frequency: its admittance. A dummy resistor has no susceptance."""

    conductance_s: float
    susceptance_s: float = 0.0

    @property
    def magnitude_ohm(self) -> float:
        """Modulus of the impedance, ohm."""
        return 1.0 / float(np.hypot(self.conductance_s, self.susceptance_s))


@dataclass(frozen=True, kw_only=True, slots=True)
class ChainPoint:
    """Solution of the chain at a set of battery voltages.

    Arrays are over the corners; where several waveforms are solved together, corners by waveforms.
    """

    emf_v: Array
    peak_v: Array  # peak output voltage
    output_w: Array  # mean power into the load
    battery_w: Array  # mean power out of the battery's EMF
    battery_a: Array  # mean
    battery_rms_a: Array
    battery_peak_a: Array
    terminal_v: Array  # mean
    terminal_least_v: Array
    rail_crest_v: Array  # working rail at the crest
    rail_mean_v: Array
    rail_other_v: Array  # the idling rail at the crest
    rail_a: Array  # mean current out of one rail
    rail_peak_a: Array
    primary_rms_a: Array  # in one half-primary, switching and bass both
    primary_peak_a: Array  # final value of the pulse at the crest
    secondary_rms_a: Array  # in one half-secondary
    diode_a: Array  # mean current in one diode
    input_ripple_a: Array  # rms, input capacitor bank
    reservoir_ripple_a: Array  # rms at the switching frequency, one rail's bank
    losses_w: Mapping[str, Array]

    def waveform(self, index: int) -> ChainPoint:
        """One waveform out of a solution of several, whose arrays are corners by waveforms."""
        columns = {
            item.name: getattr(self, item.name)[:, index] for item in fields(self) if item.name != "losses_w"
        }
        return ChainPoint(
            **columns, losses_w={name: watts[:, index] for name, watts in self.losses_w.items()}
        )

    def imbalance(self) -> Array:
        """Share of the battery's power that neither losses nor output explain (dimensionless)."""
        total = self.output_w + sum(self.losses_w.values())
        return np.asarray((self.battery_w - total) / self.battery_w)
