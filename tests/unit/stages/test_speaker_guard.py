"""The loudspeaker's protection: detector by a second route, the choice of switch, refusals."""

from __future__ import annotations

from dataclasses import replace
from math import log

import numpy as np
import pytest

from subwright.base.errors import NoSolutionError, PartNotFoundError
from subwright.base.preferred import is_member
from subwright.parts.library import load_library
from subwright.stages.common import Corner
from subwright.stages.speaker_guard import (
    SpeakerGuardInput,
    SpeakerGuardResult,
    SpeakerGuardSpec,
    choose_speaker_switch,
    design_speaker_guard,
)

DATA = SpeakerGuardInput(
    stuck_v=35.0,
    stuck_a=8.75,
    stuck_w=306.0,
    peak_v=30.0,
    rms_a=5.3,
    lowest_note_hz=30.0,
    power_w=150.0,
    re_ohm=3.2,
    le_h=1e-3,
    coil_j_per_k=40.0,
    coil_start_c=120.0,
    coil_max_c=200.0,
    corners={
        Corner.MIN: 6.0,
        Corner.LOW: 11.5,
        Corner.NOMINAL: 12.0,
        Corner.CHARGING: 14.4,
        Corner.MAX: 15.0,
    },
    sag_v=0.5,
    ambient_c=50.0,
)


def design(spec: SpeakerGuardSpec | None = None, data: SpeakerGuardInput = DATA) -> SpeakerGuardResult:
    spec, library = spec or SpeakerGuardSpec(), load_library()
    return design_speaker_guard(spec, data, library, choose_speaker_switch(spec, data, library))


def test_the_lowest_note_does_not_trip_and_a_fault_does() -> None:
    """Step the low-pass through a bass note and through a stuck rail, with the parts that hurt."""
    detector = design().detector
    assert detector is not None
    assert is_member(detector.resistor_ohm, "E12")
    assert is_member(detector.capacitor_f, "E6")
    step = 20e-6
    quick = 0.95 * 0.8 * detector.tau_s
    volts, most = 0.0, 0.0
    for n in range(60_000):  # from its zero crossing on: the first half wave reaches furthest
        volts += step * (30.0 * np.sin(2 * np.pi * 30.0 * n * step) - volts) / quick
        most = max(most, abs(volts))
    assert most < 0.5
    assert detector.bass_v == pytest.approx(most, rel=0.02)
    assert detector.bass_v == pytest.approx(60.0 / np.hypot(1.0, 2 * np.pi * 30.0 * quick), rel=1e-9)
    volts, count = 0.0, 0
    while volts < max(detector.node_v, detector.negative_node_v):
        volts += step * (35.0 - volts) / detector.tau_s
        count += 1
    assert detector.trip_s == pytest.approx(count * step, rel=0.01)
    assert detector.trip_latest_s > detector.trip_s


def test_a_relay_where_it_breaks_the_rail_and_mosfets_where_not() -> None:
    low = design(data=replace(DATA, stuck_v=24.0, stuck_a=6.0, peak_v=20.0))
    assert low.kind == "relay"
    assert low.relay is not None
    assert low.relay.breaks_a >= 6.0
    high = design(data=replace(DATA, stuck_v=60.0, stuck_a=15.0, stuck_w=900.0, peak_v=50.0))
    assert high.kind == "mosfet"
    assert high.switch is not None
    assert high.switch.rating_v >= 72.0
    assert high.switch.junction_c < high.switch.junction_limit_c
    assert high.switch.coil_j == pytest.approx(0.5 * 1e-3 * 15.0**2)
    assert high.switch.resistance_ohm <= 0.01 * 4.0


def test_the_wish_decides() -> None:
    assert design(SpeakerGuardSpec(switch="mosfet")).kind == "mosfet"
    asked = design(SpeakerGuardSpec(switch="relay"), replace(DATA, stuck_v=60.0, stuck_a=15.0))
    assert asked.relay is not None
    assert asked.relay.breaks_a < asked.relay.breaks_needed_a  # the rule SPK-03 says so
    grounded = design(SpeakerGuardSpec(switch="relay", contact="grounded"))
    assert any("grounded" in reason for reason in grounded.reasons)
    assert not design(SpeakerGuardSpec(switch="none")).fitted


def test_a_driver_that_stands_it_needs_nothing() -> None:
    result = design(data=replace(DATA, stuck_w=100.0))
    assert (result.kind, result.needed, result.parts) == ("none", False, ())


def test_heat_in_the_coil_is_power_times_time() -> None:
    result = design()
    opened = result.relay.open_s if result.relay else result.switch.open_s if result.switch else 0.0
    assert result.detector is not None
    assert result.total_s == pytest.approx(result.detector.trip_latest_s + opened)
    assert result.coil_heat_j == pytest.approx(35.0**2 / 3.2 * result.total_s)
    assert result.coil_limit_j == pytest.approx(80.0 * 40.0)
    assert design(data=replace(DATA, coil_j_per_k=None)).coil_limit_j is None


def test_every_part_is_billed_once_and_within_its_rating() -> None:
    for spec in (SpeakerGuardSpec(switch="mosfet"), SpeakerGuardSpec(switch="relay")):
        parts = design(spec, replace(DATA, stuck_v=24.0, stuck_a=6.0)).parts
        assert len({p.role for p in parts}) == len(parts)
        assert all(r.margin >= 0 for p in parts for r in p.ratings)


def test_a_coil_on_a_higher_system_gets_its_dropper() -> None:
    corners = {c: 4 * v for c, v in DATA.corners.items()}
    data = replace(DATA, stuck_v=24.0, stuck_a=6.0, corners=corners, sag_v=1.0)
    relay = design(SpeakerGuardSpec(switch="relay"), data).relay
    assert relay is not None
    assert relay.dropper_ohm is not None
    assert is_member(relay.dropper_ohm, "E12")
    assert relay.coil_high_v <= relay.coil_limit_v
    assert relay.coil_low_v >= relay.pull_in_v


def test_refusals() -> None:
    with pytest.raises(NoSolutionError) as caught:
        design(SpeakerGuardSpec(switch="mosfet"), replace(DATA, rms_a=300.0))
    assert "speaker_guard.mosfet" in caught.value.remedy
    with pytest.raises(NoSolutionError):
        design(SpeakerGuardSpec(switch="mosfet"), replace(DATA, peak_v=3e4))
    with pytest.raises(NoSolutionError):
        design(SpeakerGuardSpec(switch="relay"), replace(DATA, stuck_v=0.5))
    with pytest.raises(PartNotFoundError):
        design(SpeakerGuardSpec(switch="relay", relay="relay 13 V"))


def test_both_polarities_trip_alike() -> None:
    """The transistors' equations solved by bisection, junction by junction."""
    result = design()
    detector, drive = result.detector, result.drive
    assert detector is not None
    assert drive is not None
    thermal_v = 0.025865

    def junction(current: float) -> float:
        return 0.65 + thermal_v * log(current / 1e-3)

    assert detector.threshold_v == pytest.approx(
        junction(drive.sink_a) + drive.sink_a / 290.0 * detector.resistor_ohm, rel=1e-3
    )
    low, high = 0.0, 5.0
    for _ in range(60):  # how far below zero the low-pass's source has to be
        below = 0.5 * (low + high)
        a, b = 1e-9, below / detector.resistor_ohm  # emitter current
        for _ in range(60):
            emitter = 0.5 * (a + b)
            a, b = (
                (emitter, b) if junction(emitter) + emitter * detector.resistor_ohm < below else (a, emitter)
            )
        first, last = 1e-9, 1e-3  # collector current of the PNP
        for _ in range(60):
            pnp = 0.5 * (first + last)
            drawn = junction(pnp) / detector.pull_ohm + pnp / 250.0
            first, last = (pnp, last) if drawn < emitter else (first, pnp)
        taken = 290.0 * (pnp - junction(drive.sink_a) / detector.down_ohm)
        low, high = (below, high) if taken < drive.sink_a else (low, below)
    assert detector.negative_v == pytest.approx(below, rel=1e-3)
    assert detector.negative_v == pytest.approx(detector.threshold_v, rel=0.25)
    assert detector.threshold_low_v < detector.threshold_v < detector.threshold_high_v
    assert detector.threshold_low_v >= 0.5


def test_between_two_outputs_each_leg_has_its_resistor() -> None:
    result = design(data=replace(DATA, floating=True, outputs_v=16.0))
    detector = result.detector
    assert detector is not None
    assert detector.resistors == 2
    assert is_member(detector.resistor_ohm / 2, "E12")
    assert detector.threshold_v == detector.negative_v
    resistor = next(p for p in result.parts if p.role == "detector low-pass resistor")
    assert resistor.quantity == 2


def test_the_zener_halves_the_time_to_open() -> None:
    data = replace(DATA, stuck_v=24.0, stuck_a=6.0)
    quick, plain = (
        design(SpeakerGuardSpec(switch="relay", release=release), data) for release in ("quick", "plain")
    )
    assert quick.relay is not None
    assert plain.relay is not None
    assert quick.drive is not None
    assert quick.drive.zener_v > 0
    assert quick.relay.decay_s < 0.5 * plain.relay.decay_s
    # The coil's current stepped down against the diode alone.
    relay, step, seconds = plain.relay, 1e-6, 0.0
    current = relay.coil_high_v / relay.coil_ohm
    while current * relay.coil_ohm > relay.drop_out_v:
        current -= step * (current * relay.coil_ohm + 0.7) / relay.coil_h
        seconds += step
    assert relay.decay_s == pytest.approx(seconds, rel=1e-3)
    part = load_library().relay(relay.relay)
    assert relay.open_s == pytest.approx(part.release_s + relay.decay_s)


@pytest.mark.parametrize("times", [1, 2, 4])
@pytest.mark.parametrize("switch", ["relay", "mosfet"])
def test_the_driver_stands_its_supply_and_the_timer_can_hold_it(times: int, switch: str) -> None:
    corners = {corner: times * volts for corner, volts in DATA.corners.items()}
    data = replace(
        DATA,
        stuck_v=24.0,
        stuck_a=6.0,
        corners=corners,
        sag_v=0.5 * times,
        highest_v={1: 35.0, 2: 58.0}.get(times, 0.0),
    )
    drive = design(SpeakerGuardSpec(switch=switch), data).drive
    assert drive is not None
    assert drive.stress_v < drive.limit_v
    assert corners[Corner.MAX] / drive.base_ohm <= 6e-3  # what a 393-family comparator sinks at least
    assert drive.load_a / drive.sink_a < 100.0
    if switch == "mosfet":
        assert 5e-3 < (corners[Corner.LOW] - data.sag_v - 2.7) / drive.light_ohm < 20e-3
