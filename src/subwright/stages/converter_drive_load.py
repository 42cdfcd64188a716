"""What the gate drive takes from its supply beside the gates' charge: gate transformer and resistors."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from subwright.parts.library import Library
from subwright.parts.schema import Controller, Mosfet
from subwright.physics.gate_drive import gate_current_a, gate_magnetising, negative_charge_coul
from subwright.stages.converter_bill import GATE_PULL_OHM
from subwright.stages.converter_controller import OUTPUT_PULL_OHM
from subwright.stages.converter_drive import SETTLED_V, GateDrive, plateau_v
from subwright.stages.converter_family import open_emitters
from subwright.stages.converter_gate_transformer import CLAMP_V, GateTransformer, design_gate_transformer
from subwright.stages.converter_timing import Timing

__all__ = ["loaded_drive", "returned_v"]

_BASE_V: Final = 0.7


def returned_v(drive: GateDrive, controller: Controller, supply_v: float) -> float:
    """Voltage across a gate transformer while its magnetising current comes back, V.

    One end lies a diode below ground. The other lies a diode above the supply; with a controller whose
    output is an emitter follower on a resistor, the PNP takes the current before that, for the resistor
    leads its base current away.

    Parameters
    ----------
    drive : driver and level. controller : its record. supply_v : of the drivers, V.
    """
    if open_emitters(controller):
        return supply_v - (controller.output_drop_v - SETTLED_V) + _BASE_V + CLAMP_V
    return supply_v + 2.0 * CLAMP_V


def loaded_drive(
    drive: GateDrive,
    controller: Controller,
    timing: Timing,
    mosfet: Mosfet,
    library: Library,
    *,
    supply_v: float,
    gates: int,
    bridge: bool,
) -> GateDrive:
    """The drive with a bridge's gate transformer, and with its whole mean supply current.

    Parameters
    ----------
    drive : as chosen, with the gates' charge alone. controller, timing, mosfet : of the converter.
    library : parts with the drawer merged. supply_v : of the drivers, V. gates : how many.
    bridge : whether a gate transformer is needed.

    Returns
    -------
    GateDrive. In the pause the magnetising current has already lifted the gates by the drops that it meets;
    that much of their charge is spared. Magnetising current that comes back into the supply is taken off;
    the transistors' base currents are none of the supply's: an output that pulls down takes the PNP's, and
    the NPN's is part of what its emitter gives.

    Raises
    ------
    NoSolutionError : no ring at hand makes the gate transformer.
    """
    transformer: GateTransformer | None = None
    on, magnetising_a, spared_a = 2.0 * timing.duty_each, 0.0, 0.0
    if bridge:
        f, resting_v = timing.switching_hz, CLAMP_V + drive.driver.low_v
        transformer = design_gate_transformer(library, drive.gate_v, f, drive.driver.source_a)
        course = gate_magnetising(
            transformer.inductance_h,
            drive.gate_v,
            returned_v(drive, controller, supply_v),
            resting_v,
            timing.duty_each / f,
            (0.5 - timing.duty_each) / f,
        )
        back_a = 0.0 if open_emitters(controller) else course.returned_a
        magnetising_a = course.drawn_a - back_a
        spared_a = gate_current_a(
            negative_charge_coul(mosfet.qgs_coul, plateau_v(mosfet), 2.0 * resting_v), f, gates
        )
        transformer = replace(transformer, magnetising_a=course.peak_a)
    # A gate transformer holds its gates up or down, each by its own pull-down, while a pulse lasts.
    resistors_a = gates * (on if bridge else 0.5 * on) * drive.gate_v / GATE_PULL_OHM
    if open_emitters(controller):
        resistors_a += on * (supply_v - controller.output_drop_v + SETTLED_V) / OUTPUT_PULL_OHM
    supply_a = drive.gate_a - spared_a + magnetising_a + resistors_a
    return replace(
        drive,
        transformer=transformer,
        spared_a=spared_a,
        magnetising_a=magnetising_a,
        resistors_a=resistors_a,
        supply_a=supply_a,
        gate_w=supply_a * supply_v,
    )
