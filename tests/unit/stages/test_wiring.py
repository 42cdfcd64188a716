"""The wiring stage: links, tracks, speaker cable and refusals."""

from __future__ import annotations

import numpy as np
import pytest

from subwright.base.errors import NoSolutionError, RangeError
from subwright.base.standards import METRIC_WIRE
from subwright.physics.board import track_current_a
from subwright.physics.surfaces import wire_rise_k
from subwright.stages.wiring import (
    ConductorNeed,
    WiringDemand,
    WiringSpec,
    choose_speaker_cable,
    design_wiring,
)


def need(name: str, rms: float, **changed: float) -> ConductorNeed:
    values: dict[str, float] = {"rms_a": rms, "peak_a": 2 * rms, "programme_rms_a": 0.4 * rms}
    return ConductorNeed(name=name, **(values | changed))


def demand(*conductors: ConductorNeed, ambient: float = 55.0) -> WiringDemand:
    return WiringDemand(
        conductors=conductors,
        speaker_rms_a=5.0,
        speaker_peak_a=7.1,
        speaker_programme_rms_a=2.5,
        load_ohm=4.0,
        ambient_c=ambient,
        fuse_a=40.0,
        fuse_distance_m=0.178,
        fuse_distance_sheathed_m=1.83,
    )


@pytest.mark.parametrize("rms", [0.8, 4.0, 12.0, 22.0, 45.0, 140.0])
def test_link_is_the_thinnest_that_stays_cool(rms: float) -> None:
    spec = WiringSpec()
    link = design_wiring(spec, demand(need("link", rms))).conductors[0]
    assert link.rise_k <= spec.link_rise_k * (1 + 1e-4)
    assert link.carries_a >= rms
    sizes = sorted(w.conductor_m for w in METRIC_WIRE.values() if w.series == "R20")
    assert link.diameter_m in sizes
    thinner = [d for d in sizes if 0.5e-3 <= d < link.diameter_m]
    if thinner and link.parallel == 1:
        wire = METRIC_WIRE[thinner[-1]]
        ohm_per_m = 1.7241379e-8 / wire.area_m2
        rise = wire_rise_k(np.array([rms]), np.array([ohm_per_m]), np.array([wire.grade2_m]), 55.0)
        assert rise[0] > spec.link_rise_k


def test_twelve_volt_links_come_out_where_builders_put_them() -> None:
    # Common practice, no source: at least 1.5 mm at 150 to 200 W from 12 V, about 16 to 22 A.
    for rms in (16.0, 22.0):
        link = design_wiring(WiringSpec(), demand(need("battery input", rms))).conductors[0]
        assert 1.3e-3 <= link.diameter_m <= 2.0e-3
        assert link.link_advised


def test_track_width_carries_the_current_at_the_allowed_rise() -> None:
    spec = WiringSpec()
    rail = design_wiring(spec, demand(need("rail", 4.0))).conductors[0]
    assert rail.track_width_m is not None
    assert track_current_a(rail.track_width_m, spec.track_rise_k) == pytest.approx(4.0, rel=1e-9)
    assert not rail.link_advised
    assert rail.track_loss_w is not None
    assert rail.track_loss_w > rail.loss_w


def test_a_track_past_the_limit_becomes_a_link() -> None:
    wide = design_wiring(WiringSpec(), demand(need("rail", 12.0))).conductors[0]
    assert wide.track_width_m is not None
    assert wide.link_advised
    assert wide.track_width_m > wide.track_limit_m
    off_chart = design_wiring(WiringSpec(), demand(need("battery", 60.0))).conductors[0]
    assert off_chart.track_width_m is None
    assert off_chart.link_advised


def test_thicker_copper_narrows_the_track() -> None:
    thin, thick = (
        design_wiring(WiringSpec(copper_thickness_m=t), demand(need("rail", 4.0))).conductors[0].track_width_m
        for t in (35e-6, 70e-6)
    )
    assert thin is not None
    assert thick is not None
    assert thick == pytest.approx(0.5 * thin, rel=1e-9)


def test_links_are_bought_only_where_they_are_advised() -> None:
    result = design_wiring(WiringSpec(), demand(need("battery", 22.0, count=2), need("rail", 3.0)))
    roles = {part.role: part for part in result.parts}
    assert "link, battery" in roles
    assert "link, rail" not in roles
    assert roles["link, battery"].quantity == pytest.approx(2 * 0.08, rel=1e-12)
    assert roles["speaker cable"].quantity == pytest.approx(1.0, rel=1e-12)


def test_loss_is_current_squared_times_the_warm_wire() -> None:
    result = design_wiring(WiringSpec(), demand(need("battery", 22.0, count=2)))
    link, loss = result.conductors[0], result.losses[0]
    ohm = 1.7241379e-8 * (1 + 0.00393 * (55.0 + link.rise_k - 20.0)) * link.length_m / link.section_m2
    assert link.loss_w == pytest.approx(22.0**2 * ohm, rel=1e-6)
    assert link.drop_v == pytest.approx(44.0 * ohm, rel=1e-6)  # at the peak current
    assert loss.full_w == pytest.approx(2 * link.loss_w, rel=1e-12)
    assert loss.programme_w == pytest.approx(0.16 * loss.full_w, rel=1e-12)


@pytest.mark.parametrize(("length", "load"), [(0.5, 4.0), (3.0, 4.0), (6.0, 2.0), (10.0, 8.0)])
def test_speaker_cable_is_the_thinnest_that_holds(length: float, load: float) -> None:
    spec = WiringSpec(speaker_length_m=length)
    chosen = choose_speaker_cable(spec, load, 5.0)
    assert chosen.loss_ratio <= spec.speaker_loss
    assert chosen.current_limit_a >= 5.0
    assert chosen.resistance_ohm == pytest.approx(chosen.loss_ratio * load, rel=1e-12)


def test_a_short_cable_still_carries_its_current() -> None:
    # Half a metre holds 2 % with the thinnest wire; 20 A don't go through it.
    assert (
        choose_speaker_cable(WiringSpec(speaker_length_m=0.3), 4.0, 20.0).section_m2
        > choose_speaker_cable(WiringSpec(speaker_length_m=0.3), 4.0, 2.0).section_m2
    )


def test_a_stated_cable_is_kept() -> None:
    spec = WiringSpec(speaker_section_m2=0.75e-6, speaker_length_m=8.0)
    chosen = choose_speaker_cable(spec, 4.0, 5.0)
    assert chosen.section_m2 == pytest.approx(0.75e-6, rel=1e-9)
    assert chosen.loss_ratio > chosen.loss_limit_ratio


def test_fuse_position_is_said() -> None:
    result = design_wiring(WiringSpec(), demand(need("battery", 22.0)))
    assert "178 mm" in result.fuse_position
    assert "40 A" in result.fuse_position


def test_no_speaker_cable_for_a_long_thin_wish() -> None:
    with pytest.raises(NoSolutionError, match="thick enough"):
        choose_speaker_cable(WiringSpec(speaker_length_m=20.0, speaker_loss=0.001), 2.0)


def test_no_bundle_for_a_thousand_amperes() -> None:
    with pytest.raises(NoSolutionError, match="No bundle"):
        design_wiring(WiringSpec(), demand(need("starter", 1000.0)))


@pytest.mark.parametrize("rms", [0.0, -2.0, float("nan")])
def test_impossible_current_is_refused(rms: float) -> None:
    with pytest.raises(RangeError, match="current of rail"):
        design_wiring(WiringSpec(), demand(need("rail", rms, peak_a=1.0)))


def test_air_too_hot_is_refused() -> None:
    with pytest.raises(RangeError, match="air temperature"):
        design_wiring(WiringSpec(), demand(need("rail", 2.0), ambient=140.0))
