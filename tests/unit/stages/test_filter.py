"""The filter stage: preferred values, response by a second route, corners, band, levels, supply, refusals."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
import pytest

from subwright.base.errors import NoSolutionError, PartNotFoundError
from subwright.base.preferred import is_member
from subwright.base.sources import bibliography
from subwright.base.units import parse
from subwright.parts.drawer import parse_drawer
from subwright.parts.library import Library, load_library
from subwright.physics.networks.noise import integrated_noise_v
from subwright.physics.networks.prototypes import bessel, butterworth, cascade, linkwitz_riley
from subwright.physics.networks.rational import level_crossing_hz
from subwright.physics.networks.sallen_key import sallen_key_lowpass
from subwright.stages.filter import FilterInput, FilterResult, FilterSpec, design_filter
from subwright.stages.filter_network import AmplifierModel, chain_network

DATA = FilterInput(
    full_input_v=1.2,
    vented=True,
    tuning_hz=28.0,
    rail_low_v=30.0,
    rail_high_v=42.0,
    battery_low_v=9.5,
    battery_high_v=16.0,
)


def design(
    spec: FilterSpec | None = None, data: FilterInput = DATA, library: Library | None = None
) -> FilterResult:
    return design_filter(spec or FilterSpec(), data, library or load_library())


@pytest.fixture(scope="module")
def result() -> FilterResult:
    return design()


def db(gain: object) -> float:
    return float(20 * np.log10(np.abs(np.asarray(gain))))


ALIGNMENTS = {"butterworth": butterworth, "linkwitz-riley": linkwitz_riley, "bessel": bessel}


@pytest.mark.parametrize("alignment", list(ALIGNMENTS))
@pytest.mark.parametrize("order", [2, 4])
@pytest.mark.parametrize("topology", ["unity", "equal", "multiple-feedback", "state-variable"])
def test_every_alignment(alignment: str, order: int, topology: str) -> None:
    spec = FilterSpec(alignment=alignment, order=order, topology=topology)  # type: ignore[arg-type]
    result = design(spec)
    # second route: the whole chain by nodal analysis
    net, out = chain_network(result.blocks, AmplifierModel(gbw_hz=result.blocks[0].gbw_hz))
    assert net.solve(result.frequency_hz).at(out) == pytest.approx(result.gain, rel=1e-9)
    # the corner is where it says it is, and near the target
    drop = 6.0206 if alignment == "linkwitz-riley" else 3.0103
    passband = np.prod([abs(b.gain) for b in result.blocks if b.kind == "low-pass"])
    assert db(result.low_pass_response(result.corner_hz) / passband) == pytest.approx(-drop, abs=1e-3)
    assert result.corner_hz == pytest.approx(80.0, rel=0.02)
    # the response keeps to the prototype
    f = np.geomspace(20.0, 160.0, 21)
    ideal = np.abs(cascade(ALIGNMENTS[alignment](order), f / 80.0))
    real = np.abs(result.low_pass_response(f)) / passband
    assert np.max(np.abs(20 * np.log10(real / ideal))) < 0.3


def test_every_value_is_preferred(result: FilterResult) -> None:
    for block in result.blocks:
        for role, ohm in block.resistors_ohm.items():
            assert is_member(ohm, "E24"), (block.name, role)
        for role, farad in block.capacitors_f.items():
            assert is_member(farad, "E6"), (block.name, role)
    for part in result.parts:
        if part.letter == "R" and " " not in part.part_id:
            assert is_member(parse(part.part_id, "resistance"), "E24"), part.role
        if part.letter == "C":
            assert is_member(parse(part.part_id, "capacitance"), "E6"), part.role
    assert len({p.role for p in result.parts}) == len(result.parts)


def test_the_bill_shows_the_blocks(result: FilterResult) -> None:
    by_role = {p.role: p.part_id for p in result.parts}
    for block in result.blocks:
        for role, ohm in block.resistors_ohm.items():
            assert parse(by_role[f"{block.name} {role}"], "resistance") == pytest.approx(ohm)
        for role, farad in block.capacitors_f.items():
            assert parse(by_role[f"{block.name} {role}"], "capacitance") == pytest.approx(farad)


def test_grid_and_transfer(result: FilterResult) -> None:
    assert result.frequency_hz.shape == (200,)
    assert (result.frequency_hz[0], result.frequency_hz[-1]) == pytest.approx((10.0, 500.0))
    assert result.transfer(result.frequency_hz) == pytest.approx(result.gain)
    assert complex(result.transfer(50.0)) == pytest.approx(complex(result.transfer(np.array([50.0]))[0]))
    parts = (
        result.blocks[0].response.at(60.0)
        * result.infrasonic_response(60.0)
        * result.low_pass_response(60.0)
        * result.blocks[-3].response.at(60.0)
        * result.blocks[-2].response.at(60.0)
        * result.blocks[-1].response.at(60.0)
    )
    assert complex(result.transfer(60.0)) == pytest.approx(complex(parts))


def test_group_delay_of_the_low_pass_end() -> None:
    """Fourth-order Linkwitz–Riley: 2√2/ω_c at low frequency, and a little from the input coupling."""
    flat = design(FilterSpec(infrasonic_filter="off", corner_hz=200.0))
    k = int(np.argmin(np.abs(flat.frequency_hz - 30.0)))
    # poles far below add f_c/(2π f²) each: 22 kΩ with 4.7 µF before and with 10 µF after the filter
    coupling = 1 / (2 * np.pi * 22e3 * 4.7e-6) + 1 / (2 * np.pi * 22e3 * 10e-6)
    expected = 2 * np.sqrt(2) / (2 * np.pi * 200.0) + coupling / (2 * np.pi * 30.0**2)
    assert flat.group_delay_s[k] == pytest.approx(expected, rel=0.05)


def test_phase_switch_turns_the_output_round(result: FilterResult) -> None:
    upright, turned = result.transfer(50.0), result.transfer(50.0, phase_deg=180)
    assert complex(turned) == pytest.approx(-complex(upright), rel=1e-3)
    # far below the low-pass and above the high-pass the output is upright
    wide = design(FilterSpec(infrasonic_filter="off", corner_hz=250.0))
    assert abs(np.degrees(np.angle(complex(wide.transfer(20.0))))) < 25.0


def test_without_phase_switch_it_inverts_and_says_so() -> None:
    wide = design(FilterSpec(infrasonic_filter="off", corner_hz=250.0, phase_switch=False))
    assert abs(np.degrees(np.angle(-complex(wide.transfer(20.0))))) < 25.0
    assert any("inverts" in r for r in wide.reasons)


@pytest.mark.parametrize(
    ("spec", "vented", "tuning", "expected"),
    [
        (FilterSpec(), True, 28.0, 22.4),
        (FilterSpec(), False, None, None),
        (FilterSpec(infrasonic_filter="on"), False, None, 20.0),
        (FilterSpec(infrasonic_filter="off"), True, 28.0, None),
        (FilterSpec(infrasonic_hz=18.0), True, 28.0, 18.0),
        (FilterSpec(infrasonic_hz=18.0), False, None, None),
    ],
)
def test_infrasonic(spec: FilterSpec, vented: bool, tuning: float | None, expected: float | None) -> None:
    result = design(spec, replace(DATA, vented=vented, tuning_hz=tuning))
    if expected is None:
        assert result.infrasonic_hz is None
        assert complex(result.infrasonic_response(15.0)) == 1.0
        return
    assert result.infrasonic is not None
    assert result.infrasonic.target_hz == pytest.approx(expected)
    assert result.infrasonic_hz == pytest.approx(expected, rel=0.02)
    assert db(result.infrasonic_response(result.infrasonic_hz)) == pytest.approx(-3.0103, abs=1e-3)


def test_gain_and_levels(result: FilterResult) -> None:
    levels = result.levels
    assert levels.gain == pytest.approx(1.2, rel=0.02)
    assert levels.sensitivity_v * levels.gain == pytest.approx(levels.full_output_v)
    assert levels.per_input == pytest.approx(levels.gain / 2)
    assert levels.overload_v == pytest.approx(
        levels.sensitivity_v * 10 ** (levels.headroom_db / 20), rel=1e-9
    )
    assert levels.headroom_db > levels.headroom_limit_db
    assert levels.snr_db > levels.snr_limit_db
    assert levels.noise_dbu - levels.noise_dbv == pytest.approx(2.218, abs=1e-3)
    assert 0 < levels.offset_v < 0.2


def test_mono_and_fixed_gain() -> None:
    result = design(FilterSpec(inputs="mono", gain=2.0))
    assert result.levels.gain == pytest.approx(2.0, rel=0.02)
    assert result.levels.per_input == pytest.approx(result.levels.gain)
    assert not any("right" in p.role for p in result.parts)
    summing = next(b for b in result.blocks if b.kind == "summer")
    assert sum(role.endswith(" input") for role in summing.resistors_ohm) == 1


def test_input_resistance_is_near_the_wish() -> None:
    for wish in (10e3, 22e3, 47e3):
        summer = design(FilterSpec(input_resistance_ohm=wish)).blocks[0]
        assert summer.resistors_ohm["left input"] == pytest.approx(wish, rel=0.5)


def test_band_encloses_nominal_and_follows_tolerance(result: FilterResult) -> None:
    assert np.all(result.band_low_db < result.gain_db)
    assert np.all(result.gain_db < result.band_high_db)
    fine = design(FilterSpec(capacitor_tolerance=0.01, resistor_tolerance=0.001))
    assert np.mean(fine.band_high_db - fine.band_low_db) < 0.5 * np.mean(
        result.band_high_db - result.band_low_db
    )


def test_corner_windows(result: FilterResult) -> None:
    for window in (result.low_pass, result.infrasonic):
        assert window is not None
        assert window.worst_low_hz < window.rss_low_hz < window.nominal_hz
        assert window.nominal_hz < window.rss_high_hz < window.worst_high_hz
        assert window.worst_low_hz < window.p1_hz < window.p99_hz < window.worst_high_hz
    # all R and C up by their tolerance moves the corner by their product; the op-amp's finite bandwidth
    # doesn't scale along, which costs some parts in 10⁸
    assert result.low_pass.worst_low_hz <= result.low_pass.nominal_hz / (1.01 * 1.05) * (1 + 1e-6)
    assert result.low_pass.worst_high_hz >= result.low_pass.nominal_hz / (0.99 * 0.95) * (1 - 1e-6)


def test_corner_window_against_all_vertices(result: FilterResult) -> None:
    blocks = [b for b in result.blocks if b.kind == "low-pass"]
    nominal = [v for b in blocks for v in (*b.resistors_ohm.values(), *b.capacitors_f.values())]
    tolerance = np.array([0.01, 0.01, 0.05, 0.05] * 2)
    signs = np.array(list(product((-1.0, 1.0), repeat=8)))
    a, b = (np.array(nominal) * (1 + signs * tolerance)).T.reshape(2, 4, -1)
    stages = [sallen_key_lowpass(*part, gbw_hz=blocks[0].gbw_hz) for part in (a, b)]
    corners = level_crossing_hz(stages, 0.5, np.full(256, 80.0))
    assert result.low_pass.worst_low_hz == pytest.approx(np.min(corners), rel=1e-9)
    assert result.low_pass.worst_high_hz == pytest.approx(np.max(corners), rel=1e-9)


def test_contributors(result: FilterResult) -> None:
    mine = [c for c in result.contributors if c.result == "low-pass corner"]
    assert [abs(c.effect) for c in mine] == sorted((abs(c.effect) for c in mine), reverse=True)
    # frequency scaling: the sensitivities to all resistors add up to -1, and so do those to all capacitors
    for word, total in (("R", -1.0), ("C", -1.0)):
        found = sum(c.sensitivity for c in mine if c.part.split()[2].startswith(word))
        assert found == pytest.approx(total, abs=0.02)


def test_op_amp_limits(result: FilterResult) -> None:
    for block in result.blocks:
        assert block.gbw_hz >= block.gbw_needed_hz
        assert block.slew_v_per_s >= block.slew_needed_v_per_s
        assert block.peak_v < result.levels.swing_v


def test_noise_by_direct_injection(result: FilterResult) -> None:
    """Each resistor's noise by a current source across it, one at a time: not the adjoint network."""
    model = AmplifierModel(gbw_hz=result.blocks[0].gbw_hz)
    net, out = chain_network(result.blocks, model)
    grid = np.geomspace(10.0, 20e3, 40)
    adjoint = net.noise_density_v2_per_hz(out, grid)
    for element in [e for e in net.elements if e.kind == "R"]:
        driven, end = chain_network(result.blocks, model)
        driven.elements[0] = replace(driven.elements[0], value=0.0)  # the signal source, silenced
        driven.current(element.nodes[0], 1.0, element.nodes[1])
        squared = np.abs(driven.solve(grid).at(end)) ** 2 * 4 * 1.380649e-23 * 300.0 / element.value
        assert adjoint[element.name] == pytest.approx(squared, rel=1e-7)
    assert integrated_noise_v(adjoint, grid) < result.levels.noise_v


def test_supply_kinds() -> None:
    zener = design(FilterSpec(op_amp_supply="zener"))
    assert zener.op_amp_supply.kind == "zener"
    assert zener.op_amp_supply.low_v >= zener.op_amp_supply.limit_low_v
    assert zener.op_amp_supply.high_v <= zener.op_amp_supply.limit_high_v
    regulator = design(FilterSpec(op_amp_supply="regulator"))
    assert any(p.part_id == "LM337" for p in regulator.parts)
    assert regulator.op_amp_supply.regulator_c < 125.0
    battery = design(FilterSpec(op_amp_supply="battery"))
    assert battery.op_amp_supply.kind == "battery"
    assert any(p.role == "output coupling series" for p in battery.parts)
    bare = design(data=replace(DATA, rail_low_v=None, rail_high_v=None, full_input_v=0.7))
    assert bare.op_amp_supply.kind == "battery"
    high = design(data=replace(DATA, rail_low_v=60.0, rail_high_v=80.0))
    assert high.op_amp_supply.kind == "follower"  # too high for an adjustable regulator, too hot a shunt


def test_no_rails_no_zener() -> None:
    with pytest.raises(NoSolutionError, match="no rails"):
        design(FilterSpec(op_amp_supply="zener"), replace(DATA, rail_low_v=None, rail_high_v=None))


def test_too_much_output_is_refused() -> None:
    with pytest.raises(NoSolutionError, match="op-amp"):
        design(data=replace(DATA, full_input_v=40.0))


@pytest.mark.parametrize(("low", "high"), [(6.5, 9.0), (6.5, 60.0)])
def test_battery_too_low_for_the_op_amp_is_refused(low: float, high: float) -> None:
    """One that is too high is held by a zener; one that falls below the op-amp's least is no supply."""
    data = replace(DATA, rail_low_v=None, rail_high_v=None, battery_low_v=low, battery_high_v=high)
    with pytest.raises(NoSolutionError, match="op-amp doesn't run"):
        design(FilterSpec(op_amp="TL072"), data)


def test_unknown_op_amp() -> None:
    with pytest.raises(PartNotFoundError) as caught:
        design(FilterSpec(op_amp="TL702"))
    assert "TL072" in caught.value.near


def test_drawer_parts_come_first() -> None:
    text = """
format_version = 1
name = "odds and ends"
[[resistor_stock]]
series = "E24"
tolerance = "1 %"
low = "1k"
high = "1M"
[[capacitor_stock]]
series = "E6"
tolerance = "5 %"
technology = "film"
stock = ["68n", "100n", "150n", "330n"]
[have]
"NE5532" = 4
"""
    result = design(library=load_library().with_drawer(parse_drawer(text)))
    assert result.op_amp == "NE5532"
    for part in result.parts:
        if part.role.startswith("low-pass"):
            assert part.in_drawer, part.role
        if part.role.startswith("low-pass") and part.letter == "C":
            assert part.part_id in {"68n", "100n", "150n", "330n"}


def test_passband_edges(result: FilterResult) -> None:
    top = np.max(np.abs(result.gain))
    assert result.passband_low_hz is not None
    for edge in (result.passband_low_hz, result.passband_high_hz):
        assert db(np.abs(result.transfer(edge)) / top) == pytest.approx(-3.01, abs=0.05)
    closed = design(data=replace(DATA, vented=False, tuning_hz=None))
    assert closed.passband_low_hz is None


def test_sources_exist_and_ratings_hold(result: FilterResult) -> None:
    assert set(result.sources) <= set(bibliography())
    for part in result.parts:
        for rating in part.ratings:
            assert rating.margin > 0, (part.role, rating.quantity)
    assert result.losses[0].full_w > 0
    assert len(result.reasons) >= 5


def test_same_input_same_answer(result: FilterResult) -> None:
    again = design()
    assert np.array_equal(again.band_low_db, result.band_low_db)
    assert again.low_pass == result.low_pass
