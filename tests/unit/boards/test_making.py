"""Boards come out whole, alike every time, within what was asked; what doesn't fit is refused in words."""

from __future__ import annotations

from dataclasses import replace

import pytest
from board_tasks import amplifiers

from subwright.base.errors import SubwrightError
from subwright.boards.check import check_board
from subwright.boards.make import Demands, demands_of, make_board
from subwright.boards.wanted import Wanted, voltage_between
from subwright.stages.board import BoardSpec


@pytest.mark.parametrize("cases", [1, 2])
def test_a_board_comes_out_whole(cases: int) -> None:
    wanted = amplifiers(cases)
    board = make_board(wanted)
    found = check_board(board, wanted)
    assert found.problems == ()
    assert found.spacing_um >= 499.0
    assert found.closest_share >= 0.998
    assert found.edge_um >= 1999.0
    assert {part.case for part in board.placed} == {part.case for part in wanted.parts}
    assert {wire.name for wire in board.wire_pads} == {"IN", "OUT", "PLUS", "MINUS", "0 V", "TP1"}
    assert len(board.holes) == 4


def test_the_same_task_gives_the_same_board_and_another_arrangement_another() -> None:
    wanted = amplifiers()
    first = make_board(wanted)
    assert make_board(wanted) == first
    assert make_board(wanted, Demands(seed=2)) != first


def test_decoupling_stands_beside_its_chip() -> None:
    wanted = amplifiers(2)
    board = make_board(wanted)
    pads = {(pad.case, pad.pin): pad for part in board.placed for pad in part.pads}
    for net, pin in (("A", "8"), ("B", "4")):
        for k in (1, 2):
            cap = pads[f"C{k}{net}", "1"]
            chips = [pads[f"U{n}", pin] for n in (1, 2)]
            near = min(abs(cap.x_um - chip.x_um) + abs(cap.y_um - chip.y_um) for chip in chips)
            assert near <= 16_000, f"C{k}{net} stands {near / 1000:.1f} mm from a supply pin"


def test_more_voltage_asks_more_spacing() -> None:
    """IPC-2221A, table 6-1, bare outer conductors: 0.6 mm from 31 V to 150 V."""
    wanted = replace(
        amplifiers(), voltages={"GND": (0.0, 0.0), "PLUS": (60.0, 60.0), "MINUS": (-60.0, -60.0)}
    )
    found = check_board(make_board(wanted), wanted)
    assert found.problems == ()
    assert found.spacing_um >= 599.0


def test_a_net_that_stands_very_high_keeps_a_step_more() -> None:
    """The same table: 1.25 mm from 151 V to 300 V, between that net and every other."""
    base = amplifiers()
    wanted = replace(
        base,
        parts=(*base.parts, replace(base.parts[0], case="R99", nets={"1": "HIGH", "2": "HIGH"})),
        voltages={**dict.fromkeys(base.nets, (-15.0, 15.0)), **base.voltages, "HIGH": (200.0, 200.0)},
    )
    board = make_board(wanted)
    assert any(track.net == "HIGH" for track in board.tracks)
    found = check_board(board, wanted)
    assert found.problems == ()
    assert found.closest_share >= 0.998


def test_too_small_a_tray_is_refused_in_words() -> None:
    with pytest.raises(SubwrightError) as caught:
        make_board(amplifiers(2), Demands(max_width_um=45_000, max_height_um=30_000))
    assert "board.max_width" in str(caught.value)
    assert "45 mm" in str(caught.value)


def test_track_and_gap_wider_than_the_grid_are_refused_in_words() -> None:
    with pytest.raises(SubwrightError) as caught:
        make_board(amplifiers(), Demands(track_um=1000, spacing_um=500))
    assert "board.track" in str(caught.value)


def test_the_build_files_wishes_are_kept() -> None:
    spec = BoardSpec.model_validate({"track": "0.7 mm", "spacing": "0.55 mm", "edge": "2.2 mm"})
    wanted = amplifiers()
    board = make_board(wanted, demands_of(spec, 70e-6))
    assert (board.rules.spacing_um, board.rules.edge_um, board.rules.copper_um) == (550, 2200, 70)
    found = check_board(board, wanted)
    assert found.problems == ()
    assert found.narrowest_um >= 700


def test_two_sides_are_refused() -> None:
    with pytest.raises(ValueError, match="sides"):
        BoardSpec.model_validate({"sides": 2})


def test_progress_names_the_board() -> None:
    heard: list[tuple[str, float]] = []
    make_board(amplifiers(), progress=lambda what, share: heard.append((what, share)))
    assert heard
    assert heard[0][0].startswith("Amplifiers: ")
    assert all(0.0 <= share <= 1.0 for _, share in heard)


def test_nets_that_ride_together_are_near_in_voltage() -> None:
    wanted = Wanted(
        key="k",
        title="t",
        parts=(),
        wires=(),
        voltages={"NODE": (-70.0, 70.0), "BOOST": (-70.0, 85.0), "MINUS": (-70.0, -70.0)},
        groups={"NODE": "U1", "BOOST": "U1"},
    )
    assert voltage_between(wanted, "NODE", "BOOST") == 25.0
    assert voltage_between(wanted, "BOOST", "MINUS") == 155.0
    assert voltage_between(wanted, "NODE", "NODE") == 0.0
