"""Rails that change with the signal: the lifted rail of class H and the two rail pairs of class G.

Class H: each leg's rail hangs on the battery through a diode, and on a capacitor. A comparator watches the
leg's output; when it comes too near the battery, a P-channel switch lifts the capacitor's lower end from
ground to the battery, and the rail rises by what the capacitor holds.

Class G: the collectors hang on the inner rails through diodes. A MOSFET on each outer rail follows the output
at a zener voltage's distance and takes over where the inner rail ends.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from math import log, pi, sqrt
from types import MappingProxyType
from typing import Final

import numpy as np
from numpy.typing import NDArray

from subwright.base.errors import NoSolutionError
from subwright.base.preferred import at_least, between, nearest
from subwright.base.units import show
from subwright.parts.library import Library
from subwright.parts.schema import Mosfet, Rectifier
from subwright.physics.amplifier_models import ClassABModel
from subwright.physics.rail_switching import gaussian_levels
from subwright.stages.amplifier_parts import RESERVE_ID, choose_lift_bank, sine_phases
from subwright.stages.amplifier_rail_records import RailHeat, RailSwitching
from subwright.stages.amplifier_spec import AmplifierSpec
from subwright.stages.common import Corner

__all__ = [
    "FOLLOWER_A_PER_V2",
    "SATURATED_V",
    "design_lifting",
    "design_two_pairs",
    "lifted_threshold_v",
    "rail_heat",
]

Array = NDArray[np.float64]

_GATE_SHARE: Final = 0.9  # of a gate's voltage rating
_MARGIN_V: Final = 0.5  # between threshold and the leg's own limit: tolerance of the network
_HYSTERESIS_V: Final = 0.5
_SENSE_OHM: Final = 22e3
_REFERENCE: Final = "TL431"
_REFERENCE_A: Final = 2e-3  # least current is 1 mA, data sheet
_COMPARATOR: Final = "LM393"
SATURATED_V: Final = 0.2
"""Output of the threshold comparator while it is low, V."""
_BUFFER: Final = ("BC337-25", "BC327-25")
_APART_S: Final = 1e-6  # the gate that turns on waits longer than the comparator's edge takes
_PULL_UP_OHM: Final = 4.7e3
_FOLLOWER_ON_V: Final = 1.0  # gate drive of a follower above its largest threshold, at some amperes
FOLLOWER_A_PER_V2: Final = 40.0
"""Of a power MOSFET that follows, ``I = K/2 (V_GS - V_T)²``: 20 A a volt above the threshold, from memory."""
_GATE_A: Final = 3e-3  # through the follower's zener
_BOOTSTRAP: Final = 10.0  # reactance of the bootstrap capacitor over its resistors, at the lowest note
_INNER_CHARGE: Final = 0.05  # of the inner rail: sag of its reservoir over one crest of the lowest note


def _diode(library: Library, reverse_v: float, average_a: float, what: str) -> Rectifier:
    """Least drop of those that stand it, the drawer's first; both legs of a case in parallel."""
    fits = [
        d
        for d in library.rectifiers.values()
        if d.common != "anode" and d.vrrm_v >= 1.25 * reverse_v and d.if_a * d.legs >= average_a
    ]
    if not fits:
        raise NoSolutionError(
            message=f"No rectifier in the drawer or library serves as {what}.",
            quantity="reverse voltage and average current",
            value=f"{show(1.25 * reverse_v, 'voltage')} and {show(average_a, 'current')}",
            limit=_most_at_hand(
                [
                    (d.vrrm_v, d.if_a * d.legs, d.id)
                    for d in library.rectifiers.values()
                    if d.common != "anode"
                ],
                1.25 * reverse_v,
            ),
            source="parts library and drawer",
            remedy="Add a stronger Schottky rectifier to the drawer, lower goal.power, or take class AB: "
            'amplifier.kind = "class_ab".',
        )
    return min(fits, key=lambda d: (library.in_drawer(d.id) == 0, d.drop_v(average_a / d.legs), d.id))


def _most_at_hand(rows: list[tuple[float, float, str]], voltage_v: float) -> str:
    """The strongest of (voltage, current, id) that stands a voltage, else the one of the highest voltage."""
    strong = [row for row in rows if row[0] >= voltage_v]
    if not rows:
        return "none at hand"
    volts, amps, name = max(strong, key=lambda row: row[1]) if strong else max(rows)
    return f"{show(volts, 'voltage')} at {show(amps, 'current')} ({name})"


def _mosfet(library: Library, channel: str, voltage_v: float, crest_a: float, what: str) -> Mosfet:
    fits = [
        m
        for m in library.mosfets.values()
        if m.channel == channel
        and m.package.startswith("TO-")
        and m.vds_v >= 1.25 * voltage_v
        and m.id_a * RESERVE_ID >= crest_a
    ]
    if not fits:
        raise NoSolutionError(
            message=f"No {channel.upper()}-channel MOSFET in the drawer or library serves as {what}.",
            quantity="drain voltage and crest current",
            value=f"{show(1.25 * voltage_v, 'voltage')} at {show(crest_a, 'current')}",
            limit=_most_at_hand(
                [
                    (m.vds_v, RESERVE_ID * m.id_a, m.id)
                    for m in library.mosfets.values()
                    if m.channel == channel and m.package.startswith("TO-")
                ],
                1.25 * voltage_v,
            )
            + ", half its rated current",
            source="parts library and drawer",
            remedy="Add a stronger one to the drawer, lower goal.power, or take class AB or class D: "
            'amplifier.kind = "class_ab" or "class_d_half_bridge".',
        )
    return min(fits, key=lambda m: (library.in_drawer(m.id) == 0, m.rds_on_ohm, m.id))


def _highest_zener_v(library: Library) -> float:
    return max((z.vz_v * (1.0 - z.tolerance) for z in library.zeners.values()), default=0.0)


def lifted_threshold_v(
    resistors_ohm: Mapping[str, float], battery_v: Array | float, reference_v: float, *, lifted: bool
) -> Array:
    """Output of a leg at which its comparator changes over.

    Parameters
    ----------
    resistors_ohm : the network by role, Ω. battery_v : V, any shape. reference_v : of the shunt, V.
    lifted : whether the rail is lifted already: the level at which it lets go.

    Returns
    -------
    Voltage, V, shape of ``battery_v``.

    Source
    ------
    Superposition at both inputs of the comparator. [derived]
    """
    g = {role: 1.0 / ohms for role, ohms in resistors_ohm.items()}
    volts = np.asarray(battery_v, dtype=np.float64)
    minus = g["threshold output"] + g["threshold output to ground"] + g["threshold reference"]
    plus = g["threshold battery"] + g["threshold battery to ground"] + g["threshold hysteresis"]
    fed = SATURATED_V if lifted else volts
    at = (volts * g["threshold battery"] + fed * g["threshold hysteresis"]) * minus / plus
    result: Array = (at - reference_v * g["threshold reference"]) / g["threshold output"]
    return result


def _threshold(head_v: float, corners: Mapping[Corner, float], reference_v: float) -> dict[str, float]:
    """Preferred values whose threshold stays nearest to, and not above, the battery less ``head_v``."""
    low, middle, high = corners[Corner.LOW], corners[Corner.NOMINAL], corners[Corner.MAX]
    ground = between(4.7e3, 47e3, "E24")
    back = between(150e3, 1.5e6, "E24")
    around = float(nearest(_SENSE_OHM * reference_v / head_v, "E24"))
    lower, upper, hysteresis = np.meshgrid(ground, ground, back, indexing="ij")
    g1 = 1.0 / _SENSE_OHM
    minus = g1 + 1.0 / lower + 1.0 / around
    plus = g1 + 1.0 / upper + 1.0 / hysteresis

    def trip(volts: float) -> Array:
        at = volts * (g1 + 1.0 / hysteresis) * minus / plus
        return np.asarray((at - reference_v / around) / g1)

    apart = np.stack([trip(v) - (v - head_v) for v in (low, middle, high)])
    gap = (middle - SATURATED_V) / hysteresis * minus / plus / g1
    late = np.maximum(apart.max(axis=0), 0.0)
    cost = np.abs(apart).max(axis=0) + 20.0 * late + 0.5 * np.abs(gap - _HYSTERESIS_V)
    i, j, k = np.unravel_index(int(np.argmin(cost)), cost.shape)
    return {
        "threshold output": _SENSE_OHM,
        "threshold output to ground": float(ground[i]),
        "threshold reference": around,
        "threshold battery": _SENSE_OHM,
        "threshold battery to ground": float(ground[j]),
        "threshold hysteresis": float(back[k]),
    }


def _gate_ohm(mosfet: Mosfet, supply_v: float) -> float:
    """Resistor before a gate so that turning on waits ``_APART_S``, E12, Ω."""
    reached = log(supply_v / (supply_v - mosfet.vgs_th_v))
    input_f = mosfet.qgs_coul / mosfet.vgs_th_v
    return float(at_least(_APART_S / (input_f * reached), "E12"))


def design_lifting(
    spec: AmplifierSpec,
    plain: ClassABModel,
    library: Library,
    *,
    corners: Mapping[Corner, float],
    least_ohm: float,
    drop_v: float,
) -> tuple[RailSwitching, ClassABModel]:
    """Lift each leg's rail over the crests.

    Parameters
    ----------
    spec : the builder's wishes. plain : the bridge without lifting. library : with the drawer merged.
    corners : battery, V. least_ohm : least load, ohm. drop_v : of one leg's output, V.

    Returns
    -------
    (the parts of one leg, the model with the lifted rail).

    Raises
    ------
    NoSolutionError : the battery is too high for the gates, or no part serves.

    Source
    ------
    Threshold network by superposition [derived]; class H after Self [self-apad].
    """
    highest = corners[Corner.MAX]
    crest_a = ((1.0 + spec.lift) * highest - plain.drop_v) / (least_ohm + plain.series_ohm())
    upper = _mosfet(library, "p", highest, crest_a, "lifting switch")
    lower = _mosfet(library, "n", highest, crest_a, "charging switch")
    gate_v = _GATE_SHARE * min(upper.vgs_max_v, lower.vgs_max_v)
    if highest > gate_v:
        raise NoSolutionError(
            message="The lifting switches' gates swing over the whole battery, and this one is too high.",
            quantity="highest battery",
            value=show(highest, "voltage"),
            limit=f"{show(gate_v, 'voltage')}, nine tenths of the gates' rating",
            source="parts library and drawer",
            remedy='Take amplifier.kind = "bridge_class_d", or "class_g" behind a converter.',
        )
    average_a = 2.0 * crest_a / pi
    diode = _diode(library, highest, average_a, "commutation diode")
    diode_v = diode.drop_v(0.5 * crest_a / diode.legs)
    head_v = diode_v + drop_v + 0.5 * plain.ballast_ohm * crest_a + _MARGIN_V
    reference = library.reference(_REFERENCE)
    resistors = _threshold(head_v, corners, reference.vref_v)
    nominal = corners[Corner.NOMINAL]
    trip = float(lifted_threshold_v(resistors, nominal, reference.vref_v, lifted=False))
    if trip <= 0.5 * nominal:
        raise NoSolutionError(
            message="This battery leaves no room below the lifting threshold: the rail would always be up.",
            quantity="threshold of a leg",
            value=show(trip, "voltage"),
            limit=f"above half the battery, {show(0.5 * nominal, 'voltage')}",
            source="output stage table",
            remedy='Take amplifier.kind = "bridge_class_d", which needs no headroom.',
        )
    resistors |= {
        "threshold pull-up": _PULL_UP_OHM,
        "threshold reference feed": float(
            nearest((corners[Corner.LOW] - reference.vref_v) / _REFERENCE_A, "E12")
        ),
        "lifting gate": _gate_ohm(upper, corners[Corner.LOW]),
        "charging gate": _gate_ohm(lower, corners[Corner.LOW]),
    }
    release = float(lifted_threshold_v(resistors, nominal, reference.vref_v, lifted=True))
    # both legs move alike: the bridge's output is twice the leg's, less the battery; a crest rises past one
    # level and falls past the other
    head = 2.0 * nominal - (trip + release)
    model = replace(plain, lift_ratio=spec.lift, head_v=head, diode_v=diode_v)
    rails = RailSwitching(
        form="lifted",
        inner_ratio=1.0,
        diode_id=diode.id,
        diode_v=diode_v,
        diode_a=average_a,
        diode_limit_a=diode.if_a * diode.legs,
        diode_reverse_v=highest,
        diode_reverse_limit_v=diode.vrrm_v,
        upper_id=upper.id,
        lower_id=lower.id,
        upper_a=crest_a,
        upper_limit_a=RESERVE_ID * min(upper.id_a, lower.id_a),
        upper_v=highest,
        upper_limit_v=min(upper.vds_v, lower.vds_v),
        head_v=nominal - trip,
        trip_v=trip,
        release_v=release,
        resistors_ohm=MappingProxyType(resistors),
        capacitors_f=MappingProxyType({}),
        reference_id=reference.id,
        comparator_id=library.comparator(_COMPARATOR).id,
        buffer_ids=_BUFFER,
    )
    return rails, model


def design_two_pairs(
    spec: AmplifierSpec,
    plain: ClassABModel,
    library: Library,
    *,
    peak_v: float,
    load_ohm: float,
    least_ohm: float,
    swell: float,
    note_hz: float,
    drop_v: float,
) -> tuple[RailSwitching, ClassABModel]:
    """Feed the output from an inner pair of rails, and over the crests from an outer one.

    Parameters
    ----------
    spec : the builder's wishes. plain : the stage on the outer rails. library : with the drawer merged.
    peak_v : at full power, V. load_ohm, least_ohm : nominal and least load, ohm. swell : highest over loaded
        rail. note_hz : lowest note, Hz. drop_v : of the output stage, V.

    Returns
    -------
    (the parts of one side, the model with both pairs).

    Raises
    ------
    NoSolutionError : no part serves, or the inner rail leaves no room for the output.

    Source
    ------
    Class G after Self [self-apad]; input power after Raab [raab1986].
    """
    rail_v = plain.rail_for_peak_v(peak_v, load_ohm)
    crest_a = peak_v / least_ohm
    highest = rail_v * swell
    n_side = _mosfet(library, "n", highest, crest_a, "follower on the positive outer rail")
    p_side = _mosfet(library, "p", highest, crest_a, "follower on the negative outer rail")
    on_v = max(n_side.vgs_th_v, p_side.vgs_th_v) + _FOLLOWER_ON_V
    wanted_v = on_v + drop_v
    zeners = [z for z in library.zeners.values() if z.vz_v * (1.0 - z.tolerance) >= wanted_v]
    if not zeners:
        raise NoSolutionError(
            message="No zener diode keeps a follower's gate far enough from the output.",
            quantity="zener voltage",
            value=show(wanted_v, "voltage"),
            limit=f"{show(_highest_zener_v(library), 'voltage')}, the highest at hand less its tolerance",
            source="parts library and drawer",
            remedy="Add one of the next voltage to the drawer, or lower goal.power.",
        )
    zener = min(zeners, key=lambda z: (z.vz_v, library.in_drawer(z.id) == 0, z.id))
    takeover_a = spec.inner_rail * rail_v / load_ohm
    takes_v = max(n_side.vgs_th_v, p_side.vgs_th_v) + sqrt(2.0 * takeover_a / FOLLOWER_A_PER_V2)
    inner_head_v = zener.vz_v - takes_v
    average_a = crest_a / pi
    reverse_v = (1.0 - spec.inner_rail) * highest
    diode = _diode(library, reverse_v, average_a, "commutation diode")
    diode_v = diode.drop_v(0.5 * crest_a / diode.legs)
    hot_ohm = max(m.rds_on_ohm * m.rds_hot_ratio for m in (n_side, p_side))
    head_v = inner_head_v + diode_v
    model = replace(
        plain,
        drop_v=plain.drop_v + hot_ohm * crest_a,
        driver_a=plain.driver_a + _GATE_A,
        inner_ratio=spec.inner_rail,
        head_v=head_v,
        diode_v=diode_v,
        inner_head_v=inner_head_v,
    )
    rail_v = model.rail_for_peak_v(peak_v, load_ohm)
    trip = spec.inner_rail * rail_v - head_v
    if trip <= 0.05 * rail_v:
        raise NoSolutionError(
            message="The inner rails are too low for the output stage's own drop: the outer ones would "
            "always feed.",
            quantity="output at which the outer rails take over",
            value=show(trip, "voltage"),
            limit=f"above {show(0.05 * rail_v, 'voltage')}",
            source="output stage table",
            remedy="Raise amplifier.inner_rail, raise goal.power, or take class AB or class D.",
        )
    feed = float(nearest(0.5 * (rail_v - zener.vz_v) / _GATE_A, "E12"))
    boot_f = float(at_least(_BOOTSTRAP / (2.0 * pi * note_hz * 0.5 * feed), "E6"))
    rectifier = _diode(library, 2.0 * spec.inner_rail * highest, 0.5 * average_a, "inner rectifier")
    charge = average_a / note_hz  # of the half cycle that this rail feeds
    sag_v = _INNER_CHARGE * spec.inner_rail * rail_v
    below = 1.0 - sqrt(max(0.0, 1.0 - (trip / peak_v) ** 2))  # what the inner rail gives of it
    needed_f = charge * below / sag_v
    reservoir = choose_lift_bank(library, spec.inner_rail * highest, needed_f, "feeds an inner rail")
    rails = RailSwitching(
        form="two pairs",
        inner_ratio=spec.inner_rail,
        diode_id=diode.id,
        diode_v=diode_v,
        diode_a=average_a,
        diode_limit_a=diode.if_a * diode.legs,
        diode_reverse_v=reverse_v,
        diode_reverse_limit_v=diode.vrrm_v,
        upper_id=n_side.id,
        lower_id=p_side.id,
        upper_a=crest_a,
        upper_limit_a=RESERVE_ID * min(n_side.id_a, p_side.id_a),
        upper_v=highest,
        upper_limit_v=min(n_side.vds_v, p_side.vds_v),
        head_v=head_v,
        trip_v=trip,
        release_v=trip,
        resistors_ohm=MappingProxyType({"follower feed": feed, "follower gate feed": feed}),
        capacitors_f=MappingProxyType({"follower bootstrap": boot_f}),
        zener_id=zener.id,
        zener_v=zener.vz_v,
        rectifier_id=rectifier.id,
        rectifier_a=0.5 * average_a,
        rectifier_limit_a=rectifier.if_a * rectifier.legs,
        reservoir_id=reservoir.capacitor.id,
        reservoir_count=reservoir.count,
        reservoir_needed_f=needed_f,
    )
    return rails, model


def rail_heat(
    model: ClassABModel, peak_v: float, load_ohm: float, rail_v: float, crest_factor_db: float
) -> tuple[RailHeat, ...]:
    """Heat of the output with and without changing rails, from idle to full sine.

    Parameters
    ----------
    model : of the stage. peak_v : full output, V. load_ohm : ohm. rail_v : V. crest_factor_db : dB.

    Returns
    -------
    Rows; class AB stands on the upper rail. Programme is Gaussian with its crests at clipping.

    Source
    ------
    Averages of the loss model. [derived]
    """
    plain = model.plain()
    upper_v = (1.0 + model.lift_ratio) * rail_v
    level, share = gaussian_levels(crest_factor_db)
    sine = sine_phases(480)
    even = np.full(sine.size, 1.0 / sine.size)
    rows: list[tuple[str, Array, Array]] = [
        ("idle", np.zeros(1), np.ones(1)),
        (f"programme, {crest_factor_db:g} dB crest factor", peak_v * level, share),
        ("sine, an eighth of full power", peak_v / 8.0**0.5 * sine, even),
        ("sine, full power", peak_v * sine, even),
    ]

    def heat(of: ClassABModel, volts: float) -> Callable[[Array, Array], float]:
        def total(v: Array, weight: Array) -> float:
            terms = of.losses_w(v, v / load_ohm, volts)
            kept = [w for name, w in terms.items() if name not in _ELSEWHERE]
            return float(np.sum(weight * np.sum(kept, axis=0)))

        return total

    with_rails, without = heat(model, rail_v), heat(plain, upper_v)
    return tuple(
        RailHeat(level=name, plain_w=without(v, w), switched_w=with_rails(v, w)) for name, v, w in rows
    )


_ELSEWHERE: Final = ("ballast resistors", "driver and input stages", "speaker lead")
