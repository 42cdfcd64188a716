"""The filter over the tolerance of its parts: band of the response, windows of the corners, contributors."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from subwright.physics.networks.rational import gain_band, level_crossing_hz
from subwright.physics.networks.tolerance import Parameter, draws, windows
from subwright.stages.common import Contributor
from subwright.stages.filter_blocks import Draft, block_response
from subwright.stages.filter_records import CornerWindow
from subwright.stages.filter_spec import FilterInput, FilterSpec

__all__ = ["corner_window", "filter_parameters", "response_band"]

Array: TypeAlias = npt.NDArray[np.float64]


def filter_parameters(blocks: Sequence[Draft], spec: FilterSpec) -> tuple[Parameter, ...]:
    """Every part's value with its tolerance, named "block role"; a potentiometer at its end is left out.

    Parameters
    ----------
    blocks : input to output. spec : tolerances.
    """
    return tuple(
        Parameter.relative(
            f"{block.name} {role}",
            value,
            spec.resistor_tolerance if role in block.resistors_ohm else spec.capacitor_tolerance,
        )
        for block in blocks
        for role, value in block.values.items()
        if value > 0.0
    )


def _values(block: Draft, builds: Mapping[str, Array]) -> dict[str, Array]:
    zero = np.zeros(1)  # the setting of a potentiometer at its end
    return {role: builds.get(f"{block.name} {role}", zero) for role in block.values}


def response_band(
    blocks: Sequence[Draft],
    spec: FilterSpec,
    data: FilterInput,
    gbw_hz: float,
    frequency_hz: Array,
    percent: tuple[float, ...] = (1.0, 99.0),
) -> Array:
    """Percentiles of the whole filter's gain over random builds, V/V, shape (percentiles, frequencies).

    Parameters
    ----------
    blocks : input to output. spec : tolerances. data : draws and seed. gbw_hz : of the op-amp, Hz.
    frequency_hz : grid, Hz. percent : percentiles.
    """
    spread = [block for block in blocks if block.values]
    parameters = filter_parameters(spread, spec)
    table = draws(parameters, data.draws, data.seed)
    builds = dict(zip((p.name for p in parameters), table, strict=True))
    responses = [block_response(b.kind, _values(b, builds), gbw_hz, b.gain < 0.0) for b in spread]
    return gain_band(responses, frequency_hz, percent)


def corner_window(
    blocks: Sequence[Draft],
    spec: FilterSpec,
    data: FilterInput,
    gbw_hz: float,
    target_hz: float,
    drop_db: float,
    name: str,
) -> tuple[CornerWindow, tuple[Contributor, ...]]:
    """Window of a corner frequency and its contributors, strongest first.

    Parameters
    ----------
    blocks : the sections that make the corner. spec : tolerances. data : draws and seed.
    gbw_hz : of the op-amp, Hz. target_hz : wanted, Hz. drop_db : level below the passband there, dB.
    name : of the corner, for the contributors.
    """
    parameters = filter_parameters(blocks, spec)
    names = [p.name for p in parameters]
    passband = float(np.prod([abs(b.gain) for b in blocks]))
    level = passband * 10.0 ** (-drop_db / 20.0)

    def model(table: Array) -> Array:
        builds = dict(zip(names, table, strict=True))
        responses = [block_response(b.kind, _values(b, builds), gbw_hz) for b in blocks]
        return np.atleast_2d(level_crossing_hz(responses, level, np.full(table.shape[1], target_hz)))

    (window,), (pulls,) = windows(model, parameters, count=data.draws, seed=data.seed)
    contributors = tuple(
        Contributor(result=name, part=p.parameter, tolerance=p.tolerance, sensitivity=p.sensitivity)
        for p in pulls
    )
    corner = CornerWindow(
        target_hz=target_hz,
        nominal_hz=window.nominal,
        drop_db=drop_db,
        worst_low_hz=window.worst_low,
        worst_high_hz=window.worst_high,
        rss_low_hz=window.rss_low,
        rss_high_hz=window.rss_high,
        p1_hz=window.p1,
        p99_hz=window.p99,
    )
    return corner, contributors
