"""The chain as a whole: edges, headroom, filter and box together, output filter into the driver."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from subwright import service
from subwright.build.result import Design
from subwright.outputs.sheets_signal import signal_sheet
from subwright.physics.class_d import filter_response
from subwright.physics.networks.nodal import GROUND, Network
from subwright.stages.common import Corner

EXAMPLES = Path(__file__).parents[3] / "examples"


@pytest.fixture(scope="module")
def van() -> Design:
    return service.solve(EXAMPLES / "storyteller-van.build.toml").design


def test_nodes_multiply_up(van: Design) -> None:
    nodes = {n.name: n for n in van.signal.nodes}
    # The amplifier clips at more than its target: by as much every level stands above the filter's own.
    assert van.amplifier.modulator is not None
    clips_at_v = nodes["loudspeaker"].level_v / van.amplifier.modulator.gain
    assert nodes["output"].level_v == pytest.approx(clips_at_v, rel=1e-9)
    share = clips_at_v / van.filter.levels.full_output_v
    assert 1.0 < share < 1.1
    assert nodes["source"].level_v * van.input.gain == pytest.approx(share * van.filter.levels.sensitivity_v)
    assert nodes["loudspeaker"].headroom_db == pytest.approx(0.0, abs=1e-9)
    line = [n.headroom_db for n in van.signal.nodes[:-1] if n.headroom_db is not None]
    assert van.signal.headroom_db == pytest.approx(min(line))


def test_filter_and_box_add_in_decibels(van: Design) -> None:
    """At full output in the middle of the band the two curves meet; elsewhere the filter takes its share."""
    signal, box, filters = van.signal, van.enclosure, van.filter
    gain = 20 * np.log10(np.abs(filters.transfer(box.frequency_hz)) / filters.levels.gain)
    drive = 20 * np.log10(box.full_drive_v / 2.83)
    assert signal.spl_db == pytest.approx(box.spl_db + drive + gain, abs=0.05)
    assert np.all(signal.spl_low_db <= signal.spl_db + 1e-9)
    assert np.all(signal.spl_high_db >= signal.spl_db - 1e-9)


def test_edges_are_where_the_curve_crosses(van: Design) -> None:
    signal = van.signal
    for edge in (signal.f3_low_hz, signal.f3_high_hz):
        assert edge is not None
        level = np.interp(np.log(edge), np.log(signal.frequency_hz), signal.spl_db)
        assert level == pytest.approx(signal.spl_db.max() - 3.0103, abs=0.02)


def test_a_burst_gets_more_than_an_endless_sine(van: Design) -> None:
    for corner in (Corner.LOW, Corner.NOMINAL, Corner.CHARGING, Corner.MAX):
        assert van.signal.burst_w[corner] > van.signal.sine_w[corner]
    assert 0.0 < van.signal.burst_gain_db < 3.0


def test_output_filter_by_nodal_analysis() -> None:
    frequency = np.array([1e3, 20e3, 45e3])
    gain = filter_response(frequency, 22e-6, 680e-9, 5.6, 1.5e-6, 40e-3, 4.0, 1)
    net = Network().source("in").resistor("in", "a", 40e-3).inductor("a", "out", 22e-6)
    net.capacitor("out", GROUND, 680e-9).resistor("out", "b", 5.6).capacitor("b", GROUND, 1.5e-6)
    net.resistor("out", GROUND, 4.0)
    assert gain == pytest.approx(net.solve(frequency).at("out"), rel=1e-9)


def test_the_driver_damps_little_and_the_network_much(van: Design) -> None:
    peak = van.signal.peak
    assert peak is not None
    assert 1.0 < peak.peak_db < 9.0
    assert peak.undamped_db > peak.peak_db + 6.0
    assert float(np.max(peak.nominal_db)) < peak.peak_db < float(np.max(peak.open_db)) + 1.0


def test_every_knob_is_on_the_sheet(tmp_path: Path) -> None:
    text = (EXAMPLES / "storyteller-van.build.toml").read_text(encoding="utf-8")
    text = text.replace('drawer = "storyteller-van.drawer.toml"\n', "")
    keys = 'phase_control = true\nsensitivity = "0.3 V"\nsensitivity_most = "3 V"\ncapacitor_series = "E12"\n'
    keys += 'sweep_low = "45 Hz"\nsweep_high = "130 Hz"\ntransform = "30 Hz"\n'
    build = tmp_path / "knobs.build.toml"
    source = '\n[input]\nsource = "speaker"\n'
    build.write_text(text.replace("[filter]\n", "[filter]\n" + keys) + source, encoding="utf-8")
    design = service.solve(build).design
    titles = {grid.title for grid in signal_sheet(design).grids}
    assert {"Gain control", "Corner control", "Phase control"} <= titles
    assert design.input.op_amps == 2
    assert design.signal.lift_db > 3.0
    assert [n.name for n in design.signal.nodes][:2] == ["source", "receiver"]
    # the box's poles are gone from the sum: it reaches lower than the box alone does
    plain = service.solve(EXAMPLES / "storyteller-van.build.toml").design
    assert (design.signal.f3_low_hz or 0.0) < 0.9 * (plain.signal.f3_low_hz or 0.0)


# --- behind the terminals -----------------------------------------------------------------------------


def test_the_ear_hears_what_filter_and_box_say(van: Design) -> None:
    """Level by the chain's curves, which come by decibels and another way."""
    signal = van.signal
    places = {node.name: node for node in signal.air}
    at = int(np.argmin(np.abs(signal.frequency_hz - places["sound at 1 m"].at_hz)))
    assert places["sound at 1 m"].level_db == pytest.approx(float(signal.spl_db[at]), abs=0.01)
    assert places["sound at the ears"].level_db == pytest.approx(float(signal.spl_cabin_db[at]), abs=0.01)
    middle = np.sqrt(van.goal.lowest_note_hz * van.spec.filter.corner_hz)
    assert places["cone velocity"].at_hz == pytest.approx(middle, rel=0.02)


def test_the_cone_moves_as_the_box_says_less_what_the_filter_takes(van: Design) -> None:
    signal, box = van.signal, van.enclosure
    cone = signal.air[0]
    gain = np.abs(van.filter.transfer(box.frequency_hz)) / van.filter.levels.gain
    infrasonic = (
        1.0 if van.filter.infrasonic_hz is None else np.abs(van.filter.infrasonic_response(box.frequency_hz))
    )
    peaks = box.full_excursion_m / infrasonic * gain * 10.0 ** (-signal.lift_db / 20.0)
    assert cone.peak == pytest.approx(float(peaks.max()), rel=1e-3)
    assert cone.headroom_db == pytest.approx(20.0 * np.log10(box.xmax_m / cone.peak), abs=1e-6)
    # velocity is displacement times angular frequency
    assert signal.air[1].level == pytest.approx(cone.level * 2.0 * np.pi * cone.at_hz, rel=1e-9)


def test_noise_at_the_ears_by_summing_narrow_bands(van: Design) -> None:
    """Voltage noise of each hertz through the pressure that a volt makes there."""
    edges = np.arange(10.0, 500.0, 0.5)
    middle = 0.5 * (edges[1:] + edges[:-1])
    density = van.filter.output_noise_v2_per_hz(middle)
    to_source = van.enclosure.full_drive_v / van.filter.levels.full_output_v
    pressure = np.abs(van.enclosure.system.solve(middle).pressure_pa_per_v)
    total = float(np.sum(density * (to_source * pressure) ** 2) * 0.5)
    place = next(node for node in van.signal.air if node.name == "sound at 1 m")
    assert place.noise == pytest.approx(np.sqrt(total), rel=0.02)
    # the whole band to 20 kHz agrees with the filter's own figure
    wide = np.geomspace(10.0, 20e3, 400)
    assert np.sqrt(np.trapezoid(van.filter.output_noise_v2_per_hz(wide), wide)) == pytest.approx(
        van.filter.levels.noise_v, rel=0.02
    )


def test_in_the_open_the_last_place_is_a_metre_away() -> None:
    boat = service.solve(EXAMPLES / "canal-workboat.build.toml").design
    assert boat.cabin.kind == "none"
    assert boat.signal.air[-1].name == "sound at 1 m"
    drawn = next(f for f in signal_sheet(boat).figures if f.key == "air").drawn.render(inline=True)
    assert "dB SPL" in drawn
    assert drawn == next(f for f in signal_sheet(boat).figures if f.key == "air").drawn.render(inline=True)
