"""Multiple-feedback, state-variable and box-transform stages in preferred values."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from subwright.base.errors import NoSolutionError

from ._checks import Array, between, positive
from .biquads import TransformValues, transform_biquad, transform_values
from .filter_search import near_pairs, nearest, ratios

__all__ = [
    "DividerChoice",
    "FeedbackChoice",
    "TransformChoice",
    "VariableChoice",
    "search_divider",
    "search_mfb_lowpass",
    "search_state_variable",
    "search_transform",
]


def _around(values: Array, wanted: Array) -> Array:
    """The values just below and just above each wanted one; shape (..., 2)."""
    place = np.searchsorted(values, wanted)
    return np.asarray(values[np.clip(place[..., None] + np.array([-1, 0]), 0, values.size - 1)])


def _refuse(error: float | None, limit: float) -> NoSolutionError:
    return NoSolutionError(
        message="No set of these capacitors and resistors gives the wanted filter stage.",
        quantity="pole frequency and Q error",
        value="no set fits" if error is None else f"{100 * error:.2f} %",
        limit=f"{100 * limit:.2f} %",
        remedy="Allow a finer series, more capacitor values, or a wider range of resistors.",
    )


@dataclass(frozen=True, kw_only=True, slots=True)
class FeedbackChoice:
    """A multiple-feedback low-pass of gain -1 in preferred values; Ω, F, Hz."""

    r1_ohm: float
    r2_ohm: float
    r3_ohm: float
    c1_f: float
    c2_f: float
    f0_hz: float
    q: float
    error: float


def search_mfb_lowpass(
    f0_hz: float,
    q: float,
    *,
    capacitors_f: Array,
    resistors_ohm: Array,
    error_limit: float = 0.06,
    error_step: float = 0.0025,
    keep: int = 10,
) -> tuple[FeedbackChoice, ...]:
    """Multiple-feedback low-pass stages of gain -1 for a wanted pole frequency and Q.

    Parameters
    ----------
    f0_hz, q : wanted pole frequency, Hz, > 0, and Q, 0.3 to 5.
    capacitors_f, resistors_ohm : F and ohm, ascending, 1-D: the values to choose from.
    error_limit : largest relative miss of f0 and Q, dimensionless.
    error_step : misses closer together than this share a rank, dimensionless.
    keep : how many choices to return.

    Returns
    -------
    Choices, best first.

    Raises
    ------
    RangeError : frequency or Q out of range.
    NoSolutionError : nothing within ``error_limit``.

    Source
    ------
    [opamps-for-everyone], chapter 16, for the exact resistors; search [derived].

    >>> e24 = np.array([10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51]) * 1e3
    >>> best = search_mfb_lowpass(80.0, 0.5**0.5, capacitors_f=np.array([47e-9, 220e-9]), resistors_ohm=e24)
    >>> best[0].r1_ohm, best[0].error < 0.04
    (18000.0, True)
    """
    positive("pole frequency", f0_hz, "Hz")
    between("Q", q, 0.3, 5.0, "", "multiple-feedback low-pass")
    values = np.asarray(resistors_ohm, dtype=float)
    caps = np.asarray(capacitors_f, dtype=float)
    c1, c2 = (x.ravel() for x in np.meshgrid(caps, caps, indexing="ij"))
    spare = c2 / (8.0 * q * q * c1)
    c1, c2, spare = (x[spare >= 1.0] for x in (c1, c2, spare))
    w0 = 2 * np.pi * f0_hz
    exact2 = (1.0 - np.sqrt(1.0 - 1.0 / spare)) / (2.0 * w0 * q * c1)
    exact3 = 1.0 / (w0**2 * c1 * c2 * exact2)
    low, high = values[0] * (1 - 1e-9), values[-1] * (1 + 1e-9)
    inside = (exact2 >= low) & (exact2 <= high) & (exact3 >= low) & (exact3 <= high)
    if not np.any(inside):
        raise _refuse(None, error_limit)
    r2 = _around(values, exact2[inside])[:, [0, 0, 1, 1]].ravel()
    r3 = _around(values, exact3[inside])[:, [0, 1, 0, 1]].ravel()
    c1, c2 = np.repeat(c1[inside], 4), np.repeat(c2[inside], 4)
    f0 = 1.0 / (2 * np.pi * np.sqrt(r2 * r3 * c1 * c2))
    # R1 = R2: the signal's resistor loads the node as much as the feedback's.
    quality = np.sqrt(c2 / c1) / (2.0 * np.sqrt(r3 / r2) + np.sqrt(r2 / r3))
    error = np.maximum(np.abs(f0 / f0_hz - 1.0), np.abs(quality / q - 1.0))
    order = np.lexsort((error, c1 + c2, np.floor(error / error_step + 1e-9)))
    order = order[error[order] <= error_limit][:keep]
    if order.size == 0:
        raise _refuse(float(error.min()), error_limit)
    return tuple(
        FeedbackChoice(
            r1_ohm=float(r2[n]),
            r2_ohm=float(r2[n]),
            r3_ohm=float(r3[n]),
            c1_f=float(c1[n]),
            c2_f=float(c2[n]),
            f0_hz=float(f0[n]),
            q=float(quality[n]),
            error=float(error[n]),
        )
        for n in order
    )


@dataclass(frozen=True, kw_only=True, slots=True)
class VariableChoice:
    """A state-variable low-pass of (nearly) equal integrators in preferred values; Ω, F, Hz."""

    resistor_ohm: float  # of the first integrator
    second_ohm: float  # of the second: the same, or a near value where that hits the pole better
    capacitor_f: float
    upper_ohm: float
    lower_ohm: float
    f0_hz: float
    q: float
    error: float


@dataclass(frozen=True, kw_only=True, slots=True)
class DividerChoice:
    """The divider that sets a state-variable stage's Q, in preferred values; Ω."""

    upper_ohm: float
    lower_ohm: float
    q: float


def search_divider(q: float, *, divider_ohm: Array, high_share: float = 1.0) -> DividerChoice:
    """Divider from the band-pass output of a state-variable stage with equal integrators.

    Parameters
    ----------
    q : wanted Q, dimensionless, 0.35 to 5.
    divider_ohm : values to choose from, ohm, ascending, 1-D.
    high_share : resistor from the summing amplifier's own output over that from the low-pass output,
        dimensionless, > 0.

    Returns
    -------
    DividerChoice with the Q nearest to the wanted one.

    Raises
    ------
    RangeError : Q or share out of range.

    Source
    ------
    ``Q = √k (1 + upper/lower)/(1 + 2 k)`` for a gain of -1, [derived]; with k = 1 that of
    [opamps-for-everyone], chapter 16.

    >>> search_divider(1.0, divider_ohm=np.array([10e3, 20e3]))
    DividerChoice(upper_ohm=20000.0, lower_ohm=10000.0, q=1.0)
    """
    between("Q", q, 0.35, 5.0, "", "state-variable low-pass")
    positive("high_share", high_share, "")
    dividers = np.asarray(divider_ohm, dtype=float)
    per_ratio = float(np.sqrt(high_share)) / (1.0 + 2.0 * high_share)
    upper = _around(dividers, dividers * (q / per_ratio - 1.0))
    quality = per_ratio * (1.0 + upper / dividers[:, None])
    n = int(np.argmin(np.abs(quality / q - 1.0)))
    return DividerChoice(
        upper_ohm=float(upper.ravel()[n]), lower_ohm=float(dividers[n // 2]), q=float(quality.ravel()[n])
    )


def search_state_variable(
    f0_hz: float,
    q: float,
    *,
    capacitors_f: Array,
    resistors_ohm: Array,
    divider_ohm: Array,
    error_limit: float = 0.06,
    keep: int = 10,
) -> tuple[VariableChoice, ...]:
    """State-variable stages of (nearly) equal integrators and equal summing resistors.

    Parameters
    ----------
    f0_hz, q : wanted pole frequency, Hz, > 0, and Q, 0.35 to 5.
    capacitors_f, resistors_ohm : of the integrators, F and ohm, ascending, 1-D.
    divider_ohm : values for the divider that sets Q, ohm, ascending, 1-D.
    error_limit : largest relative miss of f0 and Q, dimensionless.
    keep : how many choices to return.

    Returns
    -------
    Choices, best first.

    Raises
    ------
    RangeError : frequency or Q out of range.
    NoSolutionError : nothing within ``error_limit``.

    Source
    ------
    ``f0 = 1/(2π √(R1 R2) C)``, ``Q = √(R1/R2) (1 + upper/lower)/3``, [derived]; with R1 = R2 that of
    [opamps-for-everyone], chapter 16.

    >>> e24 = np.array([10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51]) * 1e3
    >>> best = search_state_variable(79.6, 0.5**0.5, capacitors_f=np.array([100e-9]), resistors_ohm=e24,
    ...     divider_ohm=e24)[0]
    >>> best.resistor_ohm, best.upper_ohm / best.lower_ohm
    (20000.0, 1.125)
    """
    positive("pole frequency", f0_hz, "Hz")
    between("Q", q, 0.35, 5.0, "", "state-variable low-pass")
    values = np.asarray(resistors_ohm, dtype=float)
    caps = np.asarray(capacitors_f, dtype=float)
    r1, r2, c = near_pairs(values, caps, f0_hz)
    dividers = np.asarray(divider_ohm, dtype=float)
    upper, lower = (x.ravel() for x in np.meshgrid(dividers, dividers, indexing="ij"))
    made, upper, lower = ratios((1.0 + upper / lower) / 3.0, upper, lower)
    lift = np.sqrt(r1 / r2)
    n = nearest(made, q / lift)
    quality = made[n] * lift
    f0 = 1.0 / (2 * np.pi * np.sqrt(r1 * r2) * c)
    error = np.maximum(np.abs(f0 / f0_hz - 1.0), np.abs(quality / q - 1.0))
    order = np.lexsort((error, c, r1 != r2, np.floor(error / 0.0025 + 1e-9)))
    order = order[error[order] <= error_limit][:keep]
    if order.size == 0:
        raise _refuse(float(error.min()), error_limit)
    return tuple(
        VariableChoice(
            resistor_ohm=float(r1[m]),
            second_ohm=float(r2[m]),
            capacitor_f=float(c[m]),
            upper_ohm=float(upper[n[m]]),
            lower_ohm=float(lower[n[m]]),
            f0_hz=float(f0[m]),
            q=float(quality[m]),
            error=float(error[m]),
        )
        for m in order
    )


@dataclass(frozen=True, kw_only=True, slots=True)
class TransformChoice:
    """A box transform in preferred values, and how far its response is off."""

    values: TransformValues
    miss_db: float


def search_transform(
    box_hz: float,
    box_q: float,
    wanted_hz: float,
    wanted_q: float,
    *,
    capacitors_f: Array,
    resistors_ohm: Array,
    error_db: float = 0.7,
) -> TransformChoice:
    """Box transform in preferred values whose response is nearest to the wanted one, 10 to 200 Hz.

    Parameters
    ----------
    box_hz, box_q, wanted_hz, wanted_q : poles to replace and to put in their place, Hz and dimensionless.
    capacitors_f, resistors_ohm : values to choose from, F and ohm, ascending, 1-D.
    error_db : largest miss allowed, dB.

    Returns
    -------
    TransformChoice.

    Raises
    ------
    RangeError : no such biquad exists.
    NoSolutionError : nothing within ``error_db``.

    Source
    ------
    [linkwitz1978] for the exact parts; search [derived].

    >>> from subwright.base.preferred import between as of_series
    >>> best = search_transform(65.0, 0.9, 30.0, 0.707, capacitors_f=of_series(10e-9, 4.7e-6, "E12"),
    ...     resistors_ohm=of_series(1e3, 220e3, "E24"))
    >>> best.miss_db < 0.3
    True
    """
    caps = np.asarray(capacitors_f, dtype=float)
    resistors = np.asarray(resistors_ohm, dtype=float)
    exact = transform_values(box_hz, box_q, wanted_hz, wanted_q, caps)
    wanted = [np.asarray(x, dtype=float) for x in (exact.input_ohm, exact.input_f, exact.feedback_ohm)]
    wanted += [np.asarray(x, dtype=float) for x in (exact.feedback_f, exact.bridge_ohm)]
    stocks = (resistors, caps, resistors, caps, resistors)
    inside = np.ones(caps.shape, dtype=bool)
    for stock, value in zip(stocks, wanted, strict=True):
        inside &= (value >= stock[0]) & (value <= stock[-1])
    if not np.any(inside):
        raise _refuse(None, error_db)
    picked = np.stack([_around(s, v[inside]) for s, v in zip(stocks, wanted, strict=True)])
    corners = (np.arange(32)[:, None] >> np.arange(5)) & 1  # each rounded down or up
    tried = np.stack([picked[k][:, corners[:, k]].ravel() for k in range(5)])
    bridge_f = np.repeat(caps[inside], 32)
    grid = np.geomspace(10.0, 200.0, 14)[:, None]
    s = 2j * np.pi * grid
    w0, wp = 2 * np.pi * box_hz, 2 * np.pi * wanted_hz
    ideal = np.abs((s**2 + s * w0 / box_q + w0**2) / (s**2 + s * wp / wanted_q + wp**2))
    r1, c1, r3, c3, r2 = tried
    real = np.abs(transform_biquad(r1, c1, r3, c3, r2, bridge_f).at(grid))
    miss = np.max(np.abs(20 * np.log10(real / ideal)), axis=0)
    n = int(np.argmin(miss))
    if miss[n] > error_db:
        raise _refuse(float(miss[n]) / 100.0, error_db / 100.0)
    return TransformChoice(
        values=TransformValues(
            input_ohm=float(r1[n]),
            input_f=float(c1[n]),
            feedback_ohm=float(r3[n]),
            feedback_f=float(c3[n]),
            bridge_ohm=float(r2[n]),
            bridge_f=float(bridge_f[n]),
        ),
        miss_db=float(miss[n]),
    )
