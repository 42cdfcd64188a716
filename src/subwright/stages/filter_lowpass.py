"""The low-pass in preferred values: prototype, topology and the set of stages that fits it best."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from subwright.base.errors import RangeError
from subwright.base.units import show
from subwright.physics.networks.filter_search import search_equal_component, search_sallen_key_lowpass
from subwright.physics.networks.prototypes import (
    HALF_POWER_DB,
    Section,
    bessel,
    butterworth,
    cascade,
    chebyshev,
    chebyshev_half_power_ratio,
    linkwitz_riley,
)
from subwright.physics.networks.topology_search import (
    search_mfb_lowpass,
    search_state_variable,
)
from subwright.stages.filter_draft import Array, Draft, Range, state_variable
from subwright.stages.filter_response import block_response
from subwright.stages.filter_spec import FilterSpec

__all__ = [
    "corner_drop_db",
    "low_pass_sections",
    "low_passes",
    "measured_corner_hz",
    "shape_miss_db",
    "swept",
]

_CANDIDATES: Final = 12
_LEAST_EQUAL_Q: Final = 0.51  # equal parts without gain give 0.5
_SHAPE_RATIO: Final = (0.25, 2.0, 40)  # over the corner
_MISS_STEP_DB: Final = 0.05  # responses closer together than this share a rank


def low_pass_sections(spec: FilterSpec) -> tuple[Section, ...]:
    """Prototype of the low-pass."""
    if spec.alignment == "butterworth":
        return butterworth(spec.order)
    if spec.alignment == "bessel":
        return bessel(spec.order)
    if spec.alignment == "chebyshev":
        return chebyshev(spec.order, spec.ripple_db, spec.ripple_norm)
    return linkwitz_riley(spec.order)


def corner_drop_db(spec: FilterSpec) -> float:
    """How far the response at the measured corner lies below that at zero frequency, dB.

    A Chebyshev low-pass of even order starts at the bottom of its ripple, so its half-power corner, 3.01 dB
    below the ripple's peaks, is only 3.01 dB less the ripple below the start.
    """
    if spec.alignment == "linkwitz-riley":
        return 2 * HALF_POWER_DB
    return HALF_POWER_DB - (spec.ripple_db if spec.alignment == "chebyshev" else 0.0)


def measured_corner_hz(spec: FilterSpec) -> float:
    """Where the response should be ``corner_drop_db`` down, Hz: the corner, or above the ripple's end."""
    if spec.alignment == "chebyshev" and spec.ripple_norm == "ripple edge":
        return spec.corner_hz * chebyshev_half_power_ratio(spec.order, spec.ripple_db)
    return spec.corner_hz


def swept(spec: FilterSpec) -> bool:
    """Whether a ganged potentiometer moves the corner.

    Raises
    ------
    RangeError : the sweep is half given, doesn't hold the corner, or the topology can't be swept.
    """
    low, high = spec.sweep_low_hz, spec.sweep_high_hz
    if low is None and high is None:
        return False
    if low is None or high is None or not low <= spec.corner_hz <= high or high < 1.2 * low:
        raise RangeError(
            message="A swept low-pass needs both ends, with its corner between them.",
            quantity="filter.sweep_low, filter.corner, filter.sweep_high",
            value=", ".join(
                "none" if f is None else show(f, "frequency") for f in (low, spec.corner_hz, high)
            ),
            limit="sweep_low <= corner <= sweep_high, at least 1.2 : 1",
            remedy="State filter.sweep_low and filter.sweep_high around filter.corner.",
        )
    if spec.topology not in ("unity", "state-variable"):
        raise RangeError(
            message="This topology doesn't sweep: its Q would change with the corner.",
            quantity="filter.topology",
            value=spec.topology,
            limit="unity or state-variable",
            remedy='Set filter.topology = "unity" or "state-variable", or leave the sweep out.',
        )
    return True


def low_passes(
    spec: FilterSpec, sections: tuple[Section, ...], resistors: Range, capacitors: Range, error_limit: float
) -> tuple[Draft, ...]:
    """The set of stages whose joint response is nearest to the prototype, with few different values."""
    rows = [
        _candidates(f"low-pass {letter}", section, spec, resistors, capacitors, error_limit)
        for letter, section in zip("AB", sections, strict=False)
    ]
    ratio = np.geomspace(0.25, 2.0, 10)
    ideal = np.abs(cascade(sections, ratio))
    first, *rest = [_levels(row, ratio * spec.corner_hz) for row in rows]
    joint = first[:, None, :] * (rest[0] if rest else np.ones((1, 1)))
    miss_db = np.max(np.abs(20 * np.log10(joint / ideal)), axis=2)

    def stages(pick: tuple[int, ...]) -> tuple[Draft, ...]:
        return tuple(row[n] for row, n in zip(rows, pick, strict=False))

    def rank(pick: tuple[int, ...]) -> tuple[int, int, float]:
        different = {value for draft in stages(pick) for value in draft.values.values()}
        return int(miss_db[pick] / _MISS_STEP_DB), len(different), float(miss_db[pick])

    return stages(min(np.ndindex(*miss_db.shape), key=rank))


def shape_miss_db(spec: FilterSpec, stages: Sequence[Draft], shift: float) -> float:
    """How far stages are from their alignment at worst, each at its own corner, ideal op-amps, dB.

    Parameters
    ----------
    spec : the builder's wishes. stages : of the low-pass. shift : real corner over the wanted one.
    """
    ratio = np.geomspace(*_SHAPE_RATIO)
    real = np.prod(_levels(stages, ratio * spec.corner_hz * shift), axis=0)
    ideal = np.abs(cascade(low_pass_sections(spec), ratio))
    return float(np.max(np.abs(20 * np.log10(real / ideal))))


def _levels(row: Iterable[Draft], frequency_hz: Array) -> Array:
    """Response of each stage over its own gain; shape (stages, frequencies)."""
    return np.array(
        [np.abs(block_response("low-pass", d.values, np.inf).at(frequency_hz)) / abs(d.gain) for d in row]
    )


def _candidates(
    name: str, section: Section, spec: FilterSpec, resistors: Range, capacitors: Range, error_limit: float
) -> tuple[Draft, ...]:
    """Some stages near the wanted pole, best first."""
    f0, q = section.ratio * spec.corner_hz, section.q or 0.5
    search = _SEARCHES[spec.topology]
    if spec.topology == "equal" and q <= _LEAST_EQUAL_Q:
        search = _unity
    found = search(f0, q, resistors, capacitors, error_limit)
    return tuple(replace(draft, name=name, f0_target_hz=f0, q_target=q) for draft in found)


def _unity(
    f0_hz: float, q: float, resistors: Range, capacitors: Range, error_limit: float
) -> Iterator[Draft]:
    for best in search_sallen_key_lowpass(
        f0_hz,
        q,
        capacitors_f=capacitors(10e-9, 1e-6),
        resistors_ohm=resistors(4.7e3, 68e3),
        error_limit=error_limit,
        keep=_CANDIDATES,
    ):
        yield Draft(
            kind="low-pass",
            resistors_ohm={"R1": best.resistors_ohm[0], "R2": best.resistors_ohm[1]},
            capacitors_f={"C to output": best.capacitors_f[0], "C to ground": best.capacitors_f[1]},
            gain=1.0,
            f0_hz=best.f0_hz,
            q=best.q,
        )


def _equal(
    f0_hz: float, q: float, resistors: Range, capacitors: Range, error_limit: float
) -> Iterator[Draft]:
    for best in search_equal_component(
        f0_hz,
        q,
        capacitors_f=capacitors(10e-9, 1e-6),
        resistors_ohm=resistors(4.7e3, 68e3),
        gain_resistors_ohm=resistors(3.3e3, 47e3),
        error_limit=error_limit,
        keep=_CANDIDATES,
    ):
        yield Draft(
            kind="low-pass",
            resistors_ohm={
                "R1": best.resistor_ohm,
                "R2": best.second_ohm,
                "gain upper": best.gain_upper_ohm,
                "gain lower": best.gain_lower_ohm,
            },
            capacitors_f={"C to output": best.capacitor_f, "C to ground": best.capacitor_f},
            gain=best.gain,
            op_amp_gain=best.gain,
            f0_hz=best.f0_hz,
            q=best.q,
        )


def _multiple_feedback(
    f0_hz: float, q: float, resistors: Range, capacitors: Range, error_limit: float
) -> Iterator[Draft]:
    for best in search_mfb_lowpass(
        f0_hz,
        q,
        capacitors_f=capacitors(4.7e-9, 1e-6),
        resistors_ohm=resistors(4.7e3, 100e3),
        error_limit=error_limit,
        keep=_CANDIDATES,
    ):
        yield Draft(
            kind="low-pass",
            resistors_ohm={"R1": best.r1_ohm, "R2": best.r2_ohm, "R3": best.r3_ohm},
            capacitors_f={"C1": best.c1_f, "C2": best.c2_f},
            gain=-1.0,
            op_amp_gain=2.0,
            f0_hz=best.f0_hz,
            q=best.q,
        )


def _variable(
    f0_hz: float, q: float, resistors: Range, capacitors: Range, error_limit: float
) -> Iterator[Draft]:
    for best in search_state_variable(
        f0_hz,
        q,
        capacitors_f=capacitors(10e-9, 1e-6),
        resistors_ohm=resistors(4.7e3, 100e3),
        divider_ohm=resistors(4.7e3, 47e3),
        error_limit=error_limit,
        keep=_CANDIDATES,
    ):
        yield state_variable(
            divider_ohm=(best.upper_ohm, best.lower_ohm),
            tracks_ohm={"R1": best.resistor_ohm, "R2": best.second_ohm},
            capacitor_f=best.capacitor_f,
            f0_hz=best.f0_hz,
            q=best.q,
        )


_Search = Callable[[float, float, Range, Range, float], Iterator[Draft]]
_SEARCHES: Final[Mapping[str, _Search]] = {
    "unity": _unity,
    "equal": _equal,
    "multiple-feedback": _multiple_feedback,
    "state-variable": _variable,
}
