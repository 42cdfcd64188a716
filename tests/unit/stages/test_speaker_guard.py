"""The loudspeaker's protection: detector by a second route, the choice of switch, refusals."""

from __future__ import annotations

from dataclasses import replace

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
    for n in range(60_000):
        volts += step * (30.0 * np.sin(2 * np.pi * 30.0 * n * step) - volts) / quick
        if n > 50_000:
            most = max(most, abs(volts))
    assert most < 0.5
    assert detector.bass_v == pytest.approx(30.0 / np.hypot(1.0, 2 * np.pi * 30.0 * quick), rel=1e-9)
    volts, count = 0.0, 0
    while volts < detector.threshold_v:
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
