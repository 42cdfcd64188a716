"""Line and loudspeaker-level inputs: pad, protection, radio-frequency filter and difference amplifier.

Each channel has a resistor in every lead, a small capacitor to ground behind it, clamp diodes to the op-amps'
supply, and then either the summing amplifier itself or a difference amplifier. Loudspeaker level is brought
down by a resistor across the two leads; the half-supply on which bridged radio outputs rest is common to both
leads and does not pass.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Final, Literal

import numpy as np

from subwright.base.errors import RangeError
from subwright.base.preferred import at_most, between, nearest
from subwright.base.units import code, show
from subwright.parts.library import Library
from subwright.parts.schema import Zener
from subwright.physics.networks.difference import (
    balanced_pad_shunt_ohm,
    common_mode_at_input,
    difference_gains,
    difference_rejection_db,
    worst_difference_rejection_db,
)
from subwright.physics.networks.levels import db
from subwright.stages.common import Contributor, Loss, PartUse, Rating, resistor_use
from subwright.stages.input_spec import InputNeed, InputResult, InputSpec

__all__ = ["InputNeed", "InputResult", "InputSpec", "design_input", "receiver_gain", "takes_op_amps"]

_LINE_SERIES_OHM: Final = 1e3
_PAD_SERIES_OHM: Final = (820.0, 2.2e3)
_NOISE_LIMIT_DB: Final = 50.0  # ground noise below full output; common practice
_CLAMP: Final = "1N4148"
_CLAMP_A: Final = 0.15  # continuous forward current of a small-signal switching diode, from memory
_DIODE_V: Final = 0.6
_INPUT_LOSS_V: Final = 3.0  # op-amp inputs must stay this far from either supply, from memory
_OUT: Final = "difference amplifier out"
_IN: Final = "difference amplifier in"
_LOW_SHARE: Final = 0.45  # of the receiver's gain where its op-amp must keep off ground
_RADIO_MOST_V: Final = 33.0  # highest battery of a 24 V system: no radio runs from more
_RADIO_REST_V: Final = 8.0  # half the supply of a 12 V radio while charging
_FAULT_LEAST_V: Final = 16.0


def _receiver(spec: InputSpec) -> Literal["single-ended", "difference"]:
    if spec.receiver == "auto":
        return "difference" if spec.source == "speaker" else "single-ended"
    return spec.receiver


def takes_op_amps(spec: InputSpec, channels: int) -> int:
    """Amplifiers that the inputs take, for 1 or 2 channels."""
    return channels if _receiver(spec) == "difference" else 0


def receiver_gain(spec: InputSpec, *, on_battery: bool) -> float:
    """Output of a line source's receiver over the source, V/V; 1 where there is none, or where a pad sets it.

    Parameters
    ----------
    spec : the builder's wishes. on_battery : whether ground is the lower supply of the op-amps.
    """
    if spec.source != "line" or _receiver(spec) != "difference":
        return 1.0
    into, out = _around(spec, on_battery=on_battery)
    series = _line_series_ohm(spec)
    return float(difference_gains((series, series, into, out, into, out))[0])


def _around(spec: InputSpec, *, on_battery: bool) -> tuple[float, float]:
    """Input and feedback resistors of the difference amplifier, Ω.

    A line source rests on ground: with ground for lower supply the op-amp's inputs must be drawn well above
    it towards the midpoint, by feedback and ground resistors below the input resistors.
    """
    into = float(nearest(spec.resistance_ohm, spec.resistor_series))
    if on_battery and spec.source == "line":
        return into, float(nearest(_LOW_SHARE * into, spec.resistor_series))
    return into, into


def _line_series_ohm(spec: InputSpec) -> float:
    return float(nearest(_LINE_SERIES_OHM, spec.resistor_series))


def design_input(spec: InputSpec, need: InputNeed, library: Library) -> InputResult:
    """Design the inputs.

    Parameters
    ----------
    spec : the builder's wishes. need : channels, level and supply. library : parts with the drawer merged.

    Returns
    -------
    The inputs with their loss, rejection and stresses.

    Raises
    ------
    RangeError : a loudspeaker level that is below the filter's sensitivity, or read single-ended.
    """
    receiver = _receiver(spec)
    if spec.source == "speaker" and receiver == "single-ended":
        raise RangeError(
            message="Bridged loudspeaker outputs have no side on ground: they must be read between both "
            "leads.",
            quantity="input.receiver",
            value="single-ended",
            limit="difference",
            remedy='Set input.receiver = "auto".',
        )
    on_battery = need.reference_v > 0.0
    into, out = _around(spec, on_battery=on_battery)
    series, shunt = _pad(spec, need, into)
    rf_f = at_most(1.0 / (2 * np.pi * series * spec.rf_corner_hz), "E6")
    leads = 2 if receiver == "difference" else 1
    if receiver == "difference":
        nominal = (series, series, into, out, into, out)
        gain = float(difference_gains(nominal, np.inf if shunt is None else shunt)[0])
        source_ohm = spec.source_output_ohm if spec.source == "line" else 0.0
        worst, p1, median, matched = _rejection(spec, need, nominal, shunt, source_ohm)
        # a line source drives the hot lead only, a bridged one both: those take 2 R between them
        load = series + into + out if shunt is None else 2.0 * series + 1.0 / (0.5 / into + 1.0 / shunt)
    else:
        gain = need.summing_ohm / (need.summing_ohm + series)
        worst = p1 = median = matched = 0.0
        load = series + need.summing_ohm
    source_v = need.sensitivity_v / gain
    noise_db = float(db(source_v / spec.ground_noise_v)) + worst
    pad_a = source_v / load
    rest_v = _resting_v(spec, need)
    common_v = 0.0
    if receiver == "difference":
        # at the + input: half of what a pad leaves of a balanced source, or the whole of an unbalanced one
        music_v = 0.5 * need.sensitivity_v if spec.source == "speaker" else source_v
        swing = np.sqrt(2.0) * (music_v + spec.ground_noise_v)
        # a radio's half supply and the op-amps' go up and down together; ground stays
        below = need.side_v if on_battery and spec.source == "line" else abs(rest_v - need.reference_v)
        common_v = float(common_mode_at_input(below + swing, series, into, out))
    fault_v = max(_FAULT_LEAST_V, need.battery_max_v) if spec.fault_v is None else spec.fault_v
    clamp = _clamp(spec, need, source_v, library)
    held_v = need.side_v + _DIODE_V if clamp is None else clamp.vz_v + _DIODE_V
    fault_a = max(0.0, fault_v - held_v) / series
    result = InputResult(
        source=spec.source,
        receiver=receiver,
        channels=need.channels,
        op_amps=need.channels if receiver == "difference" else 0,
        leads=leads,
        series_ohm=series,
        shunt_ohm=shunt,
        rf_f=rf_f,
        rf_corner_hz=1.0 / (2 * np.pi * series * rf_f),
        difference_in_ohm=into if receiver == "difference" else None,
        difference_out_ohm=out if receiver == "difference" else None,
        gain=gain,
        source_v=source_v,
        output_v=need.sensitivity_v,
        load_ohm=load,
        resting_v=rest_v,
        fault_v=fault_v,
        pad_w=source_v**2 / load,
        resistor_w=pad_a**2 * series,
        rejection_worst_db=worst,
        rejection_p1_db=p1,
        rejection_median_db=median,
        rejection_matched_db=matched,
        ground_noise_v=spec.ground_noise_v,
        noise_db=noise_db,
        noise_limit_db=_NOISE_LIMIT_DB,
        common_mode_v=common_v,
        common_mode_limit_v=need.side_v - _INPUT_LOSS_V,
        clamp_id=_CLAMP if clamp is None else clamp.id,
        clamp_v=_DIODE_V if clamp is None else held_v,
        clamp_a=fault_a,
        clamp_limit_a=_CLAMP_A if clamp is None else clamp.power_w / clamp.vz_v,
        fault_w=fault_a**2 * series,
        parts=(),
        losses=(),
        contributors=_contributors(spec, receiver, out / (into + out)),
        sources=("sedra-smith", "self-ssad", "iec-60063", "common-practice", "derived"),
        reasons=(),
    )
    # The heat comes from the source, not from the battery: no loss of this unit.
    heat: tuple[Loss, ...] = ()

    return replace(
        result, parts=tuple(_parts(spec, result, library)), losses=heat, reasons=_reasons(spec, result)
    )


def _resting_v(spec: InputSpec, need: InputNeed) -> float:
    """What the source's leads rest on above ground, V."""
    if spec.source == "line":
        return 0.0
    if spec.speaker_rest_v is not None:
        return spec.speaker_rest_v
    return 0.5 * need.battery_max_v if need.battery_max_v <= _RADIO_MOST_V else _RADIO_REST_V


def _clamp(spec: InputSpec, need: InputNeed, source_v: float, library: Library) -> Zener | None:
    """Zener diodes to ground where diodes to the supplies would cut the music; None where they don't.

    Op-amps on a battery have ground for their lower supply, and a line source rests on it: half of every
    wave would run into the diode.
    """
    if need.reference_v == 0.0 or spec.source != "line":
        return None
    wanted = 1.25 * np.sqrt(2.0) * source_v
    fits = [z for z in library.zeners.values() if z.vz_v * (1.0 - z.tolerance) >= wanted]
    if not fits:
        raise RangeError(
            message="No zener diode at hand lets this line level through.",
            quantity="crest of the line level",
            value=show(wanted / 1.25, "voltage"),
            limit="four fifths of the highest zener voltage in drawer and library",
            remedy="Lower filter.sensitivity, or add a zener diode to the drawer.",
        )
    return min(fits, key=lambda z: (z.vz_v, library.in_drawer(z.id) == 0, z.id))


def _pad(spec: InputSpec, need: InputNeed, around_ohm: float) -> tuple[float, float | None]:
    """Series resistor of each lead, and the one across them for loudspeaker level, Ω."""
    if spec.source == "line":
        return _line_series_ohm(spec), None
    wanted = need.sensitivity_v / spec.speaker_v
    # a balanced source sees 2 R between the leads of the difference amplifier
    after = around_ohm / (around_ohm + 0.5 * _PAD_SERIES_OHM[0])
    if wanted > 0.8 * after:
        raise RangeError(
            message="The loudspeaker level is too low to need a pad.",
            quantity="filter.sensitivity over input.speaker",
            value=f"{wanted:.3g}",
            limit="at most 0.8",
            remedy="Lower filter.sensitivity, or state a higher input.speaker.",
        )
    series = between(*_PAD_SERIES_OHM, spec.resistor_series)
    stock = between(22.0, 100e3, spec.resistor_series)
    exact = np.asarray(balanced_pad_shunt_ohm(wanted, series, 2.0 * around_ohm))
    place = np.clip(np.searchsorted(stock, exact)[:, None] + np.array([-1, 0]), 0, stock.size - 1)
    shunt = stock[place]
    legs = np.broadcast_to(series[:, None], shunt.shape)
    gain = np.asarray(
        difference_gains((legs, legs, around_ohm, around_ohm, around_ohm, around_ohm), shunt)[0]
    )
    n = int(np.argmin(np.abs(np.log(gain / wanted))))
    return float(legs.ravel()[n]), float(shunt.ravel()[n])


def _rejection(
    spec: InputSpec, need: InputNeed, nominal: tuple[float, ...], shunt: float | None, source_ohm: float
) -> tuple[float, float, float, float]:
    """Worst case, 1st percentile and median of random builds, and the worst case of an ideal source, dB."""
    tolerance = spec.resistor_tolerance
    across = np.inf if shunt is None else shunt
    worst = worst_difference_rejection_db(nominal, tolerance, source_ohm, across)
    matched = worst_difference_rejection_db(nominal, tolerance, 0.0, across)
    generator = np.random.default_rng(need.seed)
    spread = 1.0 + tolerance * generator.uniform(-1.0, 1.0, (6, need.draws))
    hot, cold, r1, r2, r3, r4 = np.asarray(nominal)[:, None] * spread
    builds = np.asarray(difference_rejection_db((hot + source_ohm, cold, r1, r2, r3, r4), across))
    low, middle = np.percentile(builds, [1.0, 50.0])
    return worst, float(low), float(middle), matched


def _contributors(spec: InputSpec, receiver: str, share: float) -> tuple[Contributor, ...]:
    if receiver != "difference":
        return ()
    # To first order each resistor moves the common-mode gain by its own relative error times this share.
    return tuple(
        Contributor(
            result="common-mode gain of the receiver",
            part=f"{role} {side}",
            tolerance=spec.resistor_tolerance,
            sensitivity=share * sign,
        )
        for role, side, sign in ((_IN, "cold", 1), (_OUT, "cold", -1), (_IN, "hot", -1), (_OUT, "hot", 1))
    )


def _parts(spec: InputSpec, result: InputResult, library: Library) -> Iterator[PartUse]:
    channels, leads = result.channels, result.leads
    stress = max(result.resistor_w, result.fault_w)
    yield _resistor(
        "input series", result.series_ohm, spec.resistor_tolerance, channels * leads, stress, library
    )
    if result.shunt_ohm is not None:
        heat = (result.source_v / result.load_ohm) ** 2 * result.shunt_ohm
        yield _resistor("input pad shunt", result.shunt_ohm, spec.resistor_tolerance, channels, heat, library)
    if result.difference_in_ohm is not None and result.difference_out_ohm is not None:
        for role, value in ((_IN, result.difference_in_ohm), (_OUT, result.difference_out_ohm)):
            yield _resistor(role, value, spec.resistor_tolerance, 2 * channels, 0.0, library)
    yield PartUse(
        role="input RF capacitor",
        letter="C",
        part_id=code(result.rf_f, "capacitance"),
        description="film or C0G ceramic 63 V",
        quantity=channels * leads,
        value=show(result.rf_f, "capacitance"),
        tolerance=0.05,
        ratings=(Rating(quantity="voltage", unit="V", applied=result.fault_v, limit=63.0, at="fault"),),
        provenance="IEC 60063 preferred value",
    )
    zener = result.clamp_id != _CLAMP
    yield PartUse(
        role="input clamp zener" if zener else "input clamp diode",
        letter="VR" if zener else "D",
        part_id=result.clamp_id,
        description="zener diode, two back to back to ground"
        if zener
        else "small-signal switching diode, one to each supply of the op-amps",
        quantity=2 * channels * leads,
        ratings=(
            Rating(
                quantity="forward current",
                unit="A",
                applied=result.clamp_a,
                limit=result.clamp_limit_a,
                at="fault on the input",
            ),
        ),
        provenance="memory",
    )
    if result.source == "line":
        yield PartUse(
            role="line input",
            letter="J",
            part_id="phono socket",
            description="phono socket, insulated from the case",
            quantity=channels,
            provenance="common practice",
        )
    if result.source == "speaker":
        yield PartUse(
            role="loudspeaker-level terminal",
            letter="J",
            part_id="terminal block",
            description="two-pole terminal block",
            quantity=channels,
            provenance="common practice",
        )


def _resistor(
    role: str, value_ohm: float, tolerance: float, quantity: int, watts: float, library: Library
) -> PartUse:
    return resistor_use(
        role,
        value_ohm,
        watts,
        tolerance=tolerance,
        quantity=quantity,
        at="loudest, or a fault",
        at_hand=library.has_resistor(value_ohm, tolerance),
    )


def _reasons(spec: InputSpec, result: InputResult) -> tuple[str, ...]:
    lines = []
    if result.source == "speaker":
        lines.append(
            f"Loudspeaker level: {show(result.series_ohm, 'resistance')} in each lead and "
            f"{show(result.shunt_ohm or 0.0, 'resistance')} across bring {show(result.source_v, 'voltage')} "
            f"down "
            f"to {show(result.output_v, 'voltage')}; the pad takes {show(result.pad_w, 'power')} a channel. "
            "Neither lead may touch ground: bridged outputs would be shorted."
        )
    if result.receiver == "difference":
        lines.append(
            f"Difference amplifiers reject what both leads share by {result.rejection_worst_db:.0f} dB at "
            f"worst "
            f"({result.rejection_median_db:.0f} dB in half of all builds): "
            f"{100 * spec.resistor_tolerance:g} % "
            f"resistors alone give {result.rejection_matched_db:.0f} dB, the source's own resistance in one "
            "lead takes the rest."
            if result.source == "line"
            else f"Difference amplifiers reject what both leads share by {result.rejection_worst_db:.0f} dB "
            f"at "
            f"worst ({result.rejection_median_db:.0f} dB in half of all builds)."
        )
    else:
        lines.append(
            "Single-ended: noise between the radio's ground and this one adds to the music; "
            'input.receiver = "difference" rejects it.'
        )
    lines.append(
        f"{show(result.series_ohm, 'resistance')} and {show(result.rf_f, 'capacitance')} in each lead keep "
        f"radio signals out above {show(result.rf_corner_hz, 'frequency')}; with the clamp diodes they also "
        f"survive {show(result.fault_v, 'voltage')} on the input."
    )
    return tuple(lines)
