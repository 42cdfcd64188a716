"""Cores and wires of the library as columns of numbers, with everything that depends on the need alone."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from subwright.base.errors import NoSolutionError, RangeError
from subwright.base.units import show
from subwright.parts.library import Library
from subwright.parts.schema import Core, Material, SteinmetzFit, Wire
from subwright.physics.core_loss import igse_coefficient, igse_trapezoid, loss_factor, temperature_factor
from subwright.physics.foil import foil_factors
from subwright.physics.magnetics import HOTTEST_CORE_C, saturation_flux
from subwright.physics.winding_loss import (
    copper_resistivity,
    push_pull_harmonics,
    round_wire_factors,
)
from subwright.stages.common import Corner
from subwright.stages.transformer_records import AuxiliaryNeed, TransformerNeed, TransformerSpec

__all__ = [
    "AUXILIARY_RMS",
    "BOBBIN_FILL_LIMIT",
    "DENSITY_LIMIT_A_PER_M2",
    "FLUX_DERATING",
    "HOLE_SHARE",
    "RING_FILL_LIMIT",
    "UNMARKED",
    "CoreTable",
    "WireTable",
    "core_loss_w",
    "core_table",
    "heating_voltage",
    "hottest_c",
    "lost_pulse_factor",
    "mean_square",
    "nominal_voltage",
    "wire_table",
]

Floats = NDArray[np.float64]

RING_FILL_LIMIT: Final = 0.30  # copper over window, toroids 0.2 to 0.3 (McLyman, handbook, ch. 4)
BOBBIN_FILL_LIMIT: Final = 0.40  # McLyman, AN109
DENSITY_LIMIT_A_PER_M2: Final = 1.0 / (500 * 5.067e-10)  # 500 circular mils per ampere (Pressman)
FLUX_DERATING: Final = 0.9  # of the hot saturation flux density, after a lost pulse; own allowance
HOLE_SHARE: Final = 0.25  # of a ring's hole diameter that stays open for the last pass; common practice
UNMARKED: Final = "unmarked"  # id of the library's material for a core without a maker's name
_STACKS_TRIED: Final = (1, 2)
_THINNEST_M: Final = 0.25e-3  # enamelled wire that hands wind without breaking it; common practice
AUXILIARY_RMS: Final = 2.0  # rms over mean current of a small peak-charged rectifier; common practice
_AUXILIARY_DENSITY: Final = 3e6  # A/m²; common practice


@dataclass(frozen=True, kw_only=True, slots=True)
class CoreTable:
    """One row per core and stack; SI columns of one length."""

    cores: tuple[Core, ...]
    materials: tuple[Material, ...]
    fits: tuple[SteinmetzFit, ...]
    stack: NDArray[np.int64]
    alike: NDArray[np.int64]  # first row of the same geometry, whatever its grade
    ring: NDArray[np.bool_]
    drawer: NDArray[np.bool_]
    area_m2: Floats
    area_min_m2: Floats
    volume_m3: Floats
    hole_m: Floats  # rings: over the coating; bobbins 1 (unused)
    outer_m: Floats
    height_m: Floats
    width_m: Floats  # bobbins: margins taken off; rings 1 (unused)
    window_height_m: Floats
    turn_m: Floats
    surface_m2: Floats  # bobbins
    rth_k_per_w: Floats  # maker's; NaN where unknown
    window_m2: Floats
    fill_limit: Floats
    build_limit_m: Floats
    k_i: Floats
    alpha: Floats
    beta: Floats
    ct: tuple[Floats, Floats, Floats]  # core loss over temperature, three coefficients of each row
    beta_per_k: Floats  # rise of the exponent of B with temperature
    ends_c: tuple[float, float]  # coolest and hottest core: the loss is worst at one of them
    saturation_t: Floats
    flux_limit_t: Floats
    interfaces: Floats
    twisted: NDArray[np.bool_]
    auxiliary: tuple[AuxiliaryNeed, WireTable] | None = None  # the small winding, and its one wire


@dataclass(frozen=True, kw_only=True, slots=True)
class WireTable:
    """One row per wire; SI columns of one length."""

    wires: tuple[Wire, ...]
    drawer: NDArray[np.bool_]
    conductor_m: Floats
    overall_m: Floats
    copper_m2: Floats
    strands: Floats
    foil: NDArray[np.bool_]
    width_m: Floats  # of foil; infinite for wire
    eddy_w_per_m: Floats  # per metre of strand in a field of 1 A/m rms of the need's waveform
    skin: Floats  # resistance factor of its own current


def hottest_c(spec: TransformerSpec, need: TransformerNeed) -> float:
    """Hottest winding temperature that the spec permits, °C.

    Raises
    ------
    RangeError : nobody says what a ferrite carries that hot.
    """
    hot = need.ambient_c + spec.max_rise_k
    if hot > HOTTEST_CORE_C:
        raise RangeError(
            message="The transformer would be allowed a temperature at which no ferrite's data hold.",
            quantity="core temperature, hottest air and transformer.max_rise",
            value=show(hot, "temperature"),
            limit=show(HOTTEST_CORE_C, "temperature"),
            source="derived",
            remedy=f'Set transformer.max_rise = "{math.floor(HOTTEST_CORE_C - need.ambient_c)} K" or '
            "less, or lower supply.ambient_max.",
        )
    return hot


def mean_square(spec: TransformerSpec, need: TransformerNeed) -> float:
    """Mean square of the heating current over that of the full sine."""
    return need.programme_mean_square if spec.rise_basis == "programme" else 1.0


def nominal_voltage(need: TransformerNeed) -> float:
    """Voltage across a half-primary at the nominal battery, V; the highest one where it isn't given."""
    return need.corner_v.get(Corner.NOMINAL, need.v_primary_max_v)


def heating_voltage(need: TransformerNeed) -> float:
    """Voltage at which the core heats for hours: the higher of nominal and charging, V."""
    known = [need.corner_v[c] for c in (Corner.NOMINAL, Corner.CHARGING) if c in need.corner_v]
    return max(known, default=need.v_primary_max_v)


def lost_pulse_factor(need: TransformerNeed) -> float:
    """Peak flux after one lost pulse over the undisturbed peak."""
    return 3.0 if need.rectifier_filter == "choke" else 2.0


def core_loss_w(
    table: CoreTable,
    rows: NDArray[np.int64],
    flux_peak_t: Floats,
    need: TransformerNeed,
    core_c: float | None = None,
) -> Floats:
    """Core loss of table rows at a peak flux density, W; all arrays of shapes that broadcast.

    ``core_c`` is the core's temperature, °C; None takes the worse of ambient and the hottest permitted.
    """
    density = igse_trapezoid(
        need.switching_hz, flux_peak_t, need.duty, table.k_i[rows], table.alpha[rows], table.beta[rows]
    )
    factors = [
        _loss_factor(table, rows, flux_peak_t, at) for at in (table.ends_c if core_c is None else (core_c,))
    ]
    worst = factors[0] if len(factors) == 1 else np.maximum(*factors)
    return np.asarray(density * table.volume_m3[rows] * worst)


def _loss_factor(table: CoreTable, rows: NDArray[np.int64], flux_t: Floats, core_c: float) -> Floats:
    """Core loss at a temperature over that at 100 °C."""
    ct0, ct1, ct2 = (values[rows] for values in table.ct)
    moving = table.beta_per_k[rows]
    if not np.any(moving):
        return np.asarray(temperature_factor(core_c, ct0, ct1, ct2))
    return np.asarray(loss_factor(core_c, np.maximum(flux_t, 1e-6), ct0, ct1, ct2, moving))


def _candidate_cores(spec: TransformerSpec, library: Library, own_only: bool) -> list[tuple[Core, int]]:
    cores = list(library.cores.values()) if spec.core == "auto" else [library.core(spec.core)]
    if own_only:
        cores = [core for core in cores if library.in_drawer(core.id)]
    rows: list[tuple[Core, int]] = []
    for core in cores:
        stacks = _stacks_at_hand(core, library) if spec.stack is None else (spec.stack,)
        rows += [(core, stack) for stack in stacks if _stackable(core, stack, asked=spec.stack is not None)]
    if not rows:
        raise NoSolutionError(
            message="Only rings and E cores with a rectangular leg can be stacked.",
            quantity="stack",
            value=str(spec.stack),
            limit="1",
            remedy="Leave transformer.stack out, or choose a ring or an E core.",
        )
    return rows


def _stacks_at_hand(core: Core, library: Library) -> tuple[int, ...]:
    """Stacks to try unasked: of a core without a maker's name no more than lie in the drawer."""
    if core.material != UNMARKED:
        return _STACKS_TRIED
    return tuple(stack for stack in _STACKS_TRIED if stack <= max(library.in_drawer(core.id), 1))


def _stackable(core: Core, stack: int, *, asked: bool) -> bool:
    """Rings always; E sets side by side when asked for, because the coil former must be made by hand."""
    if stack == 1 or core.shape == "ring":
        return True
    return asked and core.shape == "e" and core.depth_m is not None


def _with_fits(
    rows: list[tuple[Core, int]], spec: TransformerSpec, need: TransformerNeed, library: Library
) -> list[tuple[Core, int, Material, SteinmetzFit]]:
    """Keep the rows whose grade is fit for power and has loss data at this frequency."""
    kept: list[tuple[Core, int, Material, SteinmetzFit]] = []
    refusal: RangeError | None = None
    for core, stack in rows:
        material = library.material(core.material if spec.material == "auto" else spec.material)
        try:
            fit = material.fit_at(need.switching_hz)
        except RangeError as error:
            refusal = error
            continue
        if material.transformer_grade:
            kept.append((core, stack, material, fit))
    if kept:
        return kept
    if refusal is not None:
        raise refusal
    raise NoSolutionError(
        message="None of these cores is of a power-ferrite grade.",
        quantity="core",
        value=spec.core,
        remedy="Choose a core of a power-ferrite grade, or name its true grade in transformer.material.",
    )


def _first_alike(cores: list[Core], stack: NDArray[np.int64]) -> NDArray[np.int64]:
    """For every row the first one in which wire lies the same way."""
    seen: dict[tuple[object, ...], int] = {}
    keys = (
        (
            c.shape,
            c.outer_m,
            c.inner_m,
            c.height_m,
            c.coating_m,
            c.winding_width_m,
            c.winding_height_m,
            c.mean_turn_m,
            c.window_area_m2,
            int(s),
        )
        for c, s in zip(cores, stack, strict=True)
    )
    return np.array([seen.setdefault(key, i) for i, key in enumerate(keys)], dtype=np.int64)


def _saturation(core: Core, material: Material, hot_c: float) -> float:
    """Saturation flux density of the grade, or of this core where it was checked or only identified, T."""
    line = saturation_flux(hot_c, material.bsat_25_t, material.bsat_100_t)
    if core.saturation_t is None:
        return float(line)
    # the core's own value is that at 100 °C; the grade's line carries it to this temperature
    return float(min(line, core.saturation_t * line / material.bsat_100_t))


def core_table(
    spec: TransformerSpec, need: TransformerNeed, library: Library, *, own_only: bool = False
) -> CoreTable:
    """Columns of every core and stack that the spec allows; with ``own_only`` those in the drawer.

    Raises
    ------
    PartNotFoundError : the spec names an unknown core or material.
    RangeError : no grade has loss data at this frequency, or the temperature is out of range.
    NoSolutionError : no core is of a power grade, or a stack is asked of a bobbin.
    """
    rows = _with_fits(_candidate_cores(spec, library, own_only), spec, need, library)
    hot = hottest_c(spec, need)
    ring = np.array([c.shape == "ring" for c, _, _, _ in rows])
    stack = np.array([s for _, s, _, _ in rows])
    coating = np.array([c.coating_m for c, _, _, _ in rows])

    def column(name: str) -> Floats:
        return np.array([getattr(c, name) for c, _, _, _ in rows], dtype=float)

    def material_column(name: str) -> Floats:
        return np.array([getattr(m, name) for _, _, m, _ in rows], dtype=float)

    saturation = np.array([_saturation(c, m, hot) for c, _, m, _ in rows])
    deeper = np.where(ring, 0.0, column("depth_m") * (stack - 1.0))  # E sets side by side
    deeper = np.where(stack == 1, 0.0, deeper)
    flux_limit = FLUX_DERATING * saturation / lost_pulse_factor(need)
    if spec.flux_limit_t is not None:
        flux_limit = np.full(len(rows), spec.flux_limit_t)
    hole = column("inner_m") - 2.0 * coating
    window_height = column("winding_height_m")
    fill_limit = np.where(ring, RING_FILL_LIMIT, BOBBIN_FILL_LIMIT)
    if spec.fill_limit is not None:
        fill_limit = np.full(len(rows), spec.fill_limit)
    width = column("winding_width_m") - 2.0 * spec.margin_m
    if np.any(width <= 0):
        raise RangeError(
            message="The flange margins leave no winding width.",
            quantity="margin",
            value=show(spec.margin_m, "length"),
            limit=show(float(np.min(column("winding_width_m"))) / 2.0, "length"),
            remedy="Make transformer.margin smaller.",
        )
    sandwich = np.where(ring, spec.interleave == "sandwich", spec.interleave != "plain")
    return CoreTable(
        cores=tuple(c for c, _, _, _ in rows),
        materials=tuple(m for _, _, m, _ in rows),
        fits=tuple(f for _, _, _, f in rows),
        stack=stack,
        alike=_first_alike([c for c, _, _, _ in rows], stack),
        ring=ring,
        drawer=np.array([library.in_drawer(c.id) >= s for c, s, _, _ in rows]),
        area_m2=column("a_e_m2") * stack,
        area_min_m2=np.minimum(column("a_min_m2"), column("a_e_m2")) * stack,
        volume_m3=column("v_e_m3") * stack,
        hole_m=np.where(ring, hole, 1.0),
        outer_m=column("outer_m") + 2.0 * coating,
        height_m=(column("height_m") + 2.0 * coating) * stack,
        width_m=np.where(ring, 1.0, width),
        window_height_m=window_height,
        turn_m=column("mean_turn_m") + 2.0 * deeper,
        surface_m2=column("surface_m2") + 2.0 * deeper * (column("outer_m") + column("height_m")),
        rth_k_per_w=np.where(stack == 1, column("rth_k_per_w"), np.nan),
        window_m2=np.where(ring, math.pi / 4.0 * hole**2, column("window_area_m2")),
        fill_limit=fill_limit,
        build_limit_m=np.where(ring, hole * (1.0 - HOLE_SHARE) / 2.0, window_height),
        k_i=np.array([igse_coefficient(f.k, f.alpha, f.beta) * c.loss_factor for c, _, _, f in rows]),
        alpha=np.array([f.alpha for _, _, _, f in rows]),
        beta=np.array([f.beta for _, _, _, f in rows]),
        ct=(material_column("ct0"), material_column("ct1"), material_column("ct2")),
        beta_per_k=material_column("beta_per_k"),
        ends_c=(need.ambient_c, hot),
        saturation_t=saturation,
        flux_limit_t=flux_limit,
        interfaces=np.where(sandwich, 2.0, 1.0),
        twisted=ring if spec.lay == "auto" else np.full(len(rows), spec.lay == "twisted"),
        auxiliary=_auxiliary(need, hot, library),
    )


def _auxiliary(
    need: TransformerNeed, hot_c: float, library: Library
) -> tuple[AuxiliaryNeed, WireTable] | None:
    """The auxiliary winding's need and wire: one that hands can wind, from the drawer where one is there."""
    small = need.auxiliary
    if small is None:
        return None
    area = AUXILIARY_RMS * small.current_a / _AUXILIARY_DENSITY
    fit = [
        w
        for w in library.wires.values()
        if w.kind == "enamelled" and w.conductor_m >= _THINNEST_M and w.area_m2 >= area
    ]
    if not fit:
        raise NoSolutionError(
            message="No enamelled wire for the auxiliary winding.",
            quantity="copper section",
            value=f"{area * 1e6:.3f} mm²",
            limit="the thickest enamelled wire at hand",
            source="parts library and drawer",
            remedy="Add a thicker wire to the drawer, or lower converter.auxiliary_current.",
        )
    wire = min(fit, key=lambda w: (library.in_drawer(w.id) == 0, w.area_m2, w.id))
    return small, wire_table(wire.id, need, hot_c, library)


@lru_cache(maxsize=64)
def _wire_losses(
    conductors: bytes,
    widths: bytes,
    switching_hz: float,
    share: float,
    edge_share: float,
    resistivity_ohm_m: float,
) -> tuple[Floats, Floats]:
    """Skin factor, and eddy loss per metre in 1 A/m rms, of wires and foils under the push-pull pulses.

    The pulses of one half also hold direct current and even harmonics; taking the skin factor of the odd ones
    for all of it errs a little to the safe side.
    """
    amplitude = push_pull_harmonics(share, edge_share)
    frequency = switching_hz * (2.0 * np.arange(amplitude.size, dtype=np.float64) + 1.0)
    weight = np.square(amplitude)
    size, width = np.frombuffer(conductors)[:, None], np.frombuffer(widths)[:, None]
    foil = np.isfinite(width[:, 0])
    skin, eddy = np.empty((2, size.shape[0], frequency.size))
    skin[~foil], eddy[~foil] = round_wire_factors(size[~foil], frequency, resistivity_ohm_m)
    if np.any(foil):
        skin[foil], eddy[foil] = foil_factors(size[foil], width[foil], frequency, resistivity_ohm_m)
    # peak values of the harmonics; half the sum of their squares is the mean square of the whole
    return np.asarray(skin @ weight / np.sum(weight)), np.asarray(eddy @ weight * 2.0 / np.sum(weight))


def _usual_wires(library: Library) -> list[Wire]:
    """Wires that are tried unasked: all enamelled ones, litz and foil that are in the drawer."""
    return [
        w
        for w in library.wires.values()
        if w.kind == "enamelled" or (w.kind in ("litz", "foil") and library.in_drawer(w.id) > 0)
    ]


def wire_table(wire_id: str, need: TransformerNeed, copper_c: float, library: Library) -> WireTable:
    """Columns of every wire that a winding may be made of, with its eddy loss at ``copper_c`` °C.

    On "auto" that is all enamelled wire, and litz and foil that are in the drawer: nobody has to buy them
    unasked.

    Raises
    ------
    PartNotFoundError : ``wire_id`` is unknown.
    NoSolutionError : the wire is no winding wire, or there is none.
    """
    wires = [library.wire(wire_id)] if wire_id != "auto" else _usual_wires(library)
    if not wires or any(w.kind not in ("enamelled", "litz", "foil") for w in wires):
        raise NoSolutionError(
            message="Windings are wound of enamelled round wire, litz or foil.",
            quantity="wire",
            value=wires[0].kind if wires else "none in the library",
            remedy="Choose an enamelled wire, a litz wire or a foil.",
        )
    conductor = np.array([w.conductor_m for w in wires])
    width = np.array([math.inf if w.width_m is None or w.kind != "foil" else w.width_m for w in wires])
    skin, eddy = _wire_losses(
        conductor.tobytes(),
        width.tobytes(),
        need.switching_hz,
        need.duty,
        need.edge_s * need.switching_hz,
        float(copper_resistivity(copper_c)),
    )
    return WireTable(
        wires=tuple(wires),
        drawer=np.array([library.in_drawer(w.id) > 0 for w in wires]),
        conductor_m=conductor,
        overall_m=np.array([w.overall_m for w in wires]),
        copper_m2=np.array([w.area_m2 for w in wires]),
        strands=np.array([w.strands for w in wires], dtype=float),
        foil=np.isfinite(width),
        width_m=width,
        eddy_w_per_m=eddy,
        skin=skin,
    )
