"""Part values of each filter block, its transfer function and its place in the nodal network."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final, TypeAlias, TypeVar

import numpy as np
import numpy.typing as npt

from subwright.base.errors import NoSolutionError
from subwright.base.preferred import at_least, between
from subwright.parts.library import Library
from subwright.physics.networks.comparator_search import search_ratio
from subwright.physics.networks.filter_search import (
    search_equal_component,
    search_sallen_key_highpass,
    search_sallen_key_lowpass,
)
from subwright.physics.networks.filters import follower, inverting_summer, phase_switch
from subwright.physics.networks.prototypes import Section, bessel, butterworth, cascade, linkwitz_riley
from subwright.physics.networks.rational import Rational
from subwright.physics.networks.sallen_key import sallen_key_highpass, sallen_key_lowpass
from subwright.stages.filter_records import BlockKind
from subwright.stages.filter_spec import FilterInput, FilterSpec

__all__ = ["Draft", "block_response", "draft_blocks", "infrasonic_corner_hz", "low_pass_sections"]

Array: TypeAlias = npt.NDArray[np.float64]
Values: TypeAlias = Mapping[str, float] | Mapping[str, Array]
Found = TypeVar("Found")
Range: TypeAlias = Callable[[float, float], Array]

_COUPLING_HZ: Final = 2.0  # input coupling; far enough below any infrasonic corner
_PHASE_OHM: Final = 10e3
_CLOSE: Final = 0.02
_WIDE: Final = 0.08
_CANDIDATES: Final = 12
_MISS_STEP_DB: Final = 0.05  # responses closer together than this share a rank
_LOOSE_STEP: Final = 0.01  # the infrasonic corner is not critical


@dataclass(frozen=True, kw_only=True, slots=True)
class Draft:
    """A block before the op-amp is chosen: parts by role (Ω or F), wanted and real pole."""

    name: str
    kind: BlockKind
    resistors_ohm: Mapping[str, float]
    capacitors_f: Mapping[str, float]
    gain: float
    op_amp_gain: float = 1.0  # noise gain that the bandwidth rule sees
    f0_hz: float | None = None
    q: float | None = None
    f0_target_hz: float | None = None
    q_target: float | None = None

    @property
    def values(self) -> dict[str, float]:
        """All parts by role."""
        return {**self.resistors_ohm, **self.capacitors_f}


def low_pass_sections(spec: FilterSpec) -> tuple[Section, ...]:
    """Prototype of the low-pass."""
    if spec.alignment == "butterworth":
        return butterworth(spec.order)
    if spec.alignment == "bessel":
        return bessel(spec.order)
    return linkwitz_riley(spec.order)


def infrasonic_corner_hz(spec: FilterSpec, data: FilterInput) -> float | None:
    """Wanted corner of the infrasonic high-pass, Hz; None where it is off."""
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
    """
    shelf = _Shelf(spec=spec, library=library)
    corner = infrasonic_corner_hz(spec, data)
    sections = low_pass_sections(spec)
    low_passes = shelf.search(lambda r, c, limit: _low_passes(spec, sections, r, c, limit))
    gain = spec.gain if spec.gain is not None else data.full_input_v / spec.sensitivity_v
    after = float(np.prod([block.gain for block in low_passes]))
    blocks = [_summer(gain / after, spec, shelf)]
    if corner is not None:
        blocks.append(_infrasonic(corner, shelf))
    blocks += low_passes
    if spec.phase_switch:
        blocks.append(
            Draft(
                name="phase switch",
                kind="phase",
                resistors_ohm={"input": _PHASE_OHM, "feedback": _PHASE_OHM},
                capacitors_f={},
                gain=-1.0,
                op_amp_gain=2.0,
            )
        )
    if spec.level_control:
        blocks.append(Draft(name="output", kind="output", resistors_ohm={}, capacitors_f={}, gain=1.0))
    return tuple(blocks)


@dataclass(frozen=True, kw_only=True, slots=True)
class _Shelf:
    """Where values come from: the drawer's stock while it comes close, else the whole series."""

    spec: FilterSpec
    library: Library

    def _stock(self, kind: str, low: float, high: float) -> Array:
        drawer = self.library.drawer
        if drawer is None:
            return np.empty(0)
        stocks = drawer.resistors if kind == "resistor" else drawer.capacitors
        worst = self.spec.resistor_tolerance if kind == "resistor" else self.spec.capacitor_tolerance
        fine = [s for s in stocks if s.tolerance <= worst * (1 + 1e-9)]
        return np.unique(np.concatenate([np.empty(0), *(s.values(low, high) for s in fine)]))

    def resistors(self, low_ohm: float, high_ohm: float) -> Array:
        return between(low_ohm, high_ohm, self.spec.resistor_series)

    def capacitors(self, low_f: float, high_f: float) -> Array:
        return between(low_f, high_f, self.spec.capacitor_series)

    def search(self, attempt: Callable[[Range, Range, float], Found]) -> Found:
        """Try drawer resistors and capacitors, then drawer capacitors, then the series."""

        def stock(kind: str) -> Range:
            def values(low: float, high: float) -> Array:
                found = self._stock(kind, low, high)
                if found.size == 0:
                    raise NoSolutionError(message=f"The drawer has no {kind} in this range.")
                return found

            return values

        drawer = self.library.drawer
        if drawer is not None and drawer.capacitors:
            tries: list[tuple[Range, Range]] = [(self.resistors, stock("capacitor"))]
            if drawer.resistors:
                tries.insert(0, (stock("resistor"), stock("capacitor")))
            for resistors, capacitors in tries:
                try:
                    return attempt(resistors, capacitors, _CLOSE)
                except NoSolutionError:
                    continue
        return attempt(self.resistors, self.capacitors, _WIDE)


def _summer(gain: float, spec: FilterSpec, shelf: _Shelf) -> Draft:
    """Input resistors, coupling capacitors and feedback for a gain with every input driven."""
    inputs = 2 if spec.inputs == "stereo" else 1

    def attempt(resistors: Range, _capacitors: Range, error_limit: float) -> Draft:
        wanted = spec.input_resistance_ohm
        pairs = search_ratio(
            gain / inputs,
            upper_ohm=resistors(470.0, 2.2e6),
            lower_ohm=resistors(0.7 * wanted, 1.5 * wanted),
            error_limit=error_limit,
            keep=40,
        )
        best = min(pairs, key=lambda p: (int(p.error / 0.01), abs(np.log(p.lower_ohm / wanted)), p.error))
        coupling = at_least(1.0 / (2 * np.pi * _COUPLING_HZ * best.lower_ohm), "E6")
        names = ("left", "right") if inputs == 2 else ("mono",)
        return Draft(
            name="summing amplifier",
            kind="summer",
            resistors_ohm={**{f"{n} input": best.lower_ohm for n in names}, "feedback": best.upper_ohm},
            capacitors_f={f"{n} coupling": coupling for n in names},
            gain=-inputs * best.ratio,
            op_amp_gain=1.0 + inputs * best.ratio,
        )

    return shelf.search(attempt)


def _infrasonic(corner_hz: float, shelf: _Shelf) -> Draft:
    section = butterworth(2)[0]
    q = section.q or 0.0

    def attempt(resistors: Range, capacitors: Range, error_limit: float) -> Draft:
        best = search_sallen_key_highpass(
            corner_hz,
            q,
            capacitors_f=capacitors(22e-9, 1e-6),
            resistors_ohm=resistors(8.2e3, 220e3),
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
            f0_target_hz=corner_hz,
            q_target=q,
        )

    return shelf.search(attempt)


def _low_passes(
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
                np.abs(block_response("low-pass", d.values, np.inf).at(ratio * spec.corner_hz)) / d.gain
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


def block_response(kind: BlockKind, values: Values, gbw_hz: float, inverted: bool = True) -> Rational:
    """Transfer function of a block; the values may be arrays of builds.

    Parameters
    ----------
    kind : which circuit. values : parts by role, Ω and F. gbw_hz : of the op-amp, Hz.
    inverted : position of the phase switch; the inverting one is "0°" because the summer inverts too.
    """
    if kind == "summer":
        names = [role.removesuffix(" input") for role in values if role.endswith(" input")]
        inputs = tuple((values[f"{n} input"], values[f"{n} coupling"]) for n in names)
        return inverting_summer(inputs, values["feedback"], gbw_hz)
    if kind == "infrasonic":
        return sallen_key_highpass(
            values["C1"], values["C2"], values["R to output"], values["R to ground"], gbw_hz=gbw_hz
        )
    if kind == "low-pass":
        gain = 1.0 + values["gain upper"] / values["gain lower"] if "gain upper" in values else 1.0
        return sallen_key_lowpass(
            values["R1"], values["R2"], values["C to output"], values["C to ground"], gain=gain, gbw_hz=gbw_hz
        )
    if kind == "phase":
        return phase_switch(values["input"], values["feedback"], inverted, gbw_hz)
    return follower(1.0, gbw_hz)
