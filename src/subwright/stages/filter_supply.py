"""Which op-amp the filter uses, and what it runs on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import ceil, floor, pi, sqrt
from typing import Final

from subwright.base.errors import NoSolutionError
from subwright.base.preferred import at_least, at_most, nearest
from subwright.base.units import show
from subwright.parts.library import Library
from subwright.parts.schema import OpAmp, Zener
from subwright.physics.networks.filters import op_amp_bandwidth_hz
from subwright.physics.networks.levels import slew_rate_v_per_s
from subwright.physics.networks.noise import shot_noise_a_per_rthz, thermal_noise_v_per_rthz
from subwright.physics.networks.supplies import (
    adjustable_regulator_v,
    junction_c,
    linear_dissipation_w,
    zener_series_ohm,
    zener_shunt,
)
from subwright.stages.filter_blocks import Draft
from subwright.stages.filter_records import OpAmpSupply
from subwright.stages.filter_spec import FilterInput, FilterSpec

__all__ = [
    "AUDIO_HZ",
    "HEADROOM_DB",
    "bandwidth_needed_hz",
    "choose_op_amp",
    "design_op_amp_supply",
    "slew_needed_v_per_s",
]

HEADROOM_DB: Final = 3.0  # programme peaks above the stated sensitivity; common practice
AUDIO_HZ: Final = 20e3  # the summing amplifier sees the whole line signal
_BIPOLAR_A: Final = 4e-3  # largest supply current per amplifier of the 5532 family, from memory
_JFET_A: Final = 2.5e-3  # the same of the 07x family, from memory
_JFET_BIAS_A: Final = 1e-9  # a smaller bias current tells a JFET input
_ZENER_A: Final = 2e-3
_RESISTOR_MOST_W: Final = 1.0  # above this a regulator is the better answer; common practice
_HALF_LOADED: Final = 0.5
_FOLLOWER: Final = "TIP31C and TIP32C"  # multi-sourced complementary pair, TO-220
_FOLLOWER_HFE: Final = 25.0  # least, from memory
_FOLLOWER_DROP_V: Final = (0.5, 0.8)  # base to emitter, least and greatest, from memory
_FOLLOWER_MOST_V: Final = 100.0  # collector to emitter, from memory
_FOLLOWER_MOST_C: Final = 150.0
_FOLLOWER_COOL_C: Final = 125.0  # aimed at: leaves 25 K
_FOLLOWER_FREE_K_PER_W: Final = 62.5  # TO-220 in free air, from memory
_FOLLOWER_CASE_K_PER_W: Final = 4.1  # 3.125 junction to case and a greased face, data sheet and memory
_CLIP_ON_K_PER_W: Final = (30.0, 20.0, 12.0, 8.0)  # usual small TO-220 heatsinks; common practice, no source
_REGULATOR_R1_OHM: Final = 240.0
_REGULATOR_DROPOUT_V: Final = 3.0
_REGULATOR_MOST_V: Final = 40.0  # input to output, 317 and 337 families
_REGULATOR_RTH_K_PER_W: Final = 65.0  # TO-220 without heatsink
_REGULATOR_MOST_C: Final = 125.0
_AMBIENT_C: Final = 60.0  # inside the case
_SPLIT_TARGET_V: Final = 15.0
_MIDPOINT_OHM: Final = 10e3
_BATTERY_FILTER_OHM: Final = 47.0


def bandwidth_needed_hz(block: Draft) -> float:
    """Gain-bandwidth product by the rule of 100, Hz; 1 % accuracy of gain at 500 Hz for the plain blocks."""
    if block.f0_hz is not None and block.q is not None:
        return float(op_amp_bandwidth_hz(block.f0_hz, block.q, block.op_amp_gain))
    return 100.0 * block.op_amp_gain * 500.0


def slew_needed_v_per_s(block: Draft, peak_v: float) -> float:
    """Slew rate at full output, V/s: at 20 kHz before the low-pass, at twice the pole frequency after it."""
    # a state-variable stage's summing amplifier passes on what it is there to take away
    if block.kind in ("summer", "infrasonic", "transform") or "integrator A" in block.capacitors_f:
        return float(slew_rate_v_per_s(AUDIO_HZ, 2 * peak_v))
    top = 2 * block.f0_hz if block.f0_hz else 500.0
    return float(slew_rate_v_per_s(top, 2 * peak_v))


def choose_op_amp(
    spec: FilterSpec, blocks: Sequence[Draft], peak_v: float, data: FilterInput, library: Library
) -> OpAmp:
    """Op-amp for every block: enough headroom first, then at hand, cheaper, quieter, in fewer cases.

    Parameters
    ----------
    spec : the builder's wishes. blocks : with their demands. peak_v : highest peak in the chain, V.
    data : rails or battery. library : parts with the drawer merged.

    Raises
    ------
    PartNotFoundError : an id that is in neither drawer nor library.
    NoSolutionError : none in drawer and library serves.
    """
    if spec.op_amp != "auto":
        return library.op_amp(spec.op_amp)
    active = [b for b in blocks if b.op_amps]
    gbw = max(bandwidth_needed_hz(b) for b in active)
    slew = max(slew_needed_v_per_s(b, peak_v) for b in active)
    wanted = sum(b.op_amps for b in active)
    amplifiers = data.receiver_op_amps + wanted + (not _split(spec, data))
    quick = [a for a in library.op_amps.values() if a.gbw_hz >= gbw and a.slew_v_per_s >= slew]
    lowest_v = {a.id: _lowest_v(spec, data, a, amplifiers, library) for a in quick}
    fit = [a for a in quick if 0.5 * lowest_v[a.id] - a.swing_loss_v >= peak_v]
    if not fit:
        if not quick:
            raise _too_fast(gbw, slew)
        fed = [a for a in quick if lowest_v[a.id] > 0.0]
        swings_v = {a.id: 0.5 * lowest_v[a.id] - a.swing_loss_v for a in fed}
        raise _no_op_amp(peak_v, swings_v, lowest_v, data)
    source = float(thermal_noise_v_per_rthz(spec.input_resistance_ohm))

    def noise(a: OpAmp) -> float:
        current = float(shot_noise_a_per_rthz(a.ib_a)) * spec.input_resistance_ohm
        return sqrt(a.noise_v_per_rthz**2 + current**2 + source**2)

    spare = 10.0 ** (HEADROOM_DB / 20.0)

    def packages(a: OpAmp) -> int:
        return ceil(wanted / a.channels)

    return min(
        fit,
        key=lambda a: (
            0.5 * lowest_v[a.id] - a.swing_loss_v < spare * peak_v,
            library.in_drawer(a.id) < packages(a),
            int(noise(a) / (1.5 * source)),  # the input resistor's own noise hides smaller differences
            packages(a),
            noise(a),
            a.id,
        ),
    )


def _lowest_v(spec: FilterSpec, data: FilterInput, op_amp: OpAmp, amplifiers: int, library: Library) -> float:
    """Lowest total supply that an op-amp gets, V; 0 where none fits it."""
    if _split(spec, data):
        lowest = 2 * _least_split_v(data)
        fits = op_amp.supply_min_v <= lowest and op_amp.supply_max_v >= 2 * _SPLIT_TARGET_V * 1.05
        return lowest if fits else 0.0
    try:
        return _battery_supply(data, op_amp, _current_a(op_amp, amplifiers), library).low_v
    except NoSolutionError:
        return 0.0


def _too_fast(gbw_hz: float, slew_v_per_s: float) -> NoSolutionError:
    return NoSolutionError(
        message="No op-amp in drawer and library is fast enough for this filter.",
        quantity="gain-bandwidth and slew rate",
        value=f"{gbw_hz / 1e6:.2f} MHz, {slew_v_per_s / 1e6:.2f} V/µs",
        limit="the fastest at hand",
        source="parts library and drawer",
        remedy="Lower amplifier.full_input or filter.corner, ask less of filter.boost or "
        "filter.transform, or add a faster op-amp to your drawer.",
    )


def _no_op_amp(
    peak_v: float, swings_v: Mapping[str, float], lowest_v: Mapping[str, float], data: FilterInput
) -> NoSolutionError:
    if not swings_v:
        what, low, high = "battery", data.battery_low_v, data.battery_high_v
        if data.rail_low_v is not None and data.rail_high_v is not None:
            what, low, high = "each rail", data.rail_low_v, data.rail_high_v
        return NoSolutionError(
            message="No op-amp in drawer and library runs from this supply.",
            quantity=what,
            value=f"{show(low, 'voltage')} to {show(high, 'voltage')}",
            remedy="Add an op-amp with a wider range of supply to your drawer, or set filter.op_amp_supply.",
        )
    best = max(swings_v, key=lambda part: (swings_v[part], part))
    reach = max(swings_v[best], 0.0)
    lower = f'"{floor(900.0 * data.full_input_v * reach / peak_v):d} mV"'
    less = f"Lower amplifier.full_input to {lower} or so, ask" if reach > 0.0 else "Ask"
    return NoSolutionError(
        message="No op-amp in drawer and library swings as far as this filter asks.",
        quantity="peak at an op-amp's output",
        value=show(peak_v, "voltage"),
        limit=f"{show(reach, 'voltage')}, {best} on {show(lowest_v[best], 'voltage')}",
        source="parts library and drawer",
        remedy=f"{less} less of filter.boost or filter.transform, or add an op-amp to your drawer that comes "
        "closer to its supply.",
    )


def _current_a(op_amp: OpAmp, amplifiers: int) -> float:
    """What all cases draw from each rail, A."""
    each = _JFET_A if op_amp.ib_a < _JFET_BIAS_A else _BIPOLAR_A
    return ceil(amplifiers / op_amp.channels) * op_amp.channels * each


def _split(spec: FilterSpec, data: FilterInput) -> bool:
    return data.rail_low_v is not None and spec.op_amp_supply != "battery"


def _least_split_v(data: FilterInput) -> float:
    return min(_SPLIT_TARGET_V * 0.95, (data.rail_low_v or 0.0) / 1.15)


def design_op_amp_supply(
    spec: FilterSpec, data: FilterInput, op_amp: OpAmp, amplifiers: int, library: Library
) -> OpAmpSupply:
    """Zener shunts or regulators from the rails, or the battery with a midpoint.

    Parameters
    ----------
    spec : the builder's wishes. data : rails and battery. op_amp : chosen. amplifiers : how many are used.
    library : parts with the drawer merged.

    Raises
    ------
    NoSolutionError : the rails are too low, too high or missing for the wanted kind.
    """
    current = _current_a(op_amp, amplifiers)
    if not _split(spec, data):
        if spec.op_amp_supply in ("zener", "follower", "regulator"):
            raise NoSolutionError(
                message="There are no rails to run the op-amps from.",
                quantity="op-amp supply",
                value=spec.op_amp_supply,
                remedy='Set filter.op_amp_supply to "battery" or "auto".',
            )
        return _battery_supply(data, op_amp, current, library)
    if spec.op_amp_supply == "regulator":
        return _regulator_supply(data, op_amp, current)
    if spec.op_amp_supply == "follower":
        return _follower_supply(data, op_amp, current, library)
    zener = _zener_supply(data, op_amp, current, library)
    if spec.op_amp_supply == "zener":
        if zener is None:
            raise _no_zener(data)
        return zener
    if zener is not None and zener.resistor_w <= _RESISTOR_MOST_W:
        return zener
    try:
        regulator = _regulator_supply(data, op_amp, current)
        if regulator.regulator_c <= _REGULATOR_MOST_C:
            return regulator
    except NoSolutionError:
        pass
    return _follower_supply(data, op_amp, current, library)


def _no_zener(data: FilterInput) -> NoSolutionError:
    return NoSolutionError(
        message="No zener diode in drawer and library fits these rails.",
        quantity="rail",
        value=f"{show(data.rail_low_v or 0.0, 'voltage')} to {show(data.rail_high_v or 0.0, 'voltage')}",
        remedy='Set filter.op_amp_supply to "regulator" or "auto".',
    )


def _follower_supply(data: FilterInput, op_amp: OpAmp, current: float, library: Library) -> OpAmpSupply:
    """A zener at the base of an emitter follower: the resistor carries the zener's current only."""
    low, high = data.rail_low_v or 0.0, data.rail_high_v or 0.0
    least_drop, most_drop = _FOLLOWER_DROP_V
    fit = [
        z
        for z in library.zeners.values()
        if z.vz_v <= _SPLIT_TARGET_V + most_drop
        and 2 * (z.vz_v * (1 - z.tolerance) - most_drop) >= op_amp.supply_min_v
        and 2 * (z.vz_v * (1 + z.tolerance) - least_drop) <= op_amp.supply_max_v
        and z.vz_v * 1.15 <= low
    ]
    if not fit:
        raise _no_zener(data)
    diode = min(fit, key=lambda z: (library.in_drawer(z.id) < 2, -z.vz_v, z.id))
    emitter_high = diode.vz_v * (1 + diode.tolerance) - least_drop
    emitter_low = diode.vz_v * (1 - diode.tolerance) - most_drop
    base = current / _FOLLOWER_HFE
    series = at_most(float(zener_series_ohm(low, diode.vz_v * (1 + diode.tolerance), base, _ZENER_A)), "E12")
    shunt = zener_shunt(high, diode.vz_v * (1 - diode.tolerance), series, base)
    across = high - emitter_low
    if across > 0.8 * _FOLLOWER_MOST_V:
        raise NoSolutionError(
            message="The rails are too high for the followers that feed the op-amps.",
            quantity="collector to emitter",
            value=show(across, "voltage"),
            limit=show(0.8 * _FOLLOWER_MOST_V, "voltage"),
            source="common-practice",
            remedy='Set filter.op_amp_supply to "zener" or "battery".',
        )
    heat = across * current
    free = float(junction_c(_AMBIENT_C, heat, _FOLLOWER_FREE_K_PER_W))
    sink = None
    hot = free
    if free > _FOLLOWER_COOL_C:
        sink = next(
            (
                r
                for r in _CLIP_ON_K_PER_W
                if float(junction_c(_AMBIENT_C, heat, r + _FOLLOWER_CASE_K_PER_W)) <= _FOLLOWER_COOL_C
            ),
            _CLIP_ON_K_PER_W[-1],
        )
        hot = float(junction_c(_AMBIENT_C, heat, sink + _FOLLOWER_CASE_K_PER_W))
    return OpAmpSupply(
        kind="follower",
        low_v=2 * emitter_low,
        high_v=2 * emitter_high,
        limit_low_v=op_amp.supply_min_v,
        limit_high_v=op_amp.supply_max_v,
        current_a=current,
        series_ohm=series,
        zener_id=diode.id,
        zener_v=diode.vz_v,
        resistor_w=shunt.resistor_w,
        zener_w=shunt.zener_w,
        transistor=_FOLLOWER,
        transistor_w=heat,
        transistor_c=hot,
        transistor_limit_c=_FOLLOWER_MOST_C,
        transistor_v=across,
        transistor_limit_v=_FOLLOWER_MOST_V,
        sink_k_per_w=sink,
    )


def _zener_supply(data: FilterInput, op_amp: OpAmp, current: float, library: Library) -> OpAmpSupply | None:
    low, high = data.rail_low_v or 0.0, data.rail_high_v or 0.0

    def built(diode: Zener) -> OpAmpSupply:
        exact = float(zener_series_ohm(low, diode.vz_v * (1 + diode.tolerance), current, _ZENER_A))
        series = at_most(exact, "E12")
        shunt = zener_shunt(high, diode.vz_v * (1 - diode.tolerance), series, current)
        return OpAmpSupply(
            kind="zener",
            low_v=2 * diode.vz_v * (1 - diode.tolerance),
            high_v=2 * diode.vz_v * (1 + diode.tolerance),
            limit_low_v=op_amp.supply_min_v,
            limit_high_v=op_amp.supply_max_v,
            current_a=current,
            series_ohm=series,
            zener_id=diode.id,
            zener_v=diode.vz_v,
            resistor_w=shunt.resistor_w,
            zener_w=shunt.zener_w,
        )

    fit = [
        (z, built(z))
        for z in library.zeners.values()
        if z.vz_v <= _SPLIT_TARGET_V
        and 2 * z.vz_v * (1 - z.tolerance) >= op_amp.supply_min_v
        and 2 * z.vz_v * (1 + z.tolerance) <= op_amp.supply_max_v
        and z.vz_v * 1.15 <= low
    ]
    cool = [(z, s) for z, s in fit if s.zener_w <= _HALF_LOADED * z.power_w]
    if not cool:
        return None
    return min(cool, key=lambda pair: (library.in_drawer(pair[0].id) < 2, -pair[0].vz_v, pair[0].id))[1]


def _regulator_supply(data: FilterInput, op_amp: OpAmp, current: float) -> OpAmpSupply:
    low, high = data.rail_low_v or 0.0, data.rail_high_v or 0.0
    wanted = min(_SPLIT_TARGET_V, low - _REGULATOR_DROPOUT_V, 0.5 * op_amp.supply_max_v / 1.05)
    if wanted < 0.5 * op_amp.supply_min_v:
        raise NoSolutionError(
            message="The rails are too low for the op-amps.",
            quantity="lowest rail",
            value=show(low, "voltage"),
            limit=show(0.5 * op_amp.supply_min_v + _REGULATOR_DROPOUT_V, "voltage"),
            remedy="Choose an op-amp for a lower supply, or run it from the battery.",
        )
    r2 = at_most((wanted / 1.25 - 1.0) * _REGULATOR_R1_OHM, "E24")
    volts = float(adjustable_regulator_v(_REGULATOR_R1_OHM, r2))
    if high - volts > _REGULATOR_MOST_V:
        raise NoSolutionError(
            message="The rails are too high for a 317-family regulator.",
            quantity="regulator input to output",
            value=show(high - volts, "voltage"),
            limit=show(_REGULATOR_MOST_V, "voltage"),
            source="lm317",
            remedy='Set filter.op_amp_supply to "auto" or "follower".',
        )
    heat = float(linear_dissipation_w(high, volts, current))
    junction = float(junction_c(_AMBIENT_C, heat, _REGULATOR_RTH_K_PER_W))
    return OpAmpSupply(
        kind="regulator",
        low_v=2 * volts * 0.96,
        high_v=2 * volts * 1.04,
        limit_low_v=op_amp.supply_min_v,
        limit_high_v=op_amp.supply_max_v,
        current_a=current,
        r1_ohm=_REGULATOR_R1_OHM,
        r2_ohm=r2,
        regulator_w=heat,
        regulator_c=junction,
        regulator_v=high,
    )


def _battery_supply(data: FilterInput, op_amp: OpAmp, current: float, library: Library) -> OpAmpSupply:
    """The filtered battery with a midpoint; behind a zener where the battery is too high for the op-amp."""
    if data.battery_high_v > op_amp.supply_max_v:
        return _held_battery(data, op_amp, current, library)
    low = data.battery_low_v - _BATTERY_FILTER_OHM * current
    if low < op_amp.supply_min_v:
        raise _no_battery(op_amp, low, data.battery_high_v)
    return OpAmpSupply(
        kind="battery",
        low_v=low,
        high_v=data.battery_high_v,
        limit_low_v=op_amp.supply_min_v,
        limit_high_v=op_amp.supply_max_v,
        current_a=current,
        midpoint_ohm=nearest(_MIDPOINT_OHM, "E12"),
        midpoint_f=at_least(47e-6, "E6"),
        filter_ohm=_BATTERY_FILTER_OHM,
        filter_f=_smoothing_f(_BATTERY_FILTER_OHM),
        resistor_w=current**2 * _BATTERY_FILTER_OHM,
    )


def _smoothing_f(resistance_ohm: float) -> float:
    """Capacitor that puts the filter's corner a decade under the lowest note, F."""
    return float(at_least(1.0 / (2 * pi * resistance_ohm * 3.0), "E3"))


def _no_battery(op_amp: OpAmp, low_v: float, high_v: float) -> NoSolutionError:
    return NoSolutionError(
        message="The op-amp doesn't run from this battery.",
        quantity="op-amp supply",
        value=f"{show(low_v, 'voltage')} to {show(high_v, 'voltage')}",
        limit=f"{show(op_amp.supply_min_v, 'voltage')} to {show(op_amp.supply_max_v, 'voltage')}",
        source=op_amp.provenance.document,
        remedy="Choose another op-amp (filter.op_amp), or run it from rails.",
    )


def _held_battery(data: FilterInput, op_amp: OpAmp, current: float, library: Library) -> OpAmpSupply:
    def built(diode: Zener) -> OpAmpSupply:
        least, most = diode.vz_v * (1 - diode.tolerance), diode.vz_v * (1 + diode.tolerance)
        series = at_most(float(zener_series_ohm(data.battery_low_v, most, current, _ZENER_A)), "E12")
        shunt = zener_shunt(data.battery_high_v, least, series, current)
        return OpAmpSupply(
            kind="battery",
            low_v=least,
            high_v=most,
            limit_low_v=op_amp.supply_min_v,
            limit_high_v=op_amp.supply_max_v,
            current_a=current,
            zener_id=diode.id,
            zener_v=diode.vz_v,
            midpoint_ohm=nearest(_MIDPOINT_OHM, "E12"),
            midpoint_f=at_least(47e-6, "E6"),
            filter_ohm=series,
            filter_f=_smoothing_f(series),
            resistor_w=shunt.resistor_w,
            zener_w=shunt.zener_w,
        )

    fit = [
        (z, built(z))
        for z in library.zeners.values()
        if z.vz_v * (1 - z.tolerance) >= op_amp.supply_min_v
        and z.vz_v <= 2 * _SPLIT_TARGET_V
        and z.vz_v * (1 + z.tolerance) <= op_amp.supply_max_v
        and z.vz_v * 1.15 <= data.battery_low_v
    ]
    cool = [(z, s) for z, s in fit if s.zener_w <= _HALF_LOADED * z.power_w]
    if not cool:
        raise _no_battery(op_amp, data.battery_low_v, data.battery_high_v)
    return min(cool, key=lambda pair: (library.in_drawer(pair[0].id) < 1, -pair[0].vz_v, pair[0].id))[1]
