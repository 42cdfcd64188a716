"""The SPICE text: every kind of part, line by line, the same each time."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import pytest

from subwright.base.errors import SubwrightError
from subwright.circuits import spice_text
from subwright.circuits.analysis import AcSweep, Current, Transient, Voltage
from subwright.circuits.models import (
    BipolarModel,
    ComparatorModel,
    ControllerModel,
    CurrentModeModel,
    DiodeModel,
    GroundedComparatorModel,
    HalfBridgeDriverModel,
    JunctionFetModel,
    JunctionModel,
    OpAmpModel,
    PhotovoltaicModel,
    RegulatorModel,
    RelayModel,
    SchmittInverterModel,
    ShuntReferenceModel,
    SwitchModel,
    ZenerModel,
)
from subwright.circuits.netlist import PINS, Circuit, Coupling, Part, PartKind, Pulse, Ramp, Steady
from subwright.circuits.spice_text import deck

LETTERS = {"R": "resistor", "C": "capacitor", "L": "inductor"}


def part(name: str, kind: PartKind, *nets: str, **fields: object) -> Part:
    standing = "bench" if name.startswith("BENCH") else "bought"
    if kind.startswith(("voltage by", "current by")) or kind == "inductor":
        standing = "analogue"
    if kind == "winding":
        standing = "elsewhere"
    return Part(
        designator=name,
        kind=kind,
        nets=nets,
        role=f"role of {name}",
        part_id="id",
        standing=standing,
        **fields,
    )


CHIP = {
    "vref_v": 5.1, "charge_v": 3.4, "ramp_low_v": 0.9, "ramp_high_v": 3.3, "discharge_v": 0.8,
    "dead_min_s": 3e-7, "dead_share": 0.1, "uvlo_on_v": 7.0, "uvlo_off_v": 6.5, "soft_start_a": 5e-5,
    "quiescent_a": 0.014,
}  # fmt: skip
EVERY_KIND = Circuit(
    name="one of each",
    parts=(
        part("BENCH_PULSE", "voltage source", "a", "0", value=Pulse(
            first=0.0, then=10.0, delay_s=1e-6, edge_s=2e-8, then_s=9e-6, period_s=2e-5)),
        part("BENCH_RAMP", "voltage source", "b", "0", value=Ramp(points=((0.0, 9.0), (2.0, 17.0)))),
        part("BENCH_AC", "voltage source", "c", "0", value=Steady(value=0.5, ac=1.0)),
        part("BENCH_LOAD", "current source", "a", "0", value=Steady(value=2.0)),
        part("R1", "resistor", "a", "b", value=4700.0),
        part("R2", "potentiometer", "a", "b", "0", value=10e3, setting=0.25),
        part("R3", "potentiometer", "b", "b", "0", value=10e3, setting=0.5),
        part("RT1", "thermistor", "a", "b", value=3.3e3),
        part("RT2", "thermistor", "a", "b", value=Ramp(points=((0.0, 1e4), (1.0, 2e3)))),
        part("C1", "capacitor", "a", "0", value=1e-7),
        part("C2", "capacitor", "a", "0", value=4.7e-3, series_ohm=0.02, initial_v=12.5),
        part("L1", "inductor", "a", "c", value=1e-3),
        part("T1A", "winding", "a", "c", value=4e-5, series_ohm=2e-3),
        part("T1B", "winding", "b", "c", value=4e-5),
        part("D1", "diode", "a", "b", model="LEG"),
        part("D2", "diode", "a", "b", model="SMALL"),
        part("VR1", "zener", "0", "b", model="ZENER"),
        part("DS1", "lamp", "a", "b", model="SMALL"),
        part("Q1", "mosfet", "a", "c", "0", model="SWITCH"),
        part("Q3", "mosfet", "a", "c", "b", model="UPSIDE_DOWN"),
        part("F2", "fuse", "a", "b", value=2e-3),
        part("W1", "cable", "a", "b", value=4e-3),
        part("LS1", "loudspeaker", "a", "b", value=4.0),
        part("K1", "relay", "a", "0", "b", "c", "a", model="RELAY"),
        part("U5", "gate driver", "a", "0", "b", "c", model="LIGHT"),
        part("S1", "switch", "a", "b", "c"),
        part("J1", "connector", "a", "0"),
        part("J2", "jumper", "a", "b"),
        part("J3", "jumper", "a", "b", setting=0.0),
        part("Q2", "transistor", "a", "b", "c", model="NPN"),
        part("Q4", "junction fet", "a", "b", "c", model="P_JUNCTION"),
        part("U1A", "op-amp", "a", "b", "c", "b", "0", model="OPAMP"),
        part("U2A", "comparator", "a", "b", "c", "b", "0", model="COMPARATOR"),
        part("U3", "shunt reference", "a", "b", "0", model="SHUNT"),
        part("U4", "regulator", "a", "b", "c", model="REGULATOR"),
        part("U6", "3525 controller", *"abcabcabcabcabca", model="PUSH_PULL"),
        part("U7", "494 controller", *"abcabcabcabcabca", model="OTHER_FAMILY"),
        part("U24", "3524 controller", *"abcabcabcabcabca", model="THIRD_FAMILY"),
        part("U46", "3846 controller", *"abcabcabcabcabca", model="FOURTH_FAMILY"),
        part("U8", "384x controller", *"abcabcab", model="CURRENT_MODE"),
        part("U9A", "grounded comparator", *"abcb0c", model="GROUNDED"),
        part("U10A", "schmitt inverter", "a", "b", "c", "0", model="SCHMITT"),
        part("U11", "half-bridge driver", *"abcabcabcab", model="HALF_BRIDGE"),
        part("E1", "voltage by voltage", "a", "0", "b", "c", value=-2.0),
        part("G1", "current by voltage", "a", "0", "b", "c", value=1.5),
        part("F1", "current by current", "a", "0", value=3.0, senses="BENCH_AC"),
        part("H1", "voltage by current", "a", "0", value=0.5, senses="BENCH_AC"),
    ),
    models=(
        DiodeModel(name="LEG", forward_v=0.75, resistance_ohm=0.015, rated_a=10.0),
        JunctionModel(name="SMALL", forward_v=0.6, rated_a=1e-3),
        ZenerModel(name="ZENER", zener_v=12.0, slope_ohm=9.0, rated_a=0.02),
        SwitchModel(name="SWITCH", on_ohm=5e-3, off_ohm=1e5, threshold_v=5.0, clamp_v=60.0),
        OpAmpModel(name="OPAMP", gbw_hz=3e6, dc_gain=1e5),
        ComparatorModel(name="COMPARATOR", offset_v=0.002, bias_a=2.5e-8, saturation_ohm=50.0,
                        response_s=1.3e-6, supply_a=6e-4),
        ShuntReferenceModel(name="SHUNT", reference_v=2.495, pin_a=2e-6),
        BipolarModel(name="NPN", polarity="npn", current_gain=40.0),
        JunctionFetModel(name="P_JUNCTION", channel="p", on_ohm=125.0, pinch_v=4.0),
        RegulatorModel(name="REGULATOR", reference_v=1.25),
        SwitchModel(name="UPSIDE_DOWN", on_ohm=2e-2, off_ohm=1e6, threshold_v=4.0, clamp_v=55.0, channel="p"),
        RelayModel(name="RELAY", coil_ohm=360.0, coil_h=2.0, pull_in_a=0.025, drop_out_a=0.005,
                   closed_ohm=0.1),
        ControllerModel(name="PUSH_PULL", family="3525", **CHIP),
        ControllerModel(name="OTHER_FAMILY", family="494", **CHIP),
        ControllerModel(name="THIRD_FAMILY", family="3524", **CHIP),
        ControllerModel(name="FOURTH_FAMILY", family="3846", dead_ohm=145.0, **CHIP),
        CurrentModeModel(name="CURRENT_MODE", vref_v=5.0, error_v=2.5, ramp_low_v=1.1, ramp_high_v=2.8,
                         discharge_a=8e-3, sense_v=1.0, sense_division=3.0, comp_offset_v=1.4,
                         sense_delay_s=1.5e-7, output_drop_v=1.5, uvlo_on_v=8.4, uvlo_off_v=7.6,
                         quiescent_a=0.011),
        PhotovoltaicModel(name="LIGHT", forward_v=1.3, rated_a=0.01, gain=1e-3, open_v=7.0, dark_ohm=2e3,
                          dark_a=1e-4),
        GroundedComparatorModel(name="GROUNDED", offset_v=0.0, bias_a=2.5e-7, saturation_ohm=30.0,
                                delay_s=8e-8, supply_a=4e-3),
        SchmittInverterModel(name="SCHMITT", low_share=0.3, high_share=0.5, output_ohm=50.0, delay_s=1e-8,
                             input_f=4e-12),
        HalfBridgeDriverModel(name="HALF_BRIDGE", input_share=0.5, on_s=1.2e-7, off_s=9e-8, source_ohm=6.0,
                              sink_ohm=6.0, uvlo_on_v=8.6, uvlo_off_v=8.2, logic_a=1e-5, lower_a=2e-4,
                              upper_a=1e-4),
    ),
    couplings=(Coupling(designator="T1", windings=("T1A", "T1B"), factor=0.999),),
)  # fmt: skip

EXPECTED = """\
* one of each
VBENCH_PULSE a 0 PULSE( 0.0 10.0 1e-06 2e-08 2e-08 8.98e-06 2e-05 )
VBENCH_RAMP b 0 PWL( 0.0 9.0 2.0 17.0 )
VBENCH_AC c 0 DC 0.5 AC 1.0
IBENCH_LOAD a 0 DC 2.0
RR1 a b 4700.0
RR2_UPPER a b 7500.0
RR2 b 0 2500.0
RR3 b 0 5000.0
RRT1 a b 3300.0
BRT2 a b I=(V(a)-V(b))/V(rt2_ohm)
VRT2_OHM rt2_ohm 0 PWL( 0.0 10000.0 1.0 2000.0 )
CC1 a 0 1e-07
CC2 a c2_esr 0.0047 IC=12.5
RC2_ESR c2_esr 0 0.02
LL1 a c 0.001
RT1A_R a t1a_r 0.002
LT1A t1a_r c 4e-05
LT1B b c 4e-05
XD1 a b LEG
XD2 a b SMALL
XVR1 0 b ZENER
XDS1 a b SMALL
SQ1 a 0 c 0 SWITCH
DQ1_BODY 0 a SWITCH_BODY
SQ3 b a b c UPSIDE_DOWN
DQ3_BODY a b UPSIDE_DOWN_BODY
RF2 a b 0.002
RW1 a b 0.004
RLS1 a b 4.0
XK1 a 0 b c a RELAY
XU5 a 0 b c LIGHT
RS1 a b 0.01
RJ1 a 0 1000000000.0
RJ2 a b 0.01
RJ3 a b 1000000000.0
QQ2 a b c NPN
JQ4 a b c P_JUNCTION
XU1A a b c OPAMP
XU2A a b c b 0 COMPARATOR
XU3 a b 0 SHUNT
XU4 a b c REGULATOR
XU6 a b c a b c a b c a b c a b c a PUSH_PULL
XU7 a b c a b c a b c a b c a b c a OTHER_FAMILY
XU24 a b c a b c a b c a b c a b c a THIRD_FAMILY
XU46 a b c a b c a b c a b c a b c a FOURTH_FAMILY
XU8 a b c a b c a b CURRENT_MODE
XU9A a b c b 0 c GROUNDED
XU10A a b c 0 SCHMITT
XU11 a b c a b c a b c a b HALF_BRIDGE
EE1 a 0 b c -2.0
GG1 a 0 b c 1.5
FF1 a 0 VBENCH_AC 3.0
HH1 a 0 VBENCH_AC 0.5
KT1_1 LT1A LT1B 0.999
"""
RUN = Transient(stop_s=1e-3, step_s=1e-6)


def test_a_bipolar_model_says_no_more_than_is_known() -> None:
    def line(**known: float) -> str:
        model = BipolarModel(name="NPN", polarity="npn", current_gain=40.0, **known)
        circuit = Circuit(
            name="one transistor",
            parts=(
                part("BENCH_SUPPLY", "voltage source", "a", "0", value=Steady(value=5.0)),
                part("Q1", "transistor", "a", "a", "0", model="NPN"),
            ),
            models=(model,),
        )
        text = deck(circuit, RUN, [Voltage("a")]).text.replace("\n+ ", " ")
        return next(row for row in text.splitlines() if row.startswith(".model NPN"))

    assert line() == ".model NPN NPN(IS=1e-14 BF=40.0)"
    assert line(junction_f=4e-12) == ".model NPN NPN(IS=1e-14 BF=40.0 CJE=4e-12 CJC=2e-12)"
    assert line(transit_s=1e-9, early_v=80.0, collector_f=3e-12) == (
        ".model NPN NPN(IS=1e-14 BF=40.0 CJC=3e-12 MJC=0.0 TF=1e-09 VAF=80.0)"
    )


def test_each_kind_of_part_has_its_line() -> None:
    text = deck(EVERY_KIND, RUN, [Voltage("a")]).text
    assert text.startswith(EXPECTED)
    assert {p.kind for p in EVERY_KIND.parts} == set(PINS)


def test_what_is_asked_for_stands_at_the_end() -> None:
    run = Transient(stop_s=1e-3, step_s=1e-6, keep_from_s=5e-4, from_initial=True, accuracy=1e-4)
    made = deck(EVERY_KIND, run, [Voltage("a"), Current("T1A"), Current("BENCH_AC")])
    assert made.text.endswith(
        ".options method=gear reltol=0.0001 abstol=1e-09 vntol=1e-06\n"
        ".save v(a) i(lt1a) i(vbench_ac)\n"
        ".tran 1e-06 0.001 0.0005 1e-06 uic\n"
        ".end\n"
    )
    assert made.signals == ("v(a)", "i(lt1a)", "i(vbench_ac)")
    sweep = deck(EVERY_KIND, AcSweep(low_hz=10.0, high_hz=500.0, per_decade=40), [Voltage("a")])
    assert sweep.text.endswith("\n.save v(a)\n.ac dec 40 10.0 500.0\n.end\n")


def test_the_same_circuit_gives_the_same_bytes() -> None:
    probes = (Voltage("a"), Voltage("c"))
    assert deck(EVERY_KIND, RUN, probes) == deck(EVERY_KIND, RUN, probes)


def test_devices_are_all_elements_outside_the_sub_circuits() -> None:
    made = deck(EVERY_KIND, RUN, [Voltage("a")])
    elements = made.text.split(".subckt")[0].splitlines()[1:]
    assert list(made.devices) == [line.split()[0] for line in elements if not line.startswith(".")]


def test_long_lines_are_cut_with_the_continuation_sign() -> None:
    points = tuple((0.1 * k, 10.0 + k) for k in range(60))
    long = replace(EVERY_KIND.parts[1], value=Ramp(points=points))
    made = deck(
        replace(EVERY_KIND, parts=(EVERY_KIND.parts[0], long, *EVERY_KIND.parts[2:])), RUN, [Voltage("a")]
    )
    lines = made.text.splitlines()
    assert max(map(len, lines)) <= 100
    joined = made.text.replace("\n+ ", " ")
    assert all(f" {time!r} {value!r}" in joined for time, value in points)


@pytest.mark.parametrize("probe", [Voltage("nowhere"), Voltage("0"), Current("R1"), Current("Q1")])
def test_a_probe_with_nothing_to_measure_is_refused(probe: Voltage | Current) -> None:
    with pytest.raises(SubwrightError, match="measure"):
        deck(EVERY_KIND, RUN, [probe])


def test_nothing_to_measure_at_all_is_refused() -> None:
    with pytest.raises(SubwrightError, match="nothing is to be measured"):
        deck(EVERY_KIND, RUN, [])


def test_a_part_that_is_not_rendered_is_noticed(monkeypatch: pytest.MonkeyPatch) -> None:
    real = spice_text._part

    def forgetful(part: Part, *rest: object) -> Iterator[str]:
        return iter(()) if part.designator == "R1" else real(part, *rest)

    monkeypatch.setattr(spice_text, "_part", forgetful)
    with pytest.raises(SubwrightError, match="R1 was not rendered"):
        deck(EVERY_KIND, RUN, [Voltage("a")])


def test_two_elements_of_one_name_are_noticed() -> None:
    """A capacitor's series resistor and a part can't end up with one name."""
    clash = part("C2_ESR", "resistor", "a", "b", value=1.0)
    clash = replace(clash, standing="inherent")
    with pytest.raises(SubwrightError, match="two elements are named RC2_ESR"):
        deck(replace(EVERY_KIND, parts=(*EVERY_KIND.parts, clash)), RUN, [Voltage("a")])
