"""Records of capacitors, thermistors, heatsinks and loudspeaker drivers."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Literal

from subwright.base.errors import RangeError
from subwright.parts.record import Bounds, Positive, Record, Tolerance

__all__ = ["Capacitor", "Driver", "Heatsink", "Ntc"]

_KELVIN = 273.15


@dataclass(frozen=True, kw_only=True, slots=True)
class Capacitor(Record):
    """A capacitor that carries current: rail and input reservoirs, snubbers, output filters.

    Attributes
    ----------
    technology : "electrolytic", "film" or "ceramic".
    dielectric : "aluminium", "PP", "PET", "C0G", "X7R" ...
    capacitance_f, voltage_v, tolerance : rated.
    esr_ohm : equivalent series resistance at 100 kHz and 20 °C.
    ripple_a : largest rms ripple current at 100 kHz and temp_c; None where the sheet gives none.
    life_s : endurance at temp_c with full ripple, in s; None for film and ceramic.
    temp_c : upper category temperature.
    dvdt_v_per_s : pulse rise rating in V/s, None where not stated.
    diameter_m, height_m : can; a box's length stands in diameter_m.
    """

    technology: Literal["electrolytic", "film", "ceramic"]
    dielectric: str
    capacitance_f: Annotated[float, Bounds(1e-13, 1.0)]
    voltage_v: Annotated[float, Bounds(2, 5000)]
    tolerance: Tolerance
    esr_ohm: Annotated[float, Bounds(2e-4, 100)]
    ripple_a: Annotated[float | None, Bounds(1e-3, 100)] = None
    life_s: Annotated[float | None, Bounds(1e6, 1e9)] = None
    temp_c: Annotated[float, Bounds(70, 200)]
    dvdt_v_per_s: Annotated[float | None, Bounds(1e5, 1e11)] = None
    diameter_m: Annotated[float, Bounds(5e-4, 0.1)]
    height_m: Annotated[float, Bounds(3e-4, 0.2)]

    def summary(self) -> str:
        """One line made from the values."""
        scale, unit = next(
            (s, u)
            for s, u in ((1e-6, "µF"), (1e-9, "nF"), (1e-12, "pF"))
            if self.capacitance_f >= s * 0.999 or u == "pF"
        )
        return f"{self.technology} capacitor {self.capacitance_f / scale:.4g} {unit} {self.voltage_v:g} V"

    def problems(self) -> Iterator[tuple[str, str]]:
        """Yield contradictions between the values."""
        if self.technology == "electrolytic" and (self.ripple_a is None or self.life_s is None):
            yield "ripple_a", "an electrolytic needs its ripple current and its endurance"


@dataclass(frozen=True, kw_only=True, slots=True)
class Ntc(Record):
    """A thermistor with a negative temperature coefficient.

    Attributes
    ----------
    r25_ohm : resistance at 25 °C. b_k : B constant between 25 and 85 °C in K.
    r_tolerance, b_tolerance : relative. dissipation_w_per_k : in still air.
    table : (°C, Ω) rows of the sheet, rising in temperature; empty: the B model serves, 0 to 100 °C.
    """

    r25_ohm: Annotated[float, Bounds(1, 1e7)]
    b_k: Annotated[float, Bounds(1500, 6000)]
    r_tolerance: Tolerance
    b_tolerance: Tolerance
    dissipation_w_per_k: Annotated[float, Bounds(1e-4, 0.1)]
    table: tuple[tuple[float, float], ...] = ()

    def resistance_ohm(self, temp_c: float) -> float:
        """Resistance in Ω at a temperature in °C.

        With a table: ln R interpolated linearly in 1/T between its rows. Without: R25 exp(B(1/T − 1/T25)).

        Raises
        ------
        RangeError : temperature outside the table, or outside 0 to 100 °C without a table.
        """
        low, high = (self.table[0][0], self.table[-1][0]) if self.table else (0.0, 100.0)
        if not low <= temp_c <= high:
            raise RangeError(
                message=f"{self.id}: no resistance data at this temperature.",
                quantity="temperature",
                value=f"{temp_c:.4g} °C",
                limit=f"{low:g} to {high:g} °C",
                source=self.provenance.document,
                remedy="Choose a trip temperature in the range, or a thermistor with a wider table.",
            )
        inverse_k = 1 / (temp_c + _KELVIN)
        if not self.table:
            return self.r25_ohm * math.exp(self.b_k * (inverse_k - 1 / (25 + _KELVIN)))
        for (t1, r1), (t2, r2) in zip(self.table, self.table[1:], strict=False):
            if temp_c <= t2:
                x1, x2 = 1 / (t1 + _KELVIN), 1 / (t2 + _KELVIN)
                return r1 * math.pow(r2 / r1, (inverse_k - x1) / (x2 - x1))
        return self.table[-1][1]

    def temperature_c(self, resistance_ohm: float) -> float:
        """Temperature in °C at a resistance in Ω; the inverse of :meth:`resistance_ohm`.

        Raises
        ------
        RangeError : resistance outside the range that the table or the B model covers.
        """
        low_c, high_c = (self.table[0][0], self.table[-1][0]) if self.table else (0.0, 100.0)
        r_max, r_min = self.resistance_ohm(low_c), self.resistance_ohm(high_c)
        if not r_min <= resistance_ohm <= r_max:
            raise RangeError(
                message=f"{self.id}: no temperature data at this resistance.",
                quantity="resistance",
                value=f"{resistance_ohm:.5g} Ω",
                limit=f"{r_min:.5g} to {r_max:.5g} Ω",
                source=self.provenance.document,
                remedy="Check the network around the thermistor.",
            )
        if not self.table:
            return 1 / (1 / (25 + _KELVIN) + math.log(resistance_ohm / self.r25_ohm) / self.b_k) - _KELVIN
        for (t1, r1), (t2, r2) in zip(self.table, self.table[1:], strict=False):
            if resistance_ohm >= r2:
                x1, x2 = 1 / (t1 + _KELVIN), 1 / (t2 + _KELVIN)
                return 1 / (x1 + (x2 - x1) * math.log(resistance_ohm / r1) / math.log(r2 / r1)) - _KELVIN
        return self.table[-1][0]

    def summary(self) -> str:
        """One line made from the values."""
        return f"NTC thermistor {self.r25_ohm:g} Ω, B {self.b_k:g} K"

    def problems(self) -> Iterator[tuple[str, str]]:
        """Yield contradictions between the values."""
        for (t1, r1), (t2, r2) in zip(self.table, self.table[1:], strict=False):
            if t2 <= t1 or r2 >= r1:
                yield "table", f"row {t2:g} °C: temperature must rise and resistance fall"
                return
        if self.table and self.table[0][0] <= 25 <= self.table[-1][0]:
            implied = self.resistance_ohm(25.0)
            if not math.isclose(implied, self.r25_ohm, rel_tol=0.01):
                yield "r25_ohm", f"{self.r25_ohm:g} Ω, but the table gives {implied:.5g} Ω"


@dataclass(frozen=True, kw_only=True, slots=True)
class Heatsink(Record):
    """A heatsink in still air.

    Attributes
    ----------
    rth_k_per_w : sink to ambient, fins upright, black, at rise_k above ambient.
    rise_k : rise at which rth_k_per_w holds.
    length_m : along the fins. width_m, height_m : across them, and over base and fins.
    mass_kg : mass.
    """

    rth_k_per_w: Annotated[float, Bounds(0.02, 80)]
    rise_k: Annotated[float, Bounds(5, 150)]
    length_m: Annotated[float, Bounds(5e-3, 1)]
    width_m: Annotated[float, Bounds(5e-3, 1)]
    height_m: Annotated[float, Bounds(1e-3, 0.3)]
    mass_kg: Annotated[float, Bounds(5e-4, 30)]

    def summary(self) -> str:
        """One line made from the values."""
        size = " × ".join(f"{x * 1e3:g}" for x in (self.length_m, self.width_m, self.height_m))
        return f"heatsink {size} mm, {self.rth_k_per_w:.3g} K/W"


@dataclass(frozen=True, kw_only=True, slots=True)
class Driver(Record):
    """A loudspeaker driver: Thiele/Small parameters, limits, heat and dimensions.

    Attributes
    ----------
    nominal_diameter_m : trade size. impedance_ohm : nominal impedance.
    fs_hz, re_ohm, qms, qes, qts, vas_m3, sd_m2, bl_tm, mms_kg, cms_m_per_n, rms_kg_per_s : small-signal
        parameters; mms_kg includes the air load.
    le_h : voice-coil inductance at 1 kHz. k_le, n_le : semi-inductance, |Z| = k_le ω**n_le in Ω, or None.
    xmax_m : linear displacement, one way. xdamage_m : displacement that damages, one way.
    power_w : rated noise power. peak_w : short-term limit, None where not stated.
    coil_mass_kg : of the winding. rth_coil_k_per_w, rth_magnet_k_per_w : coil to magnet, magnet to ambient.
    tau_coil_s, tau_magnet_s : the two thermal time constants. coil_max_c : limit of the coil.
    hole_m : cut-out. frame_m : outer diameter. depth_m : behind the panel.
    displacement_m3 : volume it takes from the box. mass_kg : whole driver.
    """

    nominal_diameter_m: Annotated[float, Bounds(0.05, 0.7)]
    impedance_ohm: Annotated[float, Bounds(0.5, 32)]
    fs_hz: Annotated[float, Bounds(8, 300)]
    re_ohm: Annotated[float, Bounds(0.2, 32)]
    qms: Annotated[float, Bounds(0.5, 30)]
    qes: Annotated[float, Bounds(0.1, 5)]
    qts: Annotated[float, Bounds(0.1, 5)]
    vas_m3: Annotated[float, Bounds(1e-4, 2)]
    sd_m2: Annotated[float, Bounds(1e-3, 0.3)]
    bl_tm: Annotated[float, Bounds(0.5, 60)]
    mms_kg: Annotated[float, Bounds(1e-3, 1)]
    cms_m_per_n: Annotated[float, Bounds(1e-5, 1e-2)]
    rms_kg_per_s: Annotated[float, Bounds(0.1, 50)]
    le_h: Annotated[float, Bounds(1e-5, 0.02)]
    k_le: Positive | None = None
    n_le: Annotated[float | None, Bounds(0.3, 1)] = None
    xmax_m: Annotated[float, Bounds(5e-4, 0.06)]
    xdamage_m: Annotated[float | None, Bounds(1e-3, 0.1)] = None
    power_w: Annotated[float, Bounds(5, 5000)]
    peak_w: Annotated[float | None, Bounds(10, 20_000)] = None
    coil_mass_kg: Annotated[float | None, Bounds(5e-4, 0.5)] = None
    rth_coil_k_per_w: Annotated[float | None, Bounds(0.1, 10)] = None
    rth_magnet_k_per_w: Annotated[float | None, Bounds(0.05, 10)] = None
    tau_coil_s: Annotated[float | None, Bounds(0.5, 200)] = None
    tau_magnet_s: Annotated[float | None, Bounds(60, 20_000)] = None
    coil_max_c: Annotated[float | None, Bounds(100, 350)] = None
    hole_m: Annotated[float | None, Bounds(0.04, 0.7)] = None
    frame_m: Annotated[float | None, Bounds(0.04, 0.8)] = None
    depth_m: Annotated[float | None, Bounds(0.02, 0.5)] = None
    displacement_m3: Annotated[float | None, Bounds(1e-5, 0.05)] = None
    mass_kg: Annotated[float | None, Bounds(0.1, 60)] = None

    def summary(self) -> str:
        """One line made from the values."""
        inches = self.nominal_diameter_m / 0.0254
        return f"{inches:.0f} in driver, {self.impedance_ohm:g} Ω, {self.power_w:g} W"

    def problems(self) -> Iterator[tuple[str, str]]:
        """Yield contradictions that no measuring spread explains; small ones are the design's to report."""
        if (self.k_le is None) != (self.n_le is None):
            yield "k_le", "give both semi-inductance values or neither"
        if self.xdamage_m is not None and self.xdamage_m <= self.xmax_m:
            yield "xdamage_m", "not above the linear displacement"
        if self.hole_m is not None and self.frame_m is not None and not self.hole_m < self.frame_m:
            yield "hole_m", "not below the frame's diameter"
        if self.qts >= min(self.qms, self.qes):
            yield "qts", "not below both Qms and Qes"
