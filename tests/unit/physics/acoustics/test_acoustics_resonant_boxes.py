"""Passive radiators and band-pass boxes: the circuit against the closed forms, and where the power goes."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from subwright.base.errors import RangeError
from subwright.physics.acoustics.air import AIR_20C
from subwright.physics.acoustics.boxes import SealedBox, VentedBox
from subwright.physics.acoustics.circuit import passband_pressure_pa_per_v, solve
from subwright.physics.acoustics.parameters import DriverModel
from subwright.physics.acoustics.resonant_boxes import (
    BandPassBox,
    PassiveRadiator,
    PassiveRadiatorBox,
    band_pass_edges,
    band_pass_response,
    band_pass_shape,
    passive_radiator_response,
    radiator_mass_for_kg,
    radiator_tuning_hz,
)

DRIVER = DriverModel(re_ohm=3.4, bl_tm=14.5, mms_kg=0.14, cms_m_per_n=2.308e-4, rms_kg_per_s=6.2, sd_m2=0.05)
GRID = np.geomspace(10.0, 500.0, 150)
UNIT = PassiveRadiator(sd_m2=0.06, mms_kg=0.25, cms_m_per_n=4e-4, rms_kg_per_s=1e-12)
VOLUME = 0.05


@pytest.mark.parametrize(("qtc", "damping"), [(0.6, 0.7), (0.8, 0.6), (1.0, 0.5), (0.7, 0.9)])
def test_a_lossless_band_pass_is_the_closed_form(qtc: float, damping: float) -> None:
    shape = band_pass_shape(DRIVER.fs_hz, DRIVER.qts, DRIVER.vas_m3(), qtc, damping)
    box = BandPassBox(
        rear_m3=shape.rear_m3,
        front_m3=shape.front_m3,
        tuning_hz=shape.tuning_hz,
        ql=math.inf,
        radiates=False,
    )
    gain = solve(DRIVER, box, GRID).pressure_pa_per_v / passband_pressure_pa_per_v(DRIVER)
    closed = band_pass_response(GRID / shape.tuning_hz, qtc, damping)
    np.testing.assert_allclose(np.abs(gain), np.abs(closed), rtol=1e-9)
    edges = band_pass_response(
        np.array([shape.low_hz, shape.tuning_hz, shape.high_hz]) / shape.tuning_hz, qtc, damping
    )
    level = 20.0 * np.log10(np.abs(edges))
    assert level[1] == pytest.approx(shape.gain_db, abs=1e-9)
    assert level[0] - level[1] == pytest.approx(-3.0103, abs=1e-4)
    assert level[2] - level[1] == pytest.approx(-3.0103, abs=1e-4)
    fine = 20.0 * np.log10(np.abs(band_pass_response(np.geomspace(0.3, 3.0, 20001), qtc, damping)))
    assert fine.max() - level[1] == pytest.approx(shape.ripple_db, abs=1e-4)


def test_the_edges_of_a_band_pass_mirror_each_other() -> None:
    low, high = band_pass_edges(0.7, 0.6)
    assert low * high == pytest.approx(1.0)


def test_a_lossless_passive_radiator_is_the_closed_form() -> None:
    box = PassiveRadiatorBox(volume_m3=VOLUME, radiator=UNIT, ql=math.inf, radiates=False)
    gain = solve(DRIVER, box, GRID).pressure_pa_per_v / passband_pressure_pa_per_v(DRIVER)
    delta = UNIT.compliance_m3_per_pa * AIR_20C.stiffness_pa / VOLUME
    closed = passive_radiator_response(
        GRID / DRIVER.fs_hz, DRIVER.qts, DRIVER.vas_m3() / VOLUME, delta, UNIT.fs_hz / DRIVER.fs_hz
    )
    np.testing.assert_allclose(np.abs(gain), np.abs(closed), rtol=1e-6)


def test_a_radiator_without_suspension_is_a_port() -> None:
    loose = replace(UNIT, cms_m_per_n=1e3)
    tuned = radiator_tuning_hz(loose, VOLUME)
    radiator = solve(DRIVER, PassiveRadiatorBox(volume_m3=VOLUME, radiator=loose, q_frequency_hz=tuned), GRID)
    port = solve(DRIVER, VentedBox(volume_m3=VOLUME, tuning_hz=tuned), GRID)
    np.testing.assert_allclose(np.abs(radiator.pressure_pa_per_v), np.abs(port.pressure_pa_per_v), rtol=1e-3)


def test_a_radiator_sounds_a_notch_at_its_own_resonance_and_holds_the_cone_at_the_tuning() -> None:
    box = PassiveRadiatorBox(volume_m3=VOLUME, radiator=UNIT, ql=math.inf)
    tuned = radiator_tuning_hz(UNIT, VOLUME)
    at = solve(DRIVER, box, np.array([UNIT.fs_hz, 1.3 * UNIT.fs_hz, tuned, 1.3 * tuned]))
    pressure, excursion = np.abs(at.pressure_pa_per_v), at.excursion_m_per_v
    assert pressure[0] < 1e-6 * pressure[1]
    assert excursion[2] < 0.01 * excursion[3]


def test_the_mass_for_a_tuning_gives_the_tuning() -> None:
    mass = radiator_mass_for_kg(27.0, UNIT, VOLUME)
    assert radiator_tuning_hz(replace(UNIT, mms_kg=mass), VOLUME) == pytest.approx(27.0)


@pytest.mark.parametrize(
    "box",
    [
        PassiveRadiatorBox(volume_m3=VOLUME, radiator=replace(UNIT, rms_kg_per_s=3.0), ql=7.0, qa=30.0),
        BandPassBox(rear_m3=0.03, front_m3=0.02, tuning_hz=55.0, ql=7.0, qp=30.0, rear_qa=15.0),
        BandPassBox(rear_m3=0.03, front_m3=0.02, tuning_hz=55.0, ql=math.inf),
    ],
    ids=["passive radiator", "band-pass", "band-pass, tight"],
)
def test_every_watt_is_found_again(box: PassiveRadiatorBox | BandPassBox) -> None:
    driver = replace(DRIVER, coil_factor=0.02, coil_exponent=0.7)
    shares = solve(driver, box, GRID, source_ohm=0.2).power_shares(20.0)
    np.testing.assert_allclose(shares.sum_w, shares.input_w, rtol=1e-12)
    assert np.all(shares.radiated_w > 0.0)


def test_a_band_pass_with_a_huge_front_is_a_closed_box_seen_from_the_coil() -> None:
    wide = BandPassBox(rear_m3=0.04, front_m3=1e4, tuning_hz=1.0, ql=math.inf, radiates=False)
    closed = SealedBox(volume_m3=0.04, radiates=False)
    np.testing.assert_allclose(
        solve(DRIVER, wide, GRID).impedance_ohm, solve(DRIVER, closed, GRID).impedance_ohm, rtol=1e-4
    )


@pytest.mark.parametrize(("qtc", "damping"), [(0.3, 0.7), (0.7, 0.2), (0.7, 1.5)])
def test_impossible_shapes_are_refused(qtc: float, damping: float) -> None:
    with pytest.raises(RangeError):
        band_pass_shape(30.0, 0.36, 0.08, qtc, damping)
