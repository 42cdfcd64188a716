"""The voltage stage of discrete class AB: currents by need, compensation, networks, parts, chips."""

from __future__ import annotations

import math
import re

import numpy as np
import pytest

from subwright.base.errors import NoSolutionError
from subwright.base.preferred import is_member
from subwright.parts.drawer import parse_drawer
from subwright.parts.library import load_library
from subwright.parts.output_stages import OUTPUT_STAGES
from subwright.physics.junctions import base_emitter_v
from subwright.stages.amplifier import AmplifierResult, AmplifierSpec, design_amplifier
from subwright.stages.amplifier_chip_pins import BRIDGE_GAIN, bridge_chip_pins, chip_pins
from subwright.stages.amplifier_voltage_stage_currents import reference_v
from subwright.stages.amplifier_voltage_stage_network import (
    Wanted,
    corner_hz,
    difference_network,
    plain_network,
)
from subwright.stages.amplifier_voltage_stage_records import VoltageStage
from subwright.stages.supply import SupplySpec, supply_corners

LIBRARY = load_library()
CORNERS = {volts: supply_corners(SupplySpec(system_v=volts))[0] for volts in (12, 24, 48)}
CASES = [
    ("class_ab", "pair", 30.0, 4.0, 12),
    ("class_ab", "pair", 120.0, 4.0, 12),
    ("class_ab", "pair", 200.0, 8.0, 24),
    ("class_ab", "lateral", 60.0, 8.0, 12),
    ("class_g", "auto", 150.0, 4.0, 12),
    ("bridge_class_ab", "pair", None, 4.0, 12),
    ("bridge_class_ab", "lateral", None, 8.0, 24),
    ("bridge_class_ab", "pair", None, 8.0, 48),
    ("bridge_class_h", "auto", None, 4.0, 12),
]


def made(
    kind: str, output: str, power: float | None, load: float, volts: int, **changed: object
) -> AmplifierResult:
    spec = AmplifierSpec.model_validate({"kind": kind, "ab_output": output, **changed})
    return design_amplifier(spec, power, load, CORNERS[volts], LIBRARY, lowest_note_hz=28.0)


def stage_of(result: AmplifierResult) -> VoltageStage:
    assert result.voltage_stage is not None
    return result.voltage_stage


@pytest.fixture(params=CASES, ids=lambda case: "-".join(str(part) for part in case))
def result(request: pytest.FixtureRequest) -> AmplifierResult:
    return made(*request.param)


def test_all_values_are_preferred_and_all_roles_are_bought(result: AmplifierResult) -> None:
    stage = stage_of(result)
    uses = {part.role: part for part in result.parts}
    legs = result.model.legs
    for role, value in (*stage.resistors_ohm.items(), *stage.capacitors_f.items()):
        assert is_member(value, "E24"), role
        count = stage.counts.get(role, 1) * (1 if role in stage.once else legs)
        assert uses[role].quantity == count, role
    for role, used in stage.transistors.items():
        assert uses[role].part_id == used.part_id
    assert len(uses) == len(result.parts)


def test_every_limit_is_kept_without_wishes(result: AmplifierResult) -> None:
    stage = stage_of(result)
    assert stage.stage_a >= 1.3 * stage.need_a
    assert stage.limit_a >= stage.stage_a + stage.need_a
    assert stage.slew_v_per_s >= 1.4 * stage.slew_needed_v_per_s
    assert stage.phase_margin_deg >= 60.0
    assert stage.offset_v <= 0.1
    assert stage.mute_db <= -40.0
    model = result.model
    assert stage.clip_upper_v <= model.drop_v / model.legs  # type: ignore[union-attr]
    wanted = result.peak_v / math.sqrt(2.0)
    assert stage.gain == pytest.approx(wanted, rel=0.05)
    for part in result.parts:
        for rating in part.ratings:
            assert rating.applied <= rating.limit, (part.role, rating.quantity)


def test_the_model_draws_what_the_circuit_takes(result: AmplifierResult) -> None:
    """Currents of sources by their own junctions, added up by hand."""
    stage, driving, model = stage_of(result), result.driving, result.model
    assert driving is not None
    ohms = stage.resistors_ohm
    split = model.split_rails
    nominal = result.rail_needed_v if split else CORNERS_OF[result.kind, round(result.rail_expected_v)]
    # class H feeds its legs through a diode
    fed = nominal - (0.4 if result.kind == "bridge_class_h" else 0.0)
    reference = fed / (2.0 * ohms["reference feed"])
    for _ in range(5):
        reference = (fed - reference_v(reference)) / (2.0 * ohms["reference feed"])
    assert stage.reference_a == pytest.approx(reference, rel=0.02)
    for current, role in ((stage.stage_a, "stage source resistor"), (stage.tail_a, "tail resistor")):
        volts = base_emitter_v(current) + current * ohms[role]
        # both sources' base currents pass the diodes by
        bases = sum(
            part.current_a / part.current_gain
            for part in (stage.transistors["stage source"], stage.transistors["tail source"])
        )
        assert volts == pytest.approx(reference_v(stage.reference_a - bases), rel=1e-9)
    rest = 0.0
    if driving.driver_ids:
        spread = driving.spread_v - 2.0 * base_emitter_v(8e-3)
        rest = spread / driving.resistors_ohm["driver resistor"]
    grounded = (stage.reference_a + 0.7 / ohms["buffer resistor"]) * (0.5 if split else 1.0)
    shared = 0.0
    if not split:
        shared += nominal / (2.0 * ohms["half upper"]) / model.legs
    if stage.op_amp_id:
        shared += 4 * 4e-3 / model.legs  # two cases of two
    drawn = stage.stage_a + stage.tail_a + rest + grounded + shared
    assert stage.drawn_a == pytest.approx(drawn, rel=0.03)
    assert driving.bias_a == stage.stage_a
    gates = 3e-3 if result.kind == "class_g" else 0.0
    assert model.driver_a == pytest.approx(model.legs * stage.drawn_a + gates, rel=1e-9)  # type: ignore[union-attr]


CORNERS_OF = {
    ("bridge_class_ab", round(c["max"])): c["nominal"]  # type: ignore[index]
    for c in ({str(k.value): v for k, v in corner.items()} for corner in CORNERS.values())
} | {
    ("bridge_class_h", round(c["max"])): c["nominal"]  # type: ignore[index]
    for c in ({str(k.value): v for k, v in corner.items()} for corner in CORNERS.values())
}


def nodal_gain(network: object, legs: int) -> float:
    """Mid-band gain of the resistor network with ideal pairs, by solving all nodes at once."""
    r = network.resistors_ohm  # type: ignore[attr-defined]
    g = {role: 1.0 / ohms for role, ohms in r.items()}
    # unknowns: first, muted (= base of A), feedback, a
    if network.bridge in ("none", "follows"):  # type: ignore[attr-defined]
        matrix = np.array(
            [
                [2.0 * g["input series"], -g["input series"], 0.0, 0.0],
                [-g["input series"], g["input series"] + g["input bias"], 0.0, 0.0],
                [0.0, 0.0, g["voltage feedback"] + g["voltage feedback shunt"], -g["voltage feedback"]],
                [0.0, 1.0, -1.0, 0.0],
            ]
        )
        a = float(np.linalg.solve(matrix, [g["input series"], 0.0, 0.0, 0.0])[3])
        if legs == 1:
            return a
        # leg B: feedback node at the middle, whatever its shunt
        return a * (1.0 + g["inverter input"] / g["voltage feedback"])
    raise AssertionError


@pytest.mark.parametrize("legs", [1, 2])
@pytest.mark.parametrize(("gain", "full"), [(28.0, 1.0), (4.0, 1.0), (0.8, 8.0), (200.0, 0.1)])
def test_plain_networks_give_the_gain_that_their_nodes_do(gain: float, full: float, legs: int) -> None:
    wanted = Wanted(gain=gain, input_ohm=22e3, full_input_v=full, leg_peak_v=40.0, note_hz=28.0, legs=legs)
    network = plain_network(wanted)
    assert network.gain == pytest.approx(nodal_gain(network, legs), rel=1e-9)
    assert network.gain == pytest.approx(gain, rel=0.05)
    assert network.leg_gain >= 9.0
    if legs == 2:
        r = network.resistors_ohm
        second = 1.0 + r["voltage feedback"] * (1.0 / r["inverter input"] + 1.0 / r["inverter shunt"])
        assert second == pytest.approx(network.leg_gain, rel=0.06)  # one Miller capacitor serves both


@pytest.mark.parametrize(("gain", "full"), [(14.0, 1.0), (2.0, 7.0), (100.0, 0.15)])
def test_a_difference_s_network_gives_the_gain_that_its_nodes_do(gain: float, full: float) -> None:
    """All nodes at once, the op-amps ideal; a leg may stand still."""
    wanted = Wanted(gain=gain, input_ohm=22e3, full_input_v=full, leg_peak_v=20.0, note_hz=28.0, legs=2)
    network = difference_network(wanted)
    g = {role: 1.0 / ohms for role, ohms in network.resistors_ohm.items()}
    names = ["first", "base", "signal", "plus", "minus", "steer", "turned", "a", "b"]
    n = {name: k for k, name in enumerate(names)}

    def solved(standing_v: float | None) -> float:
        """Difference of the outputs, leg B free or standing."""
        matrix, right = np.zeros((9, 9)), np.zeros(9)

        def node(row: int, at: str, *ends: tuple[str, float]) -> None:
            for other, conductance in ends:
                matrix[row, n[at]] += conductance
                if other:
                    matrix[row, n[other]] -= conductance

        node(0, "first", ("", g["input series"]), ("base", g["input series"]))
        right[0] = g["input series"]
        node(1, "base", ("first", g["input series"]), ("", g["input bias"]))
        node(2, "signal", ("base", 1.0))
        node(3, "minus", ("a", g["difference feedback"]), ("", g["difference signal"]))
        node(4, "plus", ("b", g["difference feedback"]), ("signal", g["difference signal"]))
        matrix[5, [n["plus"], n["minus"]]] = 1.0, -1.0
        matrix[6, [n["turned"], n["steer"]]] = 1.0, 1.0
        leg = 1.0 + g["voltage feedback shunt"] / g["voltage feedback"]
        matrix[7, [n["a"], n["steer"]]] = 1.0, -leg
        if standing_v is None:
            matrix[8, [n["b"], n["turned"]]] = 1.0, -leg
        else:
            matrix[8, n["b"]], right[8] = 1.0, standing_v
        found = np.linalg.solve(matrix, right)
        return float(found[n["a"]] - found[n["b"]])

    assert network.gain == pytest.approx(solved(None), rel=1e-9)
    assert network.gain == pytest.approx(gain, rel=0.06)
    # wherever leg B stands, leg A makes the same difference of it
    for standing in (-3.0, 0.0, 4.0):
        assert solved(standing) == pytest.approx(solved(None), rel=1e-9)


def test_the_mute_by_its_nodes() -> None:
    network = plain_network(
        Wanted(gain=20.0, input_ohm=22e3, full_input_v=1.0, leg_peak_v=30.0, note_hz=28.0, legs=1)
    )
    series, bias = network.series_ohm, network.load_ohm

    def passed(shunt_s: float) -> float:
        g = 1.0 / series
        matrix = [[2.0 * g + shunt_s, -g], [-g, g + shunt_s + 1.0 / bias]]
        return float(np.linalg.solve(matrix, [g, 0.0])[1])

    # a current into both nodes at once, the source quiet
    g = 1.0 / series
    pushed = np.linalg.solve([[2.0 * g, -g], [-g, g + 1.0 / bias]], [1.0, 1.0])[1]
    assert network.pushed_ohm == pytest.approx(float(pushed), rel=1e-9)
    exact = passed(1.0 / 125.0) / passed(0.0)
    # the sections load each other a little: the product of both errs to the loud side
    assert network.muted_share == pytest.approx(exact, rel=0.15)


def test_corners_one_after_the_other() -> None:
    assert corner_hz((2.0,), low=True) == pytest.approx(2.0, rel=1e-6)
    assert corner_hz((1.0, 1.0), low=False) == pytest.approx(math.sqrt(math.sqrt(2.0) - 1.0), rel=1e-6)


def test_the_voltage_stage_follows_the_drivers_need() -> None:
    """Twice the current through a load half as large asks for more, not a fixed current."""
    easy = stage_of(made("class_ab", "pair", 40.0, 8.0, 12))
    hard = stage_of(made("class_ab", "pair", 80.0, 2.0, 12))
    assert hard.need_a > 1.5 * easy.need_a
    assert hard.stage_a > easy.stage_a


def test_stated_currents_and_unity_are_taken() -> None:
    plain = stage_of(made("class_ab", "pair", 100.0, 4.0, 12))
    strong = stage_of(made("class_ab", "pair", 100.0, 4.0, 12, stage_current="25 mA", pair_current="4 mA"))
    assert strong.stage_a == pytest.approx(25e-3, rel=0.15)
    assert strong.tail_a == pytest.approx(4e-3, rel=0.15)
    assert strong.slew_v_per_s > 2.0 * plain.slew_v_per_s
    slow = stage_of(made("class_ab", "pair", 100.0, 4.0, 12, unity_loop="150 kHz"))
    assert slow.unity_hz == pytest.approx(150e3, rel=0.06)
    assert slow.phase_margin_deg > plain.phase_margin_deg
    quick = stage_of(made("bridge_class_ab", "lateral", None, 8.0, 24, unity_loop="2 MHz"))
    assert quick.phase_margin_deg < 60.0


def test_current_gain_between_the_sheets_points() -> None:
    pair = OUTPUT_STAGES["TIP35C/TIP36C"]
    assert pair.gain_at(0.1) == 25.0
    assert pair.gain_at(15.0) == pytest.approx(10.0)
    assert pair.gain_at(40.0) == 10.0
    # halfway on the logarithm of the current: the geometric mean of both gains
    assert pair.gain_at(math.sqrt(1.5 * 15.0)) == pytest.approx(math.sqrt(250.0), rel=1e-9)


def test_chips_get_their_pins() -> None:
    chip = made("class_ab", "chip", 20.0, 8.0, 12)
    assert chip.voltage_stage is None
    assert chip.driving is not None
    roles = {part.role for part in chip.parts}
    assert roles >= {"chip play resistor", "chip play capacitor", "mute transistor", "chip input coupling"}
    # half a milliampere flows out of the mute pin even from a tired battery's rail
    play = chip.driving.resistors_ohm["chip play resistor"]
    assert (0.7 * chip.rail_needed_v - 2.6) / play >= 0.5e-3
    gain = chip.driving.gain * chip.driving.input_share
    assert gain == pytest.approx(chip.peak_v / math.sqrt(2.0), rel=0.05)
    bridge = made("bridge_class_ab", "auto", None, 4.0, 12)
    assert bridge.driving is not None
    assert bridge.driving.fixed_gain == BRIDGE_GAIN
    assert bridge.driving.fixed_gain * bridge.driving.input_share == pytest.approx(
        bridge.peak_v / math.sqrt(2.0), rel=0.08
    )
    assert {"chip mute resistor", "chip mute capacitor"} <= {part.role for part in bridge.parts}


def test_a_chip_is_never_asked_for_less_gain_than_it_is_stable_with() -> None:
    for gain, full in ((1.5, 10.0), (60.0, 0.2)):
        pins = chip_pins(
            Wanted(gain=gain, input_ohm=22e3, full_input_v=full, leg_peak_v=30.0, note_hz=28.0, legs=1), 25.0
        )
        assert pins.gain >= 10.0
        assert pins.gain * pins.share == pytest.approx(gain, rel=0.06)


@pytest.mark.parametrize("gain", [4.0, 10.0, 16.0])
def test_a_vehicle_chip_loads_its_own_divider(gain: float) -> None:
    pins = bridge_chip_pins(gain, 22e3, 28.0)
    foot = 1.0 / (1.0 / pins.resistors_ohm["chip input"] + 1.0 / 50e3)
    share = foot / (foot + pins.resistors_ohm["chip input series"])
    assert pins.share == pytest.approx(share, rel=1e-12)
    assert BRIDGE_GAIN * pins.share == pytest.approx(gain, rel=0.06)


def test_a_vehicle_chip_with_too_little_gain_gets_no_divider() -> None:
    pins = bridge_chip_pins(40.0, 22e3, 28.0)
    assert "chip input series" not in pins.resistors_ohm
    assert pins.share == 1.0


@pytest.mark.parametrize(
    ("kind", "power", "load", "named"),
    [
        ("class_d_half_bridge", 2000.0, 16.0, (" kV at 19.8 A", "250 V", "class_d_full_bridge")),
        ("class_ab", 600.0, 2.0, ("22 × 2SC5200/2SA1943", "8 pairs", "goal.power")),
        ("class_g", 400.0, 16.0, ("V at", "goal.power")),
    ],
)
def test_refusals_name_amounts_and_what_to_do(
    kind: str, power: float, load: float, named: tuple[str, ...]
) -> None:
    with pytest.raises(NoSolutionError) as caught:
        made(kind, "auto", power, load, 12)
    error = caught.value
    assert re.search(r"\d", error.value)
    assert re.search(r"\d", error.limit)
    for words in named:
        assert words in str(error), error


def test_resistors_of_the_drawer_are_marked() -> None:
    stock = (
        'format_version = 1\n[[resistor_stock]]\nseries = "E24"\ntolerance = "1 %"\npower = "0.6 W"\n'
        'low = "100 ohm"\nhigh = "1 Mohm"\n'
    )
    spec = AmplifierSpec.model_validate({"kind": "class_ab", "ab_output": "pair"})
    for library, held in ((LIBRARY, False), (LIBRARY.with_drawer(parse_drawer(stock)), True)):
        result = design_amplifier(spec, 100.0, 4.0, CORNERS[12], library, lowest_note_hz=28.0)
        marked = {part.role: part.in_drawer for part in result.parts}
        assert marked["mirror degeneration"] == held
        assert marked["bias upper"] == held
        assert not marked["voltage amplifier emitter"]  # below the stock's least value
