"""Switching on and off: thresholds and times by stepping the circuits, order, standby, refusals."""

from __future__ import annotations

from dataclasses import replace
from math import log10

import pytest

from subwright.base.errors import NoSolutionError, RangeError
from subwright.base.preferred import is_member
from subwright.parts.library import load_library
from subwright.stages.common import Corner
from subwright.stages.control import ControlInput, ControlResult, ControlSpec, StandbyItem, design_control

DATA = ControlInput(
    corners={
        Corner.MIN: 6.0,
        Corner.LOW: 11.5,
        Corner.NOMINAL: 12.0,
        Corner.CHARGING: 14.4,
        Corner.MAX: 16.0,
    },
    capacity_ah=70.0,
    control_a=40e-3,
    leaks=(
        StandbyItem(name="sense dividers", current_a=200e-6),
        StandbyItem(name="input capacitors", current_a=50e-6),
    ),
    ungated=(StandbyItem(name="control circuits, always on", current_a=40e-3),),
    soft_start_s=0.3,
    rail_hold_s=1.0,
    speaker_open_s=10e-3,
    highest_v=35.0,
)


def design(spec: ControlSpec | None = None, data: ControlInput = DATA) -> ControlResult:
    return design_control(spec or ControlSpec(), data, load_library())


def stepped_s(
    line_v: float, series: float, down: float, farad: float, base_v: float, gain: float = 0.0
) -> float:
    """Time until the base reaches a voltage, by small steps; with a gain its own current counts too."""
    volts, step, count = 0.0, 1e-5, 0
    while volts < base_v:
        base_a = 1e-3 * 10.0 ** ((volts - 0.65) / 0.0595) / gain if gain else 0.0
        volts += step * ((line_v - volts) / series - volts / down - base_a) / farad
        count += 1
    return count * step


def test_remote_threshold_and_debounce_by_stepping() -> None:
    remote = design().remote
    assert remote is not None
    for value, series in (
        (remote.series_ohm, "E24"),
        (remote.pulldown_ohm, "E24"),
        (remote.base_ohm, "E12"),
        (remote.filter_f, "E6"),
    ):
        assert is_member(value, series)
    share = remote.pulldown_ohm / (remote.series_ohm + remote.pulldown_ohm)
    # The base-emitter voltage goes with the current that the supply switch takes, 60 mV to the decade.
    drive_a = 0.65 / 10e3 + 40e-3 / 250.0
    source = remote.series_ohm * share
    base = 0.65 + 0.0595 * log10(drive_a / 1e-3) + drive_a / 290.0 * source
    assert remote.on_v * share == pytest.approx(base, rel=1e-3)
    assert remote.on_v == pytest.approx(remote.wanted_v, rel=0.05)
    assert remote.on_low_v < remote.on_v < remote.on_high_v < 11.5
    # counted until half the current flows: the supply is at half then
    half = 0.65 + 0.0595 * log10((0.65 / 10e3 + 20e-3 / 250.0) / 1e-3)
    parts = (remote.series_ohm, remote.pulldown_ohm, remote.filter_f)
    assert remote.debounce_s == pytest.approx(stepped_s(12.0, *parts, half), rel=1e-3)
    # what the transistor takes from the capacitor before that is little, though it would hold it for ever
    assert remote.debounce_s == pytest.approx(stepped_s(12.0, *parts, half, gain=290.0), rel=0.01)
    worst = stepped_s(11.5, remote.series_ohm, remote.pulldown_ohm, remote.filter_f, base + 0.10)
    assert remote.slowest_s == pytest.approx(1.05 * 1.2 * worst, rel=1e-3)
    assert remote.quickest_s < remote.debounce_s < remote.slowest_s
    assert remote.debounce_s >= 0.05
    assert remote.line_a <= remote.line_limit_a


def test_timers_charge_to_half_in_their_time() -> None:
    for timer in design().timers:
        assert is_member(timer.resistor_ohm, "E12")
        assert is_member(timer.capacitor_f, "E6")
        share, step, count = 0.0, timer.resistor_ohm * timer.capacitor_f / 20_000, 0
        while share < 0.5:
            share += (1.0 - share) / 20_000
            count += 1
        assert timer.nominal_s == pytest.approx(count * step, rel=1e-3)
        assert timer.nominal_s == pytest.approx(timer.wanted_s, rel=0.1)
        assert timer.low_s == pytest.approx(0.95 * 0.8 * timer.nominal_s)
        assert timer.high_s == pytest.approx(1.05 * 1.2 * timer.nominal_s)


def test_events_come_in_order() -> None:
    result = design()
    for before, after in zip(result.switch_on[1:], result.switch_on[2:], strict=False):
        assert after.earliest_s >= before.latest_s, (before.name, after.name)
    off = {e.name: e for e in result.switch_off}
    assert off["loudspeaker off"].latest_s < off["rails fallen"].earliest_s
    bare = design(data=replace(DATA, rail_hold_s=None, speaker_open_s=None))
    assert [e.name for e in bare.switch_off] == ["amplifier muted"]
    assert [t.name for t in bare.timers] == ["un-mute"]  # nothing connects the loudspeaker
    assert not any("loudspeaker" in part.role for part in bare.parts)


@pytest.mark.parametrize("times", [1, 2, 4])
def test_the_timers_run_within_the_comparators_rating(times: int) -> None:
    corners = {corner: times * volts for corner, volts in DATA.corners.items()}
    result = design(data=replace(DATA, corners=corners, highest_v=35.0 * times))
    supply = result.supply
    assert supply.clamp_v * 1.05 <= load_library().comparator("LM393").supply_max_v
    assert supply.low_v >= 8.0
    assert supply.clamp_w <= 0.5 * supply.clamp_limit_w
    assert is_member(supply.series_ohm, "E12")


def test_standby_adds_up_and_flattens_in_days() -> None:
    result = design()
    assert result.standby_a == pytest.approx(251e-6)
    assert result.flat_s == pytest.approx(70.0 * 3600 / 251e-6)
    assert result.parked_share == pytest.approx(251e-6 * 720 / 70.0)
    always = design(ControlSpec(remote="none"))
    assert always.remote is None
    assert always.standby_a == pytest.approx(40.25e-3)
    assert always.parked_share > 0.10


def test_parts_are_billed_once_and_within_their_ratings() -> None:
    parts = design().parts
    assert len({p.role for p in parts}) == len(parts)
    assert all(r.margin >= 0 for p in parts for r in p.ratings)
    assert len(design(ControlSpec(remote="none")).parts) < len(parts)


def test_refusals() -> None:
    with pytest.raises(RangeError) as caught:
        design(ControlSpec(unmute_s=3.0, speaker_s=2.0))
    assert caught.value.quantity == "control.speaker"
    low = replace(DATA, corners={**DATA.corners, Corner.MAX: 1.0, Corner.NOMINAL: 0.9, Corner.LOW: 0.8})
    with pytest.raises((RangeError, NoSolutionError)):
        design(data=low)
    with pytest.raises(RangeError):
        design(ControlSpec(remote_on_v=11.0))
    with pytest.raises(NoSolutionError) as refused:
        design(data=replace(DATA, control_a=20.0))
    assert "drawer" in refused.value.remedy
