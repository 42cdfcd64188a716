"""A regulated rail after a load step: choke, bank, battery and a slow integrator around them, linearised."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from subwright.base.errors import RangeError
from subwright.physics.bounds import require

__all__ = ["LoopStep", "RegulatedLoop", "step_response"]

Array = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, slots=True)
class RegulatedLoop:
    """The averaged converter seen from one of two rails that work alike, about its state of rest.

    Attributes
    ----------
    inductance_h : that one rail's current meets: twice a winding's, where both carry the same.
    rail_f, rail_esr_ohm : bank of one rail. path_ohm : from the winding to the rail, commutation included, Ω.
    winding_v : half-secondary while driven, V. share : of the period that it is. ratio : Ns/Np.
    rail_a : current of one rail, A. source_ohm, input_f : battery's resistance and bank behind it.
    share_per_vs : how fast the share moves for a volt off the rail's set value, 1/(V s).
    """

    inductance_h: float
    rail_f: float
    rail_esr_ohm: float
    path_ohm: float
    winding_v: float
    share: float
    ratio: float
    rail_a: float
    source_ohm: float
    input_f: float
    share_per_vs: float


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class LoopStep:
    """A rail after both rails' loads have stepped up by the same current.

    Attributes
    ----------
    time_s, rail_v : course of the deviation from the set value, shape (n,). dip_v : its depth, V, above 0.
    back_s : from the step until the rail has come back to half of that for good.
    slowest_s : time constant of the slowest mode.
    """

    time_s: Array
    rail_v: Array
    dip_v: float
    back_s: float
    slowest_s: float


def step_response(loop: RegulatedLoop, step_a: float, time_s: Array) -> LoopStep:
    """Deviation of the rail while the integrator finds the share for a greater load.

    Parameters
    ----------
    loop : about its state after the step.
    step_a : of each rail, A.
    time_s : ascending from the step, s, shape (n,).

    Returns
    -------
    LoopStep.

    Raises
    ------
    RangeError : an argument is out of range, the loop does not settle, or has not within ``time_s``.

    Source
    ------
    State-space averaging of a buck-derived converter, Erickson & Maksimović, ch. 7 [erickson2001]; solved by
    its eigenvalues. [derived]

    >>> loop = RegulatedLoop(inductance_h=100e-6, rail_f=470e-6, rail_esr_ohm=0.02, path_ohm=0.4,
    ...                      winding_v=50.0, share=0.75, ratio=4.0, rail_a=2.0, source_ohm=0.005,
    ...                      input_f=10e-3, share_per_vs=4.0)
    >>> found = step_response(loop, 1.0, np.linspace(0.0, 0.05, 2001))
    >>> round(found.dip_v, 3), round(1e3 * found.back_s, 2), abs(float(found.rail_v[-1])) < 1e-3
    (0.578, 2.8, True)
    """
    require("step", step_a, "A", above=0.0)
    for name in ("inductance_h", "rail_f", "source_ohm", "input_f", "share_per_vs", "path_ohm"):
        require(name, getattr(loop, name), "", above=0.0)
    n, esr = loop.ratio, loop.rail_esr_ohm
    # States: choke's current of one rail, its bank, the battery's terminal, the share.
    matrix = np.array(
        [
            np.array([-(loop.path_ohm + esr), -1.0, loop.share * n, loop.winding_v]) / loop.inductance_h,
            [1.0 / loop.rail_f, 0.0, 0.0, 0.0],
            np.array([-2.0 * n * loop.share, 0.0, -1.0 / loop.source_ohm, -2.0 * n * loop.rail_a])
            / loop.input_f,
            [-loop.share_per_vs * esr, -loop.share_per_vs, 0.0, 0.0],
        ]
    )
    drive = step_a * np.array([esr / loop.inductance_h, -1.0 / loop.rail_f, 0.0, loop.share_per_vs * esr])
    values, vectors = np.linalg.eig(matrix)
    if values.real.max() >= 0.0:
        raise RangeError(
            message="This loop does not come to rest.",
            quantity="growth of its slowest mode",
            value=f"{values.real.max():.4g} 1/s",
            limit="below 0",
        )
    rest = -np.linalg.solve(matrix, drive)
    weights = np.linalg.solve(vectors, (-rest).astype(np.complex128))
    course = rest[:, None] + (vectors @ (weights[:, None] * np.exp(np.outer(values, time_s)))).real
    rail = course[1] + esr * (course[0] - step_a)
    deepest = int(rail.argmin())
    dip = -float(rail[deepest])
    low = np.flatnonzero(np.abs(rail) > 0.5 * dip)
    if low[-1] + 1 >= rail.size:
        raise RangeError(
            message="The rail has not come back within this time.",
            quantity="time",
            value=f"{time_s[-1]:g} s",
            limit=f"some {3.0 / -values.real.max():.3g} s",
        )
    return LoopStep(
        time_s=time_s,
        rail_v=rail,
        dip_v=dip,
        back_s=float(time_s[low[-1] + 1] - time_s[0]),
        slowest_s=-1.0 / float(values.real.max()),
    )
