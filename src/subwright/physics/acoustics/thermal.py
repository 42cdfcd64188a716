"""Voice-coil temperature: resistance, heating with two time constants, power compression, crest factor."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from subwright.base.errors import RangeError
from subwright.physics.acoustics._types import FloatArray, Real

__all__ = [
    "COPPER_HEAT_CAPACITY_J_PER_KG_K",
    "COPPER_PER_K",
    "NEODYMIUM_FLUX_PER_K",
    "CoilThermal",
    "coil_rise_from_resistance_k",
    "compression_db",
    "crest_ratio",
    "efficiency_loss_db",
    "heat_capacity_j_per_k",
    "resistance_ratio",
    "steady_rise_k",
    "step_rise_k",
    "time_constants_s",
]

COPPER_PER_K = 0.00393  # IEC 60028, annealed copper at 20 °C
COPPER_HEAT_CAPACITY_J_PER_KG_K = 385.0
NEODYMIUM_FLUX_PER_K = -0.0011


@dataclass(frozen=True, kw_only=True, slots=True)
class CoilThermal:
    """Coil and magnet as two heat stores in a chain to the ambient air."""

    coil_k_per_w: float  # coil to magnet
    coil_j_per_k: float
    magnet_k_per_w: float  # magnet to ambient
    magnet_j_per_k: float


def resistance_ratio(rise_k: Real) -> Real:
    """Resistance of a copper coil over its value at 20 °C, 1 + 0.00393·ΔT; dimensionless.

    Parameters
    ----------
    rise_k : temperature rise over 20 °C, K, any shape.

    Source
    ------
    [iec-60028]. 180 K gives 1.707.
    """
    return 1.0 + COPPER_PER_K * np.asarray(rise_k)


def coil_rise_from_resistance_k(hot_ohm: Real, cold_ohm: Real) -> Real:
    """Temperature rise in K over 20 °C from the coil's resistance.

    Parameters
    ----------
    hot_ohm : resistance when hot, Ω.
    cold_ohm : resistance at 20 °C, Ω. Arguments broadcast.

    Source
    ------
    [iec-60028]. 3.4 to 4.6 Ω: 89.8 K.
    """
    return (np.asarray(hot_ohm) / cold_ohm - 1.0) / COPPER_PER_K


def compression_db(rise_k: Real, *, source_ratio: float = 0.0) -> Real:
    """Level change in dB at constant drive voltage, mass-controlled range; negative.

    −20·lg[(R + Rs)/(R0 + Rs)].

    Parameters
    ----------
    rise_k : coil temperature rise, K, any shape.
    source_ratio : source resistance over the cold coil's, dimensionless.

    Source
    ------
    [button-1992]; [derived]. 180 K: −4.65 dB.
    """
    hot = resistance_ratio(rise_k) + source_ratio
    return -20.0 * np.log10(hot / (1.0 + source_ratio))


def efficiency_loss_db(rise_k: Real) -> Real:
    """Change in dB of acoustic output per electrical watt, −10·lg(R/R0); negative.

    Half of ``compression_db``: at constant voltage a hot coil also takes less power.

    Parameters
    ----------
    rise_k : coil temperature rise, K, any shape.

    Source
    ------
    [derived] from [small-1972-direct]. 180 K: −2.32 dB.
    """
    return -10.0 * np.log10(resistance_ratio(rise_k))


def heat_capacity_j_per_k(mass_kg: float, specific: float = COPPER_HEAT_CAPACITY_J_PER_KG_K) -> float:
    """Heat capacity in J/K of a mass. 25 g of copper: 9.6 J/K.

    Parameters
    ----------
    mass_kg : kg.
    specific : specific heat, J/(kg·K); copper by default.

    Source
    ------
    [common-practice], handbook value of copper, from memory.
    """
    return mass_kg * specific


def steady_rise_k(drive_v: float, cold_ohm: float, rth_k_per_w: float, *, ambient_c: float = 20.0) -> float:
    """Coil temperature rise over ambient in K that a constant voltage settles at.

    ΔT = Rth·V²/R(T) with R(T) = R0·(1 + 0.00393·(Ta − 20 + ΔT)) is a quadratic in ΔT.

    Parameters
    ----------
    drive_v : rms voltage, V, over the coil alone.
    cold_ohm : resistance at 20 °C, Ω.
    rth_k_per_w : coil to ambient, K/W.
    ambient_c : °C.

    Source
    ------
    [button-1992] in substance; [derived].
    """
    base = 1.0 + COPPER_PER_K * (ambient_c - 20.0)
    heat = rth_k_per_w * drive_v**2 / cold_ohm
    return (math.sqrt(base * base + 4.0 * COPPER_PER_K * heat) - base) / (2.0 * COPPER_PER_K)


def time_constants_s(thermal: CoilThermal) -> tuple[float, float]:
    """The two time constants in s of coil and magnet, short one first.

    Parameters
    ----------
    thermal : the two heat stores.

    Source
    ------
    [button-1992]; [klippel-2004] (two-stage model); eigenvalues [derived].
    """
    fast, slow = _rates(thermal)
    return 1.0 / fast, 1.0 / slow


def _rates(thermal: CoilThermal) -> tuple[float, float]:
    coil = 1.0 / (thermal.coil_k_per_w * thermal.coil_j_per_k)
    across = 1.0 / (thermal.coil_k_per_w * thermal.magnet_j_per_k)
    magnet = 1.0 / (thermal.magnet_k_per_w * thermal.magnet_j_per_k)
    total, product = coil + across + magnet, coil * magnet
    root = math.sqrt(total * total - 4.0 * product)
    fast = 0.5 * (total + root)
    return fast, product / fast  # the slow rate without cancellation


def step_rise_k(thermal: CoilThermal, power_w: float, time_s: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Rise of coil and magnet over ambient in K after a constant power is switched on.

    Parameters
    ----------
    thermal : the two heat stores.
    power_w : heat in the coil, W.
    time_s : times after switching on, s, any shape.

    Returns
    -------
    (coil rise, magnet rise), each of the shape of ``time_s``.

    Source
    ------
    [klippel-2004] (two-stage model); closed solution [derived].
    """
    fast, slow = _rates(thermal)
    final_coil = power_w * (thermal.coil_k_per_w + thermal.magnet_k_per_w)
    final_magnet = power_w * thermal.magnet_k_per_w
    start = power_w / thermal.coil_j_per_k  # initial slope of the coil; the magnet's is zero
    time = np.asarray(time_s, dtype=np.float64)
    decay_fast, decay_slow = np.exp(-fast * time), np.exp(-slow * time)

    def path(final: float, slope: float) -> FloatArray:
        # final − a·e^(−fast·t) − b·e^(−slow·t) with a + b = final and fast·a + slow·b = slope
        a = (slope - slow * final) / (fast - slow)
        return np.asarray(final - a * decay_fast - (final - a) * decay_slow, dtype=np.float64)

    return path(final_coil, start), path(final_magnet, 0.0)


def crest_ratio(crest_factor_db: float) -> float:
    """Peak over rms from a crest factor in dB, at least that of a sine; dimensionless.

    Parameters
    ----------
    crest_factor_db : dB; 3.01 dB for a sine, 6.02 dB for the shaped noise of iec-60268-5.

    Raises
    ------
    RangeError : below 3 dB.

    Source
    ------
    definition; [iec-60268-5] (nominal 2.0).
    """
    if crest_factor_db < 3.0:
        raise RangeError(
            message="Programme can't have a lower crest factor than a sine.",
            quantity="crest factor",
            value=f"{crest_factor_db:.3g} dB",
            limit="3 dB",
            remedy="Use 3 dB for a sine, 6 dB to 12 dB for programme.",
        )
    return float(10.0 ** (crest_factor_db / 20.0))
