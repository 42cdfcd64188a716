"""Currents of a board's nets: hand-made networks, and random ones against their solution by nodes."""

from __future__ import annotations

from dataclasses import replace
from math import inf, sqrt

import numpy as np
import pytest
from board_tasks import amplifiers

from subwright.boards.check import check_board
from subwright.boards.currents import CHIP_A, Branch, net_currents, pulsed_nets, resistor_most_a
from subwright.boards.make import Demands, make_board, needed_um


def resistor(one: str, other: str, most_a: float, ohm: float = 1e3) -> Branch:
    return Branch(kind="resistor", nets={"1": one, "2": other}, most_a=most_a, ohm=ohm)


def wire(net: str, most_a: float = inf) -> Branch:
    return Branch(kind="wire", nets={"1": net}, most_a=most_a)


def test_a_resistors_rating_or_its_voltage_limits_it() -> None:
    assert resistor_most_a(1e3, 12.0, 0.25) == pytest.approx(0.012)
    assert resistor_most_a(10.0, 12.0, 0.25) == pytest.approx(sqrt(0.025))


def test_what_a_lamp_passes_has_come_through_its_resistor() -> None:
    lamp = Branch(kind="junction", nets={"A": "LAMP", "K": "GND"})
    found = net_currents((wire("PLUS"), resistor("PLUS", "LAMP", 4e-3), lamp, wire("GND")))
    assert found == pytest.approx({"PLUS": 4e-3, "LAMP": 4e-3, "GND": 4e-3})


def test_zeners_in_series_pass_what_the_resistor_lets_through() -> None:
    first = Branch(kind="junction", nets={"A": "MIDDLE", "K": "TOP"})
    second = Branch(kind="junction", nets={"A": "GND", "K": "MIDDLE"})
    found = net_currents((wire("PLUS"), resistor("PLUS", "TOP", 20e-3), first, second, wire("GND")))
    assert found["MIDDLE"] == pytest.approx(20e-3)
    assert found["GND"] == pytest.approx(20e-3)


def test_a_switching_transistor_carries_what_is_known_to_leave() -> None:
    switch = Branch(kind="transistor", nets={"collector": "OUT", "base": "BASE", "emitter": "BATTERY"})
    found = net_currents(
        (wire("BATTERY"), switch, resistor("BASE", "GND", 5e-3), wire("OUT", 0.5), wire("GND"))
    )
    assert found["OUT"] == pytest.approx(0.5)
    assert found["BATTERY"] == pytest.approx(0.505)


def test_a_chip_takes_its_own_and_what_its_outputs_give() -> None:
    chip = Branch(kind="chip", nets={"V+": "PLUS", "V-": "GND", "out": "OUT"}, supplies=("V+", "V-"))
    found = net_currents((wire("PLUS"), chip, resistor("OUT", "GND", 7e-3), wire("GND")))
    assert found["OUT"] == pytest.approx(7e-3)
    assert found["PLUS"] == pytest.approx(CHIP_A + 7e-3)


def test_pulses_count_beside_what_is_steady() -> None:
    found = net_currents((wire("A"), resistor("A", "B", 3e-3), wire("B")), {"A": 4e-3})
    assert found == pytest.approx({"A": 5e-3, "B": 3e-3})


def test_a_gates_charge_passes_resistor_and_diode_and_stops_at_ground() -> None:
    driver = Branch(
        kind="chip",
        nets={"OUT": "OUT", "VCC": "PLUS", "GND": "GND"},
        supplies=("VCC", "GND"),
        drives=("OUT",),
    )
    branches = (
        driver,
        resistor("OUT", "GATE", 0.2, 8.2),
        Branch(kind="junction", nets={"A": "GATE", "K": "OUT"}),
        resistor("GATE", "GND", 1e-3, 10e3),
        resistor("GND", "ELSEWHERE", 0.2, 8.2),
    )
    assert pulsed_nets(branches, "GND") == {"OUT", "GATE", "PLUS", "GND"}


@pytest.mark.parametrize("seed", range(20))
def test_no_cut_of_a_net_carries_more_than_its_bound(seed: int) -> None:
    """Nodal analysis of a random network between two supplies: Kirchhoff's laws solved, not bounded."""
    dice = np.random.default_rng(seed)
    nets = ["PLUS", "GND", *(f"N{k}" for k in range(5))]
    pairs = [(nets[k], nets[k + 1]) for k in range(len(nets) - 1)]
    pairs += [tuple(dice.choice(nets, 2, replace=False)) for _ in range(8)]
    ohms = dice.uniform(100.0, 5e3, len(pairs))
    size = len(nets)
    matrix, right = np.zeros((size, size)), np.zeros(size)
    for (a, b), ohm in zip(pairs, ohms, strict=True):
        i, k = nets.index(a), nets.index(b)
        matrix[[i, k], [i, k]] += 1 / ohm
        matrix[[i, k], [k, i]] -= 1 / ohm
    for k, volts in ((0, 12.0), (1, 0.0)):
        matrix[k], right[k] = 0.0, volts
        matrix[k, k] = 1.0
    level = np.linalg.solve(matrix, right)
    branches = [wire("PLUS"), wire("GND")]
    branches += [resistor(a, b, 12.0 / ohm) for (a, b), ohm in zip(pairs, ohms, strict=True)]
    found = net_currents(branches)
    for net in nets:
        # into one end of the net, out of the other: all that flows in
        drops = [
            (level[nets.index(b if a == net else a)] - level[nets.index(net)]) / ohm
            for (a, b), ohm in zip(pairs, ohms, strict=True)
            if net in (a, b)
        ]
        through = max(sum(drop for drop in drops if drop > 0), -sum(drop for drop in drops if drop < 0))
        assert through <= found[net] * (1.0 + 1e-9)


def test_a_track_is_as_wide_as_its_current_asks_and_the_check_says_where_not() -> None:
    """IPC-2221's chart: 3 A at 20 K on 35 µm ask 0.9 mm, more than the 0.77 mm that the grid starts from."""
    wanted = replace(amplifiers(), currents={"GND": 3.0, "PLUS": 0.1})
    assert 850 <= needed_um(wanted, Demands(), "GND") <= 950
    board = make_board(wanted)
    assert check_board(board, wanted).problems == ()
    assert min(track.width_um for track in board.tracks if track.net == "GND") >= needed_um(
        wanted, Demands(), "GND"
    )
    thin = replace(
        board,
        tracks=tuple(
            replace(track, width_um=board.rules.track_um) if track.net == "GND" else track
            for track in board.tracks
        ),
    )
    assert any("may flow" in problem for problem in check_board(thin, wanted).problems)
