"""What the bench checks of an unmarked core prove: a saturation pulse, and a comparison of heat."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from subwright.base.errors import NoSolutionError, RangeError
from subwright.base.units import show
from subwright.parts.library import Library
from subwright.parts.schema import Core, Material
from subwright.physics.core_check import core_loss_by_substitution, pulse_flux
from subwright.physics.core_loss import loss_factor, steinmetz
from subwright.physics.magnetics import saturation_flux
from subwright.stages.transformer_core import BROAD, LOST_PULSE, SECTION_UNCERTAINTY, UNMARKED
from subwright.stages.transformer_tables import FLUX_DERATING

__all__ = ["HeatReading", "PulseReading", "area_error", "read_heat", "read_pulse"]

_AMBIENT_C: Final = 25.0
_AREA_ERROR: Final = 0.02
_SUBSTITUTION: Final = 0.15  # error of the heat comparison; common practice


@dataclass(frozen=True, kw_only=True, slots=True)
class PulseReading:
    """A pulse until the current bent up.

    Attributes
    ----------
    flux_t, uncertainty_t : flux density reached and its standard uncertainty, T.
    checked_t : less twice that, T: what is sure.
    saturation_t : what of it is left at 100 °C by the grade that loses most, T.
    flux_peak_t : peak flux density that leaves room for one lost pulse, T.
    record : values for the drawer file. reasons : sentences for the user.
    """

    flux_t: float
    uncertainty_t: float
    checked_t: float
    saturation_t: float
    flux_peak_t: float
    record: tuple[tuple[str, str], ...]
    reasons: tuple[str, ...]


@dataclass(frozen=True, kw_only=True, slots=True)
class HeatReading:
    """Core loss by comparison with direct current.

    Attributes
    ----------
    loss_w : core loss of the test, W. expected_w : by the core's grade, W.
    loss_factor : one over the other, 15 % added for the method's error.
    record : values for the drawer file. reasons : sentences for the user.
    """

    loss_w: float
    expected_w: float
    loss_factor: float
    record: tuple[tuple[str, str], ...]
    reasons: tuple[str, ...]


def area_error(core: Core) -> float:
    """Standard uncertainty of a core's section over its value, as far as its record tells how it was "
    "found."""
    return SECTION_UNCERTAINTY["pq"] if BROAD in core.provenance.document else _AREA_ERROR


def read_pulse(
    core: Core,
    library: Library,
    *,
    turns: int,
    volts_v: float,
    time_s: float,
    drop_v: float = 0.0,
    core_c: float = _AMBIENT_C,
    reading_error: float = 0.03,
    area_error: float = _AREA_ERROR,
) -> PulseReading:
    """What a saturation pulse proves.

    Parameters
    ----------
    core : the core tested. library : grades.
    turns, volts_v, time_s, drop_v : winding, supply, time until the current bent up, mean drop, V and s.
    core_c : temperature of the core, °C.
    reading_error : limit of error of voltage and of time over their values.
    area_error : standard uncertainty of the section over its value.

    Returns
    -------
    PulseReading.

    Raises
    ------
    RangeError : a reading out of range, or a flux density that no core material reaches.

    Source
    ------
    Faraday's law; fall of saturation towards 100 °C by the grade that loses most. [derived] [jcgm100]
    """
    one = reading_error / math.sqrt(3.0)
    flux, uncertainty = pulse_flux(volts_v, drop_v, time_s, turns, core.a_min_m2, (one, one, area_error))
    checked = flux - 2.0 * uncertainty
    if not 0.05 <= checked <= 0.7:
        raise RangeError(
            message="No ferrite bends there.",
            quantity="flux density at the bend",
            value=show(checked, "flux density"),
            limit="50 mT to 700 mT",
            source="derived",
            remedy="Check turns, voltage and time; the pulse must start from rest and run until the current "
            "bends up.",
        )
    power = [m for m in library.materials.values() if m.transformer_grade]
    left = min(m.bsat_100_t / float(saturation_flux(core_c, m.bsat_25_t, m.bsat_100_t)) for m in power)
    saturation = min(left, 1.0) * checked
    least = min(m.bsat_25_t for m in power)
    said = [
        f"The current ran straight up to {show(flux, 'flux density')}; {show(checked, 'flux density')} of "
        "it is "
        f"sure, and {show(saturation, 'flux density')} is left at 100 °C."
    ]
    if core_c <= 40.0 and flux + 2.0 * uncertainty < 0.75 * least:
        said.append(
            f"Power ferrites bend above {show(0.75 * least, 'flux density')} when cold. This one is another "
            "material, cracked, or was magnetised before: take the field off and pulse again."
        )
    return PulseReading(
        flux_t=flux,
        uncertainty_t=uncertainty,
        checked_t=checked,
        saturation_t=saturation,
        flux_peak_t=FLUX_DERATING * saturation / LOST_PULSE,
        record=(
            ("checked_flux", f"{checked * 1e3:.3g} mT"),
            ("saturation", f"{saturation * 1e3:.3g} mT"),
        ),
        reasons=tuple(said),
    )


def read_heat(
    core: Core,
    library: Library,
    *,
    frequency_hz: float,
    flux_peak_t: float,
    core_c: float,
    direct_v: float,
    direct_a: float,
    copper_w: float = 0.0,
) -> HeatReading:
    """What the heat comparison says about the core's loss.

    Parameters
    ----------
    core : the core tested. library : grades.
    frequency_hz, flux_peak_t : of the sine that heated it, Hz and T. core_c : temperature reached, °C.
    direct_v, direct_a : direct current that made it just as warm, V and A.
    copper_w : loss of the winding under the sine, W.

    Returns
    -------
    HeatReading.

    Raises
    ------
    RangeError : a reading out of range. NoSolutionError : the core's grade has no loss data.

    Source
    ------
    Calorimetric substitution, common practice. [common-practice] [steinmetz1892]
    """
    material = library.material(core.material)
    if not material.transformer_grade:
        raise NoSolutionError(
            message=f"{material.id} has no loss data to compare with.",
            quantity="material",
            value=material.id,
            remedy=f'Call the core "{UNMARKED}" in the drawer file.',
        )
    loss = core_loss_by_substitution(direct_v, direct_a, copper_w)
    expected = _expected_w(core, material, frequency_hz, flux_peak_t, core_c)
    factor = loss / expected * (1.0 + _SUBSTITUTION)
    if not 0.1 <= factor <= 10.0:
        raise RangeError(
            message="The loss measured has nothing to do with a ferrite's at this drive.",
            quantity="loss over the grade's",
            value=f"{factor:.3g}",
            limit="0.1 to 10",
            remedy="Check frequency, flux density (V rms = 4.44 f N A B) and both direct-current readings.",
        )
    return HeatReading(
        loss_w=loss,
        expected_w=expected,
        loss_factor=factor,
        record=(("loss_factor", f"{factor:.3g}"),),
        reasons=(
            f"The core lost {show(loss, 'power')} where its grade would lose {show(expected, 'power')}; with "
            f"15 % for the method the design reckons with {factor:.2f} times the grade's loss.",
        ),
    )


def _expected_w(core: Core, material: Material, frequency_hz: float, flux_t: float, core_c: float) -> float:
    fit = material.fit_at(frequency_hz)
    density = steinmetz(frequency_hz, flux_t, fit.k, fit.alpha, fit.beta)
    factor = loss_factor(core_c, flux_t, material.ct0, material.ct1, material.ct2, material.beta_per_k)
    return float(density * factor * core.v_e_m3)
