"""Which amplifier it becomes: the kind, its parts, and the voltages that it works at."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import sqrt
from typing import Final, Literal, cast

import numpy as np
from numpy.typing import NDArray

from subwright.base.errors import ConvergenceError, NoSolutionError, RangeError
from subwright.base.units import show
from subwright.parts.library import Library
from subwright.physics.amplifier_models import ClassABModel, ClassDModel
from subwright.physics.amplifiers import bridge_sine_power_w, bridge_square_power_w
from subwright.physics.bounds import require
from subwright.stages.amplifier_kinds import (
    LOAD_LEAST,
    Built,
    bridge_class_d,
    half_bridge,
    rail_swell,
    try_bridge_class_d,
)
from subwright.stages.amplifier_linear import (
    bridge_class_ab,
    bridge_class_h,
    class_ab,
    class_g,
    try_bridge_class_ab,
)
from subwright.stages.amplifier_parts import sine_phases
from subwright.stages.amplifier_spec import (
    AmplifierKind,
    AmplifierSpec,
    BatteryCeiling,
    RaisedRail,
    SettledKind,
)
from subwright.stages.common import Corner

__all__ = [
    "AmplifierChoice",
    "ExpectedAmplifier",
    "choose_amplifier",
    "expect_amplifier",
    "stuck_current_a",
]

Array = NDArray[np.float64]

_MOST_ROUNDS: Final = 60
_SETTLED: Final = 1e-9
_LINEAR_ON_RAILS: Final = ("class_ab", "class_g")


@dataclass(frozen=True, kw_only=True, slots=True)
class ExpectedAmplifier:
    """What can be said of an amplifier before its bill is drawn up; fields as in ``AmplifierResult``."""

    kind: SettledKind
    from_battery: bool
    rails: Literal["split", "battery", "raised"]
    load_ohm: float
    peak_a: float
    peak_least_a: float
    rail_expected_v: float
    stuck_a: float
    stuck_w: float


@dataclass(frozen=True, kw_only=True, slots=True)
class AmplifierChoice:
    """The kind with its parts, and what it hangs on.

    Attributes
    ----------
    built : kind, model and parts. load_ohm : ohm. corners : supply at each battery, V.
    source_ohm : before it, ohm.
    ceilings : what a battery bridge could do; () where nobody asked. raised : a boost converter's rail.
    """

    built: Built
    load_ohm: float
    corners: Mapping[Corner, float]
    source_ohm: float
    ceilings: tuple[BatteryCeiling, ...]
    raised: RaisedRail | None

    @property
    def rails(self) -> Literal["split", "battery", "raised"]:
        """What it runs from."""
        if self.raised is not None:
            return "raised"
        return "battery" if self.built.from_battery else "split"

    def voltages(self, target_w: float | None) -> tuple[float, float, float, float, float]:
        """(power in W, output peak, rail at the crest, highest rail expected, rail while charging, V).

        Raises
        ------
        NoSolutionError : it gives nothing at the nominal battery.
        """
        model, load, corners = self.built.model, self.load_ohm, self.corners
        nominal = np.array([corners[Corner.NOMINAL]])
        if self.built.from_battery:
            reached, supply = _reach(model, nominal, load, self.source_ohm, sine_phases())
            power_w, rail_v = float(reached[0]), float(supply[0])
            peak_v = sqrt(2.0 * power_w * load)
            expected_v, charging_v = corners[Corner.MAX], corners[Corner.CHARGING]
        else:
            power_w = cast(float, target_w)
            peak_v = sqrt(2.0 * power_w * load)
            rail_v = model.rail_for_peak_v(peak_v, load)
            expected_v = rail_v * rail_swell(corners)
            charging_v = rail_v * corners[Corner.CHARGING] / corners[Corner.NOMINAL]
        if power_w <= 0.0:
            drop_v = model.drop_v if isinstance(model, ClassABModel) else rail_v - peak_v
            raise NoSolutionError(
                message="This amplifier gives nothing at the nominal battery voltage.",
                quantity="supply voltage",
                value=show(rail_v, "voltage"),
                limit=f"above the stage's own drop, {show(drop_v, 'voltage')}",
                source="output stage table",
                remedy='Take class D (amplifier.kind = "bridge_class_d"), bipolar pairs '
                '(amplifier.ab_output = "pair"), which stay nearer to the supply, or split rails '
                '(amplifier.kind = "class_d_half_bridge").',
            )
        return power_w, peak_v, rail_v, expected_v, charging_v


def stuck_current_a(built: Built, expected_v: float, load_ohm: float) -> float:
    """Current through the load with the output stuck, A; a full bridge may put both rails across it."""
    return expected_v * (2.0 if built.kind == "class_d_full_bridge" else 1.0) / load_ohm


def choose_amplifier(
    spec: AmplifierSpec,
    target_power_w: float | None,
    load_ohm: float,
    corners: Mapping[Corner, float],
    library: Library,
    *,
    source_resistance_ohm: float,
    lowest_note_hz: float,
    speaker_cable_ohm: float,
    raised: RaisedRail | None,
    with_ceilings: bool,
    rails_held: bool = False,
) -> AmplifierChoice:
    """Choose kind and parts; arguments as ``design_amplifier``.

    Parameters
    ----------
    with_ceilings : whether to reckon what a bridge from the battery could do where the kind doesn't ask for
        it.
    rails_held : a regulated converter keeps the rails of a linear stage when the battery rises.

    Returns
    -------
    AmplifierChoice.

    Raises
    ------
    RangeError : no target power for an amplifier on rails, or a value out of range.
    NoSolutionError : no part serves.
    PartNotFoundError : the stated MOSFET is unknown.
    """
    load = spec.load_ohm if spec.load_ohm is not None else load_ohm
    require("load impedance", load, "Ω", at_least=0.5, at_most=64.0)
    require("speaker cable resistance", speaker_cable_ohm, "Ω", at_least=0.0, below=load)
    require("source resistance", source_resistance_ohm, "Ω", at_least=0.0)
    if target_power_w is not None:
        require("target power", target_power_w, "W", above=0.0, at_most=5000.0)

    undecided = spec.kind == "auto" and raised is None
    bridge_d = bridge_ab = None
    if with_ceilings or undecided or spec.kind == "bridge_class_d":
        bridge_d = try_bridge_class_d(spec, load, corners, library, speaker_cable_ohm)
    if with_ceilings or spec.kind == "bridge_class_ab":
        bridge_ab = try_bridge_class_ab(spec, load, corners, library, speaker_cable_ohm)
    ceilings: tuple[BatteryCeiling, ...] = ()
    if with_ceilings or undecided:
        ceilings = _ceilings(bridge_d, bridge_ab, load, corners, source_resistance_ohm)
    if raised is not None:
        supply = dict.fromkeys(Corner, raised.set_v) | {Corner.MAX: raised.high_v}
        return AmplifierChoice(
            built=_on_raised_rail(spec, raised, load, supply, corners, library, speaker_cable_ohm),
            load_ohm=load,
            corners=supply,
            source_ohm=0.0,
            ceilings=ceilings,
            raised=raised,
        )
    kind = _settle(spec.kind, target_power_w, ceilings)
    if kind == "bridge_class_d":
        built = bridge_d or bridge_class_d(spec, load, corners, library, speaker_cable_ohm)
    elif kind == "bridge_class_ab":
        built = bridge_ab or bridge_class_ab(spec, load, corners, library, speaker_cable_ohm)
    elif kind == "bridge_class_h":
        built = bridge_class_h(spec, load, corners, library, speaker_cable_ohm)
    else:
        if target_power_w is None:
            raise RangeError(
                message="An amplifier on its own rails needs a target power.",
                quantity="target power",
                value="none",
                limit="> 0 W",
                remedy="State goal.power or goal.spl, or take amplifier.kind = bridge_class_d.",
            )
        if rails_held and kind in _LINEAR_ON_RAILS:
            nominal_v = corners[Corner.NOMINAL]
            corners = {corner: min(volts, nominal_v) for corner, volts in corners.items()}
        built = _on_rails(
            kind, spec, target_power_w, load, corners, library, speaker_cable_ohm, lowest_note_hz
        )
    return AmplifierChoice(
        built=built,
        load_ohm=load,
        corners=corners,
        source_ohm=source_resistance_ohm,
        ceilings=ceilings,
        raised=None,
    )


def expect_amplifier(
    spec: AmplifierSpec,
    target_power_w: float,
    load_ohm: float,
    corners: Mapping[Corner, float],
    library: Library,
    *,
    lowest_note_hz: float,
    speaker_cable_ohm: float,
    raised: RaisedRail | None,
    rails_held: bool = False,
) -> ExpectedAmplifier:
    """The few figures by which the parts in series with the load are chosen first.

    Parameters
    ----------
    As ``design_amplifier``.

    Returns
    -------
    ExpectedAmplifier, the same numbers as the whole design gives.

    Raises
    ------
    As ``design_amplifier``.
    """
    choice = choose_amplifier(
        spec,
        target_power_w,
        load_ohm,
        corners,
        library,
        source_resistance_ohm=0.0,
        lowest_note_hz=lowest_note_hz,
        speaker_cable_ohm=speaker_cable_ohm,
        raised=raised,
        with_ceilings=False,
        rails_held=rails_held,
    )
    _, peak_v, rail_v, expected_v, _ = choice.voltages(target_power_w)
    built, load = choice.built, choice.load_ohm
    least = LOAD_LEAST * load
    stuck_a = stuck_current_a(built, expected_v, load)
    return ExpectedAmplifier(
        kind=built.kind,
        from_battery=built.from_battery,
        rails=choice.rails,
        load_ohm=load,
        peak_a=peak_v / load,
        peak_least_a=float(built.model.clip_peak_v(rail_v, least)) / least,
        rail_expected_v=expected_v,
        stuck_a=stuck_a,
        stuck_w=stuck_a**2 * load,
    )


def _on_raised_rail(
    spec: AmplifierSpec,
    raised: RaisedRail,
    load: float,
    supply: Mapping[Corner, float],
    battery: Mapping[Corner, float],
    library: Library,
    cable_ohm: float,
) -> Built:
    """A bridge whose supply is the boost converter's rail at every corner of the battery."""
    if spec.kind in ("auto", "bridge_class_d"):
        return bridge_class_d(spec, load, supply, library, cable_ohm, raised.pulse_v, battery)
    if spec.kind == "bridge_class_ab":
        return bridge_class_ab(spec, load, supply, library, cable_ohm)
    raise NoSolutionError(
        message="A boost converter gives one raised rail, and this amplifier is not a bridge on one rail.",
        quantity="amplifier.kind",
        value=spec.kind,
        limit="bridge_class_d or bridge_class_ab on a boost converter",
        source="topology",
        remedy='Set amplifier.kind = "bridge_class_d", or converter.topology = "push-pull" for ± rails.',
    )


def _on_rails(
    kind: SettledKind,
    spec: AmplifierSpec,
    target_w: float,
    load: float,
    corners: Mapping[Corner, float],
    library: Library,
    cable_ohm: float,
    note_hz: float,
) -> Built:
    if kind == "class_g":
        return class_g(spec, target_w, load, corners, library, cable_ohm, note_hz)
    if kind == "class_ab":
        return class_ab(spec, target_w, load, corners, library, cable_ohm)
    if kind == "class_d_full_bridge":
        return half_bridge(spec, target_w, load, corners, library, cable_ohm, 2)
    try:
        return half_bridge(spec, target_w, load, corners, library, cable_ohm)
    except NoSolutionError:
        if spec.kind != "auto":
            raise
        return half_bridge(spec, target_w, load, corners, library, cable_ohm, 2)


def _settle(kind: AmplifierKind, target_w: float | None, ceilings: tuple[BatteryCeiling, ...]) -> SettledKind:
    if kind != "auto":
        return kind
    reach = next(c for c in ceilings if c.corner is Corner.NOMINAL).class_d_sine_w
    if reach is not None and (target_w is None or target_w <= reach):
        return "bridge_class_d"
    return "class_d_half_bridge"


def _reach(
    model: ClassDModel | ClassABModel, emf_v: Array, load: float, source_ohm: float, shape: Array
) -> tuple[Array, Array]:
    """Power in W and supply voltage in V that a bridge settles at, per corner.

    ``shape`` is the waveform over its own peak at the phases averaged, shape (n,): a quarter sine, or one.
    """
    supply = emf_v.copy()
    peak = np.zeros_like(emf_v)
    for _ in range(_MOST_ROUNDS):
        peak = model.clip_peak_v(supply, load)
        v = peak[:, None] * shape[None, :]
        drawn = np.mean(model.input_power_w(v, v / load, supply[:, None]), axis=1)
        # The bridge looks like a nearly constant conductance, so the divider with it settles at once.
        settled = emf_v / (1.0 + source_ohm * drawn / supply**2)
        moved = float(np.max(np.abs(settled / supply - 1.0)))
        supply = settled
        if moved < _SETTLED:
            break
    else:
        raise ConvergenceError(
            message="The bridge and its battery did not settle on a voltage.",
            quantity="relative change in the last round",
            value=f"{moved:.2g}",
            limit=f"{_SETTLED:g}",
            remedy="Lower the source resistance: thicker or shorter cable, a larger battery.",
        )
    return peak**2 * float(np.mean(shape**2)) / load, supply


def _ceilings(
    bridge_d: Built | None,
    bridge_ab: Built | None,
    load: float,
    corners: Mapping[Corner, float],
    source_ohm: float,
) -> tuple[BatteryCeiling, ...]:
    order = tuple(corners)
    emf = np.array([corners[c] for c in order])
    one = np.ones(1)
    sine = sine_phases(24)
    reached: list[tuple[list[float], list[float]] | None] = []
    for built in (bridge_d, bridge_ab):
        if built is None:
            reached.append(None)
            continue
        pair = tuple(_reach(built.model, emf, load, source_ohm, shape)[0].tolist() for shape in (sine, one))
        reached.append(cast(tuple[list[float], list[float]], pair))
    d, ab = reached
    return tuple(
        BatteryCeiling(
            corner=corner,
            supply_v=corners[corner],
            square_w=bridge_square_power_w(corners[corner], load),
            sine_w=bridge_sine_power_w(corners[corner], load),
            class_d_sine_w=None if d is None else d[0][k],
            class_d_square_w=None if d is None else d[1][k],
            class_ab_sine_w=None if ab is None else ab[0][k],
            class_ab_square_w=None if ab is None else ab[1][k],
        )
        for k, corner in enumerate(order)
    )
