"""Clamp across the switches and snubbers across switches and rectifier, in preferred values."""

from __future__ import annotations

from dataclasses import dataclass
from math import pi, sqrt

from subwright.base.errors import NoSolutionError
from subwright.base.preferred import at_least, nearest
from subwright.base.units import show
from subwright.parts.library import Library
from subwright.parts.schema import Mosfet, Rectifier
from subwright.physics.clamps import clamp_capacitance_f, clamp_resistance_ohm, clamp_voltage_v
from subwright.physics.snubbers import snubber_capacitance_f, snubber_loss_w, snubber_resistance_ohm

__all__ = [
    "POWER_RATINGS_W",
    "Clamp",
    "RectifierSnubber",
    "clamp_window",
    "design_clamp",
    "design_rectifier_snubber",
    "power_rating_w",
]

POWER_RATINGS_W = (0.25, 0.5, 1.0, 2.0, 3.0, 5.0, 7.0, 11.0, 17.0, 25.0, 50.0, 100.0)
"""Usual power ratings of resistors, W; above 17 W they sit on a sink. Common practice."""

_LOADED = 0.6  # share of a resistor's rating that is used
_OVER_REST = 1.1  # least clamp voltage over twice the highest battery
_OF_RATING = 0.9  # most, of the drain-source rating
_RIPPLE = 0.05
_FILM_V = (63.0, 100.0, 160.0, 250.0, 400.0, 630.0)
_DIODE_RESERVE = 1.2
_SURGE_SHARE = 0.5  # of the single surge rating that each pulse of some 100 ns may reach; common practice
_MOST_EACH = 4  # diodes in parallel at each drain
_PARALLEL_SHARE = 0.8  # of their summed rating, for uneven sharing; common practice
_CJ_PER_A = 10e-12  # junction capacitance of an ultrafast leg per ampere of rating, reverse biased, memory


def power_rating_w(heat_w: float) -> float:
    """Smallest usual resistor rating that ``heat_w`` loads to 60 % at most, W.

    Raises
    ------
    NoSolutionError : above the largest.
    """
    for rating in POWER_RATINGS_W:
        if heat_w <= _LOADED * rating:
            return rating
    raise NoSolutionError(
        message="No single resistor takes this heat.",
        quantity="heat in a resistor",
        value=show(heat_w, "power"),
        limit=show(_LOADED * POWER_RATINGS_W[-1], "power"),
        source="common-practice",
        remedy=f"It needs {100 * _LOADED * POWER_RATINGS_W[-1] / heat_w:.0f} % of the leakage inductance "
        '(transformer.lay = "twisted", shorter transformer.lead) or of converter.switching.',
    )


@dataclass(frozen=True, kw_only=True, slots=True)
class Clamp:
    """One clamp for both drains: diodes into a capacitor, a resistor from there to the battery.

    Voltages at the highest battery and the crest of a full sine. Diodes in parallel have leads of one length
    and are loaded to four fifths, for they don't share evenly.
    """

    diode: Rectifier
    diodes_each: int  # in parallel at each drain
    diode_packages: int  # in all
    resistor_ohm: float
    capacitor_f: float
    capacitor_v: float  # rating
    voltage_v: float
    peak_v: float  # with ripple and the diode's drop
    least_v: float  # of the window
    most_v: float
    leakage_w: float  # crest
    heat_w: float  # full sine
    returned_w: float  # full sine, to the battery
    rating_w: float
    diode_peak_a: float
    diode_peak_limit_a: float
    rest_w: float  # heat at rest, highest battery
    zener_w: float  # what a zener across each pair of switches would have to take at full sine


@dataclass(frozen=True, kw_only=True, slots=True)
class RectifierSnubber:
    """RC across each half-secondary."""

    resistor_ohm: float
    capacitor_f: float
    capacitor_v: float
    heat_w: float  # each, highest battery
    rating_w: float
    ring_hz: float
    ring_f: float


def clamp_window(emf_max_v: float, mosfet: Mosfet) -> tuple[float, float]:
    """Least and most clamp voltage, V: above twice the battery, below the drain rating."""
    return _OVER_REST * 2.0 * emf_max_v, _OF_RATING * mosfet.vds_v


def design_clamp(
    library: Library,
    mosfet: Mosfet,
    leakage_w: float,
    end_a: float,
    switching_hz: float,
    emf_max_v: float,
    mean_share: float,
    driven: bool = False,
) -> Clamp:
    """Clamp whose capacitor returns through a resistor to the battery.

    Parameters
    ----------
    library : parts with the drawer merged. mosfet : the switch.
    leakage_w : power of the leakage at the crest, both switches, highest battery, W.
    end_a : current at turn-off there, A. switching_hz : full cycle, Hz.
    emf_max_v : highest battery, V. mean_share : mean of the squared current over its squared crest.
    driven : whether an output choke short-circuits the secondary, so that the battery drives the leakage
        current on while it dies, and the clamp returns nothing.

    Returns
    -------
    Clamp in preferred values.

    Raises
    ------
    NoSolutionError : twice the battery leaves no room below the switch's rating, or no diode serves.

    Source
    ------
    Charge balance of the clamp's capacitor [derived]; window between 1.1 × 2 V and 0.9 V_DS, common practice.
    """
    least, most = clamp_window(emf_max_v, mosfet)
    if least >= most:
        raise NoSolutionError(
            message="Between twice the battery and the switch's rating there is no room for a clamp.",
            quantity="least clamp voltage",
            value=show(least, "voltage"),
            limit=f"{show(most, 'voltage')}, 90 % of what {mosfet.id} stands",
            source=mosfet.provenance.document,
            remedy=f"Choose a switch of at least {show(least / _OF_RATING, 'voltage')} (converter.mosfet).",
            code="CNV-04",
        )
    ripple_room = 1.0 + 0.5 * _RIPPLE
    diode, each = _clamp_diode(library, most, end_a)
    drop = diode.vf0_v + diode.rd_ohm * end_a / each
    aim = (most - drop) / ripple_room
    if aim <= least:
        aim = least
    driving_v = emf_max_v if driven else 0.0
    exact = clamp_resistance_ohm(max(leakage_w, 1e-3), aim, emf_max_v, driving_v=driving_v)
    # A light load would ask for a huge resistor: the capacitor must still follow the music.
    resistor = nearest(min(exact, 47e3), "E12")
    if resistor > exact:
        resistor = nearest(exact / 1.15, "E12")
    settled = float(clamp_voltage_v(leakage_w, resistor, emf_max_v, 2.0 * emf_max_v, driving_v=driving_v))
    lifted = settled / (settled - driving_v)  # power into the clamp over the leakage's own
    capacitor = max(
        at_least(clamp_capacitance_f(leakage_w * lifted, settled, 2.0 * switching_hz, _RIPPLE), "E6"), 10e-9
    )
    ripple_v = leakage_w * lifted / (settled * 2.0 * switching_hz * capacitor)
    mean_w = leakage_w * mean_share
    mean_v = float(clamp_voltage_v(mean_w, resistor, emf_max_v, 2.0 * emf_max_v, driving_v=driving_v))
    heat = (mean_v - emf_max_v) ** 2 / resistor
    return Clamp(
        diode=diode,
        diodes_each=each,
        diode_packages=each if diode.legs == 2 else 2 * each,
        resistor_ohm=resistor,
        capacitor_f=capacitor,
        capacitor_v=next((v for v in _FILM_V if v >= 1.2 * settled), 1000.0),
        voltage_v=settled,
        peak_v=settled + 0.5 * ripple_v + drop,
        least_v=least,
        most_v=most,
        leakage_w=leakage_w,
        heat_w=heat,
        returned_w=0.0 if driven else emf_max_v * (mean_v - emf_max_v) / resistor,
        rating_w=power_rating_w(heat),
        diode_peak_a=end_a,
        diode_peak_limit_a=_peak_limit_a(diode, each),
        rest_w=emf_max_v**2 / resistor,
        zener_w=mean_w * lifted,
    )


def _peak_limit_a(diode: Rectifier, each: int) -> float:
    """Pulse current that ``each`` diodes in parallel stand, A."""
    return _SURGE_SHARE * diode.ifsm_a * (each if each == 1 else _PARALLEL_SHARE * each)


def _clamp_diode(library: Library, clamp_v: float, peak_a: float) -> tuple[Rectifier, int]:
    """Fast diode for both drains, and how many in parallel at each: common-cathode pairs where there are any.

    Diodes from the drawer come first, then the fewest cases.
    """
    voltage = _DIODE_RESERVE * clamp_v
    fast = [
        r
        for r in library.rectifiers.values()
        if r.technology in ("schottky", "ultrafast") and r.common != "anode"
    ]
    fit = [
        (r, each)
        for r in fast
        for each in range(1, _MOST_EACH + 1)
        if r.vrrm_v >= voltage and _peak_limit_a(r, each) >= peak_a
    ]
    if not fit:
        raise _no_clamp_diode(fast, voltage, peak_a)
    return min(
        fit,
        key=lambda row: (
            library.in_drawer(row[0].id) < row[1] * (1 if row[0].legs == 2 else 2),
            row[1] * (1 if row[0].legs == 2 else 2),
            row[0].if_a,
            row[0].vrrm_v,
            row[0].id,
        ),
    )


def _no_clamp_diode(fast: list[Rectifier], voltage_v: float, peak_a: float) -> NoSolutionError:
    """What is missing, and by how much: voltage, or current."""
    high = [r for r in fast if r.vrrm_v >= voltage_v]
    if not high:
        best = max((r.vrrm_v for r in fast), default=0.0)
        lower_v = show(best / _DIODE_RESERVE / _OF_RATING, "voltage")
        remedy = (
            f"Add a fast diode of at least {show(voltage_v, 'voltage')} to the drawer, set converter.mosfet "
            f"to a switch of at most {lower_v}, so that the clamp may sit lower, or set "
            'converter.topology = "full-bridge", which needs no clamp.'
        )
        limit = f"{show(best, 'voltage')}, the highest rating of a fast diode at hand"
    else:
        most = max(_peak_limit_a(r, _MOST_EACH) for r in high)
        surge = peak_a / (_SURGE_SHARE * _PARALLEL_SHARE * _MOST_EACH)
        remedy = (
            f"Add a fast diode of {show(voltage_v, 'voltage')} with a surge rating of "
            f"{show(surge, 'current')} to the drawer, lower goal.power to {100 * most / peak_a:.0f} %, or "
            'set converter.topology = "full-bridge", which needs no clamp.'
        )
        limit = f"{show(most, 'current')}, {_MOST_EACH} of the strongest at hand in parallel at each drain"
    return NoSolutionError(
        message="No fast diode for the clamp.",
        quantity="reverse voltage and peak current",
        value=f"{show(voltage_v, 'voltage')} at {show(peak_a, 'current')}",
        limit=limit,
        source="parts library and drawer",
        remedy=remedy,
        code="CNV-04",
    )


def design_rectifier_snubber(
    rectifier: Rectifier, leakage_h: float, ratio: float, rail_v: float, switching_hz: float
) -> RectifierSnubber:
    """RC across each half-secondary, for the ring of leakage and junction capacitance.

    Parameters
    ----------
    rectifier : one leg's record. leakage_h : referred to a half-primary, H. ratio : Ns/Np.
    rail_v : highest rail, V; a half-secondary swings by twice that. switching_hz : full cycle, Hz.

    Returns
    -------
    RectifierSnubber. Two legs ring at each end of the winding.

    Source
    ------
    Resistor at the characteristic impedance, three times the parasitic capacitance. [snubbing-lab]
    """
    leg_f = rectifier.cj_f if rectifier.cj_f is not None else _CJ_PER_A * rectifier.if_a
    ring_f = 2.0 * leg_f
    inductance = max(leakage_h, 1e-9) * ratio**2
    resistor = nearest(max(snubber_resistance_ohm(inductance, ring_f), 1.0), "E12")
    capacitor = at_least(snubber_capacitance_f(ring_f), "E12")
    step = 2.0 * rail_v
    heat = snubber_loss_w(capacitor, step, switching_hz)
    return RectifierSnubber(
        resistor_ohm=resistor,
        capacitor_f=capacitor,
        capacitor_v=next((v for v in _FILM_V[1:] if v >= 1.5 * step), 1000.0),
        heat_w=heat,
        rating_w=power_rating_w(heat),
        ring_hz=1.0 / (2.0 * pi * sqrt(inductance * ring_f)),
        ring_f=ring_f,
    )
