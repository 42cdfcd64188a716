"""The auxiliary winding on the working transformer: what the main rails' load leaves of its voltage."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from subwright.circuits.analysis import Probe, Voltage
from subwright.circuits.auxiliary_circuit import auxiliary_circuit
from subwright.circuits.converter_point import averaged_point, averaged_terminal_pulse
from subwright.circuits.converter_power import power_circuit
from subwright.circuits.converter_regulated import regulated_point
from subwright.circuits.converter_values import PowerValues
from subwright.circuits.netlist import BENCH, Circuit
from subwright.stages.converter import ConverterResult

__all__ = ["AUXILIARY_PROBES", "auxiliary_v", "loaded_auxiliary"]

AUXILIARY_PROBES: Final[tuple[Probe, ...]] = (Voltage("aux_positive"), Voltage("aux_negative"))
_RESERVOIR_F: Final = 2.2e-6  # of each side: holds for half a cycle, settles within tens of them
_DIODE_V: Final = 0.9
_DRIVE: Final = frozenset(f"{BENCH}{name}" for name in ("POSITIVE", "NEGATIVE", "OHM"))


def auxiliary_v(result: ConverterResult, values: PowerValues) -> float:
    """One side before its regulator, V: the winding's highest voltage in a pulse less a diode.

    Parameters
    ----------
    result : the converter, with an auxiliary winding. values : its power stage, both rails loaded alike.

    Source
    ------
    Kirchhoff's voltage law around one half-secondary at the end of a pulse. [derived]
    """
    v = values
    if v.choke is not None:
        half_v = regulated_point(v).winding_v
    else:
        end_a = float(averaged_terminal_pulse(v).end) * v.positive_a  # of one rail, at the end of the pulse
        resistance = v.diode_ohm + v.secondary_winding_ohm + v.reservoir_esr_ohm
        half_v = averaged_point(v).positive_v + v.diode_v + resistance * end_a
    return half_v * result.auxiliary.turns / result.secondary_turns - _DIODE_V


def loaded_auxiliary(result: ConverterResult, values: PowerValues) -> Circuit:
    """Power stage and auxiliary supply on one core.

    Parameters
    ----------
    result : the converter, with an auxiliary winding. values : of ``quick``.
    """
    power = power_circuit(values)
    small = auxiliary_circuit(result, battery_v=values.emf_v, corners={}, reservoir_f=_RESERVOIR_F)
    main, own = power.couplings[0], small.couplings[0]
    windings = replace(main, windings=(*main.windings, *own.windings))
    primary_h = next(part.value for part in power.parts if part.designator == "T101A")
    assert isinstance(primary_h, float)
    ratio = result.auxiliary.turns / result.primary_turns
    kept = (
        replace(part, value=primary_h * ratio**2) if part.kind == "winding" else part
        for part in small.parts
        if part.designator not in _DRIVE
    )
    return Circuit(
        name="auxiliary supply on the working transformer",
        parts=(*power.parts, *kept),
        models=(*power.models, *small.models),
        couplings=(windings, *power.couplings[1:]),
    )
