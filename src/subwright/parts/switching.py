"""Records of the integrated circuits between a modulator and its switches."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated

from subwright.parts.record import Bounds, Record

__all__ = ["FastComparator", "GateDriver", "SchmittInverter"]


@dataclass(frozen=True, kw_only=True, slots=True)
class FastComparator(Record):
    """A fast comparator with an open collector against a ground pin of its own.

    Attributes
    ----------
    channels : comparators in the case.
    vos_max_v, ib_max_a : largest input offset voltage and bias current over temperature.
    vol_v, vol_max_v : output low at about 3 mA, typical and largest.
    sink_a : current that the output can sink.
    response_s : 100 mV step with 5 mV overdrive, typical.
    positive_a, negative_a : supply currents of the case at ±15 V, typical.
    difference_max_v : largest voltage between the inputs, either way.
    headroom_v : inputs must stay this far inside either supply.
    supply_max_v : between the supplies. ground_max_v : from the ground pin to the positive supply.
    """

    channels: Annotated[int, Bounds(1, 4)]
    vos_max_v: Annotated[float, Bounds(1e-6, 0.05)]
    ib_max_a: Annotated[float, Bounds(1e-13, 1e-4)]
    vol_v: Annotated[float, Bounds(1e-3, 2)]
    vol_max_v: Annotated[float, Bounds(1e-3, 2)]
    sink_a: Annotated[float, Bounds(1e-4, 0.1)]
    response_s: Annotated[float, Bounds(1e-9, 1e-6)]
    positive_a: Annotated[float, Bounds(1e-4, 0.05)]
    negative_a: Annotated[float, Bounds(0, 0.05)]
    difference_max_v: Annotated[float, Bounds(0.5, 40)]
    headroom_v: Annotated[float, Bounds(0, 5)]
    supply_max_v: Annotated[float, Bounds(5, 60)]
    ground_max_v: Annotated[float, Bounds(5, 40)]

    def summary(self) -> str:
        """One line made from the values."""
        count = {1: "single", 2: "dual", 4: "quad"}.get(self.channels, f"{self.channels}-fold")
        return f"{count} fast comparator, {self.response_s * 1e9:g} ns, open collector, own ground pins"

    def problems(self) -> Iterator[tuple[str, str]]:
        """Yield contradictions between the values."""
        if self.vol_v > self.vol_max_v:
            yield "vol_v", "typical value is above vol_max_v"
        if self.ground_max_v > self.supply_max_v:
            yield "ground_max_v", "above what may lie between the supplies"


@dataclass(frozen=True, kw_only=True, slots=True)
class SchmittInverter(Record):
    """Inverters with Schmitt-trigger inputs in one case.

    Attributes
    ----------
    channels : inverters in the case. stated_v : supply at which the thresholds are stated.
    rising_min_v, rising_v, rising_max_v : upper threshold, least, typical, greatest.
    falling_min_v, falling_v, falling_max_v : lower threshold.
    delay_s, delay_max_s : propagation at that supply, 50 pF for the largest.
    output_ohm : output resistance, typical. input_f, dissipation_f : input capacitance, and that which stands
        for a gate's own switching loss.
    supply_min_v, supply_max_v : range.
    """

    channels: Annotated[int, Bounds(1, 8)]
    stated_v: Annotated[float, Bounds(1, 18)]
    rising_min_v: Annotated[float, Bounds(0.3, 15)]
    rising_v: Annotated[float, Bounds(0.3, 15)]
    rising_max_v: Annotated[float, Bounds(0.3, 15)]
    falling_min_v: Annotated[float, Bounds(0.1, 12)]
    falling_v: Annotated[float, Bounds(0.1, 12)]
    falling_max_v: Annotated[float, Bounds(0.1, 12)]
    delay_s: Annotated[float, Bounds(5e-10, 1e-6)]
    delay_max_s: Annotated[float, Bounds(5e-10, 1e-6)]
    output_ohm: Annotated[float, Bounds(1, 1000)]
    input_f: Annotated[float, Bounds(1e-13, 5e-11)]
    dissipation_f: Annotated[float, Bounds(1e-12, 2e-10)]
    supply_min_v: Annotated[float, Bounds(0.5, 10)]
    supply_max_v: Annotated[float, Bounds(1, 20)]

    def summary(self) -> str:
        """One line made from the values."""
        count = {1: "single", 6: "hex"}.get(self.channels, f"{self.channels}-fold")
        return f"{count} Schmitt-trigger inverter, {self.delay_s * 1e9:g} ns"

    def problems(self) -> Iterator[tuple[str, str]]:
        """Yield contradictions between the values."""
        for edge in ("rising", "falling"):
            low, typical, high = (getattr(self, f"{edge}{end}_v") for end in ("_min", "", "_max"))
            if not low <= typical <= high:
                yield f"{edge}_v", "not between the least and the greatest threshold"
        if self.falling_v >= self.rising_v or self.rising_max_v >= self.stated_v:
            yield "rising_v", "lower threshold, upper threshold and supply don't rise in that order"
        if self.delay_s > self.delay_max_s:
            yield "delay_s", "typical value is above delay_max_s"


@dataclass(frozen=True, kw_only=True, slots=True)
class GateDriver(Record):
    """A driver for both switches of a half-bridge, the upper one floating on a bootstrap capacitor.

    Attributes
    ----------
    offset_max_v : largest voltage of the floating section over ground.
    on_s, on_max_s, off_s, off_max_s : delay from input to output, typical and largest. match_s : largest
        difference between both channels.
    source_a, sink_a : least peak output current. output_ohm : short-circuit, from the typical current.
    quiescent_a, quiescent_max_a : of the low side's supply. floating_a, floating_max_a : of the floating one.
    logic_a : of the logic supply, largest.
    shift_coul : charge that shifts one edge up, common practice.
    start_max_v, stop_v, stop_max_v : lockout of the floating supply: highest voltage at which it starts, and
        typical and highest at which it stops.
    supply_max_v : of either driver supply. logic_min_v, logic_max_v : of the logic supply.
    """

    offset_max_v: Annotated[float, Bounds(20, 1300)]
    on_s: Annotated[float, Bounds(5e-9, 2e-6)]
    on_max_s: Annotated[float, Bounds(5e-9, 2e-6)]
    off_s: Annotated[float, Bounds(5e-9, 2e-6)]
    off_max_s: Annotated[float, Bounds(5e-9, 2e-6)]
    match_s: Annotated[float, Bounds(0, 1e-6)]
    source_a: Annotated[float, Bounds(0.05, 20)]
    sink_a: Annotated[float, Bounds(0.05, 20)]
    output_ohm: Annotated[float, Bounds(0.2, 100)]
    quiescent_a: Annotated[float, Bounds(1e-6, 0.01)]
    quiescent_max_a: Annotated[float, Bounds(1e-6, 0.01)]
    floating_a: Annotated[float, Bounds(1e-6, 0.01)]
    floating_max_a: Annotated[float, Bounds(1e-6, 0.01)]
    logic_a: Annotated[float, Bounds(0, 0.01)]
    shift_coul: Annotated[float, Bounds(0, 1e-7)]
    start_max_v: Annotated[float, Bounds(3, 15)]
    stop_v: Annotated[float, Bounds(3, 15)]
    stop_max_v: Annotated[float, Bounds(3, 15)]
    supply_max_v: Annotated[float, Bounds(10, 40)]
    logic_min_v: Annotated[float, Bounds(1, 10)]
    logic_max_v: Annotated[float, Bounds(3, 40)]

    def summary(self) -> str:
        """One line made from the values."""
        return f"half-bridge driver {self.offset_max_v:g} V, {self.source_a:g} A, bootstrapped"

    def problems(self) -> Iterator[tuple[str, str]]:
        """Yield contradictions between the values."""
        for typical in ("on", "off", "quiescent", "floating"):
            unit = "s" if typical in ("on", "off") else "a"
            if getattr(self, f"{typical}_{unit}") > getattr(self, f"{typical}_max_{unit}"):
                yield f"{typical}_{unit}", f"typical value is above {typical}_max_{unit}"
        if not self.stop_v <= self.stop_max_v <= self.start_max_v < self.supply_max_v:
            yield "stop_max_v", "lockout and largest supply don't rise in that order"
