"""The signal from the radio to the air: level, noise and headroom at each node, filter and box together.

It designs nothing. It puts what the other stages have settled beside each other: the line filter on the box's
response, the output filter on the driver's real impedance, and how much a burst gets out of each battery.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from subwright.physics.class_d import filter_response
from subwright.physics.networks.levels import db
from subwright.stages.common import Contributor, Corner, Loss, PartUse
from subwright.stages.signal_air import AirChain, AirNode, air_nodes

__all__ = ["OutputFilter", "OutputPeak", "SignalNeed", "SignalNode", "SignalResult", "design_signal"]

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]

_TOP_HZ: Final = 20e3
_PEAK_LIMIT_DB: Final = 6.0  # of the output filter, anywhere; common practice
_HALF_POWER_DB: Final = 10.0 * np.log10(2.0)


@dataclass(frozen=True, kw_only=True, slots=True)
class SignalNode:
    """One place in the chain at full output, in the middle of the band.

    Attributes
    ----------
    name : "summing amplifier". level_v : rms, V. peak_v : highest peak over the band, V.
    limit_v : peak at which it clips on the lowest supply, V; None where nothing limits it.
    """

    name: str
    level_v: float
    peak_v: float
    limit_v: float | None

    @property
    def headroom_db(self) -> float | None:
        """Room above the highest peak, dB; None without a limit."""
        return None if self.limit_v is None else float(db(self.limit_v / self.peak_v))


@dataclass(frozen=True, kw_only=True, slots=True)
class OutputFilter:
    """The class-D output filter of one leg, and what loads it.

    Attributes
    ----------
    inductance_h, capacitance_f, damping_ohm, damping_f, series_ohm : of one leg, H, F, Ω.
    legs : 1 or 2. frequency_hz, load_ohm : driver in its box, Hz and complex Ω. nominal_ohm : rated, Ω.
    """

    inductance_h: float
    capacitance_f: float
    damping_ohm: float
    damping_f: float
    series_ohm: float
    legs: int
    frequency_hz: Array
    load_ohm: Complex
    nominal_ohm: float


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class OutputPeak:
    """Response of the output filter.

    Attributes
    ----------
    frequency_hz : Hz. driver_db, nominal_db, open_db : into the driver, a resistor and nothing, dB.
    peak_db, peak_hz : highest with the driver. undamped_db : the same without the damping network, dB.
    limit_db : most that is sensible. top_db : with the driver at 20 kHz, dB.
    """

    frequency_hz: Array
    driver_db: Array
    nominal_db: Array
    open_db: Array
    peak_db: float
    peak_hz: float
    undamped_db: float
    limit_db: float
    top_db: float


@dataclass(frozen=True, kw_only=True, slots=True)
class SignalNeed:
    """What the other stages have settled.

    Attributes
    ----------
    nodes : from the radio to the loudspeaker terminals.
    frequency_hz : grid of the box, Hz. filter_gain : complex gain of inputs and filter together, V/V.
    passband_gain : its magnitude in the middle of the band, V/V.
    band_low_db, band_high_db : the filter's tolerance band over its own nominal response, dB.
    box_db, box_cabin_db : level for the drive of full output at every frequency, half space and cabin, dB.
    filter_delay_s, box_delay_s : group delays, s.
    output_filter : None for class AB.
    sine_w, burst_w : power at the onset of clipping at each corner, endless sine and burst, W.
    crest_factor_db : of the programme, dB. air : from the terminals to the ear.
    """

    nodes: tuple[SignalNode, ...]
    frequency_hz: Array
    filter_gain: Complex
    passband_gain: float
    band_low_db: Array
    band_high_db: Array
    box_db: Array
    box_cabin_db: Array
    filter_delay_s: Array
    box_delay_s: Array
    output_filter: OutputFilter | None
    sine_w: Mapping[Corner, float]
    burst_w: Mapping[Corner, float]
    crest_factor_db: float
    air: AirChain


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class SignalResult:
    """The whole chain.

    Attributes
    ----------
    nodes : from the radio to the loudspeaker terminals. air : from there to the ear.
    headroom_db, headroom_at : least of all line-level nodes, and where.
    frequency_hz : Hz. spl_db, spl_cabin_db : filter and box together, loudest sine that clips nowhere at any
        frequency, dB. spl_low_db, spl_high_db : half space, over the filter's tolerance. delay_s : s.
    lift_db : highest gain of the filter over the middle of its band: by so much full drive comes later there.
    f3_low_hz, f3_high_hz : 3 dB below the maximum, half space, Hz; None beyond the grid.
    cabin_f3_low_hz, cabin_f3_high_hz : the same in the cabin.
    peak : of the output filter; None for class AB.
    sine_w, burst_w : at each corner, W. burst_gain_db : at the nominal corner, dB. crest_factor_db : dB.
    """

    nodes: tuple[SignalNode, ...]
    air: tuple[AirNode, ...]
    headroom_db: float
    headroom_at: str
    frequency_hz: Array
    spl_db: Array
    spl_cabin_db: Array
    spl_low_db: Array
    spl_high_db: Array
    delay_s: Array
    lift_db: float
    f3_low_hz: float | None
    f3_high_hz: float | None
    cabin_f3_low_hz: float | None
    cabin_f3_high_hz: float | None
    peak: OutputPeak | None
    sine_w: Mapping[Corner, float]
    burst_w: Mapping[Corner, float]
    burst_gain_db: float
    crest_factor_db: float
    parts: tuple[PartUse, ...] = ()
    losses: tuple[Loss, ...] = ()
    contributors: tuple[Contributor, ...] = ()
    sources: tuple[str, ...] = ("self-ssad", "erickson2001", "ti-slaa701", "derived")
    reasons: tuple[str, ...] = ()

    def noise_v(self, filter_noise_v: Mapping[str, float]) -> Mapping[str, float]:
        """The line filter's noise at each node down to the loudspeaker, V rms by the node's name.

        ``filter_noise_v`` : at each block's output, V rms. The amplifier's own noise is not known.
        """
        before, speaker = self.nodes[-2:]
        arriving = filter_noise_v.get(before.name)
        if arriving is None:
            return filter_noise_v
        return {**filter_noise_v, speaker.name: arriving * speaker.level_v / before.level_v}


def design_signal(need: SignalNeed) -> SignalResult:
    """Put the chain together.

    Parameters
    ----------
    need : what the other stages have settled.

    Returns
    -------
    SignalResult.

    Raises
    ------
    RangeError : an output filter's value is out of range.
    """
    relative = db(np.abs(need.filter_gain) / need.passband_gain)
    lift = max(0.0, float(np.max(relative)))
    shape = relative - lift
    spl = need.box_db + shape
    cabin = need.box_cabin_db + shape
    limited = [n for n in need.nodes[:-1] if n.headroom_db is not None]
    tightest = min(limited, key=lambda n: n.headroom_db or 0.0)
    low, high = _edges(need.frequency_hz, np.asarray(spl))
    cabin_low, cabin_high = _edges(need.frequency_hz, np.asarray(cabin))
    peak = None if need.output_filter is None else _output_peak(need.output_filter)
    nominal = Corner.NOMINAL
    gain_db = float(db(need.burst_w[nominal] / need.sine_w[nominal])) / 2.0
    return SignalResult(
        nodes=need.nodes,
        air=air_nodes(need.air, np.asarray(shape)),
        headroom_db=tightest.headroom_db or 0.0,
        headroom_at=tightest.name,
        frequency_hz=need.frequency_hz,
        spl_db=np.asarray(spl),
        spl_cabin_db=np.asarray(cabin),
        spl_low_db=np.asarray(spl + need.band_low_db),
        spl_high_db=np.asarray(spl + need.band_high_db),
        delay_s=need.filter_delay_s + need.box_delay_s,
        lift_db=lift,
        f3_low_hz=low,
        f3_high_hz=high,
        cabin_f3_low_hz=cabin_low,
        cabin_f3_high_hz=cabin_high,
        peak=peak,
        sine_w=need.sine_w,
        burst_w=need.burst_w,
        burst_gain_db=gain_db,
        crest_factor_db=need.crest_factor_db,
        reasons=_reasons(need, lift, gain_db, peak),
    )


def _edges(frequency_hz: Array, level_db: Array) -> tuple[float | None, float | None]:
    """Outermost frequencies 3.01 dB below the maximum, Hz; None where the response stays above to the end."""
    above = np.flatnonzero(level_db >= level_db.max() - _HALF_POWER_DB)
    first, last = int(above[0]), int(above[-1])
    target = float(level_db.max() - _HALF_POWER_DB)
    log_f = np.log(frequency_hz)

    def crossing(inside: int, outside: int) -> float:
        share = (target - level_db[outside]) / (level_db[inside] - level_db[outside])
        return float(np.exp(log_f[outside] + share * (log_f[inside] - log_f[outside])))

    low = crossing(first, first - 1) if first > 0 else None
    high = crossing(last, last + 1) if last < level_db.size - 1 else None
    return low, high


def _output_peak(leg: OutputFilter) -> OutputPeak:
    def level(load: Complex | float, damping_f: float) -> Array:
        gain = filter_response(
            leg.frequency_hz,
            leg.inductance_h,
            leg.capacitance_f,
            leg.damping_ohm,
            damping_f,
            leg.series_ohm,
            load,
            leg.legs,
        )
        return np.asarray(db(np.abs(gain)))

    driver = level(leg.load_ohm, leg.damping_f)
    driver = driver - driver[0]  # what the resistances lose in the band counts elsewhere
    bare = level(leg.load_ohm, 1e-6 * leg.damping_f)
    at = int(np.argmax(driver))
    return OutputPeak(
        frequency_hz=leg.frequency_hz,
        driver_db=driver,
        nominal_db=level(leg.nominal_ohm, leg.damping_f),
        open_db=level(np.inf, leg.damping_f),
        peak_db=float(driver[at]),
        peak_hz=float(leg.frequency_hz[at]),
        undamped_db=float(np.max(bare)),
        limit_db=_PEAK_LIMIT_DB,
        top_db=float(np.interp(np.log(_TOP_HZ), np.log(leg.frequency_hz), driver)),
    )


def _reasons(need: SignalNeed, lift: float, gain_db: float, peak: OutputPeak | None) -> tuple[str, ...]:
    lines = [
        "Levels are those of a sine in the middle of the band at the onset of clipping, level control at its "
        "top, nominal battery."
    ]
    if lift > 0.1:
        lines.append(
            f"The filter lifts some frequencies by {lift:.1f} dB: full drive is reached there first, and the "
            "curves show the level at which nothing clips."
        )
    if peak is not None:
        lines.append(
            f"Into the driver's own impedance the output filter peaks by {peak.peak_db:.1f} dB at "
            f"{peak.peak_hz / 1e3:.0f} kHz; without its damping network it would be {peak.undamped_db:.1f} "
            f"dB."
        )
    lines.append(
        f"A burst of {need.crest_factor_db:g} dB crest factor clips {gain_db:.1f} dB above an endless sine "
        f"while "
        "the reservoir capacitors still hold the rails that the programme's average leaves; after them the "
        "sine's figure holds."
    )
    lines.append(
        "Distortion below clipping is not given: it depends on feedback and layout, which no value here says."
    )
    return tuple(lines)
