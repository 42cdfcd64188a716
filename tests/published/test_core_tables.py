"""Core geometry, inductance factor and loss against printed catalogue rows.

Each check names its source; where a row is from memory of that source the comment says so.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from subwright.base.errors import RangeError
from subwright.parts.library import load_library
from subwright.parts.schema import Core, Material
from subwright.physics.cores import al_from_permeability, e_pair, etd_pair, permeability_from_al, ring

LIBRARY = load_library()
MM, MM2, MM3 = 1e-3, 1e-6, 1e-9


# outer, inner, height mm; C1 1/mm; l_e mm; A_e mm2; V_e mm3; (mu_i, A_L nH) pairs
RING_ROWS = [
    # Philips Components, ring-core product specification, December 1999, TN9/6/3 (read)
    (9.0, 6.0, 3.0, 5.17, 22.9, 4.44, 102, ((2300, 560), (1800, 440), (700, 170), (5500, 1340))),
    # EPCOS/TDK data book, R25.3/14.8/10 (from memory)
    (25.3, 14.8, 10.0, 1.172, 60.07, 51.26, 3079, ((2200, 2360),)),
    # Ferroxcube data handbook, TN25/15/10 (from memory)
    (25.0, 15.0, 10.0, 1.230, 60.2, 48.9, 2944, ((2300, 2350),)),
    # EPCOS/TDK and Ferroxcube, R36/23/15 (from memory)
    (36.0, 23.0, 15.0, 0.935, 89.65, 95.89, 8597, ((2200, 2960), (2300, 3090))),
    # EPCOS/TDK, R40/24/16 (from memory)
    (40.0, 24.0, 16.0, 0.769, 96.29, 125.3, 12070, ((2200, 3600),)),
]


@pytest.mark.parametrize("row", RING_ROWS, ids=lambda r: f"R{r[0]}/{r[1]}/{r[2]}")
def test_ring_formula_reproduces_catalogue(row: tuple[float, ...]) -> None:
    outer, inner, height, c1, l_e, a_e, v_e, al_rows = row
    core = ring(outer * MM, inner * MM, height * MM)
    assert core.c1_per_m * MM == pytest.approx(c1, rel=5e-3)
    assert core.l_e_m / MM == pytest.approx(l_e, rel=5e-3)
    assert core.a_e_m2 / MM2 == pytest.approx(a_e, rel=5e-3)
    assert core.v_e_m3 / MM3 == pytest.approx(v_e, rel=5e-3)
    for mu_i, al_nh in al_rows:  # type: ignore[attr-defined]
        # the catalogue rounds to two or three digits
        assert al_from_permeability(mu_i, core.c1_per_m) * 1e9 == pytest.approx(al_nh, rel=1.5e-2)


def test_arithmetic_mean_path_is_too_long() -> None:
    """Derived: π(OD+ID)/2 and (OD−ID)h/2 for 36/23/15 are 3.4 % and 1.7 % high."""
    core = ring(36 * MM, 23 * MM, 15 * MM)
    assert math.pi * 29.5 * MM / core.l_e_m - 1 == pytest.approx(0.034, abs=5e-4)
    assert 97.5 * MM2 / core.a_e_m2 - 1 == pytest.approx(0.017, abs=5e-4)


@pytest.mark.parametrize(("ratio", "height"), [(1.2, 0.3), (1.6, 1.0), (3.0, 0.5)])
def test_ring_against_numerical_integral(ratio: float, height: float) -> None:
    """Second route: cylinders of thickness dr in parallel, C1 and C2 from ∫h/(2πr) dr and its like."""
    r1, r2, h = 0.01, 0.01 * ratio, 0.01 * height
    edges = np.linspace(r1, r2, 200_001)
    r, dr = (edges[1:] + edges[:-1]) / 2, np.diff(edges)
    # effective values are those of the ideal core with the same ∫H² and ∫B (IEC 60205, definition)
    s1 = float(np.sum(dr / r))
    s2 = float(np.sum(dr / r**2))
    core = ring(2 * r2, 2 * r1, h)
    assert core.c1_per_m == pytest.approx(2 * math.pi / (h * s1), rel=1e-6)
    assert core.c2_per_m3 == pytest.approx(2 * math.pi * s2 / (h**2 * s1**3), rel=1e-6)
    assert core.v_e_m3 == pytest.approx(core.a_e_m2 * core.l_e_m, rel=1e-12)


@pytest.mark.parametrize(
    ("core_id", "l_e", "a_e", "v_e"),
    [
        ("ETD29/16/10-3C90", 72.0, 76.0, 5470),  # Ferroxcube ETD sheet, September 2008 (read)
        ("ETD34/17/11-3C90", 78.6, 97.1, 7640),  # Ferroxcube and EPCOS (from memory), so the next ones
        ("ETD39/20/13-3C90", 92.2, 125, 11_500),
        ("ETD44/22/15-3C90", 103, 173, 17_800),
        ("E42/21/15-N87", 97, 178, 17_300),
        ("E55/28/21-N87", 124, 354, 43_900),
    ],
)
def test_pair_records_are_the_catalogue_rows(core_id: str, l_e: float, a_e: float, v_e: float) -> None:
    core = LIBRARY.core(core_id)
    assert core.l_e_m / MM == pytest.approx(l_e, rel=1e-6)
    assert core.a_e_m2 / MM2 == pytest.approx(a_e, rel=1e-6)
    assert core.v_e_m3 / MM3 == pytest.approx(v_e, rel=1e-6)


def test_etd29_permeability() -> None:
    """Ferroxcube ETD29 sheet 2008 (read): Σl/A 0.947 1/mm, 2350 nH ±25 %, μe about 1770."""
    core = LIBRARY.core("ETD29/16/10-3C90")
    assert core.c1_per_m * MM == pytest.approx(0.947, rel=1e-3)
    assert core.al_h == pytest.approx(2350e-9, rel=1e-9)
    assert core.al_tolerance == pytest.approx(0.25, rel=1e-9)
    assert core.al_h is not None
    assert permeability_from_al(core.al_h, core.c1_per_m) == pytest.approx(1770, rel=5e-3)
    assert core.a_min_m2 == pytest.approx(71e-6, rel=1e-6)


@pytest.mark.parametrize(
    ("c1_per_mm", "al_nh", "l_e", "a_e", "mu_e"),
    [
        (2.27, 780, 34, 15, 1400),  # Siemens Matsushita data book p. 549, EFD15/8/5, N87 (read)
        (1.48, 1200, 21.3, 14.4, 1413),  # TDK e148, 2005, EI12.5, PC40 (read; μ evaluated here)
    ],
)
def test_permeability_of_other_shapes(
    c1_per_mm: float, al_nh: float, l_e: float, a_e: float, mu_e: float
) -> None:
    assert l_e / a_e == pytest.approx(c1_per_mm, rel=5e-3)
    assert permeability_from_al(al_nh * 1e-9, c1_per_mm / MM) == pytest.approx(mu_e, rel=1e-2)


RINGS = [c for c in LIBRARY.cores.values() if c.shape == "ring" and c.catalogue_l_e_m is not None]
PAIRS = [c for c in LIBRARY.cores.values() if c.shape != "ring"]


@pytest.mark.parametrize("core", RINGS, ids=lambda c: c.id)
def test_library_rings_agree_with_catalogue(core: Core) -> None:
    assert core.catalogue_l_e_m is not None
    assert core.catalogue_a_e_m2 is not None
    assert core.catalogue_v_e_m3 is not None
    assert core.l_e_m == pytest.approx(core.catalogue_l_e_m, rel=5e-3)
    assert core.a_e_m2 == pytest.approx(core.catalogue_a_e_m2, rel=5e-3)
    assert core.v_e_m3 == pytest.approx(core.catalogue_v_e_m3, rel=1e-2)


@pytest.mark.parametrize("core", [c for c in RINGS if c.al_h is not None], ids=lambda c: c.id)
def test_library_ring_inductance_agrees_with_catalogue(core: Core) -> None:
    material = LIBRARY.material(core.material)
    assert core.al_h == pytest.approx(al_from_permeability(material.mu_i, core.c1_per_m), rel=1.5e-2)


@pytest.mark.parametrize("core", PAIRS, ids=lambda c: c.id)
def test_section_method_agrees_with_catalogue(core: Core) -> None:
    """Nominal dimensions through the section method of IEC 60205 give the catalogue's values.

    The tolerance is that of the parts' dimensions, 2 to 3 % (DIN 41985, IEC 61185): catalogues differ in what
    they take as nominal.
    """
    assert core.depth_m is not None
    assert core.window_m is not None
    assert core.leg_m is not None
    shape = etd_pair if core.shape == "etd" else e_pair
    worked_out = shape(
        core.outer_m, core.height_m / 2, core.depth_m, core.inner_m, core.window_m / 2, core.leg_m
    )
    assert worked_out.a_e_m2 == pytest.approx(core.a_e_m2, rel=2e-2)
    assert worked_out.l_e_m == pytest.approx(core.l_e_m, rel=2.1e-2)
    assert worked_out.a_min_m2 == pytest.approx(core.a_min_m2, rel=2e-2)


def test_section_method_has_no_bias() -> None:
    """Over all sizes the middle deviation is far below the dimensions' tolerance."""
    lengths, areas = [], []
    for core in {(c.outer_m, c.depth_m): c for c in PAIRS}.values():
        assert core.depth_m is not None
        assert core.window_m is not None
        assert core.leg_m is not None
        shape = etd_pair if core.shape == "etd" else e_pair
        worked_out = shape(
            core.outer_m, core.height_m / 2, core.depth_m, core.inner_m, core.window_m / 2, core.leg_m
        )
        lengths.append(worked_out.l_e_m / core.l_e_m - 1)
        areas.append(worked_out.a_e_m2 / core.a_e_m2 - 1)
    assert abs(float(np.median(lengths))) < 5e-3
    assert abs(float(np.median(areas))) < 2e-3


@pytest.mark.parametrize("core", [c for c in PAIRS if c.al_h is not None], ids=lambda c: c.id)
def test_pairs_lose_some_permeability_to_the_joint(core: Core) -> None:
    """An ungapped pair measures below the material's μi, by the rest of air in the joint; never above."""
    assert core.al_h is not None
    mu_e = permeability_from_al(core.al_h, core.c1_per_m)
    assert 0.55 < mu_e / LIBRARY.material(core.material).mu_i < 0.95


def loss(material: Material, frequency_hz: float, flux_t: float, temp_c: float = 100.0) -> float:
    fit = material.fit_at(frequency_hz)
    factor = material.ct0 - material.ct1 * temp_c + material.ct2 * temp_c**2
    return fit.k * frequency_hz**fit.alpha * flux_t**fit.beta * factor


@pytest.mark.parametrize(
    ("grade", "khz", "mt", "temp_c", "kw_per_m3", "tolerance"),
    [
        ("N87", 25, 200, 100, 57, 0.05),  # TDK/EPCOS N87 sheet, 2017 (from memory), typical
        ("N87", 100, 200, 100, 375, 0.05),  # the same
        ("PC40", 100, 200, 25, 600, 0.05),  # TDK PC40 table (from memory), typical; the next two too
        ("PC40", 100, 200, 60, 450, 0.05),
        ("PC40", 100, 200, 100, 410, 0.05),
        ("PC44", 100, 200, 25, 600, 0.05),  # TDK PC44 table (from memory); the next two too
        ("PC44", 100, 200, 60, 400, 0.05),
        ("PC44", 100, 200, 100, 300, 0.05),
    ],
)
def test_typical_loss(
    grade: str, khz: float, mt: float, temp_c: float, kw_per_m3: float, tolerance: float
) -> None:
    assert loss(LIBRARY.material(grade), khz * 1e3, mt * 1e-3, temp_c) / 1e3 == pytest.approx(
        kw_per_m3, rel=tolerance
    )


@pytest.mark.parametrize(
    ("material", "khz", "gauss", "printed"),
    [  # Micrometals' table of losses in mW/cm³, from memory
        ("iron powder 75", 50, 225, 89),
        ("iron powder 75", 100, 140, 83),
        ("iron powder 75", 500, 50, 139),
        ("iron powder 35", 50, 225, 50),
        ("iron powder 35", 100, 140, 35),
        ("iron powder 35", 500, 50, 28),
        ("iron powder 10", 50, 225, 28),
        ("iron powder 10", 100, 140, 19),
        ("iron powder 10", 500, 50, 12),
    ],
)
def test_loss_of_iron_powder(material: str, khz: float, gauss: float, printed: float) -> None:
    assert loss(LIBRARY.material(material), khz * 1e3, gauss * 1e-4) / 1e3 == pytest.approx(printed, rel=0.14)


@pytest.mark.parametrize(
    ("grade", "khz", "mt", "temp_c", "watts"),
    [
        ("3C90", 25, 200, 100, 0.66),
        ("3C90", 100, 100, 100, 0.69),
        ("3C94", 100, 100, 100, 0.50),
        ("3C94", 100, 200, 100, 3.0),
        ("3C95", 100, 200, 25, 3.23),
        ("3C95", 100, 200, 100, 3.06),
    ],
)
def test_loss_of_an_etd29_set_is_near_its_guaranteed_maximum(
    grade: str, khz: float, mt: float, temp_c: float, watts: float
) -> None:
    """Ferroxcube ETD29 sheet, September 2008, p. 3 (read): guaranteed maxima of a core set.

    A typical fit lies below the maximum, and not below half of it; 4 % allow for the fit's own error.
    """
    core = LIBRARY.core(f"ETD29/16/10-{grade}")
    assert 0.5 * watts < loss(LIBRARY.material(grade), khz * 1e3, mt * 1e-3, temp_c) * core.v_e_m3
    assert loss(LIBRARY.material(grade), khz * 1e3, mt * 1e-3, temp_c) * core.v_e_m3 < 1.04 * watts


def test_pc40_set_of_ei12_5() -> None:
    """TDK e148, 2005 (read): at most 0.12 W in 308 mm³ at 100 kHz, 200 mT, 100 °C; typical is about that."""
    assert loss(LIBRARY.material("PC40"), 100e3, 0.2) * 308e-9 == pytest.approx(0.12, rel=0.10)


def test_another_makers_power_laws_lie_in_the_same_range() -> None:
    """Magnetics ferrite catalogue, R and P grades (from memory): 440 and 485 kW/m³ at 100 kHz, 200 mT.

    Grades of one class from other makers lie within a factor 1.6 of these.
    """
    for grade in ("N87", "PC40", "3C94"):
        assert 440 / 1.6 < loss(LIBRARY.material(grade), 100e3, 0.2) / 1e3 < 485 * 1.6


def test_n87_frequency_exponent() -> None:
    """ln(375/57)/ln 4 = 1.36 from the N87 points."""
    assert LIBRARY.material("N87").fit_at(50e3).alpha == pytest.approx(1.36, rel=5e-3)


@pytest.mark.parametrize(
    ("outer", "inner", "height"), [(20e-3, 20e-3, 5e-3), (0.0, -1e-3, 5e-3), (20e-3, 10e-3, math.nan)]
)
def test_impossible_rings_are_refused(outer: float, inner: float, height: float) -> None:
    with pytest.raises(RangeError) as caught:
        ring(outer, inner, height)
    assert caught.value.remedy


@pytest.mark.parametrize("shape", [e_pair, etd_pair])
def test_impossible_pairs_are_refused(shape: object) -> None:
    with pytest.raises(RangeError, match="doesn't fit"):
        shape(42e-3, 21e-3, 15e-3, 30e-3, 22e-3, 12e-3)  # type: ignore[operator]
    with pytest.raises(RangeError, match="doesn't fit"):
        shape(42e-3, 21e-3, 15e-3, 30e-3, 15e-3, 31e-3)  # type: ignore[operator]
