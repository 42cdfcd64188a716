"""The inputs: pad, rejection by a second route, protection, refusals."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from subwright import service
from subwright.base.errors import RangeError
from subwright.base.preferred import is_member
from subwright.parts.library import load_library
from subwright.physics.networks.difference import difference_gains, worst_difference_rejection_db
from subwright.physics.networks.nodal import GROUND, Network
from subwright.stages.input import (
    InputNeed,
    InputResult,
    InputSpec,
    design_input,
    receiver_gain,
    takes_op_amps,
)

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


@pytest.mark.parametrize("battery_v", [10.5, 14.4])
def test_a_difference_amplifier_on_the_battery_reads_a_source_on_ground(battery_v: float) -> None:
    """With equal resistors its op-amp's inputs would stand at a quarter of the battery: too low."""
    side = 0.5 * battery_v
    need = replace(NEED, sensitivity_v=0.45, side_v=side, reference_v=8.0)
    spec = InputSpec(receiver="difference")
    result = design(spec, need)
    into, out = result.difference_in_ohm or 0.0, result.difference_out_ohm or 0.0
    assert is_member(into, "E24")
    assert is_member(out, "E24")
    assert out < 0.55 * into
    # by the network: where the + input stands with both leads on ground, and at the crest of the music
    net = Network().source("mid", side, name="mid").source("hot", -(2.0**0.5) * result.source_v, name="hot")
    net.resistor("hot", "a", result.series_ohm).resistor("a", "+", into).resistor("+", "mid", out)
    net.resistor(GROUND, "b", result.series_ohm).resistor("b", "-", into).resistor("-", "out", out)
    net.op_amp("+", "-", "out")
    lowest = float(net.solve(1.0).at("+")[0].real)
    assert lowest > 3.0 - 0.05
    assert side - lowest == pytest.approx(result.common_mode_v, abs=0.05)
    assert result.common_mode_v < result.common_mode_limit_v
    # what the receiver loses the filter makes up: the stated sensitivity is the source's
    assert receiver_gain(spec, on_battery=True) == pytest.approx(result.gain)
    assert receiver_gain(spec, on_battery=False) == pytest.approx(22.0 / 23.0)
    assert (
        receiver_gain(InputSpec(), on_battery=True)
        == receiver_gain(InputSpec(source="speaker"), on_battery=True)
        == 1
    )


def test_radios_run_from_12_or_24_volts() -> None:
    """On 48 V the loudspeaker leads don't rest at half the battery."""
    assert design(InputSpec(source="speaker")).resting_v == pytest.approx(7.4)
    high = design(InputSpec(source="speaker"), replace(NEED, battery_max_v=60.0))
    assert high.resting_v == 8.0
    assert high.common_mode_v < high.common_mode_limit_v
    assert design(InputSpec(source="speaker", speaker_rest_v=6.0)).resting_v == 6.0
    assert design(InputSpec()).resting_v == 0.0


def test_the_fault_is_the_battery_unless_stated() -> None:
    assert design(InputSpec()).fault_v == 16.0
    assert design(InputSpec(), replace(NEED, battery_max_v=32.0)).fault_v == 32.0
    assert design(InputSpec(fault_v=5.0)).fault_v == 5.0


def test_load_on_the_source_by_the_network() -> None:
    line = design(InputSpec(receiver="difference"))
    speaker = design(InputSpec(source="speaker"))
    for result, hot, cold in ((line, 1.0, 0.0), (speaker, 0.5, -0.5)):
        r = result.difference_in_ohm or 0.0
        net = Network().source("hot", hot, name="hot").source("cold", cold, name="cold")
        net.resistor("hot", "a", result.series_ohm).resistor("cold", "b", result.series_ohm)
        if result.shunt_ohm is not None:
            net.resistor("a", "b", result.shunt_ohm)
        net.resistor("a", "+", r).resistor("+", GROUND, r).resistor("b", "-", r).resistor("-", "out", r)
        net.op_amp("+", "-", "out")
        at = net.solve(1.0)
        volts = {node: float(at.at(node)[0].real) for node in ("hot", "a", "cold", "b")}
        power = volts["hot"] * (volts["hot"] - volts["a"]) + volts["cold"] * (volts["cold"] - volts["b"])
        power /= result.series_ohm
        assert power == pytest.approx((hot - cold) ** 2 / result.load_ohm, rel=0.001)


def test_the_stated_sensitivity_is_the_sources_whatever_receives_it() -> None:
    """The remedy for ground noise must work where the op-amps run from the battery."""
    examples = Path(__file__).parents[3] / "examples"
    spec = service.open_build(examples / "cargo-bike-cinema.build.toml").spec
    changed = spec.model_copy(update={"input": spec.input.model_copy(update={"receiver": "difference"})})
    made = service.solve(changed, folder=examples).design
    assert made.filter.op_amp_supply.kind == "battery"
    assert made.input.source_v == pytest.approx(spec.filter.sensitivity_v, rel=0.03)
    assert [f.code for f in made.findings if f.stage == "input" and f.severity != "ok"] == []
