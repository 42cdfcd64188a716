"""Rail pumping into a load that turns the current: charges added up instant by instant."""

from __future__ import annotations

import numpy as np
import pytest

from subwright.base.errors import RangeError
from subwright.physics.class_d import PUMPING_WORST_MODULATION, rail_pumping_v, reactive_pumping_v

RAIL_V, RAIL_F = 48.0, 3300e-6


def summed_v(modulation: float, hz: float, impedance: complex) -> float:
    """Greatest rise over two cycles of a rail that takes the lower switch's share of the load's current."""
    turn = np.linspace(0.0, 4.0 * np.pi, 80_001)
    current = modulation * RAIL_V / abs(impedance) * np.sin(turn - np.angle(impedance))
    pushed = 0.5 * current * (1.0 - modulation * np.sin(turn))
    charge = np.concatenate([[0.0], np.cumsum(0.5 * (pushed[1:] + pushed[:-1])) * turn[1]])
    volts = charge / (2.0 * np.pi * hz * RAIL_F)
    return float(np.max(volts - np.minimum.accumulate(volts)))


@pytest.mark.parametrize("hz", [10.0, 32.0, 100.0])
@pytest.mark.parametrize(("ohm", "angle"), [(4.0, 0.0), (5.7, 50.0), (4.1, -12.0), (9.0, 75.0)])
def test_the_worst_modulation_into_an_angle(hz: float, ohm: float, angle: float) -> None:
    impedance = ohm * np.exp(1j * np.radians(angle))
    found = float(reactive_pumping_v(RAIL_V, np.array([hz]), np.array([impedance]), RAIL_F)[0])
    assert found == pytest.approx(
        max(summed_v(m, hz, impedance) for m in np.linspace(0.5, 1.0, 51)), rel=2e-3
    )


def test_a_resistor_pumps_as_before() -> None:
    found = reactive_pumping_v(RAIL_V, np.array([20.0]), np.array([4.0 + 0.0j]), RAIL_F)
    assert float(found[0]) == pytest.approx(
        rail_pumping_v(RAIL_V, PUMPING_WORST_MODULATION, 20.0, 4.0, RAIL_F), rel=1e-12
    )


@pytest.mark.parametrize("wrong", [{"hz": 0.0}, {"z": -1.0 + 1.0j}, {"rail": 0.0}, {"farads": 0.0}])
def test_what_is_out_of_range_is_refused(wrong: dict[str, complex]) -> None:
    with pytest.raises(RangeError):
        reactive_pumping_v(
            float(np.real(wrong.get("rail", RAIL_V))),
            np.array([float(np.real(wrong.get("hz", 20.0)))]),
            np.array([complex(wrong.get("z", 4.0 + 0.0j))]),
            float(np.real(wrong.get("farads", RAIL_F))),
        )
