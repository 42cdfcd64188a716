"""Gate transformer of a full bridge: one winding from the controller, one for each of the four gates."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil
from typing import Final

from subwright.base.errors import NoSolutionError
from subwright.parts.library import Library
from subwright.parts.schema import Core
from subwright.physics.magnetics import MU_0

__all__ = ["CLAMP_V", "GateTransformer", "design_gate_transformer"]

CLAMP_V: Final = 0.4  # of the Schottky diodes at either end of the driven winding; from memory

_FLUX_T = 0.12  # modest: a gate transformer must not get near saturation on a lost pulse
_MAGNETISING_SHARE = 0.2  # of what the driver gives at most
_WIRE_SHARE = 0.3  # of the ring's hole
_WIRE_M2 = 0.5e-6  # hole taken by one turn of insulated thin wire


@dataclass(frozen=True, kw_only=True, slots=True)
class GateTransformer:
    """Ring with five equal windings, 1:1 each."""

    core: Core
    turns: int
    flux_peak_t: float
    flux_limit_t: float
    inductance_h: float  # least
    magnetising_a: float  # peak


def design_gate_transformer(
    library: Library, drive_v: float, switching_hz: float, driver_a: float
) -> GateTransformer:
    """Smallest ring for a gate transformer.

    Parameters
    ----------
    library : parts with the drawer merged. drive_v : voltage across the winding, V.
    switching_hz : full cycle, Hz. driver_a : most that a driver gives while its output is high, A.

    Returns
    -------
    GateTransformer in whole turns; its magnetising current that of pulses without a pause.

    Raises
    ------
    NoSolutionError : no ring at hand serves.

    Source
    ------
    Volt-seconds ``N = V/(4 f B A)`` of a square wave. [mclyman-handbook]
    """
    best: tuple[bool, float, str, GateTransformer] | None = None
    for core in library.cores.values():
        material = library.materials[core.material]
        if core.shape != "ring" or not material.transformer_grade:
            continue
        by_flux = drive_v / (4.0 * switching_hz * _FLUX_T * core.a_min_m2)
        al = core.al_h if core.al_h is not None else MU_0 * material.mu_i / core.c1_per_m
        al *= 1.0 - core.al_tolerance
        by_current = (drive_v / (4.0 * switching_hz * al * _MAGNETISING_SHARE * driver_a)) ** 0.5
        turns = max(ceil(max(by_flux, by_current)), 6)
        if 5 * turns * _WIRE_M2 > _WIRE_SHARE * core.window_area_m2:
            continue
        made = GateTransformer(
            core=core,
            turns=turns,
            flux_peak_t=drive_v / (4.0 * switching_hz * turns * core.a_min_m2),
            flux_limit_t=_FLUX_T,
            inductance_h=al * turns**2,
            magnetising_a=drive_v / (4.0 * switching_hz * al * turns**2),
        )
        rank = (library.in_drawer(core.id) == 0, core.v_e_m3, core.id, made)
        if best is None or rank[:3] < best[:3]:
            best = rank
    if best is None:
        raise NoSolutionError(
            message="No ring core for the gate transformer.",
            quantity="ring core",
            value="none fits five windings",
            limit="one of power ferrite, 16 mm or more",
            source="parts library and drawer",
            remedy="Add one to the drawer.",
        )
    return best[3]
