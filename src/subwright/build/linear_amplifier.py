"""A linear amplifier of a design as one netlist: voltage stage, bias, output devices, load."""

from __future__ import annotations

from typing import Final

from subwright.build.result import Design
from subwright.circuits.amplifier_class_ab import class_ab_circuit
from subwright.circuits.amplifier_rails import class_g_circuit, class_h_circuit
from subwright.circuits.amplifier_values import ClassABValues, class_ab_values
from subwright.circuits.analysis import Probe, Voltage
from subwright.circuits.netlist import Circuit, Ramp, Steady
from subwright.circuits.simulate import Array, Traces
from subwright.circuits.voltage_stage_circuit import MUTE_OPEN_V
from subwright.circuits.voltage_stage_loop import closed_loop
from subwright.parts.library import Library
from subwright.physics.amplifier_models import ClassABModel
from subwright.stages.amplifier_voltage_stage_records import VoltageStage

__all__ = ["SILENT", "across", "closed_amplifier", "ends_of", "rails_lifted", "stage_of", "values_of"]

SILENT: Final = Steady(value=0.0)
"""The filter's output at rest."""
_OFF_OHM: Final = 10e3  # in place of the loudspeaker, for the fastest loop


def stage_of(design: Design) -> VoltageStage | None:
    """The design's voltage stage, if it has one."""
    return design.amplifier.voltage_stage


def values_of(design: Design, rail_v: float | None = None) -> ClassABValues:
    """Its output stage on a rail, V, or on the one that full power needs."""
    model = design.amplifier.model
    assert isinstance(model, ClassABModel)
    return class_ab_values(design.amplifier, rail_v=rail_v, switched=model.switched)


def closed_amplifier(
    design: Design,
    library: Library,
    signal: Ramp | Steady,
    mute: float | Ramp = MUTE_OPEN_V,
    *,
    loaded: bool = True,
    rail_v: float | None = None,
    outer_only: bool = False,
) -> Circuit:
    """The whole amplifier, from the filter's output to the load.

    Parameters
    ----------
    design, library : the build. signal : from the filter, V. mute : what its line is pulled to, V.
    loaded : with the loudspeaker's resistance, else next to none. rail_v : V; None for what full power needs.
    outer_only : at rest, class G with its collectors on the outer rails, class H on the battery itself.
    """
    result, stage, values = design.amplifier, stage_of(design), values_of(design, rail_v)
    assert stage is not None
    rails, load = result.rail_switching, result.load_ohm if loaded else _OFF_OHM
    lifted = rails_lifted(design) and not outer_only
    if rails is None or outer_only:
        output = class_ab_circuit(values, load_ohm=load, signal=SILENT)
    elif rails.form == "lifted":
        output = class_h_circuit(
            values,
            rails,
            library,
            lift_f=result.lift_f,
            cans=result.lift_count,
            load_ohm=load,
            signals=(SILENT, SILENT),
        )
    else:
        output = class_g_circuit(values, rails, library, load_ohm=load, signal=SILENT)
    return closed_loop(
        output, values, stage, library, signal=signal, crest_a=stage.crest_a, lifted=lifted, mute=mute
    )


def rails_lifted(design: Design) -> bool:
    """Whether the legs' rails are lifted."""
    rails = design.amplifier.rail_switching
    return rails is not None and rails.form == "lifted"


def ends_of(circuit: Circuit) -> list[Probe]:
    """Where the amplifier's own output is seen."""
    return [Voltage("out_a"), *([Voltage("out_b")] if "out_b" in circuit.nets else [])]


def across(traces: Traces, circuit: Circuit) -> Array:
    """Course of the voltage across the amplifier's output, V; of a bridge between both ends."""
    course = traces.voltage("out_a")
    return course - traces.voltage("out_b") if "out_b" in circuit.nets else course
