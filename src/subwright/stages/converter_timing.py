"""Controller, timing parts and dead time in real preferred values."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from subwright.base.errors import NoSolutionError
from subwright.base.preferred import between, nearest
from subwright.base.units import show
from subwright.parts.schema import Controller
from subwright.physics.push_pull import conduction_share

__all__ = ["Timing", "design_timing"]

_RAMP_SPAN_V = 3.3  # dead-time input of the 494 family: 0 V least, 3.3 V whole dead time
_LEAST_DEAD_SHARE = 0.03  # of the ramp period, with that input grounded


@dataclass(frozen=True, kw_only=True, slots=True)
class Timing:
    """Timing of one controller in real values.

    ``oscillator_hz`` is the ramp; the two outputs take turns, so a full push-pull cycle repeats at
    ``switching_hz``, half of it.
    """

    rt_ohm: float
    ct_f: float
    rd_ohm: float  # 0 where the family has no discharge resistor
    divider_top_ohm: float  # dead-time input divider from the reference; 0 where not used
    divider_bottom_ohm: float
    oscillator_hz: float
    switching_hz: float
    switching_target_hz: float
    switching_tolerance: float  # from timing parts and controller, worst case, fraction
    dead_time_s: float
    dead_time_target_s: float
    share: float
    duty_each: float
    soft_start_f: float
    soft_start_s: float


def design_timing(
    controller: Controller,
    switching_hz: float,
    dead_time_s: float,
    soft_start_s: float,
    resistor_series: str = "E24",
    capacitor_series: str = "E6",
    resistor_tolerance: float = 0.01,
    capacitor_tolerance: float = 0.05,
) -> Timing:
    """Pick RT, CT and the dead-time part from preferred values for a two-output controller.

    Parameters
    ----------
    controller : the controller's record.
    switching_hz : full push-pull cycle wanted, Hz. The ramp runs at twice that.
    dead_time_s : time with both switches off wanted per half cycle, s.
    soft_start_s : time from zero to full conduction wanted, s.
    resistor_series, capacitor_series : IEC 60063 series to choose from.
    resistor_tolerance, capacitor_tolerance : fractions, for the spread of the frequency.

    Returns
    -------
    Timing in real values.

    Raises
    ------
    NoSolutionError : the family can't reach the frequency.

    Source
    ------
    Oscillator equation of the controller's record; dead-time input of the 494 family: TI SLVS074I (3 %
    least dead time, linear to all at 3.3 V). [ti-tl494]
    """
    target_osc = 2.0 * switching_hz
    capacitors = between(controller.ct_min_f, min(controller.ct_max_f, 22e-9), capacitor_series)
    resistors = between(controller.rt_min_ohm, min(controller.rt_max_ohm, 100e3), resistor_series)
    rd = np.zeros_like(capacitors)
    if controller.rd_weight > 0:
        wanted = (
            (dead_time_s - controller.dead_min_s) * controller.osc_k / (controller.rd_weight * capacitors)
        )
        rd_values = np.concatenate(([0.0], between(2.2, controller.rd_max_ohm, "E12")))
        rd = rd_values[np.abs(rd_values[None, :] - wanted[:, None]).argmin(axis=1)]
    grid_hz = controller.osc_k / (
        capacitors[:, None] * (resistors[None, :] + controller.rd_weight * rd[:, None])
    )
    error = np.abs(np.log(grid_hz / target_osc))
    dead = controller.dead_min_s + capacitors * controller.rd_weight * rd / controller.osc_k
    score = error + 0.05 * np.abs(np.log(np.maximum(dead, 1e-12) / dead_time_s))[:, None] * (
        controller.rd_weight > 0
    )
    # A resistor of a few kilohms keeps leakage and ramp current both negligible.
    score = score + 0.01 * np.abs(np.log(resistors / 8e3))[None, :]
    row, column = np.unravel_index(int(score.argmin()), score.shape)
    if error[row, column] > 0.10:
        raise NoSolutionError(
            message=f"The {controller.id} can't run at this switching frequency.",
            quantity="switching frequency",
            value=show(switching_hz, "frequency"),
            limit=(
                f"{show(float(grid_hz.min()) / 2, 'frequency')} to "
                f"{show(float(grid_hz.max()) / 2, 'frequency')}"
            ),
            source=controller.provenance.document,
            remedy="Change converter.switching or choose another controller.",
        )
    rt, ct, r_discharge = float(resistors[column]), float(capacitors[row]), float(rd[row])
    oscillator = controller.oscillator_hz(rt, ct, r_discharge)
    actual = 0.5 * oscillator

    top = bottom = 0.0
    dead_actual = controller.dead_time_s(ct, r_discharge)
    if controller.rd_weight == 0:
        dead_actual = max(dead_actual, _LEAST_DEAD_SHARE / oscillator, (0.5 - controller.duty_max) / actual)
        if dead_time_s > dead_actual:
            share_of_ramp = dead_time_s * oscillator
            pin_v = _RAMP_SPAN_V * (share_of_ramp - _LEAST_DEAD_SHARE) / (1.0 - _LEAST_DEAD_SHARE)
            bottom = 4.7e3
            top = nearest(bottom * (controller.vref_v - pin_v) / pin_v, resistor_series)
            pin_v = controller.vref_v * bottom / (top + bottom)
            dead_actual = max(
                dead_actual,
                (_LEAST_DEAD_SHARE + (1.0 - _LEAST_DEAD_SHARE) * pin_v / _RAMP_SPAN_V) / oscillator,
            )
    share = conduction_share(actual, dead_actual)

    soft_f, soft_s = _soft_start(controller, soft_start_s, top, bottom)
    spread = (1 + controller.osc_tolerance) * (1 + resistor_tolerance) * (1 + capacitor_tolerance) - 1
    return Timing(
        rt_ohm=rt,
        ct_f=ct,
        rd_ohm=r_discharge,
        divider_top_ohm=top,
        divider_bottom_ohm=bottom,
        oscillator_hz=oscillator,
        switching_hz=actual,
        switching_target_hz=switching_hz,
        switching_tolerance=spread,
        dead_time_s=dead_actual,
        dead_time_target_s=dead_time_s,
        share=share,
        duty_each=0.5 * share,
        soft_start_f=soft_f,
        soft_start_s=soft_s,
    )


def _soft_start(
    controller: Controller, wanted_s: float, top_ohm: float, bottom_ohm: float
) -> tuple[float, float]:
    """Soft-start capacitor (F) and the ramp time that it gives (s)."""
    if controller.soft_start_a is not None:
        span_v = 2.4  # zero duty at 0.9 V, full at 3.3 V (typical, 3525 family)
        capacitor = nearest(controller.soft_start_a * wanted_s / span_v, "E6")
        return capacitor, capacitor * span_v / controller.soft_start_a
    # The capacitor lifts the dead-time input to the reference at power-up and lets go through the bottom
    # resistor: from all dead time (3.3 V) to the divider's own level.
    bottom = bottom_ohm if bottom_ohm > 0 else 10.0e3
    parallel = bottom if top_ohm == 0 else top_ohm * bottom / (top_ohm + bottom)
    settled = 0.0 if top_ohm == 0 else controller.vref_v * bottom / (top_ohm + bottom)
    start_v = controller.vref_v - settled
    # Time from zero duty to 10 % of the span above the settled level.
    decays = float(np.log((_RAMP_SPAN_V - settled) / (0.1 * (_RAMP_SPAN_V - settled))))
    delay = float(np.log(start_v / (_RAMP_SPAN_V - settled)))
    capacitor = nearest(wanted_s / (parallel * (decays + max(delay, 0.0))), "E6")
    return capacitor, capacitor * parallel * (decays + max(delay, 0.0))
