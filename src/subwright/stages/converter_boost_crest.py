"""One switching cycle of the boost converter at a steady load, the battery sagging, in plain numbers."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt
from typing import Final

from subwright.physics.boost import BEFORE_THE_TOP

__all__ = ["BoostCrest", "BoostValues", "boost_crest"]

_ROUNDS: Final = 40
_LEAST_A: Final = 1e-6


@dataclass(frozen=True, kw_only=True, slots=True)
class BoostValues:
    """Electrical values of the parts at the temperatures of a round; Ω, V, H, s, Hz, W."""

    inductance_h: float
    switching_hz: float
    choke_ohm: float
    choke_ripple_ohm: float  # what the ripple sees
    switch_ohm: float  # all in parallel, with the current transformer's burden
    link_ohm: float
    diode_v: float
    diode_ohm: float
    input_esr_ohm: float
    rail_esr_ohm: float
    turn_on_s: float
    turn_off_s: float
    recovery_s: float  # charge over current
    node_f: float  # capacitance that the node charges and the switch discharges
    gate_w: float


@dataclass(frozen=True, kw_only=True, slots=True)
class BoostCrest:
    """One switching cycle at a steady load; see ``physics.boost``."""

    terminal_v: float
    duty: float
    choke_a: float
    ripple_a: float
    peak_a: float
    switch_rms_a: float
    diode_rms_a: float
    reaches: bool


def boost_crest(
    values: BoostValues, emf_v: float, source_ohm: float, rail_v: float, rail_a: float, extra_w: float = 0.0
) -> BoostCrest:
    """Steady state at a load, the battery sagging.

    Parameters
    ----------
    values : of the parts. emf_v, source_ohm : battery, V and Ω. rail_v, rail_a : output. extra_w : taken from
    the terminals beside.

    Returns
    -------
    BoostCrest; ``reaches`` is false where battery and resistances can't give it.
    """
    loop = values.choke_ohm + values.link_ohm
    path, square_v = loop + values.switch_ohm, rail_v + values.diode_v
    volt_seconds = values.inductance_h * values.switching_hz
    top = BEFORE_THE_TOP * sqrt(rail_a / rail_v * (source_ohm + path))
    terminal, share, conducting = emf_v, max(0.05, min(1.0, emf_v / rail_v)), 1.0
    choke, ripple, reaches = max(rail_a / share, _LEAST_A), _LEAST_A, True
    for _ in range(_ROUNDS):
        off_ohm = values.diode_ohm + values.rail_esr_ohm * (1.0 - share * conducting)
        diode_a = rail_a / conducting
        # diode_share and boost_conduction of physics.boost in plain numbers; a test holds them together
        linear = terminal + (values.switch_ohm - off_ohm) * diode_a
        root = linear * linear - 4.0 * square_v * path * diode_a
        reaches = root >= 0.0 and 0.5 * (linear + sqrt(root)) / square_v >= top
        share = min(0.5 * (linear + sqrt(root)) / square_v, 1.0) if reaches else 0.05
        choke = max(rail_a / share, _LEAST_A)
        full = max(max(terminal - loop * choke, 1e-3) * (1.0 - share) / volt_seconds, _LEAST_A)
        conducting = min(1.0, sqrt(2.0 * choke / full))
        ripple = min(full, 2.0 * choke / conducting)
        left = emf_v * emf_v - 4.0 * source_ohm * (terminal * choke + extra_w)
        if left < 0.0:
            reaches = False
            break
        before, terminal = terminal, 0.5 * (emf_v + sqrt(left))
        if abs(terminal - before) < 1e-9 * emf_v:
            break
    mean = choke / conducting
    square = mean * mean + ripple * ripple / 12.0
    return BoostCrest(
        terminal_v=terminal,
        duty=conducting * (1.0 - share),
        choke_a=choke,
        ripple_a=ripple,
        peak_a=mean + 0.5 * ripple,
        switch_rms_a=sqrt(conducting * (1.0 - share) * square),
        diode_rms_a=sqrt(conducting * share * square),
        reaches=reaches,
    )
