"""A full bridge between the rails: the chain against both rails solved directly."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest

from subwright.build.bridged import shared_model, shared_point
from subwright.build.chain import find_clipping, solve_chain
from subwright.build.chain_model import ConverterModel, LoadPoint, Source
from subwright.build.waveform import sine

SOURCE = Source(battery_ohm=6e-3, cable_ohm=5e-3, contact_ohm=2e-3)
EMF = np.array([11.5, 12.6, 14.4])
MODEL = ConverterModel(
    ratio=2.5,
    switching_hz=50e3,
    share=0.9,
    switch_ohm=4e-3,
    primary_winding_ohm=1.5e-3,
    link_ohm=0.6e-3,
    secondary_winding_ohm=20e-3,
    diode_ohm=15e-3,
    diode_v=0.75,
    leakage_h=1e-12,
    input_esr_ohm=2e-3,
    reservoir_esr_ohm=15e-3,
    turn_off_s=50e-9,
    gate_w=0.5,
    control_w=0.3,
    core_w=2.0,
    core_v=12.6,
    core_exponent=2.6,
    shunt_s=5e-3,
)
LOAD = LoadPoint(conductance_s=0.25)


@dataclass(frozen=True)
class Bridge:
    """A lossy full bridge that swings both rails."""

    on_ohm: float = 0.08
    from_battery: bool = False
    recirculates: bool = True

    def input_power_w(self, v, i, rail):
        return v * i + i**2 * self.on_ohm + 0 * rail

    def loss_split_w(self, v, i, rail):
        return {"conduction": i**2 * self.on_ohm + 0 * rail}

    def clip_peak_v(self, rail, load_ohm):
        return 0.95 * 2.0 * rail * load_ohm / (load_ohm + self.on_ohm)


def both_rails(emf: float, power_w: float) -> tuple[float, float, float]:
    """Rail, its current and the battery's for one instant, each rail giving half: V, A, A."""
    ripple = MODEL.mean_square_factor - 1.0
    rail, terminal = MODEL.ratio * emf, emf
    for _ in range(2000):
        each = power_w / (2.0 * rail)
        primary = MODEL.ratio * 2.0 * each
        steady = MODEL.gate_w + MODEL.control_w + MODEL.shunt_s * terminal**2
        steady += MODEL.core_w * (terminal / MODEL.core_v) ** MODEL.core_exponent
        battery = primary * (1.0 + MODEL.overlap) + steady / terminal
        terminal = emf - SOURCE.total_ohm * battery
        drop = (MODEL.primary_ohm / MODEL.averaging + MODEL.input_esr_ohm * ripple) * primary
        secondary = MODEL.secondary_ohm / MODEL.averaging + MODEL.reservoir_esr_ohm * ripple
        rail = 0.5 * rail + 0.5 * (MODEL.ratio * (terminal - drop) - MODEL.diode_v - secondary * each)
    return rail, each, battery


def test_rails_and_currents_as_solved_directly() -> None:
    stage, model = Bridge(), shared_model(MODEL)
    peak = find_clipping(EMF, LOAD, SOURCE, stage, model)
    point = shared_point(solve_chain(EMF, peak, sine(), LOAD, SOURCE, stage, model))
    for k, emf in enumerate(EMF):
        current = peak[k] * LOAD.conductance_s
        rail, each, battery = both_rails(emf, peak[k] * current + current**2 * stage.on_ohm)
        assert point.rail_crest_v[k] == pytest.approx(rail, rel=1e-6)
        assert point.rail_peak_a[k] == pytest.approx(each, rel=1e-6)
        assert point.battery_peak_a[k] == pytest.approx(battery, rel=1e-6)
        assert peak[k] == pytest.approx(stage.clip_peak_v(rail, 4.0), rel=1e-6)
    assert point.imbalance() == pytest.approx(0.0, abs=1e-9)
    assert np.all(point.rail_other_v == point.rail_crest_v)


def test_a_bridge_reaches_four_times_the_power_of_its_rails() -> None:
    """Twice the swing on the same rails; less only for what the rails sag."""
    stiff = Source(battery_ohm=1e-7, cable_ohm=0.0, contact_ohm=0.0)
    single = find_clipping(EMF, LOAD, stiff, HalfBridge(), MODEL)
    both = find_clipping(EMF, LOAD, stiff, Bridge(), shared_model(MODEL))
    assert np.all(both / single < 2.0)
    assert np.all(both / single > 1.8)


@dataclass(frozen=True)
class HalfBridge(Bridge):
    """The same devices on one leg."""

    def clip_peak_v(self, rail, load_ohm):
        return 0.95 * rail * load_ohm / (load_ohm + self.on_ohm)
