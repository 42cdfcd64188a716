"""The voltage stage node by node, against a solution of its whole admittance matrix."""

from __future__ import annotations

from math import tau

import numpy as np
import pytest

from subwright.physics.stage_loop import TwoStages, collector_ohm, junction_at, two_stage_ohm


def stages() -> TwoStages:
    return TwoStages(
        first_ohm=120e3,
        first_f=12e-12,
        buffer=junction_at(0.6e-3, 200.0, 100e6, 3e-12, 80.0, 25.0),
        drive_ohm=1.2e3,
        second=junction_at(10e-3, 100.0, 100e6, 15e-12, 100.0, 26.0),
        emitter_ohm=22.0,
        miller_f=100e-12,
        load_ohm=150e3,
        load_f=40e-12,
    )


@pytest.mark.parametrize("hz", [20.0, 1e3, 50e3, 500e3, 5e6])
def test_three_nodes_agree_with_their_admittance_matrix(hz: float) -> None:
    at, load_s, s = stages(), 1.0 / 5e3, 1j * tau * hz
    second_s = 1.0 / (1.0 / at.second.transconductance_s + at.emitter_ohm)
    base_s = at.buffer.transconductance_s / at.buffer.gain_at(hz)
    follows_s = base_s + at.buffer.transconductance_s
    own_s, miller_s = s * at.second.collector_f, s * at.miller_f
    into_s = second_s / at.second.gain_at(hz)
    out_s = 1.0 / at.load_ohm + s * at.load_f + load_s + 1.0 / collector_ohm(at.second, at.emitter_ohm)
    matrix = np.array(
        [
            [1.0 / at.first_ohm + s * at.first_f + base_s + miller_s, -base_s, -miller_s],
            [-follows_s, follows_s + 1.0 / at.drive_ohm + into_s + own_s, -own_s],
            [-miller_s, second_s - own_s, out_s + miller_s + own_s],
        ]
    )
    volts = np.linalg.solve(matrix, np.array([1.0, 0.0, 0.0]))
    assert two_stage_ohm(hz, at, load_s) == pytest.approx(-complex(volts[2]), rel=1e-9)


def test_a_resistor_in_the_emitter_lifts_the_collector_no_further_than_the_base_allows() -> None:
    part = junction_at(1e-3, 100.0, 0.0, 0.0, 50.0, 0.0)
    ohms = [collector_ohm(part, ohm) for ohm in (0.0, 10.0, 1e3, 1e6)]
    assert ohms == sorted(ohms)
    assert ohms[0] == pytest.approx(50e3)
    assert ohms[-1] < 1.01 * part.output_ohm * (part.gain + 1.0)
