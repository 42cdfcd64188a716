"""Tracks, spacings and holes of printed boards as printed in the IPC documents."""

from __future__ import annotations

import pytest
from power_rows import Row, row, rows

from subwright.base.errors import RangeError
from subwright.base.standards import board_spacing
from subwright.physics import board

CHART = "ipc-2221"
WIDTHS_10_K = {1: 0.300, 2: 0.781, 3: 1.367, 5: 2.765, 10: 7.194}
WIDTHS_20_K = {1: 0.197, 2: 0.513, 3: 0.898, 5: 1.816, 10: 4.724}
OUNCE_M = 1.378 * 25.4e-6  # 1 oz/ft² as the chart's readers take it


@pytest.mark.parametrize(("rise", "widths"), [(10.0, WIDTHS_10_K), (20.0, WIDTHS_20_K)])
@pytest.mark.parametrize("amps", [1, 2, 3, 5, 10])
def test_external_track_width(rise: float, widths: dict[int, float], amps: int) -> None:
    # IPC-2221 chart 6-4, usual curve fit, 1 oz copper (from memory).
    assert board.track_width_m(amps, rise, OUNCE_M) * 1e3 == pytest.approx(widths[amps], rel=1.5e-3)


@rows(
    row("1 mm, 35 µm, 10 K", lambda: board.track_current_a(1e-3, 10), 2.39, 2e-3, CHART),
    row("1 mm, 35 µm, 20 K", lambda: board.track_current_a(1e-3, 20), 3.24, 2e-3, CHART),
    row(
        "internal over external width",
        lambda: board.track_width_m(1, 10, OUNCE_M, "internal") / board.track_width_m(1, 10, OUNCE_M),
        2.601,
        3e-4,
        CHART,
    ),
    row("internal 1 A 10 K", lambda: board.track_width_m(1, 10, OUNCE_M, "internal"), 0.781e-3, 1e-3, CHART),
    row("35 µm sheet", lambda: board.sheet_resistance_ohm(), 0.493e-3, 1e-3, "iec-60028"),
    row("100 × 2 mm track", lambda: board.track_resistance_ohm(0.1, 2e-3), 24.6e-3, 3e-3, "iec-60028"),
    row("power conversion spacing, 60 V", lambda: board.power_spacing_m(60), 0.90e-3, 1e-9, "ipc-9592"),
    row("0.8 mm lead, level A hole", lambda: board.hole_and_pad_m(0.8e-3, "A")[0], 1.05e-3, 1e-9, "ipc-2222"),
    row("0.8 mm lead, level A pad", lambda: board.hole_and_pad_m(0.8e-3, "A")[1], 1.75e-3, 1e-9, "ipc-2222"),
    row("0.8 mm lead, level B hole", lambda: board.hole_and_pad_m(0.8e-3, "B")[0], 1.00e-3, 1e-9, "ipc-2222"),
    row("0.8 mm lead, level B pad", lambda: board.hole_and_pad_m(0.8e-3, "B")[1], 1.60e-3, 1e-9, "ipc-2222"),
    row("0.8 mm lead, level C hole", lambda: board.hole_and_pad_m(0.8e-3, "C")[0], 0.95e-3, 1e-9, "ipc-2222"),
    row("0.8 mm lead, level C pad", lambda: board.hole_and_pad_m(0.8e-3, "C")[1], 1.45e-3, 1e-9, "ipc-2222"),
)
def test_printed(row: Row) -> None:
    row.check()


def test_power_spacing_is_wider_than_the_general_table() -> None:
    # IPC-9592 asks more of power conversion than IPC-2221A table 6-1 asks of any bare external conductor.
    for volts in (15.0, 30.0, 50.0, 100.0):
        assert board.power_spacing_m(volts) >= board_spacing(volts, "external bare").spacing_m


def test_the_chart_ends_at_35_a_and_400_mil() -> None:
    with pytest.raises(RangeError, match="wire link"):
        board.track_width_m(36.0, 100.0)
    with pytest.raises(RangeError, match="wire link"):
        board.track_width_m(20.0, 10.0)
