"""Driver and box as an electrical analogue against the equivalent circuit's closed form."""

from __future__ import annotations

import math

import numpy as np
import pytest

from subwright.circuits.analysis import AcSweep
from subwright.circuits.enclosure_circuit import (
    FLOW_PROBE,
    PRESSURE_PROBE,
    SOURCE_PROBE,
    TERMINAL_PROBE,
    enclosure_circuit,
)
from subwright.circuits.simulate import Engine, Traces, simulate
from subwright.physics.acoustics.boxes import BoxModel, SealedBox, VentedBox
from subwright.physics.acoustics.circuit import solve
from subwright.physics.acoustics.impedance import lossy_inductance_ohm
from subwright.physics.acoustics.parameters import DriverModel
from subwright.physics.acoustics.resonant_boxes import BandPassBox, PassiveRadiator, PassiveRadiatorBox

pytestmark = pytest.mark.spice

SWEEP = AcSweep(low_hz=10.0, high_hz=500.0, per_decade=40)
IMPEDANCE, RESPONSE_DB, PHASE_DEG = 0.005, 0.05, 0.5
EXACT = 1e-8  # where the analogue holds no approximation: the simulator's own digits
COILS = {
    "no inductance": (0.0, 1.0),
    "lossless inductance": (1.8e-3, 1.0),
    "lossy inductance, ladder": (0.0235, 0.688),
    "semi-inductance, ladder": (0.06, 0.5),
}
BOXES: dict[str, BoxModel] = {
    "sealed": SealedBox(volume_m3=0.03),
    "sealed, filled and leaking": SealedBox(volume_m3=0.04, gain=1.2, qa=20.0, ql=15.0, q_frequency_hz=50.0),
    "vented": VentedBox(volume_m3=0.07, tuning_hz=30.0),
    "vented, every loss": VentedBox(volume_m3=0.07, tuning_hz=30.0, ql=7.0, qa=50.0, qp=60.0),
    "vented, tight": VentedBox(volume_m3=0.07, tuning_hz=25.0, ql=math.inf),
    "vented, silent": VentedBox(volume_m3=0.07, tuning_hz=25.0, radiates=False),
    "passive radiator": PassiveRadiatorBox(
        volume_m3=0.06,
        radiator=PassiveRadiator(sd_m2=0.08, mms_kg=0.35, cms_m_per_n=0.4e-3, rms_kg_per_s=3.0),
        gain=1.1,
        qa=60.0,
        q_frequency_hz=28.0,
    ),
    "passive radiator, tight": PassiveRadiatorBox(
        volume_m3=0.06,
        radiator=PassiveRadiator(sd_m2=0.08, mms_kg=0.35, cms_m_per_n=0.4e-3, rms_kg_per_s=3.0),
        ql=math.inf,
    ),
    "band-pass": BandPassBox(rear_m3=0.04, front_m3=0.03, tuning_hz=55.0, ql=math.inf),
    "band-pass, every loss": BandPassBox(
        rear_m3=0.04,
        front_m3=0.03,
        tuning_hz=55.0,
        rear_gain=1.15,
        rear_qa=25.0,
        rear_hz=52.0,
        ql=9.0,
        qp=40.0,
    ),
}


def driver(coil: str) -> DriverModel:
    factor, exponent = COILS[coil]
    return DriverModel(
        re_ohm=3.4,
        bl_tm=14.5,
        mms_kg=0.14,
        cms_m_per_n=0.2e-3,
        rms_kg_per_s=5.0,
        sd_m2=0.05,
        coil_factor=factor,
        coil_exponent=exponent,
    )


def swept(model: DriverModel, box: BoxModel, source_ohm: float, engine: Engine) -> Traces:
    probes = (SOURCE_PROBE, TERMINAL_PROBE, PRESSURE_PROBE, FLOW_PROBE)
    return simulate(enclosure_circuit(model, box, source_ohm=source_ohm), SWEEP, probes, engine)


@pytest.mark.parametrize("source_ohm", [0.0, 0.2])
@pytest.mark.parametrize("box", BOXES.values(), ids=BOXES)
@pytest.mark.parametrize("coil", COILS)
def test_impedance_flow_and_pressure(
    coil: str, box: BoxModel, source_ohm: float, reference_engine: Engine
) -> None:
    model = driver(coil)
    traces = swept(model, box, source_ohm, reference_engine)
    expected = solve(model, box, traces.axis, source_ohm=source_ohm)
    impedance = -traces.phasor(TERMINAL_PROBE) / traces.phasor(SOURCE_PROBE)
    pressure = traces.phasor(PRESSURE_PROBE) / expected.pressure_pa_per_v
    flow = traces.phasor(FLOW_PROBE) / (model.sd_m2 * expected.velocity_m_per_s_per_v)
    if "ladder" in coil:
        np.testing.assert_allclose(impedance, expected.impedance_ohm, rtol=IMPEDANCE)
        assert np.max(np.abs(20 * np.log10(np.abs(pressure)))) < RESPONSE_DB
        assert np.max(np.abs(np.degrees(np.angle(pressure)))) < PHASE_DEG
        np.testing.assert_allclose(flow, 1.0, rtol=IMPEDANCE)
    else:
        np.testing.assert_allclose(impedance, expected.impedance_ohm, rtol=EXACT)
        np.testing.assert_allclose(pressure, 1.0, rtol=EXACT)
        np.testing.assert_allclose(flow, 1.0, rtol=EXACT)


@pytest.mark.parametrize("coil", ["lossless inductance", "lossy inductance, ladder"])
def test_every_engine_gives_the_same_impedance(coil: str, engine: Engine) -> None:
    model, box = driver(coil), BOXES["vented, every loss"]
    traces = swept(model, box, 0.2, engine)
    impedance = -traces.phasor(TERMINAL_PROBE) / traces.phasor(SOURCE_PROBE)
    expected = solve(model, box, traces.axis, source_ohm=0.2).impedance_ohm
    np.testing.assert_allclose(impedance, expected, rtol=IMPEDANCE)


@pytest.mark.parametrize(("factor", "exponent"), [(0.0235, 0.688), (0.06, 0.5), (0.01, 0.9), (0.3, 0.3)])
def test_the_ladder_is_a_power_of_frequency(factor: float, exponent: float, reference_engine: Engine) -> None:
    """The coil alone, cone held by a mass of a tonne: from 1 Hz to 10 kHz within 0.1 % of K·(jω)ⁿ."""
    model = DriverModel(
        re_ohm=3.4, bl_tm=1e-3, mms_kg=1e3, cms_m_per_n=1e-3, rms_kg_per_s=1.0, sd_m2=0.05,
        coil_factor=factor, coil_exponent=exponent,
    )  # fmt: skip
    probes = (SOURCE_PROBE, TERMINAL_PROBE)
    sweep = AcSweep(low_hz=1.0, high_hz=1e4, per_decade=10)
    traces = simulate(enclosure_circuit(model, BOXES["sealed"]), sweep, probes, reference_engine)
    coil = -traces.phasor(TERMINAL_PROBE) / traces.phasor(SOURCE_PROBE) - model.re_ohm
    np.testing.assert_allclose(coil, lossy_inductance_ohm(traces.axis, factor, exponent), rtol=1e-3)
