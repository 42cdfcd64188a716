"""Speaker protection: switch-on delay, direct-voltage detection, stuck rails."""

from __future__ import annotations

import pytest
from power_rows import Row, row, rows

from subwright.physics.amplifiers import bridge_square_power_w
from subwright.physics.rc_timing import rc_charge_time_s, rc_dc_detect_time_s, rc_lowpass_v

R, C = 100e3, 10e-6


@rows(
    row("47 kΩ 100 µF to 2.5 of 5 V", lambda: rc_charge_time_s(47e3, 100e-6, 2.5, 5), 3.258, 1e-3, "derived"),
    row("220 kΩ 22 µF to 8 of 12 V", lambda: rc_charge_time_s(220e3, 22e-6, 8, 12), 5.317, 1e-3, "derived"),
    row("2 V stuck", lambda: rc_dc_detect_time_s(R, C, 2), 0.393, 2e-3, "derived"),
    row("5 V stuck", lambda: rc_dc_detect_time_s(R, C, 5), 0.139, 4e-3, "derived"),
    row("20 V stuck", lambda: rc_dc_detect_time_s(R, C, 20), 0.0330, 2e-3, "derived"),
    row("35 V stuck", lambda: rc_dc_detect_time_s(R, C, 35), 0.0187, 5e-3, "derived"),
    row("40 V peak at 20 Hz behind it", lambda: rc_lowpass_v(40, 20, R, C), 0.318, 2e-3, "derived"),
    row("35 V stuck on 4 Ω, heat", lambda: bridge_square_power_w(35, 4), 306, 1e-3, "derived"),
)
def test_printed(row: Row) -> None:
    row.check()


def test_bass_does_not_trip_the_detector() -> None:
    assert rc_lowpass_v(40.0, 20.0, R, C) < 0.65


@pytest.mark.parametrize("spread", [0.8, 1.2])
def test_electrolytic_tolerance_moves_the_delay_alike(spread: float) -> None:
    # ±20 % of an electrolytic moves the delay by ±20 %.
    nominal = rc_charge_time_s(47e3, 100e-6, 2.5, 5.0)
    assert rc_charge_time_s(47e3, spread * 100e-6, 2.5, 5.0) == pytest.approx(spread * nominal, rel=1e-12)


@pytest.mark.parametrize(("supply", "trip"), [(4.5, 1.35), (6.0, 1.8), (12.0, 3.6), (18.0, 5.4)])
def test_dc_detection_inside_an_amplifier_is_thirty_per_cent(supply: float, trip: float) -> None:
    # TI TPA3128D2 data sheet, table 5: trip at 30 % of the supply; a full-swing 20 Hz note leaves less than
    # that behind our averaging filter.
    assert trip == pytest.approx(0.3 * supply, rel=1e-12)
    assert rc_lowpass_v(supply, 20.0, R, C) < trip
