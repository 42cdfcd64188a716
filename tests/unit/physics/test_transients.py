"""Clamped pulses against numerical integration; rating curves; the standards' levels."""

from __future__ import annotations

import numpy as np
import pytest

from subwright.base.errors import RangeError
from subwright.physics.transients import (
    CLAMPED_DUMP_V,
    CRANKING_V,
    JUMP_START_V,
    PULSES,
    absorbed_rise_v,
    clamp_pulse,
    pulse_power_limit_w,
)


@pytest.mark.parametrize(
    ("base", "peak", "decay", "source", "break_v", "slope"),
    [
        (14.0, 87.0, 0.174, 0.5, 29.5, 0.055),
        (14.0, 87.0, 0.174, 2.0, 40.6, 0.103),
        (28.0, 112.0, 2e-5, 2.0, 44.2, 0.5),
    ],
)
def test_clamped_pulse_by_integration(
    base: float, peak: float, decay: float, source: float, break_v: float, slope: float
) -> None:
    time = np.linspace(0.0, 12 * decay, 400_001)
    current = np.maximum(base + peak * np.exp(-time / decay) - break_v, 0.0) / (source + slope)
    volts = break_v + slope * current
    found = clamp_pulse(base, peak, decay, source, break_v, slope)
    assert found.energy_j == pytest.approx(np.trapezoid(volts * current, time), rel=1e-5)
    assert found.peak_a == pytest.approx(current[0], rel=1e-12)
    assert found.peak_v == pytest.approx(volts[0], rel=1e-12)
    assert found.conducting_s == pytest.approx(time[np.nonzero(current)[0][-1]], rel=1e-3)


def test_a_pulse_below_the_breakdown_passes() -> None:
    found = clamp_pulse(14.0, 10.0, 0.1, 1.0, 30.0, 0.1)
    assert (found.peak_v, found.peak_a, found.energy_j, found.half_s) == (24.0, 0.0, 0.0, 0.0)


def test_a_pure_exponential_has_its_own_half_time() -> None:
    """With the supply just at the breakdown and no slope, power falls with the pulse's own time constant."""
    found = clamp_pulse(30.0 - 1e-9, 50.0, 1e-3, 1.0, 30.0, 0.0)
    assert found.half_s == pytest.approx(np.log(2.0) * 1e-3, rel=1e-6)


def test_conducting_on_the_steady_supply_is_refused() -> None:
    with pytest.raises(RangeError) as caught:
        clamp_pulse(32.0, 50.0, 1e-3, 1.0, 30.0, 0.0)
    assert "standoff" in caught.value.remedy


def test_pulse_rating_passes_through_both_points_and_falls() -> None:
    assert pulse_power_limit_w(1e-3, 6600.0, 5200.0) == pytest.approx(6600.0)
    assert pulse_power_limit_w(10e-3, 6600.0, 5200.0) == pytest.approx(5200.0)
    widths = np.geomspace(1e-5, 1.0, 20)
    limits = [pulse_power_limit_w(float(w), 1500.0, 475.0) for w in widths]
    assert limits == sorted(limits, reverse=True)


def test_capacitors_swallow_a_short_pulse() -> None:
    """Step by step through R, ESR and C of a bank whose time constant is much longer than the pulse."""
    peak, decay, source, farad, esr = 112.0, 21.7e-6, 2.0, 4.4e-3, 0.02
    time = np.linspace(0.0, 12 * decay, 200_001)
    held, volts = 0.0, []
    step = time[1]
    for t in time[::20]:
        current = (peak * np.exp(-t / decay) - held) / (source + esr)
        volts.append(held + esr * current)
        held += 20 * step * current / farad
    assert absorbed_rise_v(peak, decay, source, farad, esr) == pytest.approx(max(volts), rel=0.1)


def test_published_levels() -> None:
    # ISO 16750-2 load dump A, 12 V: up to 101 V behind 0.5 Ω for 400 ms (table of J. KIEES 30-8, 2019).
    dump = next(p for p in PULSES[12] if p.name.startswith("load dump"))
    assert (14.0 + dump.peak_v, dump.source_ohm, dump.width_s) == (101.0, 0.5, 0.4)
    # LM749x0-Q1 data sheet: clamped load dump 35 V, jump start 24 V, pulse 1 −150 V behind 10 Ω.
    assert CLAMPED_DUMP_V[12] == 35.0
    assert JUMP_START_V[12] == 24.0
    first = next(p for p in PULSES[12] if p.name == "pulse 1")
    assert (first.peak_v, first.source_ohm) == (-150.0, 10.0)
    # ISO 7637-2 pulse 2a, 12 V (from memory): up to 112 V behind 2 Ω, 50 µs.
    second = next(p for p in PULSES[12] if p.name == "pulse 2a")
    assert (second.peak_v, second.source_ohm, second.width_s) == (112.0, 2.0, 50e-6)
    # ISO 16750-2 cranking, 12 V level II (from memory): 4.5 V, then 6.5 V.
    assert CRANKING_V[12][1] == (4.5, 6.5)
