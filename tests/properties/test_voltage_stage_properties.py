"""Voltage stages of random amplifiers keep their limits, and networks of random wishes their gain."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from subwright.base.errors import NoSolutionError
from subwright.parts.library import load_library
from subwright.stages.amplifier import AmplifierSpec, design_amplifier
from subwright.stages.amplifier_voltage_stage_network import Wanted, difference_network, plain_network
from subwright.stages.supply import SupplySpec, supply_corners

LIBRARY = load_library()
CORNERS = {volts: supply_corners(SupplySpec(system_v=volts))[0] for volts in (12, 24, 48)}


@settings(max_examples=60)
@given(
    kind=st.sampled_from(["class_ab", "class_g", "bridge_class_ab", "bridge_class_h"]),
    output=st.sampled_from(["pair", "lateral"]),
    power=st.floats(10.0, 250.0),
    load=st.sampled_from([2.0, 4.0, 8.0]),
    volts=st.sampled_from([12, 24, 48]),
    full=st.floats(0.2, 4.0),
    note=st.floats(15.0, 60.0),
)
def test_a_designed_voltage_stage_keeps_its_limits(
    kind: str, output: str, power: float, load: float, volts: int, full: float, note: float
) -> None:
    spec = AmplifierSpec.model_validate({"kind": kind, "ab_output": output, "full_input": f"{full:.3f} V"})
    try:
        result = design_amplifier(spec, power, load, CORNERS[volts], LIBRARY, lowest_note_hz=note)
    except NoSolutionError:
        return  # a battery too high for the gates, too many pairs: refused, not designed badly
    stage = result.voltage_stage
    assert stage is not None
    assert stage.stage_a >= stage.need_a
    assert stage.limit_a >= stage.stage_a + stage.need_a
    assert stage.slew_v_per_s >= stage.slew_needed_v_per_s
    assert stage.phase_margin_deg >= 60.0
    assert stage.mute_db <= -40.0
    assert stage.low_corner_hz <= note / 5.0
    assert stage.gain == pytest.approx(result.peak_v / math.sqrt(2.0) / full, rel=0.1)
    for role, heat in stage.heats.items():
        assert heat.voltage_v <= heat.voltage_limit_v, role
        assert heat.heat_w <= heat.heat_limit_w, role


@settings(max_examples=100)
@given(
    gain=st.floats(0.5, 100.0),
    full=st.floats(0.1, 10.0),
    ohms=st.floats(2.2e3, 220e3),
    legs=st.sampled_from([1, 2]),
)
def test_networks_reach_the_wanted_gain_and_input(gain: float, full: float, ohms: float, legs: int) -> None:
    wanted = Wanted(
        gain=gain, input_ohm=ohms, full_input_v=full, leg_peak_v=30.0, note_hz=25.0, legs=legs,
    )  # fmt: skip
    network = plain_network(wanted)
    assert network.gain == pytest.approx(gain, rel=0.06)
    assert 2.0 * network.series_ohm + network.load_ohm == pytest.approx(ohms, rel=0.25)
    if legs == 2:
        held = difference_network(wanted)
        assert held.gain == pytest.approx(gain, rel=0.06)
        assert held.leg_gain >= 10.0
        assert 20e3 <= held.difference_hz <= 40e3
