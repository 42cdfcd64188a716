"""Knobs, boost, box transform, coupling and high rails: what the filter stage adds to a plain low-pass."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from subwright.base.errors import NoSolutionError, RangeError
from subwright.base.preferred import is_member
from subwright.circuits.filter_circuit import filter_circuit
from subwright.parts.library import load_library
from subwright.physics.networks.prototypes import cascade, chebyshev
from subwright.stages.filter import FilterInput, FilterResult, FilterSpec, design_filter
from subwright.stages.filter_lowpass import low_pass_sections
from subwright.stages.filter_network import AmplifierModel, chain_network

DATA = FilterInput(
    full_input_v=1.0,
    rail_low_v=30.0,
    rail_high_v=42.0,
    battery_low_v=9.5,
    battery_high_v=16.0,
    box_hz=62.0,
    box_q=0.9,
)


def design(spec: FilterSpec, data: FilterInput = DATA) -> FilterResult:
    return design_filter(spec, data, load_library())


def db(gain: object) -> np.ndarray:
    return 20 * np.log10(np.abs(np.asarray(gain)))


def agrees_with_the_network(result: FilterResult) -> None:
    net, out = chain_network(result.blocks, AmplifierModel(gbw_hz=result.blocks[0].gbw_hz))
    assert net.solve(result.frequency_hz).at(out) == pytest.approx(result.gain, rel=1e-9)


@pytest.mark.parametrize("norm", ["half power", "ripple edge"])
@pytest.mark.parametrize("order", [2, 4])
def test_chebyshev(norm: str, order: int) -> None:
    result = design(FilterSpec(alignment="chebyshev", order=order, ripple_norm=norm))  # type: ignore[arg-type]
    agrees_with_the_network(result)
    f = np.geomspace(20.0, 150.0, 25)
    ideal = db(cascade(chebyshev(order, 0.5, norm), f / 80.0))  # type: ignore[arg-type]
    passband = np.prod([abs(b.gain) for b in result.blocks if b.kind == "low-pass"])
    assert np.max(np.abs(db(result.low_pass_response(f) / passband) - ideal)) < 0.4
    ratio = 1.0 if norm == "half power" else {2: 1.3897, 4: 1.0931}[order]  # classical table
    assert result.low_pass.target_hz == pytest.approx(80.0 * ratio, rel=1e-4)
    assert result.corner_hz == pytest.approx(80.0 * ratio, rel=0.03)


def test_a_coupling_capacitor_keeps_offset_from_the_cone() -> None:
    coupled, direct = design(FilterSpec()), design(FilterSpec(output_coupling="none"))
    assert coupled.levels.offset_v > 0.01
    assert coupled.levels.output_offset_v == 0.0
    assert direct.levels.output_offset_v == direct.levels.offset_v > 0.01
    block = next(b for b in coupled.blocks if b.kind == "coupling")
    assert block.op_amps == 0
    assert coupled.op_amp_count == direct.op_amp_count
    corner = 1 / (2 * np.pi * block.resistors_ohm["to ground"] * block.capacitors_f["series"])
    assert corner < 1.0
    assert abs(float(coupled.gain_db[40] - direct.gain_db[40])) < 0.05


def test_a_battery_filter_must_be_coupled() -> None:
    battery = replace(DATA, rail_low_v=None, rail_high_v=None)
    with pytest.raises(RangeError, match="half of it"):
        design(FilterSpec(output_coupling="none"), battery)


def test_high_rails_take_followers_that_stay_cool() -> None:
    high = replace(DATA, rail_low_v=42.0, rail_high_v=71.0)
    supply = design(FilterSpec(), high).op_amp_supply
    assert supply.kind == "follower"
    assert supply.resistor_w < 0.5
    assert supply.transistor_w == pytest.approx((71.0 - supply.low_v / 2) * supply.current_a)
    assert supply.transistor_c <= 125.0
    assert supply.limit_low_v <= supply.low_v < supply.high_v <= supply.limit_high_v
    assert is_member(supply.series_ohm or 0.0, "E12")
    shunt = design(FilterSpec(op_amp_supply="zener"), high).op_amp_supply
    assert shunt.resistor_w > 1.0  # what it avoids


def test_rails_beyond_the_followers_are_refused() -> None:
    with pytest.raises(NoSolutionError, match="too high"):
        design(FilterSpec(op_amp_supply="follower"), replace(DATA, rail_low_v=80.0, rail_high_v=110.0))


@pytest.mark.parametrize("taper", ["linear", "logarithmic"])
def test_gain_control(taper: str) -> None:
    result = design(FilterSpec(sensitivity_v=0.25, sensitivity_most_v=4.0, gain_taper=taper))  # type: ignore[arg-type]
    agrees_with_the_network(result)
    knob = result.gain_control
    assert knob is not None
    assert knob.sensitivity_least_v == pytest.approx(0.25, rel=0.08)
    assert knob.sensitivity_most_v == pytest.approx(4.0, rel=0.15)
    assert result.levels.sensitivity_v == pytest.approx(knob.sensitivity_least_v)
    assert list(knob.sensitivity_v) == sorted(knob.sensitivity_v, reverse=True)
    assert is_member(knob.pot_ohm, "E3")
    assert is_member(knob.foot_ohm, "E24")
    assert knob.reach_v > knob.sensitivity_least_v
    assert any(p.role == "gain control" for p in result.parts)


def test_a_gain_control_without_range_is_refused() -> None:
    with pytest.raises(RangeError, match="sensitivity_most"):
        design(FilterSpec(sensitivity_v=1.0, sensitivity_most_v=1.2))


@pytest.mark.parametrize("topology", ["unity", "state-variable"])
@pytest.mark.parametrize("order", [2, 4])
def test_swept_corner(topology: str, order: int) -> None:
    spec = FilterSpec(
        topology=topology,  # type: ignore[arg-type]
        order=order,  # type: ignore[arg-type]
        alignment="butterworth",
        sweep_low_hz=45.0,
        sweep_high_hz=130.0,
        capacitor_series="E12",
    )
    result = design(spec)
    agrees_with_the_network(result)
    sweep = result.sweep
    assert sweep is not None
    assert sweep.gangs == order
    assert sweep.low_hz == pytest.approx(45.0, rel=0.16)
    assert sweep.high_hz == pytest.approx(130.0, rel=0.16)
    assert result.corner_hz == pytest.approx(80.0, rel=0.01)  # the knob is set to it
    assert list(sweep.corner_hz) == sorted(sweep.corner_hz)
    # equal and opposite errors of ± half the mismatch move a corner by a good half of it at most
    assert 0.0 < sweep.tracking_share < sweep.tracking
    assert 0.0 < sweep.tracking_db < 2.0
    # the ends as the parts give them: foot alone, and foot with the whole track
    block = next(b for b in result.blocks if b.kind == "low-pass")
    ratio = (sweep.foot_ohm + sweep.pot_ohm) / sweep.foot_ohm
    assert sweep.high_hz / sweep.low_hz == pytest.approx(ratio, rel=1e-3)
    assert block.resistors_ohm["R1"] == sweep.foot_ohm
    assert 0.0 <= block.resistors_ohm["R1 gang"] <= sweep.pot_ohm
    gang = [p for p in result.parts if p.role == "corner control"]
    assert len(gang) == 1
    for block in result.blocks:
        for role, ohm in block.resistors_ohm.items():
            if not role.endswith("gang"):
                assert is_member(ohm, "E24"), (block.name, role)


@pytest.mark.parametrize("series", ["E6", "E12"])
@pytest.mark.parametrize("alignment", ["butterworth", "linkwitz-riley", "bessel", "chebyshev"])
@pytest.mark.parametrize("order", [2, 4])
@pytest.mark.parametrize("topology", ["unity", "state-variable"])
def test_a_swept_low_pass_keeps_its_shape(topology: str, order: int, alignment: str, series: str) -> None:
    """Poles that stand wrong to one another cost up to 3 dB, whatever the knob does."""
    spec = FilterSpec(
        topology=topology,  # type: ignore[arg-type]
        order=order,  # type: ignore[arg-type]
        alignment=alignment,  # type: ignore[arg-type]
        capacitor_series=series,  # type: ignore[arg-type]
        sweep_low_hz=50.0,
        sweep_high_hz=130.0,
    )
    result = design(spec)
    assert result.shape_miss_db < 0.75
    # by a second way: the network's own node voltages beside the prototype, at the corner as built
    ratio = np.geomspace(0.25, 2.0, 30)
    stages = [b for b in result.blocks if b.kind == "low-pass"]
    network, out = chain_network(stages, AmplifierModel(gbw_hz=1e12))
    at = ratio * spec.corner_hz * result.corner_hz / result.low_pass.target_hz
    level = db(network.solve(at).at(out))
    ideal = db(cascade(low_pass_sections(spec), ratio))
    assert float(np.max(np.abs(level - ideal))) == pytest.approx(result.shape_miss_db, abs=0.1)


@pytest.mark.parametrize("alignment", ["butterworth", "chebyshev"])
def test_headroom_counts_the_outputs_inside_a_state_variable_stage(alignment: str) -> None:
    """At the pole the band-pass output stands Q times over the input: the low-pass output doesn't show it."""
    spec = FilterSpec(topology="state-variable", alignment=alignment, order=2)  # type: ignore[arg-type]
    result = design(spec)
    stage = next(b for b in result.blocks if b.kind == "low-pass")
    frequency = np.geomspace(10.0, 500.0, 400)
    before = 2.0**0.5 * result.levels.sensitivity_v * np.abs(result.blocks[0].response.at(frequency))
    network, out = chain_network([stage], AmplifierModel(gbw_hz=1e12))
    nodes = [out, f"{stage.name} band", f"{stage.name} high"]
    solved = network.solve(frequency)
    peaks = [float(np.max(before * np.abs(solved.at(node)))) for node in nodes]
    assert stage.peak_v == pytest.approx(max(peaks), rel=0.01)


@pytest.mark.parametrize(
    "spec",
    [
        FilterSpec(sweep_low_hz=40.0),
        FilterSpec(sweep_low_hz=90.0, sweep_high_hz=120.0),
        FilterSpec(sweep_low_hz=40.0, sweep_high_hz=120.0, topology="equal"),
    ],
)
def test_bad_sweeps_are_refused(spec: FilterSpec) -> None:
    with pytest.raises(RangeError):
        design(spec)


def test_phase_control() -> None:
    result = design(FilterSpec(phase_control=True))
    agrees_with_the_network(result)
    knob = result.phase_control
    assert knob is not None
    assert knob.least_deg < 10.0
    assert knob.most_deg > 149.0
    block = next(b for b in result.blocks if b.kind == "all-pass")
    assert np.abs(block.response.at(result.frequency_hz)) == pytest.approx(1.0, rel=1e-3)


def test_boost_peaks_where_and_as_high_as_asked() -> None:
    result = design(FilterSpec(boost_db=6.0, boost_peak_hz=32.0, corner_hz=250.0))
    agrees_with_the_network(result)
    f = np.geomspace(10.0, 100.0, 400)
    level = db(result.infrasonic_response(f))
    assert float(f[np.argmax(level)]) == pytest.approx(32.0, rel=0.06)
    assert float(level.max()) == pytest.approx(6.0, abs=0.7)
    window = result.infrasonic
    assert window is not None
    assert window.nominal_hz == pytest.approx(window.target_hz, rel=0.05)


def test_box_transform_makes_the_box_another() -> None:
    result = design(FilterSpec(transform_hz=32.0, corner_hz=250.0))
    agrees_with_the_network(result)
    f = np.geomspace(15.0, 120.0, 30)
    s = 2j * np.pi * f
    block = next(b for b in result.blocks if b.kind == "transform")

    def closed_box(resonance_hz: float, q: float) -> np.ndarray:
        w = 2 * np.pi * resonance_hz
        return np.asarray(s**2 / (s**2 + s * w / q + w**2))

    together = db(closed_box(62.0, 0.9) * block.response.at(f))
    assert np.max(np.abs(together - db(closed_box(32.0, 0.707)))) < 0.7
    pairs = {p.role: p.quantity for p in result.parts}
    assert pairs["box transform input R"] == 2
    assert pairs["box transform input C"] == 1


@pytest.mark.parametrize(
    ("spec", "data"),
    [
        (FilterSpec(transform_hz=32.0), replace(DATA, box_hz=None, box_q=None)),
        (FilterSpec(transform_hz=58.0, transform_q=0.4), DATA),
    ],
)
def test_transforms_that_cannot_be(spec: FilterSpec, data: FilterInput) -> None:
    with pytest.raises(RangeError):
        design(spec, data)


@pytest.mark.parametrize("topology", ["unity", "multiple-feedback", "state-variable"])
@pytest.mark.parametrize("order", [2, 4])
def test_the_output_is_upright_whatever_inverts(topology: str, order: int) -> None:
    result = design(FilterSpec(topology=topology, order=order, corner_hz=250.0, alignment="butterworth"))  # type: ignore[arg-type]
    assert abs(np.degrees(np.angle(complex(result.transfer(20.0))))) < 30.0
    turned = result.transfer(50.0, phase_deg=180)
    assert complex(turned) == pytest.approx(-complex(result.transfer(50.0)), rel=1e-3)


@pytest.mark.parametrize(("low", "high"), [(30.0, 43.8), (40.0, 60.0)])
def test_a_battery_too_high_for_op_amps_is_held_by_a_zener(low: float, high: float) -> None:
    data = replace(DATA, rail_low_v=None, rail_high_v=None, battery_low_v=low, battery_high_v=high)
    result = design(FilterSpec(topology="state-variable"), data)
    supply = result.op_amp_supply
    assert supply.kind == "battery"
    assert supply.zener_id is not None
    assert supply.filter_ohm is not None
    zener = load_library().zener(supply.zener_id)
    assert supply.limit_low_v <= supply.low_v < supply.high_v <= supply.limit_high_v
    # at the lowest battery the zener still gets some current; at the highest it stays within half its heat
    highest_zener_v = zener.vz_v * (1 + zener.tolerance)
    assert (low - highest_zener_v) / supply.filter_ohm > supply.current_a
    spare_a = (high - zener.vz_v * (1 - zener.tolerance)) / supply.filter_ohm
    assert supply.zener_w == pytest.approx(spare_a * zener.vz_v * (1 - zener.tolerance), rel=0.01)
    assert supply.zener_w <= 0.5 * zener.power_w
    used = {p.role: p for p in result.parts}
    assert used["op-amp supply zener"].quantity == 1
    assert used["op-amp supply filter"].ratings[0].limit >= 2.0 * supply.resistor_w
    assert result.losses[0].full_w == pytest.approx(high * (high - zener.vz_v) / supply.filter_ohm)
    circuit = filter_circuit(result, load_library(), supply_v=high)
    zeners = [part for part in circuit.parts if part.kind == "zener"]
    assert [part.nets for part in zeners] == [("0", "op_supply")]


def test_the_op_amp_chosen_runs_from_the_battery_that_is_left() -> None:
    """Behind the supply's filter many op-amps draw the battery down by volts."""
    data = replace(DATA, rail_low_v=None, rail_high_v=None, battery_low_v=10.7, battery_high_v=16.0)
    for topology in ("unity", "state-variable"):
        result = design(FilterSpec(topology=topology, phase_control=True), replace(data, receiver_op_amps=2))
        supply = result.op_amp_supply
        assert supply.low_v >= supply.limit_low_v
        assert result.levels.headroom_db > 0.0


@pytest.mark.parametrize("low_hz", [20.0, 28.0, 40.0])
def test_capacitors_can_be_bought_in_the_tolerance_that_the_bill_asks_for(low_hz: float) -> None:
    """Electrolytics are ± 20 %; a box transform needs microfarads of ± 5 %."""
    result = design(FilterSpec(transform_hz=low_hz, boost_db=6.0, capacitor_series="E12"))
    bought = [p for p in result.parts if p.letter == "C"]
    assert any("transform" in p.role for p in bought)
    for part in bought:
        assert part.tolerance is not None
        if "electrolytic" in part.description:
            assert part.tolerance >= 0.20, part.role
