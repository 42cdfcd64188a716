"""Part values of each filter block, input to output."""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from subwright.base.errors import RangeError
from subwright.base.preferred import at_least, between, nearest
from subwright.base.units import show
from subwright.parts.library import Library
from subwright.physics.networks.biquads import highpass_half_power_hz, peaked_highpass_f0_q, transform_spread
from subwright.physics.networks.comparator_search import search_ratio
from subwright.physics.networks.filter_search import search_sallen_key_highpass
from subwright.physics.networks.prototypes import butterworth
from subwright.physics.networks.topology_search import search_transform
from subwright.stages.filter_draft import PHASE_POT_OHM, Draft, Range, Shelf
from subwright.stages.filter_lowpass import low_pass_sections, low_passes, swept
from subwright.stages.filter_response import block_response
from subwright.stages.filter_spec import FilterInput, FilterSpec
from subwright.stages.filter_swept import swept_low_passes

__all__ = [
    "Draft",
    "block_response",
    "draft_blocks",
    "infrasonic_corner_hz",
    "low_pass_sections",
    "wanted_gain",
]

_COUPLING_HZ: Final = 2.0  # input coupling; far enough below any infrasonic corner
_OUTPUT_COUPLING_HZ: Final = 1.0  # largest corner into the amplifier: 3 degrees of phase at 20 Hz
_PHASE_OHM: Final = 10e3
_LOOSE_STEP: Final = 0.01  # the infrasonic corner is not critical
_COARSE_GAIN: Final = 0.12  # the nearest pair of E12 may be this far from a ratio
_CLOSED_BOOST_HZ: Final = 35.0
_PHASE_FOOT_OHM: Final = 1e3
_PHASE_REACH: Final = np.tan(np.radians(75.0))  # 150 degrees of lag at the corner


def _boost_pole(spec: FilterSpec, data: FilterInput) -> tuple[float, float] | None:
    """Pole frequency, Hz, and Q of the boosted high-pass; None without boost."""
    if spec.boost_db is None:
        return None
    peak = spec.boost_peak_hz or data.tuning_hz or _CLOSED_BOOST_HZ
    return peaked_highpass_f0_q(peak, spec.boost_db)


def infrasonic_corner_hz(spec: FilterSpec, data: FilterInput) -> float | None:
    """Wanted half-power corner of the infrasonic high-pass, Hz; None where it is off."""
    pole = _boost_pole(spec, data)
    if pole is not None:
        return highpass_half_power_hz(*pole)
    on = spec.infrasonic_filter == "on" or (spec.infrasonic_filter == "auto" and data.vented)
    if not on:
        return None
    if spec.infrasonic_hz is not None:
        return spec.infrasonic_hz
    return 0.8 * data.tuning_hz if data.tuning_hz is not None else 20.0


def draft_blocks(spec: FilterSpec, data: FilterInput, library: Library) -> tuple[Draft, ...]:
    """Every block with preferred values, input to output.

    Parameters
    ----------
    spec : the builder's wishes. data : levels and box. library : parts with the drawer merged.

    Raises
    ------
    NoSolutionError : no preferred values make a stage.
    RangeError : wishes that contradict each other or the box.
    """
    shelf = Shelf(spec=spec, library=library)
    corner = infrasonic_corner_hz(spec, data)
    sections = low_pass_sections(spec)
    build = swept_low_passes if swept(spec) else low_passes
    stages = shelf.search(lambda r, c, limit: build(spec, sections, r, c, limit))
    gain = wanted_gain(spec, data)
    after = abs(float(np.prod([block.gain for block in stages])))
    blocks = [_summer(gain / after, spec, shelf)]
    if corner is not None:
        blocks.append(_infrasonic(corner, _boost_pole(spec, data), shelf))
    if spec.transform_hz is not None:
        blocks.append(_transform(spec, data, shelf))
    blocks += stages
    if spec.phase_control:
        blocks.append(_all_pass(spec))
    if spec.phase_switch:
        upright = float(np.prod([block.gain for block in blocks])) > 0
        blocks.append(
            Draft(
                name="phase switch",
                kind="phase",
                resistors_ohm={"input": _PHASE_OHM, "feedback": _PHASE_OHM},
                capacitors_f={},
                gain=1.0 if upright else -1.0,
                op_amp_gain=2.0,
            )
        )
    if spec.level_control:
        blocks.append(Draft(name="output", kind="output", resistors_ohm={}, capacitors_f={}, gain=1.0))
    if _coupled(spec, data):
        blocks.append(_coupling(data))
    return tuple(blocks)


def wanted_gain(spec: FilterSpec, data: FilterInput) -> float:
    """Gain from the receivers to the amplifier, every input driven, V/V."""
    whole = spec.gain if spec.gain is not None else data.full_input_v / spec.sensitivity_v
    return whole / data.receiver_gain


def _coupled(spec: FilterSpec, data: FilterInput) -> bool:
    midpoint = data.rail_low_v is None or spec.op_amp_supply == "battery"
    if spec.output_coupling == "none" and midpoint:
        raise RangeError(
            message="A filter that runs from the battery rests at half of it: its output must be "
            "coupled by a capacitor.",
            quantity="filter.output_coupling",
            value="none",
            limit="auto or capacitor",
            remedy='Set filter.output_coupling = "auto".',
        )
    return spec.output_coupling != "none"


def _coupling(data: FilterInput) -> Draft:
    resistance = float(nearest(data.amplifier_input_ohm, "E24"))
    return Draft(
        name="output coupling",
        kind="coupling",
        resistors_ohm={"to ground": resistance},
        capacitors_f={"series": float(at_least(1.0 / (2 * np.pi * _OUTPUT_COUPLING_HZ * resistance), "E6"))},
        gain=1.0,
        op_amps=0,
    )


def _all_pass(spec: FilterSpec) -> Draft:
    capacitor = at_least(_PHASE_REACH / (2 * np.pi * spec.corner_hz * PHASE_POT_OHM), spec.capacitor_series)
    return Draft(
        name="phase control",
        kind="all-pass",
        resistors_ohm={"input": _PHASE_OHM, "feedback": _PHASE_OHM, "R": _PHASE_FOOT_OHM, "R gang": 0.0},
        capacitors_f={"C": float(capacitor)},
        gain=1.0,
        op_amp_gain=2.0,
    )


def _summer(gain: float, spec: FilterSpec, shelf: Shelf) -> Draft:
    """Input resistors, coupling capacitors and feedback for a gain with every input driven."""
    inputs = 2 if spec.inputs == "stereo" else 1
    names = ("left", "right") if inputs == 2 else ("mono",)

    def draft(input_ohm: float, feedback: dict[str, float]) -> Draft:
        coupling = at_least(1.0 / (2 * np.pi * _COUPLING_HZ * input_ohm), "E6")
        ratio = sum(feedback.values()) / input_ohm
        return Draft(
            name="summing amplifier",
            kind="summer",
            resistors_ohm={**{f"{n} input": input_ohm for n in names}, **feedback},
            capacitors_f={f"{n} coupling": coupling for n in names},
            gain=-inputs * ratio,
            op_amp_gain=1.0 + inputs * ratio,
        )

    def attempt(resistors: Range, _capacitors: Range, error_limit: float) -> Draft:
        wanted = spec.input_resistance_ohm
        lower = resistors(0.7 * wanted, 1.5 * wanted)
        if spec.sensitivity_most_v is not None:
            return draft(*_gain_control(spec, gain / inputs, lower, resistors(220.0, 1e6)))
        pairs = search_ratio(
            gain / inputs,
            upper_ohm=resistors(470.0, 2.2e6),
            lower_ohm=lower,
            # A tenth of the gain is less than a decibel: E12 alone has no nearer ratio everywhere.
            error_limit=error_limit if error_limit < _COARSE_GAIN / 2 else _COARSE_GAIN,
            keep=40,
        )
        best = min(pairs, key=lambda p: (int(p.error / 0.01), abs(np.log(p.lower_ohm / wanted)), p.error))
        return draft(best.lower_ohm, {"feedback": best.upper_ohm})

    return shelf.search(attempt)


def _gain_control(
    spec: FilterSpec, gain: float, inputs_ohm: npt.NDArray[np.float64], feet_ohm: npt.NDArray[np.float64]
) -> tuple[float, dict[str, float]]:
    """Input resistor, and fixed and variable part of the feedback: the track's end gives the full gain."""
    most = spec.sensitivity_most_v or 0.0
    if spec.gain is not None or most < 1.5 * spec.sensitivity_v:
        raise RangeError(
            message="A gain control needs a range, and sets the gain itself.",
            quantity="filter.sensitivity_most",
            value=show(most, "voltage"),
            limit=f"at least {show(1.5 * spec.sensitivity_v, 'voltage')}, with filter.gain left out",
            remedy="Raise filter.sensitivity_most, or leave it out; leave filter.gain out.",
        )
    least = gain * spec.sensitivity_v / most
    pots = between(4.7e3, 470e3, "E3")
    r, foot, pot = np.meshgrid(inputs_ohm, feet_ohm, pots, indexing="ij")
    miss = np.maximum(np.abs(np.log((foot + pot) / (r * gain))), 0.5 * np.abs(np.log(foot / (r * least))))
    i, j, k = np.unravel_index(int(np.argmin(miss)), miss.shape)
    return float(inputs_ohm[i]), {"feedback": float(feet_ohm[j]), "gain control": float(pots[k])}


def _infrasonic(corner_hz: float, pole: tuple[float, float] | None, shelf: Shelf) -> Draft:
    f0, q = pole or (corner_hz, butterworth(2)[0].q or 0.0)

    def attempt(resistors: Range, capacitors: Range, error_limit: float) -> Draft:
        best = search_sallen_key_highpass(
            f0,
            q,
            capacitors_f=capacitors(22e-9, 1e-6),
            resistors_ohm=resistors(8.2e3 if pole is None else 2.2e3, 220e3),
            error_limit=error_limit,
            error_step=_LOOSE_STEP,
            keep=1,
        )[0]
        return Draft(
            name="infrasonic high-pass",
            kind="infrasonic",
            resistors_ohm={"R to output": best.resistors_ohm[0], "R to ground": best.resistors_ohm[1]},
            capacitors_f={"C1": best.capacitors_f[0], "C2": best.capacitors_f[1]},
            gain=1.0,
            f0_hz=best.f0_hz,
            q=best.q,
            f0_target_hz=f0,
            q_target=q,
        )

    return shelf.search(attempt)


def _transform(spec: FilterSpec, data: FilterInput, shelf: Shelf) -> Draft:
    wanted_hz, wanted_q = spec.transform_hz or 0.0, spec.transform_q
    if data.box_hz is None or data.box_q is None:
        raise RangeError(
            message="Only a sealed box has the pole pair that a biquad can replace.",
            quantity="filter.transform",
            value=show(wanted_hz, "frequency"),
            limit="a sealed box",
            source="linkwitz1978",
            remedy='Leave filter.transform out, or set enclosure.kind = "sealed".',
        )
    if transform_spread(data.box_hz, data.box_q, wanted_hz, wanted_q) <= 0.0:
        raise RangeError(
            message="No passive values replace this box's poles by the wanted ones.",
            quantity="filter.transform and transform_q",
            value=f"{show(wanted_hz, 'frequency')}, Q {wanted_q:.3g}",
            limit=f"f0/fp > Q0/Qp > fp/f0, box at {show(data.box_hz, 'frequency')}, Q {data.box_q:.3g}",
            source="linkwitz1978",
            remedy="Take a lower filter.transform, or a filter.transform_q nearer to the box's own Q.",
        )

    def attempt(resistors: Range, capacitors: Range, _error_limit: float) -> Draft:
        found = search_transform(
            data.box_hz or 0.0,
            data.box_q or 0.0,
            wanted_hz,
            wanted_q,
            capacitors_f=capacitors(10e-9, 4.7e-6),
            resistors_ohm=resistors(1e3, 470e3),
        )
        v = found.values
        return Draft(
            name="box transform",
            kind="transform",
            resistors_ohm={
                "input R": float(v.input_ohm),
                "feedback R": float(v.feedback_ohm),
                "bridge R": float(v.bridge_ohm),
            },
            capacitors_f={
                "input C": float(v.input_f),
                "feedback C": float(v.feedback_f),
                "bridge C": float(v.bridge_f),
            },
            gain=-1.0,
            op_amp_gain=float(v.feedback_ohm / v.input_ohm),
            f0_hz=wanted_hz,
            q=wanted_q,
            f0_target_hz=wanted_hz,
            q_target=wanted_q,
        )

    return shelf.search(attempt)
