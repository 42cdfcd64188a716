"""The converter's sheet tells clamp, drive, choke, small rails, ripple, life, and which output fits."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest

from subwright import service
from subwright.base.units import show
from subwright.build.bringup import bring_up
from subwright.build.result import Design
from subwright.build.solver import solve_build
from subwright.build.spec import BuildSpec
from subwright.outputs.sheets_power import converter_sheet, transformer_sheet
from subwright.outputs.views import Grid
from subwright.parts.library import load_library
from subwright.stages.common import Corner, Level

EXAMPLES = Path(__file__).parents[3] / "examples"


@cache
def van() -> Design:
    return service.solve(EXAMPLES / "storyteller-van.build.toml").design


@cache
def barge() -> Design:
    """A full bridge with a held rail and a winding for the small rails."""
    spec = BuildSpec.model_validate(
        {
            "format_version": 1,
            "name": "barge",
            "supply": {"battery": "lead-acid", "system": 24, "capacity": "100 Ah", "cable_length": "3 m"},
            "driver": {"part": "Drover 12 D2"},
            "enclosure": {"kind": "sealed"},
            "amplifier": {"kind": "class_d_half_bridge"},
            "goal": {"power": "200 W"},
            "converter": {"topology": "full-bridge", "output": "regulated", "auxiliary_feed": "winding"},
        }
    )
    return solve_build(spec, load_library())


def grid(design: Design, title: str) -> Grid:
    sheet = converter_sheet(design)
    assert sheet is not None
    return next(g for g in sheet.grids if g.title.startswith(title))


def row(design: Design, title: str, start: str) -> tuple[str, ...]:
    return next(r for r in grid(design, title).rows if r[0].startswith(start))


def test_the_clamp_is_told_with_ratings() -> None:
    result = van().converter
    assert result is not None
    clamp = result.clamp
    assert clamp is not None
    diode = row(van(), "Switches", "clamp diodes")
    assert clamp.diode.id in diode[1]
    assert diode[1].startswith(str(clamp.diode_packages))
    assert show(clamp.diode_peak_limit_a, "current") in diode[2]
    resistor = row(van(), "Switches", "clamp resistor")
    assert show(clamp.resistor_ohm, "resistance") == resistor[1]
    assert show(clamp.rating_w, "power") in resistor[2]
    assert "mJ" in row(van(), "Switches", "one avalanche")[2]
    titles = [r[0] for r in grid(barge(), "Switches").rows]
    assert "clamp diodes" not in titles  # a bridge has none
    assert "avalanche" in titles


def test_the_drive_is_told_with_what_feeds_it() -> None:
    result = barge().converter
    assert result is not None
    supply, gate = result.gate_supply, result.gate_transformer
    assert supply is not None
    assert gate is not None
    feed = row(barge(), "Drive", "controller and gates")
    assert supply.zener.id in feed[1]
    assert supply.transistor.id in feed[1]
    assert gate.core.id in row(barge(), "Drive", "gate transformer")[1]
    assert f"2 × {result.auxiliary.turns} turns" in row(barge(), "Drive", "small rails")[1]
    assert row(van(), "Drive", "controller and gates")[1] == "on the battery"


def test_rails_tell_choke_ripple_pumping_and_life() -> None:
    result = barge().converter
    assert result is not None
    assert result.choke is not None
    assert result.choke.choke.core.id in row(barge(), "Rails", "output choke")[1]
    assert show(result.choke.holds_from_v, "voltage") in row(barge(), "Rails", "rail held")[2]
    bass = van().converter
    assert bass is not None
    assert row(van(), "Rails", "ripple at twice")[1] == show(bass.bass_ripple_v, "voltage")
    assert row(van(), "Rails", "pumping")[1] == show(van().amplifier.pumping_v or 0.0, "voltage")
    for life in (r for r in grid(van(), "Rails").rows if r[0].startswith("life")):
        assert life[1].endswith("years")
        assert life[2].endswith("years")


def test_both_outputs_are_set_side_by_side() -> None:
    for design in (van(), barge()):
        result = design.converter
        assert result is not None
        peak, held = result.outputs
        assert (peak.output, held.output) == ("peak-charged", "regulated")
        assert peak.chosen == (result.choke is None)
        assert held.chosen == (result.choke is not None)
        # line: a peak-charged rail goes with the battery, a held one doesn't
        corners = design.supply.corners
        swing = (corners[Corner.MAX] - corners[Corner.LOW]) / corners[Corner.NOMINAL]
        assert peak.line == pytest.approx(swing, rel=0.06)
        assert held.line == pytest.approx(0.0, abs=1e-9)
        assert held.load < peak.load
        assert held.low_power > peak.low_power
        assert all(full <= idle for idle, full in zip(peak.idle_v, peak.full_v, strict=True))
        whys = [r[-1] for r in grid(design, "Which output").rows]
        assert show(peak.open_limit_v, "voltage") in whys[0]
        sheet = converter_sheet(design)
        assert sheet is not None
        assert any(figure.key == "output-compared" for figure in sheet.figures)


def test_the_closed_form_follows_the_solved_rails() -> None:
    """Without leakage it lies above the solved rail at the crest, and meets it unloaded."""
    design = van()
    assert design.converter is not None
    peak = design.converter.outputs[0]
    assert peak.open_v == pytest.approx(design.converter.rail_unloaded_v, rel=1e-9)
    solved = design.point(Corner.NOMINAL, Level.FULL).rail_crest_v
    battery = design.supply.corners[Corner.NOMINAL]
    below = max(i for i, v in enumerate(peak.battery_v) if v <= battery)
    assert solved < peak.full_v[below + 1] < 1.25 * solved


def test_the_transformers_sheet_tells_capacitance_and_every_winding() -> None:
    sheet = transformer_sheet(barge())
    assert sheet is not None
    told = dict(sheet.values)
    assert "order of magnitude" in told["winding capacitance"]
    assert "auxiliary, turns" in told
    assert "leakage, primary to auxiliary" in told
    assert told["primary, turns"].isdigit()  # one winding, no halves
    assert "×" in told["secondary, turns"]


def test_a_bridges_bring_up_speaks_of_no_half_primary() -> None:
    procedure = bring_up(barge(), load_library())
    causes = [cause for step in procedure.steps for cause in step.causes]
    assert causes
    assert not any(cause.fault.startswith("half-primary") for cause in causes)
    keys = {reading.key for step in procedure.steps for reading in step.readings}
    assert {
        "turns-ratio",
        "turns-ratio-second",
        "winding-sense",
        "secondary-phase",
        "auxiliary-ratio",
        "auxiliary-phase",
    } <= keys
    assert not {"primary-halves", "primary-phase"} & keys
    assert not any(key.startswith("winding-") and key != "winding-sense" for key in keys)  # each has its name
    assert not any("half-primary" in r.name for step in procedure.steps for r in step.readings)
    van_causes = [cause for step in bring_up(van(), load_library()).steps for cause in step.causes]
    assert any(cause.fault == "half-primary-reversed" for cause in van_causes)
