"""The inputs: pad, rejection by a second route, protection, refusals."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from subwright.base.errors import RangeError
from subwright.base.preferred import is_member
from subwright.parts.library import load_library
from subwright.physics.networks.difference import difference_gains, worst_difference_rejection_db
from subwright.physics.networks.nodal import GROUND, Network
from subwright.stages.input import InputNeed, InputResult, InputSpec, design_input, takes_op_amps

NEED = InputNeed(channels=2, sensitivity_v=1.0, summing_ohm=22e3, side_v=12.0, battery_max_v=14.8)


def design(spec: InputSpec, need: InputNeed = NEED) -> InputResult:
    return design_input(spec, need, load_library())


def by_network(parts: tuple[float, ...], shunt_ohm: float, hot_v: float, cold_v: float) -> float:
    """Output of pad and difference amplifier by nodal analysis, V."""
    hot, cold, r1, r2, r3, r4 = parts
    net = Network().source("hot", hot_v, name="hot").source("cold", cold_v, name="cold")
    net.resistor("hot", "a", hot).resistor("cold", "b", cold).resistor("a", "b", shunt_ohm)
    net.resistor("b", "-", r1).resistor("-", "out", r2).resistor("a", "+", r3).resistor("+", GROUND, r4)
    net.op_amp("+", "-", "out")
    return float(net.solve(100.0).at("out")[0].real)


@pytest.mark.parametrize("shunt", [270.0, 4.7e3, 1e9])
def test_gains_by_nodal_analysis(shunt: float) -> None:
    parts = (1.01e3, 0.98e3, 22.1e3, 21.8e3, 22.3e3, 22.0e3)
    differential, common = difference_gains(parts, shunt)
    assert by_network(parts, shunt, 0.5, -0.5) == pytest.approx(float(differential), rel=1e-9)
    assert by_network(parts, shunt, 1.0, 1.0) == pytest.approx(float(common), rel=1e-6, abs=1e-12)


def test_speaker_level() -> None:
    result = design(InputSpec(source="speaker", speaker_v=9.0))
    assert result.receiver == "difference"
    assert result.op_amps == takes_op_amps(InputSpec(source="speaker"), 2) == 2
    assert result.source_v == pytest.approx(9.0, rel=0.02)
    assert result.source_v * result.gain == pytest.approx(1.0)
    assert result.shunt_ohm is not None
    parts = (result.series_ohm, result.series_ohm, *([result.difference_in_ohm] * 4))
    assert by_network(parts, result.shunt_ohm, 0.5, -0.5) == pytest.approx(result.gain, rel=1e-9)  # type: ignore[arg-type]
    for value in (result.series_ohm, result.shunt_ohm, result.difference_in_ohm):
        assert is_member(value or 0.0, "E24")
    assert is_member(result.rf_f, "E6")
    assert result.pad_w == pytest.approx(result.source_v**2 / result.load_ohm)
    assert 0.0 < result.common_mode_v < result.common_mode_limit_v
    assert any("short" in reason for reason in result.reasons)


def test_line_with_a_difference_amplifier() -> None:
    result = design(InputSpec(receiver="difference", source_output_ohm=0.0))
    assert result.gain == pytest.approx(1.0, rel=0.06)
    # 1 % resistors: 34 dB at worst from the four, a little less with the series ones
    assert 33.0 < result.rejection_worst_db < 34.1
    assert result.rejection_worst_db == result.rejection_matched_db
    assert result.rejection_worst_db <= result.rejection_p1_db <= result.rejection_median_db
    fine = design(InputSpec(receiver="difference", source_output_ohm=0.0, resistor_tolerance=0.001))
    assert fine.rejection_worst_db - result.rejection_worst_db == pytest.approx(20.0, abs=0.3)


def test_the_source_resistance_unbalances() -> None:
    result = design(InputSpec(receiver="difference", source_output_ohm=1000.0, resistor_tolerance=0.001))
    assert result.rejection_worst_db < result.rejection_matched_db - 10.0
    # 1 kΩ in one leg of 24 kΩ and 22 kΩ to ground: about 2 % of unbalance
    parts = (2e3, 1e3, 22e3, 22e3, 22e3, 22e3)
    alone = 20 * np.log10(abs(by_network(parts, 1e12, 0.5, -0.5) / by_network(parts, 1e12, 1.0, 1.0)))
    assert result.rejection_worst_db == pytest.approx(alone, abs=1.0)


def test_single_ended_adds_the_noise() -> None:
    result = design(InputSpec(ground_noise_v=0.1))
    assert result.receiver == "single-ended"
    assert result.rejection_worst_db == 0.0
    assert result.noise_db == pytest.approx(20 * np.log10(result.source_v / 0.1))
    assert result.op_amps == 0
    assert result.load_ohm == pytest.approx(result.series_ohm + 22e3)


def test_a_fault_is_limited() -> None:
    result = design(InputSpec(fault_v=40.0))
    assert result.clamp_a == pytest.approx((40.0 - 12.0 - 0.6) / result.series_ohm)
    assert result.clamp_a < result.clamp_limit_a
    assert result.fault_w == pytest.approx(result.clamp_a**2 * result.series_ohm)
    series = next(p for p in result.parts if p.role == "input series")
    assert series.ratings[0].margin >= 0.5
    assert design(InputSpec(fault_v=10.0)).clamp_a == 0.0


def test_op_amps_on_the_battery_get_clamps_that_let_half_waves_below_ground_through() -> None:
    need = replace(NEED, side_v=5.5, reference_v=7.4)
    result = design(InputSpec(), need)
    clamp = load_library().zener(result.clamp_id)
    assert clamp.vz_v * (1.0 - clamp.tolerance) >= 1.25 * np.sqrt(2.0) * result.source_v
    assert next(p for p in result.parts if p.role == "input clamp zener").quantity == 4
    assert result.clamp_a == pytest.approx((16.0 - clamp.vz_v - 0.6) / result.series_ohm, rel=0.2)
    assert not any(p.role == "input clamp diode" for p in result.parts)
    # bridged radio outputs rest on half the battery: the supplies' diodes don't see them
    speaker = design(InputSpec(source="speaker"), need)
    assert speaker.clamp_id == "1N4148"
    with pytest.raises(RangeError, match="zener diode"):
        design(InputSpec(), replace(need, sensitivity_v=40.0))


def test_each_line_channel_has_its_socket() -> None:
    for channels in (1, 2):
        for receiver in ("single-ended", "difference"):
            result = design(InputSpec(receiver=receiver), replace(NEED, channels=channels))
            assert next(p for p in result.parts if p.role == "line input").quantity == channels
    assert not any(p.role == "line input" for p in design(InputSpec(source="speaker")).parts)


def test_common_mode_is_counted_from_the_op_amps_ground() -> None:
    rails = design(InputSpec(source="speaker"))
    battery = design(InputSpec(source="speaker"), replace(NEED, side_v=5.0, reference_v=7.4))
    # at rest the radio's outputs stand at half the battery, as the op-amps' midpoint does
    share = (rails.difference_out_ohm or 0.0) / (
        rails.series_ohm + (rails.difference_in_ohm or 0.0) + (rails.difference_out_ohm or 0.0)
    )
    assert rails.common_mode_v - battery.common_mode_v == pytest.approx(7.4 * share)
    assert battery.common_mode_v < battery.common_mode_limit_v + 1.0


def test_mono_takes_half_of_everything() -> None:
    two, one = (
        design(InputSpec(source="speaker")),
        design(InputSpec(source="speaker"), replace(NEED, channels=1)),
    )
    assert {p.role: p.quantity for p in two.parts} == {p.role: 2 * p.quantity for p in one.parts}


def test_worst_case_is_the_worst() -> None:
    nominal = (1e3, 1e3, 22e3, 22e3, 22e3, 22e3)
    worst = worst_difference_rejection_db(nominal, 0.05)
    generator = np.random.default_rng(3)
    spread = 1 + 0.05 * generator.uniform(-1, 1, (6, 20000))
    differential, common = difference_gains(tuple(np.asarray(nominal)[:, None] * spread))  # type: ignore[arg-type]
    builds = 20 * np.log10(np.abs(differential) / np.abs(common))
    assert worst <= float(builds.min()) < worst + 4.0


@pytest.mark.parametrize(
    "spec",
    [InputSpec(source="speaker", receiver="single-ended"), InputSpec(source="speaker", speaker_v=1.1)],
)
def test_refusals(spec: InputSpec) -> None:
    with pytest.raises(RangeError):
        design(spec)
