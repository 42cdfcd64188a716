"""A driver without a name: from measured sweeps to a parameter set, with what to think of the measurement."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final, Literal

from subwright.base.quantities import dimension_of
from subwright.base.units import show
from subwright.physics.acoustics.impedance import lossy_inductance_ohm, vas_from_known_volume_m3
from subwright.physics.acoustics.parameters import piston_area_m2
from subwright.physics.acoustics.recording import RecordingQuality
from subwright.physics.acoustics.sweep import ImpedanceSweep, moving_mass_kg
from subwright.physics.acoustics.sweep_fit import Estimate, KnownLoad, SweepFit, fit_sweeps

__all__ = [
    "MeasureInput",
    "MeasuredDriver",
    "MeasurementNote",
    "driver_record",
    "measure_driver",
    "recording_notes",
]

_RESIDUAL_LIMIT: Final = 0.03
_SHIFT_LOW, _SHIFT_HIGH = 0.25, 2.5  # added over moving mass, or air's over suspension's stiffness
_POINTS_IN_PEAK: Final = 6
_METHODS_APART: Final = 0.05
_WIDE_INTERVAL: Final = 0.05
_RE_BELOW: Final = 0.9
_NOISE_DB: Final = -40.0
_QUIET_PEAK: Final = 0.05
_QUIET_LIMIT_DB: Final = -26.0


@dataclass(frozen=True, kw_only=True, slots=True)
class MeasurementNote:
    """One thing to know about a measurement; "warn" asks to measure again."""

    severity: Literal["warn", "note"]
    quantity: str
    value: str
    limit: str
    message: str
    remedy: str


@dataclass(frozen=True, kw_only=True, slots=True)
class MeasureInput:
    """What was measured. ``load`` and ``loaded`` belong together; without them mass and Vas stay unknown."""

    free: ImpedanceSweep
    loaded: ImpedanceSweep | None = None
    load: KnownLoad | None = None
    piston_diameter_m: float | None = None
    piston_tolerance_m: float = 0.001
    re_ohm: float | None = None
    highest_hz: float | None = None


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class MeasuredDriver:
    """The fitted set, the three-point reading beside it, and notes on how far to trust them."""

    fit: SweepFit
    sd_m2: float | None
    le_h: float  # inductance that the coil's model shows at 1 kHz
    by_three_points: Mapping[str, float]  # the same quantities by the classical reading
    complete: bool  # whether every small-signal parameter is known
    notes: tuple[MeasurementNote, ...]
    sources: tuple[str, ...] = ("small-1972-direct", "leach-2002")

    @property
    def values(self) -> Mapping[str, Estimate]:
        """Fitted values with their 95 % intervals, by field name."""
        return self.fit.values


def measure_driver(data: MeasureInput) -> MeasuredDriver:
    """Fit the sweeps, read them classically as well, and judge the measurement.

    Parameters
    ----------
    data : sweeps, load and piston.

    Raises
    ------
    RangeError : no resonance to read, or a second run without its load or piston.
    ConvergenceError : the fit didn't settle.

    Source
    ------
    [small-1972-direct]; [leach-2002].
    """
    sd = sd_tolerance = None
    if data.piston_diameter_m is not None:
        sd = piston_area_m2(data.piston_diameter_m)
        sd_tolerance = 2.0 * data.piston_tolerance_m / data.piston_diameter_m
    fit = fit_sweeps(
        data.free,
        loaded=data.loaded,
        load=data.load,
        sd_m2=sd,
        sd_tolerance=sd_tolerance or 0.0,
        re_ohm=data.re_ohm,
        highest_hz=data.highest_hz,
    )
    classical = _classical(fit, data, sd)
    k, n = fit.values["k_le"].value, fit.values["n_le"].value
    return MeasuredDriver(
        fit=fit,
        sd_m2=sd,
        le_h=float(lossy_inductance_ohm(1000.0, k, n).imag) / (2.0 * math.pi * 1000.0),
        by_three_points=MappingProxyType(classical),
        complete="bl_tm" in fit.values,
        notes=tuple(_notes(fit, data, classical)),
    )


def _classical(fit: SweepFit, data: MeasureInput, sd_m2: float | None) -> dict[str, float]:
    first, second = fit.three_point, fit.loaded_three_point
    # The reading needs Re; by the fit where no ohmmeter gave it, since the sweep's least magnitude is higher.
    ratio = first.z_max_ohm / fit.values["re_ohm"].value
    values = {"fs_hz": first.q.fs_hz, "qms": first.q.qms, "qes": first.q.qes, "qts": first.q.qts}
    if second is None or data.load is None or sd_m2 is None or ratio <= 1.0:
        return values
    if data.load.kind == "added mass":
        values["mms_kg"] = moving_mass_kg(data.load.amount, first.q.fs_hz, second.q.fs_hz)
    else:
        values["vas_m3"] = vas_from_known_volume_m3(
            data.load.amount, first.q.fs_hz, first.q.qes, second.q.fs_hz, second.q.qes
        )
    return values


def _notes(fit: SweepFit, data: MeasureInput, classical: Mapping[str, float]) -> Iterator[MeasurementNote]:
    if fit.residual > _RESIDUAL_LIMIT:
        yield MeasurementNote(
            severity="warn",
            quantity="misfit",
            value=show(fit.residual, "share"),
            limit=show(_RESIDUAL_LIMIT, "share"),
            message="The curve is not that of a driver in free air with a lossy coil.",
            remedy="Hold the driver firmly in free air, away from walls; check leads and level, sweep again.",
        )
    width = fit.three_point.f2_hz - fit.three_point.f1_hz
    inside = (data.free.frequency_hz > fit.three_point.f1_hz) & (
        data.free.frequency_hz < fit.three_point.f2_hz
    )
    if int(inside.sum()) < _POINTS_IN_PEAK:
        yield MeasurementNote(
            severity="warn",
            quantity="points in the peak",
            value=str(int(inside.sum())),
            limit=f"at least {_POINTS_IN_PEAK} within {show(width, 'frequency')}",
            message="The peak is measured at too few frequencies to tell Qms.",
            remedy="Add frequencies around the resonance.",
        )
    re = fit.values["re_ohm"]
    if data.re_ohm is None:
        yield MeasurementNote(
            severity="note",
            quantity="DC resistance",
            value=show(re.value, "resistance"),
            limit="an ohmmeter's reading",
            message="The DC resistance is the fit's; Qes hangs on it.",
            remedy="Measure it, leads shorted out first, and give it with --re.",
        )
    elif float(data.free.magnitude_ohm.min()) < _RE_BELOW * data.re_ohm:
        yield MeasurementNote(
            severity="warn",
            quantity="least impedance",
            value=show(float(data.free.magnitude_ohm.min()), "resistance"),
            limit=f"about {show(data.re_ohm, 'resistance')}",
            message="The sweep falls below the DC resistance.",
            remedy="Calibrate the sweep with a known resistor in the driver's place, and measure Re again.",
        )
    if fit.load_ratio is not None and not _SHIFT_LOW <= fit.load_ratio <= _SHIFT_HIGH:
        mass = data.load is not None and data.load.kind == "added mass"
        what = "added mass over moving mass" if mass else "air's stiffness over the suspension's"
        yield MeasurementNote(
            severity="warn",
            quantity=what,
            value=f"{fit.load_ratio:.2f}",
            limit=f"{_SHIFT_LOW} to {_SHIFT_HIGH}",
            message="The second run shifts the resonance too little or too much to weigh the cone by.",
            remedy=(
                "Add about as much mass as the cone has." if mass else "Use a test box of about half of Vas."
            ),
        )
    for name, value in classical.items():
        apart = fit.values[name].value / value - 1.0
        if abs(apart) > _METHODS_APART:
            yield MeasurementNote(
                severity="note",
                quantity=name,
                value=f"fit {show(fit.values[name].value, dimension_of(name))}, three points "
                f"{show(value, dimension_of(name))}",
                limit=show(_METHODS_APART, "share"),
                message=f"The two methods differ by {apart:+.1%}.",
                remedy="Trust the fit where many points lie in the peak; look at the curve for a rattle.",
            )
    for name, estimate in fit.values.items():
        if estimate.relative > _WIDE_INTERVAL and name not in ("k_le", "n_le"):
            yield MeasurementNote(
                severity="warn",
                quantity=name,
                value=f"{show(estimate.value, dimension_of(name))} ± {show(estimate.relative, 'share')}",
                limit=show(_WIDE_INTERVAL, "share"),
                message="The measurement leaves this value wide open.",
                remedy="Measure more points at a steadier level, or weigh the added mass better.",
            )


def recording_notes(quality: RecordingQuality, name: str) -> tuple[MeasurementNote, ...]:
    """What to think of a recording's level and noise.

    Parameters
    ----------
    quality : of the recording.
    name : which recording, for the messages.

    Source
    ------
    [farina-2000] in substance; the limits are [common-practice].
    """
    notes = []
    if quality.clipped:
        notes.append(
            MeasurementNote(
                severity="warn",
                quantity=f"samples at full scale, {name}",
                value=str(quality.clipped),
                limit="0",
                message="The recording is clipped.",
                remedy="Turn the input level down and record again.",
            )
        )
    weaker = min(quality.peak_left, quality.peak_right)
    if weaker < _QUIET_PEAK:
        notes.append(
            MeasurementNote(
                severity="note",
                quantity=f"peak level, {name}",
                value=show(20.0 * math.log10(max(weaker, 1e-9)), "level"),
                limit=f"{show(_QUIET_LIMIT_DB, 'level')} re full scale",
                message="One channel is recorded at a low level.",
                remedy="Turn the input level up, or take a resistor nearer to the driver's impedance.",
            )
        )
    if quality.noise_db > _NOISE_DB:
        notes.append(
            MeasurementNote(
                severity="warn",
                quantity=f"noise, {name}",
                value=show(quality.noise_db, "level"),
                limit=f"{show(_NOISE_DB, 'level')} under the signal",
                message="Much of the recording is not what the circuit answers: hum, noise or distortion.",
                remedy="Use short shielded leads and one ground, a longer sweep, or less level.",
            )
        )
    return tuple(notes)


def driver_record(
    measured: MeasuredDriver, stated: Mapping[str, float], *, nominal_diameter_m: float
) -> Mapping[str, float]:
    """Values of a driver record, SI by field name: measured ones, and what was stated beside.

    Parameters
    ----------
    measured : a complete set.
    stated : further values by field name (xmax_m, power_w, frame_m …), SI.
    nominal_diameter_m : trade size, m.

    Source
    ------
    [derived]
    """
    names = ("fs_hz", "re_ohm", "qms", "qes", "qts", "vas_m3", "bl_tm", "mms_kg", "cms_m_per_n")
    values = {name: measured.values[name].value for name in (*names, "rms_kg_per_s", "k_le", "n_le")}
    values["sd_m2"] = measured.sd_m2 or 0.0
    values["le_h"] = measured.le_h
    values["nominal_diameter_m"] = nominal_diameter_m
    return MappingProxyType({**values, **stated})
