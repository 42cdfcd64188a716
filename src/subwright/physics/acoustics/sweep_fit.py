"""Fitting the equivalent circuit of a driver to measured impedance, with confidence intervals.

In electrical terms the driver is Re in series with the lossy coil K·(jω)ⁿ and with the motion's resonance
Res/(1 + j·Qms·(f/fs − fs/f)). A mass on the cone enlarges the motional capacitance Mms/Bl², the air of a test
box lessens the motional inductance Cms·Bl²; either makes the electrical values known mechanically.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final, Literal

import numpy as np

from subwright.base.errors import ConvergenceError, RangeError
from subwright.physics.acoustics._types import ComplexArray, FloatArray
from subwright.physics.acoustics.air import AIR_20C, Air
from subwright.physics.acoustics.impedance import lossy_inductance_ohm
from subwright.physics.acoustics.sweep import ImpedanceSweep, ThreePoint, three_point

__all__ = ["Estimate", "KnownLoad", "SweepFit", "fit_sweeps"]

_TWO_PI: Final = 2.0 * math.pi
_CONFIDENCE: Final = 0.95
_N_LOW, _N_HIGH = 0.3, 1.0
_HIGHEST_MULTIPLE = 15.0  # of fs; above it the power law for the coil no longer holds
_HIGHEST_AT_LEAST_HZ = 400.0
_STARTS = ((1.0, 0.7), (0.9, 0.9), (0.75, 0.95), (1.0, 0.5))  # DC resistance over its first guess, exponent
_EXACT = 1e-16


@dataclass(frozen=True, kw_only=True, slots=True)
class Estimate:
    """A fitted value with the half-width of its 95 % confidence interval, in the same unit."""

    value: float
    half_width: float

    @property
    def low(self) -> float:
        """Lower end of the interval."""
        return self.value - self.half_width

    @property
    def high(self) -> float:
        """Upper end of the interval."""
        return self.value + self.half_width

    @property
    def relative(self) -> float:
        """Half-width over value, dimensionless."""
        return self.half_width / abs(self.value)


@dataclass(frozen=True, kw_only=True, slots=True)
class KnownLoad:
    """What the second run had on the cone: a known mass, or the air of a closed test box."""

    kind: Literal["added mass", "test box"]
    amount: float  # kg, or m³ net including the cone's hollow
    tolerance: float  # relative, 95 %


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class SweepFit:
    """Parameters of a driver from one or two sweeps.

    ``values`` holds re_ohm, fs_hz, qms, qes, qts, k_le, n_le, and with a known load also bl_tm, mms_kg,
    cms_m_per_n, rms_kg_per_s and vas_m3. ``residual`` is the rms of the relative misfit.
    """

    values: Mapping[str, Estimate]
    three_point: ThreePoint
    loaded_three_point: ThreePoint | None
    residual: float
    points: int
    highest_hz: float
    frequency_hz: FloatArray  # of the free-air points fitted
    fitted_ohm: ComplexArray  # the model there
    loaded_frequency_hz: FloatArray | None
    loaded_ohm: ComplexArray | None
    load_ratio: float | None  # added over moving mass, or air's over suspension's stiffness


# Places in the parameter vector; all but the exponent are logarithms.
_RE, _RES, _FS, _QMS, _K, _N, _LOAD, _RES2 = range(8)


def _model(p: FloatArray, frequency_hz: FloatArray, load: KnownLoad | None) -> ComplexArray:
    res, fs, qms = math.exp(p[_RES]), math.exp(p[_FS]), math.exp(p[_QMS])
    if load is not None:
        more = 1.0 + math.exp(p[_LOAD])
        res2 = math.exp(p[_RES2])
        # Qms = Res·√(C/L): the mass enlarges C, the box lessens L by the same kind of factor.
        qms = qms * res2 / res * math.sqrt(more)
        fs = fs / math.sqrt(more) if load.kind == "added mass" else fs * math.sqrt(more)
        res = res2
    ratio = frequency_hz / fs
    motion = res / (1.0 + 1j * qms * (ratio - 1.0 / ratio))
    coil = lossy_inductance_ohm(frequency_hz, math.exp(p[_K]), p[_N])
    return np.asarray(math.exp(p[_RE]) + coil + motion, dtype=np.complex128)


def _weights(frequency_hz: FloatArray) -> FloatArray:
    """Each point counts by its width on the log frequency axis, so a linear grid doesn't drown the bass."""
    width = np.gradient(np.log(frequency_hz))
    return np.asarray(np.sqrt(width / width.mean()), dtype=np.float64)


def _misfit(sweep: ImpedanceSweep, modelled: ComplexArray, weight: FloatArray) -> FloatArray:
    measured = sweep.impedance_ohm
    if measured is None:
        return np.asarray(weight * np.log(np.abs(modelled) / sweep.magnitude_ohm))
    apart = weight * (modelled - measured) / sweep.magnitude_ohm
    return np.concatenate((apart.real, apart.imag))


def fit_sweeps(
    free: ImpedanceSweep,
    *,
    loaded: ImpedanceSweep | None = None,
    load: KnownLoad | None = None,
    sd_m2: float | None = None,
    sd_tolerance: float = 0.0,
    re_ohm: float | None = None,
    highest_hz: float | None = None,
    air: Air = AIR_20C,
) -> SweepFit:
    """Fit Re, coil and resonance to a free-air sweep, and with a second run everything else.

    Least squares of the relative misfit (complex where phase was measured, else of log magnitude), started
    from the three-point reading. Intervals are at 95 %: Student's t times the standard error that scatter and
    model misfit leave, with the tolerances of load and piston area added in quadrature.

    Parameters
    ----------
    free : run in free air.
    loaded : the second run, None for one run only.
    load : what was on the cone in the second run.
    sd_m2 : piston area, m²; needed with a second run.
    sd_tolerance : relative, 95 %.
    re_ohm : DC resistance by ohmmeter, Ω; None leaves it to the fit.
    highest_hz : points above are left out, Hz; None: 15 times the resonance, at least 400 Hz.
    air : state of the air.

    Raises
    ------
    RangeError : no resonance in a sweep, a load that did nothing, or a second run without its load.
    ConvergenceError : the fit didn't settle.

    Source
    ------
    [small-1972-direct] (circuit, added mass, test box); [leach-2002] (lossy coil); least squares [derived].
    """
    if (loaded is None) != (load is None) or (loaded is not None and sd_m2 is None):
        raise RangeError(
            message="A second run needs what was on the cone, and the piston area.",
            quantity="second run",
            value="incomplete",
            remedy="Give the added mass or the test box's volume, and the piston diameter.",
        )
    start_re = re_ohm if re_ohm is not None else float(free.magnitude_ohm.min())
    first = three_point(free, start_re)
    top = highest_hz or max(_HIGHEST_MULTIPLE * first.q.fs_hz, _HIGHEST_AT_LEAST_HZ)
    free = free.within(0.0, top)
    second = None
    if loaded is not None:
        loaded = loaded.within(0.0, top)
        second = three_point(loaded, start_re)
    start, free_places = _start(free, first, second, load, fixed_re=re_ohm is not None)
    weight = _weights(free.frequency_hz)
    weight2 = None if loaded is None else _weights(loaded.frequency_hz)

    def misfit(chosen: FloatArray) -> FloatArray:
        p = start.copy()
        p[free_places] = chosen
        apart = _misfit(free, _model(p, free.frequency_hz, None), weight)
        if loaded is None or weight2 is None:
            return apart
        return np.concatenate((apart, _misfit(loaded, _model(p, loaded.frequency_hz, load), weight2)))

    p, covariance, spread, count = _solved(misfit, start, free_places)
    values = _estimates(p, covariance, count - len(free_places), load, sd_m2, sd_tolerance, air)
    if re_ohm is None:  # the sweep's least magnitude was only to start from: it lies above Re
        first = three_point(free, values["re_ohm"].value)
        second = None if loaded is None else three_point(loaded, values["re_ohm"].value)
    return SweepFit(
        values=MappingProxyType(values),
        three_point=first,
        loaded_three_point=second,
        residual=spread,
        points=count,
        highest_hz=float(free.frequency_hz[-1]),
        frequency_hz=free.frequency_hz,
        fitted_ohm=_model(p, free.frequency_hz, None),
        loaded_frequency_hz=None if loaded is None else loaded.frequency_hz,
        loaded_ohm=None if loaded is None else _model(p, loaded.frequency_hz, load),
        load_ratio=None if load is None else math.exp(p[_LOAD]),
    )


def _start(
    free: ImpedanceSweep,
    first: ThreePoint,
    second: ThreePoint | None,
    load: KnownLoad | None,
    *,
    fixed_re: bool,
) -> tuple[FloatArray, list[int]]:
    re = first.re_ohm * (1.0 if fixed_re else 0.97)
    rise = max(math.sqrt(max(float(free.magnitude_ohm[-1]) ** 2 - re**2, 0.0)), 0.05 * re)
    n = 0.7
    k = rise / (_TWO_PI * float(free.frequency_hz[-1])) ** n
    p = np.array([re, first.z_max_ohm - re, first.q.fs_hz, first.q.qms, k, 1.0, 1.0, 1.0])
    p = np.log(p)
    p[_N] = n
    places = [_RES, _FS, _QMS, _K, _N]
    if not fixed_re:
        places.insert(0, _RE)
    if second is not None and load is not None:
        shift = (first.q.fs_hz / second.q.fs_hz) ** 2
        excess = (shift if load.kind == "added mass" else 1.0 / shift) - 1.0
        if excess <= 0.0:
            lower = load.kind == "added mass"
            raise RangeError(
                message=f"The {load.kind} did not {'lower' if lower else 'raise'} the resonance.",
                quantity="resonance of the second run",
                value=f"{second.q.fs_hz:.4g} Hz",
                limit=f"{'below' if lower else 'above'} {first.q.fs_hz:.4g} Hz",
                source="small-1972-direct",
                remedy="Check which run is which, and that the mass sat fast or the box was tight.",
            )
        p[_LOAD] = math.log(excess)
        p[_RES2] = math.log(max(second.z_max_ohm - re, 0.1 * re))
        places += [_LOAD, _RES2]
    return p, places


def _solved(
    misfit: Callable[[FloatArray], FloatArray], start: FloatArray, places: list[int]
) -> tuple[FloatArray, FloatArray, float, int]:
    """Parameters, covariance of the fitted ones, rms misfit and number of residuals."""
    from scipy.optimize import least_squares

    low, high = np.full(len(places), -np.inf), np.full(len(places), np.inf)
    low[places.index(_N)], high[places.index(_N)] = _N_LOW, _N_HIGH
    found = None
    # Much inductance and a low Qms pull the fit aside from a single start; the best of several stays.
    for share, n in _STARTS:
        guess = start.copy()
        guess[_RE] += math.log(share) if _RE in places else 0.0
        guess[_K] += (guess[_N] - n) * math.log(_TWO_PI * _HIGHEST_AT_LEAST_HZ)
        guess[_N] = n
        tried = least_squares(
            misfit, guess[places], bounds=(low, high), x_scale="jac", xtol=1e-12, ftol=1e-12
        )
        if tried.success and np.all(np.isfinite(tried.x)) and (found is None or tried.cost < found.cost):
            found = tried
        if found is not None and found.cost <= _EXACT * found.fun.size:
            break
    if found is None:
        raise ConvergenceError(
            message="The driver's model can't be fitted to this sweep.",
            quantity="least squares",
            value="no solution from any start",
            source="small-1972-direct",
            remedy="Look at the curve: hum, a loose contact or a rattle shows as a step or a spike.",
        )
    count = int(found.fun.size)
    square = float(np.sum(found.fun**2))
    jacobian = np.asarray(found.jac, dtype=np.float64)
    held = np.abs(found.x - high) < 1e-6  # an exponent at its bound has no slope to speak of
    active = [i for i in range(len(places)) if not held[i]]
    covariance = np.zeros((len(start), len(start)))
    part = np.linalg.pinv(jacobian[:, active].T @ jacobian[:, active]) * square / max(count - len(places), 1)
    index = [places[i] for i in active]
    covariance[np.ix_(index, index)] = part
    p = start.copy()
    p[places] = found.x
    return p, covariance, math.sqrt(square / count), count


def _derived(
    p: FloatArray, load: KnownLoad | None, amount: float, sd_m2: float, air: Air
) -> dict[str, float]:
    re, res, fs, qms = (math.exp(p[i]) for i in (_RE, _RES, _FS, _QMS))
    values = {
        "re_ohm": re,
        "fs_hz": fs,
        "qms": qms,
        "qes": qms * re / res,
        "qts": qms * re / (re + res),
        "k_le": math.exp(p[_K]),
        "n_le": float(p[_N]),
    }
    if load is None:
        return values
    omega = _TWO_PI * fs
    capacitance, inductance = qms / (omega * res), res / (omega * qms)
    if load.kind == "added mass":
        mms = amount / math.exp(p[_LOAD])
        square = mms / capacitance
        cms = inductance / square
    else:
        cms = math.exp(p[_LOAD]) * amount / (air.stiffness_pa * sd_m2**2)
        square = inductance / cms
        mms = capacitance * square
    values.update(
        bl_tm=math.sqrt(square),
        mms_kg=mms,
        cms_m_per_n=cms,
        rms_kg_per_s=square / res,
        vas_m3=air.stiffness_pa * sd_m2**2 * cms,
    )
    return values


def _estimates(
    p: FloatArray,
    covariance: FloatArray,
    freedom: int,
    load: KnownLoad | None,
    sd_m2: float | None,
    sd_tolerance: float,
    air: Air,
) -> dict[str, Estimate]:
    from scipy.special import stdtrit

    student = float(stdtrit(freedom, 0.5 + 0.5 * _CONFIDENCE))
    amount, area = (load.amount if load is not None else 1.0), (sd_m2 or 1.0)
    centre = _derived(p, load, amount, area, air)
    names = list(centre)
    step = 1e-6

    def moved(q: FloatArray, a: float, s: float) -> FloatArray:
        values = _derived(q, load, a, s, air)
        return np.array([values[name] for name in names])

    slope = np.empty((len(names), len(p)))
    for i in range(len(p)):
        up, down = p.copy(), p.copy()
        up[i] += step
        down[i] -= step
        slope[:, i] = (moved(up, amount, area) - moved(down, amount, area)) / (2.0 * step)
    square = student**2 * np.einsum("ij,jk,ik->i", slope, covariance, slope)
    for relative, by in (
        (load.tolerance if load is not None else 0.0, (math.exp(step), 1.0)),
        (sd_tolerance, (1.0, math.exp(step))),
    ):
        up_values = moved(p, amount * by[0], area * by[1])
        down_values = moved(p, amount / by[0], area / by[1])
        square = square + ((up_values - down_values) / (2.0 * step) * relative) ** 2
    return {
        name: Estimate(value=centre[name], half_width=math.sqrt(float(half)))
        for name, half in zip(names, square, strict=True)
    }
