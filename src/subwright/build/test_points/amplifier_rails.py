"""What the rails of class G and class H do at the test points, at rest and over the crests of a sine."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np
from numpy.typing import NDArray

from subwright.base.units import show
from subwright.build.test_points.followers import Row, output_rows
from subwright.circuits.amplifier_drive import LEAST_LEG_V
from subwright.circuits.amplifier_values import ClassABValues
from subwright.parts.library import Library
from subwright.parts.schema import Rectifier
from subwright.physics.amplifier_models import ClassABModel, class_ab_sum_a
from subwright.stages.amplifier import AmplifierResult
from subwright.stages.amplifier_driving import junction_v
from subwright.stages.amplifier_rail_records import RailSwitching
from subwright.stages.amplifier_rails import FOLLOWER_A_PER_V2, SATURATED_V, lifted_threshold_v

__all__ = ["lifted_rows", "two_pair_rows"]

Array = NDArray[np.float64]

_PHASES: Final = 3600
_FADED_A: Final = 1e-6  # at which a follower that charges a gate counts as done
_SINE: Final = np.sin((np.arange(_PHASES) + 0.5) * (2.0 * np.pi / _PHASES))


def two_pair_rows(
    v: ClassABValues,
    model: ClassABModel,
    rails: RailSwitching,
    library: Library,
    at_lead: float,
    crest_a: float,
    note: str,
) -> Iterator[Row]:
    """Class G: feeds of the collectors, and the inner rails.

    Parameters
    ----------
    v, model, rails : the stage on its outer rail. library : with the drawer merged.
    at_lead : peak ahead of the lead, V; 0 at rest. crest_a : peak of the load's current, A. note : its rate.
    """
    diode = library.rectifiers[rails.diode_id]
    inner_v = rails.inner_ratio * v.rail_v
    load_a, out_v = crest_a * _SINE, at_lead * _SINE
    given_a = 0.5 * (class_ab_sum_a(load_a, model.bias_a, model.ballast_ohm) + load_a)
    from_inner = inner_v - diode.vf0_v - diode.rd_ohm / diode.legs * given_a
    for word, sign, part_id in (("positive", 1.0, rails.upper_id), ("negative", -1.0, rails.lower_id)):
        # what holds the gate at a zener's distance from the output lifts the feed where the inner rail ends
        gate_v = library.mosfets[part_id].vgs_th_v + np.sqrt(2.0 * given_a / FOLLOWER_A_PER_V2)
        feed = np.maximum(from_inner, out_v + rails.zener_v - gate_v)
        low, high = float(feed.min()), float(feed.max())
        way = "up" if sign > 0.0 else "down"
        shape = f"from {sign * low:.1f} V {way} to {sign * high:.1f} V with each {word} crest, {note}"
        if at_lead:
            yield f"feed_{word}", sign * float(feed.mean()), high - low, shape
        else:
            yield f"feed_{word}", sign * high, 0.0, ""
        yield f"inner_{word}", sign * inner_v, 0.0, ""


def lifted_rows(
    result: AmplifierResult, library: Library, v: ClassABValues, at_lead: float, note_hz: float
) -> Iterator[Row]:
    """Class H: outputs, rails of the legs, lower ends of the lifting capacitors, and the gates' lines.

    Parameters
    ----------
    result : the stage. library : with the drawer merged. v : on its supply.
    at_lead : peak between the legs ahead of the lead, V; 0 at rest. note_hz : its rate.
    """
    note = show(note_hz, "frequency")
    supply, rails, model = v.rail_v, result.rail_switching, result.model
    assert rails is not None
    assert isinstance(model, ClassABModel)
    diode = library.rectifiers[rails.diode_id]
    # a gate's line ends a small junction away from what drives the followers' bases
    high_v, low_v = supply - junction_v(_FADED_A), SATURATED_V + junction_v(_FADED_A)
    if not at_lead:
        yield from output_rows(v, 0.0, note)
        for name in "ab":
            yield f"feed_{name}", supply - diode.vf0_v, 0.0, ""
            yield f"lift_{name}", 0.0, 0.0, ""
            yield f"gate_{name}", high_v, 0.0, ""
        return
    between = at_lead * np.abs(_SINE)
    low = np.maximum(0.5 * (supply - between), LEAST_LEG_V)
    leg = np.where(_SINE >= 0.0, low + between, low)
    reference_v = library.reference(rails.reference_id).vref_v
    trip, release = (
        float(lifted_threshold_v(rails.resistors_ohm, supply, reference_v, lifted=lifted))
        for lifted in (False, True)
    )
    up = _held(leg, trip, release)
    share = float(up.mean())
    bottom, top = float(leg.min()), float(leg.max())
    load_a = at_lead / (result.load_ohm + model.cable_ohm) * _SINE
    given_a = 0.5 * (class_ab_sum_a(load_a, model.bias_a, model.ballast_ohm) + load_a)
    feed = _lifted_feed(result, diode, supply, given_a, up, note_hz)
    least, most = float(feed.min()), float(feed.max())
    for name in "ab":
        yield f"out_{name}", float(leg.mean()), top - bottom, f"{bottom:.1f} V to {top:.1f} V, {note}"
        if not share:
            yield f"feed_{name}", float(feed.mean()), 0.0, ""
            yield f"lift_{name}", 0.0, 0.0, ""
            yield f"gate_{name}", high_v, 0.0, ""
            continue
        shape = f"{least:.1f} V, lifted to {most:.1f} V over the crests, {note}"
        yield f"feed_{name}", float(feed.mean()), most - least, shape
        shape = f"0 V, {supply:.1f} V over the crests, {note}"
        yield f"lift_{name}", share * supply, supply, shape
        shape = f"{high_v:.1f} V, {low_v:.1f} V over the crests, {note}"
        yield f"gate_{name}", high_v - share * (high_v - low_v), high_v - low_v, shape


def _lifted_feed(
    result: AmplifierResult,
    diode: Rectifier,
    supply: float,
    given_a: Array,
    up: NDArray[np.bool_],
    note_hz: float,
) -> Array:
    """A leg's rail over one note: the supply less the diode, or above it what the capacitors still hold."""
    below = supply - diode.vf0_v - diode.rd_ohm / diode.legs * given_a
    step_s = 1.0 / note_hz / _PHASES
    given = np.zeros(_PHASES)
    start = int(np.argmin(up)) if not up.all() else 0  # begin where the capacitors are full
    coulombs = 0.0
    for k in (np.arange(_PHASES) + start) % _PHASES:
        coulombs = coulombs + given_a[k] * step_s if up[k] else 0.0
        given[k] = coulombs
    lifted = 2.0 * supply - diode.vf0_v - given / result.lift_f
    return np.where(up, lifted, below)


def _held(course: Array, trip: float, release: float) -> NDArray[np.bool_]:
    """Where a comparator with hysteresis is up, over a course that repeats."""
    state = bool(course[-1] > trip)
    found = np.zeros(course.shape, dtype=bool)
    for _ in range(2):  # the second round begins as the first ended
        for k, volts in enumerate(course):
            state = bool(volts > release) if state else bool(volts > trip)
            found[k] = state
    return found
