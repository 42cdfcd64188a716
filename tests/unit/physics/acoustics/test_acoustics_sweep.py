"""Parameters out of measured impedance: what goes into a made-up measurement must come out again."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from subwright.base.errors import RangeError
from subwright.physics.acoustics.boxes import BoxModel, OpenAir, SealedBox
from subwright.physics.acoustics.circuit import solve
from subwright.physics.acoustics.parameters import DriverModel
from subwright.physics.acoustics.recording import Recording, exponential_sweep, impedance_of_recording
from subwright.physics.acoustics.sweep import ImpedanceSweep, moving_mass_kg, three_point
from subwright.physics.acoustics.sweep_fit import KnownLoad, SweepFit, fit_sweeps

TRUE = DriverModel(
    re_ohm=3.4,
    bl_tm=14.5,
    mms_kg=0.14,
    cms_m_per_n=2.308e-4,
    rms_kg_per_s=6.2,
    sd_m2=0.05,
    coil_factor=0.0235,
    coil_exponent=0.688,
)
QUIET = OpenAir(radiates=False)
GRID = np.geomspace(8.0, 1000.0, 200)
MASS = KnownLoad(kind="added mass", amount=0.1, tolerance=0.0)
BOX = KnownLoad(kind="test box", amount=0.03, tolerance=0.0)
EXPECTED = {
    "re_ohm": TRUE.re_ohm,
    "fs_hz": TRUE.fs_hz,
    "qms": TRUE.qms,
    "qes": TRUE.qes,
    "qts": TRUE.qts,
    "k_le": TRUE.coil_factor,
    "n_le": TRUE.coil_exponent,
    "bl_tm": TRUE.bl_tm,
    "mms_kg": TRUE.mms_kg,
    "cms_m_per_n": TRUE.cms_m_per_n,
    "rms_kg_per_s": TRUE.rms_kg_per_s,
    "vas_m3": TRUE.vas_m3(),
}


def sweep(
    model: DriverModel,
    box: BoxModel = QUIET,
    *,
    grid: np.ndarray = GRID,
    noise: float = 0.0,
    phase: bool = True,
    rng: np.random.Generator | None = None,
) -> ImpedanceSweep:
    z = solve(model, box, grid).impedance_ohm
    if rng is not None:
        z = z * (1.0 + noise * (rng.standard_normal(grid.size) + 1j * rng.standard_normal(grid.size)))
    return ImpedanceSweep(
        frequency_hz=grid, magnitude_ohm=np.abs(z), phase_rad=np.angle(z) if phase else None
    )


def second_run(load: KnownLoad, **kwargs: object) -> ImpedanceSweep:
    if load.kind == "added mass":
        return sweep(replace(TRUE, mms_kg=TRUE.mms_kg + load.amount), **kwargs)  # type: ignore[arg-type]
    return sweep(TRUE, SealedBox(volume_m3=load.amount, radiates=False), **kwargs)  # type: ignore[arg-type]


@pytest.mark.parametrize("load", [MASS, BOX], ids=lambda load: load.kind)
@pytest.mark.parametrize("phase", [True, False], ids=["phase", "magnitude only"])
def test_noiseless_sweeps_give_back_every_parameter(load: KnownLoad, phase: bool) -> None:
    fit = fit_sweeps(sweep(TRUE, phase=phase), loaded=second_run(load, phase=phase), load=load, sd_m2=0.05)
    assert {name: e.value for name, e in fit.values.items()} == pytest.approx(EXPECTED, rel=1e-6)
    assert fit.residual < 1e-9


def fits(count: int) -> list[SweepFit]:
    rng = np.random.default_rng(7)
    runs = []
    for _ in range(count):
        loaded = second_run(MASS, noise=0.01, rng=rng)
        runs.append(fit_sweeps(sweep(TRUE, noise=0.01, rng=rng), loaded=loaded, load=MASS, sd_m2=0.05))
    return runs


def test_the_intervals_hold_the_truth_nineteen_times_in_twenty() -> None:
    """80 noisy measurements: for each parameter 4 misses are expected, 12 would be one in ten thousand."""
    runs = fits(80)
    for name, true in EXPECTED.items():
        missed = sum(not run.values[name].low <= true <= run.values[name].high for run in runs)
        assert missed <= 12, name
    everything = sum(
        not run.values[name].low <= true <= run.values[name].high
        for run in runs
        for name, true in EXPECTED.items()
    )
    assert everything >= 10  # intervals that never miss are too wide to mean 95 %


@pytest.mark.parametrize(
    ("load", "powers"),
    [
        (MASS, {"mms_kg": 1.0, "bl_tm": 0.5, "vas_m3": -1.0, "qts": 0.0}),
        (BOX, {"mms_kg": -1.0, "bl_tm": -0.5, "vas_m3": 1.0, "qts": 0.0}),
    ],
)
def test_a_wrong_load_moves_what_it_should(load: KnownLoad, powers: dict[str, float]) -> None:
    loaded = second_run(load)
    plain = fit_sweeps(sweep(TRUE), loaded=loaded, load=load, sd_m2=0.05)
    off = replace(load, amount=load.amount * 1.02, tolerance=0.02)
    wrong = fit_sweeps(sweep(TRUE), loaded=loaded, load=off, sd_m2=0.05)
    for name, power in powers.items():
        ratio = wrong.values[name].value / plain.values[name].value
        assert ratio == pytest.approx(1.02**power, rel=1e-6)
        assert wrong.values[name].relative == pytest.approx(abs(power) * 0.02, abs=1e-5)


def test_one_run_leaves_the_mechanical_side_open() -> None:
    fit = fit_sweeps(sweep(TRUE))
    assert "bl_tm" not in fit.values
    assert fit.values["qts"].value == pytest.approx(TRUE.qts, rel=1e-6)


def test_three_points_read_a_driver_without_inductance_exactly() -> None:
    plain = replace(TRUE, coil_factor=0.0)
    found = three_point(sweep(plain, grid=np.geomspace(5.0, 200.0, 2000)), plain.re_ohm)
    assert found.q.fs_hz == pytest.approx(plain.fs_hz, rel=1e-4)
    assert found.q.qms == pytest.approx(plain.qms, rel=1e-3)
    assert found.q.qes == pytest.approx(plain.qes, rel=1e-3)


def test_a_mass_on_the_cone_weighs_the_cone() -> None:
    loaded = replace(TRUE, mms_kg=0.24)
    assert moving_mass_kg(0.1, TRUE.fs_hz, loaded.fs_hz) == pytest.approx(0.14, rel=1e-9)


@pytest.mark.parametrize(
    ("grid", "words"),
    [
        (np.geomspace(26.0, 1000.0, 100), "far enough below"),
        (np.geomspace(8.0, 30.0, 100), "far enough above"),
        (np.geomspace(60.0, 1000.0, 100), "no resonance"),
    ],
)
def test_a_sweep_that_misses_the_resonance_is_refused(grid: np.ndarray, words: str) -> None:
    with pytest.raises(RangeError, match=words):
        three_point(sweep(TRUE, grid=grid), TRUE.re_ohm)


def test_runs_swapped_are_noticed() -> None:
    with pytest.raises(RangeError, match="did not lower"):
        fit_sweeps(second_run(MASS), loaded=sweep(TRUE), load=MASS, sd_m2=0.05)
    with pytest.raises(RangeError, match="did not raise"):
        fit_sweeps(second_run(BOX), loaded=sweep(TRUE), load=BOX, sd_m2=0.05)


# --- recordings ---------------------------------------------------------------------------------------

RATE = 8000.0


def recording(*, right: str = "driver", noise: float = 0.0, gain: float = 1.0) -> Recording:
    played = exponential_sweep(8.0, 2500.0, 6.0, RATE)
    size = 2 * len(played)
    frequency = np.fft.rfftfreq(size, 1.0 / RATE)
    frequency[0] = 1e-6
    z = solve(TRUE, QUIET, frequency).impedance_ohm
    share = z / (z + 10.0) if right == "driver" else 10.0 / (z + 10.0)
    answer = np.fft.irfft(np.fft.rfft(played, size) * share, size)[: len(played)] * gain
    rng = np.random.default_rng(3)
    return Recording(
        left=played + noise * rng.standard_normal(len(played)),
        right=answer + noise * rng.standard_normal(len(played)),
        rate_hz=RATE,
    )


@pytest.mark.parametrize(("right", "gain"), [("driver", 1.0), ("resistor", 1.0), ("driver", 0.8)])
def test_a_recording_gives_the_impedance(right: str, gain: float) -> None:
    found, quality = impedance_of_recording(
        recording(right=right, gain=gain),
        10.0,
        right=right,  # type: ignore[arg-type]
        right_gain=gain,
    )
    true = solve(TRUE, QUIET, found.frequency_hz).impedance_ohm
    assert found.impedance_ohm is not None
    apart = np.abs(found.impedance_ohm - true) / np.abs(true)
    assert apart.max() < 0.01
    assert quality.noise_db < -55.0
    assert quality.clipped == 0


def test_noise_is_told_and_mostly_removed() -> None:
    """Against the plain ratio of the two spectra, the window takes most of the noise away."""
    noisy = recording(noise=0.005)
    found, quality = impedance_of_recording(noisy, 10.0)
    true = solve(TRUE, QUIET, found.frequency_hz).impedance_ohm
    assert found.impedance_ohm is not None
    share = np.fft.rfft(noisy.right) / np.fft.rfft(noisy.left)
    at = np.round(found.frequency_hz * len(noisy.left) / RATE).astype(int)
    plain = 10.0 * share[at] / (1.0 - share[at])

    def misfit(z: np.ndarray) -> float:
        return float(np.sqrt(np.mean(np.abs(z / true - 1.0) ** 2)))

    assert misfit(found.impedance_ohm) < misfit(plain) / 2.0
    assert -45.0 < quality.noise_db < -25.0


def test_a_silent_channel_is_refused() -> None:
    good = recording()
    with pytest.raises(RangeError, match="no signal in right channel"):
        impedance_of_recording(Recording(left=good.left, right=0.0 * good.right, rate_hz=RATE), 10.0)
