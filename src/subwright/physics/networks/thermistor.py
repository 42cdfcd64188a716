"""NTC thermistors: constant-B law, manufacturer's table, Steinhart–Hart; dividers and self-heating.

Temperatures are in °C at the interface and kelvin inside. A thermistor with a table refuses to answer
outside it; the constant-B law misses a table by several per cent at 0 °C [b57330].
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from subwright.base.errors import RangeError

from ._checks import Array, ArrayLike, between, positive

__all__ = [
    "Thermistor",
    "b_constant_k",
    "constant_b_ohm",
    "constant_b_temperature_c",
    "divider_self_heating_k",
    "slope_per_k",
    "steinhart_hart_fit",
    "steinhart_hart_ohm",
    "steinhart_hart_temperature_c",
]

_ZERO_C_K = 273.15
_REFERENCE_K = 298.15  # 25 °C, at which R25 and B are stated
_B_LAW_LOW_C, _B_LAW_HIGH_C = -55.0, 200.0


def _kelvin(temperature_c: ArrayLike) -> Array:
    return np.asarray(temperature_c, dtype=float) + _ZERO_C_K


def _plain(value: Array) -> ArrayLike:
    return value if value.ndim else float(value)


def b_constant_k(r1_ohm: float, t1_c: float, r2_ohm: float, t2_c: float) -> float:
    """B constant in K from two points: ln(R1/R2)/(1/T1 - 1/T2); Ω and °C.

    Parameters
    ----------
    r1_ohm : resistance at ``t1_c``, ohm, > 0.
    t1_c : °C.
    r2_ohm : resistance at ``t2_c``, ohm, > 0.
    t2_c : °C.

    Returns
    -------
    ``ln(R1/R2)/(1/T1 - 1/T2)``, K.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    [iec-60539], definition.

    >>> round(b_constant_k(10e3, 25.0, 1451.0, 85.0), 1)
    3435.4
    """
    positive("resistance", np.array([r1_ohm, r2_ohm]), "Ω")
    positive("temperature difference", abs(t2_c - t1_c), "K")
    return float(np.log(r1_ohm / r2_ohm) / (1.0 / _kelvin(t1_c) - 1.0 / _kelvin(t2_c)))


def constant_b_ohm(r25_ohm: ArrayLike, b_k: ArrayLike, temperature_c: ArrayLike) -> ArrayLike:
    """Resistance in Ω by R25 exp(B (1/T - 1/298.15 K)); R25 in Ω, B in K, temperature in °C.

    Range -55 to 200 °C, else RangeError.

    Parameters
    ----------
    r25_ohm : resistance at 25 °C, ohm, > 0.
    b_k : B constant, K, > 0.
    temperature_c : °C, -55 to 200, scalar or array.

    Returns
    -------
    ``R25 exp(B (1/T - 1/298.15 K))``, ohm.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    [iec-60539].

    >>> round(constant_b_ohm(10e3, 3435.0, 70.0), 1)
    2207.2
    """
    positive("R25", r25_ohm, "Ω")
    positive("B constant", b_k, "K")
    between("temperature", temperature_c, _B_LAW_LOW_C, _B_LAW_HIGH_C, "°C", "IEC 60539-1")
    return _plain(np.asarray(r25_ohm * np.exp(b_k * (1.0 / _kelvin(temperature_c) - 1.0 / _REFERENCE_K))))


def constant_b_temperature_c(r25_ohm: ArrayLike, b_k: ArrayLike, resistance_ohm: ArrayLike) -> ArrayLike:
    """Temperature in °C at which the constant-B law gives ``resistance_ohm``; inverse of constant_b_ohm.

    Parameters
    ----------
    r25_ohm : resistance at 25 °C, ohm, > 0.
    b_k : B constant, K, > 0.
    resistance_ohm : ohm, > 0, scalar or array.

    Returns
    -------
    Temperature, °C.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    [iec-60539].

    >>> round(constant_b_temperature_c(10e3, 3435.0, 2207.2), 2)
    70.0
    """
    positive("resistance", resistance_ohm, "Ω")
    kelvin = 1.0 / (1.0 / _REFERENCE_K + np.log(np.asarray(resistance_ohm) / r25_ohm) / b_k)
    between("temperature", kelvin - _ZERO_C_K, _B_LAW_LOW_C - 1e-6, _B_LAW_HIGH_C + 1e-6, "°C", "IEC 60539-1")
    return _plain(np.asarray(kelvin - _ZERO_C_K))


def slope_per_k(b_k: ArrayLike, temperature_c: ArrayLike) -> ArrayLike:
    """Relative slope d(ln R)/dT = -B/T² in 1/K; B in K, temperature in °C.

    Parameters
    ----------
    b_k : B constant, K, > 0.
    temperature_c : °C, scalar or array.

    Returns
    -------
    ``-B/T²``, 1/K.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    [iec-60539], derivative of the constant-B law.

    >>> round(100 * slope_per_k(3435.0, 70.0), 2)
    -2.92
    """
    positive("B constant", b_k, "K")
    return _plain(np.asarray(-b_k / _kelvin(temperature_c) ** 2))


def steinhart_hart_fit(temperature_c: Array, resistance_ohm: Array) -> tuple[float, float, float]:
    """Coefficients (A, B, C) of 1/T = A + B ln R + C (ln R)³ by least squares over a table.

    At least three rows (°C and Ω, 1-D), exact for three.

    Parameters
    ----------
    temperature_c : table temperatures, °C, rising, shape (n,), n >= 3.
    resistance_ohm : table resistances, ohm, falling, shape (n,).

    Returns
    -------
    A, B and C of ``1/T = A + B ln R + C (ln R)³``, 1/K.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    [steinhart1968].

    >>> a, b, c = steinhart_hart_fit(np.array([0.0, 25.0, 70.0]), np.array([27326.0, 10000.0, 2227.0]))
    >>> round(steinhart_hart_temperature_c(4158.0, (a, b, c)), 1)
    50.0
    """
    rows = np.size(temperature_c)
    if rows < 3:
        raise RangeError(
            message="A Steinhart–Hart fit needs three or more rows.",
            quantity="rows",
            value=str(rows),
            limit="3",
            source="Steinhart & Hart 1968",
            remedy="Add rows to the thermistor's table.",
        )
    _check_table(np.asarray(temperature_c, dtype=float), np.asarray(resistance_ohm, dtype=float))
    log_r = np.log(resistance_ohm)
    basis = np.stack([np.ones_like(log_r), log_r, log_r**3], axis=1)
    a, b, c = np.linalg.lstsq(basis, 1.0 / _kelvin(temperature_c), rcond=None)[0]
    return float(a), float(b), float(c)


def steinhart_hart_temperature_c(
    resistance_ohm: ArrayLike, coefficients: tuple[float, float, float]
) -> ArrayLike:
    """Temperature in °C from resistance in Ω by 1/T = A + B ln R + C (ln R)³.

    Parameters
    ----------
    resistance_ohm : ohm, > 0, scalar or array.
    coefficients : Steinhart–Hart A, B, C (1/K, resistance in ohm).

    Returns
    -------
    Temperature, °C.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    [steinhart1968].

    >>> round(steinhart_hart_temperature_c(10e3, (1.129148e-3, 2.34125e-4, 8.76741e-8)), 2)
    25.0
    """
    positive("resistance", resistance_ohm, "Ω")
    a, b, c = coefficients
    log_r = np.log(np.asarray(resistance_ohm, dtype=float))
    return _plain(1.0 / (a + b * log_r + c * log_r**3) - _ZERO_C_K)


def steinhart_hart_ohm(temperature_c: ArrayLike, coefficients: tuple[float, float, float]) -> ArrayLike:
    """Resistance in Ω at a temperature in °C: the real root of the Steinhart–Hart cubic (Cardano).

    Parameters
    ----------
    temperature_c : °C, scalar or array.
    coefficients : Steinhart–Hart A, B, C (1/K, resistance in ohm).

    Returns
    -------
    Resistance, ohm.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    [steinhart1968]; root of the depressed cubic.

    >>> round(steinhart_hart_ohm(25.0, (1.129148e-3, 2.34125e-4, 8.76741e-8)), 0)
    10000.0
    """
    a, b, c = coefficients
    positive("Steinhart–Hart coefficient C", c, "1/K")
    half = (a - 1.0 / _kelvin(temperature_c)) / (2.0 * c)
    root = np.sqrt((b / (3.0 * c)) ** 3 + half**2)
    return _plain(np.exp(np.cbrt(root - half) - np.cbrt(root + half)))


def _check_table(temperature_c: Array, resistance_ohm: Array) -> None:
    positive("table resistance", resistance_ohm, "Ω")
    if not (np.all(np.diff(temperature_c) > 0) and np.all(np.diff(resistance_ohm) < 0)):
        raise RangeError(
            message="A thermistor's table must rise in temperature and fall in resistance.",
            quantity="thermistor table",
            value="not monotonic",
            remedy="Sort the rows by temperature and check each resistance against the data sheet.",
        )


@dataclass(frozen=True, kw_only=True, slots=True)
class Thermistor:
    """An NTC: resistance against temperature from a table where there is one, else by the constant-B law.

    Attributes
    ----------
    r25_ohm, b_k : resistance at 25 °C in Ω and B constant in K.
    table : rows (°C, Ω), rising in temperature; may be empty.
    dissipation_w_per_k : self-heating, W per K above the surroundings.
    """

    r25_ohm: float
    b_k: float
    table: tuple[tuple[float, float], ...] = ()
    dissipation_w_per_k: float = 7e-3

    def __post_init__(self) -> None:
        positive("R25", self.r25_ohm, "Ω")
        positive("B constant", self.b_k, "K")
        positive("dissipation factor", self.dissipation_w_per_k, "W/K")
        if self.table:
            rows = np.asarray(self.table, dtype=float)
            _check_table(rows[:, 0], rows[:, 1])

    def _rows(self) -> tuple[Array, Array]:
        rows = np.asarray(self.table, dtype=float)
        return rows[:, 0], rows[:, 1]

    def resistance_ohm(self, temperature_c: ArrayLike) -> ArrayLike:
        """Resistance in Ω at a temperature in °C.

        Between table rows ln R is linear in 1/T (a local B constant), which stays within 0.1 % of tables with
        rows 10 K apart. Raises RangeError outside the table, or outside -55 to 200 °C without one.

        >>> ntc = Thermistor(r25_ohm=10e3, b_k=3435.0, table=((60.0, 3019.0), (70.0, 2227.0), (80.0, 1668.0)))
        >>> round(ntc.resistance_ohm(70.0), 6)
        2227.0
        """
        if not self.table:
            return constant_b_ohm(self.r25_ohm, self.b_k, temperature_c)
        rows_c, rows_ohm = self._rows()
        between("temperature", temperature_c, rows_c[0], rows_c[-1], "°C", "the thermistor's table")
        inverse = 1.0 / _kelvin(temperature_c)
        return _plain(np.exp(np.interp(inverse, 1.0 / _kelvin(rows_c[::-1]), np.log(rows_ohm[::-1]))))

    def temperature_c(self, resistance_ohm: ArrayLike) -> ArrayLike:
        """Temperature in °C at a resistance in Ω; inverse of ``resistance_ohm``, same ranges and errors.

        >>> ntc = Thermistor(r25_ohm=10e3, b_k=3435.0)
        >>> round(ntc.temperature_c(ntc.resistance_ohm(85.0)), 9)
        85.0
        """
        if not self.table:
            return constant_b_temperature_c(self.r25_ohm, self.b_k, resistance_ohm)
        rows_c, rows_ohm = self._rows()
        between("resistance", resistance_ohm, rows_ohm[-1], rows_ohm[0], "Ω", "the thermistor's table")
        inverse = np.interp(np.log(resistance_ohm), np.log(rows_ohm[::-1]), 1.0 / _kelvin(rows_c[::-1]))
        return _plain(1.0 / inverse - _ZERO_C_K)

    def spread(self, temperature_c: ArrayLike, r_shift: ArrayLike, b_shift: ArrayLike) -> ArrayLike:
        """Resistance ratio to nominal when R25 is off by ``r_shift`` and B by ``b_shift`` (fractions).

        (1 + r) exp(B b (1/T - 1/298.15 K)): the B tolerance pivots about 25 °C. Temperature in °C.
        Source: [iec-60539].

        >>> round(Thermistor(r25_ohm=10e3, b_k=3435.0).spread(25.0, 0.05, 0.01), 6)
        1.05
        """
        pivot = 1.0 / _kelvin(temperature_c) - 1.0 / _REFERENCE_K
        return _plain(np.asarray((1.0 + r_shift) * np.exp(self.b_k * b_shift * pivot)))


def divider_self_heating_k(
    supply_v: ArrayLike, ntc_ohm: ArrayLike, series_ohm: ArrayLike, dissipation_w_per_k: ArrayLike
) -> ArrayLike:
    """Self-heating in K of a thermistor in a divider: (Vs/(R + Rs))² R/δ; V, Ω, W/K.

    Parameters
    ----------
    supply_v : voltage across the divider, V.
    ntc_ohm : thermistor resistance, ohm, > 0.
    series_ohm : series resistor, ohm, > 0.
    dissipation_w_per_k : dissipation factor, W/K, > 0.

    Returns
    -------
    ``(Vs/(R + Rs))² R/δ``, K.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    [iec-60539], definition of the dissipation factor δ.

    >>> round(divider_self_heating_k(5.0, 10e3, 10e3, 7e-3), 2)
    0.09
    """
    positive("thermistor resistance", ntc_ohm, "Ω")
    positive("series resistor", series_ohm, "Ω")
    positive("dissipation factor", dissipation_w_per_k, "W/K")
    return (supply_v / (ntc_ohm + series_ohm)) ** 2 * ntc_ohm / dissipation_w_per_k
