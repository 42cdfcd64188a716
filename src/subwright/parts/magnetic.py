"""Records of magnetic materials, cores and winding wire."""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Literal

from subwright.base.errors import RangeError
from subwright.parts.record import Bounds, Positive, Record, Tolerance

__all__ = ["Core", "Material", "MaterialFamily", "SteinmetzFit", "Wire"]

_RHO_COPPER_20_OHM_M = 1.7241e-8  # IEC 60028

MaterialFamily = Literal["power ferrite", "high permeability", "iron powder"]


@dataclass(frozen=True, kw_only=True, slots=True)
class SteinmetzFit:
    """Power-law core loss ``p = k f**alpha B**beta`` in W/m³ at 100 °C, sine flux of peak B.

    Attributes
    ----------
    f_low_hz, f_high_hz : range of the fit.
    k : coefficient for f in Hz and B in T.
    alpha, beta : exponents of frequency and flux density.
    """

    f_low_hz: Annotated[float, Bounds(1e3, 1e7)]
    f_high_hz: Annotated[float, Bounds(1e3, 1e7)]
    k: Positive
    alpha: Annotated[float, Bounds(0.9, 3.0)]
    beta: Annotated[float, Bounds(1.5, 3.5)]


@dataclass(frozen=True, kw_only=True, slots=True)
class Material(Record):
    """A core material.

    Attributes
    ----------
    family : only "power ferrite" is fit for a converter's transformer; the others are here so that an
        unmarked core can be recognised as one of them and refused.
    mu_i : initial permeability, 25 °C.
    mu_i_tolerance : relative.
    bsat_25_t, bsat_100_t : saturation flux density in T at 25 and 100 °C.
    curie_c : Curie temperature in °C (for iron powder: the binder's limit).
    resistivity_ohm_m : in Ω·m.
    density_kg_per_m3 : in kg/m³.
    steinmetz : fits, ordered by frequency; empty where no loss data are given.
    ct0, ct1, ct2 : loss factor ``ct0 - ct1 T + ct2 T**2``, T in °C, equal to 1 at 100 °C.
    beta_per_k : rise of the exponent of B per kelvin, about 100 °C; the loss factor then holds at 200 mT.
    bias_half_a_per_m : steady field at which half of the permeability is left, A/m; None for ferrites, which
        carry direct current in an air gap only.
    """

    family: MaterialFamily
    mu_i: Annotated[float, Bounds(4, 30_000)]
    mu_i_tolerance: Tolerance
    bsat_25_t: Annotated[float, Bounds(0.2, 2.5)]
    bsat_100_t: Annotated[float, Bounds(0.1, 2.5)]
    curie_c: Annotated[float, Bounds(60, 800)]
    resistivity_ohm_m: Positive
    density_kg_per_m3: Annotated[float, Bounds(3000, 8000)]
    steinmetz: tuple[SteinmetzFit, ...] = ()
    ct0: float = 1.0
    ct1: float = 0.0
    ct2: float = 0.0
    beta_per_k: Annotated[float, Bounds(0.0, 0.02)] = 0.0
    bias_half_a_per_m: Annotated[float | None, Bounds(100.0, 1e6)] = None

    @property
    def transformer_grade(self) -> bool:
        """Whether the material is fit for a converter's transformer."""
        return self.family == "power ferrite" and bool(self.steinmetz)

    def covers(self, frequency_hz: float) -> bool:
        """Whether a loss fit of this material covers the frequency in Hz."""
        return any(fit.f_low_hz <= frequency_hz <= fit.f_high_hz for fit in self.steinmetz)

    def fit_at(self, frequency_hz: float) -> SteinmetzFit:
        """Steinmetz fit that covers the frequency in Hz.

        Raises
        ------
        RangeError : no fit of this material covers the frequency.
        """
        for fit in self.steinmetz:
            if fit.f_low_hz <= frequency_hz <= fit.f_high_hz:
                return fit
        if not self.steinmetz:
            raise RangeError(
                message=f"{self.id} has no core-loss data, so it can't be used as a transformer core.",
                quantity="frequency",
                value=f"{frequency_hz / 1e3:.4g} kHz",
                source=self.provenance.document,
                remedy="Choose a core of a power-ferrite grade.",
            )
        low, high = self.steinmetz[0].f_low_hz, self.steinmetz[-1].f_high_hz
        raise RangeError(
            message=f"The core-loss data of {self.id} don't reach this frequency.",
            quantity="frequency",
            value=f"{frequency_hz / 1e3:.4g} kHz",
            limit=f"{low / 1e3:.4g} to {high / 1e3:.4g} kHz",
            source=self.provenance.document,
            remedy="Change the switching frequency, or choose another grade.",
        )

    def summary(self) -> str:
        """One line made from the values."""
        return f"{self.family} {self.id}, μi {self.mu_i:.0f}"

    def problems(self) -> Iterator[tuple[str, str]]:
        """Yield contradictions between the values."""
        if self.bsat_100_t > self.bsat_25_t:
            yield "bsat_100_t", f"{self.bsat_100_t} T at 100 °C is above {self.bsat_25_t} T at 25 °C"
        factor = self.ct0 - 100 * self.ct1 + 1e4 * self.ct2
        if not math.isclose(factor, 1.0, rel_tol=2e-3):
            yield "ct0", f"temperature factor is {factor:.4g} at 100 °C, must be 1"
        for lower, upper in zip(self.steinmetz, self.steinmetz[1:], strict=False):
            if upper.f_low_hz > lower.f_high_hz:
                yield "steinmetz", f"fits leave a gap from {lower.f_high_hz:g} to {upper.f_low_hz:g} Hz"


@dataclass(frozen=True, kw_only=True, slots=True)
class Core(Record):
    """One core (a ring) or core set (a pair of E or ETD halves), ungapped.

    Attributes
    ----------
    shape : "ring", "etd" (round centre leg) or "e" (rectangular legs).
    material : id of the material.
    outer_m, inner_m, height_m : ring: uncoated outer and inner diameter and height. E and ETD: overall
        width, outer width of the window, total height of the pair.
    coating_m : thickness of the coating on each face (rings), 0 where bare.
    a_e_m2, l_e_m, v_e_m3, c1_per_m : effective area, length, volume and Σ(l/A), IEC 60205. Rings: worked
        out from the dimensions. E and ETD: the catalogue's.
    a_min_m2 : smallest section in the path.
    al_h : catalogue inductance factor in H per turn squared, None where unknown.
    al_tolerance : relative.
    window_area_m2 : ring: area of the coated hole. E and ETD: winding area of the coil former.
    winding_width_m, winding_height_m : ring: inner circumference and inner radius of the coated core;
        E and ETD: width and height of the coil former's winding space.
    mean_turn_m : ring: perimeter of the coated section (a turn laid straight on the core); E and ETD:
        mean turn of the coil former.
    surface_m2 : surface that cools. Ring: outer cylinder and both ends of the coated core; the wound hole is
        not counted. E and ETD: core set with a full coil former.
    mass_kg : of the ring or the pair.
    rth_k_per_w : maker's thermal resistance of the wound set in free air, None where unknown.
    depth_m, window_m, leg_m : E and ETD: core thickness, window height of the pair, centre leg's width or
        diameter; None for rings.
    catalogue_l_e_m, catalogue_a_e_m2, catalogue_v_e_m3 : the catalogue's values, kept to compare with.
    saturation_t : flux density at 100 °C to reckon with as saturation where this core was checked on the
        bench, or is only identified; None takes the grade's.
    checked_flux_t : flux density up to which a bench pulse ran straight, None where nobody has looked.
    loss_factor : loss measured on this core over that of its grade, 1 where not measured.
    """

    shape: Literal["ring", "etd", "e"]
    material: str
    outer_m: Annotated[float, Bounds(2e-3, 0.3)]
    inner_m: Annotated[float, Bounds(1e-3, 0.25)]
    height_m: Annotated[float, Bounds(1e-3, 0.2)]
    coating_m: Annotated[float, Bounds(0.0, 2e-3)] = 0.0
    a_e_m2: Annotated[float, Bounds(1e-6, 5e-3)]
    a_min_m2: Annotated[float, Bounds(1e-6, 5e-3)]
    l_e_m: Annotated[float, Bounds(5e-3, 1.0)]
    v_e_m3: Annotated[float, Bounds(1e-9, 5e-3)]
    c1_per_m: Annotated[float, Bounds(20, 2e4)]
    al_h: Annotated[float | None, Bounds(1e-9, 1e-4)] = None
    al_tolerance: Tolerance = 0.25
    window_area_m2: Annotated[float, Bounds(1e-7, 0.05)]
    winding_width_m: Annotated[float, Bounds(1e-3, 1.0)]
    winding_height_m: Annotated[float, Bounds(5e-4, 0.2)]
    mean_turn_m: Annotated[float, Bounds(4e-3, 1.0)]
    surface_m2: Annotated[float, Bounds(1e-5, 0.2)]
    mass_kg: Annotated[float, Bounds(1e-4, 5.0)]
    rth_k_per_w: Annotated[float | None, Bounds(0.5, 200)] = None
    depth_m: Annotated[float | None, Bounds(1e-3, 0.2)] = None
    window_m: Annotated[float | None, Bounds(1e-3, 0.2)] = None
    leg_m: Annotated[float | None, Bounds(1e-3, 0.1)] = None
    catalogue_l_e_m: Annotated[float | None, Bounds(5e-3, 1.0)] = None
    catalogue_a_e_m2: Annotated[float | None, Bounds(1e-6, 5e-3)] = None
    catalogue_v_e_m3: Annotated[float | None, Bounds(1e-9, 5e-3)] = None
    saturation_t: Annotated[float | None, Bounds(0.05, 2.5)] = None
    checked_flux_t: Annotated[float | None, Bounds(0.05, 2.5)] = None
    loss_factor: Annotated[float, Bounds(0.1, 10.0)] = 1.0

    @property
    def only_identified(self) -> bool:
        """Whether the core's grade is a guess from measurements and no pulse has shown where it saturates."""
        return self.provenance.kind == "measured" and self.checked_flux_t is None

    def summary(self) -> str:
        """One line made from the values."""
        kind = {"ring": "ring core", "etd": "ETD core pair", "e": "E core pair"}[self.shape]
        return f"{kind}, {self.material}, A_e {self.a_e_m2 * 1e6:.1f} mm²"

    def problems(self) -> Iterator[tuple[str, str]]:
        """Yield contradictions between the values."""
        if self.inner_m >= self.outer_m:
            yield "inner_m", f"{self.inner_m * 1e3:g} mm is not below the outer {self.outer_m * 1e3:g} mm"
        if not math.isclose(self.v_e_m3, self.a_e_m2 * self.l_e_m, rel_tol=0.015):
            yield "v_e_m3", f"differs from A_e·l_e = {self.a_e_m2 * self.l_e_m:.4g} m³ by more than 1.5 %"
        if self.a_min_m2 > self.a_e_m2 * 1.05:
            yield "a_min_m2", "smallest section is above the effective section"


@dataclass(frozen=True, kw_only=True, slots=True)
class Wire(Record):
    """Winding or hook-up wire, or foil.

    Attributes
    ----------
    kind : construction.
    conductor_m : diameter of the bare conductor; litz: of one strand; foil: thickness.
    overall_m : diameter over the insulation (largest); litz: of the bundle; foil: with interleaving.
    area_m2 : copper section, all strands.
    strands : number of strands, 1 for solid wire and foil.
    width_m : width of foil, None for round wire.
    temp_c : temperature index of the insulation in °C.
    """

    kind: Literal["enamelled", "litz", "foil", "hook-up"]
    conductor_m: Annotated[float, Bounds(2e-5, 0.02)]
    overall_m: Annotated[float, Bounds(3e-5, 0.03)]
    area_m2: Annotated[float, Bounds(3e-10, 2e-4)]
    strands: Annotated[int, Bounds(1, 20_000)] = 1
    width_m: Annotated[float | None, Bounds(1e-3, 0.2)] = None
    temp_c: Annotated[float, Bounds(60, 240)] = 155.0

    def resistance_ohm_per_m(self) -> float:
        """DC resistance of one metre at 20 °C in Ω/m, annealed copper (IEC 60028)."""
        return _RHO_COPPER_20_OHM_M / self.area_m2

    def summary(self) -> str:
        """One line made from the values."""
        d = self.conductor_m * 1e3
        if self.kind == "foil":
            return f"copper foil {d:g} mm × {(self.width_m or 0) * 1e3:g} mm"
        if self.kind == "litz":
            return f"litz wire {self.strands} × {d:g} mm"
        return f"{self.kind} copper wire {d:g} mm, {self.overall_m * 1e3:.3g} mm overall"

    def problems(self) -> Iterator[tuple[str, str]]:
        """Yield contradictions between the values."""
        if self.overall_m < self.conductor_m:
            yield "overall_m", "smaller than the conductor"
        if self.kind == "foil":
            if self.width_m is None:
                yield "width_m", "foil needs its width"
                return
            area = self.conductor_m * self.width_m
        else:
            area = self.strands * math.pi / 4 * self.conductor_m**2
        # hook-up wire is named by its nominal section, which the strands meet only roughly
        if self.kind != "hook-up" and not math.isclose(area, self.area_m2, rel_tol=0.01):
            yield "area_m2", f"{self.area_m2 * 1e6:.4g} mm² but the dimensions give {area * 1e6:.4g} mm²"
