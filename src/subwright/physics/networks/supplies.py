"""Small supplies for op-amps and comparators from higher rails: zener shunt and adjustable regulator."""

from __future__ import annotations

from dataclasses import dataclass

from ._checks import ArrayLike, not_negative, positive

__all__ = [
    "ZenerShunt",
    "adjustable_regulator_v",
    "junction_c",
    "linear_dissipation_w",
    "zener_node_v",
    "zener_series_ohm",
    "zener_shunt",
]


@dataclass(frozen=True, kw_only=True, slots=True)
class ZenerShunt:
    """Currents and heat of a zener shunt at one supply voltage: A and W."""

    resistor_a: float
    resistor_w: float
    zener_a: float  # with the load connected
    zener_w: float  # with the load removed: the worst case for the zener
    regulating: bool  # whether the zener still gets its least current with the load connected


def zener_series_ohm(
    supply_v: ArrayLike, zener_v: ArrayLike, load_a: ArrayLike, zener_a: ArrayLike
) -> ArrayLike:
    """Largest series resistor that still feeds load and zener at the lowest supply.

    Parameters
    ----------
    supply_v : lowest supply voltage, V, above ``zener_v``.
    zener_v : zener voltage, V, > 0.
    load_a : load current, A, >= 0.
    zener_a : least zener current, A, > 0.

    Returns
    -------
    ``(Vs - Vz)/(I_L + I_Z)``, ohm, broadcast over array arguments.

    Raises
    ------
    RangeError : the supply isn't above the zener voltage, or a current is out of range.

    Source
    ------
    [horowitz-hill], chapter on zener regulators.

    >>> round(zener_series_ohm(35.0, 15.0, 10e-3, 5e-3))
    1333
    """
    positive("zener voltage", zener_v, "V")
    positive("voltage across the series resistor", supply_v - zener_v, "V")
    not_negative("load current", load_a, "A")
    positive("zener current", zener_a, "A")
    return (supply_v - zener_v) / (load_a + zener_a)


def zener_shunt(
    supply_v: float, zener_v: float, series_ohm: float, load_a: float, zener_least_a: float = 1e-3
) -> ZenerShunt:
    """Currents and heat of a zener shunt with a real series resistor.

    Parameters
    ----------
    supply_v : supply voltage, V, >= 0.
    zener_v : zener voltage, V, > 0.
    series_ohm : series resistor, ohm, > 0.
    load_a : load current, A, >= 0.
    zener_least_a : zener current at which it still regulates, A, > 0.

    Returns
    -------
    :class:`ZenerShunt`; all zero and not regulating where the supply is below the zener voltage.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    [horowitz-hill], chapter on zener regulators.

    >>> shunt = zener_shunt(40.0, 15.0, 1333.3, 10e-3)
    >>> round(1e3 * shunt.resistor_a, 2), round(shunt.resistor_w, 3), round(shunt.zener_w, 3)
    (18.75, 0.469, 0.281)
    """
    not_negative("supply voltage", supply_v, "V")
    positive("zener voltage", zener_v, "V")
    positive("series resistor", series_ohm, "Ω")
    not_negative("load current", load_a, "A")
    positive("least zener current", zener_least_a, "A")
    current = max(0.0, (supply_v - zener_v) / series_ohm)
    return ZenerShunt(
        resistor_a=current,
        resistor_w=current**2 * series_ohm,
        zener_a=max(0.0, current - load_a),
        zener_w=zener_v * current,
        regulating=current - load_a >= zener_least_a,
    )


def zener_node_v(
    supply_v: float, series_ohm: float, load_a: float, zener_v: float, slope_ohm: float, stated_a: float
) -> float:
    """Voltage behind a series resistor that a zener diode clamps.

    Parameters
    ----------
    supply_v : V, >= 0.
    series_ohm : ohm, > 0.
    load_a : drawn beside the zener diode, A, >= 0.
    zener_v, slope_ohm, stated_a : zener voltage at a stated current, its slope there, V, ohm and A, > 0.

    Returns
    -------
    ``Vs - I R`` below the diode's knee ``Vz - rz Iz``, above it the node of both straight lines, V.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    [horowitz-hill], chapter on zener regulators, with the slope as a resistor in series.

    >>> round(zener_node_v(10.0, 470.0, 2e-3, 12.0, 9.0, 20e-3), 2)
    9.06
    >>> round(zener_node_v(16.0, 470.0, 2e-3, 12.0, 9.0, 20e-3), 2)
    11.88
    """
    not_negative("supply voltage", supply_v, "V")
    positive("series resistor", series_ohm, "Ω")
    not_negative("load current", load_a, "A")
    positive("zener voltage", zener_v, "V")
    positive("zener's slope", slope_ohm, "Ω")
    positive("stated zener current", stated_a, "A")
    free_v = supply_v - load_a * series_ohm
    knee_v = zener_v - slope_ohm * stated_a
    if free_v <= knee_v:
        return max(free_v, 0.0)
    return (free_v * slope_ohm + knee_v * series_ohm) / (slope_ohm + series_ohm)


def adjustable_regulator_v(r1_ohm: ArrayLike, r2_ohm: ArrayLike, iadj_a: ArrayLike = 50e-6) -> ArrayLike:
    """Output of a 317-family adjustable regulator.

    Parameters
    ----------
    r1_ohm : output to adjust pin, ohm, > 0.
    r2_ohm : adjust pin to ground, ohm, >= 0.
    iadj_a : adjust pin current, A, >= 0.

    Returns
    -------
    ``1.25 V (1 + R2/R1) + I_adj R2``, V, broadcast over array arguments.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    [lm317], output voltage equation.

    >>> round(adjustable_regulator_v(240.0, 2.7e3), 2)
    15.45
    """
    positive("R1", r1_ohm, "Ω")
    not_negative("R2", r2_ohm, "Ω")
    not_negative("adjust pin current", iadj_a, "A")
    return 1.25 * (1.0 + r2_ohm / r1_ohm) + iadj_a * r2_ohm


def linear_dissipation_w(
    input_v: ArrayLike, output_v: ArrayLike, load_a: ArrayLike, ground_a: ArrayLike = 0.0
) -> ArrayLike:
    """Heat in a linear regulator.

    Parameters
    ----------
    input_v, output_v : V; the input above the output.
    load_a, ground_a : load current and the regulator's own current, A, >= 0.

    Returns
    -------
    ``(V_in - V_out) I_L + V_in I_G``, W, broadcast over array arguments.

    Raises
    ------
    RangeError : the input isn't above the output, or a current is negative.

    Source
    ------
    [lm317], application hints on heat.

    >>> round(linear_dissipation_w(16.0, 4.8, 50e-3), 2)
    0.56
    """
    positive("voltage across the regulator", input_v - output_v, "V")
    not_negative("load current", load_a, "A")
    not_negative("ground current", ground_a, "A")
    return (input_v - output_v) * load_a + input_v * ground_a


def junction_c(ambient_c: ArrayLike, power_w: ArrayLike, rth_k_per_w: ArrayLike) -> ArrayLike:
    """Junction temperature from ambient, heat and thermal resistance.

    Parameters
    ----------
    ambient_c : °C.
    power_w : W, >= 0.
    rth_k_per_w : junction to ambient, K/W, > 0.

    Returns
    -------
    °C, broadcast over array arguments.

    Raises
    ------
    RangeError : an argument is out of range.

    Source
    ------
    [lm317], application hints on heat.

    >>> round(junction_c(25.0, 0.56, 65.0), 1)
    61.4
    """
    not_negative("power", power_w, "W")
    positive("thermal resistance", rth_k_per_w, "K/W")
    return ambient_c + power_w * rth_k_per_w
