"""A parts set for the transformer tests that doesn't change when the library grows.

Sizes are those of standard cores; grades carry the published N87 and 3C90 fits, rounded.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import cast

from subwright.parts.cores import complete_core
from subwright.parts.library import Library
from subwright.parts.schema import Core, Material, Provenance, SteinmetzFit, Wire

MADE_UP = Provenance(document="transformer tests", condition="test data", kind="invented")

RINGS = (
    (20, 10, 7), (22, 14, 8), (25.3, 14.8, 10), (27, 18, 12), (29, 19, 15), (30, 20, 12.5), (34, 20.5, 12.5),
    (36, 23, 15), (38, 22, 13), (40, 24, 16), (41.8, 26.2, 12.5), (50, 30, 20), (58.3, 40.8, 17.6),
    (63, 38, 25), (68, 48, 13), (87, 54.3, 13.5),
)  # fmt: skip
# name: l_e mm, A_e mm², A_min mm², V_e mm³, window mm², width mm, mean turn mm, surface cm², Rth K/W
BOBBINS = {
    "ETD29": (72.0, 76.0, 71.0, 5470, 97, 19.4, 52.8, 42, 28),
    "ETD34": (78.6, 97.1, 91.6, 7640, 122, 20.9, 60.5, 53, 20),
    "ETD39": (92.2, 125.0, 123.0, 11500, 178, 25.7, 69.0, 70, 16),
    "ETD44": (103.0, 173.0, 172.0, 17800, 210, 29.5, 77.7, 88, 11),
    "ETD49": (114.0, 211.0, 209.0, 24000, 269, 32.7, 85.0, 108, 8),
    "ETD59": (139.0, 368.0, 360.0, 51500, 366, 41.2, 106.0, 163, 4),
}
WIRES = (
    (0.2, 0.226), (0.25, 0.281), (0.315, 0.349), (0.4, 0.439), (0.5, 0.544), (0.56, 0.606), (0.63, 0.679),
    (0.71, 0.762), (0.8, 0.855), (0.9, 0.959), (1.0, 1.062), (1.12, 1.184), (1.25, 1.316), (1.5, 1.57),
)  # fmt: skip


def grade(name: str, mu_i: float, bsat: tuple[float, float], ct: tuple[float, float, float],
          fit: SteinmetzFit) -> Material:  # fmt: skip
    return Material(
        id=name, description=name, provenance=MADE_UP, family="power ferrite", mu_i=mu_i, mu_i_tolerance=0.25,
        bsat_25_t=bsat[0], bsat_100_t=bsat[1], curie_c=210.0, resistivity_ohm_m=5.0, density_kg_per_m3=4850.0,
        steinmetz=(fit,), ct0=ct[0], ct1=ct[1], ct2=ct[2],
    )  # fmt: skip


def ring(name: str, outer: float, inner: float, height: float, material: str, coating: float = 0.4) -> Core:
    raw = {
        "shape": "ring", "outer_m": outer * 1e-3, "inner_m": inner * 1e-3, "height_m": height * 1e-3,
        "coating_m": coating * 1e-3,
    }  # fmt: skip
    full = complete_core(raw, lambda key, sentence: None)
    assert full is not None
    return Core(id=name, description=name, provenance=MADE_UP, material=material, **full)


def bobbin(name: str, row: tuple[float, ...], material: str) -> Core:
    l_e, a_e, a_min, v_e, window, width, turn, surface, rth = row
    return Core(
        id=f"{name}-{material}", description=name, provenance=MADE_UP, material=material, shape="etd",
        outer_m=a_e**0.5 * 3.5e-3, inner_m=a_e**0.5 * 2.7e-3, height_m=a_e**0.5 * 3.5e-3, a_e_m2=a_e * 1e-6,
        a_min_m2=a_min * 1e-6, l_e_m=l_e * 1e-3, v_e_m3=v_e * 1e-9, c1_per_m=l_e / a_e * 1e3,
        window_area_m2=window * 1e-6, winding_width_m=width * 1e-3, winding_height_m=window / width * 1e-3,
        mean_turn_m=turn * 1e-3, surface_m2=surface * 1e-4, mass_kg=v_e * 4.85e-6, rth_k_per_w=rth,
        al_h=1650 * 4e-7 * math.pi * a_e / l_e * 1e-3,
    )  # fmt: skip


def wire(d: float, overall: float) -> Wire:
    return Wire(
        id=f"ECW {d:.2f}", description=f"enamelled {d} mm", provenance=MADE_UP, kind="enamelled",
        conductor_m=d * 1e-3, overall_m=overall * 1e-3, area_m2=math.pi / 4 * d * d * 1e-6,
    )  # fmt: skip


@dataclass(frozen=True)
class Parts:
    """What the stage asks of a library."""

    materials: Mapping[str, Material]
    cores: Mapping[str, Core]
    wires: Mapping[str, Wire]
    drawer: Mapping[str, int] = field(default_factory=dict)

    def material(self, part_id: str) -> Material:
        return self.materials[part_id]

    def core(self, part_id: str) -> Core:
        return self.cores[part_id]

    def wire(self, part_id: str) -> Wire:
        return self.wires[part_id]

    def in_drawer(self, part_id: str) -> int:
        return self.drawer.get(part_id, 0)


def parts(drawer: Mapping[str, int] | None = None) -> Library:
    n87 = grade("N87", 2200, (0.49, 0.39), (1.9905, 0.017524, 7.619e-5),
                SteinmetzFit(f_low_hz=20e3, f_high_hz=150e3, k=3.954, alpha=1.359, beta=2.6))  # fmt: skip
    c90 = grade("3C90", 2300, (0.47, 0.38), (2.45, 0.031, 1.65e-4),
                SteinmetzFit(f_low_hz=20e3, f_high_hz=200e3, k=3.2, alpha=1.46, beta=2.75))  # fmt: skip
    cores = [ring(f"R{o:g}/{i:g}/{h:g}-{m}", o, i, h, m) for o, i, h in RINGS for m in ("N87", "3C90")]
    cores += [bobbin(name, row, m) for name, row in BOBBINS.items() for m in ("N87", "3C90")]
    wires = [wire(d, overall) for d, overall in WIRES]
    return cast(
        "Library",
        Parts(
            {m.id: m for m in (n87, c90)}, {c.id: c for c in cores}, {w.id: w for w in wires}, drawer or {}
        ),
    )
