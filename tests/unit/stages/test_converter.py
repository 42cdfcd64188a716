"""The converter stage: parts for real demands, second routes to its numbers, and refusals."""

from __future__ import annotations

import re
from dataclasses import replace
from math import log, pi, sqrt

import pytest

from patience import assert_within, own_s
from subwright.base.errors import NoSolutionError
from subwright.base.preferred import nearest
from subwright.parts.drawer import parse_drawer
from subwright.parts.library import load_library
from subwright.physics.inductors import fringing_factor
from subwright.stages.converter import (
    ConverterDemand,
    ConverterResult,
    ConverterSpec,
    Magnetics,
    complete_converter,
    plan_converter,
)
from subwright.stages.converter_clamp import design_clamp
from subwright.stages.converter_drive import design_gate_supply

LIBRARY = load_library()
DEMAND = ConverterDemand(
    rail_needed_v=43.0,
    rail_max_v=75.0,
    rail_crest_a=10.5,
    rail_mean_a=3.3,
    music_mean_square=0.375,
    emf_nominal_v=12.0,
    emf_max_v=16.0,
    emf_low_v=11.0,
    source_ohm=12e-3,
    ambient_c=60.0,
    pumping_f=4e-3,
    rail_ripple_v=0.2,
    switch_c=90.0,
    diode_c=90.0,
    lowest_note_hz=32.0,
)
TWENTY_FOUR = replace(DEMAND, emf_nominal_v=24.0, emf_max_v=32.0, emf_low_v=22.0, source_ohm=20e-3)
FORTY_EIGHT = replace(DEMAND, emf_nominal_v=48.0, emf_max_v=60.0, emf_low_v=44.0, source_ohm=30e-3)


def magnetics(primary: int = 4, secondary: int = 18, leakage_h: float = 80e-9) -> Magnetics:
    return Magnetics(
        primary_turns=primary,
        secondary_turns=secondary,
        primary_ohm=3e-3,
        secondary_ohm=50e-3,
        leakage_h=leakage_h,
        magnetising_h=90e-6,
        core_w=0.6,
        core_v=12.0,
        core_exponent=2.5,
    )


def built(
    demand: ConverterDemand = DEMAND, wound: Magnetics | None = None, **wishes: object
) -> ConverterResult:
    spec = ConverterSpec.model_validate(wishes)
    plan = plan_converter(spec, demand, LIBRARY)
    return complete_converter(spec, demand, plan, wound or magnetics(), LIBRARY)


def use(result: ConverterResult, role: str):
    (found,) = [part for part in result.parts if part.role == role]
    return found


# --- clamp ----------------------------------------------------------------------------------------


def test_the_clamp_holds_the_drain_between_twice_the_battery_and_the_rating():
    result = built()
    clamp = result.clamp
    assert clamp is not None
    assert 2 * DEMAND.emf_max_v < clamp.voltage_v < clamp.peak_v <= 0.9 * result.drain_limit_v
    assert result.drain_ring_v > result.drain_limit_v  # it would have avalanched


def test_the_clamps_charge_balance_by_summing_pulses():
    """What the diode brings in each half cycle leaves through the resistor."""
    result = built()
    clamp, f = result.clamp, result.plan.timing.switching_hz
    assert clamp is not None
    stored_j = 0.5 * result.magnetics.leakage_h * clamp.diode_peak_a**2
    assert 2 * f * stored_j == pytest.approx(clamp.leakage_w, rel=1e-12)
    arriving_a = 2 * f * stored_j / clamp.voltage_v
    leaving_a = (clamp.voltage_v - DEMAND.emf_max_v) / clamp.resistor_ohm
    assert arriving_a == pytest.approx(leaving_a, rel=1e-9)


@pytest.mark.parametrize("leakage_h", [5e-9, 40e-9, 80e-9, 150e-9])
def test_clamp_values_are_preferred_and_their_ratings_hold(leakage_h):
    result = built(wound=magnetics(leakage_h=leakage_h))
    clamp = result.clamp
    assert clamp is not None
    assert nearest(clamp.resistor_ohm, "E12") == pytest.approx(clamp.resistor_ohm)
    assert nearest(clamp.capacitor_f, "E6") == pytest.approx(clamp.capacitor_f)
    assert clamp.heat_w <= 0.6 * clamp.rating_w
    assert clamp.capacitor_v >= 1.2 * clamp.voltage_v
    for part in result.parts:
        for rating in part.ratings:
            assert rating.applied <= rating.limit, (part.role, rating.quantity)


def test_more_leakage_asks_for_a_smaller_resistor():
    few, many = (built(wound=magnetics(leakage_h=h)).clamp for h in (40e-9, 120e-9))
    assert few is not None
    assert many is not None
    assert many.resistor_ohm < few.resistor_ohm
    assert many.heat_w > few.heat_w


def test_without_a_clamp_the_switch_takes_it_and_the_reason_says_so():
    result = built(clamp="none")
    assert result.clamp is None
    assert result.drain_peak_v == result.drain_limit_v
    assert any("avalanche" in reason for reason in result.reasons)
    assert not [part for part in result.parts if part.role.startswith("clamp")]


def test_no_room_for_a_clamp_is_refused_with_the_rating_that_has_it():
    with pytest.raises(NoSolutionError, match="no room") as caught:
        design_clamp(LIBRARY, LIBRARY.mosfet("IRF3205"), 20.0, 60.0, 50e3, 24.0, 0.4)
    assert "at least 58.7 V" in caught.value.remedy  # 1.1 × 2 × 24 V over 0.9


# --- gates and their supply -----------------------------------------------------------------------


def test_the_drive_is_chosen_by_loss():
    result = built()
    losses = result.drive.losses_w
    assert losses["turn-off"] < losses["direct"]
    assert result.drive.driver.kind == "turn-off"
    direct = built(gate_drive="direct")
    assert direct.drive.driver.kind == "direct"
    assert direct.turn_off_s > 2 * result.turn_off_s


def test_turn_off_time_is_the_switching_charge_over_the_plateau_current():
    result = built()
    mosfet, count = result.plan.switch.mosfet, result.plan.switch.per_side
    charge = mosfet.qgd_coul + 0.5 * mosfet.qgs_coul
    under_v = 0.7 if result.drive.driver.buffered else 0.0  # base-emitter voltage of what pulls the gate down
    by_resistor = (mosfet.vgs_th_v + 1.0 - under_v) / (result.gate_ohm + (mosfet.rg_ohm or 0.0))
    current = min(result.drive.driver.peak_a / count, by_resistor)
    assert result.turn_off_s == pytest.approx(charge / current, rel=1e-12)


def test_twelve_volts_feed_the_gates_directly_and_twenty_four_through_a_follower():
    assert built().gate_supply is None
    result = built(TWENTY_FOUR, magnetics(7, 16))
    supply = result.gate_supply
    assert supply is not None
    assert 11.0 <= supply.output_v < result.plan.switch.mosfet.vgs_max_v
    assert use(result, "gate supply zener").part_id == supply.zener.id
    assert use(result, "gate supply transistor").part_id == supply.transistor.id
    # At the lowest battery the series resistor still feeds base and zener.
    base_a = supply.load_a / (supply.transistor.hfe_min + 1)
    through = (0.88 * 22.0 - supply.zener.vz_v * (1 + supply.zener.tolerance)) / supply.series_ohm
    assert through >= base_a + 1.9e-3


def test_the_followers_heat_counts_what_the_collector_resistor_takes():
    plain = design_gate_supply(LIBRARY, 19.0, 24.0, 32.0, 30e-3, 60.0)
    assert plain.collector_ohm == 0.0
    hot = design_gate_supply(LIBRARY, 37.0, 48.0, 60.0, 40e-3, 60.0)
    assert hot.collector_ohm > 0.0
    least_out = hot.zener.vz_v * (1 - hot.zener.tolerance) - 0.7
    total = (60.0 - least_out) * 40e-3
    assert hot.transistor_w + hot.collector_w == pytest.approx(total, rel=1e-12)
    assert hot.transistor_c <= hot.transistor.tj_max_c - 10.0


def test_a_battery_drive_above_the_gate_rating_is_built_as_told():
    result = built(TWENTY_FOUR, magnetics(7, 16), gate_supply="battery")
    assert result.gate_supply is None  # CNV-15 stops it


def test_too_much_gate_current_is_refused_with_the_heat():
    with pytest.raises(NoSolutionError, match="gate supply") as caught:
        design_gate_supply(LIBRARY, 20.0, 48.0, 60.0, 0.4, 60.0)
    assert "W" in caught.value.value


# --- topologies -----------------------------------------------------------------------------------


def test_auto_takes_a_full_bridge_at_forty_eight_volts():
    result = built(FORTY_EIGHT, magnetics(16, 17))
    assert result.topology == "full-bridge"
    assert result.switch_count == 4 * result.plan.switch.per_side
    assert result.clamp is None
    assert result.gate_transformer is not None
    assert result.drain_peak_v < FORTY_EIGHT.emf_max_v + 2.0
    assert use(result, "push-pull switch").quantity == result.switch_count


def test_a_bridges_switches_stand_half_of_a_push_pulls():
    pair = built(TWENTY_FOUR, magnetics(7, 16))
    bridge = built(TWENTY_FOUR, magnetics(7, 16), topology="full-bridge")
    assert pair.plan.drain_limit_needed_v == pytest.approx(2 * bridge.plan.drain_limit_needed_v)
    one = bridge.plan.switch
    hot = one.mosfet.rds_on_ohm * one.mosfet.rds_hot_ratio ** ((90.0 - 25.0) / 75.0)
    assert bridge.switch_ohm == pytest.approx(2 * hot / one.per_side)
    assert bridge.winding_ohm == bridge.magnetics.primary_ohm  # its one primary


def test_the_gate_transformer_keeps_its_flux():
    result = built(FORTY_EIGHT, magnetics(16, 17))
    gate = result.gate_transformer
    assert gate is not None
    volt_seconds = result.drive.gate_v / (2 * result.plan.timing.switching_hz)  # one half cycle, both ways
    assert gate.flux_peak_t == pytest.approx(volt_seconds / 2 / (gate.turns * gate.core.a_min_m2))
    assert gate.flux_peak_t <= gate.flux_limit_t


def test_a_gate_transformer_is_magnetised_from_the_drives_supply():
    """By twice the balance of its two triangles a cycle; a push-pull's drive has none."""
    result = built(FORTY_EIGHT, magnetics(16, 17))
    drive, gate, f = result.drive, result.gate_transformer, result.plan.timing.switching_hz
    assert gate is not None
    parts = drive.gate_a - drive.spared_a + drive.magnetising_a + drive.resistors_a
    assert drive.supply_a == pytest.approx(parts, rel=1e-12)
    assert drive.gate_w == pytest.approx(drive.supply_a * 12.3, rel=1e-12)
    # No more than if nothing came back, and more than nothing, for it comes back at more than it is given at.
    assert 0.0 < drive.magnetising_a < 0.25 * gate.magnetising_a
    assert gate.magnetising_a <= 0.25 * drive.driver.source_a
    assert gate.inductance_h * gate.magnetising_a < drive.gate_v / (2.0 * f)
    for diode in ("gate transformer clamp diode", "gate transformer return diode"):
        assert (use(result, diode).part_id, use(result, diode).quantity) == ("1N5819", 2)
    assert built().drive.magnetising_a == 0.0


def test_an_emitter_followers_pull_downs_are_counted():
    """494 and 3524: a resistor under each output takes its share of every pulse."""
    plain = built(FORTY_EIGHT, magnetics(16, 17))
    open_ended = built(FORTY_EIGHT, magnetics(16, 17), controller="TL494")
    output_v = 12.3 - open_ended.plan.controller.output_drop_v + 0.5
    by_outputs = 2.0 * open_ended.plan.timing.duty_each * output_v / 470.0
    by_gates = 4.0 * 2.0 * open_ended.plan.timing.duty_each * open_ended.drive.gate_v / 10e3
    assert open_ended.drive.resistors_a == pytest.approx(by_outputs + by_gates, rel=1e-9)
    assert open_ended.drive.resistors_a > 4.0 * plain.drive.resistors_a


# --- rectifier ------------------------------------------------------------------------------------


def test_recovery_is_v_times_qrr_times_f_at_rated_current():
    """Four legs, both rails in series, one recovery a cycle: 4 · 2 V · Q_rr · f."""
    result = built(rectifier="MUR1620CT")
    diode, partner = result.plan.rectifier.rectifier, result.plan.rectifier.partner
    assert partner is not None
    f, share, rail = result.plan.timing.switching_hz, result.plan.timing.share, 45.0
    rated_a = diode.if_a * share  # mean rail current at which a leg's pulse is its rated current
    by_model = result.recovery * 2 * rated_a * 2 * rail  # (i+ + i-) (V+ + V-)
    charge = 0.5 * (diode.qrr_coul + partner.qrr_coul)
    assert by_model == pytest.approx(4 * 2 * rail * charge * f, rel=1e-9)


def test_schottky_rails_have_no_recovery():
    result = built(
        replace(DEMAND, rail_needed_v=28.0, rail_max_v=40.0), magnetics(4, 11), rectifier="MBR20150CT"
    )
    assert result.plan.rectifier.rectifier.technology == "schottky"
    if result.plan.rectifier.partner is None:
        assert result.recovery == 0.0


def test_the_rectifier_snubber_matches_the_ring():
    ring = built().rectifier_snubber
    inductance = 80e-9 * (18 / 4) ** 2
    assert ring.ring_hz == pytest.approx(1 / (2 * pi * sqrt(inductance * ring.ring_f)))
    assert ring.resistor_ohm == pytest.approx(sqrt(inductance / ring.ring_f), rel=0.12)
    assert ring.capacitor_f >= 3 * ring.ring_f


# --- regulated ------------------------------------------------------------------------------------


def test_a_regulated_rail_is_what_the_divider_makes_of_the_reference():
    result = built(wound=magnetics(7, 38), output="regulated")
    choke = result.choke
    assert choke is not None
    reference = result.plan.controller.vref_v
    assert choke.set_v == pytest.approx(
        reference * (1 + choke.feedback_top_ohm / choke.feedback_bottom_ohm), rel=1e-12
    )
    assert DEMAND.rail_needed_v <= choke.set_v <= 1.02 * DEMAND.rail_needed_v
    assert result.rail_unloaded_v == choke.set_v
    assert choke.holds_from_v < DEMAND.emf_nominal_v


def test_the_output_choke_keeps_ripple_flux_and_window():
    result = built(wound=magnetics(7, 38), output="regulated")
    output = result.choke
    assert output is not None
    choke, f = output.choke, result.plan.timing.switching_hz
    assert output.ripple_a <= 0.3 * DEMAND.rail_crest_a * 1.001
    # Flux by the other route: ampere-turns over the reluctance of gap and core.
    mu0 = 4e-7 * pi
    material = LIBRARY.materials[choke.core.material]
    spread = fringing_factor(choke.gap_m, choke.core.a_e_m2, choke.core.winding_width_m)
    reluctance = (choke.gap_m / spread + choke.core.l_e_m / material.mu_i) / (mu0 * choke.core.a_e_m2)
    peak = 1.05 * DEMAND.rail_crest_a + 0.5 * 0.3 * DEMAND.rail_crest_a
    flux = choke.turns * peak / reluctance / choke.core.a_min_m2
    assert choke.flux_peak_t == pytest.approx(flux, rel=1e-9)
    assert choke.flux_peak_t <= choke.flux_limit_t
    assert choke.fill <= 0.35
    light = 1 - output.ripple_a * 2 * f * choke.inductance_h / output.set_v
    assert 0.3 < light < output.share_nominal


def test_a_duty_beyond_its_limit_is_refused_with_how_much():
    with pytest.raises(NoSolutionError, match="duty") as caught:
        built(wound=magnetics(4, 17), output="regulated")
    assert float(caught.value.value) > float(caught.value.limit)
    # whole turns, not "by 1 % or more": with those named it is no longer the duty that stands in the way
    named = re.search(r"primary_turns = 4 and transformer.secondary_turns = (\d+)", caught.value.remedy)
    assert named is not None
    assert built(wound=magnetics(4, int(named.group(1))), output="regulated").choke is not None


# --- auxiliary --------------------------------------------------------------------------------------


def test_an_auxiliary_winding_keeps_fifteen_volts_on_a_tired_battery():
    result = built(auxiliary_feed="winding")
    aux = result.auxiliary
    assert aux.low_v >= 18.0
    one_less = (aux.turns - 1) * 0.9 * 0.9 * DEMAND.emf_low_v / 4 - 0.9
    assert one_less < 18.0
    assert aux.heat_w < aux.other_heat_w
    assert use(result, "auxiliary rectifier").quantity == 4
    # Power balance of the winding: what the battery gives is what the small rails take, without drops.
    assert aux.primary_a * 12.0 == pytest.approx(2 * aux.current_a * aux.turns / 4 * 12.0)


def test_the_rails_feed_the_small_circuits_unless_told_otherwise():
    result = built()
    assert result.auxiliary.turns == 0
    assert result.auxiliary.heat_w == pytest.approx(2 * (result.rail_unloaded_v - 15.0) * 25e-3)
    assert any("winding of its own" in reason for reason in result.reasons)


# --- refusals and the rest ------------------------------------------------------------------------


def test_a_rail_beyond_the_amplifier_is_refused_with_both_numbers():
    with pytest.raises(NoSolutionError, match="amplifier stands") as caught:
        built(replace(DEMAND, rail_max_v=50.0))
    assert "V" in caught.value.value
    assert "50.0 V" in caught.value.limit


def test_no_switch_for_the_voltage_names_the_gap_and_the_bridge():
    with pytest.raises(NoSolutionError, match="No MOSFET") as caught:
        built(replace(FORTY_EIGHT, emf_max_v=110.0), topology="push-pull")
    assert "short" in caught.value.remedy
    assert "full-bridge" in caught.value.remedy


def test_a_source_that_is_too_weak_is_refused_with_its_power():
    with pytest.raises(NoSolutionError, match="can't carry this power"):
        built(replace(DEMAND, source_ohm=0.2))


def test_bleeders_empty_the_rails():
    result = built()
    tau = result.bleeder_ohm * result.reservoir_bank.capacitance_f
    assert result.bleeder_s == pytest.approx(tau * log(result.rail_unloaded_v / 5.0))


def test_every_part_has_a_role_of_its_own():
    for result in (
        built(),
        built(FORTY_EIGHT, magnetics(16, 17)),
        built(wound=magnetics(7, 38), output="regulated"),
    ):
        roles = [part.role for part in result.parts]
        assert len(set(roles)) == len(roles)


def test_the_stage_is_quick():
    """Planning and completing take about 1 ms of processor time; ten leave room."""
    spec = ConverterSpec.model_validate({})

    def work() -> None:
        plan = plan_converter(spec, DEMAND, LIBRARY)
        complete_converter(spec, DEMAND, plan, magnetics(), LIBRARY)

    assert_within(10e-3, lambda: own_s(work))


def test_the_choke_takes_no_grade_without_loss_data_at_its_ripple():
    """Ripple at twice 70 kHz lies above the range of grades whose data end at 100 kHz."""
    result = built(wound=magnetics(4, 20), output="regulated", switching_hz="70 kHz")
    assert result.choke is not None
    choke = result.choke.choke
    ripple_hz = 2.0 * result.plan.timing.switching_hz
    assert LIBRARY.material(choke.core.material).covers(ripple_hz)
    assert choke.core_w > 0


def test_dead_time_follows_slow_switches_unless_it_is_told():
    slow = built(mosfet="IRFP4468", mosfets_per_side=2, gate_drive="direct")
    assert slow.plan.timing.dead_time_s >= 2.0 * slow.turn_off_s
    assert slow.plan.timing.dead_time_s > 0.8e-6
    told = built(mosfet="IRFP4468", mosfets_per_side=2, gate_drive="direct", dead_time_s="0.8 us")
    assert told.plan.timing.dead_time_s < 2.0 * told.turn_off_s  # kept, and CNV-13 says so
    quick = built(mosfet="IRFB4110")
    assert quick.plan.timing.dead_time_target_s == 0.8e-6


# --- at hand, gates both ways ---------------------------------------------------------------------


def stocked(part_id: str, quantity: int):
    text = f'format_version = 1\nname = "one kind"\n[have]\n"{part_id}" = {quantity}\n'
    return load_library().with_drawer(parse_drawer(text))


def test_one_driver_at_hand_is_not_enough_for_two_sides():
    spec = ConverterSpec.model_validate({"gate_drive": "turn-off"})
    driver = plan_converter(spec, DEMAND, LIBRARY).drive.driver.pnp
    assert driver is not None
    for quantity in (1, 2):
        library = stocked(driver.id, quantity)
        made = complete_converter(spec, DEMAND, plan_converter(spec, DEMAND, library), magnetics(), library)
        line = use(made, "gate turn-off, PNP")
        assert (line.part_id, line.quantity) == (driver.id, 2)
        assert line.in_drawer is (quantity == 2)


def test_switches_at_hand_are_counted_too():
    spec = ConverterSpec.model_validate({})
    mosfet, count = plan_converter(spec, DEMAND, LIBRARY).switch.mosfet, built().switch_count
    for quantity in (count - 1, count):
        library = stocked(mosfet.id, quantity)
        wished = ConverterSpec.model_validate({"mosfet": mosfet.id})
        plan = plan_converter(wished, DEMAND, library)
        made = complete_converter(wished, DEMAND, plan, magnetics(), library)
        assert use(made, "push-pull switch").in_drawer is (quantity >= made.switch_count)


def test_a_bridges_gates_are_charged_both_ways():
    """Their transformer takes them below their sources as well: charge by charge, and from the supply."""
    result = built(FORTY_EIGHT, magnetics(14, 16))
    mosfet, f = result.plan.switch.mosfet, result.plan.timing.switching_hz
    gates = result.switch_count
    capacitance = mosfet.qgs_coul / (mosfet.vgs_th_v + 1.0)
    charge = mosfet.qg_coul + capacitance * result.drive.gate_v
    assert result.drive.gate_a == pytest.approx(gates * charge * f, rel=1e-12)
    assert result.drive.gate_a > 1.2 * gates * mosfet.qg_coul * f
    assert result.gate_supply is not None
    assert result.gate_supply.load_a == pytest.approx(
        result.drive.supply_a + result.plan.controller.quiescent_a, rel=1e-12
    )
    plain = built()
    assert plain.drive.gate_a == pytest.approx(
        plain.switch_count * plain.plan.switch.mosfet.qg_coul * plain.plan.timing.switching_hz, rel=1e-12
    )


def test_a_follower_too_hot_by_itself_gets_a_heatsink_and_the_bill_says_so():
    bare, cooled = (design_gate_supply(LIBRARY, 37.0, 48.0, 60.0, load_a, 60.0) for load_a in (0.04, 0.1))
    assert bare.sink_k_per_w == 0.0
    assert cooled.sink_k_per_w > 0.0
    assert cooled.transistor.package == "TO-220"
    assert cooled.transistor_c == pytest.approx(60.0 + cooled.transistor_w * (cooled.sink_k_per_w + 5.0))
    assert cooled.transistor_c <= cooled.transistor.tj_max_c - 10.0
    assert cooled.transistor_w * 62.0 + 60.0 > cooled.transistor.tj_max_c - 10.0  # it could not do without
    result = built(FORTY_EIGHT, magnetics(14, 16), mosfets_per_side=2)
    assert result.gate_supply is not None
    told = use(result, "gate supply transistor").description
    assert ("heatsink" in told) is (result.gate_supply.sink_k_per_w > 0.0)


def test_more_than_four_switches_a_side_are_refused_with_the_number():
    with pytest.raises(NoSolutionError, match="1 to 4") as caught:
        built(mosfets_per_side=5)
    assert caught.value.quantity == "converter.mosfets_per_side"
    for wrong in (0, 7):
        with pytest.raises(ValueError, match="mosfets_per_side"):
            ConverterSpec.model_validate({"mosfets_per_side": wrong})
