"""Whatever the driver and the box: energy is kept, limits hold, a measured driver comes back."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from subwright.base.errors import SubwrightError
from subwright.parts.library import load_library
from subwright.physics.acoustics.boxes import BoxModel, OpenAir, SealedBox, VentedBox
from subwright.physics.acoustics.circuit import solve
from subwright.physics.acoustics.parameters import DriverModel, compound_pair, rewired
from subwright.physics.acoustics.resonant_boxes import BandPassBox, PassiveRadiator, PassiveRadiatorBox
from subwright.physics.acoustics.sweep import ImpedanceSweep
from subwright.physics.acoustics.sweep_fit import KnownLoad, fit_sweeps
from subwright.stages.cabin import CabinSpec, design_cabin
from subwright.stages.driver import DriverSpec, design_driver
from subwright.stages.enclosure import EnclosureNeed, EnclosureSpec, design_enclosure

GRID = np.geomspace(10.0, 500.0, 60)
QUICK = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
LIBRARY = load_library()


@st.composite
def drivers(draw: st.DrawFn) -> DriverModel:
    fs, qes, qms = draw(st.floats(18, 60)), draw(st.floats(0.25, 0.9)), draw(st.floats(2, 10))
    mms, re, sd = draw(st.floats(0.02, 0.3)), draw(st.floats(1.5, 7)), draw(st.floats(0.02, 0.1))
    omega = 2.0 * math.pi * fs
    return DriverModel(
        re_ohm=re,
        bl_tm=math.sqrt(omega * mms * re / qes),
        mms_kg=mms,
        cms_m_per_n=1.0 / (omega**2 * mms),
        rms_kg_per_s=omega * mms / qms,
        sd_m2=sd,
        coil_factor=draw(st.floats(0.005, 0.05)),
        coil_exponent=draw(st.floats(0.5, 0.95)),
    )


@st.composite
def boxes(draw: st.DrawFn) -> BoxModel:
    volume, q = draw(st.floats(0.01, 0.2)), draw(st.floats(5, 40))
    kind = draw(st.sampled_from(["sealed", "vented", "radiator", "band-pass"]))
    if kind == "sealed":
        return SealedBox(volume_m3=volume, qa=q, ql=2.0 * q)
    if kind == "vented":
        return VentedBox(volume_m3=volume, tuning_hz=draw(st.floats(20, 60)), ql=q, qp=3.0 * q, qa=2.0 * q)
    if kind == "radiator":
        unit = PassiveRadiator(
            sd_m2=draw(st.floats(0.03, 0.15)),
            mms_kg=draw(st.floats(0.05, 0.8)),
            cms_m_per_n=draw(st.floats(1e-4, 1e-3)),
            rms_kg_per_s=draw(st.floats(0.5, 10)),
        )
        return PassiveRadiatorBox(volume_m3=volume, radiator=unit, ql=q)
    return BandPassBox(
        rear_m3=volume, front_m3=draw(st.floats(0.01, 0.1)), tuning_hz=draw(st.floats(30, 80)), ql=q, qp=40.0
    )


@QUICK
@given(driver=drivers(), box=boxes(), source_ohm=st.floats(0.0, 1.0))
def test_every_watt_goes_somewhere(driver: DriverModel, box: BoxModel, source_ohm: float) -> None:
    shares = solve(driver, box, GRID, source_ohm=source_ohm).power_shares(10.0)
    np.testing.assert_allclose(shares.sum_w, shares.input_w, rtol=1e-9)
    for part in (shares.coil_w, shares.eddy_w, shares.suspension_w, shares.leakage_w, shares.radiated_w):
        assert np.all(part >= 0.0)


@QUICK
@given(driver=drivers(), box=boxes())
def test_a_column_of_boxes_is_solved_like_each_alone(driver: DriverModel, box: BoxModel) -> None:
    assume(isinstance(box, (SealedBox, VentedBox)))
    assert isinstance(box, (SealedBox, VentedBox))
    volumes = np.array([0.5, 1.0, 2.0]) * float(box.volume_m3)
    together = solve(driver, replace(box, volume_m3=volumes[:, None]), GRID)
    for row, volume in enumerate(volumes.tolist()):
        alone = solve(driver, replace(box, volume_m3=volume), GRID)
        np.testing.assert_allclose(together.pressure_pa_per_v[row], alone.pressure_pa_per_v, rtol=1e-12)


@settings(max_examples=25, deadline=None)
@given(driver=drivers(), share=st.floats(0.4, 1.5), phase=st.booleans())
def test_a_measured_driver_comes_back(driver: DriverModel, share: float, phase: bool) -> None:
    grid = np.geomspace(driver.fs_hz / 4.0, 20.0 * driver.fs_hz, 160)

    def sweep(model: DriverModel) -> ImpedanceSweep:
        z = solve(model, OpenAir(radiates=False), grid).impedance_ohm
        turn = np.asarray(np.angle(z)) if phase else None
        return ImpedanceSweep(frequency_hz=grid, magnitude_ohm=np.abs(z), phase_rad=turn)

    added = share * driver.mms_kg
    load = KnownLoad(kind="added mass", amount=added, tolerance=0.0)
    fit = fit_sweeps(
        sweep(driver),
        loaded=sweep(replace(driver, mms_kg=driver.mms_kg + added)),
        load=load,
        sd_m2=driver.sd_m2,
    )
    for name, true in (("fs_hz", driver.fs_hz), ("qts", driver.qts), ("bl_tm", driver.bl_tm)):
        assert fit.values[name].value == pytest.approx(true, rel=1e-3)


@QUICK
@given(driver=drivers())
def test_wiring_there_and_back_changes_nothing(driver: DriverModel) -> None:
    for other in ("one", "series", "parallel"):
        back = rewired(rewired(driver, "parallel", other), other, "parallel")
        assert back.re_ohm == pytest.approx(driver.re_ohm)
        assert back.bl_tm == pytest.approx(driver.bl_tm)
        assert back.coil_factor == pytest.approx(driver.coil_factor)
    for how in ("series", "parallel"):
        pair = compound_pair(driver, how)
        assert pair.fs_hz == pytest.approx(driver.fs_hz)
        assert pair.qts == pytest.approx(driver.qts)


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    part=st.sampled_from(sorted(LIBRARY.drivers)),
    kind=st.sampled_from(["sealed", "vented", "band-pass"]),
    outline=st.sampled_from(["rectangular", "wedge", "trapezoid"]),
    width=st.integers(350, 1000),
    height=st.integers(250, 600),
    depth=st.integers(250, 600),
    lean=st.floats(0.5, 0.95),
    inside=st.booleans(),
)
def test_any_room_gives_a_box_that_fits_or_one_clear_refusal(
    part: str, kind: str, outline: str, width: int, height: int, depth: int, lean: float, inside: bool
) -> None:
    keys = {"kind": kind, "outline": outline, "electronics_inside": inside}
    keys |= {"room_width": f"{width} mm", "room_height": f"{height} mm", "room_depth": f"{depth} mm"}
    if outline != "rectangular":
        keys["room_depth_top"] = f"{round(lean * depth)} mm"
    driver = design_driver(DriverSpec(part=part), LIBRARY)
    need = EnclosureNeed(drive_v=driver.rated_v, source_ohm=0.1)
    refused: SubwrightError | None = None
    try:
        made = design_enclosure(EnclosureSpec.model_validate(keys), driver, design_cabin(CabinSpec()), need)
    except SubwrightError as error:
        refused = error
    if refused is not None:
        assert refused.message
        assert refused.remedy
        return
    assert made.outer_width_m <= 1e-3 * width + 1e-9
    assert made.outer_height_m <= 1e-3 * height + 1e-9
    assert made.outer_depth_m <= 1e-3 * depth + 1e-9
    taken = sum(made.displaced_m3.values())
    assert made.gross_volume_m3 - taken == pytest.approx(made.net_volume_m3, rel=1e-6)
    assert made.net_volume_m3 > 0.0
    section = 0.5 * (made.outer_depth_m + made.outer_depth_top_m) * made.outer_height_m
    walls = sum(board.volume_m3 for board in made.boards[:6])
    assert walls + made.gross_volume_m3 == pytest.approx(made.outer_width_m * section, rel=1e-9)
    for panel in made.panels:
        for hole in panel.holes:
            assert hole.x_m - 0.5 * hole.width_m > -1e-9
            assert hole.x_m + 0.5 * hole.width_m < panel.length_m + 1e-9
            assert hole.y_m - 0.5 * hole.height_m > -1e-9
            assert hole.y_m + 0.5 * hole.height_m < panel.width_m + 1e-9
    limits = made.limits
    response = made.system.solve(limits.frequency_hz)
    excursion = math.sqrt(2.0) * response.excursion_m_per_v * limits.drive_v
    assert np.all(excursion <= driver.xmax_m * (1.0 + 1e-9))
    for values in (made.spl_db, made.full_spl_db, made.group_delay_s, limits.level_db):
        assert np.all(np.isfinite(values))
