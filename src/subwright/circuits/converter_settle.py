"""Running the power stage to its steady state, at the duty that its loop would find."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import sqrt

from subwright.circuits.converter_point import PowerPoint, settling_probes, settling_run, simulated_point
from subwright.circuits.converter_power import power_circuit
from subwright.circuits.converter_regulated import RegulatedPoint, regulated_point
from subwright.circuits.converter_values import PowerValues
from subwright.circuits.simulate import DEFAULT_TIMEOUT_S, Engine, Traces, simulate

__all__ = ["Settled", "settled_point"]


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Settled:
    """A stage run to its steady state.

    Attributes
    ----------
    found : its averages. traces : the last cycles. gate_share : share of the period with a gate driven.
    """

    found: PowerPoint
    traces: Traces
    gate_share: float


def settled_point(values: PowerValues, engine: Engine, *, timeout_s: float = DEFAULT_TIMEOUT_S) -> Settled:
    """Run a ``quick`` stage to its steady state.

    A regulated stage runs at the closed form's duty, as its loop would find it. While the choke's current has
    gaps the rail hangs steeply on the duty, so the duty is then put right once by what the first run shows.

    Parameters
    ----------
    values : of ``quick``. engine : who simulates. timeout_s : patience for each run, s.

    Raises
    ------
    SubwrightError : as ``simulate`` and ``simulated_point``.
    """
    trimmed, share = values, values.share
    if values.choke is not None:
        expected = regulated_point(values)
        share = expected.gate_share
        if not expected.continuous and expected.holds:
            first = simulated_point(values, _run(values, engine, timeout_s))
            share = _put_right(values, expected, first.positive_v)
            trimmed = replace(values, gate_share=share)
    traces = _run(trimmed, engine, timeout_s)
    return Settled(found=simulated_point(trimmed, traces), traces=traces, gate_share=share)


def _run(values: PowerValues, engine: Engine, timeout_s: float) -> Traces:
    circuit = power_circuit(values)
    return simulate(circuit, settling_run(values), settling_probes(values), engine, timeout_s=timeout_s)


def _put_right(values: PowerValues, expected: RegulatedPoint, rail_v: float) -> float:
    """Gate share that brings a rail with gaps in its current from ``rail_v`` to the set value."""
    winding_v, drop_v = expected.winding_v, expected.behind_v - expected.positive_v

    def lift(rail: float) -> float:
        behind = rail + drop_v
        return behind / (winding_v - behind)

    return expected.gate_share * sqrt(lift(expected.positive_v) / lift(rail_v))
