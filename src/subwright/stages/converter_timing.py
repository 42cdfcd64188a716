"""Controller, timing parts and dead time in real preferred values."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from subwright.base.errors import NoSolutionError
from subwright.base.preferred import between, nearest
from subwright.base.units import show
from subwright.parts.schema import Controller
from subwright.physics.push_pull import conduction_share
from subwright.stages.converter_family import BASE_V, dead_time_kind, duty_v, soft_start_ohm

__all__ = ["Timing", "design_timing", "soft_start_levels"]

_RAMP_SPAN_V = 3.3  # dead-time input of the 494 family: 0 V least, 3.3 V whole dead time
_LEAST_DEAD_SHARE = 0.03  # of the ramp period, with that input grounded
_DIVIDER_OHM = 4.7e3  # of the dead-time input's divider, to ground
_OPENED = 0.9  # of the duty: where a soft start that ends ever more slowly counts as over


@dataclass(frozen=True, kw_only=True, slots=True)
class Timing:
    """Timing of one controller in real values.

    ``oscillator_hz`` is the ramp; the two outputs take turns, so a full push-pull cycle repeats at
    ``switching_hz``, half of it.
    """

    rt_ohm: float
    ct_f: float
    rd_ohm: float  # 0 where the family has no discharge resistor
    divider_top_ohm: float  # divider from the reference: dead-time input, or clamp of the duty; 0 without
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
    least dead time, linear to all at 3.3 V). [ti-tl494] Clamp of the 3524's duty: ramp between its turning
    points [derived].
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
    charge = (resistors[None, :] + controller.rd_weight * rd[:, None]) / controller.osc_k
    grid_hz = 1.0 / (capacitors[:, None] * (charge + controller.dead_ohm))
    error = np.abs(np.log(grid_hz / target_osc))
    by_parts = controller.rd_weight > 0 or controller.dead_ohm > 0
    dead = controller.dead_min_s + capacitors * (
        controller.rd_weight * rd / controller.osc_k + controller.dead_ohm
    )
    score = error + 0.05 * np.abs(np.log(np.maximum(dead, 1e-12) / dead_time_s))[:, None] * by_parts
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

    top, bottom, dead_actual = _dead_time(
        controller, oscillator, controller.dead_time_s(ct, r_discharge), dead_time_s, resistor_series
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


def _dead_time(
    controller: Controller, oscillator_hz: float, own_s: float, wanted_s: float, series: str
) -> tuple[float, float, float]:
    """Divider that makes the dead time, top and bottom in Ω (0 without), and the dead time, s.

    ``own_s`` is what ramp and timing parts make by themselves.
    """
    kind = dead_time_kind(controller)
    if kind == "discharge resistor":
        return 0.0, 0.0, own_s
    least_s = (1.0 - 2.0 * controller.duty_max) / oscillator_hz
    if kind == "timing capacitor":
        return 0.0, 0.0, max(own_s, least_s)
    if kind == "duty clamp":
        # Between two blankings the ramp rises; it is cut off where it passes the clamp.
        rise_s = 1.0 / oscillator_hz - own_s
        low_v, high_v = duty_v(controller)
        wanted_v = high_v - (high_v - low_v) * min(max(wanted_s, least_s) - own_s, 0.9 * rise_s) / rise_s
        bottom = soft_start_ohm(controller)
        top = nearest(bottom * (controller.vref_v / (wanted_v - BASE_V) - 1.0), series)
        clamp_v = controller.vref_v * bottom / (top + bottom) + BASE_V
        return top, bottom, own_s + rise_s * max(high_v - clamp_v, 0.0) / (high_v - low_v)
    dead_s = max(own_s, _LEAST_DEAD_SHARE / oscillator_hz, least_s)
    if wanted_s <= dead_s:
        return 0.0, 0.0, dead_s
    pin_v = _RAMP_SPAN_V * (wanted_s * oscillator_hz - _LEAST_DEAD_SHARE) / (1.0 - _LEAST_DEAD_SHARE)
    top = nearest(_DIVIDER_OHM * (controller.vref_v - pin_v) / pin_v, series)
    pin_v = controller.vref_v * _DIVIDER_OHM / (top + _DIVIDER_OHM)
    share = _LEAST_DEAD_SHARE + (1.0 - _LEAST_DEAD_SHARE) * pin_v / _RAMP_SPAN_V
    return top, _DIVIDER_OHM, max(dead_s, share / oscillator_hz)


def soft_start_levels(
    controller: Controller, top_ohm: float, bottom_ohm: float
) -> tuple[float | None, float, float]:
    """Levels on the pin that soft start moves, V: begun (None: at once), over, and where it comes to rest.

    Parameters
    ----------
    controller : its record. top_ohm, bottom_ohm : divider of dead-time input or clamp, 0 without.

    Returns
    -------
    A current or a resistor that leads beyond the whole duty is over there; a level that is approached ever
    more slowly counts as reached at nine tenths of the duty.
    """
    low_v, high_v = duty_v(controller)
    divided = 0.0 if top_ohm == 0.0 else controller.vref_v * bottom_ohm / (top_ohm + bottom_ohm)
    match dead_time_kind(controller):
        case "dead-time input":
            return None, divided + (1.0 - _OPENED) * (_RAMP_SPAN_V - divided), divided
        case "duty clamp":
            low_v -= BASE_V
            return None, low_v + _OPENED * (divided - low_v), divided
        case _:
            return low_v, high_v, controller.vref_v


def _soft_start(
    controller: Controller, wanted_s: float, top_ohm: float, bottom_ohm: float
) -> tuple[float, float]:
    """Soft-start capacitor (F) and the time that it gives (s)."""
    begun, over_v, rest_v = soft_start_levels(controller, top_ohm, bottom_ohm)
    if controller.soft_start_a is not None:
        span_v = over_v - (begun or 0.0)
        capacitor = nearest(controller.soft_start_a * wanted_s / span_v, "E6")
        return capacitor, capacitor * span_v / controller.soft_start_a
    # An exponential towards where the pin rests: of the 494 from the reference down, else from nought up.
    bottom = bottom_ohm if bottom_ohm > 0 else soft_start_ohm(controller)
    ohm = bottom if top_ohm == 0 else top_ohm * bottom / (top_ohm + bottom)
    first_v = controller.vref_v if dead_time_kind(controller) == "dead-time input" else 0.0
    times = float(np.log((rest_v - (first_v if begun is None else begun)) / (rest_v - over_v)))
    capacitor = nearest(wanted_s / (ohm * times), "E6")
    return capacitor, capacitor * ohm * times
