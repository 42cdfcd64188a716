"""The loop of a class-AB voltage stage node by node: pair, mirror, buffer, voltage amplifier, followers.

Small signals, as complex numbers at one frequency. Each function is Kirchhoff's law at the nodes of the
transistors' small-signal circuit; nothing is left out that is of first order.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import tau

from subwright.physics.bounds import require
from subwright.physics.voltage_stage import THERMAL_V

__all__ = [
    "Junction",
    "TwoStages",
    "collector_ohm",
    "follower_input_s",
    "follower_share",
    "junction_at",
    "pair_gain_s",
    "reference_leak",
    "two_stage_ohm",
]


@dataclass(frozen=True, kw_only=True, slots=True)
class Junction:
    """A bipolar transistor about its rest.

    Attributes
    ----------
    transconductance_s : I/(kT/q), S. gain : current gain at its collector's voltage. transit_s : what its
    transition frequency comes from beside the collector's capacitance, s. output_ohm : of the collector,
    emitter grounded, Ω. collector_f : from collector to base, F.
    """

    transconductance_s: float
    gain: float
    transit_s: float
    output_ohm: float
    collector_f: float

    def gain_at(self, hz: float) -> complex:
        """Current gain at a frequency in Hz, ``1/(1/β + j 2π f τ)``."""
        return 1.0 / (1.0 / self.gain + 1j * tau * hz * self.transit_s)


def junction_at(
    current_a: float, gain: float, transit_hz: float, collector_f: float, early_v: float, across_v: float
) -> Junction:
    """A transistor at its current and voltage.

    Parameters
    ----------
    current_a : of the collector, A, > 0.
    gain : current gain at no voltage between collector and base, dimensionless, > 0.
    transit_hz : transition frequency, Hz; 0 for none.
    collector_f : from collector to base, F.
    early_v : Early voltage, V, > 0.
    across_v : collector to base, V, >= 0.

    Returns
    -------
    Junction; the Early effect raises the gain by ``1 + V/V_A`` and sets ``r_o = (V_A + V)/I``.

    Raises
    ------
    RangeError : a value out of range.

    Source
    ------
    [gray-meyer] chapter 1, Early voltage and small-signal model; transition frequency
    ``g/(2π (C_π + C_μ))``.

    >>> one = junction_at(1e-3, 100.0, 100e6, 4e-12, 50.0, 25.0)
    >>> print(f"{1e3 * one.transconductance_s:.1f} {one.gain:.0f} {one.output_ohm:.0f}")
    38.7 150 75000
    """
    require("collector current", current_a, "A", above=0.0)
    require("current gain", gain, "", above=0.0)
    require("Early voltage", early_v, "V", above=0.0)
    require("collector-base voltage", across_v, "V", at_least=0.0)
    charging_s = collector_f * THERMAL_V / current_a
    transit_s = max(1.0 / (tau * transit_hz) - charging_s, 0.0) if transit_hz > 0.0 else 0.0
    return Junction(
        transconductance_s=current_a / THERMAL_V,
        gain=gain * (1.0 + across_v / early_v),
        transit_s=transit_s,
        output_ohm=(early_v + across_v) / current_a,
        collector_f=collector_f,
    )


def collector_ohm(part: Junction, emitter_ohm: float, base_ohm: float = 0.0) -> float:
    """Output resistance of a transistor at its collector, with a resistor in its emitter.

    Parameters
    ----------
    part : the transistor.
    emitter_ohm : in its emitter, Ω.
    base_ohm : of what drives its base, Ω.

    Returns
    -------
    ``r_o (1 + g (R_E ∥ (r_π + R_B)) r_π/(r_π + R_B))``, Ω.

    Source
    ------
    [gray-meyer] chapter 3, common emitter with degeneration.

    >>> one = junction_at(1e-3, 100.0, 0.0, 0.0, 50.0, 0.0)
    >>> print(f"{collector_ohm(one, 0.0):.0f} {collector_ohm(one, 100.0):.0f}")
    50000 236116
    """
    if emitter_ohm == 0.0:
        return part.output_ohm
    inner = part.gain / part.transconductance_s
    beside = 1.0 / (1.0 / emitter_ohm + 1.0 / (inner + base_ohm))
    return part.output_ohm * (1.0 + part.transconductance_s * beside * inner / (inner + base_ohm))


def pair_gain_s(
    hz: float, pair: Junction, mirror: Junction, degeneration_ohm: float, sources_ohm: complex
) -> complex:
    """Output current of a pair with a mirror over the difference of what drives its bases.

    Parameters
    ----------
    hz : Hz.
    pair, mirror : one of the two transistors of each.
    degeneration_ohm : in each emitter of the pair, Ω.
    sources_ohm : of both drives together, Ω: the base currents flow in them.

    Returns
    -------
    ``α (1 + m)/(2 (r_e + R_E) + Z/(β + 1))`` with the mirror's ``m = 1/(1 + 2/β_m)``, S.

    Source
    ------
    [gray-meyer] chapters 3 and 4, differential pair with a mirror as its load; the mirror's half meets a
    pole, the other passes it by.

    >>> one = junction_at(1e-3, 1e6, 0.0, 0.0, 50.0, 0.0)
    >>> print(f"{1e3 * abs(pair_gain_s(1e3, one, one, 100.0, 0.0)):.2f}")
    7.95
    """
    gain = pair.gain_at(hz)
    mirrored = 1.0 / (1.0 + 2.0 / mirror.gain_at(hz))
    alpha = gain / (gain + 1.0)
    emitters = 2.0 * (alpha / pair.transconductance_s + degeneration_ohm)
    return alpha * (1.0 + mirrored) / (emitters + sources_ohm / (gain + 1.0))


@dataclass(frozen=True, kw_only=True, slots=True)
class TwoStages:
    """From the pair's output current to the drivers' bases.

    Attributes
    ----------
    first_ohm, first_f : at the pair's output, the buffer left out, Ω and F. buffer, second : follower and
        voltage amplifier. drive_ohm : resistor at the buffer's emitter, Ω. emitter_ohm : of the voltage
        amplifier, Ω. miller_f : from its collector to the pair's output, F.
    load_ohm, load_f : at the collector, the voltage amplifier's own left out, Ω and F.
    """

    first_ohm: float
    first_f: float
    buffer: Junction
    drive_ohm: float
    second: Junction
    emitter_ohm: float
    miller_f: float
    load_ohm: float
    load_f: float


def two_stage_ohm(hz: float, at: TwoStages, load_s: complex = 0.0) -> complex:
    """Voltage at the collector over the current into the pair's output, its sign turned.

    Parameters
    ----------
    hz : Hz, > 0.
    at : the circuit.
    load_s : more load at the collector, S.

    Returns
    -------
    Ω: far above the corner about ``1/(j 2π f C)``.

    Raises
    ------
    RangeError : the frequency isn't positive.

    Source
    ------
    Kirchhoff at three nodes: the pair's output, the buffer's emitter, the collector. [gray-meyer] chapter 9
    has the same for two.

    >>> one = junction_at(1e-3, 1e6, 0.0, 0.0, 1e6, 0.0)
    >>> at = TwoStages(first_ohm=1e9, first_f=0.0, buffer=one, drive_ohm=1e6, second=one, emitter_ohm=0.0,
    ...                miller_f=100e-12, load_ohm=1e9, load_f=0.0)
    >>> round(abs(two_stage_ohm(10e3, at)) * 6.2832 * 10e3 * 100e-12, 3)
    1.0
    """
    require("frequency", hz, "Hz", above=0.0)
    s = 1j * tau * hz
    second_s = 1.0 / (1.0 / at.second.transconductance_s + at.emitter_ohm)
    own_s, miller_s = s * at.second.collector_f, s * at.miller_f
    into_s = at.buffer.transconductance_s / at.buffer.gain_at(hz)
    follows_s = at.buffer.transconductance_s + into_s
    node_s = follows_s + 1.0 / at.drive_ohm + second_s / at.second.gain_at(hz) + own_s
    passed, back = follows_s / node_s, own_s / node_s
    collector_s = 1.0 / at.load_ohm + s * at.load_f + load_s
    collector_s += 1.0 / collector_ohm(at.second, at.emitter_ohm)
    a11 = 1.0 / at.first_ohm + s * at.first_f + into_s + miller_s - into_s * passed
    a12 = -(into_s * back + miller_s)
    a21 = (second_s - own_s) * passed - miller_s
    a22 = collector_s + miller_s + own_s + (second_s - own_s) * back
    return a21 / (a11 * a22 - a12 * a21)


def reference_leak(
    source: Junction,
    source_emitter_ohm: float,
    reference_ohm: float,
    tail_ohm: float,
    pair: Junction,
    unlike_ohm: float,
) -> float:
    """Voltage between a pair's bases that its own output makes through the reference of its current sources.

    A source's collector resistance moves its emitter with the output, and so its base current; that moves
    the reference, and with it the pair's tail and both base currents, which flow in unlike resistances.

    Parameters
    ----------
    source : transistor above the voltage amplifier.
    source_emitter_ohm : in its emitter, Ω.
    reference_ohm : between the sources' bases and the supply, small signal, Ω.
    tail_ohm : emitter resistor and r_e of the tail's source, Ω.
    pair : one of the pair's transistors.
    unlike_ohm : what the first base sees over what the other one does, Ω.

    Returns
    -------
    Share of the collector's voltage that acts against the input, dimensionless.

    Source
    ------
    Ohm's law from the collector around to the base, each step small against the next. [derived]

    >>> one = junction_at(1e-3, 100.0, 0.0, 0.0, 50.0, 0.0)
    >>> print(f"{reference_leak(one, 600.0, 30.0, 300.0, one, 5e3):.2e}")
    5.83e-07
    """
    inner = source.gain / source.transconductance_s
    emitter = source_emitter_ohm / collector_ohm(source, source_emitter_ohm, reference_ohm)
    bias = emitter * reference_ohm / (inner + reference_ohm)
    return 0.5 * bias / tail_ohm * unlike_ohm / pair.gain


def follower_input_s(
    hz: float, driver: tuple[float, float], output: tuple[float, float], ohm: float
) -> complex:
    """What two followers in a row ask at their input.

    Parameters
    ----------
    hz : Hz.
    driver, output : current gain, dimensionless, and transition frequency, Hz, of each.
    ohm : behind them, Ω.

    Returns
    -------
    ``1/(β_1 β_2 R)``, S.

    Source
    ------
    [gray-meyer] chapter 3, emitter followers; both gains fall above their corner.

    >>> round(1.0 / abs(follower_input_s(1.0, (50.0, 1e8), (20.0, 1e7), 4.0)))
    4000
    """
    found = 1.0 / ohm + 0j
    for gain, transit_hz in (driver, output):
        found *= 1.0 / gain + (1j * hz / transit_hz if transit_hz > 0.0 else 0.0)
    return found


def follower_share(load_ohm: float, inner_ohm: float) -> float:
    """Share of its drive that a follower's output reaches: the rest stays in its own resistance.

    Parameters
    ----------
    load_ohm, inner_ohm : Ω.

    Returns
    -------
    ``R/(R + r)``, dimensionless.

    Source
    ------
    [gray-meyer] chapter 3, followers.

    >>> follower_share(4.0, 1.0)
    0.8
    """
    return load_ohm / (load_ohm + inner_ohm)
