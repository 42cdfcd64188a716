"""Records of parts that guard others: suppressor diodes and relays."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated

from subwright.parts.record import Bounds, Record

__all__ = ["Relay", "Suppressor"]


@dataclass(frozen=True, kw_only=True, slots=True)
class Suppressor(Record):
    """A unidirectional avalanche diode that clamps pulses on a supply.

    Attributes
    ----------
    standoff_v : highest steady voltage. break_min_v, break_max_v : breakdown at the sheet's small current.
    clamp_v, surge_a : largest voltage at the rated pulse current, pulse 10/1000 µs.
    pulse_w : rated pulse power, 10/1000 µs. pulse_long_w : 10/10000 µs.
    leakage_a : largest at standoff_v.
    """

    standoff_v: Annotated[float, Bounds(5, 400)]
    break_min_v: Annotated[float, Bounds(5, 500)]
    break_max_v: Annotated[float, Bounds(5, 500)]
    clamp_v: Annotated[float, Bounds(6, 700)]
    surge_a: Annotated[float, Bounds(0.5, 1000)]
    pulse_w: Annotated[float, Bounds(100, 50e3)]
    pulse_long_w: Annotated[float, Bounds(30, 50e3)]
    leakage_a: Annotated[float, Bounds(1e-9, 1e-2)]
    package: str

    @property
    def slope_ohm(self) -> float:
        """Resistance beyond breakdown that leads through the rated clamping point, Ω, largest part."""
        return (self.clamp_v - self.break_max_v) / self.surge_a

    def summary(self) -> str:
        """One line made from the values."""
        return f"suppressor diode {self.standoff_v:g} V, {self.pulse_w:g} W 10/1000 µs, {self.package}"

    def problems(self) -> Iterator[tuple[str, str]]:
        """Yield contradictions between the values."""
        if not self.standoff_v < self.break_min_v <= self.break_max_v < self.clamp_v:
            yield "clamp_v", "standoff, breakdown and clamping voltage don't rise in that order"
        if not math.isclose(self.clamp_v * self.surge_a, self.pulse_w, rel_tol=0.05):
            yield "surge_a", "clamping voltage times current isn't the rated pulse power"
        if self.pulse_long_w > self.pulse_w:
            yield "pulse_long_w", "a longer pulse can't have the higher power rating"


@dataclass(frozen=True, kw_only=True, slots=True)
class Relay(Record):
    """An electromagnetic relay with a direct-current coil.

    Attributes
    ----------
    nominal_v, coil_ohm : nominal voltage and resistance at 20 °C. coil_max_v : highest steady voltage.
    pull_in_v : largest voltage that it needs to close, drop_out_v : least at which it may hold, at 20 °C.
    contact_a : carried. closed_ohm : of the contact, largest, new.
    breaks : (V, A) points of direct current that one contact breaks, resistive load, rising in voltage.
    operate_s, release_s : largest, with nothing across the coil.
    changeover : whether it has a rest contact.
    coil_time_s : inductance over resistance with the armature closed; a 12 V board relay's sheet gives 2.29 H
        and 275 Ω.
    """

    nominal_v: Annotated[float, Bounds(3, 110)]
    coil_ohm: Annotated[float, Bounds(10, 20e3)]
    coil_max_v: Annotated[float, Bounds(3, 200)]
    pull_in_v: Annotated[float, Bounds(2, 100)]
    drop_out_v: Annotated[float, Bounds(0.1, 50)]
    contact_a: Annotated[float, Bounds(0.5, 300)]
    closed_ohm: Annotated[float, Bounds(1e-4, 1)]
    operate_s: Annotated[float, Bounds(1e-3, 0.1)]
    release_s: Annotated[float, Bounds(1e-3, 0.1)]
    changeover: bool
    breaks: tuple[tuple[float, float], ...]
    coil_time_s: Annotated[float, Bounds(0.2e-3, 0.1)] = 8.3e-3

    def breaks_a(self, volts: float) -> float:
        """Direct current that one contact breaks at a voltage in V, A; interpolated on log scales.

        Below the first point the first current; beyond the last point nothing is promised: 0 A.
        """
        if volts > self.breaks[-1][0]:
            return 0.0
        if volts <= self.breaks[0][0]:
            return self.breaks[0][1]
        for (v0, a0), (v1, a1) in zip(self.breaks, self.breaks[1:], strict=False):
            if volts <= v1:
                share = math.log(volts / v0) / math.log(v1 / v0)
                return float(a0 * (a1 / a0) ** share)
        return 0.0

    def summary(self) -> str:
        """One line made from the values."""
        form = "change-over" if self.changeover else "make contact"
        return f"relay {self.nominal_v:g} V, {form} {self.contact_a:g} A"

    def problems(self) -> Iterator[tuple[str, str]]:
        """Yield contradictions between the values."""
        if not self.drop_out_v < self.pull_in_v <= self.nominal_v <= self.coil_max_v:
            yield "pull_in_v", "drop-out, pull-in, nominal and highest coil voltage don't rise in that order"
        if not self.breaks:
            yield "breaks", "needs at least one point of voltage and current"
        elif list(self.breaks) != sorted(self.breaks) or any(
            b[1] > a[1] for a, b in zip(self.breaks, self.breaks[1:], strict=False)
        ):
            yield "breaks", "must rise in voltage and fall in current"
