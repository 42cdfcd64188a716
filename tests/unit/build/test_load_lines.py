"""Load line of the driver's own impedance: by brute force over frequency, drive and angle."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from findings_support import lifted, two_pairs, van

from subwright.build.load_lines import driver_load_line
from subwright.outputs.sheets_amplifier import amplifier_figures, amplifier_grids
from subwright.physics.amplifier_models import ClassABModel
from subwright.stages.common import Corner, Level


def test_class_d_has_none() -> None:
    assert driver_load_line(van()) is None
    assert list(amplifier_figures(van())) == []


def test_the_hardest_point_by_brute_force() -> None:
    design = two_pairs()
    found = driver_load_line(design)
    assert found is not None
    model, stage = design.amplifier.model, found.area
    assert isinstance(model, ClassABModel)
    rail = design.point(Corner.CHARGING, Level.PROGRAMME).rail_mean_v
    reach = float(model.clip_peak_v(rail, design.amplifier.load_ohm))
    box, worst = design.enclosure, 0.0
    drive = np.minimum(np.abs(design.filter.transfer(box.frequency_hz)) / design.filter.levels.gain, 1.0)
    x = np.radians(np.arange(1.0, 180.0))
    for k in range(box.frequency_hz.size):
        z = box.impedance_ohm[k] + model.series_ohm()
        for share in np.linspace(0.3, 1.0, 15):
            peak = share * drive[k] * reach
            across = rail - peak * np.sin(x + abs(np.angle(z)))
            amps = peak / abs(z) * np.sin(x)
            worst = max(worst, float(np.max(amps / stage.allowed_a(np.maximum(across, 1e-3), found.case_c))))
    assert found.share * found.pairs == pytest.approx(worst, rel=0.02)
    assert found.current_a == pytest.approx(
        found.share * float(stage.allowed_a(found.voltage_v, found.case_c)), rel=1e-6
    )


def test_a_hotter_case_and_fewer_pairs_use_more_of_it() -> None:
    design = two_pairs()
    before = driver_load_line(design)
    assert before is not None
    device = design.amplifier.devices[0]
    hot = tuple(
        replace(d, junction_c={level: c + 20.0 for level, c in d.junction_c.items()})
        for d in design.heat.devices
    )
    hotter = driver_load_line(replace(design, heat=replace(design.heat, devices=hot)))
    assert hotter is not None
    assert hotter.case_c == pytest.approx(before.case_c + 20.0)
    assert hotter.share > 1.2 * before.share
    half = replace(device, count=device.count // 5 * 2)
    fewer = driver_load_line(
        replace(design, amplifier=replace(design.amplifier, devices=(half, *design.amplifier.devices[1:])))
    )
    assert fewer is not None
    assert fewer.share == pytest.approx(before.share * before.pairs / fewer.pairs, rel=1e-9)


def test_a_bridge_counts_half_the_supply_and_half_the_load() -> None:
    found = driver_load_line(lifted())
    assert found is not None
    lift = lifted().spec.amplifier.lift
    rail = lifted().point(Corner.CHARGING, Level.PROGRAMME).rail_mean_v
    assert float(found.rated.across_v.max()) <= 0.5 * rail * (1.0 + lift) * 2.0
    assert float(found.rated.across_v[0]) == pytest.approx(0.5 * rail * (1.0 + lift))


def test_the_sheet_shows_the_line_the_heat_and_the_bias() -> None:
    (figure,) = amplifier_figures(two_pairs())
    drawn = figure.drawn.render(inline=True)
    assert "limit, case" in drawn
    titles = [grid.title for grid in amplifier_grids(two_pairs())]
    assert titles == [
        "Heat of the output devices with and without changing rails",
        "Changing the rail",
        "Bias",
        "Voltage stage",
    ]
    text = str(list(amplifier_grids(two_pairs())))
    assert "tap of each half-secondary" in text
    assert "lift at the end" in str(list(amplifier_grids(lifted())))
