"""Suppressor diodes and relays: derived values, and records that contradict themselves."""

from __future__ import annotations

from dataclasses import replace

import pytest

from subwright.parts.library import load_library


def test_a_relay_breaks_less_at_a_higher_voltage() -> None:
    relay = load_library().relay("relay 12 V 10 A")
    # rating note: 10 A at 30 V, 0.5 A at 110 V direct current
    assert relay.breaks_a(30.0) == pytest.approx(10.0)
    assert relay.breaks_a(110.0) == pytest.approx(0.5)
    assert relay.breaks_a(12.0) == pytest.approx(10.0)
    assert relay.breaks_a(111.0) == 0.0
    steps = [relay.breaks_a(v) for v in (30, 35, 40, 50, 70, 110)]
    assert steps == sorted(steps, reverse=True)


def test_suppressor_clamps_at_its_rated_point() -> None:
    for part in load_library().suppressors.values():
        assert part.break_max_v + part.slope_ohm * part.surge_a == pytest.approx(part.clamp_v)
        # A grades: breakdown 11 to 23 % above the standoff voltage
        assert 1.10 < part.break_min_v / part.standoff_v < 1.13
        assert 1.20 < part.break_max_v / part.standoff_v < 1.25


def test_contradictions_are_named() -> None:
    relay = load_library().relay("relay 12 V 10 A")
    suppressor = load_library().suppressor("SM8S24A")
    assert [n for n, _ in replace(relay, pull_in_v=13.0).problems()] == ["pull_in_v"]
    assert [n for n, _ in replace(relay, breaks=((30.0, 1.0), (50.0, 2.0))).problems()] == ["breaks"]
    assert [n for n, _ in replace(relay, breaks=()).problems()] == ["breaks"]
    assert "clamp_v" in [n for n, _ in replace(suppressor, clamp_v=29.0).problems()]
    assert "surge_a" in [n for n, _ in replace(suppressor, surge_a=17.0).problems()]
    assert [n for n, _ in replace(suppressor, pulse_long_w=7e3).problems()] == ["pulse_long_w"]
