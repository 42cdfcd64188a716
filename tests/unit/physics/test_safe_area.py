"""Safe operating area: its three limits, what heat leaves of them, and load lines by a second route."""

from __future__ import annotations

import numpy as np
import pytest

from subwright.base.errors import RangeError
from subwright.parts.output_stages import BRIDGE_CHIP, OUTPUT_STAGES
from subwright.physics.amplifiers import class_b_reactive_stress
from subwright.physics.safe_area import SafeArea, hardest_point, load_line, reactive_modulus_ohm

AREA = SafeArea(
    current_a=16.0,
    voltage_v=250.0,
    rth_jc_k_per_w=0.5,
    tj_max_c=150.0,
    breakdown=((50.0, 4.0), (80.0, 2.25)),
    breakdown_left=0.4,
)


def test_each_limit_rules_where_it_is_lowest() -> None:
    assert AREA.allowed_a(5.0, 25.0) == 16.0
    assert AREA.allowed_a(40.0, 25.0) == pytest.approx(250.0 / 40.0)
    assert AREA.allowed_a(80.0, 25.0) == pytest.approx(2.25)
    # a straight line on logarithmic axes goes on beyond its last point
    slope = np.log(2.25 / 4.0) / np.log(80.0 / 50.0)
    assert AREA.allowed_a(160.0, 25.0) == pytest.approx(2.25 * 2.0**slope)
    assert AREA.allowed_a(251.0, 25.0) == 0.0
    with pytest.raises(RangeError, match="voltage"):
        AREA.allowed_a(np.array([10.0, 0.0]), 25.0)


def test_heat_takes_more_of_the_power_than_of_second_breakdown() -> None:
    for case_c in (25.0, 60.0, 100.0, 140.0):
        room = (150.0 - case_c) / 125.0
        assert AREA.allowed_a(30.0, case_c) == pytest.approx(min(16.0, 250.0 * room / 30.0))
        second = 2.25 * (1.0 - 0.6 * (1.0 - room))
        assert AREA.allowed_a(80.0, case_c) == pytest.approx(min(second, 250.0 * room / 80.0))
    assert AREA.allowed_a(20.0, 150.0) == 0.0
    # below 25 °C the sheet's own figures hold
    assert AREA.allowed_a(80.0, -10.0) == AREA.allowed_a(80.0, 25.0)


@pytest.mark.parametrize("phase", [0.0, 20.0, 45.0, 60.0, 80.0])
def test_a_load_lines_hardest_instant_is_that_of_the_closed_grid(phase: float) -> None:
    line = load_line(40.0, 36.0, 4.0, phase)
    watts, volts, amps = class_b_reactive_stress(40.0, 36.0, 4.0, phase)
    at = int(np.argmax(line.across_v * line.current_a))
    assert line.across_v[at] * line.current_a[at] == pytest.approx(watts, rel=1e-3)
    assert line.across_v[at] == pytest.approx(volts, rel=0.03)
    assert line.current_a[at] == pytest.approx(amps, rel=0.03)


def test_a_capacitive_load_is_as_hard_as_an_inductive_one() -> None:
    assert load_line(40.0, 36.0, 4.0, -60.0).across_v == pytest.approx(
        load_line(40.0, 36.0, 4.0, 60.0).across_v
    )


def test_the_resistance_behind_a_phase_bounds_the_modulus() -> None:
    assert reactive_modulus_ohm(3.2, 0.0) == 3.2
    for phase in (-60.0, 45.0):
        z = reactive_modulus_ohm(3.2, phase) * np.exp(1j * np.radians(phase))
        assert z.real == pytest.approx(3.2)
    with pytest.raises(RangeError, match="phase"):
        reactive_modulus_ohm(3.2, 90.0)


def test_the_hardest_point_by_brute_force() -> None:
    loads = [(reactive_modulus_ohm(3.2, p), p) for p in (0.0, 45.0, 60.0)]
    needed, volts, amps, line = hardest_point(AREA, 85.0, 46.0, 42.0, loads)
    worst = 0.0
    for modulus, phase in loads:
        for drive in np.linspace(0.2, 1.0, 33):
            x = np.radians(np.arange(phase + 0.25, phase + 180.0, 0.25))
            across = 46.0 - 42.0 * drive * np.sin(x)
            current = 42.0 * drive / modulus * np.sin(x - np.radians(phase))
            worst = max(worst, float(np.max(current / AREA.allowed_a(across, 85.0))))
    assert needed == pytest.approx(worst, rel=0.02)
    assert needed == pytest.approx(amps / float(AREA.allowed_a(volts, 85.0)))
    assert (line.modulus_ohm, line.phase_deg) in loads
    # no reserve at all: infinitely many devices
    assert hardest_point(AREA, 150.0, 46.0, 42.0, loads)[0] == np.inf
    with pytest.raises(RangeError, match="load"):
        hardest_point(AREA, 85.0, 46.0, 42.0, [])


def test_every_output_stage_has_an_area_or_guards_itself() -> None:
    for stage in (*OUTPUT_STAGES.values(), BRIDGE_CHIP):
        if stage.form != "pair":
            assert stage.safe_area is None
            continue
        area = stage.safe_area
        assert area is not None
        volts = np.geomspace(1.0, area.voltage_v, 60)
        for case_c in (25.0, 85.0, 120.0):
            allowed = area.allowed_a(volts, case_c)
            assert np.all(np.diff(allowed) <= 0.0)
            assert np.all(allowed > 0.0)
        assert bool(stage.breakdown) == (stage.device == "bipolar")
