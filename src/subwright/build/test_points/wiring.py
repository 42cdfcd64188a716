"""What a meter and an oscilloscope find along the battery lead: the drop, and how far it moves.

The battery's current follows the bass instant by instant, so it swings between that at rest, as the output
crosses zero, and that of the crest, twice in each note. On top of it stands what switches behind the input
capacitors, which the cable's inductance keeps to the unit's own board.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np

from subwright.base.units import show
from subwright.build.result import Design
from subwright.build.test_points.states import FULL_SINE, NO_SIGNAL, played
from subwright.build.wiring_values import wiring_values
from subwright.circuits.netlist import Reading
from subwright.circuits.wiring_circuit import FUSED, UNIT_NETS, net_ohm
from subwright.parts.library import Library
from subwright.physics.amplifier_models import ClassDModel
from subwright.physics.class_d import bus_ripple_v
from subwright.stages.common import Corner, Level

__all__ = ["battery_currents", "dips", "switching_ripple", "wiring_readings"]

_LEAST_V: Final = 1e-3  # below it no oscilloscope tells ripple from noise
_MODULATIONS: Final = 20


def battery_currents(design: Design, corner: Corner, level: Level) -> tuple[float, float, float]:
    """Battery's current over a note: least, mean and most, A.

    Parameters
    ----------
    design : the build. corner, level : at which it plays.
    """
    point, rest_a = design.point(corner, level), design.point(corner, Level.IDLE).battery_a
    return min(rest_a, point.battery_a), point.battery_a, point.battery_peak_a


def switching_ripple(design: Design, library: Library, corner: Corner) -> tuple[float, float]:
    """Ripple at the unit's board at the crest of a full sine: peak to peak, V, and its rate, Hz.

    Parameters
    ----------
    design, library : the build and its parts. corner : of the battery.

    Returns
    -------
    0 V where nothing switches on the battery.

    Source
    ------
    Rectangular or triangular current in the input capacitors' resistance; of a class-D stage on the battery
    at the severest modulation. [derived]
    """
    if design.converter is not None:
        timing, bank = design.converter.plan.timing, design.converter.input_bank
        pulse_a = design.point(corner, Level.FULL).battery_peak_a / timing.share
        return pulse_a * bank.esr_ohm, 2.0 * timing.switching_hz
    if design.boost is not None:
        plan = design.boost.plan
        crest = next(at for at in design.boost.corners if at.corner is corner)
        return crest.ripple_a * plan.input_bank.esr_ohm, plan.timing.switching_hz
    amplifier, model = design.amplifier, design.amplifier.model
    if not isinstance(model, ClassDModel) or not amplifier.input_capacitor_id:
        return 0.0, 0.0
    part, count = library.capacitors[amplifier.input_capacitor_id], amplifier.input_capacitor_count
    peak_a = design.point(corner, Level.FULL).output_peak_v / amplifier.load_ohm
    swings = (
        bus_ripple_v(
            float(share) * peak_a,
            float(share),
            model.switching_hz,
            count * part.capacitance_f,
            part.esr_ohm / count,
            legs=model.legs,
        )
        for share in np.linspace(0.0, 1.0, _MODULATIONS + 1)
    )
    return max(swings), model.switching_hz


def dips(design: Design, library: Library, corner: Corner, least_v: float, *, board: bool) -> str:
    """How a full sine moves a net of the battery's, in words.

    Parameters
    ----------
    design, library : the build and its parts. corner : of the battery. least_v : at the crest, V.
    board : whether the net is on the unit's board, where the switching shows too.
    """
    note = show(2.0 * design.spec.goal.lowest_note_hz, "frequency")
    told = f"dips to {show(least_v, 'voltage')} at {note}, twice the note"
    swing_v, rate_hz = switching_ripple(design, library, corner)
    if board and swing_v >= _LEAST_V:
        told += f", {show(swing_v, 'voltage')} at {show(rate_hz, 'frequency')} on their crests"
    return told


def wiring_readings(design: Design, library: Library) -> Mapping[str, tuple[Reading, ...]]:
    """Readings at the test points of the wiring, by net.

    Parameters
    ----------
    design, library : the build and its parts.

    Returns
    -------
    At rest and at full sine on each battery: mean, swing at twice the note, and both ripples in words.
    """
    found: dict[str, list[Reading]] = {FUSED: [], UNIT_NETS[0]: []}
    for signal in (NO_SIGNAL, FULL_SINE):
        for at, (corner, level) in played(signal).items():
            least_a, mean_a, most_a = battery_currents(design, corner, level)
            values = wiring_values(design, corner=corner)
            for net, ohm in net_ohm(values).items():
                least_v = values.emf_v - ohm * most_a
                still = level is Level.IDLE
                found[net].append(
                    Reading(
                        at=at,
                        dc_v=values.emf_v - ohm * mean_a,
                        ripple_v=0.0 if still else ohm * (most_a - least_a),
                        waveform="" if still else dips(design, library, corner, least_v, board=net != FUSED),
                    )
                )
    return {net: tuple(rows) for net, rows in found.items()}
