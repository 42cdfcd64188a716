"""Peak-charged or regulated: what either output would make of this battery and this amplifier, side by side.

Closed forms without leakage, the same for both, so that they compare like with like; the design itself is
solved in full elsewhere.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from subwright.base.errors import SubwrightError
from subwright.base.units import show
from subwright.parts.library import Library
from subwright.physics.push_pull import turns_ratio_needed
from subwright.stages.converter_result import ConverterResult, OutputFit
from subwright.stages.converter_spec import ConverterDemand, ConverterSpec

__all__ = ["compare_outputs"]

Floats = NDArray[np.float64]

_ROOM: Final = 0.95  # of the conducting share; the rest goes to commutation
_COMFORT: Final = 0.95  # of what the amplifier stands, or of the rectifiers' rating
_WEAK: Final = (
    0.6  # share of the power that is left on a tired battery, below which a held rail is worth a choke
)
_POINTS: Final = 25


def compare_outputs(
    spec: ConverterSpec, demand: ConverterDemand, result: ConverterResult, library: Library
) -> tuple[OutputFit, ...]:
    """Both outputs with the switches and diodes of this design.

    Parameters
    ----------
    spec : the builder\'s wishes. demand : as it was designed for. result : the converter.
    library : parts, for the highest rectifier rating at hand.

    Returns
    -------
    (peak-charged, regulated); an output that the source can\'t carry is left out.

    Source
    ------
    Averaged push-pull with and without an output choke. [pressman1998] [derived]
    """
    fits = (
        _fit("peak-charged", spec, demand, result, library),
        _fit("regulated", spec, demand, result, library),
    )
    return tuple(fit for fit in fits if fit is not None)


def _fit(
    output: Literal["peak-charged", "regulated"],
    spec: ConverterSpec,
    demand: ConverterDemand,
    result: ConverterResult,
    library: Library,
) -> OutputFit | None:
    held = output == "regulated"
    pulse, diode = result.plan.timing.share, result.plan.rectifier.rectifier
    needed = result.plan.rail_v
    path = result.switch_ohm + result.winding_ohm + result.link_ohm
    each = demand.each_crest_a / demand.rail_crest_a
    secondary = each * (result.magnetics.secondary_ohm + diode.rd_ohm)
    share = _ROOM * pulse if held else pulse
    base_v = demand.emf_low_v if held else demand.emf_nominal_v
    try:
        ratio = turns_ratio_needed(
            needed,
            base_v,
            demand.rail_crest_a,
            path / share + demand.source_ohm,
            secondary if held else secondary / pulse,
            diode.vf0_v,
        ) / (share if held else 1.0)
    except SubwrightError:
        return None
    if result.plan.regulated == held:
        ratio = result.ratio
    battery = np.linspace(demand.emf_low_v, demand.emf_max_v, _POINTS)
    idle = ratio * battery - diode.vf0_v
    drop = demand.rail_crest_a * (ratio**2 * (demand.source_ohm + path / pulse) + secondary / pulse)
    full = idle - drop
    if held:
        sag = demand.source_ohm * demand.rail_crest_a * needed / (0.9 * battery)
        reach = ratio * share * (battery - sag) - diode.vf0_v
        reach = reach - demand.rail_crest_a * (ratio**2 * share * path + secondary)
        idle, full = np.minimum(idle, needed), np.minimum(reach, needed)

    def at(volts: Floats, battery_v: float) -> float:
        return float(np.interp(battery_v, battery, volts))

    open_v = float(idle[-1])
    winding_v = ratio * demand.emf_max_v if held else open_v
    reverse_v = 2.0 * winding_v * (1.0 + spec.ringing_allowance)
    reverse_limit = max((r.vrrm_v for r in library.rectifiers.values()), default=0.0)
    nominal_v = at(full, demand.emf_nominal_v)
    fit = OutputFit(
        output=output,
        chosen=result.plan.regulated == held,
        ratio=ratio,
        battery_v=tuple(battery.tolist()),
        idle_v=tuple(idle.tolist()),
        full_v=tuple(full.tolist()),
        line=float(idle[-1] - idle[0]) / at(idle, demand.emf_nominal_v),
        load=1.0 - nominal_v / at(idle, demand.emf_nominal_v),
        low_power=(float(full[0]) / nominal_v) ** 2,
        open_v=open_v,
        open_limit_v=demand.rail_max_v,
        reverse_v=reverse_v,
        reverse_limit_v=reverse_limit,
        fits=open_v <= demand.rail_max_v and reverse_v <= reverse_limit,
        why="",
    )
    return replace(fit, why=_why(fit))


def _why(fit: OutputFit) -> str:
    """The figures that speak for it or against it."""
    low = f"a tired battery leaves {100 * fit.low_power:.0f} % of the power"
    reverse = (
        f"{show(fit.reverse_v, 'voltage')} reverse on a rectifier leg, of "
        f"{show(fit.reverse_limit_v, 'voltage')} at hand"
    )
    if fit.output == "regulated":
        return (
            f"The rail stays at {show(fit.open_v, 'voltage')} whatever battery and load do, and {low}; it "
            f"takes a choke, a loop, and {reverse}."
        )
    near = fit.open_v > _COMFORT * fit.open_limit_v
    room = (
        "which leaves little room" if near and fit.fits else "which fits" if fit.fits else "which is too much"
    )
    weak = ": too little for some, and a held rail would keep it" if fit.low_power < _WEAK else ""
    return (
        "No choke and no loop. Unloaded at the highest battery the rail rises to "
        f"{show(fit.open_v, 'voltage')} of the {show(fit.open_limit_v, 'voltage')} that the amplifier "
        f"stands, {room}; {low}{weak}; {reverse}."
    )
