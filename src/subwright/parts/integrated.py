"""Records of integrated circuits: op-amps, comparators, references and PWM controllers."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Literal

from subwright.base.errors import RangeError
from subwright.parts.record import Bounds, Record, Tolerance

__all__ = ["Comparator", "Controller", "OpAmp", "Reference"]


@dataclass(frozen=True, kw_only=True, slots=True)
class OpAmp(Record):
    """An operational amplifier.

    Attributes
    ----------
    vos_v : largest input offset voltage at 25 °C. ib_a : largest input bias current.
    gbw_hz : gain-bandwidth product, typical. slew_v_per_s : slew rate, typical, in V/s.
    noise_v_per_rthz : input noise density at 1 kHz in V/√Hz.
    supply_min_v, supply_max_v : total supply range, V+ to V−.
    swing_loss_v : smallest distance of the output from the nearer rail into 2 kΩ ... 10 kΩ.
    channels : amplifiers in the case.
    """

    vos_v: Annotated[float, Bounds(1e-6, 0.05)]
    ib_a: Annotated[float, Bounds(1e-13, 5e-6)]
    gbw_hz: Annotated[float, Bounds(1e4, 1e9)]
    slew_v_per_s: Annotated[float, Bounds(1e4, 1e10)]
    noise_v_per_rthz: Annotated[float, Bounds(5e-10, 2e-7)]
    supply_min_v: Annotated[float, Bounds(1, 20)]
    supply_max_v: Annotated[float, Bounds(3, 100)]
    swing_loss_v: Annotated[float, Bounds(0, 5)]
    channels: Annotated[int, Bounds(1, 4)]

    def summary(self) -> str:
        """One line made from the values."""
        count = {1: "single", 2: "dual", 4: "quad"}.get(self.channels, f"{self.channels}-fold")
        return f"{count} op-amp, {self.gbw_hz / 1e6:g} MHz"

    def problems(self) -> Iterator[tuple[str, str]]:
        """Yield contradictions between the values."""
        if self.supply_min_v >= self.supply_max_v:
            yield "supply_min_v", "not below the largest supply"


@dataclass(frozen=True, kw_only=True, slots=True)
class Comparator(Record):
    """A voltage comparator.

    Attributes
    ----------
    vos_v, vos_max_v : input offset voltage, typical and largest over temperature.
    ib_a, ib_max_a : input bias current, typical and largest over temperature.
    vol_v, vol_max_v : output low at 4 mA, typical and largest.
    sink_a : smallest current that the output can sink.
    response_s : response time, 5 mV overdrive, typical.
    input_headroom_v : inputs must stay this far below the positive supply over temperature.
    supply_min_v, supply_max_v : total supply range.
    channels : comparators in the case. open_collector : output needs a pull-up.
    """

    vos_v: Annotated[float, Bounds(1e-6, 0.05)]
    vos_max_v: Annotated[float, Bounds(1e-6, 0.05)]
    ib_a: Annotated[float, Bounds(1e-13, 5e-6)]
    ib_max_a: Annotated[float, Bounds(1e-13, 5e-6)]
    vol_v: Annotated[float, Bounds(1e-3, 2)]
    vol_max_v: Annotated[float, Bounds(1e-3, 2)]
    sink_a: Annotated[float, Bounds(1e-4, 0.1)]
    response_s: Annotated[float, Bounds(1e-9, 1e-4)]
    input_headroom_v: Annotated[float, Bounds(-1, 5)]
    supply_min_v: Annotated[float, Bounds(1, 20)]
    supply_max_v: Annotated[float, Bounds(3, 100)]
    channels: Annotated[int, Bounds(1, 4)]
    open_collector: bool = True

    def summary(self) -> str:
        """One line made from the values."""
        count = {1: "single", 2: "dual", 4: "quad"}.get(self.channels, f"{self.channels}-fold")
        return f"{count} comparator, {'open-collector' if self.open_collector else 'push-pull'} output"

    def problems(self) -> Iterator[tuple[str, str]]:
        """Yield contradictions between the values."""
        for typical, largest in (("vos_v", "vos_max_v"), ("ib_a", "ib_max_a"), ("vol_v", "vol_max_v")):
            if getattr(self, typical) > getattr(self, largest):
                yield typical, f"typical value is above {largest}"


@dataclass(frozen=True, kw_only=True, slots=True)
class Reference(Record):
    """An adjustable shunt reference.

    Attributes
    ----------
    vref_v : reference voltage. tolerance : relative, 25 °C. drift_v : change over the temperature range.
    i_min_a : smallest cathode current that regulates. iref_a : reference input current, largest.
    i_max_a, vka_max_v : largest cathode current and voltage.
    """

    vref_v: Annotated[float, Bounds(0.5, 15)]
    tolerance: Tolerance
    drift_v: Annotated[float, Bounds(0, 0.2)]
    i_min_a: Annotated[float, Bounds(1e-6, 0.01)]
    iref_a: Annotated[float, Bounds(1e-9, 1e-4)]
    i_max_a: Annotated[float, Bounds(1e-3, 1)]
    vka_max_v: Annotated[float, Bounds(2, 60)]

    def summary(self) -> str:
        """One line made from the values."""
        return f"shunt reference {self.vref_v:g} V ±{self.tolerance * 100:g} %"


@dataclass(frozen=True, kw_only=True, slots=True)
class Controller(Record):
    """A PWM controller with two outputs in antiphase, or with one.

    The ramp's period is ``ct ((rt + rd_weight rd)/osc_k + dead_ohm)``; of two outputs each runs at half the
    ramp's frequency, a single one at all of it. The part ``ct (rd_weight rd / osc_k + dead_ohm)`` of the
    period is the discharge, in which the outputs are off.

    Attributes
    ----------
    family : the multi-sourced family. mode : "voltage" or "current" (peak current) control.
    vref_v, vref_tolerance : built-in reference.
    osc_k, rd_weight : oscillator constants, see above; rd_weight is 0 where there is no discharge resistor.
    osc_tolerance : relative spread of the frequency from part to part.
    f_min_hz, f_max_hz : ramp frequency range. rt_min_ohm ... ct_max_f : component ranges.
    rd_max_ohm : largest discharge resistor, 0 where there is none.
    dead_min_s : time that both outputs are off with no dead time added. dead_ohm : discharge over the
        timing capacitor where no part sets it, 0 elsewhere.
    duty_max : largest share of an output's own period.
    supply_min_v, supply_max_v, uvlo_on_v, uvlo_off_v : supply range; the chip starts at uvlo_on_v rising and
        stops at uvlo_off_v falling (None where the family has no lockout).
    output_source_a, output_sink_a : peak current of an output. output_drop_v : drop from supply at 100 mA.
    soft_start_a : charging current of the soft-start pin, None where that is made outside.
    quiescent_a : supply current, typical.
    outputs : 2, or 1 for a single-ended family; what follows is given for the latter alone.
    error_v, error_tolerance : reference at the error amplifier's own input and its spread.
    sense_v, sense_tolerance, sense_delay_s : threshold of the current comparator, spread, and time to the
        output. sense_division : of the error amplifier's output on the way to it. comp_offset_v : lost there.
    ramp_low_v, ramp_high_v, discharge_a : turning points of the ramp and the current that discharges it.
    """

    family: str
    mode: Literal["voltage", "current"]
    vref_v: Annotated[float, Bounds(1, 10)]
    vref_tolerance: Tolerance
    osc_k: Annotated[float, Bounds(0.5, 5)]
    rd_weight: Annotated[float, Bounds(0, 20)] = 0.0
    osc_tolerance: Tolerance
    f_min_hz: Annotated[float, Bounds(0.1, 1e6)]
    f_max_hz: Annotated[float, Bounds(1e3, 5e6)]
    rt_min_ohm: Annotated[float, Bounds(100, 1e6)]
    rt_max_ohm: Annotated[float, Bounds(1e3, 1e7)]
    ct_min_f: Annotated[float, Bounds(1e-11, 1e-6)]
    ct_max_f: Annotated[float, Bounds(1e-10, 1e-4)]
    rd_max_ohm: Annotated[float, Bounds(0, 1e4)] = 0.0
    dead_min_s: Annotated[float, Bounds(0, 1e-5)]
    dead_ohm: Annotated[float, Bounds(0, 1e4)] = 0.0
    duty_max: Annotated[float, Bounds(0.3, 1.0)]
    supply_min_v: Annotated[float, Bounds(2, 30)]
    supply_max_v: Annotated[float, Bounds(5, 80)]
    uvlo_on_v: Annotated[float | None, Bounds(2, 30)] = None
    uvlo_off_v: Annotated[float | None, Bounds(2, 30)] = None
    output_source_a: Annotated[float, Bounds(0, 5)]
    output_sink_a: Annotated[float, Bounds(0, 5)]
    output_drop_v: Annotated[float, Bounds(0, 5)]
    soft_start_a: Annotated[float | None, Bounds(1e-7, 1e-2)] = None
    quiescent_a: Annotated[float, Bounds(1e-4, 0.1)]
    outputs: Annotated[int, Bounds(1, 2)] = 2
    error_v: Annotated[float | None, Bounds(0.5, 10)] = None
    error_tolerance: Annotated[float | None, Bounds(1e-4, 0.1)] = None
    sense_v: Annotated[float | None, Bounds(0.05, 5)] = None
    sense_tolerance: Annotated[float | None, Bounds(1e-3, 0.5)] = None
    sense_delay_s: Annotated[float | None, Bounds(1e-9, 1e-5)] = None
    sense_division: Annotated[float | None, Bounds(1, 20)] = None
    comp_offset_v: Annotated[float | None, Bounds(0, 5)] = None
    ramp_low_v: Annotated[float | None, Bounds(0.1, 5)] = None
    ramp_high_v: Annotated[float | None, Bounds(0.2, 10)] = None
    discharge_a: Annotated[float | None, Bounds(1e-4, 0.1)] = None

    def oscillator_hz(self, rt_ohm: float, ct_f: float, rd_ohm: float = 0.0) -> float:
        """Ramp frequency in Hz for timing parts in Ω and F; each output runs at half of it.

        Raises
        ------
        RangeError : a part, or the frequency, is outside what the family allows.
        """
        self._within("timing resistor", rt_ohm, self.rt_min_ohm, self.rt_max_ohm, "Ω")
        self._within("timing capacitor", ct_f, self.ct_min_f, self.ct_max_f, "F")
        self._within("discharge resistor", rd_ohm, 0.0, self.rd_max_ohm, "Ω")
        frequency_hz = 1.0 / (ct_f * ((rt_ohm + self.rd_weight * rd_ohm) / self.osc_k + self.dead_ohm))
        self._within("oscillator frequency", frequency_hz, self.f_min_hz, self.f_max_hz, "Hz")
        return frequency_hz

    def dead_time_s(self, ct_f: float, rd_ohm: float = 0.0) -> float:
        """Time in s that both outputs are off at each change-over, from the ramp's discharge.

        Families whose dead time is set by a voltage on a pin give only the part that is always there.
        """
        return self.dead_min_s + ct_f * (self.rd_weight * rd_ohm / self.osc_k + self.dead_ohm)

    def _within(self, quantity: str, value: float, low: float, high: float, unit: str) -> None:
        if not low <= value <= high:
            raise RangeError(
                message=f"{self.id}: {quantity} is outside the family's range.",
                quantity=quantity,
                value=f"{value:.4g} {unit}",
                limit=f"{low:.4g} to {high:.4g} {unit}",
                source=self.provenance.document,
                remedy="Choose other timing parts or another switching frequency.",
            )

    def summary(self) -> str:
        """One line made from the values."""
        return f"PWM controller, {self.family} family, {self.mode} mode"

    def problems(self) -> Iterator[tuple[str, str]]:
        """Yield contradictions between the values."""
        if self.outputs == 2 and self.duty_max > 0.5:
            yield "duty_max", "two outputs that take turns can't be on for more than half of their period"
        single = ("error_v", "sense_v", "sense_division", "comp_offset_v", "ramp_low_v", "discharge_a")
        if self.outputs == 1 and any(getattr(self, name) is None for name in single):
            yield "outputs", "a single-ended controller needs " + ", ".join(single)
        for low, high in (
            ("f_min_hz", "f_max_hz"),
            ("rt_min_ohm", "rt_max_ohm"),
            ("ct_min_f", "ct_max_f"),
            ("supply_min_v", "supply_max_v"),
        ):
            if getattr(self, low) >= getattr(self, high):
                yield low, f"not below {high}"
        if (self.uvlo_on_v is None) != (self.uvlo_off_v is None):
            yield "uvlo_on_v", "give both lockout voltages or neither"
        elif self.uvlo_on_v is not None and self.uvlo_off_v is not None and self.uvlo_off_v > self.uvlo_on_v:
            yield "uvlo_off_v", "above the voltage at which the chip starts"
