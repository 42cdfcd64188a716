"""Random wishes for a class-D modulator: each is met within its ratings, or refused in one clear sentence."""

from __future__ import annotations

import random
from collections import Counter
from dataclasses import fields
from math import isfinite
from typing import Any

import pytest

from subwright.base.errors import SubwrightError
from subwright.parts.library import load_library
from subwright.stages.amplifier_modulator import design_modulator, drawn
from subwright.stages.amplifier_modulator_bill import modulator_sentences, modulator_uses
from subwright.stages.amplifier_modulator_need import ModulatorNeed
from subwright.stages.amplifier_modulator_records import Modulator

LIBRARY = load_library()
SWITCHES = [m for m in LIBRARY.mosfets.values() if m.channel == "n" and m.vds_v <= 250.0]
CHUNK = 40
# What a rule judges, and a part's rating may therefore show.
JUDGED = {"power", "dissipation"}


def wish(pick: random.Random) -> ModulatorNeed:
    split = pick.random() < 0.5
    nominal = pick.uniform(11.0, 85.0) if split else pick.choice([12.3, 24.6, 37.0, 49.0])
    raised = not split and pick.random() < 0.3
    rail = pick.uniform(1.4, 2.5) * nominal if raised else nominal
    rails = (rail * pick.uniform(0.82, 0.98), rail, rail * pick.uniform(1.02, 1.25))
    feed = (0.88 * nominal, nominal, 1.2 * nominal)
    legs = pick.choice([1, 2]) if split else 2
    swing = rail * legs if split else rail
    return ModulatorNeed(
        form=pick.choice(["clocked", "self-oscillating"]),
        legs=legs,
        split_rails=split,
        rail_low_v=rails[0],
        rail_nominal_v=rails[1],
        rail_high_v=rails[2],
        feed_v=rails if split else feed,
        peak_v=pick.uniform(0.75, 0.95) * swing,
        load_share=pick.uniform(0.92, 1.0),
        full_input_v=pick.choice([0.3, 0.775, 1.0, 2.0]),
        lowest_note_hz=pick.choice([18.0, 30.0, 45.0]),
        switching_hz=pick.uniform(50e3, 800e3),
        dead_time_s=60e-9,
        modulation_max=0.95,
        gate_drive_a=pick.uniform(0.2, 2.0),
        gate_supply_v=pick.uniform(10.0, 15.0),
        tolerance=pick.choice([None, 0.01]),
        op_amp="auto",
        mosfet=pick.choice(SWITCHES),
        node_s=pick.uniform(5e-9, 200e-9),
    )


def finite(value: Any) -> bool:
    if isinstance(value, float):
        return isfinite(value)
    if isinstance(value, tuple):
        return all(finite(v) for v in value)
    return all(finite(v) for v in value.values()) if hasattr(value, "values") else True


def judge(need: ModulatorNeed, m: Modulator) -> None:
    for item in fields(m):
        assert finite(getattr(m, item.name)), item.name
    assert all(ohm > 0.0 for ohm in m.resistors_ohm.values())
    assert m.gain == pytest.approx(m.gain_wanted, rel=0.06)
    assert m.switching_hz == pytest.approx(need.switching_hz, rel=0.08)
    assert 0.0 < m.modulation_reach < 1.0
    assert m.delay_s == pytest.approx(sum(m.delays_s.values()))
    if m.clocked:
        assert m.carrier_slope_v_per_s >= 1.9 * m.feedback_slope_v_per_s
    for use in modulator_uses(m, need, LIBRARY):
        for rating in use.ratings:
            assert rating.applied <= rating.limit or rating.quantity in JUDGED, (use.role, rating)
    assert modulator_sentences(m)


@pytest.mark.parametrize("chunk", range(8))
def test_each_wish_is_met_or_refused(chunk: int) -> None:
    pick = random.Random(4711 + chunk)
    told: Counter[str] = Counter()
    for _ in range(CHUNK):
        need = wish(pick)
        try:
            draw = drawn(need, None, LIBRARY)
            assert finite((draw.dead_time_s, draw.gate_v, draw.control_a))
            judge(need, design_modulator(need, LIBRARY))
            told["met"] += 1
        except SubwrightError as error:
            told["refused" if error.remedy and error.value else f"unclear: {error}"] += 1
    assert set(told) <= {"met", "refused"}, told
    assert told["met"] >= 0.5 * CHUNK, told
