"""The low-pass in preferred values: prototype, topology and the set of stages that fits it best."""

from __future__ import annotations

from typing import Final

import numpy as np

from subwright.base.errors import RangeError
from subwright.base.preferred import between
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
    SweptChoice,
    search_mfb_lowpass,
    search_state_variable,
    search_swept,
)
from subwright.stages.filter_draft import Draft, Range
from subwright.stages.filter_response import block_response
from subwright.stages.filter_spec import FilterSpec

__all__ = [
    "corner_drop_db",
    "low_pass_sections",
    "low_passes",
    "measured_corner_hz",
    "swept",
    "swept_low_passes",
]

_CANDIDATES: Final = 12
_MISS_STEP_DB: Final = 0.05  # responses closer together than this share a rank
_SUMMING_OHM: Final = 10e3  # the three equal resistors of a state-variable filter
_POTS_OHM: Final = (10e3, 100e3)
_SWEPT_MISS: Final = 0.15  # ends of a swept corner and Q; the tracks' own tolerance is larger


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


def swept_low_passes(
    spec: FilterSpec, sections: tuple[Section, ...], resistors: Range, capacitors: Range, error_limit: float
) -> tuple[Draft, ...]:
    """Stages whose equal resistors are tracks of one potentiometer, set to the wanted corner."""
    low, high = spec.sweep_low_hz or 0.0, spec.sweep_high_hz or 0.0
    unity = spec.topology == "unity"
    choice = search_swept(
        low,
        high,
        [(s.ratio, s.q or 0.5) for s in sections],
        pots_ohm=between(*_POTS_OHM, "E3"),
        resistors_ohm=resistors(560.0, 100e3),
        capacitors_f=capacitors(10e-9, 1e-6),
        unity=unity,
        error_limit=max(error_limit, _SWEPT_MISS),
    )
    return tuple(
        _swept(
            f"low-pass {letter}", section, spec, choice, k, resistors, _setting_ohm(spec, sections, choice)
        )
        for k, (letter, section) in enumerate(zip("AB", sections, strict=False))
    )


def _setting_ohm(spec: FilterSpec, sections: tuple[Section, ...], choice: SweptChoice) -> float:
    """Resistance of each track at the wanted corner, Ω; one angle serves every section."""
    exact = [
        1.0 / (2 * np.pi * s.ratio * spec.corner_hz * np.sqrt(first * second))
        for s, (first, second) in zip(sections, choice.capacitors_f, strict=True)
    ]
    middle = float(np.exp(np.mean(np.log(exact))))
    return float(np.clip(middle - choice.foot_ohm, 0.0, choice.pot_ohm))


def _swept(
    name: str,
    section: Section,
    spec: FilterSpec,
    choice: SweptChoice,
    index: int,
    resistors: Range,
    gang: float,
) -> Draft:
    first, second = choice.capacitors_f[index]
    mean = float(np.sqrt(first * second))
    f0 = section.ratio * spec.corner_hz
    tracks = {"R1": choice.foot_ohm, "R2": choice.foot_ohm, "R1 gang": gang, "R2 gang": gang}
    real_f0 = 1.0 / (2 * np.pi * (choice.foot_ohm + gang) * mean)
    if spec.topology == "unity":
        q = 0.5 * float(np.sqrt(first / second))
        return Draft(
            name=name,
            kind="low-pass",
            resistors_ohm=tracks,
            capacitors_f={"C to output": first, "C to ground": second},
            gain=1.0,
            f0_hz=real_f0,
            q=q,
            f0_target_hz=f0,
            q_target=section.q,
            track_ohm=choice.pot_ohm,
        )
    divider = search_state_variable(
        f0,
        section.q or 0.5,
        capacitors_f=np.array([first]),
        resistors_ohm=resistors(100.0, 10e6),
        divider_ohm=resistors(4.7e3, 47e3),
        error_limit=0.12,
    )[0]
    return Draft(
        name=name,
        kind="low-pass",
        resistors_ohm={**_summing(divider.upper_ohm, divider.lower_ohm), **tracks},
        capacitors_f={"integrator A": first, "integrator B": second},
        gain=-1.0,
        op_amp_gain=3.0,
        f0_hz=real_f0,
        q=divider.q,
        f0_target_hz=f0,
        q_target=section.q,
        op_amps=3,
        track_ohm=choice.pot_ohm,
    )


def _summing(upper_ohm: float, lower_ohm: float) -> dict[str, float]:
    return {
        "R in": _SUMMING_OHM,
        "R low": _SUMMING_OHM,
        "R high": _SUMMING_OHM,
        "Q upper": upper_ohm,
        "Q lower": lower_ohm,
    }


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
    gains = [
        np.array(
            [
                np.abs(block_response("low-pass", d.values, np.inf).at(ratio * spec.corner_hz)) / abs(d.gain)
                for d in row
            ]
        )
        for row in rows
    ]
    joint = gains[0][:, None, :] * gains[1][None, :, :] if len(rows) == 2 else gains[0][:, None, :]
    miss_db = np.max(np.abs(20 * np.log10(joint / ideal)), axis=2)
    picks = [
        (int(miss_db[i, j] / _MISS_STEP_DB), len(_different(rows, i, j)), miss_db[i, j], i, j)
        for i, j in np.ndindex(*miss_db.shape)
    ]
    _, _, _, i, j = min(picks)
    return (rows[0][i], rows[1][j]) if len(rows) == 2 else (rows[0][i],)


def _different(rows: list[tuple[Draft, ...]], i: int, j: int) -> set[float]:
    picked = [rows[0][i], *([rows[1][j]] if len(rows) == 2 else [])]
    return {value for draft in picked for value in draft.values.values()}


def _candidates(
    name: str, section: Section, spec: FilterSpec, resistors: Range, capacitors: Range, error_limit: float
) -> tuple[Draft, ...]:
    """Some stages near the wanted pole, best first."""
    f0, q = section.ratio * spec.corner_hz, section.q or 0.5
    if spec.topology == "equal" and q > 0.51:
        return _equal_low_passes(name, f0, q, resistors, capacitors, error_limit)
    if spec.topology == "multiple-feedback":
        return _feedback_low_passes(name, f0, q, resistors, capacitors, error_limit)
    if spec.topology == "state-variable":
        return _variable_low_passes(name, f0, q, resistors, capacitors, error_limit)
    found = search_sallen_key_lowpass(
        f0,
        q,
        capacitors_f=capacitors(10e-9, 1e-6),
        resistors_ohm=resistors(4.7e3, 68e3),
        error_limit=error_limit,
        keep=_CANDIDATES,
    )
    return tuple(
        Draft(
            name=name,
            kind="low-pass",
            resistors_ohm={"R1": best.resistors_ohm[0], "R2": best.resistors_ohm[1]},
            capacitors_f={"C to output": best.capacitors_f[0], "C to ground": best.capacitors_f[1]},
            gain=1.0,
            f0_hz=best.f0_hz,
            q=best.q,
            f0_target_hz=f0,
            q_target=q,
        )
        for best in found
    )


def _equal_low_passes(
    name: str, f0_hz: float, q: float, resistors: Range, capacitors: Range, error_limit: float
) -> tuple[Draft, ...]:
    found = search_equal_component(
        f0_hz,
        q,
        capacitors_f=capacitors(10e-9, 1e-6),
        resistors_ohm=resistors(4.7e3, 68e3),
        gain_resistors_ohm=resistors(3.3e3, 47e3),
        error_limit=error_limit,
        keep=_CANDIDATES,
    )
    return tuple(
        Draft(
            name=name,
            kind="low-pass",
            resistors_ohm={
                "R1": best.resistor_ohm,
                "R2": best.resistor_ohm,
                "gain upper": best.gain_upper_ohm,
                "gain lower": best.gain_lower_ohm,
            },
            capacitors_f={"C to output": best.capacitor_f, "C to ground": best.capacitor_f},
            gain=best.gain,
            op_amp_gain=best.gain,
            f0_hz=best.f0_hz,
            q=best.q,
            f0_target_hz=f0_hz,
            q_target=q,
        )
        for best in found
    )


def _feedback_low_passes(
    name: str, f0_hz: float, q: float, resistors: Range, capacitors: Range, error_limit: float
) -> tuple[Draft, ...]:
    found = search_mfb_lowpass(
        f0_hz,
        q,
        capacitors_f=capacitors(4.7e-9, 1e-6),
        resistors_ohm=resistors(4.7e3, 100e3),
        error_limit=error_limit,
        keep=_CANDIDATES,
    )
    return tuple(
        Draft(
            name=name,
            kind="low-pass",
            resistors_ohm={"R1": best.r1_ohm, "R2": best.r2_ohm, "R3": best.r3_ohm},
            capacitors_f={"C1": best.c1_f, "C2": best.c2_f},
            gain=-1.0,
            op_amp_gain=2.0,
            f0_hz=best.f0_hz,
            q=best.q,
            f0_target_hz=f0_hz,
            q_target=q,
        )
        for best in found
    )


def _variable_low_passes(
    name: str, f0_hz: float, q: float, resistors: Range, capacitors: Range, error_limit: float
) -> tuple[Draft, ...]:
    found = search_state_variable(
        f0_hz,
        q,
        capacitors_f=capacitors(10e-9, 1e-6),
        resistors_ohm=resistors(4.7e3, 100e3),
        divider_ohm=resistors(4.7e3, 47e3),
        error_limit=error_limit,
        keep=_CANDIDATES,
    )
    return tuple(
        Draft(
            name=name,
            kind="low-pass",
            resistors_ohm={
                **_summing(best.upper_ohm, best.lower_ohm),
                "R1": best.resistor_ohm,
                "R2": best.resistor_ohm,
            },
            capacitors_f={"integrator A": best.capacitor_f, "integrator B": best.capacitor_f},
            gain=-1.0,
            op_amp_gain=3.0,
            f0_hz=best.f0_hz,
            q=best.q,
            f0_target_hz=f0_hz,
            q_target=q,
            op_amps=3,
        )
        for best in found
    )
